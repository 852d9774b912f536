//! What the program answers while it listens.

pub mod answer;
pub mod tone;
pub mod speaker;
