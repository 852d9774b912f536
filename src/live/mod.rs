//! What the program answers while it listens.

pub mod answer;
pub mod ask;
pub mod board;
pub mod forgotten;
pub mod gate;
pub mod mouth;
pub mod tone;
pub mod voice;
pub mod speaker;
