//! Small builders shared by the tests: an exam out of spoken phrases, without audio.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

pub mod browser;
pub mod case;
pub mod desk;
pub mod machine;
pub mod pdf;
pub mod pedal;
pub mod phrase;
pub mod postgres;
pub mod program;
pub mod pydicom;
pub mod said;
pub mod sample;
pub mod sentence;
pub mod sound;
pub mod speech;
pub mod still;
pub mod talk;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::LazyLock;

use zonecall::clock::{Anchor, SAMPLE_RATE_HZ, Sample, Span, WallQuality};
use zonecall::exam::call::Amount;
use zonecall::exam::event::{CallEvent, Entered, Event, Header, Horse, JOURNAL_SCHEMA};
use zonecall::exam::fold::{Exam, fold};
use zonecall::exam::journal::{self, Journal};
use zonecall::exam::parse::parse;
use zonecall::exam::utterance_outcome::Attention;
use zonecall::language::pack::{Language, Pack};
use zonecall::protocol::Protocols;
use zonecall::speech::recognise::EngineId;
use zonecall::speech::utterance::{Utterance, Word};

/// The built-in protocols and the whole language.
pub static BUILT_IN: LazyLock<(Language, Protocols)> = LazyLock::new(|| {
    let protocols = Protocols::built_in().unwrap();
    let zones =
        protocols.schemes.iter().flat_map(|scheme| scheme.zones.iter().map(|zone| zone.code.to_string()));
    let zones = [("any".to_owned(), zones.collect())].into();
    (Pack::built_in().unwrap().for_zones(&zones), protocols)
});

/// SHA-256 in hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    use sha2::Digest as _;
    sha2::Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Makes the stills as they are now those that were paired, with the same labels.
pub fn as_paired(folder: &Path) {
    let lines = journal::read(folder).unwrap();
    for file in ["exam.jsonl", "exam.head"] {
        std::fs::remove_file(folder.join(file)).unwrap();
    }
    let mut journal = Journal::create(folder).unwrap();
    for line in lines.events {
        let mut event = line.event;
        if let Event::Frame(frame) = &mut event {
            frame.sha256 = sha256(&std::fs::read(folder.join(&frame.file)).unwrap());
        }
        journal.append(line.at, line.sample, &event).unwrap();
    }
}

/// An utterance of these words that begins at `at_s` seconds and takes 0.4 s a word.
pub fn utterance(at_s: f64, text: &str) -> Utterance {
    let sample = |seconds: f64| Sample((seconds * f64::from(SAMPLE_RATE_HZ)) as u64);
    let words: Vec<Word> = text
        .split_whitespace()
        .enumerate()
        .map(|(idx, word)| {
            let from = at_s + idx as f64 * 0.4;
            let span = Span { from: sample(from), to: sample(from + 0.4) };
            Word { text: word.to_owned(), span, confidence: 0.9 }
        })
        .collect();
    let span = Span { from: sample(at_s), to: sample(at_s + 0.4 * words.len().max(1) as f64) };
    Utterance {
        span,
        words,
        confidence: 0.9,
        score: -1.0,
        rejected: false,
        unsure: false,
        rivals: Vec::new(),
        level_dbfs: -20.0,
        clipped: 0.0,
    }
}

/// An area typed of a structure in zone 2B of the left fore, by nobody.
pub fn area(structure: &str, number: f64, unit: &str) -> Entered {
    Entered {
        limb: "LF".into(),
        zone: "2B".into(),
        plane: None,
        structure: structure.into(),
        term: "area".to_owned(),
        amount: Amount { number, unit: Some(unit.to_owned()), unit_assumed: false },
        scale: None,
        traced: false,
        by: None,
        still: None,
        scale_by_hand_mm: None,
        ends_px: None,
        frame_number: None,
        outline: None,
    }
}

/// A header for an exam that began at a fixed instant, hind limbs by the hock scheme.
pub fn header() -> Header {
    Header {
        schema: JOURNAL_SCHEMA.to_owned(),
        program: "test".to_owned(),
        id: "20260504T080000Z-test".to_owned(),
        engine: EngineId {
            name: "scripted".to_owned(),
            version: "1".to_owned(),
            model: "none".to_owned(),
            model_sha256: "0".repeat(64),
        },
        grammar_sha256: "0".repeat(64),
        language: "en".to_owned(),
        protocols_sha256: "0".repeat(64),
        schemes: BTreeMap::from([
            ("fore".to_owned(), "thirds".to_owned()),
            ("hind".to_owned(), "hock".to_owned()),
        ]),
        sample_rate_hz: SAMPLE_RATE_HZ,
        started_at: "2026-05-04T08:00:00Z".parse().unwrap(),
        wall: WallQuality::Stated,
        utc_offset_s: 7200,
        person: None,
        horse: Horse { name: Some("Juniper".to_owned()), ..Horse::default() },
        order: None,
        limb_lengths_cm: BTreeMap::new(),
        save_first: false,
        context_s: None,
        scales: BTreeMap::new(),
    }
}

/// Writes the journal of utterances given as (start in seconds, words).
pub fn write_journal(folder: &Path, utterances: &[(f64, &str)]) {
    write_heard(folder, utterances.iter().map(|(at_s, text)| utterance(*at_s, text)));
}

/// Writes the journal of what an engine heard, and gives it back to be written on.
pub fn write_heard(folder: &Path, heard: impl IntoIterator<Item = Utterance>) -> Journal {
    write_heard_by(folder, header(), heard)
}

/// The same for an exam of this header.
pub fn write_heard_by(folder: &Path, header: Header, heard: impl IntoIterator<Item = Utterance>) -> Journal {
    let (language, protocols) = &*BUILT_IN;
    let anchor = Anchor { wall: header.started_at, monotonic_ns: 0, sample: Sample::FIRST };
    let mut journal = Journal::create(folder).unwrap();
    journal.append(anchor.wall, Sample::FIRST, &Event::Exam(Box::new(header))).unwrap();
    journal.append(anchor.wall, Sample::FIRST, &Event::Anchor(anchor.clone())).unwrap();
    let mut attention = Attention::default();
    for utterance in heard {
        let parsed = parse(&utterance, language, protocols);
        let sample = utterance.span.to;
        let at = anchor.instant_of(sample);
        let (heard, calls) = attention.decide(utterance, parsed);
        let heard_seq = journal.append(at, sample, &Event::Utterance(heard)).unwrap();
        for call in calls {
            journal.append(at, sample, &Event::Call(CallEvent { heard_seq, call })).unwrap();
        }
    }
    journal
}

/// The journal's lines of utterances that follow each other every four seconds.
pub fn exam_lines(utterances: &[&str]) -> journal::Lines {
    let folder = tempfile::tempdir().unwrap();
    write_journal(folder.path(), &every_four_seconds(utterances));
    journal::read(folder.path()).unwrap()
}

fn every_four_seconds<'a>(utterances: &[&'a str]) -> Vec<(f64, &'a str)> {
    utterances.iter().enumerate().map(|(idx, text)| (2.0 + idx as f64 * 4.0, *text)).collect()
}

/// The exam of utterances given as (start in seconds, words).
pub fn exam(utterances: &[(f64, &str)]) -> Exam {
    let folder = tempfile::tempdir().unwrap();
    write_journal(folder.path(), utterances);
    fold(&journal::read(folder.path()).unwrap(), &BUILT_IN.1).unwrap()
}

/// The exam of utterances that follow each other every four seconds.
pub fn exam_of(utterances: &[&str]) -> Exam {
    exam(&every_four_seconds(utterances))
}
