//! The journal folded into one exam.
//!
//! Takes: the journal's events in order, and the protocols.
//! Gives: `Exam`: what was said, with the context that was in force, taking back and putting right carried out.
//! Never: I/O, a clock, or a guess; equal events give an equal exam.
//! Tested in: `tests/it/fold.rs`.

use chrono::{DateTime, Utc};

use crate::clock::{Anchor, Span};
use crate::exam::breaks::{Break, Source, breaks};
use crate::exam::call::{Act, Call, Problem};
use crate::exam::context::Context;
use crate::exam::correct::{correct_calls, set_in_force, take_back};
use crate::exam::event::{
    AudioFile, CallEvent, Entered, Event, ExamEvent, Frame, Header, Outcome, Settled, UtteranceEvent,
};
use crate::exam::journal::Lines;
use crate::exam::review::{LoggedChange, correct_by_hand, place_by_hand, withdraw_rest, withdraw_take_backs};
use crate::exam::sign::{Signed, fault};
use crate::protocol::Protocols;

/// Sound that was lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// The first sample after it.
    pub at: u64,
    /// How many samples; 0 where the system does not say.
    pub samples: u64,
}

/// What is wrong with the kept sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SoundFault {
    /// A file cannot be read.
    Unreadable {
        /// Its path inside the exam folder.
        file: String,
        /// Why not.
        why: String,
    },
    /// A file is shorter than the journal says.
    Short {
        /// Its path inside the exam folder.
        file: String,
        /// Samples that it lacks at its end.
        lacks: u64,
        /// The first of them, counted from the start of the exam.
        from: u64,
    },
    /// Nothing but zeros, counted from the start of the exam.
    Silent(Span),
}

/// The exam as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Exam {
    /// The journal's first line.
    pub header: Header,
    /// Calls in the order they were said, withdrawn ones too.
    pub calls: Vec<LoggedCall>,
    /// Every utterance, understood or not.
    pub utterances: Vec<LoggedUtterance>,
    /// Values that were typed or traced.
    pub entries: Vec<LoggedEntry>,
    /// What was changed by hand afterwards, in order; changes that were taken back too.
    pub changes: Vec<LoggedChange>,
    /// The last signature that holds; what comes after it is a new draft.
    pub signed: Option<LoggedSignature>,
    /// Nothing was written after that signature.
    pub is_signed: bool,
    /// Free notes.
    pub notes: Vec<Note>,
    /// Saved stills, in the order they were found.
    pub frames: Vec<Frame>,
    /// Audio files.
    pub audio: Vec<AudioFile>,
    /// Clock anchors.
    pub anchors: Vec<Anchor>,
    /// What is in force at the end.
    pub context: Context,
    /// When listening ended, and why; none while it goes on or after a crash.
    pub closed: Option<(DateTime<Utc>, String)>,
    /// Where hearing ended before the sound did, in order.
    pub breaks: Vec<Break>,
    /// What was heard last.
    pub source: Source,
    /// Where sound was lost while listening.
    pub gaps: Vec<Gap>,
    /// Samples of sound that were kept, as the journal says: up to its last line where it was never closed.
    pub n_samples: u64,
    /// What is wrong with the kept sound; the journal does not know, so nothing stands here before somebody looked.
    pub sound: Vec<SoundFault>,
    /// Faults of the journal itself, with the line they are on.
    pub damage: Vec<(u64, Problem)>,
}

impl Exam {
    /// An exam in which nothing was said yet.
    #[must_use]
    pub fn new(header: Header) -> Self {
        Self {
            header,
            calls: Vec::new(),
            utterances: Vec::new(),
            entries: Vec::new(),
            changes: Vec::new(),
            signed: None,
            is_signed: false,
            notes: Vec::new(),
            frames: Vec::new(),
            audio: Vec::new(),
            anchors: Vec::new(),
            context: Context::default(),
            closed: None,
            breaks: Vec::new(),
            source: Source::default(),
            gaps: Vec::new(),
            n_samples: 0,
            sound: Vec::new(),
            damage: Vec::new(),
        }
    }

    /// The sample at which the last utterance ended: where events belong that are found or entered afterwards.
    #[must_use]
    pub fn last_sample(&self) -> u64 {
        self.utterances.last().map_or(0, |utterance| utterance.span.to)
    }
}

/// A call with what was in force.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedCall {
    /// Its event in the journal.
    pub seq: u64,
    /// The utterance it came from; its own line where a person added it.
    pub heard_seq: u64,
    /// When it was said: the start of its span, or the moment a person moved it to.
    pub said_at: DateTime<Utc>,
    /// As heard.
    pub call: Call,
    /// As it counts: `call.act`, or what a later correction made of it.
    pub act: Act,
    /// What was in force just after it.
    pub context: Context,
    /// Taken back by the line with this number: a call, or a change by hand.
    pub withdrawn_by: Option<u64>,
    /// Put right by the lines with these numbers: calls, or changes by hand.
    pub corrected_by: Vec<u64>,
    /// What keeps it from being taken as said.
    pub problems: Vec<Problem>,
}

/// A value that was typed or traced.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedEntry {
    /// Its event in the journal.
    pub seq: u64,
    /// When it was entered.
    pub at: DateTime<Utc>,
    /// What was entered.
    pub entered: Entered,
}

/// A signature with its line in the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedSignature {
    /// Its event in the journal.
    pub seq: u64,
    /// When it was made.
    pub at: DateTime<Utc>,
    /// Who signed what.
    pub signed: Signed,
}

impl LoggedCall {
    /// A person added it; nobody heard it.
    #[must_use]
    pub fn is_added(&self) -> bool {
        self.heard_seq == self.seq
    }
}

/// One utterance.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedUtterance {
    /// Its event in the journal.
    pub seq: u64,
    /// When it began.
    pub said_at: DateTime<Utc>,
    /// Where it lies in the audio.
    pub span: Span,
    /// The words the engine heard, joined; may be empty.
    pub words: String,
    /// How sure the engine is, 0 to 1.
    pub confidence: f64,
    /// Loudness in dB relative to full scale.
    pub level_dbfs: f64,
    /// Share of clipped samples, 0 to 1.
    pub clipped: f64,
    /// What became of it.
    pub outcome: Outcome,
    /// The question about it was answered: `outcome` is `Calls` where a reading was taken, else `Asked`.
    pub settled: bool,
    /// Why it was not taken.
    pub problems: Vec<Problem>,
}

impl LoggedUtterance {
    /// It may have been a call, and nobody has said yet that it was none.
    #[must_use]
    pub fn is_open(&self) -> bool {
        match self.outcome {
            Outcome::NotUnderstood => true,
            Outcome::Asked => !self.settled,
            _ => false,
        }
    }
}

/// A free note.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    /// The call that opened it.
    pub seq: u64,
    /// Its whole span in the audio.
    pub span: Span,
    /// What was in force when it was spoken.
    pub context: Context,
}

/// Why events are no exam.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FoldError {
    /// The first line is not there or not an exam's.
    #[error(
        "the journal has no first line that says which exam it is; line 1 is lost or from another program"
    )]
    NoHeader,
}

/// Folds the journal's events into the exam as it stands.
///
/// # Errors
/// When the first line is missing; everything else that is wrong is in the exam's `damage` and `problems`.
pub fn fold(lines: &Lines, protocols: &Protocols) -> Result<Exam, FoldError> {
    fold_events(&lines.events, &lines.damage, protocols)
}

/// The same from events and what is wrong with their lines.
pub(crate) fn fold_events(
    events: &[ExamEvent],
    damage: &[(u64, Problem)],
    protocols: &Protocols,
) -> Result<Exam, FoldError> {
    let Some(Event::Exam(header)) = events.first().map(|line| &line.event) else {
        return Err(FoldError::NoHeader);
    };
    let mut exam = Exam { damage: damage.to_vec(), ..Exam::new((**header).clone()) };
    events.iter().for_each(|line| exam.take(line));
    (exam.breaks, exam.source) = breaks(events);
    exam.settle_changes();
    withdraw_take_backs(&mut exam.calls, &exam.changes);
    take_back(&mut exam.calls);
    withdraw_rest(&mut exam.calls, &exam.changes);
    correct_calls(&mut exam.calls);
    exam.add_and_move_by_hand();
    withdraw_rest(&mut exam.calls, &exam.changes);
    correct_by_hand(&mut exam.calls, &exam.changes);
    exam.context = set_in_force(&mut exam.calls, &exam.header, protocols);
    place_by_hand(&mut exam.calls, &exam.changes);
    exam.place_notes(0);
    Ok(exam)
}

impl Exam {
    /// The instant of a sample.
    #[must_use]
    pub fn instant_of(&self, sample: u64) -> DateTime<Utc> {
        let before = self.anchors.iter().rev().find(|anchor| anchor.sample <= sample);
        match before.or(self.anchors.first()) {
            Some(anchor) => anchor.instant_of(sample),
            None => Anchor { wall: self.header.started_at, monotonic_ns: 0, sample: 0 }.instant_of(sample),
        }
    }

    /// What was current when notes were spoken that began at the call with this place, or after it.
    pub(crate) fn place_notes(&mut self, from: usize) {
        let opens = |call: &&LoggedCall| call.call.act == (Act::Note { open: true });
        for call in self.calls[from..].iter().filter(opens) {
            if let Some(note) = self.notes.iter_mut().rev().find(|note| note.seq == call.seq) {
                note.context = call.context.clone();
            }
        }
    }

    /// Takes one line; what calls do to each other is done afterwards.
    pub(crate) fn take(&mut self, line: &ExamEvent) {
        self.n_samples = self.n_samples.max(line.sample);
        match &line.event {
            Event::Anchor(anchor) => self.anchors.push(anchor.clone()),
            Event::Audio(file) => self.audio.push(file.clone()),
            Event::AudioLost { samples } => self.gaps.push(Gap { at: line.sample, samples: *samples }),
            Event::Utterance(heard) => self.take_utterance(line.seq, heard),
            Event::Call(heard) => self.take_call(line.seq, heard),
            Event::Settled(settled) => self.settle(settled),
            Event::Frame(frame) => self.take_still(frame),
            Event::Entered(entered) => {
                let entered = (**entered).clone();
                self.entries.push(LoggedEntry { seq: line.seq, at: line.at, entered });
            }
            Event::Review(review) => {
                let review = (**review).clone();
                self.changes.push(LoggedChange { seq: line.seq, at: line.at, review, taken_back_by: None });
            }
            Event::Signed(signed) => match fault(line) {
                Some(problem) => self.damage.push((line.seq, problem)),
                None => {
                    let signed = (**signed).clone();
                    self.signed = Some(LoggedSignature { seq: line.seq, at: line.at, signed });
                }
            },
            Event::Closed { reason, .. } => self.closed = Some((line.at, reason.clone())),
            Event::Resumed { .. } => self.closed = None,
            Event::Exam(_) | Event::Torn { .. } | Event::Microphone { .. } | Event::Unknown { .. } => {}
        }
        // What was changed afterwards behind the journal's back was not signed by anybody.
        self.is_signed =
            self.damage.is_empty() && self.signed.as_ref().is_some_and(|signed| signed.seq == line.seq);
    }

    /// A still found again lies elsewhere now. When it was saved stays as first told: copying changes file times.
    fn take_still(&mut self, found: &Frame) {
        let Some(known) = self.frames.iter_mut().find(|known| known.id == found.id) else {
            self.frames.push(found.clone());
            return;
        };
        known.file.clone_from(&found.file);
        if known.sha256 != found.sha256 {
            known.sha256.clone_from(&found.sha256);
            known.problems.push(Problem {
                message: "the file has changed since it was first found".to_owned(),
                help: "compare it with the scanner's own; its time is still the first one's".to_owned(),
            });
        }
    }

    fn take_utterance(&mut self, seq: u64, heard: &UtteranceEvent) {
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
            confidence: heard.utterance.confidence,
            level_dbfs: heard.utterance.level_dbfs,
            clipped: heard.utterance.clipped,
            outcome: heard.outcome,
            settled: false,
            problems: heard.problems.clone(),
        });
    }

    fn settle(&mut self, settled: &Settled) {
        let asked = self.utterances.iter_mut().rev().find(|utterance| utterance.seq == settled.heard_seq);
        if let Some(utterance) = asked.filter(|utterance| utterance.outcome == Outcome::Asked) {
            utterance.settled = true;
            utterance.problems.clear();
            if let Some(words) = &settled.taken {
                utterance.outcome = Outcome::Calls;
                utterance.words.clone_from(words);
            }
        }
    }

    fn take_call(&mut self, seq: u64, heard: &CallEvent) {
        if heard.call.act == (Act::Note { open: true }) {
            let utterance = self.utterances.iter().rev().find(|utterance| utterance.seq == heard.heard_seq);
            let span = utterance.map_or(heard.call.span, |utterance| utterance.span);
            self.notes.push(Note { seq, span, context: Context::default() });
        }
        self.calls.push(LoggedCall {
            seq,
            heard_seq: heard.heard_seq,
            said_at: self.instant_of(heard.call.span.from),
            call: heard.call.clone(),
            act: heard.call.act.clone(),
            context: Context::default(),
            withdrawn_by: None,
            corrected_by: Vec::new(),
            problems: Vec::new(),
        });
    }
}
