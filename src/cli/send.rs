//! `send`: objects go to an archive over the practice's network.
//!
//! Takes: files, folders and exams, and the archive.
//! Gives: one call of `exchange::network`, a line for each object, lines in the exam's journal.
//! Never: takes an object for sent or kept before the archive said so.
//! Tested in: `tests/it/exchange/network.rs`, `tests/it/exchange/send_exam.rs` and `tests/it/exchange/commitment.rs`.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;

use super::options::{KnowledgeArgs, listed_name};
use super::parcel::{Parcel, exported, is_exam};
use super::peer_args::PeerArgs;
use super::peers;
use super::sent_notes::SentNotes;
use crate::exchange::network::reports::ReportPort;
use crate::exchange::network::send::{Object, Peer, SendError, Sent};
use crate::exchange::network::status::warning;
use crate::exchange::network::stow::StowServer;
use crate::exchange::uid::uid;
use crate::frames::beside::is_own_file;
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall send --to 192.168.1.9:104 --called ARCHIVE --echo\n  \
    zonecall send --to 192.168.1.9:104 --called ARCHIVE exams/juniper\n  \
    zonecall send --to 192.168.1.9:104 --called ARCHIVE exams/juniper/frames exams/juniper/out/dicom\n  \
    zonecall send --stow https://archive.example/dicom-web --tls-ca ca.pem exams/juniper/frames\n\n\
    Exit codes: 0 all sent, 1 something was refused, 2 an error; what was sent stays sent, and sending again is harmless.")]
pub(crate) struct SendArgs {
    /// Exams, files and folders to be sent; files that are not DICOM are left out. Of an exam its own stills go, and what
    /// `export --as dicom` made; its journal gets a line about it.
    #[arg(value_name = "PATH", required_unless_present = "echo")]
    pub(crate) paths: Vec<PathBuf>,
    /// Name or address of the archive and its port, or its name in `peers.toml`.
    #[arg(long, value_name = "HOST:PORT", required_unless_present = "stow")]
    pub(crate) to: Option<String>,
    /// Address of the archive's DICOMweb service instead; objects go there by STOW-RS.
    #[arg(long, value_name = "URL", conflicts_with_all = ["to", "called", "echo", "commit"])]
    pub(crate) stow: Option<String>,
    /// User and password for that service; better in the environment than on the command line.
    #[arg(
        long,
        value_name = "USER:PASSWORD",
        requires = "stow",
        env = "ZONECALL_STOW_LOGIN",
        hide_env_values = true
    )]
    pub(crate) stow_login: Option<String>,
    #[command(flatten)]
    pub(crate) peer: PeerArgs,
    /// Only ask whether the archive is there and talks to us.
    #[arg(long)]
    pub(crate) echo: bool,
    /// Ask the archive to confirm that it keeps what it got. It answers on the same connection, or calls this port of this
    /// computer, which must be entered there.
    #[arg(long, value_name = "PORT", num_args = 0..=1, require_equals = true, default_missing_value = "0", conflicts_with = "echo")]
    pub(crate) commit: Option<u16>,
    /// Exam folder whose journal gets a line about what was sent, where the paths do not name the exam itself.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) exam: Option<PathBuf>,
    /// Who sends it, for that line.
    #[arg(long, value_name = "NAME", value_parser = listed_name)]
    pub(crate) by: Option<String>,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

/// Says which stills cannot go, and gives the files that cannot be read.
fn show_unfit<'a>(out: &mut impl Write, parcel: &'a Parcel) -> std::io::Result<Vec<&'a PathBuf>> {
    for (file, still) in &parcel.unfit {
        writeln!(out, "NOT SENT {}: {}", file.shown(), still.why.shown())?;
    }
    let is_unreadable = |path: &&PathBuf| std::fs::File::open(path).is_err();
    let unreadable: Vec<&PathBuf> = parcel.files.keys().filter(is_unreadable).collect();
    for path in &unreadable {
        writeln!(out, "NOT SENT {}: it cannot be read", path.shown())?;
    }
    Ok(unreadable)
}

pub(crate) fn send(args: &SendArgs) -> anyhow::Result<ExitCode> {
    let way = Way::of(args)?;
    let mut out = terminal::out();
    if let (Way::Dicom(peer), true) = (&way, args.echo) {
        peer.echo()?;
        writeln!(out, "`{}` answers at {}", peer.ae_title, peer.address)?;
        return Ok(ExitCode::SUCCESS);
    }
    let port = way.report_port(args)?;
    let parcel = Parcel::of(&args.paths, args.exam.as_deref(), &args.knowledge)?;
    let mut notes = SentNotes::new(way.place(), args.by.clone());
    anyhow::ensure!(
        args.by.is_none() || parcel.has_exam(),
        "--by is for the journal of an exam; name the exam's folder, or add --exam"
    );
    let objects: Vec<Object> = parcel.files.keys().filter_map(|path| Object::read(path).ok()).collect();
    let unreadable = show_unfit(&mut out, &parcel)?;
    if objects.is_empty() {
        let way_out = args.paths.iter().find_map(|path| unexported(path)).unwrap_or_default();
        anyhow::bail!("no DICOM file was found in what was named, so nothing was sent{way_out}");
    }
    let named = args.paths.iter().filter(|path| path.is_file());
    for path in named.clone().filter(|path| is_own_file(path)) {
        writeln!(out, "skipped {}: it only lists the other files", path.shown())?;
    }
    let is_sent = |path: &PathBuf| is_own_file(path) || objects.iter().any(|object| object.path == *path);
    let left: Vec<&PathBuf> = named.filter(|path| !is_sent(path) && !unreadable.contains(path)).collect();
    for path in &left {
        writeln!(out, "NOT SENT {}: it is not a readable DICOM object", path.shown())?;
    }
    let (mut sent, mut refused) = (Vec::new(), left.len() + unreadable.len() + parcel.unfit.len());
    let unsent = parcel.unfit.keys().chain(left.iter().chain(&unreadable).copied());
    for path in unsent {
        notes.refused(parcel.exam_of(path));
    }
    let whole = way.send(&objects, &mut |object, how| {
        let name = object.path.shown();
        let _ = match how {
            Sent::Yes => writeln!(out, "sent {name}"),
            Sent::Warned(status) => writeln!(out, "sent {name}, but {}", warning(*status)),
            Sent::Refused(why) => writeln!(out, "REFUSED {name}: {why}"),
        };
        let exam = parcel.exam_of(&object.path);
        if let Sent::Refused(_) = how {
            refused += 1;
            notes.refused(exam);
        } else {
            sent.push(object.clone());
            notes.sent(exam, &object.instance);
        }
    });
    writeln!(out, "{} of {} sent to {}", sent.len(), objects.len(), way.name())?;
    for only_stills in args.paths.iter().filter_map(|path| unexported(path)) {
        writeln!(out, "only stills were sent{only_stills}")?;
    }
    let kept = match &way {
        Way::Dicom(peer) if args.commit.is_some() && !sent.is_empty() => {
            commit(peer, &sent, port.as_ref(), &mut out)
        }
        _ => Ok(None),
    };
    notes.end(kept.as_ref().ok().cloned().flatten().unwrap_or_default())?;
    whole?;
    let is_short = kept?.is_some_and(|kept| kept.len() < sent.len());
    Ok(if refused == 0 && !is_short { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// How objects go to the archive.
enum Way {
    Dicom(Peer),
    Web(StowServer, String),
}

impl Way {
    fn of(args: &SendArgs) -> anyhow::Result<Way> {
        if let Some(url) = &args.stow {
            let (login, files) = (args.stow_login.as_deref(), args.peer.tls.files());
            let server = StowServer::new(url, login, files.as_ref(), args.peer.patience())?;
            return Ok(Way::Web(server, url.clone()));
        }
        Ok(Way::Dicom(args.peer.peer(args.to.as_deref().unwrap_or_default())?))
    }

    fn send(&self, objects: &[Object], report: &mut dyn FnMut(&Object, &Sent)) -> Result<(), SendError> {
        match self {
            Way::Dicom(peer) => peer.send(objects, report),
            Way::Web(server, _) => server.send(objects, report),
        }
    }

    /// For people.
    fn name(&self) -> &str {
        match self {
            Way::Dicom(peer) => &peer.ae_title,
            Way::Web(_, url) => url,
        }
    }

    /// For the journal: address and AE title, which a web service has not.
    fn place(&self) -> (String, String) {
        match self {
            Way::Dicom(peer) => (peer.address.clone(), peer.ae_title.clone()),
            Way::Web(_, url) => (url.clone(), String::new()),
        }
    }

    /// Where the archive calls to confirm, if it is to call.
    fn report_port(&self, args: &SendArgs) -> anyhow::Result<Option<ReportPort>> {
        let (Way::Dicom(peer), Some(port @ 1..)) = (self, args.commit) else { return Ok(None) };
        let named = args.to.as_deref().filter(|place| !place.contains(':')).map(peers::named).transpose()?;
        let own = args.peer.files(named.as_ref()).filter(|files| files.own.is_some());
        let tls = own.map(|files| files.server()).transpose()?;
        let opened = ReportPort::open(port, &peer.own_ae_title, peer.patience, tls);
        Ok(Some(opened.with_context(|| {
            format!("cannot listen on port {port}; name another with --commit, here and in the archive")
        })?))
    }
}

/// Asks whether what was sent is kept; gives what is. None where the archive has no such service.
fn commit(
    peer: &Peer,
    sent: &[Object],
    port: Option<&ReportPort>,
    out: &mut dyn Write,
) -> anyhow::Result<Option<Vec<String>>> {
    let now = chrono::Utc::now().to_rfc3339();
    let names: Vec<&str> = sent.iter().map(|object| object.instance.as_str()).collect();
    let transaction = uid(&[&["commitment", &now, &peer.address], &names[..]].concat());
    let Some(kept) = peer.commit(sent, &transaction, port)? else {
        writeln!(out, "`{}` does not confirm what it keeps", peer.ae_title)?;
        return Ok(None);
    };
    let names: BTreeSet<&str> = names.into_iter().collect();
    let (kept, missing): (Vec<&str>, Vec<&str>) = names.into_iter().partition(|name| kept.contains(*name));
    for name in &missing {
        writeln!(out, "NOT KEPT {name}")?;
    }
    writeln!(out, "{} of {} confirmed by {}", kept.len(), kept.len() + missing.len(), peer.ae_title)?;
    Ok(Some(kept.into_iter().map(str::to_owned).collect()))
}

/// Of an exam folder without what `export` makes for an archive: what to do first.
fn unexported(path: &Path) -> Option<String> {
    let exported = exported(path);
    (is_exam(path) && !exported.is_dir()).then(|| {
        let (exam, exported) = (path.shown(), exported.shown());
        format!("; `zonecall export {exam} --as dicom` makes report and labels, then send `{exported}`, too")
    })
}
