//! An exam in several recordings: nobody knows how long the breaks between them were, unless the recordings say so.
use crate::support::program::zonecall;
use crate::support::{BUILT_IN, utterance};

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use chrono::{DateTime, TimeDelta, Utc};
use zonecall::exam::fold::{Exam, fold};
use zonecall::exam::journal;
use zonecall::speech::recording;
use zonecall::speech::utterance::Utterance;

/// Seconds of each recording.
const LONG_S: u32 = 20;

/// A recording with two loud stretches, at 4 and at 10 s.
fn recorded(path: &Path) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut sound = hound::WavWriter::create(path, spec).unwrap();
    for idx in 0..LONG_S * 16_000 {
        let is_loud = [4, 10].iter().any(|at_s| (at_s * 16_000..(at_s + 2) * 16_000).contains(&idx));
        let level = if is_loud { 6000 } else { 3 };
        sound.write_sample(if idx % 80 < 40 { level } else { -level }).unwrap();
    }
    sound.finalize().unwrap();
}

/// What `hear` makes of recordings of this length, each with a place and a save in it.
fn hear(folder: &Path, files: &[&Path], more: &[&str]) -> Output {
    let mut script: Vec<Utterance> = Vec::new();
    for idx in 0..files.len() {
        let from_s = f64::from(LONG_S) * idx as f64;
        script.push(utterance(from_s + 4.2, "left fore two alpha transverse"));
        script.push(utterance(from_s + 10.2, "save"));
    }
    let lines: Vec<String> = script.iter().map(|one| serde_json::to_string(one).unwrap()).collect();
    fs::write(folder.join("script.jsonl"), lines.join("\n")).unwrap();
    let (into, script) = (folder.join("exam"), folder.join("script.jsonl"));
    let mut args: Vec<&str> = vec!["hear"];
    args.extend(files.iter().map(|file| file.to_str().unwrap()));
    args.extend([
        "--into",
        into.to_str().unwrap(),
        "--ear",
        "scripted",
        "--script",
        script.to_str().unwrap(),
    ]);
    args.extend(more);
    zonecall(&args)
}

fn exam(folder: &Path) -> Exam {
    fold(&journal::read(&folder.join("exam")).unwrap(), &BUILT_IN.1).unwrap()
}

fn told(done: &Output) -> String {
    String::from_utf8_lossy(&done.stderr).into_owned()
}

/// The kept sound of an exam that began then: it says so.
fn kept(folder: &Path, name: &str, start: &str) -> PathBuf {
    let folder = folder.join(name);
    fs::create_dir(&folder).unwrap();
    let file = folder.join("sound.wav");
    recorded(&file);
    let done = hear(&folder, &[&file], &["--started-at", start]);
    assert!(done.status.code().is_some_and(|code| code < 2), "{}", told(&done));
    folder.join("exam/audio/0001.wav")
}

#[test]
fn what_follows_in_a_recording_without_a_time_is_a_part_of_its_own_whose_clock_must_be_confirmed() {
    let folder = tempfile::tempdir().unwrap();
    let files = ["one.wav", "two.wav"].map(|name| folder.path().join(name));
    files.iter().for_each(|file| recorded(file));
    let done = hear(folder.path(), &[&files[0], &files[1]], &["--started-at", "2026-05-04T10:00:00+02:00"]);
    let told = told(&done);
    assert!(told.contains("two.wav` does not say when it was recorded, so it is taken to follow"), "{told}");
    let exam = exam(folder.path());
    assert_eq!((exam.timeline.restarts.len(), exam.calls.len()), (1, 4));
    assert!(exam.timeline.jumps.is_empty(), "{:?}", exam.timeline.jumps);
}

#[test]
fn recordings_that_say_when_they_were_made_keep_the_break_between_them() {
    let folder = tempfile::tempdir().unwrap();
    let ten = kept(folder.path(), "ten", "2026-05-04T10:00:00+02:00");
    let eleven = kept(folder.path(), "eleven", "2026-05-04T11:00:00+02:00");
    let saves = |exam: &Exam| -> Vec<DateTime<Utc>> {
        exam.calls.iter().filter(|call| call.act.is_save()).map(|call| call.said_at).collect()
    };
    // A recorder whose clock was wrong is set right by its first recording, for the others, too.
    for more in [&[][..], &["--started-at", "2026-05-04T08:30:00+02:00"]] {
        let again = folder.path().join(format!("again {}", more.len()));
        fs::create_dir(&again).unwrap();
        let done = hear(&again, &[&ten, &eleven], more);
        assert!(!told(&done).contains("taken to follow"), "{}", told(&done));
        let exam = exam(&again);
        let saves = saves(&exam);
        assert_eq!(saves[1] - saves[0], TimeDelta::hours(1));
        assert_eq!((exam.timeline.restarts.len(), exam.timeline.jumps.len()), (1, 0));
        let sound = recording::open(&again.join("exam/audio/0002.wav")).unwrap();
        let first = recording::open(&again.join("exam/audio/0001.wav")).unwrap();
        assert_eq!(sound.started_at().unwrap() - first.started_at().unwrap(), TimeDelta::hours(1));
    }
    let done = hear(folder.path(), &[&eleven, &ten], &[]);
    assert_eq!(done.status.code(), Some(2));
    assert!(
        told(&done).contains("give the recordings in the order in which they were made"),
        "{}",
        told(&done)
    );
    assert!(!folder.path().join("exam").exists(), "nothing was begun");
}
