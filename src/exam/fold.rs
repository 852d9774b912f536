//! The journal folded into one exam.
//!
//! Takes: the journal's events in order, and the protocols.
//! Gives: `Exam`: what was said, each call with its place, after everything that was taken back and corrected.
//! Never: I/O, a clock, or a guess; equal events give an equal exam.
//! Tested in: `tests/it/fold.rs`.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use crate::exam::breaks::breaks;
use crate::exam::by_hand;
use crate::exam::call::{Act, NoteEdge, Problem};
use crate::exam::context::Context;
use crate::exam::correct::{correct_calls, take_back};
use crate::exam::event::{CallEvent, Event, ExamEvent, Frame, Horse, Outcome, Settled, UtteranceEvent};
use crate::exam::journal::Lines;
use crate::exam::no_picture::is_no_picture;
use crate::exam::save_first;
use crate::exam::seq::Seq;
use crate::exam::settle::set_in_force;
use crate::exam::sign::fault;
use crate::protocol::Protocols;
use crate::terminal::ShownText as _;

pub use crate::exam::logged::{
    Exam, FileChange, Gap, LoggedCall, LoggedChange, LoggedEntry, LoggedSignature, LoggedUtterance, Note,
    OtherRecord, RecordDiffers, SoundFault, Stamped,
};

/// One step of folding: its name, and what it does to the exam.
type Pass = (&'static str, fn(&mut Exam, &Protocols));

/// What is carried out once every line was taken, in this order; each pass counts on those before it.
///
/// What was spoken counted the calls as they were spoken, so it is carried out before a person's changes. Where a call
/// belongs is known only when every call counts as what it is and is where it belongs in time.
const PASSES: [Pass; 12] = [
    ("take back changes", |exam, _| by_hand::settle_changes(exam)),
    ("withdraw spoken taking back", |exam, _| by_hand::withdraw_take_backs(exam)),
    ("take back as spoken", |exam, _| take_back(&mut exam.calls)),
    ("withdraw spoken calls", |exam, _| by_hand::withdraw_rest(exam)),
    ("correct as spoken", |exam, _| correct_calls(&mut exam.calls)),
    ("add and move calls", |exam, _| by_hand::add_and_move(exam)),
    ("withdraw added calls", |exam, _| by_hand::withdraw_rest(exam)),
    ("correct by hand", |exam, _| by_hand::correct(exam)),
    ("set places", |exam, protocols| exam.context = set_in_force(&mut exam.calls, &exam.header, protocols)),
    ("place saves by what follows", |exam, _| save_first::place(exam)),
    ("place by hand", |exam, _| by_hand::place(exam)),
    ("place notes", |exam, _| exam.place_notes(0)),
];

/// Why events are no exam.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FoldError {
    /// The first line is not there or not an exam's.
    #[error("the journal's first line, which names the exam, is missing or from another program")]
    NoHeader,
    /// It was erased.
    #[error(
        "the exam was erased on {} ({}); what is left of it shows whether a copy is the exam that it was",
        at.format("%Y-%m-%d"), why.shown()
    )]
    Erased {
        /// When.
        at: DateTime<Utc>,
        /// Why.
        why: String,
    },
}

/// Folds the journal's events into the exam.
///
/// # Errors
/// When the first line is missing; everything else that is wrong is in the exam's `damage` and `problems`.
pub fn fold(lines: &Lines, protocols: &Protocols) -> Result<Exam, FoldError> {
    let exam = fold_events(&lines.events, &lines.damage, protocols)?;
    Ok(Exam { tears: lines.tears.clone(), ..exam })
}

/// The same from events and what is wrong with their lines.
pub(crate) fn fold_events(
    events: &[ExamEvent],
    damage: &[(u64, Problem)],
    protocols: &Protocols,
) -> Result<Exam, FoldError> {
    let header = match events.first() {
        Some(ExamEvent { event: Event::Exam(header), .. }) => header,
        Some(ExamEvent { event: Event::Erased(erased), at, .. }) => {
            return Err(FoldError::Erased { at: *at, why: erased.why.clone() });
        }
        _ => return Err(FoldError::NoHeader),
    };
    let mut exam = Exam { damage: damage.to_vec(), ..Exam::new((**header).clone()) };
    events.iter().for_each(|line| exam.take(line));
    (exam.breaks, exam.source) = breaks(events);
    for (_, pass) in PASSES {
        pass(&mut exam, protocols);
    }
    if asserts() {
        assert_orders(&exam);
    }
    Ok(exam)
}

/// Whether what folding promises is asserted: in debug builds, and wherever `ZONECALL_ASSERT` is set, as it is for
/// everything that cargo runs here.
#[must_use]
pub fn asserts() -> bool {
    cfg!(debug_assertions) || std::env::var_os("ZONECALL_ASSERT").is_some()
}

/// What a person said of the horse afterwards; the rest stays as it was.
fn name(known: &mut Horse, said: &Horse) {
    let Horse { name, id, owner, species, breed, sex } = said;
    let parts = [
        (&mut known.name, name),
        (&mut known.id, id),
        (&mut known.owner, owner),
        (&mut known.species, species),
        (&mut known.breed, breed),
        (&mut known.sex, sex),
    ];
    for (known, said) in parts.into_iter().filter(|(_, said)| said.is_some()) {
        known.clone_from(said);
    }
}

/// What the rest of the program relies on.
///
/// # Panics
/// When one of them does not hold: a fault of the program, whatever the journal says.
fn assert_orders(exam: &Exam) {
    assert!(exam.calls.is_sorted_by_key(|call| call.sample), "calls are in the order of time");
    let lines = || {
        let calls = exam.calls.iter().filter(|call| !call.is_added()).map(|call| call.seq);
        let utterances = exam.utterances.iter().map(|utterance| utterance.seq);
        calls.chain(utterances).chain(exam.changes.iter().map(|change| change.seq))
    };
    let numbers: BTreeSet<Seq> = lines().collect();
    assert_eq!(numbers.len(), lines().count(), "each line has a number of its own");
    let by = exam.calls.iter().flat_map(|call| call.corrected_by.iter().chain(&call.withdrawn_by));
    let back = exam.changes.iter().filter_map(|change| change.taken_back_by.as_ref());
    for line in by.chain(back) {
        assert!(numbers.contains(line), "line {line}, which changed another one, exists");
    }
}

impl Exam {
    /// What was current when notes were spoken that began at the call with this place, or after it.
    pub(crate) fn place_notes(&mut self, from: usize) {
        let opens = |call: &&LoggedCall| call.call.act.is_note_edge(NoteEdge::Begins);
        for call in self.calls[from..].iter().filter(opens) {
            if let Some(note) = self.notes.iter_mut().rev().find(|note| note.seq == call.seq) {
                note.context = call.context.clone();
            }
        }
    }

    /// Takes one line; what calls do to each other is done afterwards.
    pub(crate) fn take(&mut self, line: &ExamEvent) {
        self.n_samples = self.n_samples.max(line.sample);
        self.timeline.take(line);
        match &line.event {
            Event::Audio(file) => self.audio.push(file.clone()),
            Event::AudioLost { samples } => self.gaps.push(Gap { at: line.sample, samples: *samples }),
            Event::Utterance(heard) => self.take_utterance(line.seq, heard),
            Event::Call(heard) => self.take_call(line.seq, heard),
            Event::Settled(settled) => self.settle(settled),
            Event::Frame(frame) => self.take_still(frame),
            Event::ScannerClock(clock) => self.scanner_clocks.push(clock.clone()),
            Event::Named(named) => {
                if named.other {
                    // An order is that of one horse: results under it would go into the other one's file.
                    (self.header.horse, self.header.order) = (Horse::default(), None);
                }
                if named.order.is_some() {
                    self.header.order.clone_from(&named.order);
                }
                name(&mut self.header.horse, &named.horse);
            }
            Event::NoteDraft(draft) => {
                if let Some(note) = self.notes.iter_mut().find(|note| note.seq == draft.note) {
                    note.draft = Some((**draft).clone());
                }
            }
            Event::Entered(entered) => {
                let entered = (**entered).clone();
                self.entries.push(LoggedEntry { seq: line.seq, at: line.at, entered });
            }
            Event::Review(review) => {
                let review = (**review).clone();
                self.changes.push(LoggedChange { seq: line.seq, at: line.at, review, taken_back_by: None });
            }
            Event::Signed(signed) => match fault(signed, &line.prev) {
                Some(problem) => self.damage.push((line.seq.0, problem)),
                None => {
                    let signed = (**signed).clone();
                    self.signed = Some(LoggedSignature {
                        seq: line.seq,
                        at: line.at,
                        signed,
                        taken_back_by: None,
                        stamp: None,
                    });
                }
            },
            Event::Closed { reason, .. } => self.closed = Some((line.at, reason.clone())),
            Event::Sealed { files } => self.sealed.clone_from(files),
            Event::Resumed { .. } => self.closed = None,
            Event::Discarded(gone) => self.deleted.extend(gone.files.iter().map(|file| file.file.clone())),
            Event::Moved { from } => self.moved_from.push(from.clone()),
            Event::Exam(_)
            | Event::Anchor(_)
            | Event::Torn { .. }
            | Event::Microphone { .. }
            | Event::Sent(_)
            | Event::Erased(_)
            | Event::Unknown { .. } => {}
        }
        // What was changed afterwards behind the journal's back was not signed by anybody.
        // Sending changes nothing of what was signed, nor does deleting a file whose hash was.
        let holds = match line.event {
            Event::Sent(_) | Event::Discarded(_) => self.is_signed,
            _ => self.signed.as_ref().is_some_and(|signed| signed.seq == line.seq),
        };
        self.is_signed = holds && self.damage.is_empty();
    }

    /// A still found again is elsewhere now. The time of saving stays as first read: copying changes file times.
    fn take_still(&mut self, found: &Frame) {
        let Some(known) = self.frames.iter_mut().find(|known| known.id == found.id) else {
            self.frames.push(found.clone());
            return;
        };
        known.file.clone_from(&found.file);
        // Stills of before these were read get them when they are found again.
        if found.patient.is_some() {
            known.patient.clone_from(&found.patient);
        }
        if known.scanner.is_none() {
            known.scanner.clone_from(&found.scanner);
        }
        if found.stated_site.is_some() {
            known.stated_site.clone_from(&found.stated_site);
        }
        if found.pixels_sha256.is_some() {
            known.pixels_sha256.clone_from(&found.pixels_sha256);
        }
        if !found.also_in.is_empty() {
            known.also_in.clone_from(&found.also_in);
        }
        if known.sha256 != found.sha256 {
            known.sha256.clone_from(&found.sha256);
            // Whether there is a picture is that of the file that is used now.
            known.problems.retain(|problem| !is_no_picture(problem));
            known.problems.extend(found.problems.iter().filter(|problem| is_no_picture(problem)).cloned());
            known.problems.push(Problem::new(
                "the file has changed since it was first found",
                "compare it with the scanner's own copy; its time is still that of the first version",
            ));
        }
    }

    fn take_utterance(&mut self, seq: Seq, heard: &UtteranceEvent) {
        let span = heard.utterance.span;
        if heard.outcome == Outcome::Note
            && let Some(note) = self.notes.last_mut()
        {
            note.span = note.span.join(span);
        }
        self.utterances.push(LoggedUtterance {
            seq,
            said_at: self.instant_of(span.from),
            span,
            words: heard.utterance.text(),
            rivals: heard.utterance.rivals.iter().map(|rival| rival.words.clone()).collect(),
            word_starts: heard.utterance.word_starts(),
            confidence: heard.utterance.confidence,
            rejected: heard.utterance.rejected,
            level_dbfs: heard.utterance.level_dbfs,
            clipped: heard.utterance.clipped,
            outcome: heard.outcome,
            settled: false,
            problems: heard.problems.clone(),
        });
    }

    fn settle(&mut self, settled: &Settled) {
        let asked = self.utterances.iter_mut().rev().find(|utterance| utterance.seq == settled.heard_seq);
        // What was not understood can be taken back, too, but never taken: nobody offered a reading of it.
        let counts = |outcome| match outcome {
            Outcome::Asked => true,
            Outcome::NotUnderstood => settled.taken.is_none(),
            _ => false,
        };
        if let Some(utterance) = asked.filter(|utterance| counts(utterance.outcome)) {
            utterance.settled = true;
            utterance.problems.clear();
            if let Some(words) = &settled.taken {
                utterance.outcome = Outcome::Calls;
                if utterance.words != *words {
                    utterance.word_starts.clear();
                    utterance.words.clone_from(words);
                }
            }
        }
    }

    fn take_call(&mut self, seq: Seq, heard: &CallEvent) {
        if let Act::Note { open: true, conclusion } = heard.call.act {
            let utterance = self.utterances.iter().rev().find(|utterance| utterance.seq == heard.heard_seq);
            let span = utterance.map_or(heard.call.span, |utterance| utterance.span);
            // The phrase that opens a note was taken for a part of the one before.
            if let Some(last) = self.notes.last_mut() {
                last.span.to = last.span.to.min(span.from);
            }
            self.notes.push(Note { seq, span, conclusion, context: Context::default(), draft: None });
        }
        let said_at = self.instant_of(heard.call.span.from);
        self.calls.push(LoggedCall::new(seq, heard.heard_seq, said_at, heard.call.clone()));
    }
}
