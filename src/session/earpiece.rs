//! Whether the microphone hears what the program plays: in an earpiece it does not.
//!
//! Takes: sound from before the alarm tone was played and from while it was.
//! Gives: whether the tone is in it.
//! Never: plays or records.
//! Tested in: here; with sound in `tests/sound/setup.rs`.

use std::f64::consts::TAU;

use crate::clock::SAMPLE_RATE_HZ;
use crate::session::tone::Tone;

/// Samples of one look: 50 ms, half of one sound of the tone.
const LOOK: usize = SAMPLE_RATE_HZ as usize / 20;
/// The pitch must be so many times as strong as it ever is without the tone (10 dB); our own choice, which no speech is
/// needed for, as the room is quiet then.
const TIMES: f64 = 10.0;
/// Weaker than this, of full scale squared (-80 dB), it drowns in the steps of 16 bits.
const LEAST: f64 = 1e-8;

/// Whether the alarm tone is heard in `during` and was not in `before`.
#[must_use]
pub fn hears_tone(before: &[i16], during: &[i16]) -> bool {
    let strongest = |samples: &[i16]| samples.chunks_exact(LOOK).map(strength_of_pitch).fold(0.0, f64::max);
    strongest(during) > (TIMES * strongest(before)).max(LEAST)
}

/// How strong the pitch of the alarm is: the squared amplitude of its wave, of full scale.
fn strength_of_pitch(samples: &[i16]) -> f64 {
    let step = TAU * f64::from(Tone::Alarm.pitch_hz()) / f64::from(SAMPLE_RATE_HZ);
    let (mut sine, mut cosine, mut n, mut phase) = (0.0, 0.0, 0.0, 0.0_f64);
    for sample in samples {
        let value = f64::from(*sample) / 32_768.0;
        sine += value * phase.sin();
        cosine += value * phase.cos();
        n += 1.0;
        phase += step;
    }
    let half = f64::max(n, 1.0) / 2.0;
    (sine / half).powi(2) + (cosine / half).powi(2)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::cast_possible_truncation)] // tests may

    use super::*;

    /// A second of noise, the same each time.
    fn noise(loudness: f64) -> Vec<f64> {
        let mut state = 1_u32;
        let mut next = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (f64::from(state) / f64::from(u32::MAX) - 0.5) * 2.0 * loudness
        };
        (0..SAMPLE_RATE_HZ).map(|_| next()).collect()
    }

    fn whole(samples: &[f64]) -> Vec<i16> {
        samples.iter().map(|value| (value * 32_767.0) as i16).collect()
    }

    #[test]
    fn the_tone_is_found_in_noise_and_noise_is_no_tone() {
        let room = noise(0.01);
        let mut with_tone = room.clone();
        let tone = Tone::Alarm.samples(SAMPLE_RATE_HZ);
        with_tone.iter_mut().zip(&tone).for_each(|(value, tone)| *value += 0.1 * f64::from(*tone));
        assert!(hears_tone(&whole(&room), &whole(&with_tone)), "a tenth of it comes back");
        assert!(!hears_tone(&whole(&room[..8_000]), &whole(&room[8_000..])), "only the room");
        assert!(!hears_tone(&[0; 16_000], &[0; 16_000]), "silence");
    }
}
