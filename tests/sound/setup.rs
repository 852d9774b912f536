//! The microphone tried with a synthetic speaker at PulseAudio's null sink; the settings that come of it; the call word.
use crate::support::sound;

use std::io::{BufRead as _, BufReader};
use std::process::Stdio;

use sound::{Sound, calls, journal, until_line, until_lines};

#[test]
fn a_microphone_is_tried_with_ten_phrases_and_the_settings_are_written_and_used() {
    let sound = Sound::start();
    let settings = sound.path().join("zonecall.toml");
    std::fs::write(&settings, "export_delay_s = 3.0\n").unwrap();
    let program = env!("CARGO_BIN_EXE_zonecall");
    let mut command = sound.command(program, &["setup", "--ear", "neural", "--person", "Ada", "--earpiece"]);
    let mut child = command
        .env("ZONECALL_SETTINGS", &settings)
        .stdout(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut lines = Vec::new();
    for line in BufReader::new(child.stdout.take().unwrap()).lines() {
        let line = line.unwrap();
        if let Some(phrase) = line.strip_prefix("Say:  ") {
            sound.say(phrase);
        }
        lines.push(line);
    }
    let told = lines.join("\n");
    assert!(child.wait().unwrap().success(), "{told}");
    assert_eq!(lines.iter().filter(|line| line.contains("understood: ")).count(), 10, "{told}");
    // The loudspeaker is the microphone's own sink.
    assert!(told.contains("The microphone hears the tones"), "{told}");
    assert!(told.contains("Good: ") && told.contains("background noise: -"), "{told}");
    let written = std::fs::read_to_string(&settings).unwrap();
    assert!(written.contains("\nearpiece = false\n"), "{written}");
    assert!(written.contains("person = \"Ada\"") && written.contains("export_delay_s = 3"), "{written}");
    let old = std::fs::read_to_string(settings.with_extension("toml.old")).unwrap();
    assert_eq!(old, "export_delay_s = 3.0\n", "the old file is kept");
    // What is set is used, and what is wrong in it is reported with its line.
    let exam = sound.path().join("exam");
    let into = exam.to_string_lossy();
    std::fs::write(&settings, "voice = false\nperson = \"Ada\"\ncall_word = \"exam\"\n").unwrap();
    let env = settings.to_string_lossy().into_owned();
    let mut listening =
        sound.zonecall_with(&["listen", "--into", &into, "--ear", "neural"], &[("ZONECALL_SETTINGS", &env)]);
    listening.has_begun(&exam, "audio/0001.wav");
    assert_eq!(journal(&exam)[0]["body"]["person"], "Ada");
    for (n, text) in ["left fore zone two alpha", "exam right fore zone one bravo"].into_iter().enumerate() {
        sound.say(text);
        until_lines(&exam, text, n + 1, |line| line["kind"] == "heard");
    }
    until_line(&exam, "what begins with the call word counts", |line| line["kind"] == "call");
    assert!(listening.signal("INT").status.success());
    assert_eq!(calls(&exam), ["exam right fore zone one bravo"], "and nothing else does");
    std::fs::write(&settings, "tones = \"perhaps\"\n").unwrap();
    let refused = sound
        .command(program, &["listen", "--into", "none"])
        .env("ZONECALL_SETTINGS", &env)
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(refused.status.code() == Some(2) && told.contains("line 1") && told.contains("tones"), "{told}");
}
