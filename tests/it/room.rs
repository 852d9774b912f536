//! How long a room sounds, told from the ends of words.
use crate::support::speech;

use speech::{SECOND, room, spoken};
use zonecall::speech::room::reverberation_s;

const PHRASES: [&str; 5] = [
    "left fore zone one alpha transverse",
    "superficial flexor normal",
    "save",
    "echo score two",
    "longitudinal",
];

/// The phrases in a quiet place, as a room makes them that takes `seconds` to fall by 60 dB: white noise that decays
/// is the usual model of late reverberation.
fn heard(seconds: f64, noise: f64) -> Vec<Vec<i16>> {
    let mut state: u32 = 11;
    let mut white = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state) / f64::from(u32::MAX) - 0.5
    };
    let n = (seconds * SECOND as f64) as usize;
    let fading = |i: usize| 10_f64.powf(-3.0 * i as f64 / n as f64);
    let tail: Vec<f64> = (0..n).map(|i| 0.15 * white() * fading(i)).collect();
    let mut utterance = |text: &&str| {
        let dry = [spoken(text), room(0.7)].concat();
        let wet = |at: usize| {
            let late: f64 = (0..n.min(at)).map(|i| tail[i] * f64::from(dry[at - 1 - i])).sum();
            (0.5 * (f64::from(dry[at]) + late) + noise * white()) as i16
        };
        (0..dry.len()).map(wet).collect()
    };
    PHRASES.iter().map(&mut utterance).collect()
}

fn told(utterances: &[Vec<i16>]) -> Option<f64> {
    reverberation_s(utterances.iter().map(Vec::as_slice))
}

#[test]
fn a_room_that_echoes_is_told_from_one_that_does_not() {
    let dry = told(&heard(0.0, 0.0)).unwrap();
    let hall = told(&heard(1.5, 0.0)).unwrap();
    assert!(dry < 0.8, "a dry room has {dry} s");
    assert!((0.8..2.5).contains(&hall), "a room of 1.5 s has {hall} s");
}

#[test]
fn in_loud_noise_it_cannot_be_told() {
    assert_eq!(told(&heard(0.0, 8_000.0)), None);
    assert_eq!(told(&[]), None);
}
