//! Turns words into speech, through the program `espeak-ng` where it is installed.
//!
//! Takes: a text in the language of the exam.
//! Gives: samples, full scale 1, at any rate.
//! Never: speaks; that is `speech_output`.
//! Tested in: `tests/sound/listen.rs`, and here.

use std::io::Cursor;
use std::process::{Command, Stdio};

use crate::speech::resample::{After, Resample, ResampleRefused};

const PROGRAM: &str = "espeak-ng";
/// Words a minute: a little slower than the program's own 175, for a noisy place.
pub const WORDS_A_MINUTE: u16 = 160;
/// Pitch of what is reported, and of what is asked, 0 to 99: a question is heard as one before its words are understood.
const PITCH: (&str, &str) = ("50", "75");

/// The voice cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum VoiceError {
    /// The program is missing or refuses.
    #[error(
        "cannot run `{PROGRAM}`: {reason}; install it (Debian: apt install espeak-ng), or use --voice off"
    )]
    Program {
        /// Why.
        reason: String,
    },
    /// What it gave is no sound.
    #[error("`{PROGRAM}` gave no sound: {0}")]
    Sound(#[from] hound::Error),
    /// The sound cannot be brought to the loudspeaker's rate.
    #[error("the voice cannot be resampled: {0}")]
    Rate(#[from] ResampleRefused),
}

/// A voice of one language.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Voice {
    language: String,
    style: VoiceStyle,
}

/// How fast and how loud a voice speaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct VoiceStyle {
    /// Words a minute.
    pub words_a_minute: u16,
    /// Loudness in percent of the usual one.
    pub volume_percent: u8,
}

impl Default for VoiceStyle {
    fn default() -> Self {
        Self { words_a_minute: WORDS_A_MINUTE, volume_percent: 100 }
    }
}

impl Voice {
    /// The voice for `language`, such as `en`, tried out once.
    ///
    /// # Errors
    /// When the program is missing, or has no such language.
    pub fn find(language: &str) -> Result<Self, VoiceError> {
        let this = Self { language: language.to_owned(), style: VoiceStyle::default() };
        this.samples("a", 16_000)?;
        Ok(this)
    }

    /// The same voice, as fast and as loud as this.
    #[must_use]
    pub fn styled(self, style: VoiceStyle) -> Self {
        Self { style, ..self }
    }

    /// `text` as speech.
    ///
    /// # Errors
    /// When the program fails.
    pub fn samples(&self, text: &str, rate_hz: u32) -> Result<Vec<f32>, VoiceError> {
        let failed = |reason: String| VoiceError::Program { reason };
        let VoiceStyle { words_a_minute, volume_percent } = self.style;
        let (speed, volume) = (words_a_minute.to_string(), volume_percent.to_string());
        let pitch = if text.ends_with('?') { PITCH.1 } else { PITCH.0 };
        let spoken = Command::new(PROGRAM)
            .args(["--stdout", "-v", &self.language, "-s", &speed, "-a", &volume, "-p", pitch, "--", text])
            .stdin(Stdio::null())
            .output()
            .map_err(|error| failed(error.to_string()))?;
        if !spoken.status.success() {
            return Err(failed(String::from_utf8_lossy(&spoken.stderr).trim().to_owned()));
        }
        let mut wav = hound::WavReader::new(Cursor::new(whole_length(spoken.stdout)))?;
        let from_hz = wav.spec().sample_rate;
        let samples: Vec<f32> =
            wav.samples::<i16>().map_while(Result::ok).map(|sample| f32::from(sample) / 32_768.0).collect();
        if samples.is_empty() {
            return Err(failed("it said nothing".to_owned()));
        }
        Ok(Resample::between(from_hz, rate_hz)?.take(&samples, After::Nothing)?)
    }
}

/// Into a pipe the program writes a header that promises more sound than comes; readers want the true length.
fn whole_length(mut wav: Vec<u8>) -> Vec<u8> {
    const DATA: &[u8] = b"data";
    if let Some(at) = wav.windows(DATA.len()).position(|part| part == DATA)
        && let Some(length) = u32::try_from(wav.len().saturating_sub(at + 8)).ok()
        && let Some(place) = wav.get_mut(at + 4..at + 8)
    {
        place.copy_from_slice(&(length - length % 2).to_le_bytes());
    }
    wav
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn speech_is_as_long_at_any_rate() {
        let voice = Voice::find("en").unwrap();
        let (low, high) =
            (voice.samples("two bravo", 16_000).unwrap(), voice.samples("two bravo", 48_000).unwrap());
        assert!(low.len() > 8_000, "two words take half a second at least: {}", low.len());
        assert!(high.len().abs_diff(3 * low.len()) < 48, "{} {}", low.len(), high.len());
        assert!(low.iter().any(|sample| sample.abs() > 0.05), "it is not silent");
    }

    #[test]
    fn it_speaks_as_fast_and_as_loud_as_it_is_set_and_asks_in_another_pitch() {
        let voice = Voice::find("en").unwrap();
        let styled = |words_a_minute, volume_percent| {
            voice.clone().styled(VoiceStyle { words_a_minute, volume_percent })
        };
        let text = "left fore two bravo";
        let said = |voice: &Voice, text: &str| voice.samples(text, 16_000).unwrap();
        let loudest = |samples: &[f32]| samples.iter().fold(0.0_f32, |most, sample| most.max(sample.abs()));
        let (usual, fast, quiet) =
            (said(&voice, text), said(&styled(260, 100), text), said(&styled(160, 30), text));
        assert!(fast.len() * 4 < usual.len() * 3, "{} {}", fast.len(), usual.len());
        assert!(loudest(&quiet) * 2.0 < loudest(&usual), "{} {}", loudest(&quiet), loudest(&usual));
        assert_ne!(said(&voice, "two bravo?"), said(&voice, "two bravo"));
    }

    #[test]
    fn a_language_that_it_lacks_is_told() {
        let error = Voice::find("zz").unwrap_err().to_string();
        assert!(error.contains("espeak-ng"), "{error}");
    }
}
