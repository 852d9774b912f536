//! Takes sound from a microphone.
//!
//! Takes: the name of a device, or none for the default one; any rate, number of channels and sample format.
//! Gives: `AudioBlock`s at 16 kHz mono, with the samples that were lost before each.
//! Never: works in the thread that reads the device; that one copies into a bounded ring and goes on.
//! Tested in: `tests/sound/listen.rs`, with PulseAudio's null sink as the microphone.

use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use crate::clock::SAMPLE_RATE_HZ;
pub use crate::speech::capture_input::CaptureError;
use crate::speech::capture_input::CaptureInput;
use crate::speech::input_device;
use crate::speech::recording::{mix, whole};
use crate::speech::resample::{After, Resample};

/// A stream that gives nothing for this long, while it is looked at, is taken for dead.
const SILENT_MAX: Duration = Duration::from_secs(2);
/// On a busy machine we come to look seldom, and the system as seldom to deliver: from one look to the next no more than
/// this counts.
const LOOK_MAX: Duration = Duration::from_millis(100);

/// Sound as it came, at 16 kHz mono.
#[derive(Debug, Clone, PartialEq)]
pub struct AudioBlock {
    /// The samples; they follow those of the block before unless some were lost.
    pub samples: Vec<i16>,
    /// Samples that were lost before the first one.
    pub lost_before: u64,
    /// Samples at 16 kHz that wait in the ring behind this block.
    pub behind: u64,
}

/// A microphone that is open.
pub struct Capture {
    input: CaptureInput,
    resample: Option<Resample>,
    n_taken: u64,
    /// Values lost before the next block.
    lost: u64,
    silence: DeviceSilence,
}

/// For how long a device has given nothing, while it was looked at.
#[derive(Debug)]
struct DeviceSilence {
    looked_at: Instant,
    lasted: Duration,
}

impl DeviceSilence {
    fn new(now: Instant) -> Self {
        Self { looked_at: now, lasted: Duration::ZERO }
    }

    /// The device was looked at and had nothing; true when it is dead.
    fn is_dead(&mut self, now: Instant) -> bool {
        self.lasted += now.saturating_duration_since(self.looked_at).min(LOOK_MAX);
        self.looked_at = now;
        self.lasted > SILENT_MAX
    }
}

impl Capture {
    /// Opens the microphone called `name` (or a part of it), or the default one, and begins to record.
    ///
    /// # Errors
    /// When there is none, or it cannot be used.
    pub fn open(name: Option<&str>) -> Result<Self, CaptureError> {
        let input = input_device::open(name)?;
        let resample = (input.rate_hz != SAMPLE_RATE_HZ)
            .then(|| Resample::new(input.rate_hz))
            .transpose()
            .map_err(|source| CaptureError::Resample { name: input.name.clone(), source })?;
        Ok(Self { input, resample, n_taken: 0, lost: 0, silence: DeviceSilence::new(Instant::now()) })
    }

    /// The device's name, its rate and its channels, for people.
    #[must_use]
    pub fn describe(&self) -> String {
        format!("{} ({} Hz, {} channels)", self.input.name, self.input.rate_hz, self.input.channels)
    }

    /// What came since the last time; none when there is nothing yet.
    ///
    /// # Errors
    /// When the device is gone and all that it gave was taken.
    pub fn next_block(&mut self) -> Result<Option<AudioBlock>, CaptureError> {
        let gone = self.input.gone.load(Ordering::Relaxed);
        // Kept where no sound follows yet.
        self.lost += self.gap_here();
        // Up to the next gap only, so that a loss is between the blocks where it happened.
        let until = self.input.gaps.peek().map_or(u64::MAX, |gap| gap.after - self.n_taken);
        let n = self.input.ring.slots().min(usize::try_from(until).unwrap_or(usize::MAX));
        let n = n.min(self.input.rate_hz as usize * self.input.channels);
        if n == 0 {
            let dead = gone || self.silence.is_dead(Instant::now());
            return if dead { Err(CaptureError::Gone { name: self.input.name.clone() }) } else { Ok(None) };
        }
        let mut values = Vec::with_capacity(n);
        if let Ok(chunk) = self.input.ring.read_chunk(n) {
            values.extend(chunk);
        }
        self.n_taken += values.len() as u64;
        self.silence = DeviceSilence::new(Instant::now());
        let mono = mix(&values, self.input.channels);
        let samples = match &mut self.resample {
            Some(resample) => resample
                .take(&mono, After::More)
                .map_err(|source| CaptureError::Resample { name: self.input.name.clone(), source })?,
            None => mono,
        };
        let behind = self.at_16_khz(self.input.ring.slots() as u64);
        let lost = std::mem::take(&mut self.lost);
        let lost_before = self.at_16_khz(lost);
        Ok(Some(AudioBlock { samples: samples.into_iter().map(whole).collect(), lost_before, behind }))
    }

    /// True once for each time that the system itself lost sound before we could take it.
    pub fn overrun(&mut self) -> bool {
        self.input.overruns.swap(0, Ordering::Relaxed) > 0
    }

    /// Values lost just before the next one in the ring.
    fn gap_here(&mut self) -> u64 {
        let mut lost = 0;
        while let Ok(gap) = self.input.gaps.peek()
            && gap.after <= self.n_taken
        {
            lost += gap.values;
            let _ = self.input.gaps.pop();
        }
        lost
    }

    fn at_16_khz(&self, values: u64) -> u64 {
        values / self.input.channels as u64 * u64::from(SAMPLE_RATE_HZ) / u64::from(self.input.rate_hz)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_device_is_not_dead_because_nobody_looked_at_it() {
        let begin = Instant::now();
        let mut silence = DeviceSilence::new(begin);
        assert!(!silence.is_dead(begin + Duration::from_secs(5)), "one late look says nothing");
        assert!(!silence.is_dead(begin + Duration::from_secs(9)));
        let mut looks = (1..=150).map(|n| begin + Duration::from_secs(9) + n * Duration::from_millis(20));
        assert!(looks.any(|now| silence.is_dead(now)), "looked at often, it gives nothing for two seconds");
    }
}
