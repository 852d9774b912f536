//! `encrypt` and `decrypt` of a program that was built without them.
//!
//! Takes: whatever they are asked.
//! Gives: an error.
//! Never: a plain exam where an encrypted one was asked for.
//! Tested in: `scripts/try_box.sh`.

use std::process::ExitCode;

use super::left_out::{LeftOutArgs, left_out};
use super::options::KnowledgeArgs;
use crate::session::background_jobs::BackgroundJob;

pub(crate) type EncryptArgs = LeftOutArgs;
pub(crate) type DecryptArgs = LeftOutArgs;

pub(crate) fn encrypt(_: &EncryptArgs) -> anyhow::Result<ExitCode> {
    left_out("encrypt", "encrypt")
}

pub(crate) fn decrypt(_: &DecryptArgs) -> anyhow::Result<ExitCode> {
    left_out("decrypt", "encrypt")
}

pub(super) fn usable(keys: &[String]) -> anyhow::Result<()> {
    if keys.is_empty() { Ok(()) } else { left_out("encrypt", "encrypt").map(|_| ()) }
}

pub(super) fn between_exams(keys: &[String], _: &KnowledgeArgs) -> anyhow::Result<Option<BackgroundJob>> {
    if keys.is_empty() { Ok(None) } else { left_out("encrypt", "encrypt").map(|_| None) }
}
