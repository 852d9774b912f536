//! One file of the protocols, as text.
//!
//! Takes: a file's path and its text.
//! Gives: what the text says, as the type that is wanted.
//! Never: reads a disk.
//! Tested in: `tests/it/protocol.rs`.

use std::path::PathBuf;

use serde::de::DeserializeOwned;

use crate::protocol::error::ProtocolError;

/// One protocol file. `limbs.toml`, `planes.toml`, `structures.toml`, `values.toml`, `measures.toml`, `rules.toml` and `plain.toml` are lists; any other is a scheme.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SourceFile {
    /// Where it was read from; a bare name for a built-in file.
    pub path: PathBuf,
    /// Its text.
    pub text: String,
}

pub(super) fn parse<T: DeserializeOwned>(source: &SourceFile) -> Result<T, ProtocolError> {
    toml::from_str(&source.text)
        .map_err(|fault| ProtocolError::Malformed { path: source.path.clone(), source: Box::new(fault) })
}
