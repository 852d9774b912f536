//! An exam in several recordings: nobody knows how long the breaks between them were, unless the recordings say so.
use crate::support::program::zonecall;
use crate::support::{BUILT_IN, utterance};

use std::fs;
use std::path::Path;

use zonecall::exam::fold::{Exam, fold};
use zonecall::exam::journal;
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

fn heard(names: &[&str]) -> (Exam, String) {
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let mut script: Vec<Utterance> = Vec::new();
    for (idx, name) in names.iter().enumerate() {
        recorded(Path::new(&file(name)));
        let from_s = f64::from(LONG_S) * idx as f64;
        script.push(utterance(from_s + 4.2, "left fore two alpha transverse"));
        script.push(utterance(from_s + 10.2, "save"));
    }
    let lines: Vec<String> = script.iter().map(|one| serde_json::to_string(one).unwrap()).collect();
    fs::write(file("script.jsonl"), lines.join("\n")).unwrap();
    let files: Vec<String> = names.iter().map(|name| file(name)).collect();
    let mut args: Vec<&str> = vec!["hear"];
    args.extend(files.iter().map(String::as_str));
    let (into, script) = (file("exam"), file("script.jsonl"));
    args.extend(["--into", &into, "--ear", "scripted", "--script", &script]);
    args.extend(["--started-at", "2026-05-04T10:00:00+02:00"]);
    let done = zonecall(&args);
    let told = String::from_utf8_lossy(&done.stderr).into_owned();
    assert!(done.status.code().is_some_and(|code| code < 2), "{told}");
    (fold(&journal::read(Path::new(&into)).unwrap(), &BUILT_IN.1).unwrap(), told)
}

#[test]
fn what_follows_in_a_recording_without_a_time_is_a_part_of_its_own_whose_clock_must_be_confirmed() {
    let (exam, told) = heard(&["one.wav", "two.wav"]);
    assert!(told.contains("two.wav` does not say when it was recorded, so it is taken to follow"), "{told}");
    assert_eq!(exam.timeline.restarts.len(), 1);
    assert_eq!(exam.calls.len(), 4);
    assert!(exam.timeline.jumps.is_empty(), "{:?}", exam.timeline.jumps);
    let (exam, told) = heard(&["one.wav"]);
    assert!(exam.timeline.restarts.is_empty() && !told.contains("taken to follow"), "{told}");
}
