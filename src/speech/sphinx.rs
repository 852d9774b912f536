//! PocketSphinx under the grammar, with a phone loop next to it to separate speech of the language from other sound.
//!
//! Takes: the model's folder, the language, and one utterance at a time.
//! Gives: `Utterance`s with word spans and confidences.
//! Never: unsafe code (that is `sphinx_sys`), or a word that the grammar does not have.
//! Tested in: `tests/it/hear.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::Path;

use sha2::{Digest, Sha256};

use crate::clock::Span;
use crate::language::engine::{EngineLanguage, GrammarWord};
use crate::language::graph::WordGraph;
use crate::language::word_states::Moment;
use crate::speech::denoise::denoise;
use crate::speech::dictionary::{DICTIONARY, entries};
use crate::speech::recognise::{EngineError, EngineId, Recogniser};
use crate::speech::sphinx_sys::{Decoder, SphinxSegment, SphinxSetting};
use crate::speech::utterance::{Utterance, UtteranceAudio, Word, mean_confidence};

const VERSION: &str = "5.1.1";
const PHONES: &str = "phones";
/// Samples in one 10 ms frame of the decoder.
const FRAME: u64 = 160;
/// Word insertion penalty; 0.65 to 0.2 were found best in tests on synthetic speech.
const WORD_INSERTION: f64 = 0.65;
/// Most states searched in a frame: bounds the time of a bad utterance, at no cost in accuracy.
const STATES_MAX: i32 = 1000;
/// Log-likelihood ratio a frame, in the library's units, at which a word is as likely right as wrong.
///
/// Set by eye on synthetic speech: 26 phrases and 8 sentences of talk by two flite voices in quiet room noise;
/// words of phrases lay above -45, and each sentence of talk held a word below -50.
const RATIO_HALF: f64 = -40.0;
/// How fast confidence falls with the ratio: units for a factor of e in the odds.
const RATIO_SLOPE: f64 = 8.0;
/// An utterance of less confidence than this is taken for something other than the language.
const CONFIDENCE_MIN: f64 = 0.6;
/// So is an utterance with a word of less confidence than this: talk always holds one that does not fit.
const WORD_CONFIDENCE_MIN: f64 = 0.35;
/// Lone words are easily found in noise: an utterance of one word must be surer.
const LONE_CONFIDENCE_MIN: f64 = 0.7;
/// Peak of the noise added to an utterance: perfect digital silence upsets the decoder.
const DITHER_PEAK: i16 = 2;

/// The engine.
#[derive(Debug)]
pub struct Sphinx {
    decoder: Decoder,
    id: EngineId,
    graph: WordGraph,
    /// Where in the graph an utterance begins at this moment.
    start: usize,
    /// Starts whose search the decoder holds: one takes some fifty megabytes, and an exam needs few of them.
    ready: BTreeSet<usize>,
}

impl Sphinx {
    /// Loads the model in `folder` (`en-us/`, `cmudict-en-us.dict`, `en-us-phone.lm.bin`) for the core of `language`.
    ///
    /// # Errors
    /// When a file is missing, or a word of the grammar has no pronunciation: all such words are named.
    pub fn load(folder: &Path, language: &EngineLanguage) -> Result<Self, EngineError> {
        // The whole language is too wide for its search: words are missed, and it takes a gigabyte.
        let language = language.core.as_deref().unwrap_or(language);
        let (acoustic, phones) = (folder.join("en-us"), folder.join("en-us-phone.lm.bin"));
        let dictionary = dictionary(&folder.join(DICTIONARY), language)?;
        let kept = temporary(&dictionary)?;
        let mut hash = Sha256::new();
        for file in
            ["mdef", "means", "variances", "sendump", "transition_matrices", "feat.params", "noisedict"]
        {
            hash.update(read(&acoustic.join(file))?);
        }
        hash.update(read(&phones)?);
        let mut decoder = Decoder::new(&[
            ("hmm", SphinxSetting::Text(&acoustic.to_string_lossy())),
            ("dict", SphinxSetting::Text(&kept.path().to_string_lossy())),
            ("bestpath", SphinxSetting::Switch(false)), // hangs on some utterances with a large grammar
            ("wip", SphinxSetting::Real(WORD_INSERTION)),
            ("maxhmmpf", SphinxSetting::Whole(STATES_MAX)),
            // Both searches must score against the same best state, or their scores cannot be compared.
            ("compallsen", SphinxSetting::Switch(true)),
            ("loglevel", SphinxSetting::Text("FATAL")),
        ])?;
        decoder.add_phone_loop(PHONES, &phones.to_string_lossy())?;
        let id = EngineId {
            name: "sphinx".to_owned(),
            version: VERSION.to_owned(),
            model: "en-us".to_owned(),
            model_sha256: crate::hex(&hash.finalize()),
        };
        let graph = WordGraph::new(&language.graph);
        let start = graph.starts.of(Moment::default());
        let mut this = Self { decoder, id, graph, start, ready: BTreeSet::new() };
        // A grammar that the decoder refuses must not wait for the first utterance.
        this.search()?;
        Ok(this)
    }

    /// The name of the search that begins at this moment's start.
    fn search(&mut self) -> Result<String, EngineError> {
        let name = format!("exam-{}", self.start);
        if !self.ready.contains(&self.start) {
            let text = temporary(&self.graph.fsg(self.start))?;
            self.decoder.add_graph(&name, &text.path().to_string_lossy())?;
            self.ready.insert(self.start);
        }
        Ok(name)
    }
}

impl Recogniser for Sphinx {
    fn id(&self) -> EngineId {
        self.id.clone()
    }

    fn recognise(&mut self, segment: &UtteranceAudio) -> Result<Utterance, EngineError> {
        let quiet = denoise(&segment.samples).map_err(|source| EngineError::Denoise { source })?;
        let samples = dithered(&quiet);
        let search = self.search()?;
        let (score, pieces) = self.decoder.decode(&search, &samples)?;
        let mut words = Vec::new();
        if pieces.iter().any(is_word) {
            let (_, phones) = self.decoder.decode(PHONES, &samples)?;
            words = pieces
                .iter()
                .filter(|piece| is_word(piece))
                .map(|piece| word(piece, &phones, segment.span))
                .collect();
        }
        let confidence = mean_confidence(&words);
        let worst = words.iter().map(|word| word.confidence).fold(1.0, f64::min);
        let least = if words.len() == 1 { LONE_CONFIDENCE_MIN } else { CONFIDENCE_MIN };
        Ok(Utterance {
            span: segment.span,
            rejected: words.is_empty() || confidence < least || worst < WORD_CONFIDENCE_MIN,
            unsure: false,
            rivals: Vec::new(),
            words,
            confidence,
            score: f64::from(score),
            level_dbfs: segment.level_dbfs,
            clipped: segment.clipped,
        })
    }

    fn follow(&mut self, now: Moment<'_>) {
        self.start = self.graph.starts.of(now);
    }
}

/// `<sil>`, `[NOISE]`, `++SMACK++` and `(NULL)` are no words.
fn is_word(piece: &SphinxSegment) -> bool {
    !piece.text.starts_with(['<', '[', '+', '('])
}

fn word(piece: &SphinxSegment, phones: &[SphinxSegment], utterance: Span) -> Word {
    // A variant comes back as `word(2)`.
    let text = piece.text.split('(').next().unwrap_or_default().to_owned();
    let sample =
        |frame: i32| (utterance.from + u64::try_from(frame.max(0)).unwrap_or(0) * FRAME).min(utterance.to);
    let span = Span { from: sample(piece.from), to: sample(piece.to + 1) };
    let odds = (ratio(piece, phones) - RATIO_HALF) / RATIO_SLOPE;
    let confidence = 1.0 / (1.0 + (-odds).exp());
    Word { text, span, confidence: (confidence * 1000.0).round() / 1000.0 }
}

/// How much worse a word fits than the best sequence of any phones over the same frames, a frame.
fn ratio(word: &SphinxSegment, phones: &[SphinxSegment]) -> f64 {
    let free: f64 = phones
        .iter()
        .map(|phone| {
            let shared = (word.to.min(phone.to) - word.from.max(phone.from) + 1).max(0);
            f64::from(phone.score) * f64::from(shared) / f64::from(phone.to - phone.from + 1)
        })
        .sum();
    (f64::from(word.score) - free) / f64::from(word.to - word.from + 1)
}

/// The samples with a little noise, always the same for the same samples.
fn dithered(samples: &[i16]) -> Vec<i16> {
    let mut state: u32 = 0x2545_F491;
    let noisy = |sample: &i16| {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        let noise = i16::try_from(state % 5).unwrap_or(0) - DITHER_PEAK;
        sample.saturating_add(noise)
    };
    samples.iter().map(noisy).collect()
}

/// A file for as long as the engine needs to read it.
fn temporary(text: &str) -> Result<tempfile::NamedTempFile, EngineError> {
    let written =
        tempfile::NamedTempFile::new().and_then(|file| std::fs::write(file.path(), text).map(|()| file));
    written.map_err(|source| EngineError::Model { path: std::env::temp_dir(), source })
}

fn read(path: &Path) -> Result<Vec<u8>, EngineError> {
    std::fs::read(path).map_err(|source| EngineError::Model { path: path.to_owned(), source })
}

/// A dictionary of the grammar's words only: the pack's pronunciations first, then the model's.
fn dictionary(file: &Path, language: &EngineLanguage) -> Result<String, EngineError> {
    let bytes = read(file)?;
    let known = String::from_utf8_lossy(&bytes);
    let mut sounds: BTreeMap<&str, Vec<&str>> =
        language.words.iter().map(|word| (word.text.as_str(), Vec::new())).collect();
    for entry in &language.pronunciations {
        sounds.entry(&entry.word).or_default().push(&entry.phones);
    }
    for (_, word, phones) in entries(&known) {
        if let Some(said) = sounds.get_mut(word)
            && !said.contains(&phones)
        {
            said.push(phones);
        }
    }
    let silent: Vec<GrammarWord> =
        language.words.iter().filter(|word| sounds[word.text.as_str()].is_empty()).cloned().collect();
    if !silent.is_empty() {
        return Err(EngineError::Unpronounced { words: silent });
    }
    let mut text = String::new();
    for word in &language.words {
        for (idx, phones) in sounds[word.text.as_str()].iter().enumerate() {
            let variant = if idx == 0 { String::new() } else { format!("({})", idx + 1) };
            let _ = writeln!(text, "{}{variant} {phones}", word.text);
        }
    }
    Ok(text)
}
