//! From sound to words.

pub mod utterance;
pub mod recognise;
