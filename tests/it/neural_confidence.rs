//! The neural ear's trust in its readings: margins by meaning, and what is done with them.
use crate::support;

use proptest::prelude::*;
use zonecall::exam::parse::meaning;
use zonecall::speech::neural::align::WordFrames;
use zonecall::speech::neural::confidence::{
    Calibration, ConfidenceInputs, Verdict, evidence, lift_db, meanings,
};
use zonecall::speech::neural::search::{Frames, Hypothesis};
use zonecall::speech::neural::unexplained::{UnexplainedSpeech, unexplained};

fn reading(words: &str, score: f64) -> Hypothesis {
    Hypothesis { words: words.split(' ').map(str::to_owned).collect(), score, rare: 0.0 }
}

fn key(words: &[&str]) -> String {
    meaning(words, &support::BUILT_IN.0, &support::BUILT_IN.1)
}

#[test]
fn readings_that_mean_the_same_are_no_rivals() {
    let readings = [
        reading("zone two alpha", -2.0),
        reading("the zone two a", -2.5),
        reading("zone three alpha", -4.0),
        reading("two alpha", -6.0),
    ];
    let found = meanings(&readings, key);
    assert_eq!(found.len(), 2);
    assert_eq!(found[0].reading.words.join(" "), "zone two alpha");
    let sum = ((-2.0_f64).exp() + (-2.5_f64).exp() + (-6.0_f64).exp()).ln();
    assert!((found[0].score - sum).abs() < 1e-12);
    assert_eq!(found[1].reading.words.join(" "), "zone three alpha");
}

#[test]
fn meaning_counts_units_degrees_and_order_but_not_fillers() {
    assert_eq!(key(&["save"]), key(&["frame", "saved"]));
    assert_eq!(key(&["area", "one", "point", "five"]), key(&["area", "of", "one", "point", "five"]));
    assert_ne!(key(&["area", "one"]), key(&["area", "one", "square", "millimetres"]));
    assert_eq!(key(&["area", "one"]), key(&["area", "one", "square", "centimetres"]), "the default unit");
    assert_eq!(key(&["area", "point", "five"]), key(&["area", "nought", "point", "five"]));
    assert_ne!(key(&["core", "lesion"]), key(&["mild", "core", "lesion"]));
    assert_ne!(key(&["normal", "save"]), key(&["save", "normal"]));
    assert_ne!(key(&["no", "such", "phrase"]), key(&["nor", "this"]), "what cannot be said means itself");
}

#[test]
fn evidence_is_counted_from_the_frames() {
    // Two frames of blank, a word unit and `<other>`, with probabilities 0.1, 0.8, 0.1 each.
    let frames = Frames::new([0.1_f32, 0.8, 0.1, 0.1, 0.8, 0.1].map(f32::ln).to_vec(), 3);
    let found = meanings(&[reading("save", 0.75_f64.ln()), reading("normal", 0.05_f64.ln())], key);
    let got = evidence(&found, &frames, Some(2), 30.0, UnexplainedSpeech::default()).unwrap();
    assert!((got.margin - 15.0_f64.ln()).abs() < 1e-6, "{got:?}");
    assert!((got.fit - (0.75_f64 / 0.64).ln()).abs() < 1e-6, "{got:?}");
    assert!((got.sense - (0.75_f64 / 0.04).ln()).abs() < 1e-6, "{got:?}");
    assert_eq!(evidence(&[], &frames, None, 30.0, UnexplainedSpeech::default()), None);
}

#[test]
fn loudness_above_the_background_is_told_in_db() {
    let mut samples = vec![100_i16; 16_000];
    samples[8_000..].fill(1_000);
    assert!((lift_db(&samples) - 20.0).abs() < 0.1);
    assert!(lift_db(&vec![500; 16_000]).abs() < 1e-9);
    assert!(lift_db(&[]).abs() < 1e-9);
}

#[test]
fn a_word_that_was_said_and_not_read_is_left_over() {
    // Four frames of 384 samples: silence, a loud frame with a unit, silence, silence; blank comes first.
    let row = |unit: f32| [1.0 - unit, unit].map(|p| p.max(1e-6).ln());
    let frames = Frames::new([0.0, 0.9, 0.0, 0.0].map(row).concat(), 2);
    let mut samples = vec![1_i16; 4 * 384];
    samples[384..768].fill(3_000);
    let none = unexplained(&[], &frames, &samples);
    assert!((none.sound - 0.9).abs() < 1e-3, "{none:?}");
    assert!((none.wordless_s - 0.024).abs() < 1e-9, "{none:?}");
    assert_eq!(unexplained(&[WordFrames { from: 1, to: 1 }], &frames, &samples).wordless_s, 0.0);
    assert!(unexplained(&[WordFrames { from: 1, to: 1 }], &frames, &samples).sound < 1e-3);
    assert_eq!(unexplained(&[], &Frames::new(Vec::new(), 2), &[]), UnexplainedSpeech::default());
}

proptest! {
    #[test]
    fn what_is_acted_on_is_at_least_as_probable_as_the_limit(
        margin in 0.0_f64..14.0, fit in -15.0_f64..15.0, sense in -15.0_f64..15.0, lift_db in 0.0_f64..40.0, words in 1_usize..9,
        sound_left in 0.0_f64..5.0, wordless_s in 0.0_f64..1.0,
    ) {
        let calibration = Calibration::unfitted();
        let evidence = ConfidenceInputs { margin, fit, sense, lift_db, words, sound_left, wordless_s };
        let (language, right) = calibration.probabilities(&evidence);
        let (verdict, confidence) = calibration.verdict(&evidence);
        prop_assert!((0.0..=1.0).contains(&confidence));
        match verdict {
            Verdict::Act => prop_assert!(language >= calibration.language_sure && right >= calibration.right_min),
            Verdict::Ask => prop_assert!(
                language >= calibration.language_min
                    && (language < calibration.language_sure || right < calibration.right_min)
            ),
            Verdict::Reject => prop_assert!(language < calibration.language_min),
        }
    }
}
