//! `receive` and `send`: stills in and objects out over the practice's network.
//!
//! Takes: a folder, and the peers that were named.
//! Gives: one call of `exchange::network`, and a line for each object.
//! Never: listens on more than this machine unless it is asked to.
//! Tested in: `tests/it/exchange/network.rs`.

use std::io::Write as _;
use std::net::{IpAddr, Ipv4Addr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use anyhow::Context as _;

use crate::clock::Sample;
use crate::exam::event::{Event, SentEvent};
use crate::exam::journal::{self, Journal};
use crate::exchange::network::receive::{ReceiveLimits, Receiver};
use crate::exchange::network::send::{Object, Peer, Sent};
use crate::exchange::network::{InboxOutcome, ReceivedObject};

/// Longest AE title (PS3.5 6.2, VR AE).
const AE_CHARS_MAX: usize = 16;

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
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall send --to 192.168.1.9:104 --called ARCHIVE --echo\n  \
    zonecall send --to 192.168.1.9:104 --called ARCHIVE exams/juniper/frames exams/juniper/out/dicom\n\n\
    Exit codes: 0 all sent, 1 something was refused, 2 an error; what was sent stays sent, and sending again is harmless.")]
pub(crate) struct SendArgs {
    /// Files and folders to be sent; files that are not DICOM are left out.
    #[arg(value_name = "PATH", required_unless_present = "echo")]
    pub(crate) paths: Vec<PathBuf>,
    /// Name or address of the archive, and its port.
    #[arg(long, value_name = "HOST:PORT")]
    pub(crate) to: String,
    #[command(flatten)]
    pub(crate) peer: PeerArgs,
    /// Only ask whether the archive is there and talks to us.
    #[arg(long)]
    pub(crate) echo: bool,
    /// Exam folder whose journal gets a line about what was sent.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) exam: Option<PathBuf>,
}

/// How to talk to a DICOM program elsewhere.
#[derive(Debug, clap::Args)]
pub(crate) struct PeerArgs {
    /// Its AE title.
    #[arg(long, value_name = "AE", value_parser = ae_title)]
    pub(crate) called: String,
    /// Our AE title.
    #[arg(long, value_name = "AE", default_value = "ZONECALL", value_parser = ae_title)]
    pub(crate) ae: String,
    /// How long to wait for an answer, in seconds.
    #[arg(long, value_name = "S", default_value_t = 30)]
    pub(crate) patience_s: u64,
}

impl PeerArgs {
    pub(super) fn peer(&self, address: &str) -> anyhow::Result<Peer> {
        Ok(Peer {
            address: address.to_owned(),
            ae_title: self.called.clone(),
            own_ae_title: self.ae.clone(),
            patience: Duration::from_secs(self.patience_s.max(1)),
        })
    }
}

pub(super) fn ae_title(text: &str) -> Result<String, String> {
    let title = text.trim();
    let plain = title.bytes().all(|byte| (b' '..=b'~').contains(&byte) && byte != b'\\');
    match title.len() {
        1..=AE_CHARS_MAX if plain => Ok(title.to_owned()),
        _ => {
            Err(format!("it is no AE title; wanted are 1 to {AE_CHARS_MAX} plain letters, figures and signs"))
        }
    }
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
    let receiver = Receiver::new(&args.into, &args.ae, limits, here_s)?;
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
    };
    let name = arrival.file.as_deref().unwrap_or(&arrival.instance);
    let from = if arrival.from.is_empty() { &arrival.address } else { &arrival.from };
    let why = if arrival.why.is_empty() { String::new() } else { format!(": {}", arrival.why) };
    // What a peer said of itself could hold signs that a terminal obeys.
    format!("{what} {name} from {from}{why}").chars().filter(|c| !c.is_control()).collect()
}

pub(crate) fn send(args: &SendArgs) -> anyhow::Result<ExitCode> {
    let peer = args.peer.peer(&args.to)?;
    let mut out = std::io::stdout().lock();
    if args.echo {
        peer.echo()?;
        writeln!(out, "`{}` answers at {}", peer.ae_title, args.to)?;
        return Ok(ExitCode::SUCCESS);
    }
    let mut files = Vec::new();
    for path in &args.paths {
        gather(path, &mut files)?;
    }
    files.sort();
    let objects: Vec<Object> = files.iter().filter_map(|path| Object::read(path).ok()).collect();
    anyhow::ensure!(!objects.is_empty(), "there is no DICOM file in what was named, so nothing was sent");
    let (mut sent, mut refused) = (Vec::new(), 0);
    let whole = peer.send(&objects, &mut |object, how| {
        let name = object.path.display();
        let _ = match how {
            Sent::Yes => writeln!(out, "sent {name}"),
            Sent::Warned(status) => writeln!(out, "sent {name}, with warning {status:#06x}"),
            Sent::Refused(why) => writeln!(out, "REFUSED {name}: {why}"),
        };
        match how {
            Sent::Refused(_) => refused += 1,
            _ => sent.push(object.instance.clone()),
        }
    });
    writeln!(out, "{} of {} sent to {}", sent.len(), objects.len(), peer.ae_title)?;
    if let Some(folder) = args.exam.as_ref().filter(|_| !sent.is_empty()) {
        note(folder, &peer, sent, refused)?;
    }
    whole?;
    Ok(if refused == 0 { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// Writes down in the exam's journal what was sent.
fn note(folder: &Path, peer: &Peer, objects: Vec<String>, refused: usize) -> anyhow::Result<()> {
    let last = journal::read(folder)?.events.last().map_or(Sample::FIRST, |line| line.sample);
    let sent = SentEvent { to: peer.address.clone(), ae_title: peer.ae_title.clone(), objects, refused };
    Journal::open(folder)?.append(chrono::Utc::now(), last, &Event::Sent(sent))?;
    Ok(())
}

/// Files of a folder and of the folders in it.
fn gather(path: &Path, files: &mut Vec<PathBuf>) -> anyhow::Result<()> {
    let unread = || format!("cannot read `{}`", path.display());
    if !path.is_dir() {
        anyhow::ensure!(
            path.exists(),
            "there is no `{}`; name a file or a folder that is there",
            path.display()
        );
        files.push(path.to_owned());
        return Ok(());
    }
    for entry in std::fs::read_dir(path).with_context(unread)? {
        let entry = entry.with_context(unread)?;
        // A link could lead out of what was named.
        if !entry.file_type().with_context(unread)?.is_symlink() {
            gather(&entry.path(), files)?;
        }
    }
    Ok(())
}
