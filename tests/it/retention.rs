//! What is kept no longer goes, its hashes stay, and the journal verifies; all that is kept of a horse can be copied.
use crate::support::desk::Served;
use crate::support::program::zonecall;
use crate::support::still;

use std::path::Path;
use std::process::Output;

use sha2::{Digest as _, Sha256};
use zonecall::clock::Sample;
use zonecall::exam::event::{CloseReason, Event};
use zonecall::exam::journal::{self, Journal};

/// A closed exam with sound and a still.
fn exam() -> tempfile::TempDir {
    let folder = still::folder();
    let mut journal = Journal::open(folder.path()).unwrap();
    let closed = Event::Closed { reason: CloseReason::EndOfExam, samples: 192_000 };
    journal.append("2026-05-04T08:01:00Z".parse().unwrap(), Sample(192_000), &closed).unwrap();
    folder
}

fn text(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// What `journal --verify` says of files that were changed.
fn verify(folder: &Path) -> (Option<i32>, String) {
    let output = zonecall(&["journal", &text(folder), "--verify"]);
    let words = said(&output).lines().filter(|line| line.contains("has changed")).collect();
    (output.status.code(), words)
}

fn sha256(path: &Path) -> String {
    Sha256::digest(std::fs::read(path).unwrap()).iter().map(|byte| format!("{byte:02x}")).collect()
}

#[test]
fn sound_goes_after_the_period_and_not_before_and_nothing_is_missed() {
    let folder = exam();
    let (sound, hash) = (folder.path().join("audio/0001.wav"), sha256(&folder.path().join("audio/0001.wav")));
    // The sound of this exam is shorter than what is said in it; once it is deleted on purpose, that is no matter.
    let check = || {
        let words = said(&zonecall(&["check", &text(folder.path())]));
        words.lines().filter(|line| !line.contains("sound-cut-short")).map(str::to_owned).collect::<Vec<_>>()
    };
    let before = check();
    let verified = verify(folder.path());
    let keep =
        |days: &str| zonecall(&["retention", "sound", "--days", days, "--drafts-too", &text(folder.path())]);
    let draft = zonecall(&["retention", "sound", "--days", "1", &text(folder.path())]);
    assert!(said(&draft).contains("it is a draft with") && sound.exists(), "{}", said(&draft));
    let young = keep("36500");
    assert!(said(&young).contains("not old enough") && sound.exists(), "{}", said(&young));
    let old = keep("1");
    assert!(said(&old).contains("1 recording deleted") && !sound.exists(), "{}", said(&old));
    let lines = journal::read(folder.path()).unwrap();
    assert_eq!(lines.damage, []);
    assert_eq!((lines.discarded[0].file.as_str(), &lines.discarded[0].sha256), ("audio/0001.wav", &hash));
    assert_eq!(verify(folder.path()), verified);
    // Nothing new to look at, and nobody is sent to listen to what is gone.
    let rules = |lines: &[String]| {
        lines.iter().map(|line| line.split(": ").next().unwrap_or_default().to_owned()).collect::<Vec<_>>()
    };
    let after = check();
    assert_eq!(rules(&after), rules(&before));
    assert!(before.iter().any(|line| line.contains("listen")), "{before:#?}");
    assert!(!after.iter().any(|line| line.contains("listen")), "{after:#?}");
    assert!(
        after.iter().any(|line| line.contains("; its sound was deleted, so go by the stills")),
        "{after:#?}"
    );
    assert!(said(&keep("1")).contains("0 recordings deleted"), "a second time there is nothing to do");
    // The desk shows an exam without its sound.
    assert!(Served::start(folder.path(), 0).exam().is_object());
}

#[test]
fn sound_that_is_missing_without_a_line_is_still_missed() {
    let folder = exam();
    std::fs::remove_file(folder.path().join("audio/0001.wav")).unwrap();
    assert!(said(&zonecall(&["check", &text(folder.path())])).contains("audio/0001.wav"));
}

#[test]
fn on_request_all_files_go_and_the_journal_verifies() {
    let folder = exam();
    assert!(zonecall(&["report", &text(folder.path())]).status.success());
    let done = zonecall(&[
        "retention",
        "delete",
        "--why",
        "requested by the owner",
        "--by",
        "Ada",
        "--yes",
        &text(folder.path()),
    ]);
    assert!(said(&done).contains("1 recording, 1 still and 1 file in `out` deleted"), "{}", said(&done));
    for gone in ["audio/0001.wav", "still.png", "out"] {
        assert!(!folder.path().join(gone).exists(), "{gone}");
    }
    let verified = zonecall(&["journal", &text(folder.path()), "--verify"]);
    assert_eq!(verified.status.code(), Some(0), "{}", said(&verified));
    assert!(!said(&verified).contains("cannot be compared"), "a line tells why: {}", said(&verified));
    let lines = said(&zonecall(&["journal", &text(folder.path())]));
    assert!(lines.contains("deleted by Ada: requested by the owner"), "{lines}");
}

#[test]
fn nothing_goes_for_good_before_somebody_has_seen_what_and_given_a_name() {
    let folder = exam();
    let path = text(folder.path());
    let bytes = std::fs::read(folder.path().join("exam.jsonl")).unwrap();
    for task in ["delete", "erase"] {
        let nameless = zonecall(&["retention", task, "--why", "asked for", "--yes", &path]);
        assert!(nameless.status.code() == Some(2) && said(&nameless).contains("--by"), "{}", said(&nameless));
        let shown = zonecall(&["retention", task, "--why", "asked for", "--by", "Ada", &path]);
        assert_eq!(shown.status.code(), Some(1), "{}", said(&shown));
        let words = said(&shown);
        assert!(words.contains("Juniper, 4 May 2026, a draft: 1 recording, 1 still"), "{words}");
        assert!(words.contains("add --yes"), "{words}");
        assert_eq!(std::fs::read(folder.path().join("exam.jsonl")).unwrap(), bytes);
        assert!(folder.path().join("audio/0001.wav").exists() && folder.path().join("still.png").exists());
    }
}

#[test]
fn stills_outside_the_folder_stay_and_are_named_when_the_exam_s_files_are_deleted() {
    let (folder, elsewhere) = (exam(), tempfile::tempdir().unwrap());
    let stick = elsewhere.path().join("IM0001.png");
    std::fs::copy(folder.path().join("still.png"), &stick).unwrap();
    let mut frame = still::frame("2.25.7");
    frame.file = text(&stick);
    let mut journal = Journal::open(folder.path()).unwrap();
    journal
        .append("2026-05-04T08:02:00Z".parse().unwrap(), Sample(192_000), &Event::Frame(Box::new(frame)))
        .unwrap();
    drop(journal);
    let done = zonecall(&["retention", "delete", "--why", "x", "--by", "Ada", "--yes", &text(folder.path())]);
    assert!(said(&done).contains("1 recording, 0 stills"), "{}", said(&done));
    assert!(said(&done).contains("STILL THERE: ") && said(&done).contains("IM0001.png"), "{}", said(&done));
    assert!(stick.exists());
}

#[test]
fn an_exam_that_was_never_closed_loses_nothing() {
    let folder = still::folder();
    let refused =
        zonecall(&["retention", "delete", "--why", "x", "--by", "Ada", "--yes", &text(folder.path())]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(said(&refused).contains("the exam was never closed"), "{}", said(&refused));
    assert!(folder.path().join("audio/0001.wav").exists());
}

#[test]
fn all_that_is_kept_of_a_horse_is_copied_with_its_hashes_and_verifies_there() {
    let (folder, home) = (exam(), tempfile::tempdir().unwrap());
    let into = home.path().join("juniper");
    let copy = |horse: &str| {
        zonecall(&["retention", "copy", "--horse", horse, "--into", &text(&into), &text(folder.path())])
    };
    assert_eq!(copy("Bramble").status.code(), Some(1));
    let done = copy(" juniper");
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    let mut list = csv::Reader::from_path(into.join("files.csv")).unwrap();
    let rows: Vec<csv::StringRecord> = list.records().map(Result::unwrap).collect();
    for wanted in ["exam.jsonl", "audio/0001.wav", "still.png"] {
        let row = rows.iter().find(|row| row[0].ends_with(wanted)).expect("it is listed");
        assert_eq!(sha256(&into.join(&row[0])), row[2]);
    }
    let copied = into.join(rows[0][0].split('/').next().unwrap());
    assert_eq!(verify(&copied), verify(folder.path()));
    assert_eq!(copy("juniper").status.code(), Some(2), "nothing is written over");
}

#[test]
fn no_copy_goes_over_another_or_leaves_its_folder_whatever_the_exams_are_called() {
    let home = tempfile::tempdir().unwrap();
    let at = |name: &str| home.path().join(name);
    for (name, id) in [("a", "one"), ("b", "one"), ("c", "../../stolen"), ("d", "..")] {
        let mut header = crate::support::header();
        (header.id, header.horse.name) = (id.to_owned(), Some("Juniper".to_owned()));
        Journal::create(&at(name))
            .unwrap()
            .append("2026-05-04T08:00:00Z".parse().unwrap(), Sample::FIRST, &Event::Exam(Box::new(header)))
            .unwrap();
        std::fs::write(at(name).join("which.txt"), name).unwrap();
    }
    let into = home.path().join("copies/juniper");
    let exams = ["a", "b", "c", "d"].map(|name| text(&at(name)));
    let args = ["retention", "copy", "--horse", "juniper", "--into", &text(&into)].map(str::to_owned);
    let args: Vec<&str> = args.iter().chain(&exams).map(String::as_str).collect();
    let done = zonecall(&args);
    assert!(done.status.success(), "{}", said(&done));
    let mut list = csv::Reader::from_path(into.join("files.csv")).unwrap();
    let rows: Vec<csv::StringRecord> = list.records().map(Result::unwrap).collect();
    let kept = rows.iter().filter(|row| row[0].ends_with("which.txt"));
    let kept: Vec<String> = kept.map(|row| std::fs::read_to_string(into.join(&row[0])).unwrap()).collect();
    assert_eq!(kept, ["a", "b", "c", "d"], "each is there, under a name of its own");
    let beside: Vec<_> =
        std::fs::read_dir(at("copies")).unwrap().map(|one| one.unwrap().file_name()).collect();
    assert_eq!(beside, ["juniper"]);
    assert!(!at("stolen").exists());
}

#[test]
fn an_exam_that_is_erased_leaves_one_line_by_which_a_copy_is_recognised() {
    let folder = exam();
    let (copies, path) = (tempfile::tempdir().unwrap(), text(folder.path()));
    assert!(zonecall(&["report", &path]).status.success());
    let copy = copies.path().join("copy");
    std::fs::create_dir(&copy).unwrap();
    for name in ["exam.jsonl", "exam.head"] {
        std::fs::copy(folder.path().join(name), copy.join(name)).unwrap();
    }
    std::fs::write(folder.path().join("mine.txt"), "not the program's").unwrap();
    std::fs::write(folder.path().join(".exam.jsonl.new"), "left by a crash").unwrap();
    let before = journal::read(&copy).unwrap();
    let erase = || {
        zonecall(&["retention", "erase", "--why", "requested by the owner", "--by", "Ada", "--yes", &path])
    };
    let done = erase();
    assert!(done.status.success() && said(&done).contains(": erased\n"), "{}", said(&done));
    assert_eq!(said(&done).matches("STILL THERE").count(), 1, "{}", said(&done));
    assert!(said(&done).contains("STILL THERE: ") && said(&done).contains("mine.txt"), "{}", said(&done));
    let mut names: Vec<_> =
        std::fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    names.sort();
    assert_eq!(names, ["exam.head", "exam.jsonl", "mine.txt"]);
    // Nothing of what was said is left, nor whose exam it was: sought in the bytes of the file itself.
    let left = std::fs::read_to_string(folder.path().join("exam.jsonl")).unwrap();
    assert_eq!(left.lines().count(), 1);
    assert!(!left.to_lowercase().contains("juniper") && !left.contains("zone"), "{left}");
    let lines = journal::read(folder.path()).unwrap();
    assert_eq!(lines.damage, []);
    let (line, erased) = lines.erased().unwrap();
    let n_lines = before.events.len() as u64;
    assert_eq!((line.seq.0, erased.lines, line.prev.as_str()), (n_lines + 1, n_lines, before.last_hash()));
    assert_eq!((erased.why.as_str(), erased.by.as_deref()), ("requested by the owner", Some("Ada")));
    let verified = zonecall(&["journal", &path, "--verify"]);
    let told = said(&verified);
    assert!(verified.status.success() && told.contains(&line.prev) && told.contains("erased on"), "{told}");
    // Every other command says why there is nothing.
    for command in [&["check", &path][..], &["report", &path], &["export", &path, "--as", "json"]] {
        let refused = zonecall(command);
        assert_eq!(refused.status.code(), Some(2));
        assert!(said(&refused).contains("requested by the owner"), "{}", said(&refused));
    }
    for again in [erase(), zonecall(&["retention", "sound", "--days", "1", &path])] {
        assert!(again.status.success() && said(&again).contains("erased before"), "{}", said(&again));
    }
}

#[test]
fn the_line_that_is_left_ends_the_chain_of_the_lines_that_were_erased_and_is_itself_protected() {
    let folder = exam();
    let (path, file) = (text(folder.path()), folder.path().join("exam.jsonl"));
    let lags = std::fs::read(folder.path().join("exam.head")).unwrap();
    zonecall(&["retention", "delete", "--why", "asked for", "--by", "Ada", "--yes", &path]);
    let before = journal::read(folder.path()).unwrap();
    let head = std::fs::read(folder.path().join("exam.head")).unwrap();
    assert!(
        zonecall(&["retention", "erase", "--why", "asked for", "--by", "Ada", "--yes", &path])
            .status
            .success()
    );
    let lines = journal::read(folder.path()).unwrap();
    assert_eq!(
        (lines.events[0].prev.as_str(), lines.erased().unwrap().1.lines),
        (before.last_hash(), before.events.len() as u64)
    );
    // A crash between the journal and its head.
    let new_head = std::fs::read(folder.path().join("exam.head")).unwrap();
    for head in [head, lags] {
        std::fs::write(folder.path().join("exam.head"), head).unwrap();
        assert_eq!(journal::read(folder.path()).unwrap().damage, []);
    }
    std::fs::write(folder.path().join("exam.head"), new_head).unwrap();
    let text = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, text.replace("asked for", "never mind")).unwrap();
    assert_eq!(zonecall(&["journal", &path, "--verify"]).status.code(), Some(1), "it was changed");
    // Anywhere but in the first line it is no end of an exam.
    std::fs::write(&file, format!("{text}{text}")).unwrap();
    assert_ne!(journal::read(folder.path()).unwrap().damage, []);
}

#[test]
fn nothing_is_erased_of_an_exam_that_was_never_closed_or_by_a_link() {
    let folder = still::folder();
    let erase = |folder: &Path| {
        zonecall(&["retention", "erase", "--why", "x", "--by", "Ada", "--yes", &text(folder)])
    };
    let bytes = std::fs::read(folder.path().join("exam.jsonl")).unwrap();
    let refused = erase(folder.path());
    assert_eq!(refused.status.code(), Some(2));
    assert!(said(&refused).contains("the exam was never closed"), "{}", said(&refused));
    assert_eq!(std::fs::read(folder.path().join("exam.jsonl")).unwrap(), bytes);
    // A folder of the program that is a link leads elsewhere, to what is not this exam's.
    let (folder, elsewhere) = (exam(), tempfile::tempdir().unwrap());
    std::fs::write(elsewhere.path().join("another.html"), "").unwrap();
    std::os::unix::fs::symlink(elsewhere.path(), folder.path().join("signed")).unwrap();
    let done = erase(folder.path());
    assert!(said(&done).contains("STILL THERE: ") && said(&done).contains("signed"), "{}", said(&done));
    assert!(elsewhere.path().join("another.html").exists());
    // Nor is a link taken for what it leads to.
    let (real, linked) = (exam(), tempfile::tempdir().unwrap());
    let journal = real.path().join("exam.jsonl");
    std::os::unix::fs::symlink(&journal, linked.path().join("exam.jsonl")).unwrap();
    let refused = erase(linked.path());
    assert_eq!(refused.status.code(), Some(2));
    assert!(said(&refused).contains("is a link"), "{}", said(&refused));
    assert!(std::fs::read_to_string(&journal).unwrap().lines().count() > 1);
}

/// What cannot be copied is named, and does not keep the rest from being copied.
#[test]
fn a_copy_names_what_it_lacks_and_goes_on() {
    let (home, elsewhere) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let (first, second) = (exam(), exam());
    let stick = elsewhere.path().join("IM0001.png");
    let bytes = std::fs::read(first.path().join("still.png")).unwrap();
    std::fs::write(&stick, &bytes).unwrap();
    let mut frame = still::frame("2.25.7");
    (frame.file, frame.sha256) = (text(&stick), sha256(&stick));
    let mut journal = Journal::open(first.path()).unwrap();
    let at = "2026-05-04T08:02:00Z".parse().unwrap();
    journal.append(at, Sample(192_000), &Event::Frame(Box::new(frame))).unwrap();
    drop(journal);
    let torn = elsewhere.path().join("torn");
    std::fs::create_dir(&torn).unwrap();
    std::fs::write(torn.join("exam.jsonl"), "no journal\n").unwrap();
    let archive = text(&elsewhere.path().join("none.sqlite"));
    drop(zonecall::archive::Archive::open(&archive).unwrap());
    let copied = |into: &str| {
        let into = home.path().join(into);
        let to = text(&into);
        let exams = [first.path(), &torn, second.path()].map(text);
        let mut args = vec!["retention", "copy", "--horse", "Juniper", "--archive", &archive, "--into", &to];
        args.extend(exams.iter().map(String::as_str));
        let done = zonecall(&args);
        let missing = std::fs::read_to_string(into.join("missing.txt")).unwrap_or_default();
        (done.status.code(), said(&done), missing, into)
    };
    let (code, words, missing, into) = copied("torn");
    assert_eq!(code, Some(1), "{words}");
    assert!(words.contains("2 exams") && missing.contains("torn"), "{words}");
    assert!(into.join("files.csv").exists());
    for (harm, told) in [(None, "cannot be read"), (Some("other"), "is not the file that was paired")] {
        match harm {
            None => std::fs::remove_file(&stick).unwrap(),
            Some(other) => std::fs::write(&stick, other).unwrap(),
        }
        let (code, words, missing, _) = copied(told);
        assert_eq!(code, Some(1), "{words}");
        assert!(words.contains("NOT COPIED") && words.contains(told), "{words}");
        assert!(missing.contains("2.25.7") && missing.contains("IM0001.png"), "{missing}");
    }
}

/// An archive keeps every version that was filed, also of exams whose folder is gone.
#[test]
fn what_the_archive_keeps_of_a_horse_belongs_to_the_copy() {
    let (folder, home) = (exam(), tempfile::tempdir().unwrap());
    let archive = text(&home.path().join("exams.sqlite"));
    for _ in 0..2 {
        let filed = zonecall(&["file", &text(folder.path()), "--archive", &archive]);
        assert!(filed.status.success(), "{}", said(&filed));
        let mut journal = Journal::open(folder.path()).unwrap();
        let resumed = Event::Moved { from: "exams/before".to_owned() };
        journal.append("2026-05-04T08:03:00Z".parse().unwrap(), Sample(192_000), &resumed).unwrap();
    }
    let nothing = tempfile::tempdir().unwrap();
    let into = home.path().join("juniper");
    let copy = |horse: &str| {
        let exams = text(&nothing.path().join("gone"));
        zonecall(&[
            "retention",
            "copy",
            "--horse",
            horse,
            "--archive",
            &archive,
            "--into",
            &text(&into),
            &exams,
        ])
    };
    let other = copy("Bramble");
    assert!(other.status.code() == Some(1) && !into.exists(), "{}", said(&other));
    let done = copy("juniper");
    assert!(said(&done).contains("2 records from the archive"), "{}", said(&done));
    let mut list = csv::Reader::from_path(into.join("files.csv")).unwrap();
    let rows: Vec<csv::StringRecord> = list.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 2, "{rows:?}");
    for row in rows {
        assert!(row[0].starts_with("archive/") && sha256(&into.join(&row[0])) == row[2], "{row:?}");
        assert!(std::fs::read_to_string(into.join(&row[0])).unwrap().contains("zonecall.record/1"));
    }
}
