//! The exam as the page shows it.
//!
//! Takes: an exam folder and the protocols.
//! Gives: `Shown`, folded again whenever the journal has grown.
//! Never: keeps anything that the journal does not hold.
//! Tested in: `tests/it/review.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use chrono::{DateTime, Utc};
use serde::Serialize;

use crate::clock::seconds;
use crate::exam::call::Act;
use crate::exam::event::{Event, Outcome};
use crate::exam::file_integrity::{note_stills, sha256};
use crate::exam::fold::Exam;
use crate::exam::journal::head_is_gone;
use crate::exam::seq::Seq;
use crate::exam::time_stamp_file::{note_stamp, stamp_files};
use crate::exam_folder::{ExamFolder, FolderError};
use crate::file_name::kept_file;
use crate::frames::pair::pair;
use crate::knowledge::assemble::record;
use crate::knowledge::cautions::cautions_now;
use crate::knowledge::key_stills::key_stills;
use crate::knowledge::measure::row::MeasureRow;
use crate::knowledge::measure::{Earlier, changes};
use crate::knowledge::record::{FrameRow, Record};
use crate::protocol::Protocols;
use crate::report::chart::chart;
use crate::report::overlay::{Overlays, overlays};
use crate::report::signed::unclaimed;
use crate::review::cache::{self, file_state};
use crate::review::history::{Deed, history};
use crate::review::question::{FindingQuestion, informing, questions};
use crate::review::running_tasks::{RunningTasks, TaskKind};

/// An exam folder that is open for review.
#[derive(Debug)]
pub struct Desk {
    pub(super) folder: ExamFolder,
    pub(super) protocols: Protocols,
    /// What was read last, with the state of the files that it was read from.
    seen: Mutex<Option<(String, Arc<DeskSnapshot>)>>,
    /// The one that was named when the desk was started.
    pub(super) earlier: Option<Arc<EarlierExam>>,
    /// What is being done now.
    pub(super) running: RunningTasks,
}

/// The exam at one length of its journal.
#[derive(Debug)]
pub(super) struct DeskSnapshot {
    /// Number of the journal's last line.
    pub(super) version: Seq,
    /// Length of what was read: the journal and the time stamps.
    bytes: u64,
    pub(super) exam: Exam,
    pub(super) record: Record,
    /// The legs, drawn.
    pub(super) legs: Vec<String>,
    /// What people did to it.
    pub(super) history: Vec<Deed>,
    /// How often it was sent to another system.
    pub(super) sent: usize,
}

/// An earlier exam of the same horse: its stills and values appear next to those of the same view.
#[derive(Debug)]
pub(super) struct EarlierExam {
    pub(super) folder: PathBuf,
    pub(super) record: Record,
}

/// What an earlier exam measured.
pub(super) fn held_against(earlier: &Record) -> Earlier {
    let exam = &earlier.exam;
    Earlier {
        id: exam.id.clone(),
        at: exam.started_at,
        utc_offset_s: exam.utc_offset_s,
        rows: earlier.measures.clone(),
    }
}

/// What the page is given.
#[derive(Debug, Serialize)]
pub(super) struct Shown<'a> {
    version: Seq,
    /// Length of journal and time stamps: the page draws nothing anew that has not grown.
    bytes: u64,
    record: &'a Record,
    questions: Vec<FindingQuestion>,
    /// What only informs.
    informing: Vec<FindingQuestion>,
    /// What people did, oldest first; what was taken back, too.
    history: &'a [Deed],
    utterances: Vec<UtteranceRow<'a>>,
    /// What each call counts as, by its line.
    acts: BTreeMap<Seq, &'a Act>,
    /// Seconds since the start at which each still was saved, in the record's order.
    still_s: Vec<Option<f64>>,
    /// Width and height of each still, so that the page keeps room before it is there.
    still_px: Vec<Option<(u32, u32)>>,
    audio_s: f64,
    anchors_s: Vec<f64>,
    /// Where sound was lost, and for how long; 0 where that is not known.
    gaps_s: Vec<(f64, f64)>,
    /// The stills that the report shows, by their place in the record.
    key_stills: Vec<usize>,
    /// What was traced and set on the stills, by their ids.
    drawn: Overlays,
    /// How many drawings of legs there are.
    legs: usize,
    codes: DeskCodes<'a>,
    /// What goes with it now: a signature answers one of the cautions.
    cautions: String,
    earlier: Option<EarlierShown<'a>>,
}

/// The exam before this one: its stills and values appear next to those of this one.
#[derive(Debug, Serialize)]
struct EarlierShown<'a> {
    started_at: DateTime<Utc>,
    frames: &'a [FrameRow],
    measures: &'a [MeasureRow],
    /// What changed since then.
    changes: Vec<MeasureRow>,
}

#[derive(Debug, Serialize)]
struct UtteranceRow<'a> {
    seq: Seq,
    span_s: (f64, f64),
    words: &'a str,
    /// Seconds at which each of the words begins; empty where that is not known.
    word_s: Vec<f64>,
    outcome: Outcome,
    confidence: f64,
}

#[derive(Debug, Serialize)]
struct NamedCode<'a> {
    code: &'a str,
    name: &'a str,
}

#[derive(Debug, Serialize)]
struct DeskStructure<'a> {
    code: &'a str,
    name: &'a str,
    /// Groups of limbs that have it; empty where all have it.
    groups: &'a [String],
}

#[derive(Debug, Serialize)]
struct DeskLimb<'a> {
    code: &'a str,
    name: &'a str,
    group: &'a str,
    side: &'a str,
    zones: Vec<String>,
}

#[derive(Debug, Serialize)]
struct TermCode<'a> {
    term: &'a str,
    units: &'a [String],
    /// The one unit that people are shown.
    shown: Option<&'a str>,
    /// The least and the largest that it can be or usually is, in `bound_unit`; of a score the steps of this exam's scale.
    min: f64,
    max: f64,
    bound_unit: Option<&'a str>,
    /// Where it begins and ends, if it is a straight distance.
    between: Option<&'a str>,
    /// An outline of a whole structure says it, too.
    outlined: bool,
}

/// What may be chosen when something is corrected.
#[derive(Debug, Serialize)]
struct DeskCodes<'a> {
    limbs: Vec<DeskLimb<'a>>,
    planes: Vec<NamedCode<'a>>,
    structures: Vec<DeskStructure<'a>>,
    terms: Vec<TermCode<'a>>,
    /// Findings by their names, in the order of the alphabet.
    findings: BTreeSet<&'a str>,
}

impl Desk {
    /// Opens the exam in `folder`.
    ///
    /// # Errors
    /// When there is none.
    pub fn open(folder: &Path, protocols: Protocols) -> Result<Desk, FolderError> {
        let desk = Desk {
            folder: ExamFolder::at(folder),
            protocols,
            seen: Mutex::new(None),
            earlier: None,
            running: RunningTasks::default(),
        };
        desk.seen()?;
        Ok(desk)
    }

    /// Shows the stills and values of an earlier exam of the same horse next to those of the same view.
    #[must_use]
    pub fn beside(self, folder: &Path, record: Record) -> Desk {
        Desk { earlier: Some(Arc::new(EarlierExam { folder: folder.to_owned(), record })), ..self }
    }

    /// The exam as its journal has it now.
    pub(super) fn seen(&self) -> Result<Arc<DeskSnapshot>, FolderError> {
        let state = self.state();
        let mut kept = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((at, seen)) = kept.as_ref()
            && *at == self.with_stills(&state, &seen.exam)
        {
            return Ok(Arc::clone(seen));
        }
        let task = self.running.begin(TaskKind::Exam, "reading the journal");
        let grown = self.grown();
        let lines = self.folder.lines()?;
        task.step("reading what was said");
        let mut exam = self.folder.exam_of(&lines, &self.protocols)?;
        task.step("comparing the stills with those that were paired");
        let state = self.with_stills(&state, &exam);
        note_stills(self.folder.path(), &mut exam, |still| {
            // Remembered: an inbox looks at the stills of all exams. What a still shows is compared anew each time.
            let made_of = format!("sha256\n{}", file_state(still));
            let hash = cache::kept(self.folder.path(), &made_of, || sha256(still).map(String::into_bytes))?;
            String::from_utf8(hash).ok().filter(|hash| is_hash(hash)).map_or_else(|| sha256(still), Ok)
        });
        note_stamp(self.folder.path(), &lines, &mut exam);
        exam.head_is_gone = head_is_gone(self.folder.path(), &lines);
        exam.unclaimed = unclaimed(&self.folder, &lines);
        task.step("pairing the stills");
        let pairing = pair(&exam, &exam.frames);
        task.step("checking and measuring");
        let record = record(&exam, &pairing, &self.protocols);
        let version = lines.events.last().map(|line| line.seq).unwrap_or_default();
        task.step("drawing the limbs");
        let legs = chart(&record, &self.protocols);
        let sent = lines.events.iter().filter(|line| matches!(line.event, Event::Sent(_))).count();
        let history = history(&lines.events, &exam, &self.protocols);
        let seen = Arc::new(DeskSnapshot { version, bytes: grown, exam, record, legs, history, sent });
        *kept = Some((state, Arc::clone(&seen)));
        Ok(seen)
    }

    /// Reads everything again the next time.
    pub(super) fn forget(&self) {
        *self.seen.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }

    /// Length of the journal and of the time stamps next to it: both only grow.
    pub(super) fn grown(&self) -> u64 {
        let length = |file: PathBuf| std::fs::metadata(file).map_or(0, |about| about.len());
        self.folder.journal_bytes() + stamp_files(self.folder.path()).into_iter().map(length).sum::<u64>()
    }

    /// The journal and the time stamps as they are: where this is the same, so is the exam.
    fn state(&self) -> String {
        let stamps: String = stamp_files(self.folder.path()).iter().map(|file| file_state(file)).collect();
        format!("{}\n{stamps}", self.folder.journal_bytes())
    }

    /// The same with the files of the stills: a memory card that is used again holds others under their names.
    fn with_stills(&self, state: &str, exam: &Exam) -> String {
        let stills = exam.frames.iter().map(|still| file_state(&kept_file(self.folder.path(), &still.file)));
        std::iter::once(state.to_owned()).chain(stills).collect()
    }

    /// What the page is given, next to the exam before this one.
    pub(super) fn shown<'a>(&'a self, seen: &'a DeskSnapshot, earlier: Option<&'a EarlierExam>) -> Shown<'a> {
        let DeskSnapshot { version, bytes, exam, record, legs, history, .. } = seen;
        let since_start_s = |at: DateTime<Utc>| (at - exam.header.started_at).as_seconds_f64();
        let utterance = |utterance: &'a crate::exam::fold::LoggedUtterance| UtteranceRow {
            seq: utterance.seq,
            span_s: utterance.span.seconds(),
            words: &utterance.words,
            word_s: utterance.word_starts.iter().map(|start| start.seconds()).collect(),
            outcome: utterance.outcome,
            confidence: utterance.confidence,
        };
        Shown {
            version: *version,
            bytes: *bytes,
            questions: questions(record, &self.protocols.rules),
            informing: informing(record, &self.protocols.rules),
            history,
            utterances: exam.utterances.iter().map(utterance).collect(),
            acts: exam.calls.iter().map(|call| (call.seq, &call.act)).collect(),
            still_s: record.frames.iter().map(|row| row.saved_at_exam.map(since_start_s)).collect(),
            still_px: exam.frames.iter().map(|frame| frame.size_px).collect(),
            audio_s: exam.last_sample().seconds(),
            anchors_s: exam.timeline.anchors.iter().map(|anchor| anchor.sample.seconds()).collect(),
            gaps_s: exam.gaps.iter().map(|gap| (gap.at.seconds(), seconds(gap.samples))).collect(),
            key_stills: key_stills(record, &self.protocols),
            drawn: overlays(exam),
            legs: legs.len(),
            codes: self.codes(exam),
            cautions: cautions_now(&record.cautions, record.exam.is_signed()),
            earlier: earlier.map(|EarlierExam { record: then, .. }| EarlierShown {
                started_at: then.exam.started_at,
                frames: &then.frames,
                measures: &then.measures,
                changes: changes(&record.measures, &held_against(then), &self.protocols),
            }),
            record,
        }
    }

    /// The findings with a name of their own: those of the protocols, and what was heard in this exam. Empty where the
    /// protocols name none: then nothing is known to be missing.
    pub(super) fn finding_names<'a>(&'a self, exam: &'a Exam) -> impl Iterator<Item = &'a str> {
        let named = &self.protocols.plain.findings;
        let heard = exam
            .calls
            .iter()
            .filter(|call| !call.is_added() && call.corrected_by.is_empty() && call.withdrawn_by.is_none());
        let terms = heard.filter_map(|call| match &call.act {
            Act::Finding(said) => Some(said.term.as_str()),
            _ => None,
        });
        named.keys().map(String::as_str).chain(terms.filter(move |_| !named.is_empty()))
    }

    fn codes<'a>(&'a self, exam: &'a Exam) -> DeskCodes<'a> {
        let mut zones = self.protocols.zones_by_limb(&exam.header.schemes);
        let limb = |limb: &'_ crate::protocol::Limb| zones.remove(limb.code.as_str()).unwrap_or_default();
        let mut limb = limb;
        DeskCodes {
            limbs: (self.protocols.limbs.iter())
                .map(|one| DeskLimb {
                    code: &one.code,
                    name: &one.name,
                    group: &one.group,
                    side: &one.side,
                    zones: limb(one).into_iter().collect(),
                })
                .collect(),
            planes: (self.protocols.planes.iter())
                .map(|one| NamedCode { code: &one.code, name: &one.name })
                .collect(),
            structures: (self.protocols.structures.iter())
                .map(|one| DeskStructure { code: &one.code, name: &one.name, groups: &one.groups })
                .collect(),
            terms: (self.protocols.values.iter())
                .map(|one| TermCode {
                    term: &one.term,
                    units: &one.units,
                    shown: one.shown.as_ref().or(one.unit.as_ref()).map(String::as_str),
                    min: one.min,
                    max: one.max_on(exam.scale_of(&one.term, one)),
                    bound_unit: one.bound_unit.as_deref(),
                    between: one.between.as_deref(),
                    outlined: one.outline.is_some(),
                })
                .collect(),
            findings: self.finding_names(exam).collect(),
        }
    }
}

/// Whether a text is a SHA-256 in hexadecimal.
fn is_hash(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit())
}
