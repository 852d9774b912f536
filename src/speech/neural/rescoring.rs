//! A second opinion on a doubtful utterance: how likely the whole speech model, of which the encoder is a part, finds each
//! reading as a text.
//!
//! Takes: what the encoder made of the utterance, and the readings.
//! Gives: for each the natural logarithm of its probability, word piece after word piece, as that model would write it.
//! Never: a reading of its own.
//! Tested in: `tests/it/neural.rs`, and here.
//!
//! The model has heard a great many people and none of the voices that taught the head, so its errors are others.

use crate::speech::neural::decoder::{END, TextDecoder, likelihood};
use crate::speech::neural::parts::{Parts, RescoringParts};
use crate::speech::recognise::EngineError;

/// The model that gives the opinion.
#[derive(Debug)]
pub(super) struct Rescorer {
    decoder: TextDecoder,
}

impl Rescorer {
    pub(super) fn new(parts: &Parts, read: &RescoringParts) -> Result<Self, EngineError> {
        Ok(Self { decoder: TextDecoder::new(&parts.runtime, read, &parts.second[1])? })
    }

    /// How likely the model finds each text, given what the encoder made of the utterance (`sound`, frame by frame).
    pub(super) fn likelihoods(&mut self, sound: &[f32], texts: &[String]) -> Result<Vec<f64>, EngineError> {
        let rows: Vec<Option<Vec<i64>>> =
            texts.iter().map(|text| self.decoder.pieces.of(&written(text))).collect();
        let whole: Vec<&[i64]> = rows.iter().flatten().map(Vec::as_slice).collect();
        let odds = self.decoder.odds(sound, &whole, "score an utterance again with")?;
        let score = |(number, row): (usize, &&[i64])| -> f64 {
            row.iter().chain([&END]).zip(odds.row(number)).map(|(piece, odds)| likelihood(*piece, odds)).sum()
        };
        let mut scores = whole.iter().enumerate().map(score);
        Ok(rows
            .iter()
            .map(|row| row.as_ref().and_then(|_| scores.next()).unwrap_or(f64::NEG_INFINITY))
            .collect())
    }
}

/// A reading as the model would write it: a sentence.
fn written(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| format!("{}{}.", first.to_uppercase(), letters.as_str()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_is_scored_as_a_sentence() {
        assert_eq!(written("save that"), "Save that.");
        assert_eq!(written(""), "");
    }
}
