//! What a journal file holds, line by line.
//!
//! Takes: the bytes of a journal.
//! Gives: every whole line, and what is wrong with the rest.
//! Never: drops a line that can be read, or believes a number that no exam can hold.
//! Tested in: `tests/it/journal.rs`, `tests/it/journal_bounds.rs`.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use serde::Deserialize;
use sha2::{Digest, Sha256};

use crate::clock::Sample;
use crate::exam::bounds::{self, LINE_BYTES_MAX, SAMPLES_MAX, SEQ_MAX};
use crate::exam::call::Problem;
use crate::exam::event::{Erased, Event, ExamEvent};
use crate::exam::seq::Seq;
use crate::exam::sign::FileHash;

/// What the first line holds in place of the hash of a line before it.
pub(super) const NO_LINE: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// The kind of the line that is left of an exam which was erased.
const ERASED: &str = "erased";

#[derive(Deserialize)]
struct LineIn {
    seq: Seq,
    at: DateTime<Utc>,
    sample: Sample,
    kind: String,
    body: serde_json::Value,
    prev: String,
    #[serde(default)]
    more: bool,
}

/// What a journal file holds.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Lines {
    /// Every whole line that could be read, in file order.
    pub events: Vec<ExamEvent>,
    /// What is wrong, with the line number from 1.
    pub damage: Vec<(u64, Problem)>,
    /// Lines that were cut short while they were written, and that the program itself reported in the next line.
    pub tears: Vec<u64>,
    /// Kept files that a line says were deleted.
    pub discarded: Vec<FileHash>,
    /// Length of a last line without its line feed.
    pub torn_bytes: u64,
    /// The last line was written with others, which are not there.
    pub(super) lacks_more: bool,
    /// SHA-256 of each event's line.
    pub(super) hashes: Vec<String>,
    pub(super) last_hash: String,
}

impl Lines {
    /// SHA-256 of the last line, in hexadecimal: noted elsewhere, it shows later whether the end was cut off.
    #[must_use]
    pub fn last_hash(&self) -> &str {
        &self.last_hash
    }

    /// The first `count` events, as they were read; what was deleted later stays known.
    #[must_use]
    pub fn first(&self, count: usize) -> Lines {
        let events = self.events.iter().take(count).cloned().collect();
        let (tears, discarded) = (self.tears.clone(), self.discarded.clone());
        Lines { events, tears, discarded, ..Lines::default() }
    }

    /// What is left of an exam that was erased: its line, and what that says.
    #[must_use]
    pub fn erased(&self) -> Option<(&ExamEvent, &Erased)> {
        let first = self.events.first()?;
        if let Event::Erased(erased) = &first.event { Some((first, erased)) } else { None }
    }

    /// The number that the next line gets: one more than the last line, or than any where that one is taken.
    pub(super) fn next_seq(&self) -> Seq {
        let next = self.events.last().map_or(Seq::FIRST, |line| line.seq.next());
        if self.events.iter().all(|line| line.seq != next) {
            return next;
        }
        self.events.iter().map(|line| line.seq).max().map_or(Seq::FIRST, |most| most.next())
    }
}

/// Takes the bytes of a journal apart.
#[must_use]
pub fn lines(bytes: &[u8]) -> Lines {
    let mut reading = JournalReading {
        found: Lines { last_hash: NO_LINE.to_owned(), ..Lines::default() },
        used: BTreeSet::new(),
        unread_at: None,
        more_after: None,
    };
    for (piece, number) in bytes.split_inclusive(|byte| *byte == b'\n').zip(1..) {
        match piece.strip_suffix(b"\n") {
            Some(line) => reading.line(line, number),
            None => reading.torn(piece, number),
        }
    }
    reading.end();
    reading.found
}

/// A journal while it is read.
struct JournalReading {
    found: Lines,
    /// Numbers that lines have.
    used: BTreeSet<Seq>,
    /// The line before, where it could not be read.
    unread_at: Option<u64>,
    /// The line before, where others were written with it that belong to it.
    more_after: Option<u64>,
}

impl JournalReading {
    /// A journal that ends between two lines of one write: a power cut can leave that.
    fn end(&mut self) {
        let Some(number) = self.more_after.filter(|_| self.found.torn_bytes == 0) else { return };
        self.found.lacks_more = true;
        let message =
            "the lines that belong to this one were not written, by a crash or a power cut".to_owned();
        let help = "what was said is in the kept audio; the next line that is written reports it".to_owned();
        self.found.damage.push((number, Problem { message, help }));
    }

    fn torn(&mut self, piece: &[u8], number: u64) {
        self.found.torn_bytes = piece.len() as u64;
        self.found.last_hash = crate::hex(&Sha256::digest(piece));
        let message = format!(
            "a line was cut short while it was being written ({} bytes), by a crash or a full disk",
            piece.len()
        );
        let help = "what was said is in the kept audio; the next line that is written reports it".to_owned();
        self.found.damage.push((number, Problem { message, help }));
    }

    fn line(&mut self, line: &[u8], number: u64) {
        let hash = crate::hex(&Sha256::digest(line));
        let before = std::mem::replace(&mut self.found.last_hash, hash.clone());
        let (unread_at, more_after) = (self.unread_at.take(), self.more_after.take());
        match parts(line) {
            Ok(parts) => {
                self.more_after = parts.more.then_some(number);
                self.found
                    .damage
                    .extend(self.faults(&parts, &before, number).map(|problem| (number, problem)));
                let event = self.event(parts, number);
                if let (Event::Torn { .. }, Some(at)) = (&event.event, unread_at.or(more_after)) {
                    // The program itself reported it: a line cut short is no fault of the chain.
                    self.found.damage.retain(|(line, _)| *line != at);
                    self.found.tears.push(at);
                }
                if let Event::Discarded(gone) = &event.event {
                    self.found.discarded.extend(gone.files.iter().cloned());
                }
                self.found.events.push(event);
                self.found.hashes.push(hash);
            }
            Err(why) => {
                self.unread_at = Some(number);
                let problem = Problem::new(
                    format!("line {number} is not a journal line: {why}"),
                    "the line was changed or cut; compare with a copy",
                );
                self.found.damage.push((number, problem));
            }
        }
    }

    /// Checks a line against the one before it.
    ///
    /// What is left of an exam that was erased goes on with the numbers and the chain of the lines that are gone.
    fn faults(&self, line: &LineIn, hash_before: &str, number: u64) -> impl Iterator<Item = Problem> + use<> {
        let is_left = number == 1 && line.kind == ERASED;
        let wanted = self.found.events.last().map_or(Seq::FIRST, |event| event.seq.next());
        let chain = (!is_left && line.prev != hash_before).then(|| {
            Problem::new(
                format!("the line with seq {} does not match the line before it", line.seq),
                "a line was changed, added or removed after it was written; compare with a copy",
            )
        });
        let order = (!is_left && line.seq != wanted).then(|| {
            Problem::new(
                format!("seq is {}, but {wanted} was expected", line.seq),
                "lines are missing or repeated; compare with a copy",
            )
        });
        chain.into_iter().chain(order)
    }

    /// The line as an event with a number of its own; what no exam can hold is kept and not used.
    fn event(&mut self, parts: LineIn, number: u64) -> ExamEvent {
        let event = body(&parts, number, &mut self.found.damage);
        let LineIn { seq, at, sample, kind, body, prev, .. } = parts;
        let mut line = ExamEvent { seq, at, sample, event, prev };
        let last = self.found.events.last();
        if let Some(problem) = bounds::fault(&line, &body) {
            self.found.damage.push((number, problem));
            line.event = Event::Unknown { kind, body };
            line.at = last.map_or(DateTime::UNIX_EPOCH, |last| last.at);
            line.sample =
                line.sample.min(Sample(SAMPLES_MAX)).min(last.map_or(Sample::FIRST, |last| last.sample));
        }
        if line.seq.0 > SEQ_MAX || !self.used.insert(line.seq) {
            line.seq = self.used.last().map_or(Seq::FIRST, |most| most.next());
            self.used.insert(line.seq);
        }
        line
    }
}

fn parts(line: &[u8]) -> Result<LineIn, String> {
    if line.len() > LINE_BYTES_MAX {
        return Err(format!("it has {} bytes, and a line has at most {LINE_BYTES_MAX}", line.len()));
    }
    serde_json::from_slice(line).map_err(|error| error.to_string())
}

/// The event in a line; one of a kind or shape that this version does not know is kept as it is.
fn body(line: &LineIn, number: u64, damage: &mut Vec<(u64, Problem)>) -> Event {
    let tagged = serde_json::json!({ "kind": line.kind, "body": line.body });
    serde_json::from_value(tagged).unwrap_or_else(|error| {
        damage.push((
            number,
            Problem::new(
                format!("`{}` is not known to this version: {error}", line.kind),
                "it is kept; a later version of the program may know it",
            ),
        ));
        Event::Unknown { kind: line.kind.clone(), body: line.body.clone() }
    })
}
