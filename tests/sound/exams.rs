//! A box that waits for exams, at PulseAudio's null sink: two exams in one run, a fall of the power in a third.
use crate::support::pedal;
use crate::support::program;
use crate::support::sound;

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use pedal::Pedal;
use program::zonecall;
use sound::{Listening, Sound, calls, journal, until, until_line, until_lines};

/// The exam folders, in the order in which they began.
fn exams(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten();
    let mut found: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    found.sort();
    found
}

fn listen(sound: &Sound, folder: &Path) -> Listening {
    let folder = folder.to_string_lossy();
    sound.zonecall(&["listen", "--exams", &folder, "--ear", "neural", "--voice", "off", "--person", "Ada"])
}

/// Says what opens an exam, and again after a while: until the program has loaded, nobody hears it.
fn open(sound: &Sound, folder: &Path, n: usize) -> PathBuf {
    until("an exam begins", || {
        sound.say("start of exam");
        let since = Instant::now();
        while exams(folder).len() < n && since.elapsed() < Duration::from_secs(5) {
            std::thread::sleep(Duration::from_millis(50));
        }
        exams(folder).len() >= n
    });
    let exam = exams(folder).pop().unwrap();
    until_line(&exam, "the words that open it stand in it", |line| line["kind"] == "call");
    exam
}

/// Says something until the journal has `n` calls: what a busy machine's sound server tears is asked about or not heard,
/// and a person says it again.
fn say_until(sound: &Sound, exam: &Path, text: &str, n: usize) {
    until("what is said becomes a call", || {
        sound.say(text);
        let since = Instant::now();
        while calls(exam).len() < n && since.elapsed() < Duration::from_secs(5) {
            std::thread::sleep(Duration::from_millis(50));
        }
        calls(exam).len() >= n
    });
}

/// The calls, each once that was said again because it was heard late.
fn once(exam: &Path) -> Vec<String> {
    let mut calls = calls(exam);
    calls.dedup();
    calls
}

/// Says the end, again where it was not surely heard, and waits until nobody has objected to it.
fn close(sound: &Sound, exam: &Path) {
    let is_closed = || journal(exam).iter().any(|line| line["kind"] == "closed");
    until("the exam is closed", || {
        sound.say("end of exam");
        let since = Instant::now();
        while !is_closed() && since.elapsed() < Duration::from_secs(15) {
            std::thread::sleep(Duration::from_millis(50));
        }
        is_closed()
    });
}

fn verified(exam: &Path) {
    let verified = zonecall(&["journal", &exam.to_string_lossy(), "--verify"]);
    assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stdout));
}

fn seconds_kept(exam: &Path) -> f64 {
    f64::from(hound::WavReader::open(exam.join("audio/0001.wav")).unwrap().duration()) / 16_000.0
}

#[test]
fn a_box_makes_one_exam_after_the_other_and_keeps_nothing_in_between() {
    let sound = Sound::start();
    let folder = sound.path().join("exams");
    let listening = listen(&sound, &folder);
    let first = open(&sound, &folder, 1);
    say_until(&sound, &first, "left fore zone two alpha transverse", 2);
    close(&sound, &first);
    let (lines, kept_s) = (journal(&first), seconds_kept(&first));
    // Between two exams neither a call nor its opposite counts, and nothing of it is written.
    sound.say("right fore zone one bravo");
    sound.say("end of exam");
    assert_eq!(exams(&folder).len(), 1, "only `start of exam` opens one");
    let second = open(&sound, &folder, 2);
    say_until(&sound, &second, "right hind longitudinal", 2);
    // Inside an exam it changes nothing.
    say_until(&sound, &second, "start of exam", 3);
    close(&sound, &second);
    let ended = listening.signal("TERM");
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    assert_eq!(once(&first), ["start of exam", "left fore zone two alpha transverse", "end of exam"]);
    assert_eq!(once(&second), ["start of exam", "right hind longitudinal", "start of exam", "end of exam"]);
    assert_eq!(exams(&folder).len(), 2);
    assert_eq!((journal(&first), seconds_kept(&first)), (lines, kept_s), "a closed exam is not touched");
    for exam in [&first, &second] {
        verified(exam);
        let lines = journal(exam);
        assert_eq!(lines[0]["body"]["person"], "Ada");
        assert_eq!(lines.last().unwrap()["body"]["reason"], "end of exam");
        let samples = lines.last().unwrap()["body"]["samples"].as_u64().unwrap();
        assert_eq!((seconds_kept(exam) * 16_000.0) as u64, samples, "all sound from the opening words on");
        let began = lines.iter().find(|line| line["kind"] == "heard").unwrap();
        assert_eq!(began["body"]["span"]["from"], 0, "the exam begins with the words that opened it");
        let name = lines[0]["at"].as_str().unwrap().parse::<chrono::DateTime<chrono::Utc>>().unwrap();
        let name = name.with_timezone(&chrono::Local).format("%Y-%m-%d-%H%M%S").to_string();
        assert_eq!(exam.file_name().unwrap().to_string_lossy(), name);
    }
    let told = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert_eq!(told.matches("waiting for `start of exam`").count(), 3, "{told}");
    assert!(
        !told.contains("hind") && !told.contains("zone"),
        "what is said is no matter for the log: {told}"
    );
}

#[test]
fn after_the_power_has_failed_in_an_exam_it_is_whole_told_and_left_as_it_is() {
    let sound = Sound::start();
    let folder = sound.path().join("exams");
    let listening = listen(&sound, &folder);
    let exam = open(&sound, &folder, 1);
    sound.say("left fore zone two alpha transverse");
    until_line(&exam, "the view is heard", |line| line["body"]["limb"] == "LF");
    listening.signal("KILL");
    // As when the power fails in the middle of writing a line.
    let path = exam.join("exam.jsonl");
    let mut bytes = std::fs::read(&path).unwrap();
    bytes.extend(b"{\"seq\":");
    std::fs::write(&path, &bytes).unwrap();
    let kept_s = seconds_kept(&exam);
    assert!(kept_s > 3.0, "the sound is whole to the last second: {kept_s}");
    let again = listen(&sound, &folder);
    let next = open(&sound, &folder, 2);
    let ended = again.signal("TERM");
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    let told = String::from_utf8_lossy(&ended.stdout).into_owned();
    let found = format!("exam `{}` was interrupted; ", exam.display());
    assert!(told.contains(&found) && told.contains("2 calls"), "{told}");
    assert_eq!(std::fs::read(&path).unwrap(), bytes, "it is left as it is");
    assert_eq!(seconds_kept(&exam), kept_s);
    assert_eq!(journal(&next).last().unwrap()["body"]["reason"], "stopped");
    verified(&next);
    // And it can be gone on with.
    let resumed = sound.zonecall(&["resume", &exam.to_string_lossy(), "--ear", "neural", "--voice", "off"]);
    until_line(&exam, "it goes on", |line| line["kind"] == "resumed");
    until("it records", || exam.join("audio/0002.wav").exists());
    assert!(resumed.signal("TERM").status.success());
    assert!(journal(&exam).iter().any(|line| line["kind"] == "torn"));
    assert_eq!(calls(&exam), ["start of exam", "left fore zone two alpha transverse"]);
}

/// The words of a note are written down while the box waits; where the power failed before that, at the next start.
#[test]
fn free_notes_are_written_down_between_exams_and_after_a_fall_of_the_power_at_the_next_start() {
    let sound = Sound::start();
    let folder = sound.path().join("exams");
    let with_note = |n: usize| {
        let exam = open(&sound, &folder, n);
        sound.say("make a note");
        until_lines(&exam, "a note begins", 2, |line| line["kind"] == "call");
        sound.say("there is a little swelling on the inside");
        // The end of the exam ends the note, too.
        close(&sound, &exam);
        exam
    };
    let listening = listen(&sound, &folder);
    let first = with_note(1);
    let drafted = |exam: &Path| {
        until_line(exam, "the note is written down", |line| line["kind"] == "note_draft");
        let line = journal(exam).into_iter().find(|line| line["kind"] == "note_draft").unwrap();
        line["body"]["text"].as_str().unwrap().to_lowercase()
    };
    assert!(drafted(&first).contains("swelling"), "{}", drafted(&first));
    listening.signal("KILL");
    // As if the power had failed before that.
    let path = first.join("exam.jsonl");
    let text = std::fs::read_to_string(&path).unwrap();
    let before: Vec<&str> =
        text.split_inclusive('\n').filter(|line| !line.contains("\"note_draft\"")).collect();
    std::fs::write(&path, before.concat()).unwrap();
    let again = listen(&sound, &folder);
    assert!(drafted(&first).contains("swelling"), "{}", drafted(&first));
    let second = with_note(2);
    assert!(drafted(&second).contains("swelling"), "{}", drafted(&second));
    let ended = again.signal("TERM");
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    let told = String::from_utf8_lossy(&ended.stdout).into_owned();
    verified(&first);
    verified(&second);
    assert!(told.contains(&format!("the free notes of `{}` are written down", first.display())), "{told}");
    assert!(!told.to_lowercase().contains("swelling"), "what is said is no matter for the log: {told}");
}

/// A secret key in this file, and its public one.
fn new_key(file: &Path) -> String {
    let made = zonecall(&["encrypt", "--new-identity", &file.to_string_lossy()]);
    let made = String::from_utf8_lossy(&made.stdout).into_owned();
    made.lines().find_map(|line| line.strip_prefix("public key: ")).unwrap().to_owned()
}

fn encrypting(sound: &Sound, folder: &Path, public: &str) -> Listening {
    let folder = folder.to_string_lossy();
    let args = ["listen", "--exams", &folder, "--ear", "neural", "--voice", "off", "--encrypt-for", public];
    sound.zonecall(&args)
}

/// Waits until nothing but the encrypted file is left of an exam, then decrypts it.
fn opened(exam: &Path, key: &Path) {
    let file = format!("{}.tar.age", exam.display());
    until("only the encrypted file is left", || Path::new(&file).exists() && !exam.exists());
    assert!(zonecall(&["decrypt", &file, "--identity", &key.to_string_lossy()]).status.success());
    verified(exam);
}

#[test]
fn a_closed_exam_that_was_left_plain_is_encrypted_while_a_box_waits_and_a_wrong_key_is_told_at_once() {
    let sound = Sound::start();
    let (folder, key) = (sound.path().join("exams"), sound.path().join("key.txt"));
    std::fs::create_dir(&folder).unwrap();
    assert!(program::hear(&folder, "left fore", &[]).status.success());
    let exam = folder.join("exam");
    let public = new_key(&key);
    let refused = encrypting(&sound, &folder, "age1wrong").end();
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(refused.status.code() == Some(2) && told.contains("not a public key of age"), "{told}");
    let before = journal(&exam);
    let listening = encrypting(&sound, &folder, &public);
    opened(&exam, &key);
    let ended = listening.signal("TERM");
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    let told = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert!(
        told.contains(&format!("exam `{}` is encrypted, and its folder removed", exam.display())),
        "{told}"
    );
    assert_eq!(journal(&exam), before);
}

#[test]
fn with_a_pedal_only_what_is_said_while_it_is_down_opens_an_exam_and_counts_in_it() {
    let sound = Sound::start();
    let folder = sound.path().join("exams");
    let mut pedal = Pedal::new(&sound.path());
    let (name, shim) = pedal.shim();
    let args = ["listen", "--exams", &folder.to_string_lossy(), "--ear", "neural", "--voice", "off"];
    let switch = ["--switch", "KEY_F13", "--switch-device", &pedal.path()];
    let listening = sound.zonecall_with(&[&args[..], &switch[..]].concat(), &[(name, &shim)]);
    pedal.turn(true);
    let exam = open(&sound, &folder, 1);
    sound.say("left fore zone two alpha transverse");
    until_line(&exam, "the view is heard", |line| line["body"]["limb"] == "LF");
    pedal.turn(false);
    sound.say("end of exam");
    until_line(&exam, "it is ignored", |line| line["body"]["outcome"] == "ignored");
    pedal.turn(true);
    close(&sound, &exam);
    pedal.turn(false);
    // Waiting again, with the foot off the pedal: nothing opens an exam.
    sound.say("start of exam");
    std::thread::sleep(Duration::from_secs(2));
    assert_eq!(exams(&folder).len(), 1);
    pedal.turn(true);
    let second = open(&sound, &folder, 2);
    let ended = listening.signal("TERM");
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    assert_eq!(calls(&exam), ["start of exam", "left fore zone two alpha transverse", "end of exam"]);
    assert_eq!(calls(&second), ["start of exam"]);
    for exam in [&exam, &second] {
        verified(exam);
    }
}

#[test]
fn a_language_without_words_that_open_an_exam_is_refused_with_the_remedy() {
    let folder = tempfile::tempdir().unwrap();
    let gram = "#JSGF V1.0 UTF-8 en;\ngrammar exam;\npublic <exam> = (save {!save})+;\n";
    std::fs::write(folder.path().join("exam.gram"), gram).unwrap();
    std::fs::write(folder.path().join("words.dict"), "").unwrap();
    let exams = folder.path().join("exams");
    let refused = zonecall(&[
        "listen",
        "--exams",
        &exams.to_string_lossy(),
        "--grammar",
        &folder.path().to_string_lossy(),
        "--ear",
        "sphinx",
    ]);
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(refused.status.code() == Some(2) && told.contains("{command=start_of_exam}"), "{told}");
    assert!(!exams.exists());
}
