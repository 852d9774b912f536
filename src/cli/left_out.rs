//! Commands that this program was built without: each is known, and says what to do.
//!
//! Takes: the words of a command.
//! Gives: an error that names the feature.
//! Never: the work.
//! Tested in: `scripts/try_box.sh`.

use std::process::ExitCode;

use anyhow::bail;

/// Whatever the command would have been asked.
#[derive(Debug, clap::Args)]
pub(crate) struct LeftOutArgs {
    #[arg(trailing_var_arg = true, allow_hyphen_values = true, hide = true)]
    _rest: Vec<String>,
}

/// The end of `command`, which needs the cargo feature `feature`.
pub(super) fn left_out(command: &str, feature: &str) -> anyhow::Result<ExitCode> {
    bail!(
        "this program was built without `{command}`; install the whole package, or build with the feature `{feature}`"
    )
}
