//! Claims about signing: it holds for exactly what was signed, it is seen when anything is changed, and later work makes a draft.
use crate::support;

use ed25519_dalek::{Signer as _, SigningKey};
use zonecall::clock::Sample;
use zonecall::exam::call::Problem;
use zonecall::exam::closed_sets::ExamStatus;
use zonecall::exam::event::{Event, ExamEvent};
use zonecall::exam::fold::fold;
use zonecall::exam::journal::{self, JOURNAL_FILE, Journal};
use zonecall::exam::review::{Change, Review};
use zonecall::exam::sign::{FileHash, Signable, Signed, fault};
use zonecall::frames::pair::pair;
use zonecall::knowledge::assemble::record;
use zonecall::knowledge::record::Record;

use support::BUILT_IN;

fn key() -> SigningKey {
    SigningKey::from_bytes(&[7; 32])
}

fn signable(journal_sha256: &str) -> Signable {
    Signable {
        by: "Dr Example".to_owned(),
        licence: "V-1".to_owned(),
        at: support::header().started_at,
        journal_sha256: journal_sha256.to_owned(),
        record_sha256: "b".repeat(64),
        files: vec![FileHash { file: "audio/0001.wav".to_owned(), sha256: "d".repeat(64) }],
    }
}

/// What is wrong with the signature in a line.
fn fault_of(line: &ExamEvent) -> Option<Problem> {
    let Event::Signed(signed) = &line.event else { panic!("{line:?}") };
    fault(signed, &line.prev)
}

fn signed_folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let mut journal =
        support::write_heard(folder.path(), [support::utterance(2.0, "left fore zone two bravo transverse")]);
    let signed = Signed::new(signable(journal.last_hash()), &key());
    journal.append(support::header().started_at, Sample::FIRST, &Event::Signed(Box::new(signed))).unwrap();
    folder
}

fn record_in(folder: &std::path::Path) -> Record {
    let exam = fold(&journal::read(folder).unwrap(), &BUILT_IN.1).unwrap();
    record(&exam, &pair(&exam, &exam.frames), &BUILT_IN.1)
}

#[test]
fn a_signature_holds_for_its_journal_and_the_record_says_who_signed() {
    let folder = signed_folder();
    let lines = journal::read(folder.path()).unwrap();
    assert!(lines.damage.is_empty() && fault_of(lines.events.last().unwrap()).is_none());
    let record = record_in(folder.path());
    assert_eq!(record.exam.status, ExamStatus::Signed);
    let row = record.exam.signed.unwrap();
    assert_eq!((row.by.as_str(), row.licence.as_str()), ("Dr Example", "V-1"));
}

/// RFC 8032, section 7.1, test 1: the public key that belongs to this secret one.
#[test]
fn the_key_is_an_ed25519_key_as_published() {
    let secret: [u8; 32] = [
        0x9d, 0x61, 0xb1, 0x9d, 0xef, 0xfd, 0x5a, 0x60, 0xba, 0x84, 0x4a, 0xf4, 0x92, 0xec, 0x2c, 0xc4, 0x44,
        0x49, 0xc5, 0x69, 0x7b, 0x32, 0x69, 0x19, 0x70, 0x3b, 0xac, 0x03, 0x1c, 0xae, 0x7f, 0x60,
    ];
    let signed = Signed::new(Signable::default(), &SigningKey::from_bytes(&secret));
    assert_eq!(signed.key, "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a");
}

#[test]
fn a_change_after_signing_makes_a_draft_that_still_tells_who_signed_before() {
    let folder = signed_folder();
    let change = Change::Clock { offset_s: 1.0 };
    let review = Review { by: "Kim".to_owned(), why: String::new(), was: String::new(), change };
    let mut journal = Journal::open(folder.path()).unwrap();
    journal.append(support::header().started_at, Sample::FIRST, &Event::Review(Box::new(review))).unwrap();
    let record = record_in(folder.path());
    assert_eq!(record.exam.status, ExamStatus::Draft);
    assert_eq!(record.exam.signed.unwrap().changes_since, 1);
}

/// A value that was typed after signing is a change as much as one by hand: the draft is not the signer's.
#[test]
fn a_value_typed_after_signing_counts_as_a_change() {
    let folder = signed_folder();
    let entered = support::area("SDFT", 101.0, "mm2");
    let mut journal = Journal::open(folder.path()).unwrap();
    journal.append(support::header().started_at, Sample::FIRST, &Event::Entered(Box::new(entered))).unwrap();
    let record = record_in(folder.path());
    assert_eq!(record.exam.status, ExamStatus::Draft);
    assert_eq!(record.exam.signed.unwrap().changes_since, 1);
}

#[test]
fn a_signature_that_was_tampered_with_or_moved_is_a_fault_and_no_signature() {
    let folder = signed_folder();
    let path = folder.path().join(JOURNAL_FILE);
    let text = std::fs::read_to_string(&path).unwrap();
    for (right, wrong) in [
        ("Dr Example", "Dr Nobody"),
        ("V-1", "V-2"),
        ("bbbb", "bbbc"),
        ("dddd", "dddc"),
        ("audio/0001.wav", "audio/0002.wav"),
        ("\"licence\":\"V-1\",\"at\":\"2026", "\"licence\":\"V-1\",\"at\":\"2025"),
    ] {
        std::fs::write(&path, text.replacen(right, wrong, 1)).unwrap();
        let lines = journal::read(folder.path()).unwrap();
        assert!(fault_of(lines.events.last().unwrap()).is_some(), "{wrong}");
        let record = record_in(folder.path());
        assert_eq!((record.exam.status.as_str(), record.exam.signed.is_none()), ("draft", true), "{wrong}");
        assert!(record.findings.iter().any(|finding| finding.message.contains("signature")), "{wrong}");
    }
    // The same line after a journal that was changed before it.
    std::fs::write(&path, text.replacen("Juniper", "Nettles", 1)).unwrap();
    assert!(!journal::read(folder.path()).unwrap().damage.is_empty(), "the chain tells it");
    // The whole line put under another journal, its own hash of the line before corrected.
    let line = text.lines().last().unwrap();
    let mut value: serde_json::Value = serde_json::from_str(line).unwrap();
    value["prev"] = "c".repeat(64).into();
    let moved = journal::lines(format!("{value}\n").as_bytes());
    assert!(fault_of(&moved.events[0]).is_some());
}

#[test]
fn a_line_changed_behind_the_journal_s_back_leaves_no_record_signed() {
    let folder = signed_folder();
    let path = folder.path().join(JOURNAL_FILE);
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, text.replacen("zone two bravo", "zone two alpha", 1)).unwrap();
    let record = record_in(folder.path());
    assert_eq!(record.exam.status, ExamStatus::Draft);
    assert!(record.findings.iter().any(|finding| finding.rule == "journal-damage"), "{:?}", record.findings);
}

/// Journals that were signed before date, key and files were signed, too.
#[test]
fn a_signature_of_an_earlier_version_still_holds_and_proves_no_date() {
    let journal = "a".repeat(64);
    let parts = ["zonecall.signature/1", "Dr Example", "V-1", &journal, &"b".repeat(64)];
    let words: String = parts.iter().map(|part| format!("{}:{part}\n", part.len())).collect();
    let hex = |bytes: &[u8]| bytes.iter().map(|byte| format!("{byte:02x}")).collect::<String>();
    let line = serde_json::json!({
        "by": "Dr Example", "licence": "V-1", "journal_sha256": journal, "record_sha256": "b".repeat(64),
        "key": hex(key().verifying_key().as_bytes()), "signature": hex(&key().sign(words.as_bytes()).to_bytes()),
    });
    let signed: Signed = serde_json::from_value(line.clone()).unwrap();
    assert_eq!(fault(&signed, &journal), None);
    assert_eq!(serde_json::to_value(&signed).unwrap(), line, "written as it was read");
    let later = Signed { at: Some(support::header().started_at), ..signed.clone() };
    assert!(fault(&later, &journal).is_some(), "a date cannot be added");
    let more = Signed { files: signable(&journal).files, ..signed };
    assert!(fault(&more, &journal).is_some(), "nor can files");
    let new = Signed::new(signable(&journal), &key());
    assert_eq!(fault(&new, &journal), None);
    for less in [Signed { at: None, ..new.clone() }, Signed { files: Vec::new(), ..new.clone() }] {
        assert!(fault(&less, &journal).is_some(), "and nothing can be taken away");
    }
}
