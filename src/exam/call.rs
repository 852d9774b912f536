//! What can be meant: the closed set of calls.
//!
//! Takes: nothing; these are the types between the parser, the journal and the record.
//! Gives: `Call` and its parts.
//! Never: a clinical word; codes and terms come from the grammar and the protocols.
//! Tested in: `exam::parse` and `exam::fold`.

use serde::{Deserialize, Serialize};

use crate::clock::Span;
use crate::code::{LimbCode, PlaneCode, StructureCode, ZoneCode};
use crate::exam::comparator::Comparator;
use crate::exam::seq::Seq;
use crate::language::closed_sets::{AnswerWord, Ask, Class, CommandName, HorseFact};
use crate::protocol::LevelProblem;

/// One thing said, as understood: an act and the words it came from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Call {
    /// What it means.
    #[serde(flatten)]
    pub act: Act,
    /// Said after "correction": it replaces an earlier call of the same kind.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub corrects: bool,
    /// The earliest line that it corrected when it was said; it never reaches further back. None where it corrects
    /// nothing, and in journals of before this was written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reach: Option<Seq>,
    /// The words as heard.
    pub words: String,
    /// Where they were heard.
    pub span: Span,
    /// The least sure of its words, 0 to 1.
    pub confidence: f64,
}

/// What a call does.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Act {
    /// Moves to a limb, zone, plane or structure; what is not named stays current.
    View(View),
    /// Sets the machine, the stance, the probe or the skin.
    Setting(Setting),
    /// Says what was seen at the current place.
    Finding(FindingSaid),
    /// Says what was measured or scored at the current place.
    Value(Value),
    /// A still was saved at this moment.
    Save,
    /// A moving sequence was saved at this moment: no still belongs to it.
    Clip,
    /// Free words begin (`open`) or end.
    Note {
        /// Begin or end.
        open: bool,
        /// They sum up what the exam means.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        conclusion: bool,
    },
    /// Acts on the exam itself.
    Command(Command),
    /// Asks the program something.
    Question {
        /// Which question.
        ask: Ask,
    },
    /// Answers a question that the program asked.
    Answer {
        /// Which answer.
        answer: AnswerWord,
    },
    /// Says which horse it is.
    Identity {
        /// What is said of it.
        what: HorseFact,
        /// As said.
        value: String,
    },
}

/// An end of the free words of a note or a conclusion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoteEdge {
    /// They begin after this call.
    Begins,
    /// They end with it.
    Ends,
}

impl Act {
    /// A still or a clip was saved.
    #[must_use]
    pub fn is_save(&self) -> bool {
        matches!(self, Act::Save | Act::Clip)
    }

    /// A whole structure is called normal.
    #[must_use]
    pub fn is_all_normal(&self) -> bool {
        matches!(self, Act::Finding(finding) if finding.is_all_normal())
    }

    /// Whether free words begin or end with it; none where it is about anything else.
    #[must_use]
    pub fn note_edge(&self) -> Option<NoteEdge> {
        match self {
            Act::Note { open: true, .. } => Some(NoteEdge::Begins),
            Act::Note { open: false, .. } => Some(NoteEdge::Ends),
            _ => None,
        }
    }

    /// Whether free words begin, or end, with it.
    #[must_use]
    pub fn is_note_edge(&self, edge: NoteEdge) -> bool {
        self.note_edge() == Some(edge)
    }

    /// A save, a limb, a zone or the end of the exam, which ends a note and counts as itself.
    pub(crate) fn ends_note(&self) -> bool {
        match self {
            Act::Save | Act::Clip | Act::Command(Command::EndOfExam) => true,
            Act::View(view) => view.limb.is_some() || view.zone.is_some() || view.step.is_some(),
            _ => false,
        }
    }

    /// The structure of a view that names nothing else.
    pub(crate) fn only_structure(&self) -> Option<StructureCode> {
        let Act::View(view) = self else { return None };
        let structure = view.structure.clone()?;
        (*view == View { structure: Some(structure.clone()), ..View::default() }).then_some(structure)
    }

    /// The class of a finding.
    pub(crate) fn class(&self) -> Option<&Class> {
        if let Act::Finding(finding) = self { Some(&finding.class) } else { None }
    }

    /// Whether it changes anything: answers and questions leave the exam as it is.
    #[must_use]
    pub fn changes_exam(&self) -> bool {
        !matches!(self, Act::Answer { .. } | Act::Question { .. })
    }

    /// Whether people pause after it: a save, a command, a question, an answer.
    #[must_use]
    pub fn is_closing(&self) -> bool {
        matches!(self, Act::Save | Act::Clip | Act::Command(_) | Act::Question { .. } | Act::Answer { .. })
    }
}

/// A move: the parts that were named, and nothing else.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct View {
    /// Limb code of the protocols, such as `LF`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limb: Option<LimbCode>,
    /// Zone code, such as `2A`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<ZoneCode>,
    /// Distance below the scheme's landmark in centimetres; the zone follows from it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_cm: Option<f64>,
    /// The landmark from which the level was said to be counted; none where only the level was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_from: Option<String>,
    /// The last zone of a range that begins at `zone`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_zone: Option<ZoneCode>,
    /// A landmark as said; no zone is guessed from it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Plane code, such as `T`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plane: Option<PlaneCode>,
    /// How far the plane is off its usual place, as said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<String>,
    /// Structure code, such as `SDFT`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub structure: Option<StructureCode>,
    /// A move from where the probe was; what it leads to is found when the calls are folded.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<ViewStep>,
    /// With a step to the other limb, the pair that was named, as `protocols/limbs.toml` groups limbs.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pair: Option<String>,
    /// The zone stays although the limb is another one.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub same_zone: bool,
}

impl View {
    /// It may lead to another limb.
    #[must_use]
    pub fn names_limb(&self) -> bool {
        self.limb.is_some() || self.step == Some(ViewStep::OtherLimb)
    }

    /// It says the zone, or a level that gives it.
    #[must_use]
    pub fn names_zone(&self) -> bool {
        self.zone.is_some() || self.level_cm.is_some()
    }

    /// It may lead to another limb, zone or plane, and not only to another structure.
    #[must_use]
    pub fn names_view(&self) -> bool {
        self.names_limb()
            || self.step.is_some()
            || self.names_zone()
            || self.place.is_some()
            || self.plane.is_some()
    }

    /// Takes over what the other names, where the two name different things; false, and unchanged, where they clash.
    pub(crate) fn join(&mut self, more: &View) -> bool {
        let clash = (self.limb.is_some() && more.limb.is_some())
            || (self.names_zone() && more.names_zone())
            || (self.place.is_some() && more.place.is_some())
            || (self.plane.is_some() && more.plane.is_some())
            || (self.structure.is_some() && more.structure.is_some())
            || self.step.is_some()
            || more.step.is_some()
            || (self.same_zone && more.names_zone());
        if clash {
            return false;
        }
        let View {
            limb,
            zone,
            level_cm,
            level_from,
            to_zone,
            place,
            plane,
            offset,
            structure,
            step: _,
            pair: _,
            same_zone,
        } = more.clone();
        self.limb = self.limb.take().or(limb);
        self.zone = self.zone.take().or(zone);
        self.to_zone = self.to_zone.take().or(to_zone);
        self.level_cm = self.level_cm.or(level_cm);
        self.level_from = self.level_from.take().or(level_from);
        self.place = self.place.take().or(place);
        self.plane = self.plane.take().or(plane);
        self.offset = self.offset.take().or(offset);
        self.structure = self.structure.take().or(structure);
        self.same_zone |= same_zone;
        true
    }
}

/// A move that only makes sense from the place before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ViewStep {
    /// To the other limb of the pair.
    OtherLimb,
    /// One zone on.
    NextZone,
    /// One zone back.
    PreviousZone,
}

/// A setting: it stays current until the same slot is set again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Setting {
    /// Which setting: `standoff`, `stance`, `imaging depth`, ...
    pub slot: String,
    /// Its new state in words, where it is not a number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<String>,
    /// Its new value, where it is a number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub amount: Option<Amount>,
}

/// Something seen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FindingSaid {
    /// What sort.
    pub class: Class,
    /// The term, as the grammar writes it.
    pub term: String,
    /// How marked it is: `mild`, `moderate`, `severe`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub degree: Option<String>,
    /// Where in the structure: one or two directions.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub position: Vec<String>,
    /// Too easily misheard to be taken without a read-back, and none has settled it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unconfirmed: bool,
    /// The structure named in the same phrase; none where the current one is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub structure: Option<StructureCode>,
    /// The speaker's own doubt; how sure the ear is, is the call's confidence.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certainty: Option<Certainty>,
    /// What it is like, in the grammar's words: `anechoic`, `chronic`, ...
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub attributes: Vec<String>,
    /// What it was compared with: `other limb`, `last scan`, `scan in March`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub against: Option<String>,
    /// The limb that it was compared with, where it was named: its side, its pair, or both.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub against_limb: Vec<String>,
    /// How a lesion compares with it: `smaller`, ...; the term of a plain comparison says it itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub than: Option<String>,
    /// The zones it reaches from and to, or only to.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub zones: Vec<ZoneCode>,
    /// Said as "the same again": what it repeats is found when the calls are folded.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub copied: bool,
    /// Said of every structure of the view, not only of the current one.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub all_structures: bool,
}

impl FindingSaid {
    /// Said of the whole: "size normal" says nothing of the rest.
    #[must_use]
    pub fn is_all_normal(&self) -> bool {
        self.class == Class::Normal && self.attributes.is_empty()
    }

    /// A degree alone, said just after it, can be its own. What says that nothing is wrong is, as it is heard, a lesion too.
    #[must_use]
    pub fn takes_degree(&self) -> bool {
        matches!(self.class, Class::Lesion | Class::Unremarkable) && self.degree.is_none()
    }
}

/// How sure the speaker is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Certainty {
    /// It may be there or not: it counts as neither.
    Possible,
}

/// Something measured or scored.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Value {
    /// What was measured: `area`, `echo score`, ...
    pub term: String,
    /// The number.
    pub amount: Amount,
    /// What was said with the number.
    #[serde(flatten)]
    pub said: ValueSaid,
}

/// What was said with a number; usually nothing.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ValueSaid {
    /// The structure named in the same phrase; none where the current one is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub structure: Option<StructureCode>,
    /// The number is the speaker's estimate.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub approx: bool,
    /// The number is a bound.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub comparator: Option<Comparator>,
    /// The last number of a range that begins at the amount.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<f64>,
    /// The second of two distances at right angles; which of them is the width was not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<f64>,
    /// The scale that was said with a score.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<String>,
}

impl ValueSaid {
    /// The amount is the number itself: neither an estimate, nor a bound, nor one of two.
    #[must_use]
    pub fn is_exact(&self) -> bool {
        !self.approx && self.is_one_number()
    }

    /// It can be computed with: neither a bound nor a range nor one of two distances.
    #[must_use]
    pub fn is_one_number(&self) -> bool {
        self.comparator.is_none() && self.to.is_none() && self.by.is_none()
    }
}

/// A number with its unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Amount {
    /// The number as said.
    pub number: f64,
    /// UCUM unit (`mm2`, `cm`, `%`, ...); none for scores and bare settings.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// The unit was not said: it is the term's default of the protocols.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unit_assumed: bool,
}

/// An act on the exam itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "command", rename_all = "snake_case")]
pub enum Command {
    /// Undo the last calls.
    TakeBack {
        /// How many, at least 1.
        count: usize,
    },
    /// Undo the last save.
    TakeBackSave,
    /// The still saved now pins the offset between the two clocks.
    ClockMark,
    /// Pause the journal: log nothing until it is resumed. Journals call it by its first name.
    #[serde(rename = "stop_listening")]
    PauseJournal,
    /// Resume the journal.
    #[serde(rename = "start_listening")]
    ResumeJournal,
    /// Open an exam, where the program waits for one; inside an exam it changes nothing.
    StartOfExam,
    /// Close the exam.
    EndOfExam,
    /// A limb is done.
    LimbDone {
        /// Which; none means the current one.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        limb: Option<LimbCode>,
    },
    /// Another horse comes; only a person's yes closes the exam for it.
    NewHorse,
}

impl Command {
    /// Which command it is, without what belongs to it.
    #[must_use]
    pub fn name(&self) -> CommandName {
        match self {
            Command::TakeBack { .. } => CommandName::TakeBack,
            Command::TakeBackSave => CommandName::TakeBackSave,
            Command::ClockMark => CommandName::ClockMark,
            Command::PauseJournal => CommandName::PauseJournal,
            Command::ResumeJournal => CommandName::ResumeJournal,
            Command::StartOfExam => CommandName::StartOfExam,
            Command::EndOfExam => CommandName::EndOfExam,
            Command::LimbDone { .. } => CommandName::LimbDone,
            Command::NewHorse => CommandName::NewHorse,
        }
    }
}

/// Something that could not be taken as said; data for a person, never a failure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// What is wrong, in words.
    pub message: String,
    /// What to do or say instead.
    pub help: String,
}

impl Problem {
    pub(crate) fn new(message: impl Into<String>, help: impl Into<String>) -> Problem {
        Problem { message: message.into(), help: help.into() }
    }
}

impl From<LevelProblem> for Problem {
    fn from(problem: LevelProblem) -> Problem {
        Problem { message: problem.message, help: problem.help }
    }
}
