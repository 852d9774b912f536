//! `zonecall manual` and `zonecall completions`: the command line itself, as pages and for the shell.

use std::path::PathBuf;
use std::process::ExitCode;

use crate::terminal::{self, ShownText as _};
use anyhow::Context as _;
use clap::Command;

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  zonecall manual --into man\n\nExit codes: 0 written, 2 an error.")]
pub(crate) struct ManualArgs {
    /// The folder for the pages.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) into: PathBuf,
}

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  zonecall completions bash > zonecall.bash\n\nExit codes: 0 printed, 2 an error."
)]
pub(crate) struct CompletionsArgs {
    /// Which shell.
    pub(crate) shell: clap_complete::Shell,
}

/// Writes a page for each command of `program`.
pub(crate) fn manual(args: &ManualArgs, program: Command) -> anyhow::Result<ExitCode> {
    std::fs::create_dir_all(&args.into).with_context(|| format!("cannot make `{}`", args.into.shown()))?;
    clap_mangen::generate_to(program, &args.into)
        .with_context(|| format!("cannot write the manual into `{}`", args.into.shown()))?;
    Ok(ExitCode::SUCCESS)
}

/// Prints what completes the commands of `program`.
pub(crate) fn completions(args: &CompletionsArgs, mut program: Command) -> anyhow::Result<ExitCode> {
    // Made as a whole first: the generator panics where it cannot write, as into a pipe that was closed.
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut program, "zonecall", &mut text);
    terminal::data(&text)?;
    Ok(ExitCode::SUCCESS)
}
