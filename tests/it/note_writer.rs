//! Free notes are written down between exams, one exam after the other, and what was broken off is begun again.
use std::path::Path;
use std::time::{Duration, Instant};

use zonecall::session::note_writer::NoteWriter;
use zonecall::session::notice::Notice;

fn shell(script: &str) -> NoteWriter {
    NoteWriter::new("/bin/sh".into(), vec!["-c".into(), script.into()], Vec::new())
}

/// The next line, which comes within ten seconds.
fn told(writer: &mut NoteWriter) -> (Notice, String) {
    let since = Instant::now();
    loop {
        if let Some(line) = writer.go_on() {
            return line;
        }
        assert!(since.elapsed() < Duration::from_secs(10), "nothing became of it");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[test]
fn each_exam_has_its_turn_and_its_line_and_what_was_said_is_in_none() {
    let mut writer =
        shell("echo private words; case $0 in *one) exit 1;; *) echo no disk >&2; exit 2;; esac");
    assert_eq!(writer.go_on(), None, "nothing is there to do");
    writer.add(Path::new("exams/one"));
    writer.add(Path::new("exams/two"));
    let (notice, line) = told(&mut writer);
    assert!(notice == Notice::Listening && line.contains("`exams/one` are written down as drafts"), "{line}");
    let (notice, line) = told(&mut writer);
    assert!(notice == Notice::Fault && line.contains("no disk; `zonecall notes exams/two` tries"), "{line}");
    assert!(!line.contains("private"), "{line}");
    assert_eq!(writer.go_on(), None);
}

#[test]
fn what_was_broken_off_by_an_exam_is_begun_again_first() {
    let folder = tempfile::tempdir().unwrap();
    let slow = folder.path().join("slow");
    std::fs::write(&slow, "").unwrap();
    let mut writer = shell("if [ -e $0/slow ]; then exec sleep 600; fi");
    writer.add(folder.path());
    writer.add(Path::new("/nowhere"));
    let since = Instant::now();
    assert_eq!(writer.go_on(), None, "it runs");
    assert_eq!(writer.go_on(), None);
    writer.break_off();
    assert!(since.elapsed() < Duration::from_secs(60), "it was not waited for");
    std::fs::remove_file(&slow).unwrap();
    let (_, line) = told(&mut writer);
    assert!(line.contains(&*folder.path().to_string_lossy()), "{line}");
    assert!(told(&mut writer).1.contains("/nowhere"));
}
