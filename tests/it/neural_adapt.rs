//! The bending of the head's answers to one voice: sums over alignments, the slope of the loss, and a voice that swaps
//! two sounds.
use std::collections::HashMap;

use zonecall::speech::neural::adapt::{Adaptation, AdaptationSample, ReadPhrase};
use zonecall::speech::neural::align::shares;
use zonecall::speech::neural::lexicon::{BLANK, Lexicon};
use zonecall::speech::neural::search::Frames;

const UNITS: usize = 4;
const INNER: usize = UNITS + 1;

fn lexicon() -> Lexicon {
    let units: HashMap<String, usize> =
        [("A", 1), ("B", 2), ("C", 3)].map(|(name, place)| (name.to_owned(), place)).into();
    Lexicon::read("ab A B\nba B A\nbb B B\nca C A\nca C B A\n", &units).unwrap()
}

fn words(text: &str) -> Vec<String> {
    text.split_whitespace().map(str::to_owned).collect()
}

/// Frames in which each unit named stands out, for as many frames as it is named, and in between anything.
fn frames(units: &[usize], seed: u64) -> Vec<Vec<f64>> {
    let mut state = seed;
    let mut random = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / f64::from(u32::MAX)
    };
    let row = |unit: &usize| {
        let odds: Vec<f64> =
            (0..UNITS).map(|other| random() + if other == *unit { 2.0 } else { 0.0 }).collect();
        let whole = odds.iter().map(|odds| odds.exp()).sum::<f64>().ln();
        odds.into_iter().map(|odds| odds - whole).collect()
    };
    units.iter().map(row).collect()
}

/// The last layer is given what the units' odds are made of, and one number more.
fn told(rows: &[Vec<f64>]) -> AdaptationSample {
    let frames = Frames::new(rows.iter().flatten().map(|value| *value as f32).collect(), UNITS);
    let inner = rows.iter().flat_map(|row| row.iter().map(|v| *v as f32 + 1.5).chain([0.5])).collect();
    AdaptationSample { frames, inner: Frames::new(inner, INNER) }
}

/// A row of units without repeats and blanks, as connectionist temporal classification reads an alignment.
fn read_as(alignment: &[usize]) -> Vec<usize> {
    let mut units = Vec::new();
    for (idx, unit) in alignment.iter().enumerate() {
        if *unit != BLANK && (idx == 0 || alignment[idx - 1] != *unit) {
            units.push(*unit);
        }
    }
    units
}

#[test]
fn shares_are_those_of_all_alignments_written_out() {
    let lexicon = lexicon();
    for (text, sounds) in
        [("ab", vec![vec![1, 2]]), ("bb ab", vec![vec![2, 2, 1, 2]]), ("ca", vec![vec![3, 1], vec![3, 2, 1]])]
    {
        let rows = frames(&[1, 0, 2, 0, 3, 1], 7);
        let (mut whole, mut wanted) = (0.0, vec![vec![0.0; UNITS]; rows.len()]);
        for number in 0..UNITS.pow(rows.len() as u32) {
            let alignment: Vec<usize> =
                (0..rows.len()).map(|time| number / UNITS.pow(time as u32) % UNITS).collect();
            // Two ways to say a word that read the same alignment each count.
            let ways = sounds.iter().filter(|sound| **sound == read_as(&alignment)).count();
            let p =
                ways as f64 * alignment.iter().zip(&rows).map(|(unit, row)| row[*unit]).sum::<f64>().exp();
            whole += p;
            alignment.iter().enumerate().for_each(|(time, unit)| wanted[time][*unit] += p);
        }
        let said = shares(&words(text), &lexicon, &rows).unwrap();
        assert!((said.score - whole.ln()).abs() < 1e-9, "{text}: {} and {}", said.score, whole.ln());
        for (row, wanted) in said.shares.iter().zip(&wanted) {
            for (share, wanted) in row.iter().zip(wanted) {
                assert!((share - wanted / whole).abs() < 1e-9, "{text}");
            }
        }
    }
    assert_eq!(shares(&words("ab ab ab ab"), &lexicon, &frames(&[1, 2], 7)), None, "they do not fit");
}

#[test]
fn the_slope_is_the_one_that_differences_of_the_loss_give() {
    let lexicon = lexicon();
    let read: Vec<ReadPhrase> = [("ab", 3), ("bb ab", 5), ("ca", 9)]
        .map(|(text, seed)| ReadPhrase {
            heard: told(&frames(&[1, 0, 2, 0, 2, 3, 1, 2], seed)),
            words: words(text),
        })
        .into();
    let at = |weights: &[f64]| -> Adaptation {
        let told = serde_json::json!({ "n_units": UNITS, "n_inner": INNER, "weights": weights });
        serde_json::from_value(told).unwrap()
    };
    let mut weights: Vec<f64> =
        (0..UNITS * (INNER + 1)).map(|idx| f64::from(idx as u32 % 7) / 10.0).collect();
    let (_, slope) = at(&weights).loss(&read, &lexicon);
    for (idx, slope) in slope.iter().enumerate() {
        let (kept, step) = (weights[idx], 1e-3);
        weights[idx] = kept + step;
        let (above, _) = at(&weights).loss(&read, &lexicon);
        weights[idx] = kept - step;
        let (below, _) = at(&weights).loss(&read, &lexicon);
        weights[idx] = kept;
        let by_differences = (above - below) / (2.0 * step);
        assert!((slope - by_differences).abs() < 1e-4, "{idx}: {slope} and {by_differences}");
    }
}

#[test]
fn a_voice_whose_two_sounds_are_taken_for_each_other_is_understood_afterwards() {
    let lexicon = lexicon();
    // Says A where the head hears B, and B where it hears A.
    let swapped = |units: &[usize], seed| {
        let units: Vec<usize> = units.iter().map(|unit| [0, 2, 1, 3][*unit]).collect();
        told(&frames(&units, seed))
    };
    let read: Vec<ReadPhrase> = (0..20)
        .map(|seed| match seed % 2 {
            0 => ReadPhrase { heard: swapped(&[0, 1, 0, 2, 0], seed), words: words("ab") },
            _ => ReadPhrase { heard: swapped(&[0, 2, 0, 1, 0], seed), words: words("ba") },
        })
        .collect();
    let adaptation = Adaptation::fit(&read, &lexicon, 3_000);
    let likelier = |frames: &Frames| -> f64 {
        let rows: Vec<Vec<f64>> =
            frames.rows().map(|row| row.iter().map(|v| f64::from(*v)).collect()).collect();
        let score = |text| shares(&words(text), &lexicon, &rows).unwrap().score;
        score("ab") - score("ba")
    };
    let heard = swapped(&[0, 1, 1, 0, 2, 0], 99);
    assert!(likelier(&heard.frames) < -2.0);
    assert!(likelier(&adaptation.apply(&heard)) > 2.0, "{}", likelier(&adaptation.apply(&heard)));
    // Unbent, nothing changes.
    let same = Adaptation::none(UNITS, INNER).apply(&heard);
    let far = same
        .rows()
        .flatten()
        .zip(heard.frames.rows().flatten())
        .map(|(a, b)| (a - b).abs())
        .fold(0.0, f32::max);
    assert!(far < 1e-5, "{far}");
    // Made for another head, or for one that does not give out its last layer's inputs, it adds nothing.
    let closed = AdaptationSample { inner: Frames::new(Vec::new(), 1), ..heard.clone() };
    assert_eq!(adaptation.apply(&closed), heard.frames);
    assert_eq!(Adaptation::none(UNITS + 1, INNER).apply(&heard), heard.frames);
}
