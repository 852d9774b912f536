//! Placeholder: written by the next commit.
/// One protocol file.
#[derive(Debug)]
pub struct SourceFile;
/// Why the protocols cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("protocol error")]
pub struct ProtocolError;
