//! From sound to words.

pub mod utterance;
pub(crate) mod resample;
pub mod decode;
pub(crate) mod library_messages;
pub mod capture;
pub mod switch;
pub mod keep;
pub mod silence;
pub mod endpoint;
pub mod room;
pub mod denoise;
pub mod installed;
mod sphinx_sys;
mod vosk_sys;
pub mod recognise;
pub mod sphinx;
pub mod neural;
pub mod vosk;
pub mod scripted;
