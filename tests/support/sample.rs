//! A hand-made exam for the tests of what is reported: every field used, every state of a view and a still.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use zonecall::exam::closed_sets::{CallKind, ExamStatus};
use zonecall::exam::event::{Horse, Order};
use zonecall::exam::place::Place;
use zonecall::exam::seq::Seq;
use zonecall::knowledge::measure::row::{MeasureRow, Name};
use zonecall::knowledge::record::{
    CallRow, ChangeRow, ClockRow, CoverageRow, EntryRow, ExamInfo, Finding, FrameRow, NoteRow, NoteWords,
    RECORD_SCHEMA, Record, RivalLabel, Severity, Status,
};
use zonecall::language::closed_sets::Class;
use zonecall::report::ReportFrame;

/// A report with everything the exam holds, on plain paper.
pub const WHOLE: ReportFrame<'static> = ReportFrame { practice: None, drawn: None, appendix: true };

/// The instant of a second of the exam.
pub fn at(second: i64) -> DateTime<Utc> {
    "2026-05-04T08:00:00Z".parse::<DateTime<Utc>>().unwrap() + TimeDelta::seconds(second)
}

fn some<'a, T: From<&'a str>>(text: &'a str) -> Option<T> {
    (!text.is_empty()).then(|| text.into())
}

fn place_of(codes: &str) -> Place {
    let mut parts = codes.split(' ').map(|part| some::<&str>(part.trim_matches('-')));
    let mut next = || parts.next().flatten();
    Place {
        limb: next().map(Into::into),
        zone: next().map(Into::into),
        plane: next().map(Into::into),
        structure: next().map(Into::into),
    }
}

/// A call at a place `LF 2A T SDFT`; `-` leaves a part out.
pub fn call(seq: u64, place: &str, kind: CallKind, words: &str) -> CallRow {
    let second = i64::try_from(seq).unwrap() * 6;
    CallRow {
        seq: Seq(seq),
        said_at: at(second),
        span_s: (second as f64, second as f64 + 1.8),
        words: words.to_owned(),
        kind,
        place: place_of(place),
        confidence: 0.93,
        ..CallRow::default()
    }
}

fn finding(seq: u64, place: &str, words: &str, class: Class, term: &str) -> CallRow {
    CallRow { class: Some(class), term: some(term), ..call(seq, place, CallKind::Finding, words) }
}

fn value(seq: u64, place: &str, words: &str, term: &str, number: f64, unit: &str) -> CallRow {
    let unit = some(unit);
    CallRow { term: some(term), number: Some(number), unit, ..call(seq, place, CallKind::Value, words) }
}

/// A still at a place `LF 2A T SDFT`; `-` leaves a part out.
pub fn still(number: i64, place: &str, status: Status, call_seq: Option<u64>) -> FrameRow {
    FrameRow {
        id: format!("2.25.9000{number}"),
        file: format!("stills/IM{number:04}.dcm"),
        sha256: String::new(),
        saved_at: at(number * 30 - 197),
        saved_at_exam: Some(at(number * 30)),
        place: place_of(place),
        status,
        confidence: if status == Status::Unlabelled { 0.0 } else { 0.91 },
        call_seq: call_seq.map(Seq),
        doubt: if status == Status::Context {
            vec!["a part of it is missing".to_owned()]
        } else {
            Vec::new()
        },
        patient: None,
        lacks_picture: false,
        refused: None,
        copy_of: None,
        key: None,
        frame_number: None,
        rivals: Vec::new(),
    }
}

fn calls() -> Vec<CallRow> {
    let core = "LF 2A T SDFT";
    let mut calls = vec![
        CallRow {
            term: some("standoff"),
            state: some("on"),
            ..call(3, "- - - -", CallKind::Setting, "standoff on")
        },
        call(5, "LF 1A T -", CallKind::View, "left fore zone one alpha transverse"),
        call(6, "LF 1A T -", CallKind::Save, "save"),
        call(8, "LF 2A T SDFT", CallKind::View, "zone two alpha superficial flexor"),
        finding(9, core, "mild core lesion lateral", Class::Lesion, "core lesion"),
        value(10, core, "area one point zero seven", "area", 1.07, "cm2"),
        value(11, core, "echo score two", "echo score", 2.0, ""),
        call(12, core, CallKind::Save, "save"),
        finding(14, core, "moderate core lesion", Class::Lesion, "core lesion"),
        CallRow {
            term: some("take_back"),
            number: Some(1.0),
            ..call(15, core, CallKind::Command, "take that back")
        },
        CallRow { confidence: 0.31, ..call(16, core, CallKind::Unknown, "stand will you") },
        finding(18, "LF 2B T DDFT", "deep flexor normal", Class::Normal, "normal"),
        CallRow { term: some("open"), ..call(20, "LF 2B T DDFT", CallKind::Note, "note") },
        finding(22, "LF 3A L SDFT", "longitudinal not done", Class::NotDone, "not done"),
        value(24, "RF 2A T SDFT", "area nine point one", "area", 9.1, "cm2"),
        CallRow {
            corrects: true,
            ..value(25, "RF 2A T SDFT", "correction area zero point nine one", "area", 0.91, "cm2")
        },
        call(26, "RF 2A T SDFT", CallKind::Save, "save"),
        CallRow { term: some("where"), ..call(28, "RF 2A T SDFT", CallKind::Question, "where am i") },
    ];
    calls[4].degree = some("mild");
    calls[4].position = vec!["lateral".to_owned()];
    calls[4].settings = BTreeMap::from([("standoff".to_owned(), "on".to_owned())]);
    calls[5].unit_assumed = true;
    calls[6].scale = some("0 to 4");
    calls[8].withdrawn = true;
    calls[8].degree = some("moderate");
    calls[3].level_cm = Some(9.0);
    calls[14].corrected_by = vec![Seq(25)];
    calls[14].number = Some(0.91);
    calls
}

fn frames() -> Vec<FrameRow> {
    let rival = |call_seq, zone: &str, confidence| RivalLabel {
        call_seq: Seq(call_seq),
        place: place_of(&format!("LF {zone} T SDFT")),
        confidence,
        reason: "0.4 s from the save call, about as near as the other".to_owned(),
    };
    let mut frames = vec![
        still(1, "LF 1A T -", Status::Spoken, Some(6)),
        still(2, "LF 2A T SDFT", Status::Spoken, Some(12)),
        still(3, "LF 2B T DDFT", Status::Context, Some(18)),
        still(4, "- - - -", Status::Ambiguous, None),
        still(5, "- - - -", Status::Unlabelled, None),
        still(6, "RF 2A T SDFT", Status::Spoken, Some(26)),
    ];
    frames[3].rivals = vec![rival(12, "2A", 0.48), rival(18, "2B", 0.45)];
    frames[4].saved_at_exam = None;
    frames
}

fn coverage() -> Vec<CoverageRow> {
    let mut rows = Vec::new();
    for limb in ["LF", "RF"] {
        for zone in ["1A", "1B", "2A", "2B", "3A", "3B", "3C"] {
            for plane in ["T", "L"] {
                let stills = matches!((limb, zone, plane), ("LF", "1A" | "2B", "T") | (_, "2A", "T"));
                let (saved, not_done) =
                    ((limb, zone) == ("LF", "3B"), (limb, zone, plane) == ("LF", "3A", "L"));
                rows.push(CoverageRow {
                    limb: limb.into(),
                    scheme: "thirds".to_owned(),
                    zone: zone.into(),
                    plane: plane.into(),
                    frames: usize::from(stills),
                    called: stills || saved || zone == "1B",
                    saves: usize::from(stills || saved),
                    not_done,
                });
            }
        }
    }
    rows
}

fn findings() -> Vec<Finding> {
    let finding = |severity, rule: &str, message: &str, call_seq: Option<u64>, frame: Option<&str>| Finding {
        severity,
        rule: rule.to_owned(),
        message: message.to_owned(),
        call_seq: call_seq.map(Seq),
        frame: frame.map(str::to_owned),
        at: call_seq.map(|seq: u64| at(i64::try_from(seq).unwrap() * 6)),
        place: None,
        settled: None,
    };
    vec![
        finding(Severity::Error, "audio-lost", "0.25 s of audio were lost while listening", None, None),
        finding(Severity::Warn, "view-missing", "right fore 3C: the transverse view is missing", None, None),
        finding(
            Severity::Warn,
            "still-ambiguous",
            "still `stills/IM0004.dcm` fits two labels; listen and choose one",
            None,
            Some("2.25.90004"),
        ),
        finding(
            Severity::Warn,
            "not-understood",
            "an utterance was not understood; listen to it",
            Some(16),
            None,
        ),
        finding(
            Severity::Info,
            "still-from-context",
            "still `stills/IM0003.dcm` has no save call; its label is the place last called",
            None,
            Some("2.25.90003"),
        ),
    ]
}

fn measures() -> Vec<MeasureRow> {
    let row = |name, unit: &str| MeasureRow {
        scheme: some("thirds"),
        structure: some("SDFT"),
        ..MeasureRow::new("LF", name, unit)
    };
    vec![
        MeasureRow {
            zone: some("2A"),
            value: Some(107.0),
            how: vec!["spoken".to_owned()],
            from: vec![Seq(10)],
            stills: vec!["2.25.90002".to_owned()],
            ..row(Name::Area, "mm2")
        },
        MeasureRow {
            zone: some("2A"),
            of: some("width"),
            value: Some(1.2),
            how: vec!["traced".to_owned()],
            by: vec!["Dr Example".to_owned()],
            scale_by_hand: true,
            cautions: vec!["scale set by hand: an example".to_owned()],
            from: vec![Seq(32)],
            ..row(Name::Distance, "cm")
        },
        MeasureRow {
            zone: some("2A"),
            of: some("echo score"),
            scale: some("0-4"),
            value: Some(2.0),
            from: vec![Seq(11)],
            ..row(Name::Score, "1")
        },
        MeasureRow {
            zones: ["1A", "2A"].map(zonecall::code::ZoneCode::from).to_vec(),
            why_not: some("no area in 1A"),
            source: some("a handbook"),
            ..row(Name::AreaTotal, "mm2")
        },
        MeasureRow {
            zone: some("2A"),
            value: Some(16.3),
            against: some("RF"),
            over: some("more than 10 % larger than RF"),
            cautions: vec!["measured by two people".to_owned()],
            by: vec!["Dr Example".to_owned()],
            word: some("larger"),
            from: vec![Seq(10), Seq(31)],
            ..row(Name::AreaAgainstOtherLimb, "%")
        },
    ]
}

fn note() -> NoteRow {
    NoteRow {
        call_seq: Seq(20),
        span_s: (121.0, 128.5),
        about: "LF 2B T DDFT".to_owned(),
        conclusion: false,
        words: Some(NoteWords::Draft {
            text: "a little swelling".to_owned(),
            confidence: 0.82,
            unsure: vec!["swelling".to_owned()],
            cut: false,
        }),
    }
}

/// The exam.
pub fn record() -> Record {
    Record {
        schema: RECORD_SCHEMA.to_owned(),
        exam: ExamInfo {
            id: "20260504T080000Z-k3f9".to_owned(),
            started_at: at(0),
            ended_at: Some(at(412)),
            utc_offset_s: 7200,
            horse: Horse {
                name: some("Juniper"),
                id: some("H-204"),
                owner: some("Kim Example"),
                species: some("horse"),
                breed: some("Hanoverian"),
                sex: some("F"),
            },
            in_stills: None,
            order: Some(Order { accession: some("A-7"), study: some("2.25.77") }),
            person: some("Dr Example"),
            schemes: BTreeMap::from([("fore".to_owned(), "thirds".to_owned())]),
            engine: "scripted".to_owned(),
            status: ExamStatus::Draft,
            signed: None,
        },
        calls: calls(),
        changes: vec![ChangeRow {
            seq: Seq(60),
            at: at(900),
            by: "Robin".to_owned(),
            what: "call 7 is now area 148 mm2".to_owned(),
            was: "area 1480 mm2".to_owned(),
            why: "heard it again".to_owned(),
            call_seq: Some(Seq(7)),
            frame: None,
            takes_back: None,
            taken_back_by: Some(Seq(61)),
        }],
        entries: vec![EntryRow {
            seq: Seq(31),
            at: at(900),
            place: place_of("RF 2A T SDFT"),
            term: "area".to_owned(),
            number: 92.0,
            unit: some("mm2"),
            scale: None,
            traced: true,
            by: some("Dr Example"),
            scale_by_hand: true,
            still: some("2.25.90006"),
            ..EntryRow::default()
        }],
        notes: vec![note()],
        words: Vec::new(),
        frames: frames(),
        clock: Some(ClockRow {
            offset_s: -197.3,
            drift_ppm: 12.1,
            uncertainty_s: 0.4,
            method: "save calls and stills in step".to_owned(),
            pairs: 3,
        }),
        coverage: coverage(),
        measures: measures(),
        findings: findings(),
        cautions: zonecall::knowledge::cautions::CAUTIONS.to_owned(),
    }
}
