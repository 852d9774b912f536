//! Listening to a live microphone, which is PulseAudio's null sink: the chain of `hear`, stopped, lost and resumed.
use crate::support::program;
use crate::support::sound;

use std::path::{Path, PathBuf};
use std::time::Duration;

use program::{START, demo, demo_stills, zonecall};
use sound::{Sound, calls, journal, spoken, until, until_line, until_lines};

/// The first seconds of the demo, as a file that can be played.
fn demo_piece(folder: &Path, seconds: u32) -> PathBuf {
    let into = folder.join("whole");
    let wav = folder.join("piece.wav");
    // Hearing it keeps it as WAV; the scripted ear needs no model for that.
    let script = folder.join("nothing.jsonl");
    std::fs::write(&script, "").unwrap();
    let audio = demo("fore-limbs.flac");
    let args = ["hear", &*audio.to_string_lossy(), "--into", &*into.to_string_lossy(), "--ear", "scripted"];
    let done =
        zonecall(&[&args[..], &["--script", &*script.to_string_lossy(), "--started-at", START]].concat());
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let mut reader = hound::WavReader::open(into.join("audio/0001.wav")).unwrap();
    let mut writer = hound::WavWriter::create(&wav, reader.spec()).unwrap();
    for sample in reader.samples::<i16>().take((seconds * 16_000) as usize) {
        writer.write_sample(sample.unwrap()).unwrap();
    }
    writer.finalize().unwrap();
    wav
}

fn verified(exam: &Path) {
    let verified = zonecall(&["journal", &exam.to_string_lossy(), "--verify"]);
    assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stdout));
}

/// Whether some twentieth of a second of a recording is nearly all one pitch (by Goertzel's recurrence).
fn sounds(wav: &Path, hz: f64) -> bool {
    let mut reader = hound::WavReader::open(wav).unwrap();
    let samples: Vec<f64> = reader.samples::<i16>().map(|sample| f64::from(sample.unwrap())).collect();
    let turn = 2.0 * (std::f64::consts::TAU * hz / 16_000.0).cos();
    samples.chunks_exact(800).any(|part| {
        let (mut one, mut two) = (0.0, 0.0);
        for sample in part {
            (one, two) = (sample + turn * one - two, one);
        }
        let power = one * one + two * two - turn * one * two;
        let all: f64 = part.iter().map(|sample| sample * sample).sum();
        // A pure tone gives half of length times energy.
        all > 800.0 * 1000.0 * 1000.0 && power > 0.9 * all * 800.0 / 2.0
    })
}

fn is_closed(line: &serde_json::Value) -> bool {
    line["kind"] == "closed"
}

#[test]
fn live_and_recorded_give_the_same_calls_and_a_stop_leaves_a_whole_journal() {
    let sound = Sound::start();
    let piece = demo_piece(&sound.path(), 24);
    let (file, live) = (sound.path().join("file"), sound.path().join("live"));
    let heard = zonecall(&[
        "hear",
        &piece.to_string_lossy(),
        "--into",
        &file.to_string_lossy(),
        "--started-at",
        START,
        "--ear",
        "neural",
    ]);
    assert!(heard.status.success(), "{}", String::from_utf8_lossy(&heard.stderr));
    let wanted = calls(&file);
    assert!(wanted.len() >= 5, "the piece holds calls: {wanted:?}");
    let mut listening =
        sound.zonecall(&["listen", "--into", &live.to_string_lossy(), "--ear", "neural", "--voice", "off"]);
    listening.has_begun(&live, "audio/0001.wav");
    sound.play(&piece);
    until("every call is heard", || calls(&live).len() >= wanted.len());
    let ended = listening.signal("TERM");
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    assert_eq!(calls(&live), wanted);
    verified(&live);
    let lines = journal(&live);
    assert_eq!(lines.last().map(|line| line["body"]["reason"].clone()), Some("stopped".into()));
    assert!(lines.iter().all(|line| line["kind"] != "audio_lost"), "nothing was lost");
    let samples = lines.last().unwrap()["body"]["samples"].as_u64().unwrap();
    let kept = hound::WavReader::open(live.join("audio/0001.wav")).unwrap().duration();
    assert_eq!(u64::from(kept), samples, "the kept audio is as long as the journal says");
}

#[test]
fn a_stopped_exam_goes_on_where_it_was_answers_and_hears_none_of_its_own_tones() {
    let sound = Sound::start();
    let exam = sound.path().join("exam");
    let wav = |name: &str| sound.path().join(format!("{name}.wav"));
    let (first, next, ask, last) = (wav("first"), wav("next"), wav("ask"), wav("last"));
    spoken("left fore zone two alpha transverse", &first);
    spoken("zone two bravo", &next);
    spoken("where am i", &ask);
    spoken("end of exam", &last);
    let folder = exam.to_string_lossy();
    let mut listening = sound.zonecall(&["listen", "--into", &folder, "--ear", "neural", "--voice", "off"]);
    listening.has_begun(&exam, "audio/0001.wav");
    sound.play(&first);
    until_line(&exam, "the view is heard", |line| line["kind"] == "call");
    assert!(listening.signal("INT").status.success());
    let before = journal(&exam).last().unwrap()["body"]["samples"].as_u64().unwrap();
    let mut resumed = sound.zonecall(&["resume", &folder, "--ear", "neural", "--voice", "off"]);
    resumed.has_begun(&exam, "audio/0002.wav");
    sound.play(&next);
    sound.play(&ask);
    sound.play(&last);
    let ended = resumed.end();
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    verified(&exam);
    let told = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert!(told.contains("left fore, zone 2A, transverse was left without a save"), "{told}");
    assert!(told.contains("answer          left fore, zone 2B, transverse"), "{told}");
    // The loudspeaker is the same null sink: the microphone heard the tones, and none became a call.
    assert!(sounds(&exam.join("audio/0002.wav"), 1320.0), "the alarm is in the kept audio");
    let said = ["left fore zone two alpha transverse", "zone two bravo", "where am i", "end of exam"];
    assert_eq!(calls(&exam), said);
    let lines = journal(&exam);
    let audio = lines.iter().find(|line| line["body"]["file"] == "audio/0002.wav").unwrap();
    assert_eq!(audio["body"]["first_sample"].as_u64(), Some(before), "samples count on");
    let reasons: Vec<_> =
        lines.iter().filter(|line| is_closed(line)).map(|line| &line["body"]["reason"]).collect();
    assert_eq!(reasons, ["stopped", "end of exam"]);
    let record = zonecall(&["export", &folder, "--as", "json"]);
    let record: serde_json::Value = serde_json::from_slice(&record.stdout).unwrap();
    let rows = record["calls"].as_array().unwrap();
    assert_eq!(rows.last().map(|row| row["limb"].clone()), Some("LF".into()), "the limb is still in force");
}

/// Zone 3B is far from 1A: it is read back aloud, and counts after a yes. The loudspeaker is the microphone's own sink,
/// so that the program hears all it says, in full: no word of it may become a call.
#[test]
fn what_is_doubtful_is_asked_aloud_settled_by_a_word_and_its_own_voice_is_never_a_call() {
    let sound = Sound::start();
    let exam = sound.path().join("exam");
    let folder = exam.to_string_lossy();
    let mut listening = sound.zonecall(&["listen", "--into", &folder, "--ear", "neural"]);
    listening.has_begun(&exam, "audio/0001.wav");
    let heard = |outcome: &str, times: usize| {
        until_lines(&exam, outcome, times, |line| line["body"]["outcome"] == outcome);
    };
    let say = |text: &str| sound.say(text);
    say("left fore zone one alpha transverse");
    until_line(&exam, "the view is heard", |line| line["kind"] == "call");
    say("zone three bravo");
    heard("asked", 1);
    assert_eq!(calls(&exam).len(), 1, "nothing was done before the answer");
    // Its own question comes back through the microphone, word for word what was asked about.
    heard("ignored", 1);
    say("yes");
    until_line(&exam, "it is settled", |line| line["kind"] == "settled");
    // The view was left without a save: that is reported aloud, and heard again.
    heard("ignored", 2);
    say("where am i");
    heard("ignored", 3);
    say("zone one alpha");
    until_lines(&exam, "a new pass begins", 5, |line| line["kind"] == "call");
    heard("ignored", 4);
    say("end of exam");
    let ended = listening.end();
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    let said = [
        "left fore zone one alpha transverse",
        "yes",
        "zone three bravo",
        "where am i",
        "zone one alpha",
        "end of exam",
    ];
    assert_eq!(calls(&exam), said);
    verified(&exam);
    let told = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert!(told.contains("zone three bravo? (yes, no, or say it again)"), "{told}");
    assert!(told.contains("answer          left fore, zone 3B, transverse"), "{told}");
    let settled = journal(&exam).into_iter().find(|line| line["kind"] == "settled").unwrap();
    assert_eq!(
        (&settled["body"]["answer"], &settled["body"]["taken"]),
        (&"yes".into(), &"zone three bravo".into())
    );
    let own = journal(&exam).into_iter().find(|line| line["body"]["outcome"] == "ignored").unwrap();
    assert!(own["body"]["problems"][0]["message"].as_str().unwrap().contains("the program itself"), "{own}");
}

#[test]
fn a_microphone_that_goes_and_comes_back_is_told_and_recorded() {
    let mut sound = Sound::start();
    let exam = sound.path().join("exam");
    let phrase = sound.path().join("phrase.wav");
    spoken("right fore zone one bravo", &phrase);
    let mut listening = sound.zonecall(&["listen", "--into", &exam.to_string_lossy(), "--ear", "neural"]);
    listening.has_begun(&exam, "audio/0001.wav");
    sound.kill();
    until_line(&exam, "the loss is recorded", |line| line["body"]["state"] == "lost");
    sound.restart();
    until_line(&exam, "the return is recorded", |line| line["kind"] == "audio_lost");
    // Just after its return the sound of a busy machine may be broken: then a person says it again.
    for _ in 0..5 {
        if calls(&exam).is_empty() {
            sound.play(&phrase);
            std::thread::sleep(Duration::from_secs(2));
        }
    }
    until_line(&exam, "it hears again", |line| line["kind"] == "call");
    let ended = listening.signal("TERM");
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    let told = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert!(told.contains("the microphone is lost") && told.contains("the microphone is back"), "{told}");
    let lost =
        journal(&exam).iter().find(|line| line["kind"] == "audio_lost").unwrap()["body"]["samples"].as_u64();
    assert!(lost > Some(0), "{lost:?}");
    verified(&exam);
}

/// The first view has its still, by a file that is written in two steps; the second one has none.
#[test]
fn a_view_whose_still_does_not_arrive_from_the_scanner_is_told_and_stills_are_written_down_at_once() {
    let sound = Sound::start();
    let exam = sound.path().join("exam");
    let (folder, scanner) = (exam.to_string_lossy(), sound.path().join("scanner"));
    std::fs::create_dir(&scanner).unwrap();
    let stills = tempfile::tempdir().unwrap();
    let made = demo_stills().arg(demo("fore-limbs.stills.csv")).arg(stills.path()).arg(START).status();
    assert!(made.unwrap().success());
    let watched = scanner.to_string_lossy();
    let mut listening = sound.zonecall(&[
        "listen",
        "--into",
        &folder,
        "--ear",
        "neural",
        "--voice",
        "off",
        "--watch",
        &watched,
        "--export-delay",
        "0.5",
    ]);
    listening.has_begun(&exam, "audio/0001.wav");
    let say = |text: &str| sound.say(text);
    say("left fore zone one alpha transverse");
    until_line(&exam, "the view is heard", |line| line["kind"] == "call");
    std::thread::sleep(Duration::from_secs(1));
    let whole = std::fs::read(stills.path().join("IM0001.dcm")).unwrap();
    let arriving = scanner.join("IM0001.part");
    std::fs::write(&arriving, &whole[..whole.len() / 2]).unwrap();
    std::fs::write(&arriving, &whole).unwrap();
    std::fs::rename(&arriving, scanner.join("IM0001.dcm")).unwrap();
    until_line(&exam, "the still is written down", |line| line["kind"] == "frame");
    say("longitudinal");
    until_lines(&exam, "the next view is heard", 2, |line| line["kind"] == "call");
    say("one bravo transverse");
    until_lines(&exam, "the third view is heard", 3, |line| line["kind"] == "call");
    let ended = listening.signal("INT");
    let told = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert!(told.contains("left fore, zone 1A, longitudinal has no still"), "{told}");
    assert!(!told.contains("zone 1A, transverse has no still"), "{told}");
    verified(&exam);
    // Pairing afterwards finds the same still once.
    let paired = zonecall(&["pair", &folder, "--frames", &watched]);
    let paired = String::from_utf8_lossy(&paired.stdout).into_owned();
    assert!(paired.contains("1 stills, 0 of them new"), "{paired}");
}

/// The window is closed while the screen is shown, or the connection to the box is lost.
#[test]
fn a_terminal_that_is_closed_closes_the_exam() {
    let sound = Sound::start();
    let exam = sound.path().join("exam");
    let line = format!("listen --into {} --ear neural --voice off", exam.display());
    let mut terminal = sound.zonecall_in_terminal(&line);
    until_line(&exam, "listening begins", |line| line["kind"] == "audio");
    std::thread::sleep(Duration::from_secs(1));
    terminal.kill().unwrap();
    terminal.wait().unwrap();
    until_line(&exam, "the exam is closed", is_closed);
    verified(&exam);
}
