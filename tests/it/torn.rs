//! A line that a crash cut short is a question for a person; once it is settled, the exam can be signed.
use crate::support;
use crate::support::BUILT_IN;

use std::path::Path;

use zonecall::clock::Sample;
use zonecall::exam::event::Event;
use zonecall::exam::journal::{JOURNAL_FILE, Journal};
use zonecall::exam::review::{Change, Review};
use zonecall::exam_folder::ExamFolder;
use zonecall::signing::people::{People, Role};
use zonecall::signing::sign::{Seen, SignError, Signer, sign};

const SIGNER: Signer<'_> = Signer { name: "Ada", passphrase: "ada has four good words" };

fn torn(folder: &Path) {
    support::write_journal(folder, &[(2.0, "left fore zone two bravo transverse"), (6.0, "save")]);
    let path = folder.join(JOURNAL_FILE);
    let whole = std::fs::read(&path).unwrap();
    std::fs::write(&path, &whole[..whole.len() - 40]).unwrap();
    std::fs::remove_file(folder.join("exam.head")).unwrap();
    drop(Journal::open(folder).unwrap());
}

#[test]
fn a_torn_line_is_settled_by_a_person_and_then_the_exam_can_be_signed() {
    let (folder, settings) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    torn(folder.path());
    let mut people = People::read(settings.path()).unwrap();
    people.add(SIGNER.name, Role::Vet, "V-1", SIGNER.passphrase).unwrap();
    let exam = ExamFolder::at(folder.path());
    let refused = sign(&exam, &BUILT_IN.1, &people, SIGNER, Seen::default()).unwrap_err();
    assert!(matches!(refused, SignError::Torn), "{refused}");
    let record = exam.record(&BUILT_IN.1).unwrap();
    let found = record.findings.iter().find(|finding| finding.rule == "journal-torn").expect("it is found");
    let change = Change::Looked {
        rule: found.rule.clone(),
        finding: found.message.clone(),
        seq: found.call_seq,
        still: found.frame.clone(),
        place: found.place.clone(),
    };
    let review = Review { by: "Ada".to_owned(), why: "heard it".to_owned(), was: String::new(), change };
    let at = support::header().started_at;
    let mut journal = Journal::open(folder.path()).unwrap();
    journal.append(at, Sample::FIRST, &Event::Review(Box::new(review))).unwrap();
    drop(journal);
    sign(&exam, &BUILT_IN.1, &people, SIGNER, Seen { no_impression: true, ..Seen::default() }).unwrap();
    assert!(exam.exam(&BUILT_IN.1).unwrap().is_signed);
}
