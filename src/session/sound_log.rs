//! When the program itself could be heard, by the monotonic clock.
//!
//! Takes: when a text or a tone begins to be played, and when the last of it dies away.
//! Gives: these stretches of time, each as long as it was, however seldom they are asked for.
//! Never: plays, or knows a sample number.
//! Tested in: here.

use std::collections::VecDeque;
use std::time::Instant;

use crate::session::effect::ProgramSound;

/// Stretches that are kept until they are asked for; of more than these the oldest are left out.
const KEPT_MAX: usize = 32;

/// A stretch of time in which the program could be heard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct ProgramSoundAt {
    /// What could be heard.
    pub(super) sound: ProgramSound,
    /// Nothing of it could be heard before.
    pub(super) from: Instant,
    /// When the last of it dies away; of what still goes on, now.
    pub(super) to: Instant,
}

/// The stretches since they were asked for last.
#[derive(Debug, Default)]
pub(super) struct SoundLog {
    ended: VecDeque<ProgramSoundAt>,
    going_on: Option<(ProgramSound, Instant)>,
}

impl SoundLog {
    /// It begins to be played.
    pub(super) fn begin(&mut self, sound: ProgramSound, now: Instant) {
        self.end(now);
        self.going_on = Some((sound, now));
    }

    /// What is being played dies away at `to`, which may be yet to come.
    pub(super) fn end(&mut self, to: Instant) {
        let Some((sound, from)) = self.going_on.take() else { return };
        self.ended.push_back(ProgramSoundAt { sound, from, to: to.max(from) });
        while self.ended.len() > KEPT_MAX {
            self.ended.pop_front();
        }
    }

    /// What could be heard since the last time; what goes on is given again each time, up to `now`.
    pub(super) fn take(&mut self, now: Instant) -> Vec<ProgramSoundAt> {
        let going_on = self.going_on.clone();
        let going_on = going_on.map(|(sound, from)| ProgramSoundAt { sound, from, to: now.max(from) });
        self.ended.drain(..).chain(going_on).collect()
    }
}

/// By how many nanoseconds `at` is later than `now`; less than none where it is earlier.
pub(super) fn ns_after(now: Instant, at: Instant) -> i128 {
    let ns = |later: Instant, earlier: Instant| {
        i128::try_from(later.saturating_duration_since(earlier).as_nanos()).unwrap_or(i128::MAX)
    };
    ns(at, now) - ns(now, at)
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::*;

    #[test]
    fn a_text_is_given_from_its_first_sound_to_its_last_however_late_it_is_asked_for() {
        let begin = Instant::now();
        let at = |ms| begin + Duration::from_millis(ms);
        let text = ProgramSound::Voice("right fore?".to_owned());
        let mut log = SoundLog::default();
        log.begin(text.clone(), at(100));
        let one = |sound: &ProgramSound, from, to| ProgramSoundAt {
            sound: sound.clone(),
            from: at(from),
            to: at(to),
        };
        assert_eq!(log.take(at(400)), [one(&text, 100, 400)], "it goes on");
        // Nobody asked for four seconds, in which it ended and a tone began and ended.
        log.end(at(1_900));
        log.begin(ProgramSound::Tone, at(3_000));
        log.end(at(3_120));
        assert_eq!(log.take(at(4_500)), [one(&text, 100, 1_900), one(&ProgramSound::Tone, 3_000, 3_120)]);
        assert_eq!(log.take(at(4_600)), [], "each is given to its end once");
        for n in 0..100 {
            log.begin(ProgramSound::Tone, at(5_000 + n));
            log.end(at(5_001 + n));
        }
        assert_eq!(log.take(at(6_000)).len(), KEPT_MAX, "nobody may ask for an hour");
    }
}
