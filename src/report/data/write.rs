//! Writes the texts of the report.
//!
//! Takes: what is to be reported.
//! Gives: `ReportData`.
//! Never: a call that was taken back among what was found; a link to a call or a still that is not in the report.
//! Tested in: `tests/it/report.rs`.

use std::collections::BTreeMap;

use super::first_page::first_page;
use super::lines::{
    CallLine, ChangeLine, CoverageCell, EnteredLine, FindingLine, Grid, MeasuredSection, NoteLine,
    ReportData, SaidLine, SettledLine, Standing, StillLine,
};
use super::said::said_of;
use crate::exam::closed_sets::CallKind;
use crate::exam::seq::Seq;
use crate::knowledge::cautions::cautions_now;
use crate::knowledge::record::{CallRow, CoverageRow, EntryRow, Finding, FrameRow, Record, Severity, Status};
use crate::protocol::Protocols;
use crate::report::ReportInput;
use crate::report::chart::chart;
use crate::report::measure_table::{injuries, not_used, tables};
use crate::report::picture::{Picture, Pictures};
use crate::report::trend::trend;
use crate::report::words::{
    CAUTIONS, Cover, count, date_time, day, horse, in_recording, meaning, meaning_that_counts, percent,
    quoted, standing, status, structure, time_of_day,
};

/// Views that the summary names on one limb before it only counts.
const VIEWS_NAMED_MAX: usize = 6;

impl ReportData {
    pub(crate) fn of(input: &ReportInput) -> ReportData {
        let ReportInput { record, protocols, .. } = *input;
        let exam = &record.exam;
        let horse = horse(record).to_owned();
        ReportData {
            title: format!("Scan of {horse}, {}", date_time(exam.started_at, exam.utc_offset_s)),
            kicker: "Ultrasound scan of the limbs",
            horse,
            day: day(exam.started_at, exam.utc_offset_s),
            facts: facts(record, protocols),
            first_page: first_page(input),
            status: standing_of(record, CAUTIONS),
            summary: summary(record, protocols),
            findings: findings(record),
            grids: grids(record, protocols),
            said: said(record, protocols),
            measured: measured(input),
            entered: record.entries.iter().map(|entry| entered(entry, record, protocols)).collect(),
            stills: stills(record, protocols, input.pictures),
            calls: record.calls.iter().map(|call| call_line(call, record, protocols)).collect(),
            notes: notes(record),
            changes: changes(record),
            settled: settled(record),
            clock: clock(record),
        }
    }
}

fn facts(record: &Record, protocols: &Protocols) -> Vec<(&'static str, Vec<String>)> {
    let exam = &record.exam;
    let one = |text: &str| vec![text.to_owned()];
    let ended = match exam.ended_at {
        Some(ended) => date_time(ended, exam.utc_offset_s),
        None => "never closed".to_owned(),
    };
    let mut facts = Vec::new();
    if let (Some(_), Some(number)) = (&exam.horse.name, &exam.horse.id) {
        facts.push(("Horse number", one(number)));
    }
    facts.push(("Scanned by", one(exam.person.as_deref().unwrap_or("not stated"))));
    facts.push(("Began", one(&date_time(exam.started_at, exam.utc_offset_s))));
    facts.push(("Ended", vec![ended]));
    facts.push(("Heard by", one(&exam.engine)));
    facts.push(("Exam", one(&exam.id)));
    let scheme = |(group, name): (&String, &String)| match protocols.scheme(name) {
        Some(scheme) => format!("{group}: {name} ({})", scheme.title),
        None => format!("{group}: {name}"),
    };
    if !exam.schemes.is_empty() {
        facts.push(("Zones", exam.schemes.iter().map(scheme).collect()));
    }
    facts
}

/// Whether the exam is a draft, and who signed it.
pub(crate) fn standing_of(record: &Record, cautions: &str) -> Standing {
    let signed = record.exam.signed.as_ref().map_or_else(String::new, |signed| {
        let before = match (signed.taken_back_by, signed.changes_since) {
            _ if is_damaged(record) => {
                "The journal, a still or the sound no longer matches what was recorded: do not rely on this page; compare it \
                 with a copy. It was signed by"
            }
            (Some(_), _) => "The signature was withdrawn; it had been signed by",
            (None, 0) if record.exam.is_signed() => "By",
            (None, _) => "Changed since it was signed by",
        };
        let at = date_time(signed.at, record.exam.utc_offset_s);
        let stamp = signed.time_stamp.as_ref().map_or_else(String::new, |stamp| {
            let at = date_time(stamp.at, record.exam.utc_offset_s);
            format!(" Time stamp of {at} by {}.", stamp.by)
        });
        format!("{before} {}, licence {} as entered, {at}.{stamp}", signed.by, signed.licence)
    });
    let is_signed = record.exam.is_signed();
    let cautions = cautions_now(cautions, is_signed);
    Standing { word: record.exam.status.as_str().to_uppercase(), signed, cautions }
}

/// Whether something was changed that the journal says nothing of.
fn is_damaged(record: &Record) -> bool {
    let rules = ["journal-damage", "file-changed"];
    record.findings.iter().any(|finding| rules.contains(&finding.rule.as_str()))
}

/// What is covered and what is missing, in one or two sentences.
fn summary(record: &Record, protocols: &Protocols) -> String {
    if record.coverage.is_empty() {
        return format!("No limb was called, so no views are expected. {}", found(record));
    }
    let covered = record.coverage.iter().filter(|row| row.frames > 0).count();
    let mut text = format!("{covered} of {} have a still.", count(record.coverage.len(), "expected view"));
    let mut open: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for row in &record.coverage {
        if matches!(Cover::of(row), Cover::Saved | Cover::Called | Cover::Missing) {
            open.entry(&row.limb).or_default().push(format!("{} {}", row.zone, row.plane));
        }
    }
    let not_done = record.coverage.iter().filter(|row| Cover::of(row) == Cover::NotDone).count();
    if not_done > 0 {
        text.push_str(&format!(" {} left out on purpose.", count(not_done, "view")));
    }
    if !open.is_empty() {
        let limbs: Vec<String> = open
            .iter()
            .map(|(code, views)| {
                let (name, rest) = (protocols.limb_name(code), views.len().saturating_sub(VIEWS_NAMED_MAX));
                let named = views.get(..VIEWS_NAMED_MAX).unwrap_or(views).join(", ");
                if rest > 0 { format!("{name} {named} and {rest} more") } else { format!("{name} {named}") }
            })
            .collect();
        text.push_str(&format!(" Without a still: {}.", limbs.join("; ")));
    }
    format!("{text} {}", found(record))
}

fn found(record: &Record) -> String {
    let with = |status| record.frames.iter().filter(|frame| frame.status == status).count();
    let (ambiguous, unlabelled) = (with(Status::Ambiguous), with(Status::Unlabelled));
    let mut text = format!("{} found", count(record.frames.len(), "still"));
    match (ambiguous, unlabelled) {
        (0, 0) if record.frames.is_empty() => {}
        (0, 0) => text.push_str(", each with one label"),
        (open, 0) => text.push_str(&format!(", {open} with two possible labels")),
        (0, none) => text.push_str(&format!(", {none} without a label")),
        (open, none) => {
            text.push_str(&format!(", {open} with two possible labels and {none} without a label"))
        }
    }
    match record.frames.iter().filter(|frame| !frame.doubt.is_empty()).count() {
        0 => {}
        1 => text.push_str("; 1 label is in doubt"),
        doubted => text.push_str(&format!("; {doubted} labels are in doubt")),
    }
    text.push('.');
    text
}

fn findings(record: &Record) -> Vec<FindingLine> {
    let open = record.findings.iter().filter(|finding| finding.settled.is_none());
    let mut worst_first: Vec<&Finding> = open.collect();
    worst_first.sort_by_key(|finding| finding.severity);
    let line = |finding: &Finding| {
        let (class, word) = match finding.severity {
            Severity::Error => ("bad", "Wrong or lost"),
            Severity::Warn => ("warn", "Check"),
            Severity::Info => ("info", "Note"),
        };
        let still = record.frames.iter().position(|frame| finding.frame.as_ref() == Some(&frame.id));
        FindingLine {
            class,
            word,
            text: quoted(&finding.message),
            at: finding.at.map(|at| time_of_day(at, record.exam.utc_offset_s)).unwrap_or_default(),
            call: known_call(finding.call_seq, record),
            still: still.map(|idx| idx + 1),
        }
    };
    worst_first.into_iter().map(line).collect()
}

fn grids(record: &Record, protocols: &Protocols) -> Vec<Grid> {
    let mut names: Vec<(&str, &str)> = Vec::new();
    for row in &record.coverage {
        if !names.contains(&(&row.limb, &row.scheme)) {
            names.push((&row.limb, &row.scheme));
        }
    }
    let grid = |(code, scheme): (&str, &str)| {
        let rows: Vec<&CoverageRow> =
            record.coverage.iter().filter(|row| row.limb == code && row.scheme == scheme).collect();
        let planes = planes_in_order(&rows, protocols);
        let mut zones: Vec<&str> = rows.iter().map(|row| row.zone.as_str()).collect();
        zones.dedup();
        let cells = |zone: &str| {
            let row = |plane: &&str| rows.iter().find(|row| row.zone == zone && row.plane == **plane);
            planes.iter().map(|plane| cell(row(plane))).collect()
        };
        Grid {
            limb: protocols.limb_name(code).to_owned(),
            scheme: scheme.to_owned(),
            rows: zones.into_iter().map(|zone| (zone.to_owned(), cells(zone))).collect(),
            planes: planes.iter().map(|code| protocols.plane_name(code).to_owned()).collect(),
        }
    };
    names.into_iter().map(grid).collect()
}

/// The planes that the rows of one limb use, in the order of the protocols; then those that they do not know.
fn planes_in_order<'a>(rows: &[&'a CoverageRow], protocols: &Protocols) -> Vec<&'a str> {
    let mut codes: Vec<&str> = rows.iter().map(|row| row.plane.as_str()).collect();
    codes.sort_by_key(|code| {
        (protocols.planes.iter().position(|plane| plane.code == *code).unwrap_or(usize::MAX), *code)
    });
    codes.dedup();
    codes
}

fn cell(row: Option<&&CoverageRow>) -> CoverageCell {
    let Some(row) = row else { return CoverageCell { class: "none", words: "not expected".to_owned() } };
    let (class, words) = match Cover::of(row) {
        Cover::Stills => ("stills", count(row.frames, "still")),
        Cover::NotDone => ("notdone", "left out on purpose".to_owned()),
        Cover::Saved => ("saved", "saved, no still found".to_owned()),
        Cover::Called => ("called", "called, not saved".to_owned()),
        Cover::Missing => ("missing", "missing".to_owned()),
    };
    CoverageCell { class, words }
}

/// Findings and values in the order of the protocols' limbs and zones; within a view in the order they were said.
fn said(record: &Record, protocols: &Protocols) -> Vec<SaidLine> {
    let mut calls: Vec<&CallRow> =
        standing(record).filter(|call| matches!(call.kind, CallKind::Finding | CallKind::Value)).collect();
    calls.sort_by_key(|call| order(call, protocols));
    let line = |call: &CallRow| {
        let place = call.place.view_in_words(protocols);
        let part = call.place.structure.as_deref().map_or("not named", |code| structure(code, protocols));
        SaidLine {
            place: if place.is_empty() { "place not said".to_owned() } else { place },
            structure: part.to_owned(),
            what: meaning_that_counts(call, record, protocols),
            sure: sure(call),
            call: call.seq,
        }
    };
    calls.into_iter().map(line).collect()
}

/// Limb, zone and plane by their order in the protocols; what is unknown comes last.
fn order(call: &CallRow, protocols: &Protocols) -> (usize, usize, usize) {
    let limb = protocols.limbs.iter().position(|limb| Some(&limb.code) == call.place.limb.as_ref());
    let mut zones = protocols.schemes.iter().flat_map(|scheme| scheme.zones.iter());
    let zone = zones.position(|zone| Some(&zone.code) == call.place.zone.as_ref());
    let plane = protocols.planes.iter().position(|plane| Some(&plane.code) == call.place.plane.as_ref());
    (limb.unwrap_or(usize::MAX), zone.unwrap_or(usize::MAX), plane.unwrap_or(usize::MAX))
}

fn measured(input: &ReportInput) -> Option<MeasuredSection> {
    let ReportInput { record, protocols, earlier, .. } = *input;
    let mut charts = chart(record, protocols);
    charts.extend(trend(record, earlier, protocols));
    let tables = tables(record, protocols).into_iter().map(|mut table| {
        for line in table.cautions.iter_mut().chain(&mut table.why_not) {
            *line = quoted(line);
        }
        (format!("{}, {}", protocols.limb_name(&table.limb), structure(&table.strand, protocols)), table)
    });
    let not_used = not_used(record, protocols).iter().map(|line| quoted(line)).collect();
    let measured =
        MeasuredSection { injuries: injuries(record, protocols), charts, tables: tables.collect(), not_used };
    // Where only "normal" was said a heading would have nothing below it.
    let MeasuredSection { injuries, charts, tables, not_used } = &measured;
    let is_empty = injuries.is_empty() && charts.is_empty() && tables.is_empty() && not_used.is_empty();
    (!is_empty).then_some(measured)
}

fn entered(entry: &EntryRow, record: &Record, protocols: &Protocols) -> EnteredLine {
    let as_entered = || (entry.number, entry.unit.clone());
    let (number, unit) = protocols
        .value(&entry.term)
        .map_or_else(as_entered, |kind| kind.shown(entry.number, entry.unit.as_deref()));
    let mut what = format!("{} {number}", entry.term);
    for (before, part) in [(" ", &unit), (" on the scale ", &entry.scale)] {
        if let Some(part) = part {
            what.push_str(before);
            what.push_str(part);
        }
    }
    let still = record.frames.iter().position(|frame| entry.still.as_ref() == Some(&frame.id));
    if let Some(idx) = still {
        what.push_str(&format!(", on still {}", idx + 1));
        if let Some(number) = entry.frame_number {
            what.push_str(&format!(", frame {number}"));
        }
    }
    EnteredLine {
        line: entry.seq,
        when: date_time(entry.at, record.exam.utc_offset_s),
        place: entry.place.in_words(protocols),
        what,
        how: match (entry.traced, entry.scale_by_hand) {
            (true, true) => "traced, scale set by hand",
            (true, false) => "traced",
            (false, _) => "typed",
        },
        by: entry.by.clone().unwrap_or_default(),
    }
}

fn stills(record: &Record, protocols: &Protocols, pictures: &Pictures) -> Vec<StillLine> {
    let frames = record.frames.iter().enumerate();
    frames.map(|(idx, frame)| still(idx + 1, frame, record, protocols, pictures)).collect()
}

fn still(
    number: usize,
    frame: &FrameRow,
    record: &Record,
    protocols: &Protocols,
    pictures: &Pictures,
) -> StillLine {
    let offset_s = record.exam.utc_offset_s;
    // Under a signed picture the vet's word counts, not the ear's.
    let sure = (!record.exam.is_signed() && matches!(frame.status, Status::Spoken | Status::Context))
        .then(|| format!(", {} sure", percent(frame.confidence)));
    let saved = match frame.saved_at_exam {
        Some(at) => format!(", {} by the exam's", time_of_day(at, offset_s)),
        None => "; not matched to the exam's".to_owned(),
    };
    let doubt = if frame.doubt.is_empty() {
        String::new()
    } else {
        format!("; IN DOUBT: {}", frame.doubt.join("; "))
    };
    let rival = |rival: &crate::knowledge::record::RivalLabel| {
        let label = rival.place.in_words(protocols);
        let label = if label.is_empty() { "no label".to_owned() } else { label };
        let likely = format!("{label}, {} likely", percent(rival.confidence));
        (likely, known_call(Some(rival.call_seq), record), rival.reason.clone())
    };
    StillLine {
        number,
        id: frame.id.clone(),
        label: frame.place.in_words(protocols),
        state: match &frame.refused {
            Some(why) => format!("NOT TAKEN: {}", quoted(why)),
            None => format!("{}{}{doubt}", status(frame.status), sure.unwrap_or_default()),
        },
        open: matches!(frame.status, Status::Ambiguous | Status::Unlabelled) || !frame.doubt.is_empty(),
        call: known_call(frame.call_seq, record),
        rivals: frame.rivals.iter().map(rival).collect(),
        said: said_of(frame, record, protocols),
        saved: format!("Saved {} by the scanner's clock{saved}", time_of_day(frame.saved_at, offset_s)),
        name: frame.name().to_owned(),
        file: frame.file.clone(),
        no_picture: match pictures.get(&frame.id) {
            Some(Picture::Shown { .. }) => String::new(),
            Some(Picture::NotShown { why }) => format!("Not shown: {why}"),
            None => "Pictures were not requested".to_owned(),
        },
    }
}

fn known_call(seq: Option<Seq>, record: &Record) -> Option<Seq> {
    seq.filter(|seq| record.calls.iter().any(|call| call.seq == *seq))
}

fn call_line(call: &CallRow, record: &Record, protocols: &Protocols) -> CallLine {
    let class = match (call.withdrawn, call.kind) {
        (true, _) => "gone",
        (false, CallKind::Unknown) => "unknown",
        _ => "",
    };
    let words = call.words.trim();
    CallLine {
        seq: call.seq,
        time: time_of_day(call.said_at, record.exam.utc_offset_s),
        sound: in_recording(call.span_s.0),
        words: match words {
            "" if call.added => added(call, record),
            "" => "(no words)".to_owned(),
            _ => format!("“{}”", call.words),
        },
        class,
        corrects: call.corrects,
        meaning: meaning(call),
        place: if call.kind == CallKind::Unknown { String::new() } else { call.place.in_short(protocols) },
        corrected_by: call
            .corrected_by
            .iter()
            .map(|seq| (*seq, known_call(Some(*seq), record).is_some()))
            .collect(),
        sure: sure(call),
    }
}

/// How sure the engine was; of a call that nobody heard it says nothing.
fn sure(call: &CallRow) -> String {
    if call.added { "added by hand".to_owned() } else { percent(call.confidence) }
}

/// An added call has the line of the change that added it.
fn added(call: &CallRow, record: &Record) -> String {
    match record.changes.iter().find(|change| change.seq == call.seq) {
        Some(change) => format!("not heard; added by hand by {}", change.by),
        None => "not heard; added by hand".to_owned(),
    }
}

fn notes(record: &Record) -> Vec<NoteLine> {
    let line = |note: &crate::knowledge::record::NoteRow| {
        let span = format!("{} to {}", in_recording(note.span_s.0), in_recording(note.span_s.1));
        let what = if note.conclusion { "Conclusion, " } else { "" };
        let about = if note.about.is_empty() { String::new() } else { format!(", about {}", note.about) };
        let words = note.words.as_ref().map(|words| format!(": {}", words.in_words())).unwrap_or_default();
        let text = format!("{what}{span}{about}{words}");
        NoteLine { text, call: known_call(Some(note.call_seq), record) }
    };
    record.notes.iter().map(line).collect()
}

fn changes(record: &Record) -> Vec<ChangeLine> {
    let line = |change: &crate::knowledge::record::ChangeRow| ChangeLine {
        line: change.seq,
        when: date_time(change.at, record.exam.utc_offset_s),
        by: change.by.clone(),
        what: change.what.clone(),
        taken_back_by: change.taken_back_by,
        was: change.was.clone(),
        why: change.why.clone(),
    };
    record.changes.iter().map(line).collect()
}

/// What was settled, in the order in which people settled it.
fn settled(record: &Record) -> Vec<SettledLine> {
    let line = |finding: &Finding| {
        finding.settled.as_ref().map(|settled| SettledLine {
            line: settled.seq,
            when: date_time(settled.at, record.exam.utc_offset_s),
            by: settled.by.clone(),
            text: quoted(&finding.message),
            why: settled.why.clone(),
        })
    };
    let mut lines: Vec<SettledLine> = record.findings.iter().filter_map(line).collect();
    lines.sort_by_key(|line| line.line);
    lines
}

fn clock(record: &Record) -> Vec<String> {
    let exam = &record.exam;
    let began = date_time(exam.started_at, exam.utc_offset_s);
    let mut lines = vec![format!("Times are local to the exam, which began {began}.")];
    lines.push(match &record.clock {
        Some(clock) => format!(
            "The scanner's clock was {:.1} s {} at the start, within {:.1} s either way, and ran {:.0} parts in a million {}. \
             This includes the delay between saving a still and saying so. {} of save call and still agree with it. Method: {}.",
            clock.offset_s.abs(),
            if clock.offset_s < 0.0 { "behind" } else { "ahead" },
            clock.uncertainty_s,
            clock.drift_ppm.abs(),
            if clock.drift_ppm < 0.0 { "slow" } else { "fast" },
            count(clock.pairs, "pair"),
            clock.method
        ),
        None if record.frames.is_empty() => {
            "Without stills there is no scanner clock to compare.".to_owned()
        }
        None => "The scanner's clock could not be matched to the exam's, so no still could be paired by time.".to_owned(),
    });
    lines
}
