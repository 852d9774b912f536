//! The exam as it is now, and the lines of the journal that it is made of.
//!
//! Takes: nothing; these are the types between the journal and everything that is made from an exam.
//! Gives: `Exam` with its calls, utterances, changes and stills, and what can be asked of it.
//! Never: changes what was said; `fold` fills it in.
//! Tested in: `tests/it/fold.rs`, `tests/it/review_events.rs`.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use crate::clock::{Anchor, Sample, Span};
use crate::exam::breaks::{Break, Source};
use crate::exam::call::{Act, Call, Problem};
use crate::exam::context::Context;
use crate::exam::event::{AudioFile, CloseReason, Entered, Frame, Header, NoteDraft, Outcome, ScannerClock};
use crate::exam::review::{Change, Review, WordsPart};
use crate::exam::seq::Seq;
use crate::exam::sign::{FileHash, Signed};
use crate::exam::timeline::Timeline;
use crate::protocol::ValueKind;

/// Sound that was lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// The first sample after it.
    pub at: Sample,
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
        from: Sample,
    },
    /// Nothing but zeros, counted from the start of the exam.
    Silent(Span),
}

/// A kept file that is another one than it was, or a signed record that is gone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileChange {
    /// Its path, as the journal has it.
    pub file: String,
    /// A vet has signed it as it was.
    pub was_signed: bool,
    /// It is not there any more.
    pub is_gone: bool,
}

/// A signed record that this version makes differently of the same journal and the same files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OtherRecord {
    /// The line of the signature.
    pub seq: Seq,
    /// Who signed.
    pub by: String,
    /// How far it differs.
    pub how: RecordDiffers,
    /// What differs, in words; the first few.
    pub what: Vec<String>,
    /// Where the record is kept as it was signed; none where it was not kept.
    pub kept: Option<String>,
}

/// How a record that is made again differs from the one that was signed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RecordDiffers {
    /// Only the program's own words differ: what it finds, and how it says so.
    Worded,
    /// What was computed differs: cut-offs, protocols or the program are other ones.
    Computed,
    /// Nobody can tell: the record was not kept as it was signed.
    Unknown,
}

/// The exam as it is now.
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
    /// How scanners' clocks run, as far as that is known, in the order of the journal.
    pub scanner_clocks: Vec<ScannerClock>,
    /// Audio files.
    pub audio: Vec<AudioFile>,
    /// When which sample was recorded.
    pub timeline: Timeline,
    /// What is current at the end.
    pub context: Context,
    /// When listening ended, and why; none while it goes on or after a crash.
    pub closed: Option<(DateTime<Utc>, CloseReason)>,
    /// Where hearing ended before the sound did, in order.
    pub breaks: Vec<Break>,
    /// What was heard last.
    pub source: Source,
    /// Where sound was lost while listening.
    pub gaps: Vec<Gap>,
    /// Samples of sound that were kept, as the journal says: up to its last line where it was never closed.
    pub n_samples: Sample,
    /// The kept files as they were when listening last ended.
    pub sealed: Vec<FileHash>,
    /// Files that were changed since; the journal does not know, so this is empty before somebody looked.
    pub changed_files: Vec<FileChange>,
    /// The record that was signed is not the one that is made of the same lines today; none before somebody looked.
    pub other_record: Option<OtherRecord>,
    /// Nothing shows whether lines were cut off the end of the journal: its head is gone.
    pub head_is_gone: bool,
    /// Records as they were signed that no line signs.
    pub unclaimed: Vec<String>,
    /// What is wrong with the kept sound; the journal does not know, so this is empty until somebody has looked.
    pub sound: Vec<SoundFault>,
    /// Faults of the journal itself, with the line they are on.
    pub damage: Vec<(u64, Problem)>,
    /// Lines that a crash or a full disk cut short, and that the journal reports itself.
    pub tears: Vec<u64>,
    /// Folders that were lost while the exam was heard; this one has all of it since.
    pub moved_from: Vec<String>,
    /// Kept files that were deleted, as they were.
    pub discarded: Vec<FileHash>,
    /// Kept files that one of the lines folded here deleted on purpose; `discarded` has those of later lines, too.
    pub deleted: BTreeSet<String>,
}

impl Exam {
    /// True where this kept file was deleted, and a line of the journal says so.
    #[must_use]
    pub fn is_discarded(&self, file: &str) -> bool {
        self.discarded.iter().any(|gone| gone.file == file)
    }

    /// Whether sound was kept and all of it was deleted on purpose.
    #[must_use]
    pub fn is_without_sound(&self) -> bool {
        !self.audio.is_empty() && self.audio.iter().all(|audio| self.deleted.contains(&audio.file))
    }

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
            scanner_clocks: Vec::new(),
            audio: Vec::new(),
            timeline: Timeline::new(),
            context: Context::default(),
            closed: None,
            breaks: Vec::new(),
            source: Source::default(),
            gaps: Vec::new(),
            n_samples: Sample::FIRST,
            sealed: Vec::new(),
            changed_files: Vec::new(),
            other_record: None,
            head_is_gone: false,
            unclaimed: Vec::new(),
            sound: Vec::new(),
            damage: Vec::new(),
            tears: Vec::new(),
            moved_from: Vec::new(),
            discarded: Vec::new(),
            deleted: BTreeSet::new(),
        }
    }

    /// The sample at which the last utterance ended: where events belong that are found or entered afterwards.
    #[must_use]
    pub fn last_sample(&self) -> Sample {
        self.utterances.last().map_or(Sample::FIRST, |utterance| utterance.span.to)
    }
}

/// A call with the context after it.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedCall {
    /// Its event in the journal.
    pub seq: Seq,
    /// The utterance it came from; its own line where a person added it.
    pub heard_seq: Seq,
    /// Where it counts: the first sample of its span, or the one that a person moved it to.
    pub sample: Sample,
    /// The instant of that sample.
    pub said_at: DateTime<Utc>,
    /// As heard.
    pub call: Call,
    /// As it is used: `call.act`, or what a later correction made of it.
    pub act: Act,
    /// What was current just after it.
    pub context: Context,
    /// Taken back by the line with this number: a call, or a change by hand.
    pub withdrawn_by: Option<Seq>,
    /// Corrected by the lines with these numbers: calls, or changes by hand.
    pub corrected_by: Vec<Seq>,
    /// What keeps it from being taken as said.
    pub problems: Vec<Problem>,
}

impl LoggedCall {
    /// A call as it was said; what follows from others is filled in later.
    #[must_use]
    pub(crate) fn new(seq: Seq, heard_seq: Seq, said_at: DateTime<Utc>, call: Call) -> Self {
        Self {
            seq,
            heard_seq,
            sample: call.span.from,
            said_at,
            act: call.act.clone(),
            call,
            context: Context::default(),
            withdrawn_by: None,
            corrected_by: Vec::new(),
            problems: Vec::new(),
        }
    }
}

/// A value that was typed or traced.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedEntry {
    /// Its event in the journal.
    pub seq: Seq,
    /// When it was entered.
    pub at: DateTime<Utc>,
    /// What was entered.
    pub entered: Entered,
}

/// A signature with its line in the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedSignature {
    /// Its event in the journal.
    pub seq: Seq,
    /// When it was made.
    pub at: DateTime<Utc>,
    /// Who signed what.
    pub signed: Signed,
    /// Taken back by the change with this number.
    pub taken_back_by: Option<Seq>,
    /// Its time stamp; the journal does not know, so there is none before somebody looked.
    pub stamp: Option<Stamped>,
}

/// The time stamp of a signature.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Stamped {
    /// It is one of this signature.
    Holds {
        /// When it was stamped, by the clock of the server.
        at: DateTime<Utc>,
        /// The server, by the name in its certificate.
        by: String,
    },
    /// It is none.
    Fails {
        /// Why, with its file.
        why: String,
    },
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
    pub seq: Seq,
    /// When it began.
    pub said_at: DateTime<Utc>,
    /// Where it is in the audio.
    pub span: Span,
    /// The words the engine heard, joined; may be empty.
    pub words: String,
    /// Other readings of it, likeliest first.
    pub rivals: Vec<String>,
    /// Where each of these words begins, in their order; empty where the engine did not say, or where a person's answer
    /// put other words in their place.
    pub word_starts: Vec<Sample>,
    /// How sure the engine is, 0 to 1.
    pub confidence: f64,
    /// It does not sound like a call.
    pub rejected: bool,
    /// Loudness in dB relative to full scale.
    pub level_dbfs: f64,
    /// Share of clipped samples, 0 to 1.
    pub clipped: f64,
    /// What became of it.
    pub outcome: Outcome,
    /// The question about it was answered: `outcome` is `Calls` where a reading was taken, else `Asked`. Or it was not
    /// understood, and its speaker took it back.
    pub settled: bool,
    /// Why it was not taken.
    pub problems: Vec<Problem>,
}

impl LoggedUtterance {
    /// It may have been a call, and nobody has said yet that it was none.
    #[must_use]
    pub fn is_open(&self) -> bool {
        match self.outcome {
            Outcome::NotUnderstood | Outcome::Asked => !self.settled,
            _ => false,
        }
    }

    /// It is a part of a note and holds what may have been a call.
    #[must_use]
    pub fn is_note_with_call(&self) -> bool {
        self.outcome == Outcome::Note && !self.problems.is_empty()
    }
}

/// A free note.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    /// The call that opened it.
    pub seq: Seq,
    /// Its whole span in the audio.
    pub span: Span,
    /// It sums up what the exam means.
    pub conclusion: bool,
    /// What was current when it was spoken.
    pub context: Context,
    /// Its words as a machine wrote them last.
    pub draft: Option<NoteDraft>,
}

/// A change with its line in the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedChange {
    /// Its event in the journal.
    pub seq: Seq,
    /// When it was made.
    pub at: DateTime<Utc>,
    /// Who changed what.
    pub review: Review,
    /// Taken back by the change with this number.
    pub taken_back_by: Option<Seq>,
}

impl Exam {
    /// The changes that are in effect, in the order they were made.
    pub fn standing_changes(&self) -> impl DoubleEndedIterator<Item = &LoggedChange> {
        self.changes.iter().filter(|change| change.taken_back_by.is_none())
    }

    /// What a person last said of this still, if that is still in effect: a pairing, a label or that it is left out.
    #[must_use]
    pub fn said_of_still(&self, id: &str) -> Option<&LoggedChange> {
        self.standing_changes().rev().find(|logged| match &logged.review.change {
            Change::Pair { still, .. } | Change::Label { still, .. } | Change::LeaveOut { still } => {
                still == id
            }
            _ => false,
        })
    }

    /// The scanner's offset as set by hand in seconds, and who set it.
    #[must_use]
    pub fn clock_by_hand(&self) -> Option<(f64, &str)> {
        self.standing_changes().rev().find_map(|logged| match logged.review.change {
            Change::Clock { offset_s } => Some((offset_s, logged.review.by.as_str())),
            _ => None,
        })
    }

    /// The words of this note as a person last confirmed or corrected them, if that still counts.
    #[must_use]
    pub fn note_text(&self, note: Seq) -> Option<(&LoggedChange, &str)> {
        self.standing_changes().rev().find_map(|logged| match &logged.review.change {
            Change::NoteText { seq, text } if *seq == note => Some((logged, text.as_str())),
            _ => None,
        })
    }

    /// Millimetres of a pixel's side on this still, as a person set it by hand.
    #[must_use]
    pub fn scale_by_hand_mm(&self, id: &str) -> Option<f64> {
        self.standing_changes().rev().find_map(|logged| match &logged.review.change {
            Change::Scale { still, ends_px: [from, to], distance_mm } if still == id => {
                Some(distance_mm / (to.0 - from.0).hypot(to.1 - from.1))
                    .filter(|mm| mm.is_finite() && *mm > 0.0)
            }
            _ => None,
        })
    }

    /// The scale of a score in this exam: the one that was set for it, else the protocols' own.
    #[must_use]
    pub fn scale_of<'a>(&'a self, term: &str, kind: &'a ValueKind) -> Option<&'a str> {
        self.header.scales.get(term).or(kind.scale.as_ref()).map(String::as_str)
    }

    /// Whether this still is to be among the report's pictures, as chosen last, and which frame of it.
    #[must_use]
    pub fn key_choice(&self, id: &str) -> Option<(bool, Option<u32>)> {
        self.standing_changes().rev().find_map(|logged| match &logged.review.change {
            Change::KeyPicture { still, shown, frame_number } if still == id => Some((*shown, *frame_number)),
            _ => None,
        })
    }

    /// The frame that stands for this loop, counted from 1: the one that was chosen, else the one that was measured last.
    #[must_use]
    pub fn frame_shown(&self, id: &str) -> Option<u32> {
        let measured = || {
            let of_still = self.entries.iter().rev().find(|entry| entry.entered.still.as_deref() == Some(id));
            of_still.and_then(|entry| entry.entered.frame_number)
        };
        self.key_choice(id).and_then(|(_, frame_number)| frame_number).or_else(measured)
    }

    /// What people wrote for the report and did not take back: the last text of each part, in the order of the report.
    #[must_use]
    pub fn written(&self) -> Vec<(&LoggedChange, WordsPart, &str)> {
        let last = |part: WordsPart| {
            self.standing_changes().rev().find_map(|logged| match &logged.review.change {
                Change::Words { part: of, text } if *of == part => Some((logged, part, text.as_str())),
                _ => None,
            })
        };
        WordsPart::ALL.into_iter().filter_map(last).filter(|(_, _, text)| !text.trim().is_empty()).collect()
    }

    /// The instant of a sample.
    #[must_use]
    pub fn instant_of(&self, sample: Sample) -> DateTime<Utc> {
        let anchors = &self.timeline.anchors;
        let before = anchors.iter().rev().find(|anchor| anchor.sample <= sample);
        match before.or(anchors.first()) {
            Some(anchor) => anchor.instant_of(sample),
            None => Anchor { wall: self.header.started_at, monotonic_ns: 0, sample: Sample::FIRST }
                .instant_of(sample),
        }
    }

    /// Calls that are used: not taken back, and not carried by the call they correct.
    pub fn standing_calls(&self) -> impl Iterator<Item = &LoggedCall> {
        let carried: BTreeSet<Seq> =
            self.calls.iter().flat_map(|call| call.corrected_by.iter().copied()).collect();
        self.calls.iter().filter(move |call| call.withdrawn_by.is_none() && !carried.contains(&call.seq))
    }
}
