//! Whole exams as data: each folder of `tests/cases/` holds what an engine heard and what must come of it.
//!
//! In: `words.jsonl` (recorded engine output) and `stills.csv` (file, DICOM date and time).
//! Out: `paired.txt`, `journal.jsonl`, `record.json`, `findings.txt`. `UPDATE_EXPECT=1` writes them anew; read the difference.
use crate::support;
use crate::support::program;

use std::path::{Path, PathBuf};

use dicom_core::{DataElement, PrimitiveValue, VR};
use dicom_dictionary_std::tags;
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
use expect_test::expect_file;
use zonecall::clock::Sample;
use zonecall::exam::event::Event;
use zonecall::exam::journal::JOURNAL_FILE;
use zonecall::frames::folder;
use zonecall::speech::utterance::Utterance;

fn cases() -> Vec<PathBuf> {
    let home = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/cases");
    let mut found: Vec<PathBuf> =
        std::fs::read_dir(home).unwrap().map(|entry| entry.unwrap().path()).collect();
    found.retain(|path| path.is_dir());
    found.sort();
    found
}

fn heard(case: &Path) -> Vec<Utterance> {
    let text = std::fs::read_to_string(case.join("words.jsonl")).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// DICOM files without a picture, the same bytes each time.
fn write_stills(case: &Path, into: &Path) {
    std::fs::create_dir_all(into).unwrap();
    let table = std::fs::read_to_string(case.join("stills.csv")).unwrap();
    for (idx, line) in table.lines().skip(1).enumerate() {
        let (name, saved) = line.split_once(',').unwrap();
        let mut still = InMemDicomObject::new_empty();
        still.put(DataElement::new(tags::SOP_CLASS_UID, VR::UI, "1.2.840.10008.5.1.4.1.1.6.1"));
        still.put(DataElement::new(tags::SOP_INSTANCE_UID, VR::UI, format!("2.25.{}", 1000 + idx)));
        still.put(DataElement::new(tags::ROWS, VR::US, PrimitiveValue::from(480_u16)));
        still.put(DataElement::new(tags::COLUMNS, VR::US, PrimitiveValue::from(640_u16)));
        still.put(DataElement::new(tags::ACQUISITION_DATE_TIME, VR::DT, saved));
        let meta = FileMetaTableBuilder::new()
            .transfer_syntax("1.2.840.10008.1.2.1")
            .implementation_class_uid("2.25.1")
            .implementation_version_name("CASE");
        still.with_meta(meta).unwrap().write_to_file(into.join(name)).unwrap();
    }
}

fn told(args: &[&str]) -> String {
    let done = program::zonecall(args);
    assert!(done.status.code().is_some_and(|code| code < 2), "{}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8(done.stdout).unwrap()
}

fn check(case: &Path) {
    let folder = tempfile::tempdir().unwrap();
    let exam = folder.path();
    let mut journal = support::write_heard(exam, heard(case));
    write_stills(case, &exam.join("stills"));
    let header = support::header();
    let found = folder::read(&exam.join("stills"), exam, header.utc_offset_s);
    let (frames, refused) = (found.stills, found.refused);
    assert!(refused.is_empty(), "{refused:?}");
    for frame in frames {
        journal.append(header.started_at, Sample::FIRST, &Event::Frame(Box::new(frame))).unwrap();
    }
    let closed = Event::Closed { reason: "end of the recording".to_owned().into(), samples: 0 };
    journal.append(header.started_at, Sample::FIRST, &closed).unwrap();
    drop(journal);
    let name = exam.to_string_lossy();
    let paired = told(&["pair", &name, "--frames", &exam.join("stills").to_string_lossy()]);
    expect_file![case.join("paired.txt")].assert_eq(&paired.replace(&*name, "EXAM"));
    let lines = std::fs::read_to_string(exam.join(JOURNAL_FILE)).unwrap();
    expect_file![case.join("journal.jsonl")].assert_eq(&lines);
    expect_file![case.join("record.json")].assert_eq(&told(&["export", &name, "--as", "json"]));
    expect_file![case.join("findings.txt")].assert_eq(&told(&["check", &name]));
}

#[test]
fn every_case_gives_the_journal_the_record_and_the_findings_that_stand_beside_it() {
    let cases = cases();
    assert!(cases.len() >= 4, "only {} cases were found", cases.len());
    for case in cases {
        println!("{}", case.display());
        check(&case);
    }
}
