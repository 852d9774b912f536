//! The record: everything the exam says, ready to be shown or sent.
//!
//! Takes: nothing; these are the types that everything which shows an exam is made from.
//! Gives: `Record` and its rows; its JSON is the export format `zonecall.record/1`.
//! Never: how a row comes about; `assemble` knows.
//! Tested in: `tests/it/knowledge.rs`; described by `schema/record.schema.json`.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::code::{LimbCode, PlaneCode, ZoneCode};
use crate::exam::call::Certainty;
use crate::exam::closed_sets::{CallKind, ExamStatus};
use crate::exam::comparator::Comparator;
use crate::exam::event::{Horse, Order};
use crate::exam::patient::Patient;
use crate::exam::place::Place;
use crate::exam::review::WordsPart;
use crate::exam::seq::Seq;
pub use crate::knowledge::entry_row::EntryRow;
use crate::knowledge::measure::row::MeasureRow;
pub use crate::knowledge::notes::{NoteRow, NoteWords};
use crate::knowledge::time_stamp_row::StampRow;
use crate::language::closed_sets::Class;

/// Schema name of the record.
pub const RECORD_SCHEMA: &str = "zonecall.record/1";

/// The exam as it is now, with its stills, coverage and findings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// `zonecall.record/1`.
    pub schema: String,
    /// The exam itself.
    pub exam: ExamInfo,
    /// What was said, in order.
    pub calls: Vec<CallRow>,
    /// Values that were typed or traced.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub entries: Vec<EntryRow>,
    /// What was corrected by hand afterwards, in order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub changes: Vec<ChangeRow>,
    /// What people wrote for the report.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub words: Vec<WordsRow>,
    /// Free notes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<NoteRow>,
    /// The saved stills, in the order they were saved.
    pub frames: Vec<FrameRow>,
    /// The scanner's clock against ours; absent without stills or without a way to tell.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock: Option<ClockRow>,
    /// Views that the protocol asks for, and what there is of each.
    pub coverage: Vec<CoverageRow>,
    /// Computed measures.
    pub measures: Vec<MeasureRow>,
    /// What a person should look at, worst first.
    pub findings: Vec<Finding>,
    /// What goes with everything above; records from before it was written lack it.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub cautions: String,
}

/// The exam itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ExamInfo {
    /// Unique name.
    pub id: String,
    /// When sample 0 was recorded.
    pub started_at: DateTime<Utc>,
    /// When listening ended; absent if the journal was never closed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended_at: Option<DateTime<Utc>>,
    /// Seconds east of UTC at the place of the exam.
    pub utc_offset_s: i32,
    /// The horse.
    pub horse: Horse,
    /// What the stills say of the horse, where all agree that say it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub in_stills: Option<crate::exam::animal::Animal>,
    /// What the practice's system knows the exam by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<Order>,
    /// Who spoke.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub person: Option<String>,
    /// Scheme per group of limbs.
    pub schemes: BTreeMap<String, String>,
    /// Which engine heard it.
    pub engine: String,
    /// Whether it is final.
    pub status: ExamStatus,
    /// The last signature that holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signed: Option<SignedRow>,
}

/// A vet's signature under the journal up to its line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SignedRow {
    /// Its event in the journal.
    pub seq: Seq,
    /// When it was made, by the signer's computer.
    pub at: DateTime<Utc>,
    /// Who signed.
    pub by: String,
    /// Number of the licence, as entered.
    pub licence: String,
    /// The public key, in hexadecimal.
    pub key: String,
    /// Changes by hand after it.
    pub changes_since: usize,
    /// Taken back by the change with this number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken_back_by: Option<Seq>,
    /// A time stamp of it that holds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time_stamp: Option<StampRow>,
}

/// One call, or one utterance that was not understood.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct CallRow {
    /// Its event in the journal.
    pub seq: Seq,
    /// When it was said.
    pub said_at: DateTime<Utc>,
    /// From and to in the kept audio, in seconds.
    pub span_s: (f64, f64),
    /// The words as heard.
    pub words: String,
    /// What it does.
    pub kind: CallKind,
    /// Limb, zone, plane and structure at that time.
    #[serde(flatten)]
    pub place: Place,
    /// The level in centimetres that the zone was taken from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_cm: Option<f64>,
    /// The last zone of a range that begins at `zone`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_zone: Option<ZoneCode>,
    /// A landmark as said, from which no zone was guessed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub landmark: Option<String>,
    /// How far the plane is off its usual place, as said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<String>,
    /// Class of a finding.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub class: Option<Class>,
    /// The finding, the measure, the setting, the command or the question.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub term: Option<String>,
    /// State of a setting in words; `clip` of a saved sequence; what was said of the horse.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<String>,
    /// Degree of a finding.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub degree: Option<String>,
    /// Position of a finding within the structure.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub position: Vec<String>,
    /// The speaker's own doubt.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certainty: Option<Certainty>,
    /// What a finding is like.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub attributes: Vec<String>,
    /// What a finding was compared with.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub against: Option<String>,
    /// How a lesion compares with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub than: Option<String>,
    /// The zones that a lesion reaches.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub zones: Vec<ZoneCode>,
    /// Said as "the same again".
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub copied: bool,
    /// The number is the speaker's estimate.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub approx: bool,
    /// The number is a bound.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub comparator: Option<Comparator>,
    /// The last number of a range.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<f64>,
    /// The second of two distances at right angles.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<f64>,
    /// Number of a value or a setting.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<f64>,
    /// UCUM unit of the number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// The unit was not said.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unit_assumed: bool,
    /// Scale of a score.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<String>,
    /// Current settings, by slot, in words.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub settings: BTreeMap<String, String>,
    /// How sure the engine is, 0 to 1.
    pub confidence: f64,
    /// Taken back.
    pub withdrawn: bool,
    /// Not heard: a person added it afterwards.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub added: bool,
    /// Said as a correction of an earlier call.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub corrects: bool,
    /// Corrected by the lines with these numbers: calls, or changes by hand.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub corrected_by: Vec<Seq>,
    /// The line of the value that counts in its place; absent where its own counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaced_by: Option<Seq>,
    /// The lines that say the opposite of the same place.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub contradicted_by: Vec<Seq>,
    /// What speaks against its place, in a few words each; the findings say more.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub doubt: Vec<String>,
}

impl CallRow {
    /// Said of the whole: "size normal" says nothing of the rest.
    #[must_use]
    pub fn is_all_normal(&self) -> bool {
        self.class == Some(Class::Normal) && self.attributes.is_empty()
    }
}

/// One still with its label.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrameRow {
    /// SOP Instance UID, or `sha256:...`.
    pub id: String,
    /// Path of the file.
    pub file: String,
    /// SHA-256 of the file that was paired; the export leaves it out, the journal has it.
    #[serde(skip)]
    pub sha256: String,
    /// When it was saved, by the scanner's clock.
    pub saved_at: DateTime<Utc>,
    /// When it was saved, by ours; absent where the clocks could not be tied.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub saved_at_exam: Option<DateTime<Utc>>,
    /// Limb, zone, plane and structure.
    #[serde(flatten)]
    pub place: Place,
    /// How the label came about.
    pub status: Status,
    /// How sure the pairing is, 0 to 1.
    pub confidence: f64,
    /// The save call it is paired with, or the call whose context labels it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub call_seq: Option<Seq>,
    /// What speaks against the label, in a few words each; the findings say more.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub doubt: Vec<String>,
    /// Whom it is of, as its file says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub patient: Option<Patient>,
    /// Its file holds no picture that can be shown, so that it is no still of its view; a finding says so.
    #[serde(skip)]
    pub lacks_picture: bool,
    /// Why it was not taken into the exam, in words: it has no label until a person confirms whose it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
    /// The still that this file shows, too, in another format or as another object: that one counts. Absent where it is a still of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub copy_of: Option<String>,
    /// Whether a person wants it among the report's pictures; absent where nobody chose.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<bool>,
    /// Where it is a loop, the frame that stands for it, counted from 1: chosen, else measured last. Absent means the first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frame_number: Option<u32>,
    /// Other labels that are about as likely.
    pub rivals: Vec<RivalLabel>,
}

/// How a still got its label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// A save call was paired with it.
    Spoken,
    /// Labelled from what was current when it was saved.
    Context,
    /// Paired or labelled by a person.
    Hand,
    /// A person said that it is no part of the exam.
    LeftOut,
    /// Two readings: both are in `rivals`.
    Ambiguous,
    /// Nothing to label it from.
    Unlabelled,
}

/// Another label that a still could have.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RivalLabel {
    /// The call it would come from.
    pub call_seq: Seq,
    /// Limb, zone, plane and structure.
    #[serde(flatten)]
    pub place: Place,
    /// How likely it is, 0 to 1.
    pub confidence: f64,
    /// Why it is a rival, in words.
    pub reason: String,
}

/// The scanner's clock against the exam's.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClockRow {
    /// Scanner minus exam, in seconds, at the start of the exam; includes the delay between pressing and saying.
    pub offset_s: f64,
    /// How much faster the scanner's clock runs, in parts per million.
    pub drift_ppm: f64,
    /// Half-width within which the offset is known, in seconds.
    pub uncertainty_s: f64,
    /// How it was found.
    pub method: String,
    /// Save calls and stills that agree with it.
    pub pairs: usize,
}

/// One view that the protocol asks for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CoverageRow {
    /// Limb.
    pub limb: LimbCode,
    /// Scheme the zone belongs to.
    pub scheme: String,
    /// Zone.
    pub zone: ZoneCode,
    /// Plane.
    pub plane: PlaneCode,
    /// Stills there are of it (ambiguous ones not counted).
    pub frames: usize,
    /// It was called.
    pub called: bool,
    /// Save calls said in it.
    pub saves: usize,
    /// It was said that it would not be scanned.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub not_done: bool,
}

/// Something that a person corrected after the exam.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChangeRow {
    /// Its event in the journal.
    pub seq: Seq,
    /// When it was made.
    pub at: DateTime<Utc>,
    /// Who.
    pub by: String,
    /// What was changed, in words.
    pub what: String,
    /// What stood there before, in words; may be empty.
    pub was: String,
    /// Why, in a word; may be empty.
    pub why: String,
    /// The call it changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub call_seq: Option<Seq>,
    /// The still it changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frame: Option<String>,
    /// It takes back the line with this number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub takes_back: Option<Seq>,
    /// Taken back by the change with this number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub taken_back_by: Option<Seq>,
}

/// A part of the report in a person's own words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WordsRow {
    /// The change that wrote it.
    pub seq: Seq,
    /// When.
    pub at: DateTime<Utc>,
    /// Who.
    pub by: String,
    /// Which part.
    pub part: WordsPart,
    /// What it says.
    pub text: String,
}

/// The calls that are used: not taken back, and not already carried by the call they corrected.
pub fn standing(calls: &[CallRow]) -> impl Iterator<Item = &CallRow> {
    let carried: BTreeSet<Seq> = calls.iter().flat_map(|call| call.corrected_by.iter().copied()).collect();
    calls.iter().filter(move |call| !call.withdrawn && !carried.contains(&call.seq))
}

/// Something a person should look at.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// How much it matters.
    pub severity: Severity,
    /// Which rule found it, such as `view-missing`.
    pub rule: String,
    /// What is the matter and what to do.
    pub message: String,
    /// The call it points to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub call_seq: Option<Seq>,
    /// The still it points to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frame: Option<String>,
    /// When in the exam, where a time makes sense.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<DateTime<Utc>>,
    /// The limb it is about, where it points to neither call nor still.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Who settled it; absent while it is open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub settled: Option<SettledRow>,
}

/// How a person settled a finding.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SettledRow {
    /// The change that settled it, by its event in the journal.
    pub seq: Seq,
    /// When.
    pub at: DateTime<Utc>,
    /// Who.
    pub by: String,
    /// Why, in a word; may be empty.
    pub why: String,
}

impl ExamInfo {
    /// Whether a vet has signed it, and nothing was changed since.
    #[must_use]
    pub fn is_signed(&self) -> bool {
        self.status == ExamStatus::Signed
    }
}

impl Finding {
    /// Whether somebody still has to look: nobody has settled it, and it is more than worth knowing.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.settled.is_none() && self.severity != Severity::Info
    }
}

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// Something is wrong or lost.
    Error,
    /// Something is probably missing or mistaken.
    Warn,
    /// Worth knowing.
    Info,
}
