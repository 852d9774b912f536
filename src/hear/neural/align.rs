//! When each word of a reading was said.
//!
//! Takes: the words, the lexicon, and the frames they were read from.
//! Gives: for each word the frames of its units on the most probable alignment.
//! Never: another sentence than the one given.
//! Tested in: `tests/neural_search.rs`.

use crate::hear::neural::lexicon::{BLANK, Lexicon};
use crate::hear::neural::search::Frames;

/// Frames from the first to the last unit of a word; the last is included.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WordFrames {
    /// First frame, from 0.
    pub from: usize,
    /// Last frame.
    pub to: usize,
}

/// A unit of one way to say one of the words, or the blank before it or after the last.
struct Cell {
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

/// All ways to say the words, one after the other, with a blank between any two units.
fn cells(words: &[String], lexicon: &Lexicon) -> Vec<Cell> {
    let blank = |word, starts, ends| Cell { word, unit: BLANK, before: Vec::new(), starts, ends };
    let mut cells = vec![blank(0, true, words.is_empty())];
    // The blank in front of the next word, and the last units of the word before it.
    let (mut gap, mut lasts): (usize, Vec<usize>) = (0, Vec::new());
    for (idx, word) in words.iter().enumerate() {
        let mut ended = Vec::new();
        for sound in lexicon.sounds(word) {
            let (mut before_blank, mut before_units) = (gap, lasts.clone());
            for (place, unit) in sound.iter().enumerate() {
                let mut before = vec![before_blank];
                before.extend(before_units.iter().filter(|last| cells[**last].unit != *unit));
                let last = place + 1 == sound.len();
                let ends = last && idx + 1 == words.len();
                let starts = place == 0 && idx == 0;
                cells.push(Cell { word: idx, unit: *unit, before, starts, ends });
                let here = cells.len() - 1;
                before_units = vec![here];
                if last {
                    ended.push(here);
                } else {
                    cells.push(Cell { before: vec![here], ..blank(idx, false, false) });
                    before_blank = cells.len() - 1;
                }
            }
        }
        cells.push(Cell { before: ended.clone(), ..blank(idx, false, idx + 1 == words.len()) });
        gap = cells.len() - 1;
        lasts = ended;
    }
    cells
}
