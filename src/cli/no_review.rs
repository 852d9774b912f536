//! `review` of a program that was built without the desk.
//!
//! Takes: whatever it is asked.
//! Gives: an error.
//! Never: a server.
//! Tested in: `scripts/try_box.sh`.

use std::process::ExitCode;

use super::left_out::{LeftOutArgs, left_out};

pub(crate) type ReviewArgs = LeftOutArgs;

pub(crate) fn review(_: &ReviewArgs) -> anyhow::Result<ExitCode> {
    left_out("review", "desk")
}
