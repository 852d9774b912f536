//! The switch to talk by: events as the kernel writes them, the gate, and a key of a terminal at the null sink.
use crate::support::pedal;
use crate::support::program;
use crate::support::sound;

use std::io::{self, Read, Write as _};
use std::path::Path;
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use pedal::{Pedal, event};
use program::zonecall;
use sound::{Sound, calls, journal, until_line, until_lines};
use zonecall::clock::Sample;
use zonecall::session::talk_gate::{Gate, LINGERS};
use zonecall::speech::switch::{DeviceSwitch, SwitchKey, Turning, follow, look};

const KEY: u16 = 1;
const F13: u16 = 183;

/// Gives its bytes a few at a time, and notes at each whole event how the switch stands before it.
struct Watched<'a> {
    bytes: &'a [u8],
    at: usize,
    is_on: &'a AtomicBool,
    seen: Vec<bool>,
}

impl Read for Watched<'_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.at.is_multiple_of(event(0, 0, 0).len()) {
            self.seen.push(self.is_on.load(Ordering::Relaxed));
        }
        let n = into.len().min(5).min(self.bytes.len() - self.at);
        into[..n].copy_from_slice(&self.bytes[self.at..self.at + n]);
        self.at += n;
        Ok(n)
    }
}

/// How the switch stands after each event.
fn states(turning: Turning, events: &[(u16, u16, i32)]) -> Vec<bool> {
    let bytes: Vec<u8> = events.iter().flat_map(|(kind, code, value)| event(*kind, *code, *value)).collect();
    let is_on = AtomicBool::new(false);
    let mut watched = Watched { bytes: &bytes, at: 0, is_on: &is_on, seen: Vec::new() };
    let key: SwitchKey = "KEY_F13".parse().unwrap();
    let ended = follow(&mut watched, key, turning, &is_on).unwrap_err();
    assert_eq!(ended.kind(), io::ErrorKind::UnexpectedEof);
    watched.seen.split_off(1)
}

#[test]
fn held_it_is_on_until_it_is_let_go_and_no_other_key_matters() {
    let events = [
        (KEY, 30, 1),
        (KEY, F13, 1),
        (0, 0, 0),
        // Repeated by the keyboard, another key let go, and a type that has the same code.
        (KEY, F13, 2),
        (KEY, 30, 0),
        (4, F13, 0),
        (KEY, F13, 0),
        (KEY, F13, 2),
    ];
    assert_eq!(states(Turning::Hold, &events), [false, true, true, true, true, true, false, false]);
}

#[test]
fn pressed_once_it_is_on_and_pressed_again_off() {
    let events =
        [(KEY, F13, 1), (KEY, F13, 2), (KEY, F13, 0), (0, 0, 0), (KEY, F13, 1), (KEY, F13, 0), (KEY, F13, 1)];
    assert_eq!(states(Turning::Toggle, &events), [true, true, true, true, false, false, true]);
}

#[test]
fn where_the_kernel_has_dropped_events_the_switch_is_off() {
    let events = [(KEY, F13, 1), (0, 3, 0), (KEY, F13, 1)];
    for turning in [Turning::Hold, Turning::Toggle] {
        assert_eq!(states(turning, &events), [true, false, true], "{turning:?}");
    }
}

#[test]
fn keys_are_named_as_the_kernel_does_or_by_number() {
    let shown = |text: &str| text.parse::<SwitchKey>().map(|key| key.to_string());
    assert_eq!(shown("key_space").as_deref(), Ok("KEY_SPACE"));
    assert_eq!(shown("BTN_EAST").as_deref(), Ok("BTN_EAST"));
    assert_eq!(shown("183").as_deref(), Ok("KEY_F13"));
    assert_eq!(shown("0xb7").as_deref(), Ok("KEY_F13"));
    for wrong in ["pedal", "", "0", "768", "70000", "-1", "KEY_", "0x"] {
        assert!(shown(wrong).unwrap_err().contains("is not a key"), "{wrong}");
    }
}

#[test]
fn what_is_no_input_device_is_told_with_the_remedy() {
    let file = tempfile::NamedTempFile::new().unwrap();
    let key: SwitchKey = "KEY_F13".parse().unwrap();
    let told = look(file.path(), key).unwrap_err().to_string();
    assert!(told.contains("cannot open the switch") && told.contains("/dev/input/by-id"), "{told}");
    let gone = DeviceSwitch::open(Path::new("/dev/input/nowhere"), key, Turning::Hold).unwrap_err();
    assert!(gone.to_string().contains("plug it in"), "{gone}");
    let exam = file.path().with_extension("exam");
    let refused = zonecall(&[
        "listen",
        "--into",
        &exam.to_string_lossy(),
        "--ear",
        "sphinx",
        "--switch",
        "KEY_F13",
        "--switch-device",
        "/dev/input/nowhere",
    ]);
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(refused.status.code() == Some(2) && told.contains("plug it in"), "{told}");
    assert!(!exam.exists(), "no exam is begun");
    let doctor = zonecall(&["doctor", "--switch", "KEY_F13", "--switch-device", "/dev/input/nowhere"]);
    let told = String::from_utf8_lossy(&doctor.stdout).into_owned();
    assert!(doctor.status.code() == Some(1) && told.contains("MISSING      switch"), "{told}");
    assert!(told.contains("-> plug it in"), "{told}");
}

#[test]
fn the_gate_stays_open_for_the_last_syllable_and_opens_at_once() {
    let is_due = |gate: &mut Gate, is_on, next, now| gate.is_due(is_on, Sample(next), Sample(now));
    let mut gate = Gate::default();
    assert!(!gate.is_open() && !is_due(&mut gate, false, 0, 0));
    assert!(is_due(&mut gate, true, 100, 900));
    gate.turn();
    assert!(gate.is_open() && !is_due(&mut gate, true, 1_000, 2_000));
    // Let go while sample 2,000 is recorded: what was recorded until a little after that still counts.
    assert!(!is_due(&mut gate, false, 1_000, 2_000));
    assert!(!is_due(&mut gate, false, 2_000 + LINGERS - 1, 9_000));
    // Pressed again before that, it never was off.
    assert!(!is_due(&mut gate, true, 2_100, 3_000) && !is_due(&mut gate, false, 9_000, 9_500));
    assert!(is_due(&mut gate, false, 9_500 + LINGERS, 20_000));
    gate.turn();
    assert!(!gate.is_open() && !is_due(&mut gate, false, 99_000, 99_000));
}

#[test]
fn only_what_is_said_while_the_switch_is_on_counts_and_all_of_it_is_kept() {
    let sound = Sound::start();
    let exam = sound.path().join("exam");
    let line = format!("listen --into {} --ear neural --voice off --switch KEY_SPACE", exam.display());
    let mut terminal = sound.zonecall_in_terminal(&line);
    let mut keys = terminal.stdin.take().unwrap();
    let say = |text: &str| sound.say(text);
    let ignored = |n| until_lines(&exam, "ignored", n, |line| line["body"]["outcome"] == "ignored");
    until_line(&exam, "listening begins", |line| line["kind"] == "audio");
    say("left fore zone two alpha transverse");
    ignored(1);
    keys.write_all(b" ").unwrap();
    std::thread::sleep(std::time::Duration::from_millis(500));
    say("right fore zone one bravo");
    until_line(&exam, "what is said while it is on counts", |line| line["kind"] == "call");
    keys.write_all(b" ").unwrap();
    std::thread::sleep(std::time::Duration::from_secs(1));
    say("end of exam");
    ignored(2);
    keys.write_all(b"q").unwrap();
    until_line(&exam, "the exam is closed", |line| line["kind"] == "closed");
    terminal.wait().unwrap();
    assert_eq!(calls(&exam), ["right fore zone one bravo"]);
    let lines = journal(&exam);
    assert_eq!(lines.last().unwrap()["body"]["reason"], "stopped");
    for line in lines.iter().filter(|line| line["body"]["outcome"] == "ignored") {
        assert_eq!(line["body"]["problems"][0]["message"], "heard while the switch was off", "{line}");
    }
    let samples = lines.last().unwrap()["body"]["samples"].as_u64().unwrap();
    let kept = hound::WavReader::open(exam.join("audio/0001.wav")).unwrap().duration();
    assert_eq!(u64::from(kept), samples, "all sound is kept");
    let verified = zonecall(&["journal", &exam.to_string_lossy(), "--verify"]);
    assert!(verified.status.success());
}

/// A switch that is gone is looked for once a second.
const LOOKED_FOR: Duration = Duration::from_millis(2_500);

#[test]
fn a_pedal_counts_while_it_is_down_and_one_that_is_pulled_out_is_told_and_found_again() {
    let sound = Sound::start();
    let exam = sound.path().join("exam");
    let mut pedal = Pedal::new(&sound.path());
    let (name, shim) = pedal.shim();
    let switch = ["--switch", "KEY_F13", "--switch-device", &pedal.path()];
    let doctor =
        Command::new(env!("CARGO_BIN_EXE_zonecall")).arg("doctor").args(switch).env(name, &shim).output();
    let told = String::from_utf8(doctor.unwrap().stdout).unwrap();
    assert!(told.contains("switch         KEY_F13 of `Pedal of the tests`"), "{told}");
    let other = ["doctor", "--switch", "KEY_F14", "--switch-device", &pedal.path()];
    let other = Command::new(env!("CARGO_BIN_EXE_zonecall")).args(other).env(name, &shim).output();
    let told = String::from_utf8(other.unwrap().stdout).unwrap();
    assert!(told.contains("has no key KEY_F14"), "{told}");
    let args = ["listen", "--into", &exam.to_string_lossy(), "--ear", "neural", "--voice", "off"];
    let listening = sound.zonecall_with(&[&args[..], &switch[..]].concat(), &[(name, &shim)]);
    let say = |text: &str| sound.say(text);
    let ignored = |n| until_lines(&exam, "ignored", n, |line| line["body"]["outcome"] == "ignored");
    until_line(&exam, "listening begins", |line| line["kind"] == "audio");
    say("left fore zone two alpha transverse");
    ignored(1);
    pedal.turn(true);
    say("right fore zone one bravo");
    until_line(&exam, "what is said while it is down counts", |line| line["kind"] == "call");
    // Pulled out under the foot: nobody holds it any more.
    pedal.unplug();
    std::thread::sleep(LOOKED_FOR);
    say("left hind");
    ignored(2);
    pedal.plug_in();
    std::thread::sleep(LOOKED_FOR);
    pedal.turn(true);
    say("zone two alpha");
    until_lines(&exam, "it counts again", 2, |line| line["kind"] == "call");
    let ended = listening.signal("TERM");
    assert!(ended.status.success(), "{}", String::from_utf8_lossy(&ended.stderr));
    let told = String::from_utf8_lossy(&ended.stdout).into_owned();
    assert!(told.contains("the switch is lost") && told.contains("the switch is back"), "{told}");
    assert_eq!(calls(&exam), ["right fore zone one bravo", "zone two alpha"]);
}

#[test]
fn a_switch_of_the_terminal_needs_a_screen_and_a_key_that_a_terminal_knows() {
    let folder = tempfile::tempdir().unwrap();
    let exam = folder.path().join("exam");
    let into = exam.to_string_lossy();
    let refused = zonecall(&["listen", "--into", &into, "--ear", "sphinx", "--switch", "KEY_SPACE"]);
    let told = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert!(refused.status.code() == Some(2) && told.contains("--switch-device"), "{told}");
    assert!(!exam.exists());
}
