//! Which calls came out of one phrase, so that they are taken back together.
//!
//! Takes: the calls that count, one after the other.
//! Gives: how many calls the last phrases were.
//! Never: looks at the record; what is taken back is decided in `correct`.
//! Tested in: `tests/it/fold.rs`.

use crate::clock::Span;
use crate::exam::call::{Act, Call, Command};
use crate::exam::correct::can_be_taken_back;

/// The phrases that can still be taken back, each as the number of its calls, the last one last.
#[derive(Debug, Clone, Default)]
pub(crate) struct JoinedCalls {
    phrases: Vec<usize>,
    /// Where the last call was heard.
    last: Option<Span>,
}

impl JoinedCalls {
    /// Adds a call: "superficial and deep normal" is two, out of the same words.
    pub(crate) fn follow(&mut self, call: &Call) {
        if let Act::Command(Command::TakeBack { count }) = call.act {
            self.take(count);
        } else if can_be_taken_back(&call.act) {
            match self.phrases.last_mut() {
                Some(calls) if self.last.is_some_and(|last| call.span.from < last.to) => *calls += 1,
                _ => self.phrases.push(1),
            }
            self.last = Some(call.span);
        }
    }

    /// How many calls the last phrases are; of what was said before this was counted, each is one.
    pub(crate) fn calls_in(&self, phrases: usize) -> usize {
        let known: usize = self.phrases.iter().rev().take(phrases).sum();
        known + phrases.saturating_sub(self.phrases.len())
    }

    fn take(&mut self, mut count: usize) {
        while let Some(calls) = self.phrases.pop() {
            if calls > count {
                self.phrases.push(calls - count);
                break;
            }
            count -= calls;
        }
        self.last = None;
    }
}
