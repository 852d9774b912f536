//! `receive`: stills come in over the practice's network.
//!
//! Takes: a folder, and who may send.
//! Gives: one call of `exchange::network`, and a line for each object.
//! Never: listens on more than this machine unless it is asked to.
//! Tested in: `tests/it/exchange/network.rs`.

use std::io::Write as _;
use std::net::{IpAddr, Ipv4Addr, TcpListener};
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use anyhow::Context as _;

use super::peer_args::{TlsArgs, ae_title};
use crate::exchange::network::receive::{ReceiveLimits, Receiver};
use crate::exchange::network::send::Peer;
use crate::exchange::network::tls::TlsFiles;
use crate::exchange::network::{InboxOutcome, ReceivedObject};

/// How long a scanner may take to hear a report.
const PATIENCE: Duration = Duration::from_secs(30);

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall receive --into frames\n  \
    zonecall receive --into frames --bind 0.0.0.0 --from SCANNER --address 192.168.1.20\n\n\
    It serves until Ctrl-C. Exit codes: 0 stopped, 1 something was refused, 2 an error.")]
pub(crate) struct ReceiveArgs {
    /// The folder that stills go into; `received.jsonl` in it lists what came, from whom and when.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) into: PathBuf,
    /// Address to listen on: only this machine, unless you name another; `0.0.0.0` is all of its addresses.
    #[arg(long, default_value_t = IpAddr::V4(Ipv4Addr::LOCALHOST))]
    pub(crate) bind: IpAddr,
    /// Port to listen on; 11112 is the one registered for DICOM, 0 takes any that is free.
    #[arg(long, default_value_t = 11112)]
    pub(crate) port: u16,
    /// The AE title that scanners call.
    #[arg(long, value_name = "AE", default_value = "ZONECALL", value_parser = ae_title)]
    pub(crate) ae: String,
    /// AE title of a scanner that may send; may be given several times, and without it any may.
    #[arg(long, value_name = "AE", value_parser = ae_title)]
    pub(crate) from: Vec<String>,
    /// Address of a scanner that may send; may be given several times, and without it any may.
    #[arg(long, value_name = "ADDRESS")]
    pub(crate) address: Vec<IpAddr>,
    /// Largest object that is taken, in megabytes.
    #[arg(long, value_name = "MB", default_value_t = 2048)]
    pub(crate) object_mb_max: u64,
    /// Connections that may be open at once.
    #[arg(long, value_name = "NUMBER", default_value_t = 16)]
    pub(crate) connections_max: usize,
    /// Objects that are taken before the receiver has to be started again.
    #[arg(long, value_name = "NUMBER", default_value_t = 50_000)]
    pub(crate) objects_max: u64,
    /// A scanner that wants to be called back when it asks whether its stills are kept; may be given several times.
    #[arg(long, value_name = "AE=HOST:PORT", value_parser = report_to)]
    pub(crate) report_to: Vec<(String, String)>,
    #[command(flatten)]
    pub(crate) tls: TlsArgs,
}

fn report_to(text: &str) -> Result<(String, String), String> {
    let wanted = "wanted are an AE title and an address, as in SCANNER=192.168.1.20:104";
    let (title, address) = text.split_once('=').ok_or(wanted)?;
    if !address.contains(':') {
        return Err(wanted.to_owned());
    }
    Ok((ae_title(title)?, address.to_owned()))
}

pub(crate) fn receive(args: &ReceiveArgs) -> anyhow::Result<ExitCode> {
    let limits = ReceiveLimits {
        from: args.from.clone(),
        addresses: args.address.clone(),
        connections_max: args.connections_max,
        object_bytes_max: args.object_mb_max.saturating_mul(1 << 20),
        objects_max: args.objects_max,
        ..ReceiveLimits::default()
    };
    let here_s = chrono::Local::now().offset().local_minus_utc();
    let files = args.tls.files();
    let to_call = files.as_ref().map(TlsFiles::client).transpose()?;
    let peers = args.report_to.iter().map(|(ae_title, address)| Peer {
        address: address.clone(),
        ae_title: ae_title.clone(),
        own_ae_title: args.ae.clone(),
        patience: PATIENCE,
        tls: to_call.clone(),
    });
    let mut receiver = Receiver::new(&args.into, &args.ae, limits, here_s)?.reporting_to(peers.collect());
    if let Some(files) = files {
        receiver = receiver.with_tls(files.server()?);
    }
    let listener = TcpListener::bind((args.bind, args.port)).with_context(|| {
        format!(
            "cannot listen on {} port {}; name another with --port, or stop what has it",
            args.bind, args.port
        )
    })?;
    let stop = Arc::new(AtomicBool::new(false));
    let by_key = Arc::clone(&stop);
    ctrlc::set_handler(move || by_key.store(true, Ordering::Relaxed)).context("cannot watch for Ctrl-C")?;
    let here = listener.local_addr()?;
    writeln!(std::io::stdout(), "{} listens on {here}, into {}", args.ae, args.into.display())?;
    if !here.ip().is_loopback() && args.from.is_empty() && args.address.is_empty() {
        eprintln!("anybody on the network may send: name the scanner with --from and --address");
    }
    let refused = AtomicUsize::new(0);
    receiver.serve(&listener, &stop, &|arrival| {
        if arrival.outcome == InboxOutcome::Refused {
            refused.fetch_add(1, Ordering::Relaxed);
        }
        // A closed pipe is no reason to stop receiving.
        let _ = writeln!(std::io::stdout(), "{}", line(arrival));
    })?;
    Ok(if refused.into_inner() == 0 { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

fn line(arrival: &ReceivedObject) -> String {
    let what = match arrival.outcome {
        InboxOutcome::Kept => "kept",
        InboxOutcome::Known => "known",
        InboxOutcome::Beside => "BESIDE",
        InboxOutcome::Refused => "REFUSED",
        InboxOutcome::Asked => "asked",
    };
    let name = arrival.file.as_deref().unwrap_or(&arrival.instance);
    let from = if arrival.from.is_empty() { &arrival.address } else { &arrival.from };
    let why = if arrival.why.is_empty() { String::new() } else { format!(": {}", arrival.why) };
    // What a peer said of itself could hold signs that a terminal obeys.
    format!("{what} {name} from {from}{why}").chars().filter(|c| !c.is_control()).collect()
}
