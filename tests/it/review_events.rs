//! Claims about what is corrected by hand: it counts, it can be taken back, and nothing of what was said is lost.
use crate::support;

use chrono::{DateTime, TimeDelta, Utc};
use zonecall::clock::Sample;
use zonecall::code::ZoneCode;
use zonecall::exam::call::{Act, Amount, Value, ValueSaid, View};
use zonecall::exam::event::{Event, Frame};
use zonecall::exam::fold::{Exam, LoggedCall, fold};
use zonecall::exam::journal::{self, Journal};
use zonecall::exam::review::{Change, Review, WordsPart};
use zonecall::exam::seq::Seq;
use zonecall::frames::pair::pair;
use zonecall::knowledge::assemble::record;
use zonecall::knowledge::measure::row::Name;
use zonecall::knowledge::record::{Record, Status};

use support::BUILT_IN;

fn later() -> DateTime<Utc> {
    "2026-05-05T07:00:00Z".parse().unwrap()
}

/// An exam folder to which events can be added.
struct Folder(tempfile::TempDir);

impl Folder {
    fn of(said: &[(f64, &str)]) -> Folder {
        let folder = tempfile::tempdir().unwrap();
        support::write_journal(folder.path(), said);
        Folder(folder)
    }

    fn add(&self, event: &Event) -> Seq {
        Journal::open(self.0.path()).unwrap().append(later(), Sample::FIRST, event).unwrap()
    }

    fn change(&self, change: Change) -> Seq {
        let (by, why, was) = ("Robin".to_owned(), "heard it again".to_owned(), String::new());
        self.add(&Event::Review(Box::new(Review { by, why, was, change })))
    }

    fn still(&self, id: &str, exam_s: f64) {
        let saved_at =
            support::header().started_at + TimeDelta::milliseconds(((exam_s - 197.0) * 1000.0) as i64);
        self.add(&Event::Frame(Box::new(Frame {
            sha256: "a".repeat(64),
            ..support::still::saved(id, saved_at)
        })));
    }

    fn exam(&self) -> Exam {
        fold(&journal::read(self.0.path()).unwrap(), &BUILT_IN.1).unwrap()
    }

    fn record(&self) -> Record {
        let exam = self.exam();
        record(&exam, &pair(&exam, &exam.frames), &BUILT_IN.1)
    }

    fn call(&self, words: &str) -> LoggedCall {
        self.exam().calls.into_iter().find(|call| call.call.words == words).expect("it was said")
    }
}

fn place(limb: &str, zone: &str) -> View {
    let limb = (!limb.is_empty()).then(|| limb.into());
    let zone = (!zone.is_empty()).then(|| zone.into());
    View { limb, zone, ..View::default() }
}

const SAID: [(f64, &str); 7] = [
    (2.0, "left fore zone two bravo transverse"),
    (6.0, "superficial flexor"),
    (8.0, "area ninety square millimetres"),
    (10.0, "save"),
    (16.0, "zone three alpha"),
    (20.0, "save"),
    (30.0, "end of exam"),
];

fn spoken_area(folder: &Folder) -> LoggedCall {
    folder.exam().calls.into_iter().find(|call| matches!(call.act, Act::Value(_))).expect("an area was said")
}

#[test]
fn a_move_put_right_carries_what_follows_up_to_the_next_move() {
    let folder = Folder::of(&SAID);
    let first = folder.exam().calls[0].clone();
    let right = View { plane: Some("T".into()), ..place("RF", "2B") };
    let seq = folder.change(Change::Call { seq: first.seq, act: Act::View(right) });
    let exam = folder.exam();
    assert!(
        exam.calls.iter().all(|call| call.context.place.limb.as_deref() == Some("RF")),
        "the limb stays in force"
    );
    assert_eq!(exam.calls[0].corrected_by, [seq]);
    assert_eq!(exam.calls[0].call, first.call, "what was said stays");
}

#[test]
fn one_call_can_be_given_another_place_without_moving_the_rest() {
    let folder = Folder::of(&SAID);
    let area = spoken_area(&folder);
    folder.change(Change::Place { seq: area.seq, place: place("", "1A") });
    let zones: Vec<Option<ZoneCode>> =
        folder.exam().calls.iter().map(|call| call.context.place.zone.clone()).collect();
    let changed: Vec<usize> = (0..zones.len()).filter(|idx| zones[*idx].as_deref() == Some("1A")).collect();
    let idx = folder.exam().calls.iter().position(|call| call.seq == area.seq).unwrap();
    assert_eq!(changed, [idx]);
}

/// An impression of nothing but spaces would let a record be signed as if it had one.
#[test]
fn words_that_are_only_spaces_are_none() {
    let folder = Folder::of(&SAID);
    let written = |text: &str| {
        folder.change(Change::Words { part: WordsPart::Impression, text: text.to_owned() });
        folder.record().words.iter().map(|row| row.text.clone()).collect::<Vec<_>>()
    };
    assert_eq!(written("healing"), ["healing"]);
    assert_eq!(written(" \n "), Vec::<String>::new());
}

#[test]
fn a_number_put_right_counts_and_its_line_stands_in_the_basis() {
    let folder = Folder::of(&SAID);
    let area = spoken_area(&folder);
    let amount = Amount { number: 98.0, unit: Some("mm2".to_owned()), unit_assumed: false };
    let act = Act::Value(Value { term: "area".to_owned(), amount, said: ValueSaid::default() });
    let seq = folder.change(Change::Call { seq: area.seq, act });
    let record = folder.record();
    let row = record.calls.iter().find(|row| row.seq == area.seq).unwrap();
    assert_eq!(row.number, Some(98.0));
    assert!(record.measures.iter().any(|row| row.from.contains(&seq)), "the measures stand on it");
    assert_eq!((record.changes[0].by.as_str(), record.changes[0].why.as_str()), ("Robin", "heard it again"));
}

#[test]
fn the_later_of_two_changes_counts_and_taking_it_back_brings_the_earlier_one() {
    let folder = Folder::of(&SAID);
    let first = folder.exam().calls[0].seq;
    let to = |zone: &str| Change::Call { seq: first, act: Act::View(place("LF", zone)) };
    folder.change(to("1A"));
    let second = folder.change(to("1B"));
    let zone = || folder.exam().calls[0].context.place.zone.clone().unwrap();
    assert_eq!(zone(), "1B");
    let back = folder.change(Change::TakeBack { seq: second });
    assert_eq!(zone(), "1A");
    folder.change(Change::TakeBack { seq: back });
    assert_eq!(zone(), "1B", "taking back can be taken back");
    assert_eq!(folder.record().changes.len(), 4, "all of it is still told");
}

#[test]
fn a_withdrawn_call_does_not_count_and_a_withdrawn_take_back_takes_nothing_back() {
    let folder =
        Folder::of(&[(2.0, "left fore zone two bravo transverse"), (6.0, "save"), (9.0, "disregard that")]);
    let calls = folder.exam().calls;
    let (save, take_back) = (&calls[calls.len() - 2], &calls[calls.len() - 1]);
    assert_eq!(save.withdrawn_by, Some(take_back.seq));
    folder.change(Change::Withdraw { seq: take_back.seq });
    let save = folder.call("save");
    assert_eq!(save.withdrawn_by, None);
    let by = folder.change(Change::Withdraw { seq: save.seq });
    assert_eq!(folder.call("save").withdrawn_by, Some(by));
}

#[test]
fn a_typed_value_can_be_taken_back() {
    let folder = Folder::of(&SAID);
    let typed = folder.add(&Event::Entered(Box::new(support::area("SDFT", 150.0, "mm2"))));
    let back = folder.change(Change::TakeBack { seq: typed });
    assert!(folder.exam().entries.is_empty());
    folder.change(Change::TakeBack { seq: back });
    assert_eq!(folder.exam().entries.len(), 1);
}

/// Two save calls with a still each, and a third still far from both.
fn with_stills() -> Folder {
    let folder = Folder::of(&SAID);
    folder.still("one", 10.4);
    folder.still("two", 20.4);
    folder.still("three", 25.0);
    folder
}

fn label(record: &Record, id: &str) -> (Status, Option<ZoneCode>) {
    let row = record.frames.iter().find(|row| row.id == id).unwrap();
    (row.status, row.place.zone.clone())
}

#[test]
fn a_still_paired_by_hand_takes_the_label_of_its_call_and_no_other_still_gets_that_call() {
    let folder = with_stills();
    let before = folder.record();
    let saves: Vec<Seq> =
        folder.exam().calls.iter().filter(|call| call.act == Act::Save).map(|call| call.seq).collect();
    folder.change(Change::Pair { still: "three".to_owned(), seq: saves[0] });
    let record = folder.record();
    assert_eq!(label(&record, "three"), (Status::Hand, Some("2B".into())));
    let others = record.frames.iter().filter(|row| row.id != "three");
    assert!(others.clone().all(|row| row.call_seq != Some(saves[0]) || row.status != Status::Spoken));
    assert_ne!(before.frames, record.frames);
}

#[test]
fn a_still_labelled_by_hand_shows_that_place_and_one_left_out_is_not_asked_about() {
    let folder = with_stills();
    folder.change(Change::Label { still: "three".to_owned(), place: place("RF", "1B") });
    folder.change(Change::LeaveOut { still: "two".to_owned() });
    let record = folder.record();
    assert_eq!(label(&record, "three"), (Status::Hand, Some("1B".into())));
    assert_eq!(label(&record, "two"), (Status::LeftOut, None));
    assert!(
        record
            .findings
            .iter()
            .all(|finding| finding.frame.as_deref() != Some("two") || !finding.rule.starts_with("still-"))
    );
}

#[test]
fn a_clock_set_by_hand_counts_until_it_is_taken_back() {
    let folder = with_stills();
    let found = folder.record().clock;
    let set = folder.change(Change::Clock { offset_s: -150.0 });
    let clock = folder.record().clock.expect("it was set");
    assert!((clock.offset_s + 150.0).abs() < 1e-9 && clock.method.contains("Robin"), "{clock:?}");
    folder.change(Change::TakeBack { seq: set });
    assert_eq!(folder.record().clock, found);
}

fn samples(at_s: u64) -> Sample {
    Sample(at_s * u64::from(zonecall::clock::SAMPLE_RATE_HZ))
}

#[test]
fn an_added_call_counts_where_it_was_made_and_can_be_changed_withdrawn_and_taken_back() {
    let folder = Folder::of(&SAID);
    let act = Act::View(place("", "1A"));
    let added = folder.change(Change::Add { sample: samples(15), act });
    let zones = || -> Vec<Option<ZoneCode>> {
        folder.exam().calls.iter().map(|call| call.context.place.zone.clone()).collect()
    };
    let call = || folder.exam().calls.into_iter().find(|call| call.seq == added).expect("it was added");
    assert!(call().is_added() && call().withdrawn_by.is_none());
    let exam = folder.exam();
    let place_in_time = exam.calls.iter().position(|call| call.seq == added).unwrap();
    assert!(exam.calls[..place_in_time].iter().all(|call| call.call.span.from < samples(15)));
    assert!(exam.calls[place_in_time + 1..].iter().all(|call| call.call.span.from > samples(15)));
    assert_eq!(zones()[place_in_time].as_deref(), Some("1A"));
    assert_eq!(
        zones()[place_in_time + 1].as_deref(),
        Some("3A"),
        "the next move that was said holds from then on"
    );
    let record = folder.record();
    let row = record.calls.iter().find(|row| row.seq == added).unwrap();
    assert!(row.added && row.place.limb.as_deref() == Some("LF"), "the limb in force at that time");
    folder.change(Change::Call { seq: added, act: Act::View(place("", "1B")) });
    assert_eq!(call().context.place.zone.as_deref(), Some("1B"));
    let withdrawn = folder.change(Change::Withdraw { seq: added });
    assert_eq!(call().withdrawn_by, Some(withdrawn));
    folder.change(Change::TakeBack { seq: withdrawn });
    folder.change(Change::TakeBack { seq: added });
    assert!(folder.exam().calls.iter().all(|call| call.seq != added));
}

#[test]
fn an_added_call_is_not_what_a_spoken_disregard_meant() {
    let folder =
        Folder::of(&[(2.0, "left fore zone two bravo transverse"), (6.0, "save"), (9.0, "disregard that")]);
    let added = folder.change(Change::Add { sample: samples(8), act: Act::Save });
    let exam = folder.exam();
    let withdrawn = |seq: Seq| exam.calls.iter().find(|call| call.seq == seq).unwrap().withdrawn_by.is_some();
    assert!(withdrawn(folder.call("save").seq) && !withdrawn(added));
}

#[test]
fn a_moved_call_counts_at_its_new_moment_and_its_sound_stays_where_it_is() {
    let folder = Folder::of(&SAID);
    let (save, next) = (folder.call("save"), folder.call("zone three alpha"));
    assert_eq!(save.context.place.zone.as_deref(), Some("2B"));
    let moved = folder.change(Change::Move { seq: save.seq, sample: samples(18) });
    let now = folder.exam().calls.into_iter().find(|call| call.seq == save.seq).unwrap();
    assert_eq!(now.context.place.zone.as_deref(), Some("3A"), "after the move that was said at 16 s");
    assert_eq!((now.call.span, now.corrected_by), (save.call.span, vec![moved]));
    assert!(now.said_at > next.said_at);
    folder.change(Change::TakeBack { seq: moved });
    assert_eq!(folder.call("save"), save);
}

#[test]
fn a_scale_set_by_hand_is_that_of_its_still_until_it_is_taken_back() {
    let folder = with_stills();
    let ends_px = [(10.0, 20.0), (40.0, 60.0)];
    let set = folder.change(Change::Scale { still: "one".to_owned(), ends_px, distance_mm: 20.0 });
    let scale = |id: &str| folder.exam().scale_by_hand_mm(id);
    assert_eq!((scale("one"), scale("two")), (Some(0.4), None), "30 by 40 pixels are 50, by Pythagoras");
    folder.change(Change::TakeBack { seq: set });
    assert_eq!(scale("one"), None);
}

#[test]
fn changes_of_things_that_are_not_there_change_nothing() {
    let folder = with_stills();
    let before = folder.record();
    folder.change(Change::Withdraw { seq: Seq(9_999) });
    folder.change(Change::Pair { still: "one".to_owned(), seq: Seq(9_999) });
    folder.change(Change::Pair { still: "none".to_owned(), seq: Seq(3) });
    folder.change(Change::TakeBack { seq: Seq(9_999) });
    let after = folder.record();
    assert_eq!((before.calls, before.frames), (after.calls, after.frames));
}

#[test]
fn two_programs_that_append_at_once_wait_for_each_other_and_lose_nothing() {
    let folder = Folder::of(&SAID);
    let before = journal::read(folder.0.path()).unwrap().events.len();
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                for _ in 0..20 {
                    folder.change(Change::Clock { offset_s: 1.0 });
                    // The other one looks a hundred times a second whether it may; without a pause this one would take
                    // all its turns first, and on a slow disk they take longer than the other one waits.
                    std::thread::sleep(std::time::Duration::from_millis(20));
                }
            });
        }
    });
    let lines = journal::read(folder.0.path()).unwrap();
    assert_eq!(lines.events.len(), before + 40);
    assert!(lines.damage.is_empty(), "{:?}", lines.damage);
}

#[test]
fn a_value_added_before_another_one_does_not_replace_it() {
    let folder = Folder::of(&SAID);
    let amount = Amount { number: 50.0, unit: Some("mm2".to_owned()), unit_assumed: false };
    let act = Act::Value(Value { term: "area".to_owned(), amount, said: ValueSaid::default() });
    folder.change(Change::Add { sample: Sample(7 * 16_000), act });
    let area = |record: &Record| {
        let rows = record.measures.iter().filter(|row| row.name == Name::Area);
        rows.map(|row| row.value.unwrap()).collect::<Vec<_>>()
    };
    assert_eq!(area(&folder.record()), [90.0], "the one that was said last counts");
}

#[test]
fn what_is_asked_about_an_added_call_names_what_was_added() {
    let folder = Folder::of(&[(2.0, "left fore zone two bravo transverse")]);
    let amount = Amount { number: 50.0, unit: Some("mm2".to_owned()), unit_assumed: false };
    let act = Act::Value(Value { term: "area".to_owned(), amount, said: ValueSaid::default() });
    folder.change(Change::Add { sample: Sample(7 * 16_000), act });
    let record = folder.record();
    let asked = record.findings.iter().find(|one| one.rule == "value-without-place").unwrap();
    assert_eq!(asked.message, "`area 50 mm2` was added by hand with no structure set");
    assert!(!record.findings.iter().any(|one| one.message.contains("``")), "{:#?}", record.findings);
}

#[test]
fn a_save_added_before_a_poor_picture_does_not_make_up_for_it() {
    let folder = Folder::of(&[(2.0, "left fore zone two bravo transverse"), (8.0, "repeat this")]);
    let asked = || folder.record().findings.iter().filter(|one| one.rule == "quality-not-repeated").count();
    assert_eq!(asked(), 1);
    folder.change(Change::Add { sample: Sample(5 * 16_000), act: Act::Save });
    assert_eq!(asked(), 1, "it was saved before");
    folder.change(Change::Add { sample: Sample(12 * 16_000), act: Act::Save });
    assert_eq!(asked(), 0);
}
