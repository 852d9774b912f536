//! How ears are judged: what becomes of an utterance, and words wrong as NIST's `sclite` counts them.
#[path = "../../benches/ear/set.rs"]
#[allow(dead_code, unreachable_pub, clippy::cast_precision_loss)]
mod set;

use std::fmt::Write as _;
use std::process::Command;

use zonecall::clock::{Sample, Span};
use zonecall::evaluation::judge::{Fate, fate, rank, said};
use zonecall::evaluation::words::{Spelling, wrong};
use zonecall::speech::utterance::{Rival, Utterance};

fn heard(words: &str) -> Utterance {
    said(words, Span { from: Sample::FIRST, to: Sample(16_000) })
}

fn asked(words: &str, rivals: &[&str]) -> Utterance {
    let rival = |words: &&str| Rival { words: (*words).to_owned(), behind: 1.0 };
    Utterance { unsure: true, rivals: rivals.iter().map(rival).collect(), ..heard(words) }
}

#[test]
fn a_utterance_is_right_missed_asked_or_wrong_by_its_meaning() {
    let (language, protocols) = set::language();
    let of = |words: &str, heard: &Utterance| fate(words, heard, &language, &protocols);
    let area = "area nought point five square centimetres";
    assert_eq!(
        of(area, &heard("area point five square centimeters")),
        Fate::Right,
        "other words, same meaning"
    );
    assert_eq!(of(area, &heard("area point six square centimetres")), Fate::Wrong);
    assert_eq!(of("left fore two alpha", &heard("right fore two alpha")), Fate::Wrong);
    assert_eq!(of("left fore two alpha", &heard("two alpha")), Fate::Wrong, "half of a call is not the call");
    assert_eq!(of("two alpha save", &heard("two alpha")), Fate::Wrong, "one of two calls is not both");
    assert_eq!(of("save", &heard("")), Fate::Missed);
    assert_eq!(of("save", &Utterance { rejected: true, ..heard("save") }), Fate::Missed);
    assert_eq!(of("two alpha", &asked("three alpha", &["two alpha"])), Fate::AskedRight);
    assert_eq!(of("two alpha", &asked("three alpha", &["two bravo", "two alpha"])), Fate::AskedWrong);
}

#[test]
fn talk_is_right_only_when_nothing_is_done() {
    let (language, protocols) = set::language();
    let of = |heard: &Utterance| fate("", heard, &language, &protocols);
    assert_eq!(of(&heard("")), Fate::Right);
    assert_eq!(of(&Utterance { rejected: true, ..heard("save") }), Fate::Right);
    assert_eq!(of(&heard("save")), Fate::Wrong);
    assert_eq!(of(&asked("save", &["two alpha"])), Fate::AskedWrong);
}

#[test]
fn the_place_of_the_right_reading_is_told() {
    let (language, protocols) = set::language();
    let of =
        |words: &str| rank(words, &asked("two alpha", &["two bravo", "three alpha"]), &language, &protocols);
    assert_eq!([of("two alpha"), of("three alpha"), of("save"), of("")], [Some(0), Some(2), None, None]);
}

#[test]
fn words_that_sound_the_same_are_one() {
    let lexicon = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("models/en/lexicon.dict");
    let spelling = Spelling::read(&lexicon);
    assert_eq!(spelling.of("left fore fiber"), spelling.of("left four fibre"));
    assert_ne!(spelling.of("alpha"), spelling.of("bravo"));
    assert_eq!(Spelling::read(std::path::Path::new("nowhere")).of("fore"), ["fore"]);
}

/// `sclite` (NIST, Debian package `sctk`) is the judge; it weighs a substitution a little otherwise, so that very
/// different long rows could be distinguished. These are as an ear would give them.
#[test]
fn words_wrong_are_those_that_sclite_counts() {
    let pairs = [
        ("left fore zone one alpha transverse", "left fore zone one alpha transverse"),
        ("superficial flexor moderate core lesion central", "superficial flexor core lesion central"),
        ("area one point five square centimetres", "area one point nine square centimetres"),
        ("save", "two save"),
        ("two bravo longitudinal save", ""),
        ("deep flexor normal", "check ligament normal"),
        ("lesion area nought point five one", "lesion area point five one one"),
        ("one alpha two alpha", "two alpha one alpha"),
    ];
    let folder = tempfile::tempdir().unwrap();
    let (mut said, mut heard) = (String::new(), String::new());
    for (idx, (one, other)) in pairs.iter().enumerate() {
        writeln!(said, "{one} (pair{idx}-1)").unwrap();
        writeln!(heard, "{other} (pair{idx}-1)").unwrap();
    }
    std::fs::write(folder.path().join("said.trn"), said).unwrap();
    std::fs::write(folder.path().join("heard.trn"), heard).unwrap();
    let done = Command::new("sctk")
        .current_dir(folder.path())
        .args([
            "sclite",
            "-r",
            "said.trn",
            "trn",
            "-h",
            "heard.trn",
            "trn",
            "-i",
            "spu_id",
            "-o",
            "rsum",
            "stdout",
        ])
        .output()
        .expect("sclite of Debian's sctk; `make setup` installs it");
    let told = String::from_utf8_lossy(&done.stdout);
    for (idx, (one, other)) in pairs.iter().enumerate() {
        let split =
            |words: &str| words.split(' ').filter(|w| !w.is_empty()).map(str::to_owned).collect::<Vec<_>>();
        // | pair1 | sentences words | right substituted dropped inserted wrong sentences wrong |
        let line = told.lines().find(|line| line.contains(&format!("| pair{idx} "))).expect("a line a pair");
        let numbers: Vec<usize> = line.split([' ', '|']).filter_map(|cell| cell.parse().ok()).collect();
        assert_eq!(wrong(&split(one), &split(other)), numbers[6], "`{one}` and `{other}`: {line}");
    }
}
