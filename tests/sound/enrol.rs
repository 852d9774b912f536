//! Enrolling: held-out synthetic voices read the script, what they gain is reported, kept, used, and taken back.
use crate::support::sound;
use crate::support::speech;

use std::path::Path;
use std::process::{Command, Output};

use sound::{Sound, journal};
use speech::{SECOND, room};
use zonecall::language::pack::Pack;
use zonecall::speech::recording;

/// A run of the program with settings and voices of its own.
fn run(home: &Path, args: &[&str]) -> Output {
    let mut run = Command::new(env!("CARGO_BIN_EXE_zonecall"));
    run.args(args).env("ZONECALL_SETTINGS", home.join("zonecall.toml"));
    for name in ["ZONECALL_EAR", "ZONECALL_GRAMMAR", "ZONECALL_PROTOCOLS"] {
        run.env_remove(name);
    }
    run.output().unwrap()
}

fn told(output: &Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

/// The text by a voice of flite or, where it has a dash, of espeak-ng.
fn spoken(voice: &str, text: &str, folder: &Path) -> Vec<i16> {
    let path = folder.join("said.wav");
    let mut command = if voice.contains('-') {
        let mut command = Command::new("espeak-ng");
        command.args(["-v", voice, "-w"]).arg(&path).arg(text);
        command
    } else {
        let mut command = Command::new("flite");
        command.args(["-voice", voice, "-t", text, "-o"]).arg(&path);
        command
    };
    assert!(command.status().expect("the voice; `make setup` installs it").success());
    speech::all(recording::open(&path).unwrap())
}

/// The phrases, read one after the other in a quiet room.
fn read_aloud(voice: &str, phrases: &[String], folder: &Path) -> String {
    let mut samples = room(1.0);
    for phrase in phrases {
        // The room is there while they speak, too: synthesisers end in digital silence, beside which it would be loud.
        let said = spoken(voice, phrase, folder);
        let around = room(said.len() as f64 / SECOND as f64 + 1.0);
        samples.extend(said.iter().zip(around).map(|(said, room)| said.saturating_add(room)));
        samples.extend(room(1.2));
    }
    let path = folder.join(format!("{voice}.wav"));
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SECOND as u32,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(&path, spec).unwrap();
    samples.into_iter().for_each(|sample| file.write_sample(sample).unwrap());
    file.finalize().unwrap();
    path.to_string_lossy().into_owned()
}

fn script() -> Vec<String> {
    let script = Pack::built_in().unwrap().enrol;
    script.learn.into_iter().chain(script.judge).collect()
}

/// The counts of a line `before 12 right at once, 3 asked about, ...`.
fn counts(text: &str, when: &str) -> Vec<usize> {
    let line =
        text.lines().find(|line| line.trim_start().starts_with(when)).unwrap_or_else(|| panic!("{text}"));
    line.split_whitespace().filter_map(|word| word.parse().ok()).collect()
}

/// Whether the voice is better by what is reported, which must be whether it is kept.
fn kept_where_better(text: &str) -> bool {
    let (before, after) = (counts(text, "before"), counts(text, "after"));
    let no_worse = after[3] <= before[3] && after[2] <= before[2];
    let better = no_worse && (after[0], after[1]) > (before[0], before[1]);
    assert_eq!(text.contains("Kept: "), better, "{text}");
    assert_eq!(text.contains("Not kept"), !better, "{text}");
    better
}

#[test]
fn a_voice_is_kept_only_if_it_is_better_then_used_and_can_be_taken_back() {
    let home = tempfile::tempdir().unwrap();
    let mut kept = 0;
    // Neither voice has taught or tuned the head; the second one reads English as if it were Spanish.
    for voice in ["awb", "es-419"] {
        let audio = read_aloud(voice, &script(), home.path());
        let done = run(home.path(), &["enrol", "--person", voice, "--audio", &audio]);
        let text = told(&done);
        assert!(done.status.success(), "{text}");
        let (before, after) = (counts(&text, "before"), counts(&text, "after"));
        println!("{voice}: {before:?} {after:?}");
        assert_eq!(before.iter().sum::<usize>(), 16, "{text}");
        assert_eq!(after.iter().sum::<usize>(), 16, "{text}");
        let better = kept_where_better(&text);
        let exam = home.path().join(format!("exam-{voice}"));
        let into = exam.to_string_lossy().into_owned();
        let heard =
            run(home.path(), &["hear", &audio, "--into", &into, "--ear", "neural", "--person", voice]);
        assert!(heard.status.code() != Some(2), "{}", told(&heard));
        let model = journal(&exam)[0]["body"]["engine"]["model"].as_str().unwrap().to_owned();
        assert_eq!(model.ends_with(&format!("enrolled by {voice}")), better, "{model}");
        let shown = told(&run(home.path(), &["journal", &into]));
        assert_eq!(
            shown.lines().next().unwrap().contains(&format!("enrolled by {voice}; spoken by {voice}")),
            better
        );
        if better {
            kept += 1;
            let other = format!("{into}-other");
            let args =
                ["hear", &audio, "--into", &other, "--ear", "neural", "--person", &voice.to_uppercase()];
            let unlike = told(&run(home.path(), &args));
            assert!(unlike.contains(&format!("`{voice}` has: if that is who")), "{unlike}");
            let undone = run(home.path(), &["enrol", "--person", voice, "--undo"]);
            assert!(
                undone.status.success() && told(&undone).contains("heard without adaptation again"),
                "{}",
                told(&undone)
            );
        }
        let again = run(home.path(), &["enrol", "--person", voice, "--undo"]);
        assert!(
            again.status.code() == Some(2) && told(&again).contains("nobody has enrolled"),
            "{}",
            told(&again)
        );
    }
    assert!(kept > 0, "not one voice was kept: the rest of this test has shown nothing");
}

#[test]
fn a_script_read_in_another_order_is_told_phrase_by_phrase() {
    let home = tempfile::tempdir().unwrap();
    let mut phrases = script();
    phrases.rotate_left(1);
    let audio = read_aloud("slt", &phrases, home.path());
    let done = run(home.path(), &["enrol", "--person", "Ada", "--audio", &audio]);
    let text = told(&done);
    assert!(done.status.success() && text.contains("Not kept"), "{text}");
    let first = format!("asked for `{}`, heard `{}`", script()[0], script()[1]);
    assert!(text.contains(&first) && text.contains("in the order of `zonecall enrol --script`"), "{text}");
}

#[test]
fn a_recording_of_something_else_and_a_head_that_is_not_there_are_refused_with_the_remedy() {
    let home = tempfile::tempdir().unwrap();
    let audio = read_aloud("awb", &script()[..3], home.path());
    let refused = run(home.path(), &["enrol", "--person", "Ada", "--audio", &audio]);
    let text = told(&refused);
    assert!(
        refused.status.code() == Some(2) && text.contains("3 utterances") && text.contains("--script"),
        "{text}"
    );
    let nobody = run(home.path(), &["enrol", "--audio", &audio]);
    assert!(nobody.status.code() == Some(2) && told(&nobody).contains("--person"), "{}", told(&nobody));
    let nothing = run(home.path(), &["enrol", "--person", "Ada", "--head", "/nowhere"]);
    assert!(
        nothing.status.code() == Some(2) && told(&nothing).contains("zonecall doctor"),
        "{}",
        told(&nothing)
    );
    let listed = run(home.path(), &["enrol", "--script"]);
    assert_eq!(String::from_utf8_lossy(&listed.stdout).lines().collect::<Vec<_>>(), script());
}

#[test]
fn the_phrases_are_read_into_the_microphone_as_they_are_asked_for() {
    use std::io::{BufRead as _, BufReader};
    let sound = Sound::start();
    let mut command = sound.command(env!("CARGO_BIN_EXE_zonecall"), &["enrol", "--person", "Ada"]);
    let home = sound.path().join("zonecall.toml");
    let mut child =
        command.env("ZONECALL_SETTINGS", home).stdout(std::process::Stdio::piped()).spawn().unwrap();
    let mut lines = Vec::new();
    for line in BufReader::new(child.stdout.take().unwrap()).lines() {
        let line = line.unwrap();
        if let Some(phrase) = line.strip_prefix("Read:  ") {
            sound.say(phrase.split("  ").next().unwrap());
        }
        lines.push(line);
    }
    let text = lines.join("\n");
    assert!(child.wait().unwrap().success(), "{text}");
    assert!(counts(&text, "before").iter().sum::<usize>() >= 12, "{text}");
    kept_where_better(&text);
}
