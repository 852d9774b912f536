//! The neural ear's trust in its readings: margins by meaning, and what is done with them.
use crate::support;

use proptest::prelude::*;
use zonecall::exam::parse::meaning;
use zonecall::speech::neural::align::WordFrames;
use zonecall::speech::neural::confidence::{
    Calibration, ConfidenceInputs, INPUTS, Verdict, fit, margin, meanings,
};
use zonecall::speech::neural::lexicon::Lexicon;
use zonecall::speech::neural::search::{Frames, Hypothesis};
use zonecall::speech::neural::support::support as supports;
use zonecall::speech::neural::unexplained::sound_left;

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
fn margin_and_fit_are_odds_against_the_next_meaning_and_against_any_units() {
    // Two frames of blank, a word unit and `<other>`, with probabilities 0.1, 0.8, 0.1 each.
    let frames = Frames::new([0.1_f32, 0.8, 0.1, 0.1, 0.8, 0.1].map(f32::ln).to_vec(), 3);
    let mut found = meanings(&[reading("save", 0.75_f64.ln()), reading("normal", 0.05_f64.ln())], key);
    assert!((margin(&found) - 15.0_f64.ln()).abs() < 1e-9, "{found:?}");
    assert!((fit(&found[0], &frames) - (0.75_f64 / 0.64).ln()).abs() < 1e-6, "{found:?}");
    found[0].reading.rare = -3.0;
    assert!(
        (fit(&found[0], &frames) - (0.75_f64 / 0.64).ln() - 3.0).abs() < 1e-6,
        "a rare word fits no worse"
    );
    assert_eq!(margin(&found[..1]), f64::INFINITY, "alone");
}

#[test]
fn a_word_that_was_said_and_not_read_is_left_over() {
    // Four frames: silence, a unit, silence, silence; blank comes first.
    let row = |unit: f32| [1.0 - unit, unit].map(|p| p.max(1e-6).ln());
    let frames = Frames::new([0.0, 0.9, 0.0, 0.0].map(row).concat(), 2);
    assert!((sound_left(&[], &frames) - 0.9).abs() < 1e-3);
    assert!(sound_left(&[WordFrames { from: 1, to: 1 }], &frames) < 1e-3);
    assert!((sound_left(&[WordFrames { from: 3, to: 3 }], &frames) - 0.9).abs() < 1e-3, "not beside it");
    assert_eq!(sound_left(&[], &Frames::new(Vec::new(), 2)), 0.0);
}

#[test]
fn a_word_is_borne_out_by_the_peaks_of_its_units() {
    let mut lexicon = Lexicon::default();
    lexicon.add("deep", vec![1, 2]);
    let frames = Frames::new([0.1_f32, 0.8, 0.1, 0.3, 0.5, 0.2].map(f32::ln).to_vec(), 3);
    let found = supports(&["deep".to_owned()], &[WordFrames { from: 0, to: 1 }], &lexicon, &frames);
    let wanted = f64::midpoint(0.8_f64.ln(), 0.2_f64.ln());
    assert!((found[0] - wanted).abs() < 1e-6, "{found:?}");
}

/// The trust in the model that goes with the program.
fn fitted() -> Calibration {
    let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("models/en/calibration.json");
    serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap()
}

fn any_evidence() -> impl Strategy<Value = ConfidenceInputs> {
    let sound = (-15.0_f64..=5.0, 0.0_f64..=5.0, -5.0_f64..=0.0);
    (0.0_f64..=14.0, sound, -6.0_f64..=6.0, 1_usize..60, 1_usize..12).prop_map(
        |(margin, (fit, sound_left, support), begun, units, words)| ConfidenceInputs {
            margin,
            fit,
            units,
            words,
            sound_left,
            support,
            begun,
        },
    )
}

/// The same evidence with one number that speaks less for the reading.
fn worse(better: ConfidenceInputs, which: usize, by: f64) -> ConfidenceInputs {
    let mut worse = better;
    match which {
        0 => worse.margin -= by,
        1 => worse.fit -= by,
        2 => worse.sound_left += by,
        3 => worse.support -= by,
        _ => worse.begun += by,
    }
    worse.limited()
}

proptest! {
    #[test]
    fn what_is_acted_on_is_at_least_as_probable_as_the_limit(evidence in any_evidence(), is_fitted in any::<bool>()) {
        let calibration = if is_fitted { fitted() } else { Calibration::unfitted() };
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

    /// A nearer rival, a worse fit, a word hardly heard, sound left over, a longer phrase begun: none makes a reading surer.
    #[test]
    fn evidence_against_a_reading_never_makes_it_surer(
        evidence in any_evidence(), which in 0_usize..5, by in 0.0_f64..5.0, is_fitted in any::<bool>(),
    ) {
        let calibration = if is_fitted { fitted() } else { Calibration::unfitted() };
        let (language, right) = calibration.probabilities(&evidence);
        let (less_language, less_right) = calibration.probabilities(&worse(evidence, which, by));
        prop_assert!(less_language <= language && less_right <= right);
    }

    #[test]
    fn evidence_stays_within_its_ranges(margin in -99.0_f64..99.0, fit in -99.0_f64..99.0, begun in -99.0_f64..99.0) {
        let wild = ConfidenceInputs {
            margin, fit, units: 0, words: 1, sound_left: fit, support: margin, begun,
        };
        let limited = wild.limited();
        prop_assert_eq!(limited.limited(), limited);
        let inputs: [f64; INPUTS] = limited.inputs();
        prop_assert!(inputs.iter().all(|input| input.is_finite() && input.abs() <= 15.0), "{:?}", inputs);
    }
}

/// One number that speaks against a reading is enough to ask, however well all others speak for it.
#[test]
fn a_near_rival_a_word_hardly_heard_or_speech_left_over_is_asked_about() {
    let calibration = fitted();
    let clear = ConfidenceInputs {
        margin: 14.0,
        fit: 1.0,
        units: 14,
        words: 3,
        sound_left: 0.0,
        support: 0.0,
        begun: -6.0,
    };
    assert_eq!(calibration.verdict(&clear).0, Verdict::Act);
    for (why, doubtful) in [
        ("a rival within a factor of three", ConfidenceInputs { margin: 1.0, ..clear }),
        ("words that fit badly", ConfidenceInputs { fit: -12.0, ..clear }),
        ("speech left over, too", ConfidenceInputs { fit: -4.0, sound_left: 3.0, ..clear }),
        ("a word that was not heard", ConfidenceInputs { fit: -5.0, support: -5.0, ..clear }),
    ] {
        assert_ne!(
            calibration.verdict(&doubtful).0,
            Verdict::Act,
            "{why}: {:?}",
            calibration.probabilities(&doubtful)
        );
    }
}
