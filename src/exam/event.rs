//! The lines of the journal.
//!
//! Takes: nothing; these are the types that `exam.jsonl` holds, one a line.
//! Gives: `ExamEvent` and its bodies.
//! Never: drops what it does not know; an unknown kind is kept as it is.
//! Tested in: `tests/it/journal.rs`; described by `schema/journal.schema.json`.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::clock::{Anchor, Sample, Span};
use crate::code::{LimbCode, PlaneCode, StructureCode, ZoneCode};
use crate::exam::animal::Animal;
use crate::exam::call::{Amount, Call, Problem};
use crate::exam::closed_sets::{Presence, SettledAs, SettledBy};
pub use crate::exam::header::{Header, Horse, Order};
use crate::exam::patient::Patient;
use crate::exam::place::Place;
use crate::exam::review::Review;
use crate::exam::seq::Seq;
use crate::exam::sign::{FileHash, Signed};
use crate::exam::stated_site::StatedSite;
use crate::speech::recognise::EngineId;
use crate::speech::utterance::Utterance;
use crate::trace::Outline;

/// Schema name of the journal, in its first line.
pub const JOURNAL_SCHEMA: &str = "zonecall.journal/1";

/// Before what failed, in the reason of a journal that a fault closed.
const FAULT: &str = "fault: ";

/// Why a journal was closed; in the journal it is text.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(from = "String", into = "String")]
pub enum CloseReason {
    /// "End of exam" was said.
    EndOfExam,
    /// A recording was heard to its end.
    EndOfRecording,
    /// A person stopped listening to the microphone.
    Stopped,
    /// A recording was not heard to its end.
    Interrupted,
    /// Something failed.
    Fault(String),
    /// As another version of the program wrote it.
    Other(String),
}

impl CloseReason {
    /// There was more to hear.
    #[must_use]
    pub fn breaks_off(&self) -> bool {
        matches!(self, CloseReason::Interrupted | CloseReason::Fault(_))
    }
}

impl std::fmt::Display for CloseReason {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            CloseReason::EndOfExam => out.write_str("end of exam"),
            CloseReason::EndOfRecording => out.write_str("end of the recording"),
            CloseReason::Stopped => out.write_str("stopped"),
            CloseReason::Interrupted => out.write_str("interrupted"),
            CloseReason::Fault(what) => write!(out, "{FAULT}{what}"),
            CloseReason::Other(words) => out.write_str(words),
        }
    }
}

impl From<String> for CloseReason {
    fn from(words: String) -> CloseReason {
        use CloseReason::{EndOfExam, EndOfRecording, Fault, Interrupted, Other, Stopped};
        if let Some(what) = words.strip_prefix(FAULT) {
            return Fault(what.to_owned());
        }
        let known = [EndOfExam, EndOfRecording, Stopped, Interrupted];
        known.into_iter().find(|reason| reason.to_string() == words).unwrap_or(Other(words))
    }
}

impl From<CloseReason> for String {
    fn from(reason: CloseReason) -> String {
        reason.to_string()
    }
}

/// One line of the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct ExamEvent {
    /// Counts from 1 without gaps.
    pub seq: Seq,
    /// When it happened, by this computer's clock.
    pub at: DateTime<Utc>,
    /// The sample it happened at, counted from the start of the exam's audio.
    pub sample: Sample,
    /// What happened.
    pub event: Event,
    /// SHA-256 of the line before, without its line feed; 64 zeros on the first line.
    pub prev: String,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", content = "body", rename_all = "snake_case")]
#[non_exhaustive]
pub enum Event {
    /// First line: who, which horse, with what.
    Exam(Box<Header>),
    /// The clocks, read together.
    Anchor(Anchor),
    /// An audio file was begun.
    Audio(AudioFile),
    /// Samples were lost before this one.
    AudioLost {
        /// How many.
        samples: u64,
    },
    /// The microphone was lost, is back, or is another one now.
    Microphone {
        /// Which of the three.
        state: Presence,
        /// Which one.
        device: String,
    },
    /// An exam that was stopped goes on.
    Resumed {
        /// The engine and its model from here on.
        engine: EngineId,
        /// SHA-256 of the grammar pack from here on.
        grammar_sha256: String,
    },
    /// An utterance was heard, understood or not.
    #[serde(rename = "heard")]
    Utterance(UtteranceEvent),
    /// One call out of the utterance before.
    Call(CallEvent),
    /// A question about an earlier utterance was answered.
    Settled(Settled),
    /// A saved still was found.
    Frame(Box<Frame>),
    /// How a scanner's clock runs, as it was found here or is known from an earlier exam.
    ScannerClock(ScannerClock),
    /// A person named the horse after the exam had begun.
    Named(NamedHorse),
    /// A machine wrote down the words of a free note; a person's own are a `Review`.
    NoteDraft(Box<NoteDraft>),
    /// A person typed a value, or traced one on a still.
    Entered(Box<Entered>),
    /// A person put something right afterwards, or took such a change back.
    Review(Box<Review>),
    /// A vet signed everything before this line.
    Signed(Box<Signed>),
    /// The kept files as they were when listening ended.
    Sealed {
        /// Sound and stills.
        files: Vec<FileHash>,
    },
    /// Objects of the exam were sent to another system; the exam itself says nothing else than before.
    Sent(SentEvent),
    /// Listening ended.
    Closed {
        /// Why.
        reason: CloseReason,
        /// Samples of audio kept in all.
        samples: u64,
    },
    /// A line before this one was cut short by a crash; its bytes are still there.
    Torn {
        /// Length of the torn piece in bytes.
        bytes: u64,
    },
    /// The folder was removed, moved or replaced while the exam was heard; all lines before this one are copies of those
    /// in it.
    Moved {
        /// The folder, as it was named.
        from: String,
    },
    /// Kept files were deleted, on request or because the practice keeps them no longer; their hashes stay.
    Discarded(Discarded),
    /// All lines before this one were erased on request; `prev` is still the hash of the last of them.
    Erased(Erased),
    /// Written by a later version of the program: kept, shown, not understood.
    #[serde(skip)]
    Unknown {
        /// The line's kind.
        kind: String,
        /// The line's body.
        body: serde_json::Value,
    },
}

/// Another exam in the same folder of exams.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct OtherExam {
    /// Name of its folder.
    pub exam: String,
    /// It began at the same instant: the same recording, heard once more.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub again: bool,
}

/// A file of kept audio.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AudioFile {
    /// Its path inside the exam folder.
    pub file: String,
    /// The first sample in it, counted from the start of the exam.
    pub first_sample: Sample,
    /// What it was made from: a device or a file.
    pub source: String,
}

/// An utterance, as heard, and what became of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UtteranceEvent {
    /// What the engine made of it.
    #[serde(flatten)]
    pub utterance: Utterance,
    /// What became of it.
    pub outcome: Outcome,
    /// What stood in the way of taking it as said.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub problems: Vec<Problem>,
}

/// What became of an utterance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Calls follow it in the journal.
    Calls,
    /// Not the spoken language, or not all of it: nothing was changed.
    NotUnderstood,
    /// The program read it back instead of acting on it: nothing was changed before the answer.
    Asked,
    /// Known talk to the horse or to people: nothing was changed.
    Talk,
    /// Part of a free note.
    Note,
    /// Heard while logging was paused, after the end of the exam, while the switch was off or while the program itself
    /// was speaking: nothing was changed.
    Ignored,
}

/// How a question about an earlier utterance was answered, or that one which was not understood was taken back; where a
/// reading was taken, its calls follow in the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Settled {
    /// The `heard` event that was asked about, or taken back.
    pub heard_seq: Seq,
    /// What the answer was.
    pub answer: SettledAs,
    /// How it was given.
    pub by: SettledBy,
    /// The words of the reading that was taken; none where none was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken: Option<String>,
}

/// Kept files that were deleted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Discarded {
    /// The files as they were.
    pub files: Vec<FileHash>,
    /// Why, in words.
    pub why: String,
    /// Who had them deleted; absent where a rule of the practice did, and in older journals.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}

/// An exam that was erased.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Erased {
    /// The name that its first line gave it.
    pub exam: String,
    /// How many lines its journal had.
    pub lines: u64,
    /// Why, in words.
    pub why: String,
    /// Who erased it; absent in older journals.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}

/// A call in the journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CallEvent {
    /// The `heard` event it came from.
    pub heard_seq: Seq,
    /// The call.
    #[serde(flatten)]
    pub call: Call,
}

/// What was sent, and where to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SentEvent {
    /// Address and port of the system, or address of its web service.
    pub to: String,
    /// Its AE title; a web service has none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub ae_title: String,
    /// SOP Instance UIDs of what it took.
    pub objects: Vec<String>,
    /// Those of them that it promised to keep.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub committed: Vec<String>,
    /// How many it did not take.
    #[serde(default, skip_serializing_if = "is_none_refused")]
    pub refused: usize,
    /// Who sent it; absent where nobody said so, and in older journals.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}

#[allow(clippy::trivially_copy_pass_by_ref)] // as serde calls it
fn is_none_refused(refused: &usize) -> bool {
    *refused == 0
}

/// How a scanner's clock runs against this computer's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ScannerClock {
    /// The scanner, as the files of its stills name it.
    pub scanner: String,
    /// Scanner minus this computer, in seconds, at `at`.
    pub offset_s: f64,
    /// Half-width of the offset's interval, in seconds.
    pub uncertainty_s: f64,
    /// When that was.
    pub at: DateTime<Utc>,
    /// Name of the folder of the earlier exam that it is known from; none where it was found in this one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exam: Option<String>,
}

/// A horse that was named after its exam had begun.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NamedHorse {
    /// Who named it.
    pub by: String,
    /// The horse; what is not given stays as it was.
    pub horse: Horse,
    /// What the practice's system knows this horse's exam by; absent where no list said it, and in older journals.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<Order>,
    /// It is another horse than before: nothing of that one stays.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub other: bool,
}

/// What a machine wrote down of a free note; nobody has read it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoteDraft {
    /// The call that opened the note.
    pub note: Seq,
    /// The stretch of sound that it was written from.
    pub span: Span,
    /// The words; empty where the machine found none.
    pub text: String,
    /// How probable the machine finds its words, 0 to 1: the geometric mean over their pieces.
    pub confidence: f64,
    /// The words among them of which it is not sure.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub unsure: Vec<String>,
    /// It repeated itself or did not end, so its last words are left out.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub cut: bool,
    /// The model.
    pub model: String,
    /// SHA-256 over the model's files, in hexadecimal.
    pub model_sha256: String,
}

/// A value that was typed or traced; the last one for a place and term is used, and replaces any spoken one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entered {
    /// Limb code.
    pub limb: LimbCode,
    /// Zone code.
    pub zone: ZoneCode,
    /// Plane code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plane: Option<PlaneCode>,
    /// Structure code.
    pub structure: StructureCode,
    /// What was measured or scored, as the protocols name it.
    pub term: String,
    /// The number.
    pub amount: Amount,
    /// Scale of a score, where it is not the protocols' own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<String>,
    /// Traced or set on a still; else typed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub traced: bool,
    /// Who entered it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// The still it was read from, by its id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub still: Option<String>,
    /// Where the still is a loop, the frame it was read from, counted from 1; absent means the first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frame_number: Option<u32>,
    /// Millimetres of a pixel's side, where the still states no scale and a person set it by hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale_by_hand_mm: Option<f64>,
    /// The two points that a distance was set between, in pixels of the still.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ends_px: Option<[(f64, f64); 2]>,
    /// What was traced on it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outline: Option<Outline>,
}

impl Entered {
    /// Where it was measured.
    #[must_use]
    pub fn place(&self) -> Place {
        Place {
            limb: Some(self.limb.clone()),
            zone: Some(self.zone.clone()),
            plane: self.plane.clone(),
            structure: Some(self.structure.clone()),
        }
    }

    /// How it came into the exam, in a word.
    #[must_use]
    pub fn how(&self) -> &'static str {
        how_entered(self.traced)
    }
}

/// How a value came into the exam that nobody said: traced on a still, or typed.
#[must_use]
pub fn how_entered(traced: bool) -> &'static str {
    if traced { "traced" } else { "typed" }
}

/// A saved still, as its file describes it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Frame {
    /// SOP Instance UID, or `sha256:...` of the file where there is none.
    pub id: String,
    /// Path of the file: relative to the exam folder when inside it, else absolute.
    pub file: String,
    /// SHA-256 of the file, in hexadecimal.
    pub sha256: String,
    /// When it was saved by the scanner's own clock, as UTC.
    pub saved_at: DateTime<Utc>,
    /// Smallest step of that clock as written in the file, in seconds: 1 means +-0.5 s.
    pub resolution_s: f64,
    /// Where the time comes from: `AcquisitionDateTime`, `DateTimeOriginal`, `file time`, ...
    pub time_source: String,
    /// The file names no time zone: the exam's was taken.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub zone_assumed: bool,
    /// Order number on the scanner, where the file has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instance_number: Option<i64>,
    /// Width and height in pixels, where known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size_px: Option<(u32, u32)>,
    /// Whom it is of, as the file says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub patient: Option<Patient>,
    /// What the file says of the animal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub animal: Option<Animal>,
    /// Which part of the body, and which view of it, the file says that it shows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stated_site: Option<StatedSite>,
    /// The study that the file says it belongs to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub study: Option<String>,
    /// When its content was made by the scanner's own clock, where that is another time than `saved_at`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub content_at: Option<DateTime<Utc>>,
    /// The scanner, as the file names it: model and serial number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scanner: Option<String>,
    /// SHA-256 of the pixels alone, where they were read: two files with other heads may show one picture.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pixels_sha256: Option<String>,
    /// Other exams that had it already when it was found.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub also_in: Vec<OtherExam>,
    /// What is wrong with the file; it is used as far as it goes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub problems: Vec<Problem>,
}
