//! What may be said: grammar files, read once for the engine, the parser and the phrase card alike.

pub mod engine;
