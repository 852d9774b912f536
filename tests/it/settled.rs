//! Claims about settled findings: the record, the command and the reports agree that nobody has to look again, and a
//! settling covers no more than what was looked at.
use crate::support;
use crate::support::program::zonecall;
use crate::support::sample;
use crate::support::sample::WHOLE;

use zonecall::clock::Sample;
use zonecall::exam::call::{Act, View};
use zonecall::exam::closed_sets::ExamStatus;
use zonecall::exam::event::Event;
use zonecall::exam::fold::fold;
use zonecall::exam::journal::{self, Journal};
use zonecall::exam::review::{Change, Review};
use zonecall::exam::seq::Seq;
use zonecall::frames::pair::pair;
use zonecall::knowledge::assemble::record;
use zonecall::knowledge::notes::NoteWords;
use zonecall::knowledge::record::{Finding, Record, SettledRow, SignedRow};
use zonecall::report::picture::Pictures;
use zonecall::report::{ReportInput, owner, vet};

use support::BUILT_IN;

const SAID: [(f64, &str); 5] = [
    (2.0, "left fore zone two bravo transverse"),
    (6.0, "superficial flexor"),
    (8.0, "save"),
    (14.0, "repeat this"),
    (30.0, "end of exam"),
];

struct Folder(tempfile::TempDir);

impl Folder {
    fn new() -> Folder {
        let folder = tempfile::tempdir().unwrap();
        support::write_journal(folder.path(), &SAID);
        Folder(folder)
    }

    fn change(&self, change: Change) -> Seq {
        let (by, why, was) = ("Robin".to_owned(), "heard it".to_owned(), String::new());
        let event = Event::Review(Box::new(Review { by, why, was, change }));
        let at = support::header().started_at;
        Journal::open(self.0.path()).unwrap().append(at, Sample::FIRST, &event).unwrap()
    }

    fn record(&self) -> Record {
        let exam = fold(&journal::read(self.0.path()).unwrap(), &BUILT_IN.1).unwrap();
        record(&exam, &pair(&exam, &exam.frames), &BUILT_IN.1)
    }

    /// As the program itself writes it: with the kept files looked at.
    fn exported(&self) -> Record {
        let told = zonecall(&["export", &self.0.path().to_string_lossy(), "--as", "json"]);
        serde_json::from_slice(&told.stdout).unwrap()
    }

    fn of(&self, rule: &str) -> Finding {
        self.record().findings.into_iter().find(|finding| finding.rule == rule).expect(rule)
    }

    fn check(&self) -> (Option<i32>, String) {
        let told = zonecall(&["check", &self.0.path().to_string_lossy()]);
        (told.status.code(), String::from_utf8_lossy(&told.stdout).into_owned())
    }
}

fn accept(finding: &Finding) -> Change {
    accept_as(finding, &finding.message)
}

/// Accepted when the program still used other words.
fn accept_as(finding: &Finding, words: &str) -> Change {
    Change::Looked {
        rule: finding.rule.clone(),
        finding: words.to_owned(),
        seq: finding.call_seq,
        still: finding.frame.clone(),
        place: finding.place.clone(),
    }
}

fn is_open(folder: &Folder, rule: &str) -> bool {
    folder.of(rule).settled.is_none()
}

#[test]
fn once_all_is_settled_check_exits_with_0_and_names_who_settled_it() {
    let folder = Folder::new();
    assert_eq!(folder.check().0, Some(1));
    let open: Vec<Finding> = folder.exported().findings.into_iter().filter(Finding::is_open).collect();
    assert!(!open.is_empty());
    let lines: Vec<Seq> = open.iter().map(|finding| folder.change(accept(finding))).collect();
    let record = folder.exported();
    for (finding, line) in open.iter().zip(lines) {
        let now = record.findings.iter().find(|one| one.message == finding.message).unwrap();
        let settled = now.settled.as_ref().unwrap();
        assert_eq!((settled.seq, settled.by.as_str(), settled.why.as_str()), (line, "Robin", "heard it"));
    }
    let (code, told) = folder.check();
    assert_eq!(code, Some(0), "{told}");
    assert!(
        !told.lines().any(|line| line.starts_with("look ")) && told.contains("settled by Robin in line"),
        "{told}"
    );
}

#[test]
fn what_is_settled_stays_settled_when_its_sentence_is_reworded() {
    let folder = Folder::new();
    let missing = folder.of("view-missing");
    let reworded = missing.message.replace("missing:", "not there:");
    assert_ne!(reworded, missing.message);
    folder.change(accept_as(&missing, &reworded));
    assert!(!is_open(&folder, "view-missing"));
}

#[test]
fn other_figures_are_another_question() {
    let folder = Folder::new();
    folder.change(accept_as(&folder.of("view-missing"), "left fore: 1 view is missing: 1A transverse"));
    assert!(is_open(&folder, "view-missing"));
}

#[test]
fn a_line_of_an_older_journal_without_a_place_settles_by_its_words() {
    let folder = Folder::new();
    let Change::Looked { rule, finding, seq, still, .. } = accept(&folder.of("view-missing")) else {
        panic!()
    };
    folder.change(Change::Looked { rule, finding, seq, still, place: None });
    assert!(!is_open(&folder, "view-missing"));
}

#[test]
fn a_reworded_settling_ends_where_its_call_is_changed_afterwards() {
    let folder = Folder::new();
    let finding = folder.of("quality-not-repeated");
    let seq = finding.call_seq.unwrap();
    let call = folder.record().calls.into_iter().find(|call| call.seq == seq).unwrap();
    folder.change(accept_as(&finding, "in other words"));
    assert!(!is_open(&folder, &finding.rule));
    let place = View { limb: call.place.limb, ..View::default() };
    let line = folder.change(Change::Place { seq, place });
    assert!(is_open(&folder, &finding.rule), "it was settled before the change");
    folder.change(Change::TakeBack { seq: line });
    assert!(is_open(&folder, &finding.rule), "taking the change back is a change as well");
}

#[test]
fn a_settling_that_may_mean_two_findings_settles_neither_in_other_words() {
    let folder = Folder::new();
    let act = |limb: &str| Act::View(View { limb: Some(limb.into()), ..View::default() });
    folder.change(Change::Add { sample: Sample(12 * 16_000), act: act("RF") });
    let missing = || {
        let found = folder.record().findings.into_iter().filter(|finding| finding.rule == "view-missing");
        found.collect::<Vec<_>>()
    };
    assert_eq!(missing().len(), 2);
    let Change::Looked { rule, finding, seq, still, .. } = accept(&missing()[0]) else { panic!() };
    folder.change(Change::Looked {
        rule,
        finding: finding.replace("missing", "lost"),
        seq,
        still,
        place: None,
    });
    assert!(missing().iter().all(|finding| finding.settled.is_none()));
}

/// One still alone says nothing of the scanner's clock: a person sets it by the one save call.
#[test]
fn a_save_after_an_unheard_phrase_is_settled_by_labelling_its_still_by_hand() {
    let folder = tempfile::tempdir().unwrap();
    let said =
        [(2.0, "left fore zone two bravo transverse"), (6.0, "colourless green ideas"), (10.0, "save")];
    support::write_journal(folder.path(), &said);
    let folder = Folder(folder);
    let still = Event::Frame(Box::new(support::still::frame("2.25.7")));
    let at = support::header().started_at;
    Journal::open(folder.0.path()).unwrap().append(at, Sample::FIRST, &still).unwrap();
    folder.change(Change::Clock { offset_s: -10.0 });
    assert!(is_open(&folder, "save-after-unheard"));
    let place = View { limb: Some("LF".into()), zone: Some("3A".into()), ..View::default() };
    let label = folder.change(Change::Label { still: "2.25.7".to_owned(), place });
    let settled = folder.of("save-after-unheard").settled.expect("its label was written by hand");
    assert_eq!((settled.seq, settled.by.as_str()), (label, "Robin"));
    folder.change(Change::TakeBack { seq: label });
    assert!(is_open(&folder, "save-after-unheard"), "the label that was said counts again");
    // Another still that takes the save is no less in doubt.
    folder.change(Change::Label { still: "2.25.8".to_owned(), place: View::default() });
    assert!(is_open(&folder, "save-after-unheard"));
}

fn settled_and_signed() -> Record {
    let mut record = sample::record();
    let at = record.exam.started_at;
    for finding in &mut record.findings {
        finding.settled =
            Some(SettledRow { seq: Seq(70), at, by: "Robin".to_owned(), why: "seen".to_owned() });
    }
    record.exam.status = ExamStatus::Signed;
    record.exam.signed = Some(SignedRow {
        seq: Seq(80),
        at,
        by: "Dr Example".to_owned(),
        licence: "V-1".to_owned(),
        key: "a".repeat(64),
        changes_since: 0,
        taken_back_by: None,
        time_stamp: None,
    });
    let (text, by) = ("a little swelling".to_owned(), "Ada".to_owned());
    record.notes[0].words = Some(NoteWords::Read { text, by });
    record
}

#[test]
fn a_signed_report_asks_nothing_that_is_settled_and_does_not_say_draft() {
    let record = settled_and_signed();
    let input = ReportInput {
        record: &record,
        earlier: &[],
        protocols: &BUILT_IN.1,
        pictures: &Pictures::default(),
        frame: WHOLE,
    };
    let page = vet::html(&input);
    assert!(page.contains("Nothing to check.") && page.contains("id=\"settled\""));
    let (before, after) = page.split_once("id=\"settled\"").unwrap();
    assert!(after.contains("audio were lost") && !before.contains("audio were lost"));
    let letter = owner::html(&input);
    assert!(!letter.contains("for the practice to check"));
    for text in [page, letter] {
        assert!(text.contains("SIGNED") && !text.to_lowercase().contains("draft"));
        assert!(!text.contains("Vet, date and signature"), "signed with a key, it needs no hand");
    }
}
