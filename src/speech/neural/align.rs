//! When each word of a reading was said.
//!
//! Takes: the words, the lexicon, and the frames they were read from.
//! Gives: for each word the frames of its units on the most probable alignment; how all alignments share the units.
//! Never: another sentence than the one given.
//! Tested in: `tests/it/neural_search.rs`.

use crate::speech::neural::lexicon::{BLANK, Lexicon};
use crate::speech::neural::search::{Frames, add};

/// Frames from the first to the last unit of a word; the last is included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WordFrames {
    /// First frame, from 0.
    pub from: usize,
    /// Last frame.
    pub to: usize,
}

/// A unit of one way to say one of the words, or the blank before it or after the last.
struct AlignmentCell {
    word: usize,
    unit: usize,
    /// Cells from which this one can be entered, itself not among them.
    before: Vec<usize>,
    starts: bool,
    ends: bool,
}

/// The best alignment of `words` (Viterbi); none when they do not fit into the frames.
#[must_use]
pub fn align(words: &[String], lexicon: &Lexicon, frames: &Frames) -> Option<Vec<WordFrames>> {
    let cells = cells(words, lexicon);
    let mut best = vec![f64::NEG_INFINITY; cells.len()];
    let mut came: Vec<Vec<usize>> = Vec::with_capacity(frames.rows().len());
    for (time, row) in frames.rows().enumerate() {
        let mut now = vec![f64::NEG_INFINITY; cells.len()];
        let mut from = vec![0; cells.len()];
        for (idx, cell) in cells.iter().enumerate() {
            let (source, score) = if time == 0 {
                (idx, if cell.starts { 0.0 } else { f64::NEG_INFINITY })
            } else {
                let entered = cell.before.iter().copied().chain([idx]).map(|before| (before, best[before]));
                entered.fold((idx, f64::NEG_INFINITY), |a, b| if b.1 > a.1 { b } else { a })
            };
            now[idx] = score + f64::from(row[cell.unit]);
            from[idx] = source;
        }
        best = now;
        came.push(from);
    }
    let ends = (0..cells.len()).filter(|idx| cells[*idx].ends && best[*idx] > f64::NEG_INFINITY);
    let mut at = ends.max_by(|a, b| best[*a].total_cmp(&best[*b]))?;
    let mut spans: Vec<Option<WordFrames>> = vec![None; words.len()];
    for (time, from) in came.iter().enumerate().rev() {
        if cells[at].unit != BLANK {
            let span = spans[cells[at].word].get_or_insert(WordFrames { from: time, to: time });
            span.from = time;
        }
        at = from[at];
    }
    spans.into_iter().collect()
}

/// What all alignments of some words have in common.
#[derive(Debug, Clone, PartialEq)]
pub struct Shares {
    /// Natural logarithm of the probability of the words, over all alignments.
    pub score: f64,
    /// For each frame the share of the alignments, by their probability, that have each unit there.
    pub shares: Vec<Vec<f64>>,
}

/// How all alignments of `words` share the units of each frame (forward and backward sums); `rows` holds natural
/// logarithms of probabilities. None when the words do not fit into the frames.
#[must_use]
pub fn shares(words: &[String], lexicon: &Lexicon, rows: &[Vec<f64>]) -> Option<Shares> {
    let cells = cells(words, lexicon);
    let none = f64::NEG_INFINITY;
    let mut forward: Vec<Vec<f64>> = Vec::with_capacity(rows.len());
    for row in rows {
        let now = cells.iter().enumerate().map(|(idx, cell)| {
            let came = match forward.last() {
                None => {
                    if cell.starts {
                        0.0
                    } else {
                        none
                    }
                }
                Some(last) => cell.before.iter().map(|before| last[*before]).fold(last[idx], add),
            };
            came + row[cell.unit]
        });
        let now = now.collect();
        forward.push(now);
    }
    let ended = |idx: usize| if cells[idx].ends { 0.0 } else { none };
    let last = forward.last()?;
    let score = (0..cells.len()).map(|idx| last[idx] + ended(idx)).fold(none, add);
    if score == none {
        return None;
    }
    let mut backward: Vec<f64> = (0..cells.len()).map(ended).collect();
    let mut shares: Vec<Vec<f64>> = rows.iter().map(|row| vec![0.0; row.len()]).collect();
    for time in (0..rows.len()).rev() {
        for (idx, cell) in cells.iter().enumerate() {
            shares[time][cell.unit] += (forward[time][idx] + backward[idx] - score).exp();
        }
        let after: Vec<f64> =
            cells.iter().zip(&backward).map(|(cell, back)| back + rows[time][cell.unit]).collect();
        backward.clone_from(&after);
        for (idx, cell) in cells.iter().enumerate() {
            for before in &cell.before {
                backward[*before] = add(backward[*before], after[idx]);
            }
        }
    }
    Some(Shares { score, shares })
}

/// All ways to say the words, one after the other, with a blank between any two units.
fn cells(words: &[String], lexicon: &Lexicon) -> Vec<AlignmentCell> {
    let blank = |word, starts, ends| AlignmentCell { word, unit: BLANK, before: Vec::new(), starts, ends };
    let mut cells = vec![blank(0, true, words.is_empty())];
    // The blank in front of the next word, and the last units of the word before it.
    let (mut gap, mut lasts): (usize, Vec<usize>) = (0, Vec::new());
    for (idx, word) in words.iter().enumerate() {
        let mut ended = Vec::new();
        for sound in lexicon.sounds(word).iter().chain(lexicon.begun_anew(word)) {
            let (mut before_blank, mut before_units) = (gap, lasts.clone());
            for (place, unit) in sound.iter().enumerate() {
                let mut before = vec![before_blank];
                before.extend(before_units.iter().filter(|last| cells[**last].unit != *unit));
                let last = place + 1 == sound.len();
                let ends = last && idx + 1 == words.len();
                let starts = place == 0 && idx == 0;
                cells.push(AlignmentCell { word: idx, unit: *unit, before, starts, ends });
                let here = cells.len() - 1;
                before_units = vec![here];
                if last {
                    ended.push(here);
                } else {
                    cells.push(AlignmentCell { before: vec![here], ..blank(idx, false, false) });
                    before_blank = cells.len() - 1;
                }
            }
        }
        cells.push(AlignmentCell { before: ended.clone(), ..blank(idx, false, idx + 1 == words.len()) });
        gap = cells.len() - 1;
        lasts = ended;
    }
    cells
}
