//! Time: samples while we listen, instants in the journal.
//!
//! Takes: sample numbers of the kept audio, and anchors that tie some of them to the wall clock.
//! Gives: `Sample`s, spans of them in seconds, and instants (UTC).
//! Never: assumes that two clocks agree; the scanner's clock is `frames`' business.
//! Tested in: here.

use std::fmt;
use std::ops::{Add, AddAssign};

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

/// Samples a second of everything that is kept and recognised, mono, 16 bit.
pub const SAMPLE_RATE_HZ: u32 = 16_000;

/// Number of a sample, counted from the start of the exam's audio; in JSON it is the bare number.
///
/// A position: how many samples something takes is a `u64`. Arithmetic stops at either end and never wraps.
#[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Sample(pub u64);

impl Sample {
    /// The first sample of an exam.
    pub const FIRST: Sample = Sample(0);

    /// How many samples lie between `earlier` and this one; 0 if it is not earlier.
    #[must_use]
    pub fn since(self, earlier: Sample) -> u64 {
        self.0.saturating_sub(earlier.0)
    }

    /// The sample so many samples before; the first one if there are not so many.
    #[must_use]
    pub fn back(self, samples: u64) -> Sample {
        Sample(self.0.saturating_sub(samples))
    }

    /// Seconds since the start of the exam's audio.
    #[must_use]
    pub fn seconds(self) -> f64 {
        seconds(self.0)
    }

    /// The sample at `at_s` seconds after the start of the exam's audio; the first one before it.
    #[must_use]
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // not negative, and a cast saturates
    pub fn at_second(at_s: f64) -> Sample {
        Sample((at_s.max(0.0) * f64::from(SAMPLE_RATE_HZ)).round() as u64)
    }
}

impl Add<u64> for Sample {
    type Output = Sample;

    fn add(self, samples: u64) -> Sample {
        Sample(self.0.saturating_add(samples))
    }
}

impl AddAssign<u64> for Sample {
    fn add_assign(&mut self, samples: u64) {
        *self = *self + samples;
    }
}

impl fmt::Display for Sample {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

impl fmt::Debug for Sample {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&self.0, f)
    }
}

/// A stretch of the kept audio: from the first sample to just after the last.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Span {
    /// The first sample.
    pub from: Sample,
    /// The first sample that is no longer part of it.
    pub to: Sample,
}

impl Span {
    /// Start and end in seconds since the start of the exam's audio.
    #[must_use]
    pub fn seconds(self) -> (f64, f64) {
        (self.from.seconds(), self.to.seconds())
    }

    /// How many samples it holds.
    #[must_use]
    pub fn samples(self) -> u64 {
        self.to.since(self.from)
    }

    /// The smallest span that holds both.
    #[must_use]
    pub fn join(self, other: Span) -> Span {
        Span { from: self.from.min(other.from), to: self.to.max(other.to) }
    }
}

/// How long so many samples last, in seconds.
#[must_use]
#[allow(clippy::cast_precision_loss)] // exact up to 2^53 samples, 17,000 years
pub fn seconds(samples: u64) -> f64 {
    samples as f64 / f64::from(SAMPLE_RATE_HZ)
}

/// One reading of the wall clock and the monotonic clock at a known sample.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Anchor {
    /// What the wall clock said (UTC).
    pub wall: DateTime<Utc>,
    /// What the monotonic clock said, in nanoseconds since the program started listening.
    pub monotonic_ns: u64,
    /// The sample that was being recorded.
    pub sample: Sample,
}

impl Anchor {
    /// The instant of `sample`, counted from this anchor at the nominal sample rate; it stops at either end of time.
    #[must_use]
    pub fn instant_of(&self, sample: Sample) -> DateTime<Utc> {
        let ahead = i128::from(sample.0) - i128::from(self.sample.0);
        let nanos = ahead * 1_000_000_000 / i128::from(SAMPLE_RATE_HZ);
        let (end, far) = if nanos < 0 {
            (DateTime::<Utc>::MIN_UTC, i64::MIN)
        } else {
            (DateTime::<Utc>::MAX_UTC, i64::MAX)
        };
        let away = TimeDelta::nanoseconds(i64::try_from(nanos).unwrap_or(far));
        self.wall.checked_add_signed(away).unwrap_or(end)
    }
}

/// Ties a running stream to the clocks: of all readings in a minute the one with the least delay is used.
///
/// Sound comes in lumps, so a reading can be late but never early; the least late one is the truest.
#[derive(Debug, Clone)]
pub struct Pace {
    best: Option<(i128, Anchor)>,
    /// By how much the best reading of the minute before was late.
    before_ns: Option<i128>,
    due: Sample,
}

impl Pace {
    /// An anchor is given at least this often.
    const EVERY: u64 = 60 * SAMPLE_RATE_HZ as u64;

    /// The first anchor comes a minute after sample `from`.
    #[must_use]
    pub fn new(from: Sample) -> Self {
        Self { best: None, before_ns: None, due: from + Self::EVERY }
    }

    /// Takes a reading made just after `anchor.sample` was recorded; gives the best of a minute when it is over.
    pub fn see(&mut self, anchor: Anchor) -> Option<Anchor> {
        let (sample, late_ns) = (anchor.sample, late_ns(&anchor));
        if self.best.as_ref().is_none_or(|(least_ns, _)| late_ns < *least_ns) {
            self.best = Some((late_ns, anchor));
        }
        if sample < self.due {
            return None;
        }
        self.due = sample + Self::EVERY;
        let (late_ns, best) = self.best.take()?;
        self.before_ns = Some(late_ns);
        Some(best)
    }

    /// The sample that was being recorded at the moment `at_ns` of the monotonic clock, by the least late reading; `anchor` is
    /// the last one.
    #[must_use]
    pub fn recorded_at(&self, at_ns: i128, anchor: &Anchor) -> Sample {
        let late_ns = late_ns(anchor);
        let least_ns = self.least_ns().map_or(late_ns, |least_ns| least_ns.min(late_ns));
        let samples = (at_ns - least_ns).max(0) * i128::from(SAMPLE_RATE_HZ) / 1_000_000_000;
        Sample(u64::try_from(samples).unwrap_or(u64::MAX))
    }

    /// By how much the least late reading was late.
    fn least_ns(&self) -> Option<i128> {
        let least_ns = self.best.as_ref().map(|(late_ns, _)| *late_ns);
        least_ns.into_iter().chain(self.before_ns).min()
    }

    /// How many samples lack before the reading `anchor`, by the clock; none where no reading was taken before it.
    ///
    /// What the sound system counts as lost may be less than the time that passed.
    #[must_use]
    pub fn lacking(&self, anchor: &Anchor) -> Option<u64> {
        let lacking_ns = (late_ns(anchor) - self.least_ns()?).max(0);
        u64::try_from(lacking_ns * i128::from(SAMPLE_RATE_HZ) / 1_000_000_000).ok()
    }
}

/// By how much a reading is later than its sample was due, counted from the first one.
fn late_ns(anchor: &Anchor) -> i128 {
    let due_ns = i128::from(anchor.sample.0) * 1_000_000_000 / i128::from(SAMPLE_RATE_HZ);
    i128::from(anchor.monotonic_ns) - due_ns
}

/// How far the wall clock behind an exam's instants can be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WallQuality {
    /// This computer's clock, read while listening.
    Computer,
    /// The start was given by the person who ran the program.
    Stated,
    /// The recording itself states when it began (Broadcast Wave `bext`).
    Recording,
    /// Taken from the recording file's modification time: may be off by anything.
    FileTime,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_minute_of_readings_the_least_late_one_becomes_the_anchor() {
        let start: DateTime<Utc> = "2026-05-04T10:00:00Z".parse().unwrap();
        let mut pace = Pace::new(Sample::FIRST);
        let mut given = Vec::new();
        for second in 1..=60_u64 {
            let late_ns = if second == 17 { 1_000_000 } else { 90_000_000 };
            let monotonic_ns = second * 1_000_000_000 + late_ns;
            let wall = start + TimeDelta::nanoseconds(i64::try_from(monotonic_ns).unwrap());
            given.extend(pace.see(Anchor { wall, monotonic_ns, sample: Sample(second * 16_000) }));
        }
        assert_eq!(given.len(), 1, "one anchor a minute");
        assert_eq!(given[0].sample, Sample(17 * 16_000));
        assert_eq!(given[0].instant_of(Sample::FIRST).to_rfc3339(), "2026-05-04T10:00:00.001+00:00");
    }

    /// Two clocks, read in milliseconds.
    fn read(monotonic_ms: u64, sample_ms: u64) -> Anchor {
        Anchor {
            wall: "2026-05-04T10:00:00Z".parse().unwrap(),
            monotonic_ns: monotonic_ms * 1_000_000,
            sample: Sample(sample_ms * 16),
        }
    }

    #[test]
    fn what_lacks_is_measured_by_the_clock() {
        let mut pace = Pace::new(Sample::FIRST);
        assert_eq!(pace.lacking(&read(9_000, 1_000)), None, "nothing is known yet");
        for second in 1..=70 {
            pace.see(read(second * 1_000 + 20, second * 1_000));
        }
        // 4.23 s passed in which 0.1 s of sound came.
        assert_eq!(pace.lacking(&read(74_250, 70_100)), Some(4_130 * 16));
        assert_eq!(pace.lacking(&read(70_510, 70_500)), Some(0), "an earlier reading lacks nothing");
        let again = Pace::new(Sample(70_000 * 16));
        assert_eq!(again.lacking(&read(74_250, 70_100)), None);
    }

    /// The sound comes 0.9 s late because nobody looked: what happened 2 s ago was recorded where it was.
    #[test]
    fn a_moment_is_found_in_the_sound_however_late_the_sound_comes() {
        let mut pace = Pace::new(Sample::FIRST);
        pace.see(read(1_020, 1_000));
        assert_eq!(pace.recorded_at(8_000_000_000, &read(10_000, 9_100)), Sample(7_980 * 16));
        let begun = Pace::new(Sample::FIRST);
        assert_eq!(begun.recorded_at(450_000_000, &read(500, 100)), Sample(50 * 16));
        assert_eq!(
            begun.recorded_at(0, &read(500, 100)),
            Sample::FIRST,
            "before the first sample there is none"
        );
    }

    #[test]
    fn a_sample_is_a_bare_number_in_json_and_in_print_and_never_wraps() {
        let sample = Sample(16_000);
        assert_eq!(serde_json::to_string(&Some(sample)).unwrap(), "16000");
        assert_eq!(serde_json::from_str::<Sample>("16000").unwrap(), sample);
        assert_eq!(format!("{sample} {sample:?}"), "16000 16000");
        assert_eq!((sample.since(Sample(16_001)), sample.back(16_001)), (0, Sample::FIRST));
        assert_eq!((Sample(u64::MAX) + 1, Sample::at_second(-1.0)), (Sample(u64::MAX), Sample::FIRST));
        assert_eq!((Sample::at_second(1.0), sample.seconds().to_bits()), (sample, 1.0_f64.to_bits()));
    }

    #[test]
    fn an_anchor_counts_in_both_directions() {
        let wall = "2026-05-04T10:00:00Z".parse().unwrap();
        let anchor = Anchor { wall, monotonic_ns: 0, sample: Sample(16_000) };
        assert_eq!(anchor.instant_of(Sample(24_000)).to_rfc3339(), "2026-05-04T10:00:00.500+00:00");
        assert_eq!(anchor.instant_of(Sample::FIRST).to_rfc3339(), "2026-05-04T09:59:59+00:00");
        let last = Anchor { wall: DateTime::<Utc>::MAX_UTC, ..anchor.clone() };
        assert_eq!(last.instant_of(Sample(u64::MAX)), DateTime::<Utc>::MAX_UTC);
        let first = Anchor { wall: DateTime::<Utc>::MIN_UTC, ..anchor };
        assert_eq!(first.instant_of(Sample::FIRST), DateTime::<Utc>::MIN_UTC);
    }
}
