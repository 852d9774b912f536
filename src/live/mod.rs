//! What the program answers while it listens.

pub mod answer;
pub mod ask;
pub mod mouth;
pub mod tone;
pub mod voice;
pub mod speaker;
