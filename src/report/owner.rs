//! The owner's report: what was looked at, what was seen and what is open, in plain words.
//!
//! Takes: `ReportInput`.
//! Gives: `OwnerReport`, and HTML made from it.
//! Never: a score, a code or a cut-off; what a finding means for the horse; a call that was taken back.
//! Tested in: `tests/it/owner.rs`.

use std::collections::BTreeSet;

use chrono::{NaiveDate, TimeDelta};
use maud::{Markup, html as markup};
use serde::Serialize;

use super::ReportInput;
use super::data::{Standing, standing_of};
use super::document::{Document, page};
use super::picture::Picture;
use super::vet::{STYLE, sign_here, status};
use super::words::{CAUTIONS, Cover, count, day, horse, standing};
use crate::exam::closed_sets::CallKind;
use crate::knowledge::belongs::is_labelled;
use crate::knowledge::key_stills::says_changed;
use crate::knowledge::measure::row::{MeasureRow, Name};
use crate::knowledge::record::{CallRow, FrameRow, Record};
use crate::knowledge::undescribed::undescribed_of;
use crate::language::closed_sets::Class;
use crate::protocol::Protocols;

/// Pictures in one report: one of each limb.
const PICTURES_MAX: usize = 4;
/// The rule that reminds of the next scan.
const RESCAN: &str = "rescan-due";

/// Added to the cautions of everything that people read: what they mean for somebody who does not scan.
const FOR_OWNERS: &str = "This report says what was seen in the scan. \
What it means for your horse, and what to do, is for your vet to say. \
Please do not change work or treatment because of this report alone.";
/// Added where a number was held against a cut-off.
const CUT_OFF: &str =
    "Such limits are defaults taken from textbooks, made for comparing scans; your vet may use others.";

/// Everything the owner's report says.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct OwnerReport {
    pub(crate) title: String,
    pub(crate) kicker: &'static str,
    pub(crate) horse: String,
    pub(crate) day: String,
    pub(crate) facts: Vec<(&'static str, String)>,
    pub(crate) status: Standing,
    pub(crate) looked: Vec<String>,
    pub(crate) limbs: Vec<LimbSeen>,
    pub(crate) open: Vec<String>,
    /// Whom to call.
    pub(crate) call: String,
    pub(crate) pictures: Vec<OwnerPicture>,
}

/// What was seen on one limb.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct LimbSeen {
    pub(crate) name: String,
    pub(crate) seen: Vec<StructureSeen>,
    /// One sentence each: what looked normal, was not there, was not scanned.
    pub(crate) rest: Vec<String>,
}

/// What was seen in one structure.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct StructureSeen {
    pub(crate) structure: String,
    pub(crate) what: String,
    pub(crate) lines: Vec<String>,
}

/// A still of a place where something was seen.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct OwnerPicture {
    #[serde(skip)]
    pub(crate) id: String,
    pub(crate) caption: String,
}

/// The owner's report as one HTML page.
#[must_use]
pub fn html(input: &ReportInput) -> String {
    let report = OwnerReport::of(input);
    let body = markup! {
        header {
            p.kicker { (report.kicker) }
            h1 { (report.horse) }
            dl.facts { @for (name, value) in &report.facts { div { dt { (name) } dd { (value) } } } }
        }
        (status(&report.status))
        main {
            section { h2 { "What was scanned" } @for line in &report.looked { p { (line) } } }
            section { h2 { "What was seen" } @for limb in &report.limbs { (limb_seen(limb)) } }
            section { h2 { "Whom to call" } p { (report.call) } }
            section { h2 { "What is still open" } ul { @for line in &report.open { li { (line) } } } }
            @if !report.pictures.is_empty() { (pictures(&report, input)) }
        }
        footer { (status(&report.status)) (sign_here(input)) }
    };
    page(&Document { title: &report.title, style: STYLE, body: &body })
}

fn limb_seen(limb: &LimbSeen) -> Markup {
    markup! {
        div.limb {
            h3 { (limb.name) }
            @for seen in &limb.seen {
                p.part { strong { (seen.structure) } @if !seen.what.is_empty() { ": " (seen.what) "." } }
                ul { @for line in &seen.lines { li { (line) } } }
            }
            @for line in &limb.rest { p { (line) } }
        }
    }
}

fn pictures(report: &OwnerReport, input: &ReportInput) -> Markup {
    markup! {
        section { h2 { "Pictures" } div.pair { @for picture in &report.pictures {
            @if let Some(Picture::Shown { jpeg, width_px, height_px }) = input.pictures.get(&picture.id) {
                figure {
                    img src=(super::picture::data_uri(jpeg)) width=(width_px) height=(height_px) alt=(picture.caption);
                    figcaption { (picture.caption) }
                }
            }
        } } }
    }
}

impl OwnerReport {
    pub(crate) fn of(input: &ReportInput) -> OwnerReport {
        let ReportInput { record, protocols, .. } = *input;
        let exam = &record.exam;
        let (horse, day) = (horse(record).to_owned(), day(exam.started_at, exam.utc_offset_s));
        let limbs: Vec<&str> = examined(record, protocols);
        OwnerReport {
            title: format!("Scan of {horse}, {day}: for the owner"),
            kicker: "Ultrasound scan of the legs: report for the owner",
            facts: vec![
                ("Date of the scan", day.clone()),
                ("Scanned by", exam.person.clone().unwrap_or_else(|| "not stated".to_owned())),
            ],
            status: standing_of(record, &format!("{CAUTIONS} {FOR_OWNERS}")),
            looked: looked_at(&limbs, record, protocols),
            limbs: limbs.iter().map(|limb| limb_of(limb, record, protocols)).collect(),
            open: open(record, protocols),
            call: whom_to_call(input),
            pictures: shown(input),
            horse,
            day,
        }
    }
}

/// Whom an owner asks.
fn whom_to_call(input: &ReportInput) -> String {
    let signed = input.record.exam.signed.as_ref().filter(|_| input.record.exam.is_signed());
    let who = signed.map(|signed| format!("{} at ", signed.by)).unwrap_or_default();
    match input.frame.practice.filter(|practice| !practice.name.is_empty()) {
        Some(practice) if !practice.phone.is_empty() => {
            format!("If you have questions, call {who}{}: {}.", practice.name, practice.phone)
        }
        Some(practice) => format!("If you have questions, ask {who}{}.", practice.name),
        None => "If you have questions, call the practice that scanned your horse.".to_owned(),
    }
}

/// Limbs with a view that was wanted, or on which anything was found.
fn examined<'a>(record: &'a Record, protocols: &Protocols) -> Vec<&'a str> {
    let covered = record.coverage.iter().map(|row| row.limb.as_str());
    let named = findings(record).filter_map(|call| call.place.limb.as_deref());
    let found: BTreeSet<&str> = covered.chain(named).collect();
    let mut found: Vec<&str> = found.into_iter().collect();
    found.sort_by_key(|code| {
        protocols.limbs.iter().position(|limb| limb.code == **code).unwrap_or(usize::MAX)
    });
    found
}

fn findings(record: &Record) -> impl Iterator<Item = &CallRow> {
    standing(record).filter(|call| call.kind == CallKind::Finding)
}

fn looked_at(limbs: &[&str], record: &Record, protocols: &Protocols) -> Vec<String> {
    let names: Vec<&str> = limbs.iter().map(|code| protocols.plain_limb(code)).collect();
    if names.is_empty() {
        return vec!["No leg was recorded in this scan.".to_owned()];
    }
    let were = if names.len() == 1 { "was" } else { "were" };
    let about = &protocols.plain.about;
    let about = if about.is_empty() { String::new() } else { format!(": {about}") };
    let mut lines = vec![format!("The {} {were} scanned with ultrasound{about}.", listed(&names))];
    let saved = record.coverage.iter().filter(|row| row.frames > 0).count();
    if !record.coverage.is_empty() {
        let wanted = record.coverage.len();
        let whole = if names.len() == 1 { "this leg" } else { "these legs" };
        lines.push(match saved {
            0 if record.frames.is_empty() => {
                format!("A full scan of {whole} has {wanted} views; no pictures of them were saved.")
            }
            0 => format!("A full scan of {whole} has {wanted} views; which of them the saved pictures show is not settled yet."),
            saved => {
                format!("A full scan of {whole} has {wanted} views; pictures of {saved} of these were saved.")
            }
        });
    }
    lines
}

fn listed(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [before @ .., last] => format!("{} and the {last}", before.join(", the ")),
    }
}

fn limb_of(limb: &str, record: &Record, protocols: &Protocols) -> LimbSeen {
    let here = || findings(record).filter(|call| call.place.limb.as_deref() == Some(limb));
    let of = |counts: &dyn Fn(&CallRow) -> bool| {
        let calls = here().filter(|call| counts(call) && call.certainty.is_none());
        in_order(calls.map(|call| call.place.structure.as_deref().unwrap_or_default()).collect(), protocols)
    };
    // What was called normal and is contradicted there is neither: a vet has to say what holds.
    let contradicted = here().filter(|call| !call.contradicted_by.is_empty());
    let contradicted = contradicted.map(|call| call.place.structure.as_deref().unwrap_or_default()).collect();
    let contradicted = in_order(contradicted, protocols);
    let mut changed = of(&says_changed);
    // A lesion may have been measured and not named.
    let undescribed = undescribed_of(record, protocols);
    let sized = undescribed.iter().filter(|place| place.limb.as_deref() == Some(limb));
    let sized = in_order(sized.filter_map(|place| place.structure.as_deref()).collect(), protocols);
    for code in sized {
        if !changed.contains(&code) && !contradicted.contains(&code) {
            changed.push(code);
        }
    }
    let seen: Vec<StructureSeen> = changed
        .iter()
        .map(|code| {
            let mine = here().filter(|call| {
                says_changed(call)
                    && call.certainty.is_none()
                    && call.place.structure.as_deref().unwrap_or_default() == *code
            });
            seen_in(limb, code, mine.collect(), record, protocols)
        })
        .collect();
    let plain = |codes: Vec<&str>| -> Vec<String> {
        let named = codes.into_iter().filter(|code| !code.is_empty() && !changed.contains(code));
        named.map(|code| format!("the {}", protocols.plain_structure(code).0)).collect()
    };
    let mut rest = Vec::new();
    let unclear = plain(contradicted.clone());
    if !unclear.is_empty() {
        let unclear = unclear.join(", ");
        rest.push(format!("Recorded both as normal and as changed, so your vet has to check it: {unclear}."));
    }
    for (class, before) in [
        (Class::Normal, "Looked normal where it was mentioned"),
        (Class::Absent, "Could not be seen in this scan"),
        (Class::NotDone, "Not scanned"),
    ] {
        // Such as a smooth bone surface: what says that nothing is wrong is normal, too.
        let says = |call: &CallRow| match call.class.as_ref() {
            Some(Class::Unremarkable) => class == Class::Normal,
            // "Size normal" says nothing of the rest.
            Some(Class::Normal) => class == Class::Normal && call.is_all_normal(),
            own => own == Some(&class),
        };
        let names = plain(of(&says).into_iter().filter(|code| !contradicted.contains(code)).collect());
        if !names.is_empty() {
            rest.push(format!("{before}: {}.", names.join(", ")));
        }
    }
    let doubted = here().filter(|call| call.certainty.is_some());
    let doubted = doubted.map(|call| call.place.structure.as_deref().unwrap_or_default()).collect();
    let doubted = plain(in_order(doubted, protocols));
    if !doubted.is_empty() {
        rest.push(format!("Your vet was not sure about: {}.", doubted.join(", ")));
    }
    if seen.is_empty() && rest.is_empty() {
        rest.push("No findings were recorded.".to_owned());
    }
    LimbSeen { name: sentence(protocols.plain_limb(limb)), seen, rest }
}

/// Each code once, in the order of the protocols.
fn in_order<'a>(codes: BTreeSet<&'a str>, protocols: &Protocols) -> Vec<&'a str> {
    let mut codes: Vec<&str> = codes.into_iter().collect();
    let place = |code: &&str| protocols.structures.iter().position(|known| known.code == **code);
    codes.sort_by_key(|code| place(code).unwrap_or(usize::MAX));
    codes
}

fn seen_in(
    limb: &str,
    code: &str,
    calls: Vec<&CallRow>,
    record: &Record,
    protocols: &Protocols,
) -> StructureSeen {
    let (name, what) = match code {
        "" => ("a structure that was not named", ""),
        code => protocols.plain_structure(code),
    };
    let mut lines: Vec<String> = Vec::new();
    for call in calls {
        let place = zone_words(limb, call.place.zone.as_deref(), record, protocols);
        let term = call.term.as_deref().unwrap_or_default();
        let mut text = protocols.plain.findings.get(term).cloned().unwrap_or_else(|| term.to_owned());
        let positions: Vec<&str> = call
            .position
            .iter()
            .map(|word| protocols.plain.positions.get(word).map_or(word.as_str(), String::as_str))
            .collect();
        if !positions.is_empty() {
            text.push_str(&format!(", {}", positions.join(" and ")));
        }
        if let Some(degree) = &call.degree {
            text.push_str(&format!("; said to be {degree}"));
        }
        if call.added {
            text.push_str("; added by hand after the scan");
        }
        let line = format!("{}: {text}.", sentence(&place));
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    lines.extend(measured(limb, code, record, protocols));
    if lines.is_empty() {
        lines.push("A changed area was measured.".to_owned());
    }
    StructureSeen { structure: sentence(name), what: what.to_owned(), lines }
}

/// What the measures add, without their numbers.
fn measured(limb: &str, code: &str, record: &Record, protocols: &Protocols) -> Vec<String> {
    let rows: Vec<&MeasureRow> = record
        .measures
        .iter()
        .filter(|row| row.limb == limb && row.structure.as_deref() == Some(code))
        .collect();
    let mut lines = Vec::new();
    let worst = rows.iter().find(|row| row.name == Name::WorstZone).and_then(|row| row.value);
    if let Some(share) = worst.and_then(|percent| protocols.plain.share(percent)) {
        lines.push(format!("At its largest, the changed area takes up {share} of the cross-section."));
    }
    lines.extend(change_in_words(&rows, protocols));
    for (name, words) in
        [(Name::AreaChange, "since the scan of"), (Name::AreaAgainstOtherLimb, "than on the other side:")]
    {
        let over: Vec<&&MeasureRow> =
            rows.iter().filter(|row| row.name == name && row.over.is_some() && row.zone.is_some()).collect();
        let mut places: Vec<String> = Vec::new();
        for row in &over {
            let place = zone_words(limb, row.zone.as_deref(), record, protocols);
            if !places.contains(&place) {
                places.push(place);
            }
        }
        if let [first, ..] = over.as_slice() {
            let against = said_day(first.against.as_deref().unwrap_or_default());
            let place = places.join(", ");
            // What holds at every place named.
            let least = over.iter().filter_map(|row| row.value).fold(f64::INFINITY, f64::min);
            let more = protocols.plain.more(least).map(|more| format!("{more} ")).unwrap_or_default();
            let place = if name == Name::AreaChange { format!("{against}: {place}") } else { place };
            lines.push(format!("It measured {more}larger {words} {place}. {CUT_OFF}"));
        }
    }
    if rows.iter().any(|row| row.scale_by_hand && row.value.is_some()) {
        lines.push("Some of the measurements use a scale that was set by hand.".to_owned());
    }
    lines
}

/// How the lesion changed over the whole length: smaller or larger only where its area and its share both are.
fn change_in_words(rows: &[&MeasureRow], protocols: &Protocols) -> Option<String> {
    let total = |name| rows.iter().find(|row| row.name == name && row.zone.is_none());
    let share = total(Name::LesionPercentChange)?;
    let (points, since) = (share.value?, share.against.as_deref()?);
    let area = total(Name::LesionChange)?.value?;
    let same = points.abs() <= protocols.plain.change.same_within_points;
    let now = match (same, points > 0.0, area > 0.0) {
        (true, ..) => "is about the same size as",
        (false, true, true) => "is larger than",
        (false, false, _) if area < 0.0 => "is smaller than",
        // A share falls, too, where the tendon around the lesion swells.
        _ => {
            return Some(format!(
                "Since the scan of {} the changed area and the tendon around it changed in different ways; \
             your vet will say what that means.",
                said_day(since)
            ));
        }
    };
    Some(format!(
        "Measured over the whole length, the changed area {now} in the scan of {}.",
        said_day(since)
    ))
}

/// A day as `4 May 2026`; what is no day stays as it is.
fn said_day(text: &str) -> String {
    text.parse::<NaiveDate>().map_or_else(|_| text.to_owned(), |day| day.format("%-d %B %Y").to_string())
}

/// Where a zone is; the scheme is that of the limb in this exam.
fn zone_words(limb: &str, zone: Option<&str>, record: &Record, protocols: &Protocols) -> String {
    let Some(zone) = zone else { return "at a level that was not named".to_owned() };
    match protocols.scheme_for(limb, zone, &record.exam.schemes) {
        Some(scheme) => protocols.plain_zone(&scheme.name, zone),
        None => format!("zone {zone}"),
    }
}

fn open(record: &Record, protocols: &Protocols) -> Vec<String> {
    let mut lines = Vec::new();
    let with =
        |covers: &[Cover]| record.coverage.iter().filter(|row| covers.contains(&Cover::of(row))).count();
    let missing = with(&[Cover::Saved, Cover::Called, Cover::Missing]);
    if missing > 0 {
        let views = count(missing, "view");
        lines.push(format!(
            "{views} of a full scan have no picture, so these places were not fully examined."
        ));
    }
    let left_out = with(&[Cover::NotDone]);
    if left_out > 0 {
        lines.push(format!("{} left out on purpose.", count(left_out, "view")));
    }
    let to_settle = record.findings.iter().filter(|finding| finding.is_open()).count();
    if to_settle > 0 {
        lines.push(format!("{} for the practice to check.", count(to_settle, "point")));
    }
    if !record.exam.is_signed() {
        lines.push("A vet has not signed this yet, so it may still change.".to_owned());
    }
    let rescan = record.findings.iter().any(|finding| finding.rule == RESCAN);
    let weeks = TimeDelta::weeks(i64::from(protocols.rules.habits.rescan_weeks));
    if let Some(due) = record.exam.started_at.checked_add_signed(weeks).filter(|_| rescan) {
        let due = day(due, record.exam.utc_offset_s);
        let weeks = protocols.rules.habits.rescan_weeks;
        lines.push(format!(
            "A common interval between scans is {weeks} weeks, which would be {due}; your vet will say when."
        ));
    }
    if lines.is_empty() {
        lines.push("Nothing.".to_owned());
    }
    lines
}

/// A still of each limb on which something was seen; none whose label is in doubt.
fn shown(input: &ReportInput) -> Vec<OwnerPicture> {
    let ReportInput { record, protocols, pictures, .. } = *input;
    let mut seen = BTreeSet::new();
    let mut found = Vec::new();
    let changed = |frame: &FrameRow| {
        findings(record).any(|call| {
            says_changed(call) && frame.place.limb.is_some() && call.place.same_view(&frame.place)
        })
    };
    for frame in
        record.frames.iter().filter(|frame| is_labelled(frame) && frame.doubt.is_empty() && changed(frame))
    {
        let shown = matches!(pictures.get(&frame.id), Some(Picture::Shown { .. }));
        let (Some(limb), true) = (frame.place.limb.as_deref(), shown) else { continue };
        if found.len() < PICTURES_MAX && seen.insert(limb) {
            let zone = zone_words(limb, frame.place.zone.as_deref(), record, protocols);
            let caption = format!("{}, {zone}", sentence(protocols.plain_limb(limb)));
            found.push(OwnerPicture { id: frame.id.clone(), caption });
        }
    }
    found
}

/// The first letter in capital.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
