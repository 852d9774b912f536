//! What the program answers while it listens.

pub mod answer;
pub mod ask;
pub mod screen_view;
pub mod forgotten;
pub mod gate;
pub mod speech_output;
pub mod tone;
pub mod voice;
pub mod speaker;
