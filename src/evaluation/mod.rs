//! Ears put to the test: what they made of speech whose words are known.

pub mod judge;
pub mod truth;
pub mod words;
pub mod compare;
