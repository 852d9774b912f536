//! What the program answers while it listens.

pub mod answer;
