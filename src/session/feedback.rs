//! What is sounded and said.
//!
//! Takes: the options, then tones and texts.
//! Gives: sound, where there is a loudspeaker and sound is wanted.
//! Never: keeps the caller waiting.
//! Tested in: `tests/sound/listen.rs`.

use std::time::Instant;

use crate::session::options::{Audible, ListenOptions};
use crate::session::sound_log::ProgramSoundAt;
use crate::session::speech_output::SpeechOutput;
use crate::session::tone::Tone;
use crate::session::voice::Voice;
use crate::terminal;

/// Tones and speech; without a loudspeaker neither.
#[derive(Debug, Default)]
pub struct Feedback {
    /// None where there is no loudspeaker, or nothing is to be heard of it.
    output: Option<SpeechOutput>,
    has_tones: bool,
}

impl Feedback {
    /// Opens the loudspeaker; why there is none is written to standard error, and listening goes on without it.
    #[must_use]
    pub fn open(options: &ListenOptions) -> Self {
        if options.tones == Audible::Off && options.voice == Audible::Off {
            return Self::default();
        }
        let voice = (options.voice == Audible::On)
            .then(|| Voice::find(&options.language))
            .map(|found| found.map(|voice| voice.styled(options.voice_style)))
            .and_then(|found| {
                found.map_err(|error| terminal::warn(format!("zonecall: no voice: {error}"))).ok()
            });
        let output = SpeechOutput::open(voice)
            .map_err(|error| terminal::warn(format!("zonecall: no tones and no voice: {error}")));
        Self { output: output.ok(), has_tones: options.tones == Audible::On }
    }

    /// True where it can speak.
    #[must_use]
    pub fn has_voice(&self) -> bool {
        self.output.as_ref().is_some_and(SpeechOutput::has_voice)
    }

    /// True from the order to say something until the last of it has died away.
    #[must_use]
    pub fn speaks(&self) -> bool {
        self.output.as_ref().is_some_and(SpeechOutput::speaks)
    }

    /// When the program itself could be heard since the last time, up to `now`.
    pub(super) fn own_sounds(&self, now: Instant) -> Vec<ProgramSoundAt> {
        self.output.as_ref().map(|output| output.own_sounds(now)).unwrap_or_default()
    }

    /// Sounds a tone.
    pub fn sound(&self, tone: Tone) {
        if let Some(output) = self.output.as_ref().filter(|_| self.has_tones) {
            output.sound(tone);
        }
    }

    /// Breaks off what is being said, and leaves out what waits to be said.
    pub fn fall_silent(&self) {
        if let Some(output) = &self.output {
            output.fall_silent();
        }
    }

    /// Says a text.
    pub fn say(&self, text: &str) {
        if let Some(output) = &self.output {
            output.say(text);
        }
    }
}
