//! What we write is what the schemas say, and what they forbid is refused.
use crate::support;
use crate::support::sample;

use serde_json::{Value, json};
use zonecall::clock::{Sample, Span};
use zonecall::exam::animal::Animal;
use zonecall::exam::call::{self, Act, Amount, Call, Problem, View};
use zonecall::exam::closed_sets::{Presence, SettledAs, SettledBy};
use zonecall::exam::event::{
    AudioFile, CallEvent, Entered, Event, Frame, NoteDraft, OtherExam, SentEvent, Settled,
};
use zonecall::exam::journal::{JOURNAL_FILE, Journal};
use zonecall::exam::patient::Patient;
use zonecall::exam::review::{Change, Review, WordsPart};
use zonecall::exam::seq::Seq;
use zonecall::exam::sign::{FileHash, Signable, Signed};
use zonecall::exam::stated_site::StatedSite;
use zonecall::language::closed_sets::AnswerWord;
use zonecall::report::{export, measure_table};
use zonecall::trace::Outline;

fn schema(text: &str) -> jsonschema::Validator {
    let schema: Value = serde_json::from_str(text).unwrap();
    jsonschema::meta::validate(&schema).expect("the schema itself follows JSON Schema 2020-12");
    jsonschema::draft202012::new(&schema).unwrap()
}

fn record_schema() -> jsonschema::Validator {
    schema(include_str!("../../schema/record.schema.json"))
}

fn journal_schema() -> jsonschema::Validator {
    schema(include_str!("../../schema/journal.schema.json"))
}

#[track_caller]
fn holds(schema: &jsonschema::Validator, value: &Value) {
    let faults: Vec<String> =
        schema.iter_errors(value).map(|fault| format!("{}: {fault}", fault.instance_path())).collect();
    assert!(faults.is_empty(), "{faults:#?}\nin {value:#}");
}

fn record_value() -> Value {
    serde_json::from_str(&export::json(&sample::record())).unwrap()
}

fn traced() -> Entered {
    Entered {
        limb: "LF".into(),
        zone: "2B".into(),
        plane: Some("T".into()),
        structure: "SDFT".into(),
        term: "area".to_owned(),
        amount: Amount { number: 150.0, unit: Some("mm2".to_owned()), unit_assumed: false },
        scale: None,
        traced: true,
        by: Some("Dr Example".to_owned()),
        still: Some("2.25.1".to_owned()),
        scale_by_hand_mm: Some(0.125),
        ends_px: Some([(0.0, 0.0), (4.0, 0.0)]),
        frame_number: Some(3),
        outline: Some(Outline::Polygon { points_px: vec![(0.0, 0.0), (4.0, 0.0), (0.0, 4.0)] }),
    }
}

/// Every change by hand, and a signature.
fn afterwards() -> Vec<Event> {
    let review = |change: Change| {
        let (by, why, was) = ("Robin".to_owned(), "heard it again".to_owned(), "2A".to_owned());
        Event::Review(Box::new(Review { by, why, was, change }))
    };
    let place = || View { limb: Some("LF".into()), zone: Some("2B".into()), ..View::default() };
    let amount = Amount { number: 148.0, unit: Some("mm2".to_owned()), unit_assumed: false };
    let (still, looked) = (|| "2.25.1".to_owned(), "a view is missing".to_owned());
    let key = ed25519_dalek::SigningKey::from_bytes(&[1; 32]);
    let hash = "c".repeat(64);
    let files = vec![FileHash { file: "audio/0001.wav".to_owned(), sha256: hash.clone() }];
    let signed = Signed::new(
        Signable {
            by: "Dr Example".to_owned(),
            licence: "V-1".to_owned(),
            at: sample::at(99),
            journal_sha256: hash.clone(),
            record_sha256: hash.clone(),
            files: files.clone(),
        },
        &key,
    );
    vec![
        Event::Signed(Box::new(signed)),
        Event::Sealed { files },
        Event::Sent(SentEvent {
            to: "192.0.2.1:104".to_owned(),
            ae_title: "ARCHIVE".to_owned(),
            objects: vec!["2.25.1".to_owned()],
            committed: vec!["2.25.1".to_owned()],
            refused: 1,
            by: Some("Ada".to_owned()),
        }),
        review(Change::Call { seq: Seq(4), act: Act::View(place()) }),
        review(Change::Call {
            seq: Seq(4),
            act: Act::Value(call::Value {
                term: "area".to_owned(),
                amount,
                said: call::ValueSaid::default(),
            }),
        }),
        review(Change::Place { seq: Seq(4), place: place() }),
        review(Change::Withdraw { seq: Seq(4) }),
        review(Change::Add { sample: Sample(16_000), act: Act::Save }),
        review(Change::Move { seq: Seq(4), sample: Sample(16_000) }),
        review(Change::Scale { still: still(), ends_px: [(5.0, 0.0), (5.0, 80.0)], distance_mm: 10.0 }),
        review(Change::KeyPicture { still: still(), shown: true, frame_number: Some(3) }),
        review(Change::Pair { still: still(), seq: Seq(4) }),
        review(Change::Label { still: still(), place: place() }),
        review(Change::LeaveOut { still: still() }),
        review(Change::SameHorse { patient: patient() }),
        review(Change::NoteText { seq: Seq(4), text: "a little swelling".to_owned() }),
        review(Change::Words { part: WordsPart::Impression, text: "as before".to_owned() }),
        review(Change::Clock { offset_s: -197.0 }),
        review(Change::Looked {
            rule: "view-missing".to_owned(),
            finding: looked,
            seq: Some(Seq(4)),
            still: Some(still()),
            place: Some("LF".to_owned()),
        }),
        review(Change::TakeBack { seq: Seq(5) }),
    ]
}

fn patient() -> Patient {
    Patient { name: Some("Larkfield Stud^Juniper".to_owned()), id: Some("J-1".to_owned()) }
}

/// Every event kind, each optional field used, as the journal itself writes them.
#[allow(clippy::too_many_lines)] // one value of every kind
fn journal_lines() -> Vec<Value> {
    let folder = tempfile::tempdir().unwrap();
    let said = [
        "left fore zone two alpha transverse",
        "level twelve centimetres",
        "superficial flexor normal",
        "standoff on",
        "imaging depth five centimetres",
        "area one point zero seven square centimetres",
        "echo score two",
        "save",
        "correction left fore",
        "disregard that",
        "clock mark",
        "zone two bravo to three alpha",
        "parasagittal",
        "mid cannon",
        "next zone",
        "eight centimetres below the accessory carpal",
        "possible anechoic core lesion in the deep smaller than last time",
        "lesion from two bravo to three alpha",
        "ditto",
        "superficial about thirty percent",
        "area of the superficial less than one twelve",
        "twenty to thirty percent",
        "eight by twelve millimetres",
        "echo score two out of three",
        "cine saved",
        "microchip ends four four one seven",
        "not saved",
        "left fore complete",
        "new horse",
        "where am i",
        "note",
        "end note",
        "conclusion",
        "end of the note",
        "colourless green ideas",
        "pause the journal",
        "resume the journal",
        "start of exam",
        "end of exam",
    ];
    let timed: Vec<(f64, &str)> =
        said.iter().enumerate().map(|(idx, text)| (2.0 + idx as f64 * 4.0, *text)).collect();
    support::write_journal(folder.path(), &timed);
    let path = folder.path().join(JOURNAL_FILE);
    let mut torn = std::fs::read(&path).unwrap();
    torn.extend(b"{\"seq\":");
    std::fs::write(&path, torn).unwrap();
    let mut journal = Journal::open(folder.path()).unwrap();
    let frame = Frame {
        id: "2.25.1".to_owned(),
        file: "stills/IM0001.dcm".to_owned(),
        sha256: "a".repeat(64),
        saved_at: sample::at(9),
        resolution_s: 1.0,
        time_source: "AcquisitionDateTime".to_owned(),
        zone_assumed: true,
        instance_number: Some(1),
        size_px: Some((640, 480)),
        patient: Some(patient()),
        animal: Some(Animal {
            owner: Some("Ada Marsh".to_owned()),
            breed: Some("Warmblood".to_owned()),
            sex: Some("M".to_owned()),
            neutered: Some(true),
            born: Some("2019-04-12".parse().unwrap()),
        }),
        stated_site: Some(StatedSite {
            side: Some("left".to_owned()),
            parts: vec!["METACARPUS".to_owned(), "SCT:36455000".to_owned()],
            views: vec!["SCT:62824007".to_owned()],
        }),
        study: Some("2.25.1001".to_owned()),
        pixels_sha256: Some("d".repeat(64)),
        content_at: Some("2026-05-04T08:00:07Z".parse().unwrap()),
        scanner: Some("Sono 7 0815".to_owned()),
        also_in: vec![OtherExam { exam: "bramble".to_owned(), again: true }],
        problems: vec![Problem { message: "no zone".to_owned(), help: "the exam's was taken".to_owned() }],
    };
    let audio = AudioFile {
        file: "audio.wav".to_owned(),
        first_sample: Sample::FIRST,
        source: "scan.wav".to_owned(),
    };
    // An answer is only heard while the program waits for one.
    let answer = Call {
        act: Act::Answer { answer: AnswerWord::Yes },
        corrects: false,
        reach: None,
        words: "yes".to_owned(),
        span: Span { from: Sample::FIRST, to: Sample(6_400) },
        confidence: 0.9,
    };
    for event in afterwards().into_iter().chain([
        Event::Entered(Box::new(traced())),
        Event::NoteDraft(Box::new(NoteDraft {
            note: Seq(3),
            span: Span { from: Sample::FIRST, to: Sample(6_400) },
            text: "a little swelling".to_owned(),
            confidence: 0.8,
            unsure: vec!["swelling".to_owned()],
            cut: true,
            model: "encoder and decoder".to_owned(),
            model_sha256: "e".repeat(64),
        })),
        Event::Call(CallEvent { heard_seq: Seq(3), call: answer }),
        Event::Settled(Settled {
            heard_seq: Seq(3),
            answer: SettledAs::First,
            by: SettledBy::Voice,
            taken: Some("save".to_owned()),
        }),
        Event::Audio(audio),
        Event::AudioLost { samples: 160 },
        Event::Microphone { state: Presence::Lost, device: "default".to_owned() },
        Event::Resumed { engine: support::header().engine, grammar_sha256: "0".repeat(64) },
        Event::Frame(Box::new(frame)),
        Event::Closed { reason: "end of exam".to_owned().into(), samples: 16_000 },
    ]) {
        journal.append(sample::at(99), Sample(16_000), &event).unwrap();
    }
    let text = std::fs::read_to_string(&path).unwrap();
    text.lines().filter_map(|line| serde_json::from_str(line).ok()).collect()
}

#[test]
fn a_full_record_is_as_the_schema_says() {
    holds(&record_schema(), &record_value());
}

#[test]
fn the_measures_are_as_their_schema_says_and_wrong_ones_are_refused() {
    let schema = schema(include_str!("../../schema/measures.schema.json"));
    let value: Value =
        serde_json::from_str(&measure_table::json(&sample::record(), &support::BUILT_IN.1)).unwrap();
    holds(&schema, &value);
    for (pointer, wrong) in [
        ("/schema", json!("zonecall.measures/2")),
        ("/measures/0/name", json!("guess")),
        ("/measures/0/unit", json!("furlong")),
        ("/measures/0/from/0", json!(0)),
        ("/cautions", json!("")),
    ] {
        let mut measures = value.clone();
        *measures.pointer_mut(pointer).unwrap() = wrong;
        assert!(!schema.is_valid(&measures), "{pointer} should be refused");
    }
    let mut silent = value;
    let rows = silent["measures"].as_array_mut().unwrap();
    let row = rows.iter_mut().find(|row| row["why_not"].is_string()).unwrap();
    row.as_object_mut().unwrap().remove("why_not");
    assert!(!schema.is_valid(&silent), "neither a value nor why there is none");
}

#[test]
fn each_wrong_record_is_refused() {
    let schema = record_schema();
    let wrong = [
        ("/frames/0/plane", json!("sideways")),
        ("/frames/0/status", json!("certain")),
        ("/frames/0/confidence", json!(1.2)),
        ("/calls/0/seq", json!(0)),
        ("/calls/0/kind", json!("guess")),
        ("/calls/0/said_at", json!("yesterday")),
        ("/calls/0/span_s", json!([1.0])),
        ("/coverage/0/limb", json!("XX")),
        ("/findings/0/severity", json!("fatal")),
        ("/exam/status", json!("final")),
        ("/schema", json!("zonecall.record/2")),
    ];
    for (pointer, value) in wrong {
        let mut record = record_value();
        *record.pointer_mut(pointer).unwrap_or_else(|| panic!("{pointer} is in the sample")) = value;
        assert!(!schema.is_valid(&record), "{pointer} should be refused");
    }
}

#[test]
fn a_record_without_any_one_of_its_wanted_fields_or_with_one_too_many_is_refused() {
    let schema = record_schema();
    for (object, field) in [
        ("", "frames"),
        ("/exam", "id"),
        ("/calls/0", "words"),
        ("/frames/0", "rivals"),
        ("/coverage/0", "saves"),
    ] {
        let mut record = record_value();
        let place = record.pointer_mut(object).and_then(Value::as_object_mut).unwrap();
        assert!(place.remove(field).is_some(), "{object}/{field} is in the sample");
        assert!(!schema.is_valid(&record), "{object}/{field} should be wanted");
        let mut record = record_value();
        record
            .pointer_mut(object)
            .and_then(Value::as_object_mut)
            .unwrap()
            .insert("surprise".to_owned(), json!(1));
        assert!(!schema.is_valid(&record), "{object}/surprise should be refused");
    }
}

#[test]
fn every_line_of_a_journal_with_every_kind_is_as_the_schema_says() {
    let schema = journal_schema();
    let lines = journal_lines();
    for line in &lines {
        holds(&schema, line);
    }
    let has =
        |pointer: &str, name: &str| lines.iter().any(|line| line.pointer(pointer) == Some(&json!(name)));
    for kind in [
        "exam",
        "anchor",
        "audio",
        "audio_lost",
        "microphone",
        "resumed",
        "heard",
        "call",
        "frame",
        "entered",
        "review",
        "signed",
        "sealed",
        "closed",
        "torn",
    ] {
        assert!(has("/kind", kind), "no `{kind}` line was checked");
    }
    for change in ["call", "place", "withdraw", "pair", "label", "leave_out", "clock", "looked", "take_back"]
    {
        assert!(has("/body/change", change), "no `{change}` was checked");
    }
    for kind in ["view", "setting", "finding", "value", "save", "note", "command", "question", "answer"] {
        assert!(has("/body/kind", kind), "no `{kind}` call was checked");
    }
    for command in
        ["take_back", "clock_mark", "stop_listening", "start_listening", "start_of_exam", "end_of_exam"]
    {
        assert!(has("/body/command", command), "no `{command}` was checked");
    }
}

#[test]
fn the_line_that_is_left_of_an_erased_exam_is_as_the_schema_says() {
    let schema = journal_schema();
    let line = |body: Value| {
        json!({"seq": 42, "at": "2026-05-04T08:00:00Z", "sample": 0, "kind": "erased", "body": body,
            "prev": "f".repeat(64)})
    };
    holds(&schema, &line(json!({"exam": "20260504T080000Z-0a1b2c3d", "lines": 41, "why": "asked for"})));
    assert!(!schema.is_valid(&line(json!({"lines": 41, "why": "asked for"}))));
}

#[test]
fn a_line_of_a_kind_from_a_later_version_is_no_fault() {
    let mut line = journal_lines().remove(1);
    line["kind"] = json!("weather");
    line["body"] = json!({"rain": true});
    holds(&journal_schema(), &line);
}

#[test]
fn each_wrong_line_is_refused() {
    let schema = journal_schema();
    let lines = journal_lines();
    let of_kind = |kind: &str| lines.iter().find(|line| line["kind"] == json!(kind)).unwrap().clone();
    let wrong = [
        ("exam", "/body/schema", json!("zonecall.journal/9")),
        ("exam", "/body/wall", json!("sundial")),
        ("exam", "/prev", json!("f".repeat(64))),
        ("anchor", "/body/sample", json!(-1)),
        ("anchor", "/prev", json!("short")),
        ("heard", "/body/outcome", json!("perhaps")),
        ("call", "/body/plane", json!("sideways")),
        ("call", "/body/kind", json!("shout")),
        ("frame", "/body/sha256", json!("abc")),
        ("review", "/body/by", json!("")),
        ("review", "/body/change", json!("erase")),
        ("signed", "/body/signature", json!("short")),
        ("sealed", "/body/files/0/sha256", json!("short")),
        ("closed", "/body", json!({"reason": "end of exam"})),
        ("torn", "/body", json!({})),
        ("audio", "/body", json!({"file": "audio.wav"})),
    ];
    for (kind, pointer, value) in wrong {
        let mut line = of_kind(kind);
        *line.pointer_mut(pointer).unwrap_or_else(|| panic!("{pointer} is in the `{kind}` line")) = value;
        assert!(!schema.is_valid(&line), "`{kind}` with wrong {pointer} should be refused");
    }
    for field in ["seq", "at", "sample", "kind", "body", "prev"] {
        let mut line = of_kind("heard");
        line.as_object_mut().unwrap().remove(field);
        assert!(!schema.is_valid(&line), "`{field}` should be wanted");
    }
    let first_but_no_exam = json!({"seq": 1, "at": of_kind("torn")["at"], "sample": 0, "kind": "torn",
        "body": {"bytes": 1}, "prev": "0".repeat(64)});
    assert!(!schema.is_valid(&first_but_no_exam), "the first line is an exam");
}
