//! What the suppressor leaves: speech where it was, steady noise a good deal weaker, and nothing longer or shorter.
use crate::support::speech;

use zonecall::speech::denoise::denoise;

fn noise(n: usize, peak: f64) -> Vec<i16> {
    let mut state: u64 = 1;
    let mut random = || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / f64::from(1_u32 << 31) - 1.0
    };
    (0..n).map(|_| (random() * peak) as i16).collect()
}

fn level_db(samples: &[i16]) -> f64 {
    let power = samples.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / samples.len() as f64;
    10.0 * power.max(1e-9).log10()
}

fn likeness(a: &[i16], b: &[i16], later: usize) -> f64 {
    a.iter().zip(&b[later..]).map(|(a, b)| f64::from(*a) * f64::from(*b)).sum()
}

#[test]
fn noise_before_speech_is_weaker_and_speech_stays_where_it_was() {
    let said = speech::spoken("left fore zone two alpha transverse");
    let mut utterance = noise(16_000, 600.0);
    let noisy: Vec<i16> =
        noise(said.len(), 600.0).iter().zip(&said).map(|(n, s)| n.saturating_add(*s)).collect();
    utterance.extend(noisy);
    let quiet = denoise(&utterance).unwrap();
    assert_eq!(quiet.len(), utterance.len());
    let (before, after) = (level_db(&utterance[8_000..16_000]), level_db(&quiet[8_000..16_000]));
    assert!(after < before - 8.0, "noise alone: {before:.1} dB, then {after:.1} dB");
    // Against the speech without noise: most alike when neither is moved.
    let (spoken, heard) = (&said[..said.len() - 200], &quiet[16_000 - 100..]);
    let best =
        (0..200).max_by(|a, b| likeness(spoken, heard, *a).total_cmp(&likeness(spoken, heard, *b))).unwrap();
    assert!(best.abs_diff(100) <= 2, "moved by {} samples", best as i64 - 100);
    let loud = level_db(&said) - level_db(&quiet[16_000..]);
    assert!(loud.abs() < 3.0, "speech is {loud:.1} dB weaker");
}

#[test]
fn short_and_empty_utterances_keep_their_length() {
    for n in [0, 1, 159, 160, 481, 16_001] {
        assert_eq!(denoise(&noise(n, 1_000.0)).unwrap().len(), n);
    }
}
