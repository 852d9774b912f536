//! How well the sound bears each word of a reading out.
//!
//! Takes: the words, where they lie, and the frames they were read from.
//! Gives: for each word a natural logarithm, about 0 where every unit of it was heard, far below where one was made up.
//! Never: compares words; a grammar that allows nothing else makes up a word where none was said.
//! Tested in: `tests/it/neural_confidence.rs`.

use crate::speech::neural::align::WordFrames;
use crate::speech::neural::lexicon::Lexicon;
use crate::speech::neural::search::Frames;

/// A unit may peak this many frames away from the word.
const BESIDE: usize = 1;

/// For each word the mean, over its units, of the logarithm of the unit's highest probability within the word.
#[must_use]
pub fn support(words: &[String], spans: &[WordFrames], lexicon: &Lexicon, frames: &Frames) -> Vec<f64> {
    let rows: Vec<&[f32]> = frames.rows().collect();
    let one = |(word, span): (&String, &WordFrames)| {
        let (from, to) = (span.from.saturating_sub(BESIDE), (span.to + BESIDE + 1).min(rows.len()));
        let peak = |unit: &usize| {
            rows[from.min(to)..to].iter().map(|row| f64::from(row[*unit])).fold(f64::NEG_INFINITY, f64::max)
        };
        let sounds = lexicon.sounds(word).iter();
        let mean = |sound: &Vec<usize>| sound.iter().map(peak).sum::<f64>() / mean_of(sound.len());
        sounds.map(mean).fold(f64::NEG_INFINITY, f64::max)
    };
    words.iter().zip(spans).map(one).collect()
}

#[allow(clippy::cast_precision_loss)] // a word has a few units
fn mean_of(len: usize) -> f64 {
    len.max(1) as f64
}
