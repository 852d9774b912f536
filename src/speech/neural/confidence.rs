//! How far a reading can be trusted: acted on, asked about, or taken for something other than the language.
//!
//! Takes: readings with their scores, what each of them means (as a key), and the frames.
//! Gives: `ConfidenceInputs` in plain numbers, and from it, through a fitted `Calibration`, a `Verdict`.
//! Never: looks into a meaning; two readings mean the same when their keys are equal.
//! Tested in: `tests/it/neural_confidence.rs`.

use serde::{Deserialize, Serialize};

use crate::speech::neural::search::{Frames, Hypothesis, add};
use crate::speech::stakes::Limits;

/// A margin above this says no more: no rival was found within the search.
const MARGIN_MAX: f64 = 14.0;
/// A reading that fits worse than this is hopeless,
const FIT_MIN: f64 = -15.0;
/// and one that fits better than this fits: all its alignments together exceed the best sequence of any units.
const FIT_MAX: f64 = 5.0;
/// More units than this in the words tell talk from the language no better: short words are met with everywhere.
const UNITS_MAX: f64 = 12.0;
/// More unexplained sound than this says no more.
const SOUND_LEFT_MAX: f64 = 5.0;
/// A word borne out less than this was not heard.
const SUPPORT_MIN: f64 = -5.0;
/// The beginning of a longer phrase that fits better, or worse, by more than this says no more.
const BEGUN_MAX: f64 = 6.0;
/// A reading that is behind another of its meaning by less, as a natural logarithm, and has fewer words stands for both:
/// a small word that changes nothing costs nothing in the grammar.
const NEARLY_AS_GOOD: f64 = 2.0;
/// Numbers taken from the evidence, the constant among them.
pub const INPUTS: usize = 9;

/// What a reading is trusted or doubted for. How loud the noise is does not count: it shows in all of these, and a map that
/// knew it would learn in which noise people talk.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct ConfidenceInputs {
    /// Natural logarithm of the odds of the best meaning against the best other meaning, 0 to 14.
    pub margin: f64,
    /// How much better the reading fits than the best sequence of any units, as a natural logarithm, -15 to 5; above 0 where
    /// its alignments together exceed that one sequence. What rare words cost does not count.
    pub fit: f64,
    /// Units in the words of the reading.
    pub units: usize,
    /// Words in the reading.
    pub words: usize,
    /// Units heard outside the words of the reading, about; 0 to 5.
    pub sound_left: f64,
    /// How well the sound bears out the word that it bears out least, of those that the meaning needs: mean over its units of
    /// the natural logarithm of the unit's highest probability there, -5 to 0.
    pub support: f64,
    /// By how much the beginning of a longer phrase fits better than the reading, as a natural logarithm, -6 to 6; -6 where
    /// none fits.
    pub begun: f64,
}

/// What each number of the evidence counts in a map: the logarithm of the odds is their weighted sum.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Weights {
    /// Where all numbers are 0.
    pub constant: f64,
    /// Of the margin.
    pub margin: f64,
    /// Of the fit in all.
    pub fit: f64,
    /// Of the fit divided by the units.
    pub fit_per_unit: f64,
    /// Of a word that stands alone.
    pub lone_word: f64,
    /// Of each unit, up to 12.
    pub units: f64,
    /// Of each unit left outside the words.
    pub sound_left: f64,
    /// Of the support of the word that has least.
    pub support: f64,
    /// Of the beginning of a longer phrase.
    pub begun: f64,
}

impl Weights {
    /// The same, in the order of `ConfidenceInputs::inputs`.
    #[must_use]
    pub fn in_order(&self) -> [f64; INPUTS] {
        let Self { constant, margin, fit, fit_per_unit, lone_word, units, sound_left, support, begun } =
            *self;
        [constant, margin, fit, fit_per_unit, lone_word, units, sound_left, support, begun]
    }
}

impl From<[f64; INPUTS]> for Weights {
    fn from(in_order: [f64; INPUTS]) -> Self {
        let [constant, margin, fit, fit_per_unit, lone_word, units, sound_left, support, begun] = in_order;
        Self { constant, margin, fit, fit_per_unit, lone_word, units, sound_left, support, begun }
    }
}

/// Two maps from evidence to a probability (logistic), and the limits set on them; fitted on tuning voices only.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    /// For "the best meaning is the right one, if it is the language".
    pub right: Weights,
    /// For "it is the language at all".
    pub language: Weights,
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
            right: Weights::from([-1.0, 0.5, 0.0, 1.0, 0.0, 0.0, -1.0, 0.5, 0.0]),
            language: Weights::from([-1.5, 0.0, 0.3, 0.0, -1.0, 0.3, -0.4, 0.0, -0.1]),
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
    /// The same, each number within its range; units are never none.
    #[must_use]
    pub fn limited(self) -> Self {
        Self {
            margin: self.margin.clamp(0.0, MARGIN_MAX),
            fit: self.fit.clamp(FIT_MIN, FIT_MAX),
            units: self.units.max(1),
            words: self.words,
            sound_left: self.sound_left.clamp(0.0, SOUND_LEFT_MAX),
            support: self.support.clamp(SUPPORT_MIN, 0.0),
            begun: self.begun.clamp(-BEGUN_MAX, BEGUN_MAX),
        }
    }

    /// The numbers that the calibration weighs: constant, margin, fit, fit a unit, lone word, units (at most 12), sound left
    /// over, support, beginning of more.
    #[allow(clippy::cast_precision_loss)] // an utterance has far fewer than 2^53 units
    #[must_use]
    pub fn inputs(&self) -> [f64; INPUTS] {
        let units = self.units.max(1) as f64;
        let lone = if self.words == 1 { 1.0 } else { 0.0 };
        [
            1.0,
            self.margin,
            self.fit,
            self.fit / units,
            lone,
            units.min(UNITS_MAX),
            self.sound_left,
            self.support,
            self.begun,
        ]
    }
}

/// By how much the first of `meanings` is ahead of the next, as a natural logarithm; infinite where it stands alone.
#[must_use]
pub fn margin(meanings: &[Meaning]) -> f64 {
    match meanings {
        [best, next, ..] => best.score - next.score,
        _ => f64::INFINITY,
    }
}

/// How much better a meaning fits the sound than the best sequence of any units, as a natural logarithm.
#[must_use]
pub fn fit(meaning: &Meaning, frames: &Frames) -> f64 {
    meaning.score - meaning.reading.rare - frames.free()
}

fn logistic(weights: &Weights, inputs: &[f64; INPUTS]) -> f64 {
    let sum: f64 = weights.in_order().iter().zip(inputs).map(|(weight, input)| weight * input).sum();
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
