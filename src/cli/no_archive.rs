//! `file`, `history`, `find` and `archive` of a program that was built without the archive.
//!
//! Takes: whatever they are asked.
//! Gives: an error.
//! Never: a database.
//! Tested in: `scripts/try_box.sh`.

use std::process::ExitCode;

use crate::exam::event::Horse;

use super::left_out::{LeftOutArgs, left_out};

pub(crate) type FileArgs = LeftOutArgs;
pub(crate) type HistoryArgs = LeftOutArgs;
pub(crate) type FindArgs = LeftOutArgs;
pub(crate) type KeepingArgs = LeftOutArgs;

pub(crate) fn file(_: &FileArgs) -> anyhow::Result<ExitCode> {
    left_out("file", "archive")
}

pub(crate) fn history(_: &HistoryArgs) -> anyhow::Result<ExitCode> {
    left_out("history", "archive")
}

pub(crate) fn find(_: &FindArgs) -> anyhow::Result<ExitCode> {
    left_out("find", "archive")
}

pub(crate) fn keep(_: &KeepingArgs) -> anyhow::Result<ExitCode> {
    left_out("archive", "archive")
}

/// None to be named.
#[derive(Debug, clap::Args)]
pub(crate) struct ArchiveArgs {}

/// A version that nobody can have filed.
#[allow(dead_code)] // so that nobody makes one
pub(super) struct FiledVersion {
    pub(super) exam_id: String,
    pub(super) hash: String,
    pub(super) record: String,
}

pub(super) fn versions_of(_: &str, _: &ArchiveArgs) -> anyhow::Result<Vec<FiledVersion>> {
    Ok(Vec::new())
}

pub(crate) fn known_horses() -> Vec<Horse> {
    Vec::new()
}
