//! How stills come in over the network, for the command that only receives and for the one that listens.
//!
//! Takes: the options, and the folder that stills go into.
//! Gives: a receiver with its port; or one that serves beside an exam until it is dropped.
//! Never: listens on more than this machine unless it is asked to.
//! Tested in: `tests/it/exchange/network.rs`, `tests/sound/receive.rs`.

use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use anyhow::Context as _;

use super::peer_args::{TlsArgs, ae_title};
use crate::exchange::network::receive::{ReceiveLimits, Receiver};
use crate::exchange::network::send::Peer;
use crate::exchange::network::tls::TlsFiles;
use crate::exchange::network::{InboxOutcome, ReceivedObject};
use crate::terminal::{self, ShownText as _};

/// How long a scanner may take to hear a report.
const PATIENCE: Duration = Duration::from_secs(30);

/// Where the receiver listens, and who may send.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct ReceiverArgs {
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
    /// Largest object to accept, in megabytes.
    #[arg(long, value_name = "MB", default_value_t = 2048)]
    pub(crate) object_mb_max: u64,
    /// Connections that may be open at once.
    #[arg(long, value_name = "NUMBER", default_value_t = 16)]
    pub(crate) connections_max: usize,
    /// New connections in any one minute.
    #[arg(long, value_name = "NUMBER", default_value_t = 600)]
    pub(crate) connections_a_minute_max: usize,
    /// Objects to accept before the receiver has to be started again.
    #[arg(long, value_name = "NUMBER", default_value_t = 50_000)]
    pub(crate) objects_max: u64,
    /// A scanner that wants to be called back when it asks whether its stills are kept; may be given several times.
    #[arg(long, value_name = "AE=HOST:PORT", value_parser = report_to)]
    pub(crate) report_to: Vec<(String, String)>,
    #[command(flatten)]
    pub(crate) tls: TlsArgs,
}

fn report_to(text: &str) -> Result<(String, String), String> {
    let wanted = "give an AE title and an address, as in SCANNER=192.168.1.20:104";
    let (title, address) = text.split_once('=').ok_or(wanted)?;
    if !address.contains(':') {
        return Err(wanted.to_owned());
    }
    Ok((ae_title(title)?, address.to_owned()))
}

impl ReceiverArgs {
    /// A receiver into this folder, and the port it is to serve.
    pub(crate) fn open(&self, into: &Path) -> anyhow::Result<(Receiver, TcpListener)> {
        let limits = ReceiveLimits {
            from: self.from.clone(),
            addresses: self.address.clone(),
            connections_max: self.connections_max,
            connections_a_minute_max: self.connections_a_minute_max,
            object_bytes_max: self.object_mb_max.saturating_mul(1 << 20),
            objects_max: self.objects_max,
            ..ReceiveLimits::default()
        };
        let here_s = chrono::Local::now().offset().local_minus_utc();
        let files = self.tls.files();
        let to_call = files.as_ref().map(TlsFiles::client).transpose()?;
        let peers = self.report_to.iter().map(|(ae_title, address)| Peer {
            address: address.clone(),
            ae_title: ae_title.clone(),
            own_ae_title: self.ae.clone(),
            patience: PATIENCE,
            tls: to_call.clone(),
        });
        let mut receiver = Receiver::new(into, &self.ae, limits, here_s)?.reporting_to(peers.collect());
        if let Some(files) = files {
            receiver = receiver.with_tls(files.server()?);
        }
        let listener = TcpListener::bind((self.bind, self.port)).with_context(|| {
            format!(
                "cannot listen on {} port {}; name another with --port, or stop what has it",
                self.bind, self.port
            )
        })?;
        Ok((receiver, listener))
    }

    /// Says so where anybody may send.
    pub(crate) fn warn_if_open(&self, here: SocketAddr) {
        if !here.ip().is_loopback() && self.from.is_empty() && self.address.is_empty() {
            terminal::warn("anybody on the network may send: name the scanner with --from and --address");
        }
    }

    /// Receives into this folder beside something else, until what is given back is dropped.
    ///
    /// What is refused is told where the terminal takes lines (`has_lines`), each reason once in a row.
    pub(crate) fn beside(&self, into: &Path, has_lines: bool) -> anyhow::Result<Receiving> {
        let (receiver, listener) = self.open(into)?;
        let here = listener.local_addr()?;
        self.warn_if_open(here);
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        let serving = std::thread::spawn(move || {
            let told = Mutex::new(String::new());
            // All of it is in the log of the folder, and what came is told by the exam itself. A picture on the whole terminal
            // would be broken by a line.
            let tell = |arrival: &ReceivedObject| {
                if has_lines && arrival.outcome == InboxOutcome::Refused && is_new(&told, &arrival.why) {
                    terminal::warn(line(arrival));
                }
            };
            if let Err(error) = receiver.serve(&listener, &stopped, &tell) {
                terminal::warn(format!(
                    "no more stills come in over the network: {error}; pair them afterwards"
                ));
            }
        });
        Ok(Receiving { here, stop, serving: Some(serving) })
    }
}

/// What came or was refused, in one line.
pub(crate) fn line(arrival: &ReceivedObject) -> String {
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
    format!("{what} {name} from {from}{why}").shown()
}

/// Whether this is not what was told last.
fn is_new(told: &Mutex<String>, why: &str) -> bool {
    let mut last = told.lock().unwrap_or_else(PoisonError::into_inner);
    let is_new = *last != why;
    why.clone_into(&mut last);
    is_new
}

/// A receiver at work; dropped, it ends what it is doing and gives its port back.
#[derive(Debug)]
pub(crate) struct Receiving {
    /// Where it listens.
    pub(crate) here: SocketAddr,
    stop: Arc<AtomicBool>,
    serving: Option<JoinHandle<()>>,
}

impl Drop for Receiving {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        // Its own fault is no reason to lose the exam.
        let _ = self.serving.take().map(JoinHandle::join);
    }
}
