//! From sound to words.

pub mod utterance;
pub mod endpoint;
mod sphinx_sys;
pub mod recognise;
pub mod sphinx;
pub mod scripted;
