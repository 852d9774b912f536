//! A change that a browser asks for: judged, put into words, and written into the journal.
//!
//! Takes: what the page sent, and the exam as it stands while the journal is held.
//! Gives: the event's number, or a refusal that says what to do.
//! Never: a change of something that is not there, or one over a change that its maker had not seen.
//! Tested in: `tests/review.rs`.

use chrono::Utc;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::exam::call::{Act, Amount, Problem, View};
use crate::exam::event::Event;
use crate::exam::fold::{Exam, LoggedCall};
use crate::exam::journal::Journal;
use crate::exam::review::{Change, LoggedChange, Review, TEXT_MAX, is_plain};
use crate::exam::sign::Signed;
use crate::frames::clock_fit::OFFSET_S_MAX;
use crate::frames::pair::pair;
use crate::knowledge::place::Place;
use crate::knowledge::rows::frame_rows;
use crate::review::desk::{Desk, DeskError, Seen};
use crate::review::key::key;
use crate::tell::export::json;

/// What the page sends.
#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    /// Who.
    by: String,
    /// Why.
    #[serde(default)]
    why: String,
    /// Number of the last line that the page had been given.
    seen: u64,
    change: Change,
}

/// Why a change was not made.
#[derive(Debug)]
pub(super) enum Refusal {
    /// It makes no sense.
    Wrong(Problem),
    /// Somebody else changed the same thing meanwhile.
    Overtaken(Problem),
    /// The journal could not be read or written.
    Desk(DeskError),
}

impl From<DeskError> for Refusal {
    fn from(error: DeskError) -> Refusal {
        Refusal::Desk(error)
    }
}

pub(super) fn wrong<T>(message: impl Into<String>, help: &str) -> Result<T, Refusal> {
    Err(Refusal::Wrong(Problem { message: message.into(), help: help.to_owned() }))
}

/// Writes the change; the journal is held from reading to writing, so that nothing comes between.
pub(super) fn write(desk: &Desk, asked: Asked) -> Result<u64, Refusal> {
    let mut journal = Journal::open(&desk.folder).map_err(DeskError::from)?;
    let seen = desk.seen()?;
    let (by, why) = (asked.by.trim().to_owned(), asked.why.trim().to_owned());
    if by.is_empty() || by.chars().count() > TEXT_MAX {
        return wrong("nobody is named as the one who changes it", "enter your name at the top");
    }
    if !is_plain(&by) || !is_plain(&why) {
        return wrong("name or reason holds signs that cannot be seen", "type it again, in plain text");
    }
    if why.chars().count() > TEXT_MAX {
        return wrong(format!("the reason is longer than {TEXT_MAX} characters"), "say it shorter");
    }
    overtaken(&seen.exam, &asked)?;
    let was = judge(desk, &seen, &asked.change)?;
    let review = Event::Review(Box::new(Review { by, why, was, change: asked.change }));
    let seq = journal.append(Utc::now(), seen.exam.last_sample(), &review).map_err(DeskError::from)?;
    Ok(seq)
}

/// A wish to sign.
#[derive(Debug, Deserialize)]
pub(super) struct Signing {
    by: String,
    licence: String,
    /// Number of the last line that the page had been given.
    seen: u64,
}

/// Signs the record as it stands; nobody signs what they have not seen.
pub(super) fn sign(desk: &Desk, asked: &Signing) -> Result<u64, Refusal> {
    let mut journal = Journal::open(&desk.folder).map_err(DeskError::from)?;
    let seen = desk.seen()?;
    let (by, licence) = (asked.by.trim(), asked.licence.trim());
    if by.is_empty() || licence.is_empty() || by.len().max(licence.len()) > TEXT_MAX {
        return wrong("name and licence are needed to sign", "enter both, as they stand on the licence");
    }
    if !is_plain(by) || !is_plain(licence) {
        return wrong("name or licence holds signs that cannot be seen", "type it again, in plain text");
    }
    if asked.seen != seen.version {
        return Err(Refusal::Overtaken(Problem {
            message: "the exam was changed since this page showed it".to_owned(),
            help: "nothing was signed; look at it again, then sign".to_owned(),
        }));
    }
    if !seen.exam.damage.is_empty() {
        return wrong("the journal is damaged, so it cannot be signed", "see `zonecall journal --verify`");
    }
    let key = match key() {
        Ok(key) => key,
        Err(error) => return wrong(error.to_string(), "nothing was signed"),
    };
    let record_sha256 = crate::hex(&Sha256::digest(json(&seen.record).as_bytes()));
    let signed = Signed::new(by, licence, journal.last_hash(), &record_sha256, &key);
    let event = Event::Signed(Box::new(signed));
    Ok(journal.append(Utc::now(), seen.exam.last_sample(), &event).map_err(DeskError::from)?)
}

/// A still that would be labelled otherwise.
#[derive(Debug, Serialize)]
pub(super) struct Relabelled {
    number: usize,
    before: Place,
    after: Place,
}

/// The stills that would get another label if the scanner's clock were set to this offset.
pub(super) fn preview(desk: &Desk, offset_s: f64) -> Result<Vec<Relabelled>, DeskError> {
    let seen = desk.seen()?;
    let mut exam = seen.exam.clone();
    let review = Review {
        by: String::new(),
        why: String::new(),
        was: String::new(),
        change: Change::Clock { offset_s: offset_s.clamp(-OFFSET_S_MAX, OFFSET_S_MAX) },
    };
    exam.changes.push(LoggedChange { seq: u64::MAX, at: Utc::now(), review, taken_back_by: None });
    let after = frame_rows(&exam, &pair(&exam, &exam.frames));
    let rows = seen.record.frames.iter().zip(after).enumerate();
    Ok(rows
        .filter(|(_, (before, after))| before.place != after.place)
        .map(|(number, (before, after))| Relabelled {
            number,
            before: before.place.clone(),
            after: after.place,
        })
        .collect())
}

fn overtaken(exam: &Exam, asked: &Asked) -> Result<(), Refusal> {
    let newer =
        |change: &&LoggedChange| change.seq > asked.seen && change.review.change.same_target(&asked.change);
    let Some(other) = exam.changes.iter().find(newer) else {
        return Ok(());
    };
    Err(Refusal::Overtaken(Problem {
        message: format!("{} changed this just now: {}", other.review.by, other.review.change),
        help: "nothing of yours was written; look at it again, then change it if it is still wrong"
            .to_owned(),
    }))
}

/// Whether the change makes sense; gives what stood there before, in words.
fn judge(desk: &Desk, seen: &Seen, change: &Change) -> Result<String, Refusal> {
    let exam = &seen.exam;
    match change {
        Change::Call { seq, act } => {
            let call = own_call(exam, *seq)?;
            act_fits(desk, exam, call, act)?;
            Ok(call.act.to_string())
        }
        Change::Place { seq, place } => {
            let call = own_call(exam, *seq)?;
            let before = Place::from(&call.context).codes();
            let limb = place.limb.as_ref().or(call.context.limb.as_ref());
            place_fits(desk, exam, place, limb)?;
            Ok(before)
        }
        Change::Withdraw { seq } => {
            let call = own_call(exam, *seq)?;
            if call.withdrawn_by.is_some() {
                return wrong("this call is withdrawn already", "nothing to do");
            }
            Ok(call.act.to_string())
        }
        Change::Pair { still, seq } => {
            own_call(exam, *seq)?;
            label_of(seen, still)
        }
        Change::Label { still, place } => {
            place_fits(desk, exam, place, place.limb.as_ref())?;
            label_of(seen, still)
        }
        Change::LeaveOut { still } => label_of(seen, still),
        Change::Clock { offset_s } => {
            if !offset_s.is_finite() || offset_s.abs() > OFFSET_S_MAX {
                return wrong(
                    format!("{offset_s} is no offset between -{OFFSET_S_MAX} and {OFFSET_S_MAX} s"),
                    "read both clocks again",
                );
            }
            let clock = seen.record.clock.as_ref();
            Ok(clock.map(|clock| format!("{:+.1} s", clock.offset_s)).unwrap_or_default())
        }
        Change::Looked { .. } => {
            let asks = |finding| crate::review::question::looked(finding) == *change;
            if !seen.record.findings.iter().any(asks) {
                return wrong("this question is not asked any more", "go on with the next one");
            }
            Ok(String::new())
        }
        Change::TakeBack { seq } => what_stands(exam, *seq),
    }
}

fn what_stands(exam: &Exam, seq: u64) -> Result<String, Refusal> {
    if let Some(change) = exam.standing_changes().find(|change| change.seq == seq) {
        return Ok(change.review.change.to_string());
    }
    match exam.entries.iter().find(|entry| entry.seq == seq) {
        Some(entry) => Ok(format!("{} {}", entry.entered.term, entry.entered.amount)),
        None => wrong(format!("line {seq} is no change that stands"), "look at the list of changes again"),
    }
}

/// The call of this number, unless it was itself a correction: then the call it mended is the one to change.
fn own_call(exam: &Exam, seq: u64) -> Result<&LoggedCall, Refusal> {
    match exam.calls.iter().find(|call| call.seq == seq) {
        Some(call) => Ok(call),
        None => wrong(format!("there is no call {seq}"), "choose one of the calls on the page"),
    }
}

fn label_of(seen: &Seen, still: &str) -> Result<String, Refusal> {
    match seen.record.frames.iter().find(|row| row.id == still) {
        Some(row) => Ok(row.place.codes()),
        None => wrong("there is no such still in this exam", "choose one of the stills on the page"),
    }
}

fn act_fits(desk: &Desk, exam: &Exam, call: &LoggedCall, act: &Act) -> Result<(), Refusal> {
    if std::mem::discriminant(act) != std::mem::discriminant(&call.act) {
        return wrong(
            "a call stays what it is: a move, a value, a finding",
            "withdraw it and enter the right one",
        );
    }
    if call.call.corrects {
        return wrong("this was itself said as a correction", "put the call right that it corrected");
    }
    match act {
        Act::View(view) => place_fits(desk, exam, view, view.limb.as_ref().or(call.context.limb.as_ref())),
        Act::Value(value) => amount_fits(desk, &value.term, &value.amount),
        Act::Finding(finding) if finding.term.is_empty() || finding.term.chars().count() > TEXT_MAX => {
            wrong("the finding has no name", "write what was seen, as it is called in the report")
        }
        Act::Finding(_) => Ok(()),
        _ => wrong("only moves, values and findings are put right", "withdraw the call if it is wrong"),
    }
}

fn amount_fits(desk: &Desk, term: &str, amount: &Amount) -> Result<(), Refusal> {
    let Some(kind) = desk.protocols.value(term) else {
        return wrong(format!("`{term}` is nothing that is measured"), "choose a term from the list");
    };
    if !amount.number.is_finite() || amount.number < 0.0 {
        return wrong("that is no measured number", "enter a number from 0 upwards");
    }
    match &amount.unit {
        Some(unit) if !kind.units.contains(unit) => {
            wrong(format!("{term} is not measured in `{unit}`"), "choose one of the units in the list")
        }
        None if !kind.units.is_empty() => wrong(format!("{term} wants a unit"), "choose one from the list"),
        _ => match kind.odd(amount.number, amount.unit.as_deref()) {
            Some(odd) => wrong(odd.to_string(), "if it is right, write it with `zonecall enter --unusual`"),
            None => Ok(()),
        },
    }
}

/// Every code is known, and the limb has the zone in the schemes of the exam.
fn place_fits(desk: &Desk, exam: &Exam, place: &View, limb: Option<&String>) -> Result<(), Refusal> {
    let View { limb: own, zone, level_cm, plane, structure } = place;
    let protocols = &desk.protocols;
    if own.is_none() && zone.is_none() && level_cm.is_none() && plane.is_none() && structure.is_none() {
        return wrong("no place was chosen", "choose a limb, zone, plane or structure");
    }
    let unknown = [
        own.as_ref().filter(|code| protocols.limb(code).is_none()),
        plane.as_ref().filter(|code| protocols.plane(code).is_none()),
        structure.as_ref().filter(|code| protocols.structure(code).is_none()),
    ];
    if let Some(code) = unknown.into_iter().flatten().next() {
        return wrong(format!("`{code}` is not known to the protocols"), "choose one from the list");
    }
    if let Some(level) = level_cm {
        let zone = limb.map(|limb| protocols.zone_of_level(limb, *level, &exam.header.schemes));
        match zone {
            Some(Ok(_)) => {}
            Some(Err(problem)) => return wrong(problem.message, &problem.help),
            None => return wrong("a level is one of a limb", "choose the limb, too"),
        }
    }
    if let Some(zone) = zone {
        let fits = limb.is_some_and(|limb| protocols.scheme_for(limb, zone, &exam.header.schemes).is_some());
        if !fits {
            let limb = limb.map_or("a still or call without a limb", String::as_str);
            return wrong(
                format!("{zone} is no zone of {limb} in this exam"),
                "choose limb and zone together",
            );
        }
    }
    Ok(())
}
