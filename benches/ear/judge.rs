//! A test set, and how what an ear made of it is judged: by meaning, never by the look of the words.
//!
//! Takes: a folder of WAV files with `truth.tsv` (file, voice, condition, words), and an engine.
//! Gives: a `Row` for each breath.
//! Never: lets a breath count as right unless every call in it is exactly right.

use std::path::{Path, PathBuf};
use std::time::Instant;

use zonecall::clock::Span;
use zonecall::exam::call::{Act, Amount, Value};
use zonecall::exam::parse::parse;
use zonecall::hear::decode;
use zonecall::hear::utterance::{Segment, Utterance, Word};
use zonecall::language::pack::{Language, Pack};
use zonecall::protocol::Protocols;

/// One line of `truth.tsv`; no words where the speech is none of the language.
#[derive(Debug, Clone)]
pub struct Truth {
    pub file: PathBuf,
    pub voice: String,
    pub condition: String,
    pub words: String,
}

/// What became of a breath.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// Every call right, and acted on.
    Right,
    /// Asked about, the right reading among the two.
    AskedRight,
    /// Asked about, the right reading not among the two.
    AskedWrong,
    /// Nothing was done.
    Missed,
    /// Something else than what was said was acted on.
    Wrong,
}

#[derive(Debug, Clone)]
pub struct Row {
    pub truth: Truth,
    pub fate: Fate,
    pub heard: String,
    pub audio_s: f64,
    pub took_s: f64,
    pub confidence: f64,
}

/// The whole language, all schemes, as the tests use it.
pub fn language() -> (Language, Protocols) {
    let protocols = Protocols::built_in().unwrap();
    let schemes = protocols.schemes.iter().flat_map(|scheme| &scheme.zones);
    let zones = [("any".to_owned(), schemes.map(|zone| zone.code.clone()).collect())].into();
    (Pack::built_in().unwrap().for_zones(&zones), protocols)
}

/// Every `every`th line of the folder's truth.
pub fn truths(folder: &Path, every: usize) -> Vec<Truth> {
    let text = std::fs::read_to_string(folder.join("truth.tsv")).unwrap();
    let rows = text.lines().skip(1).filter(|line| !line.trim().is_empty()).map(|line| {
        let mut parts = line.split('\t');
        let mut next = || parts.next().unwrap_or("").trim().to_owned();
        Truth { file: folder.join(next()), voice: next(), condition: next(), words: next() }
    });
    rows.enumerate().filter(|(idx, _)| (idx / 5 + idx % 5) % every.max(1) == 0).map(|(_, row)| row).collect()
}

/// The file as one breath.
pub fn segment(file: &Path) -> Segment {
    let mut recording = decode::open(file).unwrap();
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        samples.extend(block);
    }
    let span = Span { from: 0, to: samples.len() as u64 };
    Segment { span, samples, level_dbfs: -20.0, clipped: 0.0, cut: false }
}

/// What the words do, corrections told apart; none where they are no phrase.
pub fn acts(words: &str, language: &Language, protocols: &Protocols) -> Option<Vec<(Act, bool)>> {
    let span = Span { from: 0, to: 0 };
    let words = words.split_whitespace().map(|text| Word { text: text.to_owned(), span, confidence: 1.0 });
    let utterance = Utterance {
        span,
        words: words.collect(),
        confidence: 1.0,
        score: 0.0,
        rejected: false,
        unsure: false,
        rivals: Vec::new(),
        level_dbfs: 0.0,
        clipped: 0.0,
    };
    let parsed = parse(&utterance, language, protocols);
    parsed
        .problems
        .is_empty()
        .then(|| parsed.calls.into_iter().map(|call| (told(call.act), call.corrects)).collect())
}

/// A unit that was assumed is as good as the same one said.
fn told(act: Act) -> Act {
    match act {
        Act::Value(Value { term, amount }) => {
            Act::Value(Value { term, amount: Amount { unit_assumed: false, ..amount } })
        }
        other => other,
    }
}

pub fn judge(truth: &Truth, heard: &Utterance, language: &Language, protocols: &Protocols) -> Fate {
    let of = |words: &str| acts(words, language, protocols).unwrap_or_default();
    let wanted = of(&truth.words);
    if heard.unsure {
        let rival = heard.rivals.first().map(|rival| of(&rival.words));
        let among = of(&heard.text()) == wanted || rival.as_ref() == Some(&wanted);
        return if among && !truth.words.is_empty() { Fate::AskedRight } else { Fate::AskedWrong };
    }
    let done = if heard.rejected { Vec::new() } else { of(&heard.text()) };
    match (done == wanted, done.is_empty()) {
        (true, _) => Fate::Right,
        (false, true) => Fate::Missed,
        (false, false) => Fate::Wrong,
    }
}

/// Hears all of `truths`.
pub fn hear(
    truths: &[Truth],
    language: &Language,
    protocols: &Protocols,
    engine: &mut dyn FnMut(&Segment) -> Utterance,
) -> Vec<Row> {
    let mut rows = Vec::new();
    for truth in truths {
        let segment = segment(&truth.file);
        let began = Instant::now();
        let heard = engine(&segment);
        let took_s = began.elapsed().as_secs_f64();
        let fate = judge(truth, &heard, language, protocols);
        let audio_s = segment.samples.len() as f64 / 16_000.0;
        let sign = if heard.rejected {
            "- "
        } else if heard.unsure {
            "? "
        } else {
            ""
        };
        let (text, confidence) = (format!("{sign}{}", heard.text()), heard.confidence);
        rows.push(Row { truth: truth.clone(), fate, heard: text, audio_s, took_s, confidence });
    }
    rows
}
