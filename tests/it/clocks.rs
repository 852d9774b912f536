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

/// The exam with stills as the scanner saved them; this computer's clock is set by `step_s` after `after_s`.
fn exam(after_s: i64, step_s: i64) -> Exam {
    let (said, folder) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    support::write_journal(said.path(), &SAID);
    let mut journal = Journal::create(folder.path()).unwrap();
    let mut clocks = READ_S.into_iter().peekable();
    let mut number = BTreeMap::new();
    // What was said, with the clocks read in between.
    for line in journal::read(said.path()).unwrap().events {
        while let Some(at_s) = clocks.next_if(|at_s| anchor(*at_s, 0).sample <= line.sample) {
            let read = anchor(at_s, if at_s > after_s { step_s } else { 0 });
            journal.append(read.wall, read.sample, &Event::Anchor(read.clone())).unwrap();
        }
        let event = match line.event {
            Event::Call(call) => Event::Call(CallEvent { heard_seq: number[&call.heard_seq], ..call }),
            event => event,
        };
        number.insert(line.seq, journal.append(line.at, line.sample, &event).unwrap());
    }
    for (number, (at_s, _)) in SAID.iter().filter(|said| said.1 == "save").enumerate() {
        let saved_at = start() + TimeDelta::milliseconds(((at_s - 197.0) * 1000.0) as i64);
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
