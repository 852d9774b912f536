//! `receive`: stills come in over the practice's network.
//!
//! Takes: a folder, and who may send.
//! Gives: one call of `exchange::network`, and a line for each object.
//! Never: listens on more than this machine unless it is asked to.
//! Tested in: `tests/it/exchange/network.rs`.

use std::io::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use anyhow::Context as _;

use super::receiver_args::{ReceiverArgs, line};
use crate::exchange::network::InboxOutcome;
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall receive --into frames\n  \
    zonecall receive --into frames --bind 0.0.0.0 --from SCANNER --address 192.168.1.20\n\n\
    It serves until Ctrl-C. Exit codes: 0 stopped, 1 something was refused, 2 an error.")]
pub(crate) struct ReceiveArgs {
    /// The folder that stills go into; `received.jsonl` in it lists what came, from whom and when.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) into: PathBuf,
    #[command(flatten)]
    pub(crate) receiver: ReceiverArgs,
}

pub(crate) fn receive(args: &ReceiveArgs) -> anyhow::Result<ExitCode> {
    let (receiver, listener) = args.receiver.open(&args.into)?;
    let stop = Arc::new(AtomicBool::new(false));
    let by_key = Arc::clone(&stop);
    ctrlc::set_handler(move || by_key.store(true, Ordering::Relaxed)).context("cannot watch for Ctrl-C")?;
    let here = listener.local_addr()?;
    writeln!(terminal::out(), "{} listens on {here}, into {}", args.receiver.ae, args.into.shown())?;
    args.receiver.warn_if_open(here);
    let refused = AtomicUsize::new(0);
    receiver.serve(&listener, &stop, &|arrival| {
        if arrival.outcome == InboxOutcome::Refused {
            refused.fetch_add(1, Ordering::Relaxed);
        }
        // A closed pipe is no reason to stop receiving.
        let _ = writeln!(terminal::out(), "{}", line(arrival));
    })?;
    Ok(if refused.into_inner() == 0 { ExitCode::SUCCESS } else { ExitCode::from(1) })
}
