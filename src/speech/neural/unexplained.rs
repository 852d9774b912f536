//! What the words of a reading leave over: sound that none of them explains.
//!
//! Takes: the frames of each word, the frames of the utterance.
//! Gives: one plain number, about 0 where every sound belongs to a word.
//! Never: knows a word. A word that was said and not read shows here and nowhere else.
//! Tested in: `tests/it/neural_confidence.rs`.

use crate::speech::neural::align::WordFrames;
use crate::speech::neural::lexicon::BLANK;
use crate::speech::neural::search::Frames;

/// A unit this many frames away from a word still belongs to it: peaks are not sharp.
const BESIDE: usize = 1;

/// Probability of any unit, added up over the frames outside all words: about the units left over.
#[must_use]
pub fn sound_left(spans: &[WordFrames], frames: &Frames) -> f64 {
    let outside =
        |frame: usize| spans.iter().all(|word| frame + BESIDE < word.from || frame > word.to + BESIDE);
    let unit = |(_, row): (usize, &[f32])| 1.0 - f64::from(row[BLANK]).exp();
    frames.rows().enumerate().filter(|(frame, _)| outside(*frame)).map(unit).sum()
}
