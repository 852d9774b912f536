//! What is done to closed exams between exams: one after the other, and what was broken off is begun again.
use std::path::Path;
use std::time::{Duration, Instant};

use zonecall::session::background_jobs::{BackgroundJob, BackgroundJobs, JobLines};
use zonecall::session::notice::Notice;

fn shell(script: &str) -> BackgroundJob {
    let told = JobLines {
        done: |folder| format!("`{folder}` is done"),
        failed: |folder, why| format!("`{folder}` is not done: {why}"),
    };
    BackgroundJob::new("/bin/sh".into(), vec!["-c".into(), script.into()], Vec::new(), told)
}

/// The next line, which comes within a minute, however busy the machine is.
fn told(mut go_on: impl FnMut() -> Option<(Notice, String)>) -> (Notice, String) {
    let since = Instant::now();
    loop {
        if let Some(line) = go_on() {
            return line;
        }
        assert!(since.elapsed() < Duration::from_secs(60), "nothing became of it");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn each_exam_has_its_turn_and_its_line_and_what_was_said_is_in_none() {
    let mut job = shell("echo private words; case $0 in *one) exit 1;; *) echo no disk >&2; exit 2;; esac");
    assert_eq!(job.go_on(), None, "nothing is there to do");
    job.add(Path::new("exams/one"));
    job.add(Path::new("exams/two"));
    let (notice, line) = told(|| job.go_on());
    assert!(notice == Notice::Listening && line == "`exams/one` is done", "{line}");
    let (notice, line) = told(|| job.go_on());
    assert!(notice == Notice::Fault && line == "`exams/two` is not done: no disk", "{line}");
    assert_eq!(job.go_on(), None);
}

#[test]
fn what_was_broken_off_by_an_exam_is_begun_again_first() {
    let folder = tempfile::tempdir().unwrap();
    let slow = folder.path().join("slow");
    std::fs::write(&slow, "").unwrap();
    let mut job = shell("if [ -e $0/slow ]; then exec sleep 600; fi");
    job.add(folder.path());
    job.add(Path::new("/nowhere"));
    let since = Instant::now();
    assert_eq!(job.go_on(), None, "it runs");
    assert_eq!(job.go_on(), None);
    job.break_off();
    assert!(since.elapsed() < Duration::from_secs(300), "it was not waited for");
    std::fs::remove_file(&slow).unwrap();
    let (_, line) = told(|| job.go_on());
    assert!(line.contains(&*folder.path().to_string_lossy()), "{line}");
    assert!(told(|| job.go_on()).1.contains("/nowhere"));
}

#[test]
fn what_a_program_warns_of_is_told_though_it_was_done() {
    let mut job = shell("echo zonecall: two stills are elsewhere >&2");
    job.add(Path::new("exams/one"));
    assert_eq!(told(|| job.go_on()).1, "`exams/one` is done; two stills are elsewhere");
}

#[test]
fn no_exam_is_encrypted_before_its_notes_are_written_down() {
    let folder = tempfile::tempdir().unwrap();
    // It goes on only when it is let: nothing is done before it is broken off.
    let mut notes = shell("until [ -e $0/go ]; do sleep 0.05; done; echo notes >> $0/order");
    let mut encryption = shell("echo encryption >> $0/order");
    encryption.add(folder.path());
    notes.add(folder.path());
    let mut jobs = BackgroundJobs { notes: Some(notes), encryption: Some(encryption) };
    jobs.go_on();
    jobs.break_off();
    std::fs::write(folder.path().join("go"), "").unwrap();
    told(|| jobs.go_on());
    told(|| jobs.go_on());
    assert_eq!(jobs.go_on(), None);
    assert_eq!(std::fs::read_to_string(folder.path().join("order")).unwrap(), "notes\nencryption\n");
}
