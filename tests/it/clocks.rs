//! What a step of the computer's clock does to an exam: it is reported, and no still changes its label for it.
use crate::support::{self, BUILT_IN};

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use zonecall::clock::{Anchor, SAMPLE_RATE_HZ, Sample};
use zonecall::exam::event::{CallEvent, Event, Frame};
use zonecall::exam::fold::{Exam, fold};
use zonecall::exam::journal::{self, Journal};
use zonecall::exam::seq::Seq;
use zonecall::exam::timeline::{JumpKind, Timeline};
use zonecall::frames::pair::pair;
use zonecall::knowledge::assemble::record;
use zonecall::knowledge::record::Record;

/// Two legs with a save every half minute, three minutes in all.
const SAID: [(f64, &str); 8] = [
    (5.0, "left fore zone one alpha transverse"),
    (20.0, "save"),
    (50.0, "zone two alpha"),
    (55.0, "save"),
    (100.0, "right fore zone one alpha transverse"),
    (115.0, "save"),
    (150.0, "zone two alpha"),
    (165.0, "save"),
];
/// Seconds at which the clocks are read.
const READ_S: [i64; 2] = [60, 120];

/// The sample at which the program was restarted, in seconds, and how long it was stopped.
const RESTARTED_S: i64 = 85;
const AWAY_S: i64 = 60;

fn start() -> DateTime<Utc> {
    support::header().started_at
}

fn anchor(at_s: i64, step_s: i64) -> Anchor {
    let at = u64::try_from(at_s).unwrap();
    Anchor {
        wall: start() + TimeDelta::seconds(at_s + step_s),
        monotonic_ns: at * 1_000_000_000 + 350_000_000,
        sample: Sample(at * u64::from(SAMPLE_RATE_HZ)),
    }
}

/// An exam with these words, with stills as the scanner saved them, `away_s` after its saves; `before` may write lines
/// before the line of a sample.
fn written(
    said: &[(f64, &str)],
    mut before: impl FnMut(&mut Journal, Sample),
    away_s: impl Fn(f64) -> f64,
) -> Exam {
    let (heard, folder) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    support::write_journal(heard.path(), said);
    let mut journal = Journal::create(folder.path()).unwrap();
    let mut number = BTreeMap::new();
    for line in journal::read(heard.path()).unwrap().events {
        before(&mut journal, line.sample);
        let event = match line.event {
            Event::Call(call) => Event::Call(CallEvent { heard_seq: number[&call.heard_seq], ..call }),
            event => event,
        };
        number.insert(line.seq, journal.append(line.at, line.sample, &event).unwrap());
    }
    for (number, (at_s, _)) in said.iter().filter(|said| said.1 == "save").enumerate() {
        let saved_s = at_s + away_s(*at_s) - 197.0;
        let saved_at = start() + TimeDelta::milliseconds((saved_s * 1000.0) as i64);
        let frame = Frame {
            id: format!("1.2.{number}"),
            file: format!("{number}.dcm"),
            saved_at,
            time_source: "AcquisitionDateTime".to_owned(),
            size_px: None,
            ..support::still::frame("")
        };
        journal.append(start(), Sample::FIRST, &Event::Frame(Box::new(frame))).unwrap();
    }
    fold(&journal::read(folder.path()).unwrap(), &BUILT_IN.1).unwrap()
}

/// The exam while this computer's clock is set by `step_s` after `after_s`.
fn exam(after_s: i64, step_s: i64) -> Exam {
    let mut clocks = READ_S.into_iter().peekable();
    let read = |journal: &mut Journal, sample: Sample| {
        while let Some(at_s) = clocks.next_if(|at_s| anchor(*at_s, 0).sample <= sample) {
            let read = anchor(at_s, if at_s > after_s { step_s } else { 0 });
            journal.append(read.wall, read.sample, &Event::Anchor(read.clone())).unwrap();
        }
    };
    written(&SAID, read, |_| 0.0)
}

/// The exam whose program was stopped for a minute in the middle; meanwhile the clock stood still for `stood_s`.
fn restarted(said: &[(f64, &str)], stood_s: i64) -> Exam {
    let mut is_due = true;
    let resume = |journal: &mut Journal, sample: Sample| {
        let first = anchor(RESTARTED_S, AWAY_S - stood_s);
        if sample >= first.sample && std::mem::take(&mut is_due) {
            let engine = support::header().engine;
            let resumed = Event::Resumed { engine, grammar_sha256: "0".repeat(64) };
            let first = Anchor { monotonic_ns: 0, ..first };
            journal.append(first.wall, first.sample, &resumed).unwrap();
            journal.append(first.wall, first.sample, &Event::Anchor(first.clone())).unwrap();
        }
    };
    written(said, resume, |at_s| if at_s < RESTARTED_S as f64 { 0.0 } else { AWAY_S as f64 })
}

fn recorded(exam: &Exam) -> Record {
    record(exam, &pair(exam, &exam.frames), &BUILT_IN.1)
}

fn labels(record: &Record) -> Vec<String> {
    record.frames.iter().map(|frame| format!("{} {:?}", frame.place.codes(), frame.status)).collect()
}

#[test]
fn a_clock_that_is_set_changes_no_label_and_puts_what_follows_in_doubt() {
    let steady = recorded(&exam(0, 0));
    assert!(steady.findings.iter().all(|found| found.rule != "clock-jumped"));
    assert!(labels(&steady)[3].starts_with("RF 2A T"), "{:?}", labels(&steady));
    for (after_s, step_s) in [(0, 3600), (70, 3600), (70, -10), (70, -3600), (70, 86_400)] {
        let exam = exam(after_s, step_s);
        let [jump] = &exam.timeline.jumps[..] else { panic!("{step_s}: {:?}", exam.timeline.jumps) };
        assert_eq!((jump.by_ms, jump.kind), (step_s * 1000, JumpKind::Wall));
        let set = recorded(&exam);
        assert_eq!(labels(&set), labels(&steady), "{step_s} s after {after_s} s");
        let doubtful = |frame: &zonecall::knowledge::record::FrameRow| {
            frame.doubt.iter().any(|doubt| doubt == "a clock jumped before it")
        };
        let jumped_s = (jump.at - start()).as_seconds_f64();
        for (frame, (at_s, _)) in set.frames.iter().zip(SAID.iter().filter(|said| said.1 == "save")) {
            assert_eq!(doubtful(frame), *at_s >= jumped_s, "{at_s} s, jumped at {jumped_s} s");
        }
    }
}

/// The clock stood still while the program was stopped: nothing in the journal shows it but the saves.
#[test]
fn a_clock_that_stood_still_across_a_restart_is_found_by_the_saves_on_either_side() {
    const DOUBT: &str = "the clock around a restart is not confirmed";
    let places = ["LF 1A T", "LF 2A T", "RF 1A T", "RF 2A T"];
    let doubted = |record: &Record| -> Vec<bool> {
        record.frames.iter().map(|frame| frame.doubt.iter().any(|doubt| doubt == DOUBT)).collect()
    };
    let right =
        |record: &Record| record.frames.iter().zip(places).all(|(row, place)| row.place.codes() == place);
    let sure = recorded(&restarted(&SAID, 0));
    assert!(right(&sure), "{:?}", labels(&sure));
    assert_eq!(doubted(&sure), [false; 4]);
    let mut labelled = 0;
    for stood_s in [5, 17, 20, 35, 48, 60] {
        let exam = restarted(&SAID, stood_s);
        assert_eq!(exam.timeline.jumps, [], "the clock did not fall behind");
        let record = recorded(&exam);
        for (row, place) in record.frames.iter().zip(places) {
            let found = row.place.codes();
            assert!(found == place || found.is_empty(), "{stood_s} s, a still of {place}: {row:#?}");
        }
        // Each half has a clock of its own, and at most one is sure.
        let is_open: Vec<bool> = record
            .frames
            .iter()
            .zip(doubted(&record))
            .map(|(row, doubt)| doubt || row.place.codes().is_empty())
            .collect();
        assert!(is_open[..2] == [true; 2] || is_open[2..] == [true; 2], "{stood_s} s: {:?}", labels(&record));
        labelled += record.frames.iter().filter(|row| !row.place.codes().is_empty()).count();
    }
    // Two saves on either side say as much for one clock as for the other, so many stay open.
    assert!(labelled >= 8, "{labelled} of 24 stills are labelled");
    // One save since the restart proves nothing, whatever the clock did.
    for stood_s in [0, 17, 35, 50] {
        let record = recorded(&restarted(&SAID[..6], stood_s));
        for (row, place) in record.frames.iter().zip(places) {
            let is_open = !row.doubt.is_empty() || row.place.codes().is_empty();
            assert!(is_open || row.place.codes() == place, "{stood_s} s: {row:#?}");
        }
        assert!(
            !record.frames[2].doubt.is_empty() || record.frames[2].place.codes().is_empty(),
            "{stood_s} s"
        );
    }
}

#[test]
fn sound_that_is_shorter_than_its_time_is_reported_unless_the_loss_was() {
    let jumps = |lost: bool| {
        let mut lines = vec![
            Event::Anchor(Anchor { wall: start(), monotonic_ns: 0, sample: Sample::FIRST }),
            Event::Anchor(anchor(60, 0)),
        ];
        if lost {
            lines.push(Event::AudioLost { samples: 80_000 });
        }
        let late = anchor(125, 0);
        lines.push(Event::Anchor(Anchor { sample: late.sample.back(80_000), ..late }));
        let mut timeline = Timeline::new();
        for (event, seq) in lines.into_iter().zip((1..).map(Seq)) {
            let prev = String::new();
            timeline.take(&zonecall::exam::event::ExamEvent {
                seq,
                at: start(),
                sample: Sample::FIRST,
                event,
                prev,
            });
        }
        timeline.jumps.into_iter().map(|jump| (jump.kind, jump.by_ms)).collect::<Vec<_>>()
    };
    assert_eq!(jumps(false), [(JumpKind::Sound, 5000)]);
    assert_eq!(jumps(true), []);
}
