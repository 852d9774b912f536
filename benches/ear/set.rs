//! A set of utterances whose words are known, and what an ear made of them.
//!
//! Takes: a folder of WAV files with `truth.tsv` (file, voice, condition, words), and an engine.
//! Gives: a `Row` for each utterance.

use std::path::{Path, PathBuf};
use std::time::Instant;

use serde::{Deserialize, Serialize};
use zonecall::clock::{Sample, Span};
use zonecall::evaluation::judge::{Fate, acts, fate, rank};
use zonecall::exam::call::Act;
use zonecall::language::pack::{Language, Pack};
use zonecall::protocol::Protocols;
use zonecall::speech::recognise::EngineId;
use zonecall::speech::recording;
use zonecall::speech::utterance::{Utterance, UtteranceAudio};

/// One line of `truth.tsv`; no words where the speech is none of the language.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Truth {
    pub file: PathBuf,
    pub voice: String,
    pub condition: String,
    pub words: String,
    /// Number of the line in its file, from 0: what is left out is chosen by it.
    pub line: usize,
}

/// One utterance as an ear heard it: what can be kept, and judged again.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Take {
    pub engine: EngineId,
    pub truth: Truth,
    pub heard: Utterance,
    pub audio_s: f64,
    pub took_s: f64,
}

/// A take, judged.
#[derive(Debug, Clone)]
pub struct Row {
    pub truth: Truth,
    pub fate: Fate,
    pub heard: Utterance,
    /// Place of the right reading among those that were reported.
    pub rank: Option<usize>,
    /// What was said, and the first reading, as acts.
    pub wanted: Vec<Act>,
    pub read: Vec<Act>,
    pub audio_s: f64,
    pub took_s: f64,
}

/// The whole language, all schemes, as the tests use it.
pub fn language() -> (Language, Protocols) {
    let protocols = Protocols::built_in().unwrap();
    let schemes = protocols.schemes.iter().flat_map(|scheme| &scheme.zones);
    let zones = [("any".to_owned(), schemes.map(|zone| zone.code.to_string()).collect())].into();
    (Pack::built_in().unwrap().for_zones(&zones), protocols)
}

/// The folder's truth.
pub fn truths(folder: &Path) -> Vec<Truth> {
    let text = std::fs::read_to_string(folder.join("truth.tsv")).unwrap();
    let rows = text.lines().skip(1).filter(|line| !line.trim().is_empty()).enumerate();
    let row = |(line, text): (usize, &str)| {
        let mut parts = text.split('\t');
        let mut next = || parts.next().unwrap_or("").trim().to_owned();
        Truth { file: folder.join(next()), voice: next(), condition: next(), words: next(), line }
    };
    rows.map(row).collect()
}

/// Whether an utterance is in the sample that takes one of `every`: each condition has other utterances.
pub fn sampled(truth: &Truth, every: usize) -> bool {
    (truth.line / 5 + truth.line % 5).is_multiple_of(every.max(1))
}

/// The file as one utterance.
pub fn segment(file: &Path) -> UtteranceAudio {
    let mut recording = recording::open(file).unwrap();
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        samples.extend(block);
    }
    let span = Span { from: Sample::FIRST, to: Sample(samples.len() as u64) };
    UtteranceAudio { span, samples, level_dbfs: -20.0, clipped: 0.0, cut: false }
}

/// Hears one of `every` utterances of `truths`.
pub fn hear(
    truths: &[Truth],
    every: usize,
    engine: &EngineId,
    recognise: &mut dyn FnMut(&UtteranceAudio) -> Utterance,
) -> Vec<Take> {
    let mut takes = Vec::new();
    for truth in truths.iter().filter(|truth| sampled(truth, every)) {
        let segment = segment(&truth.file);
        let began = Instant::now();
        let heard = recognise(&segment);
        let took_s = began.elapsed().as_secs_f64();
        let (engine, audio_s) = (engine.clone(), segment.samples.len() as f64 / 16_000.0);
        takes.push(Take { engine, truth: truth.clone(), heard, audio_s, took_s });
    }
    takes
}

/// Judges a take; none where the truth itself is no phrase that means one thing.
pub fn judged(take: Take, language: &Language, protocols: &Protocols) -> Option<Row> {
    let of = |words: &str| -> Option<Vec<Act>> {
        Some(acts(words, language, protocols)?.into_iter().map(|(act, _)| act).collect())
    };
    let Take { truth, heard, audio_s, took_s, .. } = take;
    let wanted = if truth.words.is_empty() { Vec::new() } else { of(&truth.words)? };
    Some(Row {
        fate: fate(&truth.words, &heard, language, protocols),
        rank: rank(&truth.words, &heard, language, protocols),
        wanted,
        read: if heard.rejected { Vec::new() } else { of(&heard.text()).unwrap_or_default() },
        truth,
        heard,
        audio_s,
        took_s,
    })
}
