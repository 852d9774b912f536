//! A call as one short line of text, for people who read the journal.
//!
//! Takes: an `Act`.
//! Gives: its `Display`: codes as the protocols write them, numbers with units.
//! Never: the words as heard; those are with the utterance.
//! Tested in: this file.

use std::fmt::{Display, Formatter, Result};

use crate::exam::call::{
    Act, Amount, Certainty, Command, FindingSaid, Setting, Value, ValueSaid, View, ViewStep,
};
use crate::exam::comparator::Comparator;
use crate::exam::review::Change;
use crate::language::closed_sets::Class;

impl Display for Act {
    fn fmt(&self, out: &mut Formatter<'_>) -> Result {
        match self {
            Act::View(view) => view.fmt(out),
            Act::Setting(setting) => setting.fmt(out),
            Act::Finding(finding) => finding.fmt(out),
            Act::Value(Value { term, amount, said }) => {
                write!(out, "{term} {said}{amount}")?;
                said.end(out)
            }
            Act::Save => out.write_str("still saved"),
            Act::Note { open: true, conclusion: false } => out.write_str("free note begins"),
            Act::Note { open: true, conclusion: true } => out.write_str("conclusion begins"),
            Act::Note { open: false, .. } => out.write_str("free note ends"),
            Act::Command(command) => command.fmt(out),
            Act::Question { ask } => write!(out, "question: {ask}"),
            Act::Answer { answer } => write!(out, "answer: {answer}"),
            Act::Clip => out.write_str("clip saved"),
            Act::Identity { what, value } => write!(out, "{}: {value}", what.as_str().replace('_', " ")),
        }
    }
}

impl Display for Change {
    fn fmt(&self, out: &mut Formatter<'_>) -> Result {
        match self {
            Change::Call { seq, act } => write!(out, "call {seq} is now {act}"),
            Change::Place { seq, place } => write!(out, "call {seq} alone moved to {place}"),
            Change::Withdraw { seq } => write!(out, "call {seq} withdrawn"),
            Change::Add { sample, act } => write!(out, "{act}, added at {:.1} s", sample.seconds()),
            Change::Move { seq, sample } => write!(out, "call {seq} moved to {:.1} s", sample.seconds()),
            Change::Pair { seq, .. } => write!(out, "still paired with call {seq}"),
            Change::Label { place, .. } => write!(out, "still labelled {place}"),
            Change::SameHorse { patient } => {
                write!(out, "stills of {} are of the exam's horse", patient.in_words())
            }
            Change::LeaveOut { .. } => out.write_str("still is not part of the exam"),
            Change::KeyPicture { shown, frame_number, .. } => {
                let which = frame_number.map(|number| format!(", frame {number}")).unwrap_or_default();
                write!(
                    out,
                    "still {} the report's pictures{which}",
                    if *shown { "added to" } else { "left out of" }
                )
            }
            Change::Scale { distance_mm, .. } => {
                write!(out, "scale of the still set by hand, from {distance_mm} mm of its depth scale")
            }
            Change::Clock { offset_s } => {
                write!(out, "scanner's clock set to {offset_s:+.1} s from the exam's")
            }
            Change::Looked { finding, .. } => write!(out, "accepted: {finding}"),
            Change::NoteText { seq, text } => write!(out, "note {seq}: {text}"),
            Change::Words { part, text } => write!(out, "{}: {text}", part.name()),
            Change::TakeBack { seq } => write!(out, "line {seq} taken back"),
        }
    }
}

impl Display for View {
    fn fmt(&self, out: &mut Formatter<'_>) -> Result {
        let level = self.level_cm.map(|level| format!("level {level} cm"));
        let to = self.to_zone.as_ref().map(|zone| format!("to {zone}"));
        let step = self.step.map(|step| match step {
            ViewStep::OtherLimb => "other limb",
            ViewStep::NextZone => "next zone",
            ViewStep::PreviousZone => "previous zone",
        });
        let parts = [
            self.limb.as_deref(),
            step,
            self.zone.as_deref(),
            to.as_deref(),
            level.as_deref(),
            self.place.as_deref(),
            self.plane.as_deref(),
            self.offset.as_deref(),
            self.structure.as_deref(),
        ];
        let named: Vec<&str> = parts.into_iter().flatten().collect();
        out.write_str(&named.join(" "))
    }
}

impl Display for Setting {
    fn fmt(&self, out: &mut Formatter<'_>) -> Result {
        out.write_str(&self.slot)?;
        if let Some(state) = &self.state {
            write!(out, " {state}")?;
        }
        self.amount.as_ref().map_or(Ok(()), |amount| write!(out, " {amount}"))
    }
}

impl Display for FindingSaid {
    fn fmt(&self, out: &mut Formatter<'_>) -> Result {
        let said = match (&self.class, self.certainty) {
            (Class::Negative, _) => SaidAs::Denied,
            (_, Some(Certainty::Possible)) => SaidAs::Possible,
            _ => SaidAs::Seen,
        };
        out.write_str(&finding_named(said, self.degree.as_deref(), &self.attributes, &self.term))?;
        if !self.zones.is_empty() {
            write!(out, " {}", self.zones.join(" to "))?;
        }
        if !self.position.is_empty() {
            write!(out, ", {}", self.position.join(" "))?;
        }
        if let Some(structure) = &self.structure {
            write!(out, " of {structure}")?;
        }
        if let Some(against) = &self.against {
            let than = self.than.as_ref().map(|than| format!(", {than}")).unwrap_or_default();
            write!(out, "{than} against the {against}")?;
        }
        if self.all_structures {
            out.write_str(", all structures")?;
        }
        if self.copied {
            out.write_str(" (said as the same again)")?;
        }
        if self.unconfirmed { out.write_str(" (not confirmed)") } else { Ok(()) }
    }
}

/// How a finding was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SaidAs {
    /// It is there.
    Seen,
    /// It may be there.
    Possible,
    /// It is not there.
    Denied,
}

/// A finding with what was said of it: "mild tear" and "no tear", but "mildly enlarged" and "not enlarged".
pub(crate) fn finding_named(said: SaidAs, degree: Option<&str>, attributes: &[String], term: &str) -> String {
    let is_adjective = is_adjective(term);
    let said = match (said, is_adjective) {
        (SaidAs::Seen, _) => "",
        (SaidAs::Possible, false) => "possible",
        (SaidAs::Possible, true) => "possibly",
        (SaidAs::Denied, false) => "no",
        (SaidAs::Denied, true) => "not",
    };
    let attributes = attributes.join(" ");
    let degree = degree.unwrap_or_default();
    let adverb = adverb(degree);
    let parts =
        if is_adjective { [said, &attributes, &adverb, term] } else { [said, degree, &attributes, term] };
    let parts: Vec<&str> = parts.into_iter().filter(|part| !part.is_empty()).collect();
    parts.join(" ")
}

/// By the form of the English word, whatever it means: "widened", "well defined", "porous"; not "red" or "fabric".
pub(crate) fn is_adjective(term: &str) -> bool {
    let is_one = !term.contains(' ');
    let ends = |end: &str| term.strip_suffix(end).is_some_and(|stem| stem.len() > 3);
    ends("ned") || is_one && (ends("ged") || ends("oic") || ends("onic") || ends("ous"))
}

/// "Mild to moderate" as in "mildly to moderately".
fn adverb(degree: &str) -> String {
    let words = degree.split_whitespace();
    let stays = |word: &str| matches!(word, "to" | "very");
    words
        .map(|word| if stays(word) { word.to_owned() } else { format!("{word}ly") })
        .collect::<Vec<_>>()
        .join(" ")
}

impl Display for ValueSaid {
    /// What goes before the number.
    fn fmt(&self, out: &mut Formatter<'_>) -> Result {
        if let Some(structure) = &self.structure {
            write!(out, "of {structure} ")?;
        }
        out.write_str(&bound(self.comparator))?;
        if self.approx { out.write_str("about ") } else { Ok(()) }
    }
}

/// What goes before a number that is a bound.
pub(crate) fn bound(comparator: Option<Comparator>) -> String {
    comparator.map(|comparator| format!("{} ", comparator.in_words())).unwrap_or_default()
}

impl ValueSaid {
    /// What goes after the number.
    fn end(&self, out: &mut Formatter<'_>) -> Result {
        if let Some(to) = self.to {
            write!(out, ", to {to}")?;
        }
        if let Some(by) = self.by {
            write!(out, ", by {by}")?;
        }
        self.scale.as_ref().map_or(Ok(()), |scale| write!(out, ", on {scale}"))
    }
}

impl Display for Amount {
    fn fmt(&self, out: &mut Formatter<'_>) -> Result {
        write!(out, "{}", self.number)?;
        if let Some(unit) = &self.unit {
            write!(out, " {unit}")?;
        }
        if self.unit_assumed { out.write_str(" (unit not said)") } else { Ok(()) }
    }
}

impl Display for Command {
    fn fmt(&self, out: &mut Formatter<'_>) -> Result {
        match self {
            Command::TakeBack { count: 1 } => out.write_str("take back the last call"),
            Command::TakeBack { count } => write!(out, "take back the last {count} calls"),
            Command::ClockMark => out.write_str("clock mark"),
            Command::PauseJournal => out.write_str("pause the journal"),
            Command::ResumeJournal => out.write_str("resume the journal"),
            Command::StartOfExam => out.write_str("start of exam"),
            Command::EndOfExam => out.write_str("end of exam"),
            Command::TakeBackSave => out.write_str("take back the last save"),
            Command::LimbDone { limb: Some(limb) } => write!(out, "{limb} done"),
            Command::LimbDone { limb: None } => out.write_str("limb done"),
            Command::NewHorse => out.write_str("new horse"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_call_reads_as_people_would_write_it() {
        let view = View { limb: Some("X1".into()), plane: Some("T".into()), ..View::default() };
        assert_eq!(Act::View(view).to_string(), "X1 T");
        let level = View { level_cm: Some(12.5), ..View::default() };
        assert_eq!(Act::View(level).to_string(), "level 12.5 cm");
        let amount = Amount { number: 1.07, unit: Some("cm2".into()), unit_assumed: true };
        let value = Value { term: "area".into(), amount, said: ValueSaid::default() };
        assert_eq!(Act::Value(value).to_string(), "area 1.07 cm2 (unit not said)");
        let finding = FindingSaid {
            class: Class::Lesion,
            term: "spot".into(),
            degree: Some("mild".into()),
            position: vec!["upper".into(), "inner".into()],
            unconfirmed: true,
            structure: None,
            certainty: None,
            attributes: Vec::new(),
            against: None,
            against_limb: Vec::new(),
            than: None,
            zones: Vec::new(),
            copied: false,
            all_structures: false,
        };
        assert_eq!(Act::Finding(finding).to_string(), "mild spot, upper inner (not confirmed)");
        assert_eq!(Act::Command(Command::TakeBack { count: 2 }).to_string(), "take back the last 2 calls");
    }
}
