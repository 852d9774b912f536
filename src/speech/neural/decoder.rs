//! The decoder of the speech model: how probable each word piece is after those before it, given the sound.
//!
//! Takes: the decoder's file, the list of its word pieces, and what the encoder made of some sound.
//! Gives: the odds of every piece after those that were written, and pieces as text.
//! Never: a choice between pieces.
//! Tested in: `tests/it/notes.rs`, and here.

use std::path::{Path, PathBuf};

use ort::session::{Session, SessionInputValue};
use ort::value::Tensor;

use crate::speech::neural::encoder::{FEATURES, FRAME, session};
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
    pieces: Vec<Vec<u8>>,
}

impl TokenTable {
    /// Reads a list of pieces: the length of each in one byte, or in two where the first is 128 or more, then its bytes.
    pub(super) fn read(bytes: &[u8]) -> Option<Self> {
        let (mut pieces, mut rest) = (Vec::new(), bytes);
        while let Some((first, after)) = rest.split_first() {
            let (len, after) = match first.checked_sub(128) {
                None => (usize::from(*first), after),
                Some(low) => {
                    let (high, after) = after.split_first()?;
                    (usize::from(low) + 128 * usize::from(*high), after)
                }
            };
            let (piece, after) = after.split_at_checked(len)?;
            pieces.push(piece.to_vec());
            rest = after;
        }
        Some(Self { pieces })
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

impl TextDecoder {
    /// `pieces` are the bytes of the file `of`.
    pub(super) fn new(runtime: &Path, decoder: &[u8], pieces: &[u8], of: &Path) -> Result<Self, EngineError> {
        let torn = || EngineError::Mismatch {
            path: of.to_owned(),
            what: "its end",
            found: "in the middle of a word piece".to_owned(),
            wanted: "after one".to_owned(),
        };
        let pieces = TokenTable::read(pieces).ok_or_else(torn)?;
        let decoder = session(runtime, "read the decoder with", decoder)?;
        Ok(Self { decoder, pieces, runtime: runtime.to_owned() })
    }

    /// The odds of every piece after those `written`, given what the encoder made of the sound (frame by frame).
    pub(super) fn odds(&mut self, sound: &[f32], written: &[i64]) -> Result<Vec<f32>, EngineError> {
        run(&mut self.decoder, sound, written).map_err(|error| EngineError::Runtime {
            path: self.runtime.clone(),
            what: "write down a note with",
            reason: error.to_string(),
        })
    }
}

fn run(decoder: &mut Session, sound: &[f32], written: &[i64]) -> ort::Result<Vec<f32>> {
    let (frames, len) = (sound.len() / FEATURES, written.len() + 1);
    // What counts is marked sample by sample; the decoder takes every `STRIDE`th mark for a frame.
    let samples = frames * STRIDE;
    let ids: Vec<i64> = std::iter::once(START).chain(written.iter().copied()).collect();
    let mut inputs: Vec<(String, SessionInputValue<'_>)> = vec![
        ("input_ids".to_owned(), Tensor::from_array(([1, len], ids))?.into()),
        (
            "encoder_hidden_states".to_owned(),
            Tensor::from_array(([1, frames, FEATURES], sound.to_vec()))?.into(),
        ),
        (
            "encoder_attention_mask".to_owned(),
            Tensor::from_array(([1, samples], vec![1_i64; samples]))?.into(),
        ),
        ("use_cache_branch".to_owned(), Tensor::from_array(([1], vec![false]))?.into()),
    ];
    // The memory of pieces written before: asked for, and not used where all pieces are given at once.
    for layer in 0..LAYERS {
        for part in ["decoder.key", "decoder.value", "encoder.key", "encoder.value"] {
            let memory =
                Tensor::from_array(([1, MEMORY[0], 1, MEMORY[1]], vec![0_f32; MEMORY[0] * MEMORY[1]]))?;
            inputs.push((format!("past_key_values.{layer}.{part}"), memory.into()));
        }
    }
    let answered = decoder.run(inputs)?;
    let Some(answered) = answered.get("logits") else { return Ok(Vec::new()) };
    let (_, odds) = answered.try_extract_tensor::<f32>()?;
    Ok(odds[odds.len() / len * (len - 1)..].to_vec())
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
    fn a_piece_adds_its_text_and_a_sign_of_the_model_nothing() {
        let pieces = pieces(&["<s>", "</s>", "<u>", "\u{2581}low", "w"]);
        let text: Vec<u8> = [3, 4, 1].into_iter().flat_map(|piece| pieces.bytes(piece)).collect();
        assert_eq!(text, b" loww");
    }

    #[test]
    fn a_long_piece_has_its_length_in_two_bytes_and_a_torn_list_is_none() {
        let long = "a".repeat(300);
        let mut bytes = vec![(300 % 128) as u8 + 128, (300 / 128) as u8];
        bytes.extend(long.as_bytes());
        assert_eq!(TokenTable::read(&bytes).unwrap().pieces, [long.into_bytes()]);
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
