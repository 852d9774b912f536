//! The three tones that say what became of an utterance.
//!
//! Takes: what to say, and the sample rate of the loudspeaker.
//! Gives: samples, full scale 1.
//! Never: a click; each tone swells and fades.
//! Tested in: here.

use std::f32::consts::TAU;

/// Loudness of a tone, of full scale: clear next to a horse, and far from hurting in an earpiece.
const LOUDNESS: f32 = 0.25;
/// Swelling and fading, in seconds.
const EDGE_S: f32 = 0.01;

/// What a tone means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// One short rising tone: understood and written down.
    Understood,
    /// Two low tones: heard, not understood.
    NotUnderstood,
    /// Three high tones: something must be corrected now.
    Alarm,
}

/// A stretch of sound: from one pitch to another in Hz, then quiet, in seconds.
struct ToneSweep {
    from_hz: f32,
    to_hz: f32,
    sound_s: f32,
    quiet_s: f32,
}

impl Tone {
    /// All of them, the usual one first.
    pub const ALL: [Tone; 3] = [Tone::Understood, Tone::NotUnderstood, Tone::Alarm];

    /// What it sounds like, for people.
    #[must_use]
    pub const fn sounds_like(self) -> &'static str {
        match self {
            Tone::Understood => "one short rising tone",
            Tone::NotUnderstood => "two low tones",
            Tone::Alarm => "three high tones",
        }
    }

    /// What it means and what to do, for people.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Tone::Understood => "understood and written down; before the first phrase: it is listening",
            Tone::NotUnderstood => {
                "not understood: say it again (or, with the voice off, answer the question on the screen)"
            }
            Tone::Alarm => {
                "act now, the screen says on what: a view left without its still, a save without a limb or a zone, a still that \
                 was not accepted, or a device or a folder that is lost"
            }
        }
    }

    fn sweeps(self) -> Vec<ToneSweep> {
        let steady = |hz, sound_s| ToneSweep { from_hz: hz, to_hz: hz, sound_s, quiet_s: 0.08 };
        match self {
            Tone::Understood => vec![ToneSweep { from_hz: 660.0, to_hz: 990.0, sound_s: 0.12, quiet_s: 0.0 }],
            Tone::NotUnderstood => vec![steady(220.0, 0.15), steady(220.0, 0.15)],
            Tone::Alarm => vec![steady(1320.0, 0.1), steady(1320.0, 0.1), steady(1320.0, 0.1)],
        }
    }

    /// The pitch that it begins with.
    #[must_use]
    pub fn pitch_hz(self) -> f32 {
        self.sweeps().first().map_or(0.0, |sweep| sweep.from_hz)
    }

    /// Its samples at `rate_hz`.
    #[must_use]
    pub fn samples(self, rate_hz: u32) -> Vec<f32> {
        self.sweeps().iter().flat_map(|sweep| sweep.samples(rate_hz)).collect()
    }
}

impl ToneSweep {
    #[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // far fewer than 2^24 samples
    #[allow(clippy::cast_sign_loss)] // lengths are positive
    fn samples(&self, rate_hz: u32) -> Vec<f32> {
        let rate = rate_hz as f32;
        let (sound, quiet) = ((self.sound_s * rate) as usize, (self.quiet_s * rate) as usize);
        let mut phase = 0.0;
        let mut out = Vec::with_capacity(sound + quiet);
        for idx in 0..sound {
            let (done_s, left_s) = (idx as f32 / rate, (sound - 1 - idx) as f32 / rate);
            let edge = (done_s.min(left_s) / EDGE_S).min(1.0);
            out.push(LOUDNESS * edge * f32::sin(phase));
            let hz = self.from_hz + (self.to_hz - self.from_hz) * idx as f32 / sound as f32;
            phase = (phase + TAU * hz / rate) % TAU;
        }
        out.resize(sound + quiet, 0.0);
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pitch by counting the times that the wave goes up through zero.
    fn pitch_hz(samples: &[f32], rate_hz: u32) -> f32 {
        let ups = samples.windows(2).filter(|pair| pair[0] <= 0.0 && pair[1] > 0.0).count();
        ups as f32 * rate_hz as f32 / samples.len() as f32
    }

    #[test]
    fn understood_rises_and_the_others_keep_their_pitch_at_any_rate() {
        for rate_hz in [16_000, 44_100, 48_000] {
            let up = Tone::Understood.samples(rate_hz);
            let (first, second) = up.split_at(up.len() / 2);
            assert!(pitch_hz(second, rate_hz) > pitch_hz(first, rate_hz) + 100.0);
            let low = Tone::NotUnderstood.samples(rate_hz);
            let sound = &low[..rate_hz as usize * 15 / 100];
            assert!((pitch_hz(sound, rate_hz) - 220.0).abs() < 10.0);
        }
    }

    #[test]
    fn a_tone_begins_and_ends_without_a_click() {
        for tone in [Tone::Understood, Tone::NotUnderstood, Tone::Alarm] {
            let samples = tone.samples(48_000);
            let step = samples.windows(2).map(|pair| (pair[1] - pair[0]).abs()).fold(0.0, f32::max);
            assert!(samples[0] == 0.0 && samples.last().is_some_and(|last| last.abs() < 0.01));
            // The steepest step of a sine of this loudness and pitch.
            assert!(step < 1.1 * LOUDNESS * TAU * 1320.0 / 48_000.0, "{tone:?}: {step}");
        }
    }
}
