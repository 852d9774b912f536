//! Free words as text: a draft that the whole speech model writes, piece after piece, the most probable each time.
//!
//! Takes: the samples of a free note.
//! Gives: `Transcript`: the text, how sure the model is of it, and the words that it is not sure of.
//! Never: words where nobody speaks, or more of them than fit into the sound; it goes round in no circle.
//! Tested in: `tests/it/notes.rs`, and here.
//!
//! The encoder is the one that set-up fetched, not the one in the head's file, whose upper layers have learned the phrases
//! of an exam and nothing else.

use std::ops::Range;

use ort::session::Session;
use sha2::{Digest as _, Sha256};

use crate::clock::SAMPLE_RATE_HZ;
use crate::speech::neural::decoder::{END, TextDecoder, likelihood};
use crate::speech::neural::encoder::{encode, session};
use crate::speech::neural::parts::{Parts, read};
use crate::speech::recognise::{EngineError, EngineId};
use crate::speech::voice_activity::{FRAME_LEN, Strictness, VoiceActivity};

/// Speech begins or ends where so many frames of 30 ms agree.
const VOICE_FRAMES: usize = 3;
/// So much sound around a stretch of speech belongs to it.
const AROUND: usize = SAMPLE_RATE_HZ as usize * 3 / 10;
/// Stretches of speech are joined up to this length, for words help each other,
const JOINED_MAX: usize = 12 * SAMPLE_RATE_HZ as usize;
/// and a longer one is cut: the model has learned from nothing longer than half a minute (from memory).
const CHUNK_MAX: usize = 24 * SAMPLE_RATE_HZ as usize;
/// Nobody says more word pieces than this in a second; our own choice.
const PIECES_A_SECOND: usize = 10;
/// Said so often in a row, the same pieces are a circle;
const CIRCLES: usize = 3;
/// the longest one that is looked for, in pieces.
const CIRCLE_MAX: usize = 12;
/// A word with a piece less probable than this is not sure; our own choice.
const SURE_MIN: f64 = 0.5;

/// Writes down free words.
#[derive(Debug)]
pub struct Transcriber {
    encoder: Session,
    decoder: TextDecoder,
    parts: Parts,
    id: EngineId,
}

/// What was written down.
#[derive(Debug, Clone, PartialEq)]
pub struct Transcript {
    /// The words; empty where there were none.
    pub text: String,
    /// The geometric mean of how probable its pieces are, 0 to 1; 0 for no words.
    pub confidence: f64,
    /// The words that the model is not sure of, in order.
    pub unsure: Vec<String>,
    /// It repeated itself or did not end, so its last words are left out.
    pub cut: bool,
}

/// A word piece with how probable it was.
#[derive(Debug, Clone, Copy)]
struct LikelyPiece {
    piece: i64,
    likelihood: f64,
}

impl Transcriber {
    /// Loads encoder, decoder and word pieces.
    ///
    /// # Errors
    /// When one of them is missing, or the runtime refuses it.
    pub fn load(parts: &Parts) -> Result<Self, EngineError> {
        let [decoder, pieces] = &parts.writer;
        let all = [&parts.runtime, &parts.encoder, decoder, pieces];
        if let Some(path) = all.into_iter().find(|path| !path.is_file()) {
            return Err(EngineError::NoParts { path: path.clone() });
        }
        let (encoder, decoder, list) = (read(&parts.encoder)?, read(decoder)?, read(pieces)?);
        let mut hash = Sha256::new_with_prefix(&encoder);
        hash.update(&decoder);
        hash.update(&list);
        let id = EngineId {
            name: "neural".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            model: "encoder and decoder of the speech model".to_owned(),
            model_sha256: crate::hex(&hash.finalize()),
        };
        Ok(Self {
            encoder: session(&parts.runtime, "read the encoder with", &encoder)?,
            decoder: TextDecoder::new(&parts.runtime, &decoder, &list, pieces)?,
            parts: parts.clone(),
            id,
        })
    }

    /// What writes.
    #[must_use]
    pub fn id(&self) -> &EngineId {
        &self.id
    }

    /// Writes down what is said in these samples.
    ///
    /// # Errors
    /// When the runtime fails.
    pub fn transcribe(&mut self, samples: &[i16]) -> Result<Transcript, EngineError> {
        let mut all = Vec::new();
        let mut texts = Vec::new();
        let (mut unsure, mut cut) = (Vec::new(), false);
        for chunk in chunks(samples) {
            let (written, was_cut) = self.write(&samples[chunk])?;
            let words = self.words(&written);
            if words.is_empty() {
                continue;
            }
            unsure.extend(words.iter().filter(|word| !word.1).map(|word| bare(&word.0)));
            texts.extend(words.into_iter().map(|word| word.0));
            cut |= was_cut;
            all.extend(written);
        }
        let confidence = if texts.is_empty() { 0.0 } else { mean(&all) };
        Ok(Transcript { text: texts.join(" "), confidence, unsure, cut })
    }

    /// The pieces of one chunk, and whether some were left out at the end.
    fn write(&mut self, samples: &[i16]) -> Result<(Vec<LikelyPiece>, bool), EngineError> {
        let sound = encode(&mut self.encoder, samples).map_err(|error| EngineError::Runtime {
            path: self.parts.runtime.clone(),
            what: "hear a note with",
            reason: error.to_string(),
        })?;
        let most = (samples.len() / SAMPLE_RATE_HZ as usize + 1) * PIECES_A_SECOND;
        let (mut row, mut written) = (Vec::new(), Vec::new());
        while row.len() < most {
            let odds = self.decoder.odds(&sound, &row)?;
            let Some((piece, _)) = odds.iter().enumerate().max_by(|one, other| one.1.total_cmp(other.1))
            else {
                break;
            };
            let piece = i64::try_from(piece).unwrap_or(END);
            if piece == END {
                return Ok((written, false));
            }
            row.push(piece);
            written.push(LikelyPiece { piece, likelihood: likelihood(piece, &odds) });
            if let Some(len) = circle(&row) {
                // What was said once stays; that it was said again is the machine's doing.
                written.truncate(row.len() - len * (CIRCLES - 1));
                return Ok((written, true));
            }
        }
        Ok((written, true))
    }

    /// The words, each with whether all of its pieces are sure.
    fn words(&self, written: &[LikelyPiece]) -> Vec<(String, bool)> {
        let mut words: Vec<(Vec<u8>, bool)> = Vec::new();
        for one in written {
            let bytes = self.decoder.pieces.bytes(one.piece);
            let is_sure = one.likelihood.exp() >= SURE_MIN;
            match words.last_mut() {
                Some(word) if bytes.first() != Some(&b' ') => {
                    word.0.extend(bytes);
                    word.1 &= is_sure;
                }
                _ => words.push((bytes, is_sure)),
            }
        }
        let plain = |(bytes, is_sure): (Vec<u8>, bool)| {
            let text = String::from_utf8_lossy(&bytes).replace(|c: char| c.is_control(), "");
            (text.trim().to_owned(), is_sure)
        };
        // A sign by itself, such as that for music, is what the model makes of noise.
        let is_word = |word: &(String, bool)| word.0.chars().any(char::is_alphanumeric);
        words.into_iter().map(plain).filter(is_word).collect()
    }
}

/// A word without the punctuation around it.
fn bare(word: &str) -> String {
    let inside = word.trim_matches(|sign: char| sign.is_ascii_punctuation());
    if inside.is_empty() { word.to_owned() } else { inside.to_owned() }
}

/// How long a circle is that the pieces end with, if they do.
fn circle(row: &[i64]) -> Option<usize> {
    (1..=CIRCLE_MAX).find(|len| {
        let Some(from) = row.len().checked_sub(len * CIRCLES) else { return false };
        // A letter or a figure may well be said three times; four of them are a circle.
        let is_short = *len < 2 && row[..from].last() != row.last();
        let end = &row[from..];
        !is_short && end.chunks(*len).all(|part| part == &end[..*len])
    })
}

/// The geometric mean of how probable the pieces are.
#[allow(clippy::cast_precision_loss)] // far fewer pieces than a number can count
fn mean(written: &[LikelyPiece]) -> f64 {
    let sum: f64 = written.iter().map(|one| one.likelihood).sum();
    (sum / written.len().max(1) as f64).exp()
}

/// Where somebody speaks, with a little around it; stretches close together are one.
fn chunks(samples: &[i16]) -> Vec<Range<usize>> {
    let mut chunks: Vec<Range<usize>> = Vec::new();
    for voiced in voiced(samples) {
        let (from, to) = (voiced.start.saturating_sub(AROUND), (voiced.end + AROUND).min(samples.len()));
        match chunks.last_mut() {
            Some(last)
                if to - last.start <= JOINED_MAX || from <= last.end && to - last.start <= CHUNK_MAX =>
            {
                last.end = to;
            }
            last => {
                let from = last.map_or(from, |last| from.max(last.end));
                let cuts = (from..to).step_by(CHUNK_MAX);
                chunks.extend(cuts.map(|from| from..(from + CHUNK_MAX).min(to)));
            }
        }
    }
    chunks
}

/// Where somebody speaks.
pub(crate) fn voiced(samples: &[i16]) -> Vec<Range<usize>> {
    let mut detector = VoiceActivity::new(VOICE_FRAMES, Strictness::Forgiving);
    let mut stretches: Vec<Range<usize>> = Vec::new();
    let mut spoke = false;
    let (frames, _) = samples.as_chunks::<FRAME_LEN>();
    for (number, frame) in frames.iter().enumerate() {
        let end = (number + 1) * FRAME_LEN;
        let speaks = detector.in_speech(frame);
        match stretches.last_mut() {
            Some(last) if speaks && spoke => last.end = end,
            _ if speaks => stretches.push(end - VOICE_FRAMES * FRAME_LEN..end),
            _ => {}
        }
        spoke = speaks;
    }
    stretches
}

#[cfg(test)]
mod tests {
    #![allow(clippy::single_range_in_vec_init)] // a list of stretches

    use super::*;

    #[test]
    fn what_is_said_over_and_over_is_a_circle_and_what_is_said_twice_is_not() {
        assert_eq!(circle(&[5, 7, 8, 7, 8]), None);
        assert_eq!(circle(&[5, 7, 8, 7, 8, 7, 8]), Some(2));
        assert_eq!(circle(&[7, 7, 7]), None, "three figures alike");
        assert_eq!(circle(&[7, 7, 7, 7]), Some(1));
        assert_eq!(circle(&[]), None);
    }

    #[test]
    fn where_nobody_speaks_there_is_nothing_to_write() {
        assert_eq!(chunks(&vec![0; 5 * SAMPLE_RATE_HZ as usize]), Vec::<Range<usize>>::new());
        assert_eq!(chunks(&[]), Vec::<Range<usize>>::new());
    }
}
