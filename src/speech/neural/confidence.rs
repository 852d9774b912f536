//! How far a reading can be trusted: acted on, asked about, or taken for something other than the language.
//!
//! Takes: readings with their scores, what each of them means (as a key), the frames, and how noisy the utterance is.
//! Gives: `ConfidenceInputs` in plain numbers, and from it, through a fitted `Calibration`, a `Verdict`.
//! Never: looks into a meaning; two readings mean the same when their keys are equal.
//! Tested in: `tests/it/neural_confidence.rs`.

use serde::{Deserialize, Serialize};

use crate::speech::neural::lexicon::BLANK;
use crate::speech::neural::search::{Frames, Hypothesis, add};
use crate::speech::neural::unexplained::UnexplainedSpeech;
use crate::speech::stakes::Limits;

/// A margin above this says no more: no rival was found within the search.
const MARGIN_MAX: f64 = 14.0;
/// Scores a word below this are all equally hopeless.
const PER_WORD_MIN: f64 = -15.0;
/// And above this all equally good.
const PER_WORD_MAX: f64 = 15.0;
/// Loudness differences of speech and background beyond this, in dB, are as good as quiet.
const LIFT_MAX_DB: f64 = 40.0;
/// A reading that is behind another of its meaning by less, as a natural logarithm, and has fewer words stands for both:
/// a small word that changes nothing costs nothing in the grammar.
const NEARLY_AS_GOOD: f64 = 2.0;
/// Length of a frame of loudness: 20 ms at 16 kHz.
const LOUDNESS_FRAME: usize = 320;
/// Numbers taken from the evidence, the constant among them.
pub const INPUTS: usize = 9;

/// What a reading is trusted or doubted for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ConfidenceInputs {
    /// Natural logarithm of the odds of the best meaning against the best other meaning, 0 to 14.
    pub margin: f64,
    /// How much better the reading fits than the best sequence of any units, a word; about 0 at best.
    pub fit: f64,
    /// How much better the reading fits than silence and speech outside the language, a word.
    pub sense: f64,
    /// How far the loud parts of the utterance are above its quiet parts, in dB, 0 to 40.
    pub lift_db: f64,
    /// Words in the reading.
    pub words: usize,
    /// Units heard outside the words of the reading, about; 0 to 5.
    pub sound_left: f64,
    /// The longest loud stretch outside the words, in seconds; 0 to 1.
    pub wordless_s: f64,
}

/// Two maps from evidence to a probability (logistic), and the limits set on them; fitted on tuning voices only.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// Weights for "the best meaning is the right one", in the order of `inputs`.
    pub right: [f64; INPUTS],
    /// Weights for "it is the language at all".
    pub language: [f64; INPUTS],
    /// An utterance less probable than this to be the language is taken for something else.
    pub language_min: f64,
    /// An utterance less probable than this to be the language is not acted on: people talking are worse than a question.
    pub language_sure: f64,
    /// A reading less probable than this to be right, if it is the language, is asked about.
    pub right_min: f64,
    /// What more is wanted where an error costs much.
    #[serde(default, skip_serializing_if = "Limits::is_empty")]
    pub limits: Limits,
}

/// What to do with a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Take it as said.
    Act,
    /// Probably the language, but not surely this: ask which.
    Ask,
    /// Take it for something other than the language.
    Reject,
}

/// Readings of one meaning.
#[derive(Debug, Clone, PartialEq)]
pub struct Meaning {
    /// The best of them; a shorter one where it is nearly as good.
    pub reading: Hypothesis,
    /// Natural logarithm of their probabilities, added up.
    pub score: f64,
}

impl Calibration {
    /// Where nothing was fitted: set by hand, and wary, so that little is acted on.
    #[must_use]
    pub fn unfitted() -> Self {
        Self {
            right: [-1.0, 0.8, 0.0, 0.4, 0.0, 0.0, 0.0, -1.0, -1.0],
            language: [0.0, 0.0, 0.0, 0.6, 0.3, 0.0, 0.0, -1.0, -1.0],
            language_min: 0.3,
            language_sure: 0.9,
            right_min: 0.95,
            limits: Limits::new(),
        }
    }

    /// Probability of being the language, and of the best meaning being right if it is.
    #[must_use]
    pub fn probabilities(&self, evidence: &ConfidenceInputs) -> (f64, f64) {
        let inputs = evidence.inputs();
        (logistic(&self.language, &inputs), logistic(&self.right, &inputs))
    }

    /// What to do, and how probable the best meaning is.
    #[must_use]
    pub fn verdict(&self, evidence: &ConfidenceInputs) -> (Verdict, f64) {
        let (language, right) = self.probabilities(evidence);
        let both = language * right;
        if language < self.language_min {
            (Verdict::Reject, both)
        } else if language >= self.language_sure && right >= self.right_min {
            (Verdict::Act, both)
        } else {
            (Verdict::Ask, both)
        }
    }
}

impl ConfidenceInputs {
    /// The numbers that the calibration weighs: constant, margin, margin times lift, fit, sense, lift, lone word,
    /// sound left over, loud stretch without words.
    #[must_use]
    pub fn inputs(&self) -> [f64; INPUTS] {
        let lift = self.lift_db / LIFT_MAX_DB;
        let lone = if self.words == 1 { 1.0 } else { 0.0 };
        let left = [self.sound_left, self.wordless_s];
        [1.0, self.margin, self.margin * lift, self.fit, self.sense, lift, lone, left[0], left[1]]
    }
}

fn logistic(weights: &[f64], inputs: &[f64]) -> f64 {
    let sum: f64 = weights.iter().zip(inputs).map(|(weight, input)| weight * input).sum();
    1.0 / (1.0 + (-sum).exp())
}

/// Joins readings of one meaning; the most probable meaning comes first.
pub fn meanings(readings: &[Hypothesis], key: impl Fn(&[&str]) -> String) -> Vec<Meaning> {
    let mut groups: Vec<(String, Meaning)> = Vec::new();
    for reading in readings {
        let words: Vec<&str> = reading.words.iter().map(String::as_str).collect();
        let key = key(&words);
        match groups.iter_mut().find(|(known, _)| *known == key) {
            Some((_, meaning)) => {
                meaning.score = add(meaning.score, reading.score);
                let best = &meaning.reading;
                if reading.words.len() < best.words.len() && best.score - reading.score < NEARLY_AS_GOOD {
                    meaning.reading = reading.clone();
                }
            }
            None => groups.push((key, Meaning { reading: reading.clone(), score: reading.score })),
        }
    }
    groups.sort_by(|a, b| b.1.score.total_cmp(&a.1.score));
    groups.into_iter().map(|(_, meaning)| meaning).collect()
}

/// The evidence for the first of `meanings`; `other` is the unit for speech outside the language, where the head has one.
#[allow(clippy::cast_precision_loss)] // an utterance has far fewer than 2^53 words
#[must_use]
pub fn evidence(
    meanings: &[Meaning],
    frames: &Frames,
    other: Option<usize>,
    lift_db: f64,
    left: UnexplainedSpeech,
) -> Option<ConfidenceInputs> {
    let best = meanings.first()?;
    let margin = meanings.get(1).map_or(MARGIN_MAX, |next| best.score - next.score);
    let is_outside = |row: &[f32]| {
        let blank = f64::from(row[BLANK]);
        other.map_or(blank, |other| add(blank, f64::from(row[other])))
    };
    let outside: f64 = frames.rows().map(is_outside).sum();
    let sound = best.score - best.reading.rare;
    let words = best.reading.words.len();
    let per_word = |score: f64| (score / words.max(1) as f64).clamp(PER_WORD_MIN, PER_WORD_MAX);
    Some(ConfidenceInputs {
        margin: margin.clamp(0.0, MARGIN_MAX),
        fit: per_word(sound - frames.free()),
        sense: per_word(sound - outside),
        lift_db,
        words,
        sound_left: left.sound,
        wordless_s: left.wordless_s,
    })
}

/// How far the loud parts are above the quiet ones: the loudest tenth of 20 ms frames against the quietest, in dB.
#[must_use]
pub fn lift_db(samples: &[i16]) -> f64 {
    let power = |frame: &[i16]| frame.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>();
    let mut powers: Vec<f64> = samples.chunks_exact(LOUDNESS_FRAME).map(power).collect();
    if powers.is_empty() {
        return 0.0;
    }
    powers.sort_by(f64::total_cmp);
    let tenth = powers.len() / 10;
    let (low, high) = (powers[tenth], powers[powers.len() - 1 - tenth]);
    // One step of 16 bits in each sample: digital silence is no quieter than that.
    let least = LOUDNESS_FRAME as f64;
    (10.0 * (high.max(least) / low.max(least)).log10()).clamp(0.0, LIFT_MAX_DB)
}
