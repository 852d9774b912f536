//! The Vosk ear: any model that can take a grammar, in whatever language it speaks.
//!
//! Takes: the folder of a model.
//! Gives: whether it can serve; the engine itself where the program was built with the library.
//! Never: a download.
//! Tested in: `tests/it/vosk.rs`.

mod parts;
#[cfg(vosk_library)]
mod engine;

#[cfg(vosk_library)]
pub use engine::Vosk;
pub use parts::VoskParts;

/// True where the program was built with the library of this ear.
pub const IS_BUILT_IN: bool = cfg!(vosk_library);
