//! The engine of the Vosk ear, on the crate `vosk`.
//!
//! Takes: model folder, the language, and one utterance at a time.
//! Gives: `Utterance`s with word spans and confidences, and the grammar's words that the model does not know.
//! Never: a word that the grammar does not have.
//! Tested in: `tests/it/vosk.rs`.

use std::collections::BTreeSet;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};
use vosk::{DecodingState, LogLevel, Model, Recognizer};

use crate::clock::{SAMPLE_RATE_HZ, Span};
use crate::language::engine::{EngineLanguage, GrammarWord};
use crate::language::graph::WordGraph;
use crate::language::word_states::Moment;
use crate::speech::recognise::{EngineError, EngineId, Recogniser};
use crate::speech::utterance::{Utterance, UtteranceAudio, Word, mean_confidence};
use crate::speech::vosk::parts::{FILES, VoskParts};

/// The library that set-up pins.
const VERSION: &str = "0.3.45";
/// What a model that has it writes for speech outside the grammar.
const UNKNOWN: &str = "[unk]";
/// The rate that utterances have; a model that names none hears it, too, for it is the default of the models' toolkit.
const RATE_HZ: u16 = 16_000;
/// Signs that the crate would not escape in the grammar, and the words of no pack have.
const UNSAFE: [char; 2] = ['"', '\\'];
/// An utterance with a word of less confidence than this is taken for something other than the language.
///
/// By eye, on espeak-ng's Korean voices only: of 150 utterances it kept 44 right ones and let 16 wrong ones pass, most of
/// those with a full 1.0.
const WORD_CONFIDENCE_MIN: f64 = 0.8;
/// Quiet before and after an utterance, in samples: without it the first and last sounds are often lost.
const QUIET: usize = 4_800;
/// After so much sound a fresh listener goes on: the library's times count from the listener's first sample, and stay
/// exact.
const LISTENER_SAMPLES_MAX: u64 = 600 * SAMPLE_RATE_HZ as u64;

/// The engine.
pub struct Vosk {
    listener: Recognizer,
    model: Model,
    folder: PathBuf,
    id: EngineId,
    /// The sentences that the model learns the grammar from.
    sentences: Vec<String>,
    words: BTreeSet<String>,
    unknown: Vec<GrammarWord>,
    /// Samples that the listener has been given.
    given: u64,
}

impl Vosk {
    /// Loads the model for the core of `language`.
    ///
    /// Phrases with a word that the model does not know cannot be heard; `unknown` names those words.
    ///
    /// # Errors
    /// When a file of the model is missing, the model hears another sample rate or can take no grammar,
    /// or knows none of the words.
    pub fn load(parts: &VoskParts, language: &EngineLanguage) -> Result<Self, EngineError> {
        // It learns from sentences which word follows which: the whole language makes millions of them.
        let language = language.core.as_deref().unwrap_or(language);
        let unfit = |reason: String| EngineError::VoskModel { path: parts.model.clone(), reason };
        if let Some(file) = FILES.iter().find(|file| !parts.model.join(file).is_file()) {
            let fixed = parts.model.join("graph/HCLG.fst").is_file();
            let why = if fixed { ", for its graph is fixed and takes no grammar" } else { "" };
            return Err(unfit(format!("it has no `{file}`{why}")));
        }
        let settings = parts.model.join("conf/mfcc.conf");
        let settings = std::fs::read_to_string(&settings).map_err(|error| unfit(error.to_string()))?;
        let rate = sample_rate(&settings);
        if rate != RATE_HZ.to_string() {
            return Err(unfit(format!("it expects {rate} Hz, but {RATE_HZ} is needed")));
        }
        vosk::set_log_level(LogLevel::Error);
        let mut model = Model::new(parts.model.to_string_lossy())
            .ok_or_else(|| unfit("the library cannot read it".to_owned()))?;
        let mut knows = |word: &str| !word.contains(UNSAFE) && model.find_word(word).is_some();
        let (known, unknown): (Vec<_>, Vec<_>) =
            language.words.iter().cloned().partition(|word| knows(&word.text));
        if known.is_empty() {
            return Err(unfit(
                "it knows no word of the grammar; it is a model of another language".to_owned(),
            ));
        }
        let words: BTreeSet<String> = known.into_iter().map(|word| word.text).collect();
        let mut sentences = WordGraph::new(&language.graph).examples();
        sentences.retain(|sentence| sentence.split(' ').all(|word| words.contains(word)));
        if knows(UNKNOWN) {
            sentences.push(UNKNOWN.to_owned());
        }
        let listener = listener(&model, &sentences, &parts.model)?;
        let id = EngineId {
            name: "vosk".to_owned(),
            version: VERSION.to_owned(),
            model: parts.model.file_name().unwrap_or_default().to_string_lossy().into_owned(),
            model_sha256: sha256(&parts.model).map_err(|error| unfit(error.to_string()))?,
        };
        Ok(Self { listener, model, folder: parts.model.clone(), id, sentences, words, unknown, given: 0 })
    }

    /// Words of the grammar that the model does not know.
    #[must_use]
    pub fn unknown(&self) -> &[GrammarWord] {
        &self.unknown
    }

    /// The words of the utterance, and when the utterance began by the library's count.
    fn words_in(&mut self, segment: &UtteranceAudio) -> Result<(Vec<VoskWord>, u64), EngineError> {
        if self.given > LISTENER_SAMPLES_MAX {
            self.listener = listener(&self.model, &self.sentences, &self.folder)?;
            self.given = 0;
        }
        let began = self.given + QUIET as u64;
        let quiet = [0; QUIET];
        let samples = [&quiet, segment.samples.as_slice(), &quiet].concat();
        match self.listener.accept_waveform(&samples) {
            Ok(DecodingState::Failed) => return Err(refused(&self.folder, "hear", "it refused the sound")),
            Err(error) => return Err(refused(&self.folder, "hear", error)),
            Ok(_) => {}
        }
        self.given += samples.len() as u64;
        let found = self.listener.final_result().single().map(|found| found.result).unwrap_or_default();
        Ok((found.iter().map(VoskWord::from).collect(), began))
    }
}

/// A word; times in seconds since the listener's first sample.
struct VoskWord {
    text: String,
    start_s: f64,
    end_s: f64,
    confidence: f64,
}

impl From<&vosk::Word<'_>> for VoskWord {
    fn from(word: &vosk::Word<'_>) -> Self {
        let (start_s, end_s) = (f64::from(word.start), f64::from(word.end));
        Self { text: word.word.to_owned(), start_s, end_s, confidence: f64::from(word.conf) }
    }
}

/// Hears utterances under the grammar; the results hold words, times and confidences.
fn listener(model: &Model, sentences: &[String], folder: &Path) -> Result<Recognizer, EngineError> {
    let mut listener = Recognizer::new_with_grammar(model, f32::from(RATE_HZ), sentences)
        .ok_or_else(|| refused(folder, "take the grammar", "it gave no listener"))?;
    listener.set_words(true);
    Ok(listener)
}

impl Recogniser for Vosk {
    fn id(&self) -> EngineId {
        self.id.clone()
    }

    fn recognise(&mut self, segment: &UtteranceAudio) -> Result<Utterance, EngineError> {
        let (found, began) = self.words_in(segment)?;
        let foreign = found.iter().any(|piece| !self.words.contains(&piece.text));
        let pieces = found.into_iter().filter(|piece| self.words.contains(&piece.text));
        let words: Vec<Word> = pieces.map(|piece| word(piece, began, segment.span)).collect();
        let confidence = mean_confidence(&words);
        let worst = words.iter().map(|word| word.confidence).fold(1.0, f64::min);
        Ok(Utterance {
            span: segment.span,
            rejected: foreign || words.is_empty() || worst < WORD_CONFIDENCE_MIN,
            unsure: false,
            rivals: Vec::new(),
            words,
            confidence,
            score: 0.0,
            level_dbfs: segment.level_dbfs,
            clipped: segment.clipped,
        })
    }

    /// The model knows which word follows which, but not what was said before that: any limb's zones can be heard, and answers at any time.
    fn follow(&mut self, _now: Moment<'_>) {}
}

fn refused(model: &Path, what: &'static str, reason: impl ToString) -> EngineError {
    EngineError::Vosk { path: model.to_owned(), what, reason: reason.to_string() }
}

/// A word with its place in the audio, never outside its utterance.
fn word(piece: VoskWord, began: u64, utterance: Span) -> Word {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    // within the utterance, and not negative
    let sample = |time_s: f64| {
        let counted = (time_s * f64::from(SAMPLE_RATE_HZ)).max(0.0) as u64;
        (utterance.from + counted.saturating_sub(began)).min(utterance.to)
    };
    let span = Span { from: sample(piece.start_s), to: sample(piece.end_s) };
    Word { text: piece.text, span, confidence: piece.confidence.clamp(0.0, 1.0) }
}

/// The rate in a model's `mfcc.conf`, in Hz.
fn sample_rate(settings: &str) -> String {
    let named = settings.lines().find_map(|line| line.trim().strip_prefix("--sample-frequency="));
    let rate =
        named.map(|rate| rate.split('#').next().unwrap_or_default().trim().trim_end_matches(".0").to_owned());
    rate.unwrap_or_else(|| RATE_HZ.to_string())
}

/// SHA-256 over the model's files, in the order of their paths.
fn sha256(folder: &Path) -> std::io::Result<String> {
    let mut files = Vec::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(next) = folders.pop() {
        for entry in std::fs::read_dir(next)? {
            let path = entry?.path();
            if path.is_dir() { folders.push(path) } else { files.push(path) }
        }
    }
    files.sort();
    let (mut hash, mut block) = (Sha256::new(), vec![0; 1 << 20]);
    for file in files {
        let mut file = std::fs::File::open(file)?;
        loop {
            let n = file.read(&mut block)?;
            if n == 0 {
                break;
            }
            hash.update(&block[..n]);
        }
    }
    Ok(crate::hex(&hash.finalize()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Sample;

    #[test]
    fn a_rate_that_is_not_named_is_the_toolkits_default() {
        assert_eq!(sample_rate("--use-energy=false\n--num-ceps=40\n"), "16000");
        assert_eq!(sample_rate("--sample-frequency=8000 # telephone\n"), "8000");
        assert_eq!(sample_rate("  --sample-frequency=16000.0\n"), "16000");
    }

    #[test]
    fn a_word_lies_in_its_utterance_whatever_the_library_counts() {
        let utterance = Span { from: Sample(100_000), to: Sample(116_000) };
        let piece = |start_s, end_s| VoskWord { text: "x".to_owned(), start_s, end_s, confidence: 1.5 };
        let began = 32_000;
        let inside = word(piece(2.25, 2.5), began, utterance);
        assert_eq!(
            (inside.span, inside.confidence),
            (Span { from: Sample(104_000), to: Sample(108_000) }, 1.0)
        );
        assert_eq!(word(piece(1.0, 9.0), began, utterance).span, utterance);
    }
}
