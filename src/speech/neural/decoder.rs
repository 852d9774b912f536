//! The decoder of the speech model: how probable each word piece is after those before it, given the sound.
//!
//! Takes: the decoder's file, the list of its word pieces, and what the encoder made of some sound.
//! Gives: the odds of every piece after each of those that were written; texts in pieces, and pieces as text.
//! Never: a choice between pieces.
//! Tested in: `tests/it/neural.rs`, and here.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use ort::session::{Session, SessionInputValue};
use ort::value::Tensor;

use crate::speech::neural::encoder::{FEATURES, FRAME, session};
use crate::speech::neural::parts::RescoringParts;
use crate::speech::recognise::EngineError;

/// Before the first piece, and after the last.
const START: i64 = 1;
pub(super) const END: i64 = 2;
/// Stands for the space before a word.
const SPACE: char = '\u{2581}';
/// Places of the list that are signs for the model, not text.
const SIGNS: usize = 3;
/// Samples between two frames.
#[allow(clippy::cast_possible_truncation)] // a few hundred
const STRIDE: usize = FRAME as usize;
/// The decoder's layers, and the heads and numbers in each of its memories.
const LAYERS: usize = 6;
const MEMORY: [usize; 2] = [8, 36];

/// The pieces of which the model writes texts.
#[derive(Debug, Clone, Default)]
pub(super) struct TokenTable {
    places: HashMap<Vec<u8>, i64>,
    pieces: Vec<Vec<u8>>,
}

impl TokenTable {
    /// Reads a list of pieces: the length of each in one byte, or in two where the first is 128 or more, then its bytes.
    ///
    /// Of two pieces that look alike the later one is used: the earlier is for a byte that has no piece.
    pub(super) fn read(bytes: &[u8]) -> Option<Self> {
        let (mut places, mut pieces, mut rest, mut place) = (HashMap::new(), Vec::new(), bytes, 0);
        while let Some((first, after)) = rest.split_first() {
            let (len, after) = match first.checked_sub(128) {
                None => (usize::from(*first), after),
                Some(low) => {
                    let (high, after) = after.split_first()?;
                    (usize::from(low) + 128 * usize::from(*high), after)
                }
            };
            let (piece, after) = after.split_at_checked(len)?;
            places.insert(piece.to_vec(), place);
            pieces.push(piece.to_vec());
            (rest, place) = (after, place + 1);
        }
        Some(Self { places, pieces })
    }

    /// The text in pieces: characters, joined two at a time, those first that come earliest in the list (byte pair
    /// encoding, Sennrich et al. 2016). None where a character has no piece.
    pub(super) fn of(&self, text: &str) -> Option<Vec<i64>> {
        let mut pieces: Vec<Vec<u8>> = format!(" {text}")
            .replace(' ', &SPACE.to_string())
            .chars()
            .map(|c| c.to_string().into_bytes())
            .collect();
        loop {
            let joined = (1..pieces.len()).filter_map(|idx| {
                let both = [&*pieces[idx - 1], &*pieces[idx]].concat();
                Some((*self.places.get(&both)?, idx, both))
            });
            let Some((_, idx, both)) = joined.min_by_key(|(place, idx, _)| (*place, *idx)) else { break };
            pieces.splice(idx - 1..=idx, [both]);
        }
        pieces.iter().map(|piece| self.places.get(piece).copied()).collect()
    }

    /// What a piece adds to a text; the model's own signs add nothing.
    pub(super) fn bytes(&self, piece: i64) -> Vec<u8> {
        let piece = usize::try_from(piece).ok().filter(|place| *place >= SIGNS);
        let bytes = piece.and_then(|place| self.pieces.get(place)).cloned().unwrap_or_default();
        match std::str::from_utf8(&bytes) {
            Ok(text) => text.replace(SPACE, " ").into_bytes(),
            // One byte of a character that has no piece of its own.
            Err(_) => bytes,
        }
    }
}

/// The decoder, ready to run.
#[derive(Debug)]
pub(super) struct TextDecoder {
    decoder: Session,
    pub(super) pieces: TokenTable,
    runtime: PathBuf,
}

/// The odds of all pieces after each of those that were written.
pub(super) struct PieceOdds {
    odds: Vec<f32>,
    n_pieces: usize,
    longest: usize,
}

impl PieceOdds {
    /// The odds in row `row`, after the start, after its first piece, and so on.
    pub(super) fn row(&self, row: usize) -> impl Iterator<Item = &[f32]> {
        let from = (row * self.longest * self.n_pieces).min(self.odds.len());
        self.odds[from..].chunks_exact(self.n_pieces.max(1)).take(self.longest)
    }
}

impl TextDecoder {
    /// `file` is where the pieces were read from.
    pub(super) fn new(runtime: &Path, read: &RescoringParts, file: &Path) -> Result<Self, EngineError> {
        let torn = || EngineError::Mismatch {
            path: file.to_owned(),
            what: "its end",
            found: "in the middle of a word piece".to_owned(),
            wanted: "after one".to_owned(),
        };
        let pieces = TokenTable::read(&read.pieces).ok_or_else(torn)?;
        let decoder = session(runtime, "read the decoder with", &read.decoder)?;
        Ok(Self { decoder, pieces, runtime: runtime.to_owned() })
    }

    /// The odds after each piece of each row, given what the encoder made of the sound (frame by frame); `what` says what
    /// was being done when that failed.
    pub(super) fn odds(
        &mut self,
        sound: &[f32],
        rows: &[&[i64]],
        what: &'static str,
    ) -> Result<PieceOdds, EngineError> {
        let failed = |error: ort::Error| EngineError::Runtime {
            path: self.runtime.clone(),
            what,
            reason: error.to_string(),
        };
        let longest = rows.iter().map(|row| row.len() + 1).max().unwrap_or(0);
        if longest == 0 {
            return Ok(PieceOdds { odds: Vec::new(), n_pieces: 1, longest });
        }
        let odds = run(&mut self.decoder, sound, rows, longest).map_err(failed)?;
        let n_pieces = odds.len() / (rows.len() * longest);
        Ok(PieceOdds { odds, n_pieces, longest })
    }
}

fn run(decoder: &mut Session, sound: &[f32], rows: &[&[i64]], longest: usize) -> ort::Result<Vec<f32>> {
    let (n, frames) = (rows.len(), sound.len() / FEATURES);
    // What counts is marked sample by sample; the decoder takes every `STRIDE`th mark for a frame.
    let samples = frames * STRIDE;
    let filled = |row: &&[i64]| {
        let given = std::iter::once(START).chain(row.iter().copied());
        given.chain(std::iter::repeat(END)).take(longest).collect::<Vec<_>>()
    };
    let ids: Vec<i64> = rows.iter().flat_map(filled).collect();
    let mut inputs: Vec<(String, SessionInputValue<'_>)> = vec![
        ("input_ids".to_owned(), Tensor::from_array(([n, longest], ids))?.into()),
        (
            "encoder_hidden_states".to_owned(),
            Tensor::from_array(([n, frames, FEATURES], sound.repeat(n)))?.into(),
        ),
        (
            "encoder_attention_mask".to_owned(),
            Tensor::from_array(([n, samples], vec![1_i64; n * samples]))?.into(),
        ),
        ("use_cache_branch".to_owned(), Tensor::from_array(([1], vec![false]))?.into()),
    ];
    // The memory of pieces written before: asked for, and not used where all pieces are given at once.
    for layer in 0..LAYERS {
        for part in ["decoder.key", "decoder.value", "encoder.key", "encoder.value"] {
            let memory =
                Tensor::from_array(([n, MEMORY[0], 1, MEMORY[1]], vec![0_f32; n * MEMORY[0] * MEMORY[1]]))?;
            inputs.push((format!("past_key_values.{layer}.{part}"), memory.into()));
        }
    }
    let answered = decoder.run(inputs)?;
    let Some(answered) = answered.get("logits") else { return Ok(Vec::new()) };
    let (_, odds) = answered.try_extract_tensor::<f32>()?;
    Ok(odds.to_vec())
}

/// Natural logarithm of the probability of one piece, from the odds of all.
pub(super) fn likelihood(piece: i64, odds: &[f32]) -> f64 {
    let most = odds.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let whole: f32 = odds.iter().map(|value| (value - most).exp()).sum();
    let own = usize::try_from(piece).ok().and_then(|piece| odds.get(piece));
    own.map_or(f64::NEG_INFINITY, |own| f64::from(own - most) - f64::from(whole).ln())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::cast_possible_truncation)] // tests may panic

    use super::*;

    fn pieces(all: &[&str]) -> TokenTable {
        let bytes: Vec<u8> =
            all.iter().flat_map(|piece| [&[piece.len() as u8], piece.as_bytes()].concat()).collect();
        TokenTable::read(&bytes).unwrap()
    }

    #[test]
    fn a_text_is_joined_by_the_order_of_the_list() {
        // "lo" comes before "ow": `low` becomes lo + w, though ow + l would do, too.
        let pieces = pieces(&["\u{2581}", "l", "o", "w", "lo", "ow", "\u{2581}lo", "w"]);
        assert_eq!(pieces.of("low"), Some(vec![6, 7]), "and of two that look alike the later counts");
        assert_eq!(pieces.of("lx"), None, "a letter without a piece");
        let text: Vec<u8> = [6, 7].into_iter().flat_map(|piece| pieces.bytes(piece)).collect();
        assert_eq!(text, b" low");
        assert_eq!(pieces.bytes(1), b"", "a sign of the model");
    }

    #[test]
    fn a_long_piece_has_its_length_in_two_bytes_and_a_torn_list_is_none() {
        let long = "a".repeat(300);
        let mut bytes = vec![(300 % 128) as u8 + 128, (300 / 128) as u8];
        bytes.extend(long.as_bytes());
        assert_eq!(TokenTable::read(&bytes).unwrap().places.get(long.as_bytes()), Some(&0));
        assert!(TokenTable::read(&bytes[..200]).is_none());
    }

    #[test]
    fn likelihoods_of_all_pieces_add_up_to_one() {
        let odds = [0.3, -1.0, 4.0, 2.5];
        let sum: f64 = (0..4).map(|piece| likelihood(piece, &odds).exp()).sum();
        assert!((sum - 1.0).abs() < 1e-6);
        assert_eq!(likelihood(4, &odds), f64::NEG_INFINITY);
    }
}
