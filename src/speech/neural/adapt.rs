//! The head's last layer bent to one person's voice.
//!
//! Takes: phrases that the person read, as the head hears them, and their words.
//! Gives: `Adaptation`: what to add to the head's answer for each unit, from what its last layer is given.
//! Never: changes the head, the lexicon or the trust in a reading.
//! Tested in: `tests/it/neural_adapt.rs`, the slope against differences of the loss.
//!
//! The last layer alone is fitted, by the head's own criterion, connectionist temporal classification (Graves et al.
//! 2006): the slope for a unit in a frame is its probability less the share of all alignments that have it there. Few
//! and small steps keep what was learned from many voices. On voices that only picked settings, fitting the answers
//! themselves did not help, and fitting the whole head did little better.

use serde::{Deserialize, Serialize};

use crate::speech::neural::align::shares;
use crate::speech::neural::lexicon::Lexicon;
use crate::speech::neural::search::Frames;

/// Steps of the fit.
pub const STEPS: usize = 30;
/// How far a step goes (Adam, Kingma and Ba 2015; its other numbers are the usual ones).
const RATE: f64 = 1e-3;
const MOMENTUM: (f64, f64) = (0.9, 0.999);

/// What the head makes of an utterance: its answer, and what its last layer made that from; as many frames of both.
#[derive(Debug, Clone, PartialEq)]
pub struct AdaptationSample {
    /// For each frame the natural logarithm of each unit's probability.
    pub frames: Frames,
    /// For each frame what the last layer was given.
    pub inner: Frames,
}

/// A phrase that was read.
#[derive(Debug, Clone)]
pub struct ReadPhrase {
    /// What the head makes of it.
    pub heard: AdaptationSample,
    /// Its words.
    pub words: Vec<String>,
}

/// For each unit what is added to its answer: a weight for each number that the last layer is given, and a constant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Adaptation {
    n_units: usize,
    n_inner: usize,
    weights: Vec<f32>,
}

impl Adaptation {
    /// Adds nothing.
    #[must_use]
    pub fn none(n_units: usize, n_inner: usize) -> Self {
        Self { n_units, n_inner, weights: vec![0.0; n_units * (n_inner + 1)] }
    }

    /// The weights, unit by unit.
    pub fn weights(&self) -> impl Iterator<Item = f32> {
        self.weights.iter().copied()
    }

    /// The answer as it suits this voice: again natural logarithms of probabilities that add up to one.
    ///
    /// What comes from a head of another shape comes back as it is.
    #[must_use]
    #[allow(clippy::cast_possible_truncation)] // what the search takes are 32-bit numbers
    pub fn apply(&self, heard: &AdaptationSample) -> Frames {
        if heard.inner.rows().len() != heard.frames.rows().len() {
            return heard.frames.clone();
        }
        let mut values = Vec::new();
        for (row, inner) in heard.frames.rows().zip(heard.inner.rows()) {
            if !self.fits(row, inner) {
                return heard.frames.clone();
            }
            values.extend(self.bent(row, inner).into_iter().map(|value| value as f32));
        }
        Frames::new(values, self.n_units)
    }

    fn fits(&self, row: &[f32], inner: &[f32]) -> bool {
        let width = self.n_inner + 1;
        row.len() == self.n_units && inner.len() == self.n_inner && self.weights.len() == self.n_units * width
    }

    fn bent(&self, row: &[f32], inner: &[f32]) -> Vec<f64> {
        let of = |(weights, value): (&[f32], &f32)| {
            let (constant, weights) = weights.split_last().unwrap_or((&0.0, &[]));
            let sum: f32 = weights.iter().zip(inner).map(|(weight, inner)| weight * inner).sum();
            f64::from(value + constant + sum)
        };
        let sums: Vec<f64> = self.weights.chunks_exact(self.n_inner + 1).zip(row).map(of).collect();
        let most = sums.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let whole = most + sums.iter().map(|sum| (sum - most).exp()).sum::<f64>().ln();
        sums.into_iter().map(|sum| sum - whole).collect()
    }

    /// Fits the weights to what was read. Phrases that cannot have been said in their frames teach nothing.
    #[must_use]
    #[allow(clippy::cast_possible_truncation)] // weights are 32-bit numbers
    pub fn fit(read: &[ReadPhrase], lexicon: &Lexicon, steps: usize) -> Self {
        let width = |rows: &Frames| rows.rows().next().map_or(0, <[f32]>::len);
        let (n_units, n_inner) =
            read.first().map_or((0, 0), |one| (width(&one.heard.frames), width(&one.heard.inner)));
        let mut this = Self::none(n_units, n_inner);
        let (mut mean, mut spread) = (vec![0.0; this.weights.len()], vec![0.0; this.weights.len()]);
        let (mut faded_mean, mut faded_spread) = (1.0, 1.0);
        for _ in 0..steps {
            let (_, slope) = this.loss(read, lexicon);
            faded_mean *= MOMENTUM.0;
            faded_spread *= MOMENTUM.1;
            for (idx, slope) in slope.into_iter().enumerate() {
                mean[idx] = MOMENTUM.0 * mean[idx] + (1.0 - MOMENTUM.0) * slope;
                spread[idx] = MOMENTUM.1 * spread[idx] + (1.0 - MOMENTUM.1) * slope * slope;
                let size: f64 = spread[idx] / (1.0 - faded_spread);
                this.weights[idx] -= (RATE * mean[idx] / (1.0 - faded_mean) / (size.sqrt() + 1e-8)) as f32;
            }
        }
        this
    }

    /// What the words cost, a unit of them: the natural logarithm of their improbability; and its slope.
    #[must_use]
    #[allow(clippy::cast_precision_loss)] // phrases have few units
    pub fn loss(&self, read: &[ReadPhrase], lexicon: &Lexicon) -> (f64, Vec<f64>) {
        let width = self.n_inner + 1;
        let (mut loss, mut n_units, mut slope) = (0.0, 0, vec![0.0; self.weights.len()]);
        for one in read {
            let pairs = || one.heard.frames.rows().zip(one.heard.inner.rows());
            if !pairs().all(|(row, inner)| self.fits(row, inner)) {
                continue;
            }
            let bent: Vec<Vec<f64>> = pairs().map(|(row, inner)| self.bent(row, inner)).collect();
            let Some(said) = shares(&one.words, lexicon, &bent) else { continue };
            loss -= said.score;
            let sounds = one.words.iter().filter_map(|word| lexicon.sounds(word).first());
            n_units += sounds.map(Vec::len).sum::<usize>();
            for (((_, inner), bent), shares) in pairs().zip(&bent).zip(&said.shares) {
                for (unit, (value, share)) in bent.iter().zip(shares).enumerate() {
                    let pull = value.exp() - share;
                    let slope = &mut slope[unit * width..(unit + 1) * width];
                    slope[self.n_inner] += pull;
                    slope.iter_mut().zip(inner).for_each(|(slope, inner)| *slope += pull * f64::from(*inner));
                }
            }
        }
        let per = 1.0 / n_units.max(1) as f64;
        slope.iter_mut().for_each(|slope| *slope *= per);
        (loss * per, slope)
    }
}
