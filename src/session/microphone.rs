//! A microphone that may go and come back.
//!
//! Takes: its name, or none for the default one.
//! Gives: sound, and when it was lost or is back.
//! Never: knows of an exam.
//! Tested in: `tests/sound/listen.rs`, `tests/sound/exams.rs`.

use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};

use crate::clock::SAMPLE_RATE_HZ;
use crate::session::error::SessionError;
use crate::speech::capture::{AudioBlock, Capture, CaptureError};

/// A microphone must give its first sound within this time.
const FIRST_SOUND_MAX: Duration = Duration::from_secs(10);
/// How often the microphone is asked for sound.
pub const PAUSE: Duration = Duration::from_millis(20);
/// A lost microphone is looked for this often.
const LOOK_EVERY: Duration = Duration::from_secs(1);

/// A microphone that gives sound.
pub struct Opened {
    /// The microphone.
    pub capture: Capture,
    /// Its first sound.
    pub first: AudioBlock,
    /// When the first sample of `first` was recorded.
    pub began_at: DateTime<Utc>,
}

/// Opens a microphone and waits for its first sound.
///
/// # Errors
/// When it cannot be opened or gives no sound.
pub fn open(device: Option<&str>) -> Result<Opened, SessionError> {
    let mut capture = Capture::open(device)?;
    let since = Instant::now();
    while since.elapsed() < FIRST_SOUND_MAX {
        let block = match capture.next_block() {
            // On a busy machine the first sound takes its time; that it is gone is sure only after sound came.
            Err(CaptureError::Gone { .. }) => None,
            block => block?,
        };
        if let Some(first) = block.filter(|block| !block.samples.is_empty()) {
            let began_at = before_now(first.samples.len() as u64 + first.behind);
            return Ok(Opened { capture, first, began_at });
        }
        std::thread::sleep(PAUSE);
    }
    Err(SessionError::NoSound { name: capture.describe() })
}

/// The instant so many samples before now.
#[must_use]
pub fn before_now(samples: u64) -> DateTime<Utc> {
    Utc::now() - how_long(samples)
}

/// How long so many samples last.
#[must_use]
pub fn how_long(samples: u64) -> TimeDelta {
    TimeDelta::microseconds(i64::try_from(samples * 1_000_000 / u64::from(SAMPLE_RATE_HZ)).unwrap_or(0))
}

/// What a microphone gives.
pub enum Given {
    /// Sound.
    Sound(AudioBlock),
    /// Nothing yet.
    Nothing,
    /// It is gone; it is looked for from now on.
    Lost,
    /// It is back, after this time.
    Back(Duration),
}

/// A microphone that was open once.
pub struct Microphone {
    capture: Option<Capture>,
    device: Option<String>,
    name: String,
    lost_at: Option<Instant>,
    looked_at: Instant,
}

impl Microphone {
    /// `device` is what it is looked for by when it is lost.
    #[must_use]
    pub fn new(capture: Capture, device: Option<&str>) -> Self {
        Self {
            name: capture.describe(),
            capture: Some(capture),
            device: device.map(str::to_owned),
            lost_at: None,
            looked_at: Instant::now(),
        }
    }

    /// Its name, rate and channels, for people.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What came since the last time.
    ///
    /// # Errors
    /// When the sound cannot be brought to the rate of the exam.
    pub fn listen(&mut self) -> Result<Given, SessionError> {
        let Some(capture) = &mut self.capture else { return Ok(self.look_for()) };
        match capture.next_block() {
            Ok(block) => Ok(block.map_or(Given::Nothing, Given::Sound)),
            Err(CaptureError::Gone { .. }) => {
                if let Some(dead) = self.capture.take() {
                    // The system may wait for a dead device when it is closed; listening does not wait for that.
                    std::thread::spawn(move || drop(dead));
                }
                self.lost_at = Some(Instant::now());
                Ok(Given::Lost)
            }
            Err(error) => Err(error.into()),
        }
    }

    /// True once for each time that the system itself lost sound.
    pub fn overrun(&mut self) -> bool {
        self.capture.as_mut().is_some_and(Capture::overrun)
    }

    fn look_for(&mut self) -> Given {
        if self.looked_at.elapsed() < LOOK_EVERY {
            return Given::Nothing;
        }
        self.looked_at = Instant::now();
        let Ok(capture) = Capture::open(self.device.as_deref()) else { return Given::Nothing };
        self.name = capture.describe();
        self.capture = Some(capture);
        Given::Back(self.lost_at.take().map_or(Duration::ZERO, |at| at.elapsed()))
    }
}
