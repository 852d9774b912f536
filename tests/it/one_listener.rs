//! One program listens for exams in a folder; a second one would make each exam twice.
use crate::support;

use std::fs::File;
use std::process::Command;

fn listen(exams: &std::path::Path) -> (Option<i32>, String) {
    let mut command = Command::new(env!("CARGO_BIN_EXE_zonecall"));
    // No ear of this name: what comes after the look at the folder ends there.
    command.arg("listen").arg("--exams").arg(exams).args(["--ear", "neural", "--head", "/nonexistent"]);
    let done = command.env("ZONECALL_SETTINGS", "/dev/null").output().unwrap();
    (done.status.code(), String::from_utf8_lossy(&[done.stdout, done.stderr].concat()).into_owned())
}

#[test]
fn a_second_program_that_would_listen_for_exams_in_the_same_folder_is_refused_and_says_nothing_of_the_exam_that_is_heard()
 {
    let home = tempfile::tempdir().unwrap();
    let exams = home.path().join("exams");
    support::write_journal(&exams.join("now"), &[(1.0, "left fore zone one alpha transverse")]);
    let lock = File::create(exams.join(".listening")).unwrap();
    lock.lock().unwrap();
    let (code, told) = listen(&exams);
    assert_eq!(code, Some(2), "{told}");
    assert!(told.contains("another zonecall is listening for exams in `"), "{told}");
    assert!(!told.contains("interrupted"), "{told}");
    // A lock goes with the program that had it.
    drop(lock);
    let (_, told) = listen(&exams);
    assert!(!told.contains("another zonecall"), "{told}");
}
