//! Where hearing broke off before the sound ended.
//!
//! Takes: the journal's events in order.
//! Gives: every break, whether the exam went on after it, and what it was heard from.
//! Never: infers a break from what was said; only `closed`, `resumed` and `audio` lines count.
//! Tested in: `tests/it/fold.rs`, `tests/it/rules/journal.rs`.

use chrono::{DateTime, Utc};

use crate::clock::{Sample, WallQuality};
use crate::exam::event::{CloseReason, Event, ExamEvent};

/// What an exam was heard from.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Source {
    /// A microphone: what was not heard is gone, and `resume` goes on with it.
    #[default]
    Microphone,
    /// A file, by its name as it was given: it can be heard again.
    Recording(String),
    /// A pipe: nobody but the person knows where it came from.
    Pipe,
}

impl Source {
    /// What a person can do where hearing stopped too soon.
    #[must_use]
    pub fn way_out(&self) -> &'static str {
        match self {
            Self::Microphone => "continue with `zonecall resume`",
            Self::Recording(_) => "hear the recording again into a new folder",
            Self::Pipe => {
                "if the sound was kept elsewhere, hear it again into a new folder; otherwise continue with `zonecall \
                 resume`"
            }
        }
    }
}

/// Hearing that ended before the sound did.
#[derive(Debug, Clone, PartialEq)]
pub struct Break {
    /// When.
    pub at: DateTime<Utc>,
    /// The first sample that was not heard.
    pub sample: Sample,
    /// Why, as the journal says; none where it was never closed.
    pub why: Option<CloseReason>,
    /// What was heard.
    pub source: Source,
    /// The exam went on after it.
    pub gone_on: bool,
}

impl Break {
    /// There is still something to be done: `resume` goes on with a microphone, never with a recording.
    #[must_use]
    pub fn is_left(&self) -> bool {
        !self.gone_on || self.source != Source::Microphone
    }

    /// The file that could not be read to its end: hearing it again would end at the same place.
    #[must_use]
    pub fn cut_file(&self) -> Option<&str> {
        let Some(CloseReason::Fault(why)) = &self.why else { return None };
        match &self.source {
            Source::Recording(file) if why.contains(&format!("`{file}`")) => Some(file),
            _ => None,
        }
    }
}

/// Every break in order, and what was heard last.
pub(super) fn breaks(lines: &[ExamEvent]) -> (Vec<Break>, Source) {
    let (mut found, mut source) = (Vec::<Break>::new(), Source::default());
    let (mut wall, mut is_open) = (WallQuality::Computer, true);
    for line in lines {
        let broken = |why: Option<&CloseReason>, source: &Source| Break {
            at: line.at,
            sample: line.sample,
            why: why.cloned(),
            source: source.clone(),
            gone_on: false,
        };
        match &line.event {
            Event::Exam(header) => wall = header.wall,
            Event::Audio(file) => {
                source = match file.source.as_str() {
                    "-" => Source::Pipe,
                    // Only what is heard as it is spoken is timed by this computer's clock.
                    _ if wall == WallQuality::Computer => Source::Microphone,
                    file => Source::Recording(file.to_owned()),
                };
            }
            Event::Closed { reason, .. } => {
                is_open = false;
                if reason.breaks_off() {
                    found.push(broken(Some(reason), &source));
                }
            }
            Event::Resumed { .. } => {
                if is_open {
                    found.push(broken(None, &source));
                }
                found.iter_mut().for_each(|before| before.gone_on = true);
                // `resume` opens nothing but a microphone.
                (is_open, wall, source) = (true, WallQuality::Computer, Source::Microphone);
            }
            _ => {}
        }
    }
    (found, source)
}
