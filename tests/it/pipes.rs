//! Pipes under the names of files: nothing that looks through a folder waits for one.
#![cfg(unix)]

use crate::support;

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Long for reading an exam of a minute, and no time at all for a pipe.
const PATIENCE: Duration = Duration::from_secs(60);

fn pipe(path: &Path) {
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    assert!(Command::new("mkfifo").arg(path).status().unwrap().success());
}

/// An exam beside which another one has a pipe for its journal.
fn exam_beside_a_pipe() -> (tempfile::TempDir, std::path::PathBuf) {
    let home = tempfile::tempdir().unwrap();
    pipe(&home.path().join("other/exam.jsonl"));
    let exam = home.path().join("exam");
    support::write_journal(&exam, &[(1.0, "left fore zone two alpha transverse"), (3.0, "save")]);
    (home, exam)
}

/// Runs the program; it must come to its end.
fn ended(args: &[&str]) -> String {
    ended_with(args, &[])
}

fn ended_with(args: &[&str], set: &[(&str, &Path)]) -> String {
    let mut child = Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .args(args)
        .envs(set.iter().copied())
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let since = Instant::now();
    while child.try_wait().unwrap().is_none() {
        if since.elapsed() > PATIENCE {
            child.kill().unwrap();
            panic!("{args:?} waits for a pipe");
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    let output = child.wait_with_output().unwrap();
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

#[test]
fn a_pipe_for_the_journal_of_an_exam_beside_is_passed_over() {
    let (home, exam) = exam_beside_a_pipe();
    let stills = home.path().join("scanner");
    std::fs::create_dir(&stills).unwrap();
    pipe(&stills.join("IM0001.dcm"));
    let exam = exam.to_string_lossy();
    ended(&["pair", &exam, "--frames", &stills.to_string_lossy()]);
    ended(&["check", &exam]);
}

/// Each file of an exam's folder that is looked for by its name.
#[test]
fn pipes_in_the_exam_itself_are_told_or_passed_over() {
    for name in ["exam.jsonl", "exam.head", "audio/0001.wav", "signed/4.tsr", ".cache/listen.toml"] {
        let (_home, exam) = exam_beside_a_pipe();
        let wanted = exam.join(name);
        if wanted.exists() {
            std::fs::remove_file(&wanted).unwrap();
        }
        pipe(&wanted);
        for args in
            [vec!["check"], vec!["journal", "--verify"], vec!["report"], vec!["export", "--as", "json"]]
        {
            let mut all = vec![args[0]];
            let folder = exam.to_string_lossy();
            all.push(&folder);
            all.extend(&args[1..]);
            let said = ended(&all);
            assert!(name != "exam.jsonl" || said.contains("it is not a file"), "{all:?}: {said}");
        }
    }
}

/// What a practice has set, and the protocols that it names.
#[test]
fn pipes_among_settings_and_protocols_are_told() {
    let (home, exam) = exam_beside_a_pipe();
    let exam = exam.to_string_lossy();
    let settings = home.path().join("set/zonecall.toml");
    pipe(&settings);
    let said = ended_with(&["hear", "x.wav", "--into", "y"], &[("ZONECALL_SETTINGS", &settings)]);
    assert!(said.contains("zonecall.toml") && said.contains("it is not a file"), "{said}");
    std::fs::remove_file(&settings).unwrap();
    for name in ["people.toml", "scanners.toml", "own-words.txt"] {
        pipe(&settings.with_file_name(name));
    }
    for args in [
        vec!["people"],
        vec!["report", &exam],
        vec!["export", &exam, "--as", "teaching"],
        vec!["phrases", "--grammar", "nowhere"],
    ] {
        ended_with(&args, &[("ZONECALL_SETTINGS", &settings)]);
    }
    let said = ended_with(&["people"], &[("ZONECALL_SETTINGS", &settings)]);
    assert!(said.contains("people.toml") && said.contains("it is not a file"), "{said}");
    let protocols = home.path().join("protocols");
    std::fs::create_dir(&protocols).unwrap();
    for entry in std::fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("protocols")).unwrap() {
        let from = entry.unwrap().path();
        std::fs::copy(&from, protocols.join(from.file_name().unwrap())).unwrap();
    }
    std::fs::remove_file(protocols.join("plain.toml")).unwrap();
    pipe(&protocols.join("plain.toml"));
    let said = ended(&["check", &exam, "--protocols", &protocols.to_string_lossy()]);
    assert!(said.contains("plain.toml") && said.contains("it is not a file"), "{said}");
}
