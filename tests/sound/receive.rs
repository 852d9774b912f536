//! Stills that come over the network while somebody speaks count like those of a folder that is watched.
use crate::support::program;
use crate::support::sound;

use std::process::Command;
use std::time::Duration;

use program::{START, demo, demo_stills, free_port, zonecall};
use sound::{Sound, calls, journal, until_line, until_lines};

/// The first view's still is sent by dcmtk's `storescu`; that of the second never comes.
#[test]
fn a_received_still_counts_as_a_watched_one_and_a_view_without_one_is_told() {
    let sound = Sound::start();
    let exam = sound.path().join("exam");
    let folder = exam.to_string_lossy();
    let stills = tempfile::tempdir().unwrap();
    let made = demo_stills().arg(demo("fore-limbs.stills.csv")).arg(stills.path()).arg(START).status();
    assert!(made.unwrap().success());
    let port = free_port().to_string();
    let args = [
        "listen",
        "--into",
        &folder,
        "--ear",
        "neural",
        "--voice",
        "off",
        "--lines",
        "--export-delay",
        "0.5",
    ];
    let mut listening =
        sound.zonecall(&[&args[..], &["--receive", "--port", &port, "--from", "SCANNER"]].concat());
    listening.has_begun(&exam, "audio/0001.wav");
    sound.say("left fore zone one alpha transverse");
    until_line(&exam, "the view is heard", |line| line["kind"] == "call");
    std::thread::sleep(Duration::from_secs(1));
    let still = stills.path().join("IM0001.dcm");
    let send = |own: &str| {
        let done = Command::new("storescu")
            .args(["-aet", own, "-aec", "ZONECALL", "127.0.0.1", &port])
            .arg(&still)
            .status();
        done.expect("dcmtk is there, see scripts/setup.sh").success()
    };
    assert!(!send("STRANGER"), "another AE title is refused");
    assert!(send("SCANNER"));
    until_line(&exam, "the still is written down", |line| line["kind"] == "frame");
    sound.say("longitudinal");
    until_lines(&exam, "the next view is heard", 2, |line| line["kind"] == "call");
    sound.say("one bravo transverse");
    until_lines(&exam, "the third view is heard", 3, |line| line["kind"] == "call");
    let ended = listening.signal("INT");
    let told = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert!(told.contains("left fore, zone 1A, longitudinal has no still"), "{told}");
    assert!(!told.contains("zone 1A, transverse has no still"), "{told}");
    assert!(calls(&exam).len() >= 3);
    // Both times are kept: when it came, and when the scanner says that it was saved.
    let frame = journal(&exam).into_iter().find(|line| line["kind"] == "frame").unwrap();
    assert!(frame["body"]["file"].as_str().unwrap().starts_with("frames/"), "{frame}");
    assert_ne!(frame["at"], frame["body"]["saved_at"], "{frame}");
    let log = std::fs::read_to_string(exam.join("frames/received.jsonl")).unwrap();
    assert!(log.contains("\"refused\"") && log.contains("\"kept\""), "{log}");
    let verified = zonecall(&["journal", &folder, "--verify"]);
    assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stdout));
    let frames = exam.join("frames");
    let paired = zonecall(&["pair", &folder, "--frames", &frames.to_string_lossy()]);
    let paired = String::from_utf8_lossy(&paired.stdout).into_owned();
    assert!(paired.contains("1 stills, 0 of them new"), "{paired}");
}
