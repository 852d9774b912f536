//! Beginnings that no exam can have: each is refused before anything is written, and what is written can be read again.
use crate::support::program;
use crate::support::{self, BUILT_IN};

use std::path::Path;
use std::process::Command;
use std::time::{Duration, SystemTime};

use chrono::{DateTime, TimeDelta, Utc};
use zonecall::clock::Anchor;
use zonecall::exam::event::Event;
use zonecall::exam::journal::{self, Journal};
use zonecall::exam_folder::ExamFolder;
use zonecall::session::exam_session::Began;

/// Hears the recording that `program::hear` has made in this folder; gives the exit code, and what was said.
fn hear(folder: &Path, into: &str, more: &[&str]) -> (Option<i32>, String) {
    let file = |name: &str| folder.join(name).to_string_lossy().into_owned();
    let done = Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .args(["hear", &file("sound.wav"), "--into", &file(into)])
        .args(["--ear", "scripted", "--script", &file("script.jsonl")])
        .args(more)
        .env("ZONECALL_SETTINGS", file("zonecall.toml"))
        .output()
        .unwrap();
    (done.status.code(), String::from_utf8_lossy(&done.stderr).into_owned())
}

fn recorded() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    assert!(program::hear(folder.path(), "left fore", &[]).status.success());
    folder
}

#[test]
fn a_beginning_that_no_exam_can_have_is_refused_and_writes_nothing() {
    let folder = recorded();
    for wrong in [
        "1969-12-31T23:59:59Z",
        "0001-01-01T00:00:00Z",
        "2199-01-01T00:00:00Z",
        "9999-01-01T00:00:00Z",
        "+262142-12-31T23:59:59Z",
        "-262143-01-01T00:00:00Z",
    ] {
        let (code, said) = hear(folder.path(), "again", &[&format!("--started-at={wrong}")]);
        assert_eq!(code, Some(2), "{wrong}: {said}");
        assert!(said.contains("in the years 1970 to 2198"), "{wrong}: {said}");
        assert!(!folder.path().join("again").exists(), "{wrong}");
    }
    let (code, said) = hear(folder.path(), "again", &["--started-at", "2026-05-04T10:00:00+23:00"]);
    assert!(code == Some(2) && said.contains("at most 18 hours"), "{said}");
    for (idx, right) in ["1970-01-01T00:00:00Z", "2198-12-31T23:59:59Z"].into_iter().enumerate() {
        let into = format!("right{idx}");
        let (code, said) = hear(folder.path(), &into, &["--started-at", right]);
        assert_eq!(code, Some(0), "{right}: {said}");
        let exam = ExamFolder::at(folder.path().join(into)).exam(&BUILT_IN.1).unwrap();
        assert_eq!(exam.damage, [], "{right}");
    }
}

#[test]
fn a_file_date_that_no_recording_can_have_is_not_taken() {
    let folder = recorded();
    let sound = std::fs::File::options().write(true).open(folder.path().join("sound.wav")).unwrap();
    for since_s in [0, 1, 7_300_000_000] {
        sound.set_modified(SystemTime::UNIX_EPOCH + Duration::from_secs(since_s)).unwrap();
        let (code, said) = hear(folder.path(), "again", &[]);
        assert_eq!(code, Some(2), "{since_s}: {said}");
        assert!(said.contains("its file date is impossible; give its start, as in --started-at"), "{said}");
        assert!(!folder.path().join("again").exists(), "{since_s}");
    }
    sound.set_modified("2026-05-04T08:00:00Z".parse::<DateTime<Utc>>().unwrap().into()).unwrap();
    let (code, said) = hear(folder.path(), "again", &[]);
    assert_eq!(code, Some(0), "{said}");
    // What a recorder whose clock was never set wrote into its file is as impossible.
    let kept = folder.path().join("again/audio/0001.wav");
    let bytes = std::fs::read(&kept).unwrap();
    let at = bytes.windows(10).position(|part| part == b"2026-05-04").unwrap();
    let dated: Vec<u8> = [&bytes[..at], b"1970-01-01", &bytes[at + 10..]].concat();
    let dated = String::from_utf8_lossy(&dated[..at + 40]).contains("1970-01-01").then_some(dated).unwrap();
    // The date stands there twice: once in words for people.
    let second = dated.windows(10).position(|part| part == b"2026-05-04");
    let mut dated = dated;
    if let Some(second) = second {
        dated[second..second + 10].copy_from_slice(b"1970-01-01");
    }
    let copy = folder.path().join("sound.wav");
    std::fs::write(&copy, dated).unwrap();
    let sound = std::fs::File::options().write(true).open(&copy).unwrap();
    sound.set_modified("2026-05-04T08:00:00Z".parse::<DateTime<Utc>>().unwrap().into()).unwrap();
    let (code, said) = hear(folder.path(), "once-more", &[]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("says that it was recorded on 1970-01-01, which is impossible"), "{said}");
    let exam = ExamFolder::at(folder.path().join("once-more")).exam(&BUILT_IN.1).unwrap();
    assert_eq!(exam.header.started_at.format("%Y").to_string(), "2026");
}

/// A box without a battery for its clock: the exam is kept and can be read, whatever its clock says, and so can its signature.
#[test]
fn an_exam_that_began_by_a_clock_nobody_had_set_is_read_again() {
    let folder = tempfile::tempdir().unwrap();
    let began = Began::live(DateTime::UNIX_EPOCH - TimeDelta::milliseconds(300));
    let header =
        zonecall::exam::event::Header { started_at: began.at, wall: began.wall, ..support::header() };
    support::write_heard_by(folder.path(), header, [support::utterance(2.0, "left fore")]);
    // It gets the time from a network.
    let wall = "2026-05-04T08:00:00Z".parse().unwrap();
    let read = Anchor { wall, monotonic_ns: 60_000_000_000, sample: zonecall::clock::Sample(960_000) };
    let mut journal = Journal::open(folder.path()).unwrap();
    journal.append(wall, read.sample, &Event::Anchor(read.clone())).unwrap();
    drop(journal);
    let lines = journal::read(folder.path()).unwrap();
    assert_eq!(lines.damage, []);
    let record = ExamFolder::at(folder.path()).record(&BUILT_IN.1).unwrap();
    let found = |rule: &str| record.findings.iter().any(|finding| finding.rule == rule);
    assert!(found("date-unknown") && found("clock-jumped"), "{:?}", record.findings);
    assert!(!found("journal-damage"), "{:?}", record.findings);
}
