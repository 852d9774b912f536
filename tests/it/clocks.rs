//! What a step of the computer's clock does to an exam: it is reported, and no still changes its label for it.
use crate::support::machine::Dice;
use crate::support::{self, BUILT_IN};

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use zonecall::clock::{Anchor, SAMPLE_RATE_HZ, Sample};
use zonecall::exam::event::{CallEvent, Event, Frame};
use zonecall::exam::fold::{Exam, fold};
use zonecall::exam::journal::{self, Journal};
use zonecall::exam::logged::LoggedChange;
use zonecall::exam::review::{Change, Review};
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

fn milliseconds(seconds: f64) -> TimeDelta {
    TimeDelta::milliseconds((seconds * 1000.0).round() as i64)
}

fn anchor(at_s: i64, step_s: i64) -> Anchor {
    let at = u64::try_from(at_s).unwrap();
    Anchor {
        wall: start() + TimeDelta::seconds(at_s + step_s),
        monotonic_ns: at * 1_000_000_000 + 350_000_000,
        sample: Sample(at * u64::from(SAMPLE_RATE_HZ)),
    }
}

/// An exam with these words, with stills that the scanner saved at these seconds; `before` may write lines before the line
/// of a sample.
fn written(said: &[(f64, &str)], mut before: impl FnMut(&mut Journal, Sample), stills_s: &[f64]) -> Exam {
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
    for (number, still_s) in stills_s.iter().enumerate() {
        let saved_at = start() + milliseconds(still_s - 197.0);
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
    written(&SAID, read, &saves_s(&SAID, i64::MAX))
}

/// When a still was saved for each save, where the program was stopped for a minute at the second `stopped_s` of the sound.
fn saves_s(said: &[(f64, &str)], stopped_s: i64) -> Vec<f64> {
    let saves = said.iter().filter(|said| said.1 == "save");
    saves.map(|(at_s, _)| if *at_s < stopped_s as f64 { *at_s } else { at_s + AWAY_S as f64 }).collect()
}

/// The exam whose program was stopped for a minute in the middle; meanwhile the clock stood still for `stood_s`.
fn restarted(said: &[(f64, &str)], stood_s: i64) -> Exam {
    restarted_at(said, (RESTARTED_S, stood_s as f64), &saves_s(said, RESTARTED_S))
}

/// The same for a restart at a second of the sound, with stills that were saved at these seconds.
fn restarted_at(said: &[(f64, &str)], (restarted_s, stood_s): (i64, f64), stills_s: &[f64]) -> Exam {
    let mut is_due = true;
    let resume = |journal: &mut Journal, sample: Sample| {
        let wall = anchor(restarted_s, AWAY_S).wall - milliseconds(stood_s);
        let first = Anchor { wall, monotonic_ns: 0, ..anchor(restarted_s, 0) };
        if sample >= first.sample && std::mem::take(&mut is_due) {
            let engine = support::header().engine;
            let resumed = Event::Resumed { engine, grammar_sha256: "0".repeat(64) };
            journal.append(first.wall, first.sample, &resumed).unwrap();
            journal.append(first.wall, first.sample, &Event::Anchor(first.clone())).unwrap();
        }
    };
    written(said, resume, stills_s)
}

/// Zones in the order in which they are scanned, each with its code.
const ZONES: [(&str, &str); 6] = [
    ("zone one alpha", "LF 1A T"),
    ("zone one bravo", "LF 1B T"),
    ("zone two alpha", "LF 2A T"),
    ("zone two bravo", "LF 2B T"),
    ("zone three alpha", "LF 3A T"),
    ("zone three bravo", "LF 3B T"),
];

/// How much later than every 20 s a save is said: shifted by one, the saves no longer fit.
const UNEVEN_S: [f64; 10] = [0.0, 3.0, -4.0, 2.0, -3.0, -0.5, 3.0, -5.0, 1.0, -2.5];

/// So many saves, about one every 20 s, each of another zone; from the save `even_from` on they are evenly spaced.
fn every_20_s(n_saves: usize, even_from: usize) -> Vec<(f64, &'static str)> {
    let mut said = vec![(2.0, "left fore transverse")];
    for (number, (zone, _)) in ZONES.iter().cycle().take(n_saves).enumerate() {
        let from_s = 20.0 * number as f64;
        let later_s = if number < even_from { UNEVEN_S[number % UNEVEN_S.len()] } else { 0.0 };
        said.extend([(from_s + 5.0, *zone), (from_s + 20.0 + later_s, "save")]);
    }
    said
}

/// The code of the zone of that save, counted from 0.
fn zone(number: usize) -> &'static str {
    ZONES[number % ZONES.len()].1
}

const DOUBT: &str = "the clock around a restart is not confirmed";

/// For each still, whether the clock around a restart puts its label in doubt.
fn doubted(record: &Record) -> Vec<bool> {
    record.frames.iter().map(|frame| frame.doubt.iter().any(|doubt| doubt == DOUBT)).collect()
}

fn places(record: &Record) -> Vec<String> {
    record.frames.iter().map(|frame| frame.place.codes()).collect()
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
    // The last one is that of a computer without a battery for its clock, which gets the time from a network.
    for (after_s, step_s) in
        [(0, 3600), (70, 3600), (70, -10), (70, -3600), (70, 86_400), (70, 56 * 365 * 86_400)]
    {
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

/// A computer without a battery for its clock is started anew, and gets the time from a network before the exam goes on.
#[test]
fn years_between_two_parts_of_an_exam_are_a_clock_that_was_set() {
    let exam = restarted(&SAID, -56 * 365 * 86_400);
    let [jump] = &exam.timeline.jumps[..] else { panic!("{:?}", exam.timeline.jumps) };
    assert_eq!(jump.kind, JumpKind::Wall);
    assert!(exam.damage.is_empty(), "{:?}", exam.damage);
    let last = exam.timeline.anchors.last().unwrap().wall;
    assert!(last - start() < TimeDelta::hours(1), "no year passed: {last}");
    for frame in recorded(&exam).frames.iter().skip(2) {
        assert!(!frame.doubt.is_empty() || frame.place.codes().is_empty(), "{frame:#?}");
    }
}

/// The clock stood still while the program was stopped: nothing in the journal shows it but the saves.
#[test]
fn a_clock_that_stood_still_across_a_restart_is_found_by_the_saves_on_either_side() {
    let places = ["LF 1A T", "LF 2A T", "RF 1A T", "RF 2A T"];
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
    // One save since the restart proves nothing where its still does not fit.
    for stood_s in [17, 35, 50] {
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

/// Shifted by one, saves at even intervals explain nearly as much as a clock that a person read to two seconds.
#[test]
fn a_clock_that_a_person_set_holds_across_a_restart() {
    let said = every_20_s(8, 0);
    let mut exam = restarted_at(&said, (85, 0.0), &saves_s(&said, 85));
    let (by, why, was) = ("Robin".to_owned(), String::new(), String::new());
    let review = Review { by, why, was, change: Change::Clock { offset_s: -195.0 } };
    exam.changes.push(LoggedChange { seq: Seq(10_000), at: start(), review, taken_back_by: None });
    let record = recorded(&exam);
    assert_eq!(places(&record), (0..8).map(zone).collect::<Vec<_>>(), "{:?}", labels(&record));
    assert_eq!(doubted(&record), [false; 8]);
}

/// As when the computer starts anew and gets its time from a network.
#[test]
fn a_clock_that_was_set_by_two_seconds_is_found_where_each_save_has_its_still() {
    for (n_after, even_from) in [(2, 20), (4, 20)] {
        let said = every_20_s(20 + n_after, even_from);
        for stood_s in [-2.4, -1.6, 1.6, 2.4] {
            let exam = restarted_at(&said, (405, stood_s), &saves_s(&said, 405));
            let record = recorded(&exam);
            assert_eq!(
                places(&record),
                (0..20 + n_after).map(zone).collect::<Vec<_>>(),
                "{stood_s} s: {:?}",
                labels(&record)
            );
            assert_eq!(doubted(&record), vec![false; 20 + n_after], "{stood_s} s: {:?}", labels(&record));
        }
    }
}

/// Where a still is left over, evenly spaced saves fit a clock that is one save off nearly as well; uneven ones do not.
#[test]
fn a_clock_that_was_set_by_two_seconds_is_trusted_beside_a_spare_still_only_where_nothing_else_fits() {
    for (even_from, is_doubted) in [(20, true), (0, false)] {
        let said = every_20_s(26, even_from);
        let mut stills_s = saves_s(&said, 405);
        stills_s.push(470.5 + AWAY_S as f64);
        for stood_s in [-2.4, 2.4] {
            let record = recorded(&restarted_at(&said, (405, stood_s), &stills_s));
            let is_right = record.frames.iter().zip((0..26).map(zone)).all(|(row, place)| {
                let found = row.place.codes();
                found == place || found.is_empty()
            });
            assert!(is_right, "{stood_s} s: {:?}", labels(&record));
            let doubted = &doubted(&record)[20..26];
            assert_eq!(doubted, [is_doubted; 6], "{stood_s} s: {:?}", labels(&record));
        }
    }
}

/// One save alone proves no clock, but it has no still other than the one that is left.
#[test]
fn one_save_alone_after_a_restart_is_sure_where_no_still_is_missing_and_none_is_left() {
    let said = every_20_s(9, 0);
    let whole = saves_s(&said, 165);
    let doubts = |stills_s: &[f64]| {
        let record = recorded(&restarted_at(&said, (165, 0.0), stills_s));
        let last = record.frames.iter().max_by_key(|row| row.saved_at).unwrap();
        assert!(last.place.codes() == zone(8) || last.place.codes().is_empty(), "{:?}", labels(&record));
        doubted(&record)
    };
    assert_eq!(doubts(&whole), [false; 9]);
    let mut one_lost = whole.clone();
    one_lost.remove(7);
    assert!(doubts(&one_lost)[7], "the last still may be that of the save before the restart");
    let mut one_more = whole;
    one_more.push(170.0 + AWAY_S as f64 / 2.0);
    assert!(doubts(&one_more)[8], "either of two stills may be that of the save");
}

#[test]
fn a_clock_mark_after_a_restart_confirms_the_clock() {
    let mut said = every_20_s(8, 8);
    let after = [
        (180.0, "zone one alpha"),
        (185.0, "clock mark"),
        (190.0, "zone one bravo"),
        (200.0, "zone two alpha"),
        (215.0, "zone two bravo"),
        (228.0, "zone three alpha"),
        (242.0, "zone three bravo"),
    ];
    said.extend(after);
    let away_s = AWAY_S as f64;
    let mut stills_s = saves_s(&said, 165);
    stills_s.extend([185.0, 195.0, 207.0, 221.0, 235.0, 250.0].map(|at_s| at_s + away_s));
    let record = recorded(&restarted_at(&said, (165, 0.0), &stills_s));
    let wanted: Vec<&str> = (0..8).chain(0..6).map(zone).collect();
    assert_eq!(places(&record), wanted, "{:?}", labels(&record));
    assert_eq!(doubted(&record), [false; 14]);
}

/// The scanner saves in order: a still before one that was surely saved before the restart was not saved after it.
#[test]
fn a_restart_near_the_end_leaves_the_stills_before_it_sure() {
    for n_after in [1, 2] {
        let said = every_20_s(30 + n_after, 30);
        let mut stills_s = saves_s(&said, 605);
        let beside: Vec<usize> = (1..11).collect();
        stills_s.extend(beside.iter().map(|number| 20.0 * *number as f64 + 11.0));
        let record = recorded(&restarted_at(&said, (605, 0.0), &stills_s));
        let wanted: Vec<&str> = (0..30 + n_after).chain(beside).map(zone).collect();
        assert_eq!(places(&record), wanted, "{:?}", labels(&record));
        let doubted = doubted(&record);
        assert_eq!(doubted[30..30 + n_after], vec![false; n_after], "{:?}", labels(&record));
        assert!(doubted[..30].iter().all(|doubt| !doubt), "{:?}", labels(&record));
        assert!(doubted[30 + n_after..].iter().all(|doubt| !doubt), "{:?}", labels(&record));
    }
}

/// The power fails before the last save has its still, and the scanner's clock is set back until the next one takes its place.
#[test]
fn a_still_that_takes_the_place_of_one_that_was_lost_at_a_restart_is_in_doubt() {
    for n_after in [2, 4] {
        let said = every_20_s(8 + n_after, 8);
        let mut stills_s = saves_s(&said, 165);
        stills_s.remove(7);
        stills_s.iter_mut().skip(7).for_each(|still_s| *still_s -= 85.0);
        let record = recorded(&restarted_at(&said, (165, 0.0), &stills_s));
        let places = (0..7).chain(8..8 + n_after).map(zone);
        for (row, place) in record.frames.iter().zip(places) {
            let is_right = row.place.codes() == place;
            assert!(is_right || row.place.codes().is_empty() || !row.doubt.is_empty(), "{place}: {row:#?}");
        }
        assert!(doubted(&record)[..7].iter().all(|doubt| !doubt), "{:?}", labels(&record));
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

/// A restart as it may happen: stills that were lost, others that nobody spoke of, a clock that ran on, was set by a little or
/// by much; gives how many stills have a right label without a doubt, a wrong one without, and how many there are.
fn restarted_by_chance(seed: u64) -> [usize; 3] {
    let mut dice = Dice::new(seed);
    let (n_before, n_after) = (4 + dice.below(10), 1 + dice.below(6));
    let mut said = vec![(2.0, "left fore transverse")];
    let (mut at_s, mut restarted_s) = (4.0, 0.0);
    let mut stills = Vec::new();
    let tenths =
        |dice: &mut Dice, from: f64, to: f64| from + dice.below((10.0 * (to - from)) as u64) as f64 / 10.0;
    for number in 0..n_before + n_after {
        if number == n_before {
            restarted_s = (at_s + 4.0_f64).ceil();
            at_s = restarted_s + 3.0;
        }
        let (zone, place) = ZONES[number as usize % ZONES.len()];
        said.push((at_s, zone));
        at_s += tenths(&mut dice, 6.0, 30.0);
        said.push((at_s, "save"));
        let real_s = |at_s: f64| if number < n_before { at_s } else { at_s + AWAY_S as f64 };
        if !dice.one_in(20) {
            stills.push((real_s(at_s) + tenths(&mut dice, -0.5, 0.5), place));
        }
        if dice.one_in(12) {
            stills.push((real_s(at_s) + tenths(&mut dice, 2.0, 5.0), place));
        }
        at_s += tenths(&mut dice, 6.0, 10.0);
    }
    let stood_s = match dice.below(4) {
        0 => tenths(&mut dice, -3.0, 3.0),
        1 => tenths(&mut dice, -60.0, 60.0),
        _ => 0.0,
    };
    let stills_s: Vec<f64> = stills.iter().map(|still| still.0).collect();
    let record = recorded(&restarted_at(&said, (restarted_s as i64, stood_s), &stills_s));
    let mut counts = [0, 0, stills.len()];
    for (number, (_, place)) in stills.iter().enumerate() {
        let row = record.frames.iter().find(|row| row.id == format!("1.2.{number}")).unwrap();
        let found = row.place.codes();
        if row.doubt.is_empty() && !found.is_empty() {
            counts[usize::from(found != *place)] += 1;
        }
    }
    counts
}

/// `ZONECALL_RESTARTS=5000` tries so many, from `ZONECALL_RESTART_FROM` on; the first is one that failed.
#[test]
fn of_restarts_as_they_may_happen_most_labels_are_sure_and_none_is_wrong_in_silence() {
    let set = |name: &str, or: u64| std::env::var(name).map_or(or, |text| text.parse().unwrap());
    let from = set("ZONECALL_RESTART_FROM", 1);
    let mut all = [0; 3];
    for seed in [51_076].into_iter().chain(from..from + set("ZONECALL_RESTARTS", 100)) {
        let counts = restarted_by_chance(seed);
        assert_eq!(counts[1], 0, "seed {seed}: labels that are wrong in silence");
        all.iter_mut().zip(counts).for_each(|(all, more)| *all += more);
    }
    let [right, _, stills] = all;
    println!("of {stills} stills {right} are right without a doubt, none wrong");
    // Of the 2,424 stills of the first 200, 2,134 were: 88 of 100.
    assert!(5 * right >= 4 * stills, "{right} of {stills}");
}
