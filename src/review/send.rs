//! The exam goes to a peer of the practice when somebody asks for it on the page.
//!
//! Takes: the peer's name, and what is to go.
//! Gives: what `zonecall send` does, counted while it goes on, and what it said; the journal keeps it.
//! Never: sends to an address out of a request: a peer is one that the practice has set.
//! Tested in: `tests/it/exchange/desk_send.rs`.

use std::io::{BufRead as _, BufReader, Read as _};
use std::path::PathBuf;
use std::process::{Command, Stdio};

use serde::{Deserialize, Serialize};

use crate::exchange::dicom::DICOM_FOLDER;
use crate::review::desk::Desk;
use crate::review::export::{
    ExportProgram, NameChoice, command, does_not_start, failed, is_done, text, there,
};
use crate::review::refusal::{Refusal, wrong};
use crate::review::running_tasks::TaskKind;
use crate::review::signature::name_of;

/// Lines that are shown of what was said; a line for each still would hide what matters.
const LINES_MAX: usize = 20;
/// What the program says of an object that the peer has; all other lines are shown.
const SENT: &str = "sent ";

/// What is wanted.
#[derive(Debug, Deserialize)]
pub(super) struct SendRequest {
    /// Who sends.
    by: String,
    /// Name of the peer.
    peer: String,
    what: Parcel,
    #[serde(default)]
    identity: NameChoice,
}

/// What is to go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Parcel {
    /// The stills, and what an export for an archive makes.
    All,
    Stills,
}

/// What became of it.
#[derive(Debug, Serialize)]
pub(super) struct SendOutcome {
    /// The peer has all of it.
    whole: bool,
    /// A line each.
    said: String,
}

/// The names of the peers.
#[derive(Debug, Serialize)]
pub(super) struct PeersShown {
    peers: Vec<String>,
}

/// The peers that can be sent to.
pub(super) fn peers(program: Option<&ExportProgram>) -> Result<PeersShown, Refusal> {
    match (there(program)?.peers)() {
        Ok(peers) => Ok(PeersShown { peers }),
        Err(error) => wrong(error, "correct `peers.toml`"),
    }
}

/// Sends the exam as it is now.
pub(super) fn send(
    desk: &Desk,
    program: Option<&ExportProgram>,
    wanted: &SendRequest,
) -> Result<SendOutcome, Refusal> {
    let by = name_of(&wanted.by)?;
    if !peers(program)?.peers.contains(&wanted.peer) {
        return wrong(format!("no peer is called `{}`", wanted.peer), "choose one that `peers.toml` names");
    }
    let program = there(program)?;
    let task = desk.running.begin(TaskKind::Send, "making report and labels");
    let mut paths = stills(desk)?;
    let mut lacking = String::new();
    if wanted.what == Parcel::All {
        let done = command(program, desk, "dicom", Some(wanted.identity))
            .output()
            .or_else(|error| does_not_start(&error))?;
        if !is_done(done.status) {
            return failed(&text(&done.stderr), "nothing was sent");
        }
        if !done.status.success() {
            lacking = text(&done.stderr);
        }
        paths.push(desk.folder.out()?.join(DICOM_FOLDER));
    }
    if paths.is_empty() {
        return wrong("the exam has no still, so nothing was sent", "pair its stills first");
    }
    let mut command = Command::new(&program.program);
    command.arg("send").args(["--to", &wanted.peer]).arg("--exam").arg(desk.folder.path());
    if !by.trim().is_empty() {
        command.arg(format!("--by={by}"));
    }
    command.args(&paths);
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().or_else(|error| does_not_start(&error))?;
    let warned = child.stderr.take();
    let warned = std::thread::spawn(move || {
        let mut bytes = Vec::new();
        warned.map(|mut warned| warned.read_to_end(&mut bytes));
        text(&bytes)
    });
    let (mut sent, mut lines) = (0, Vec::new());
    task.count("sending", sent, paths.len());
    for line in
        child.stdout.take().into_iter().flat_map(|out| BufReader::new(out).lines()).map_while(Result::ok)
    {
        if line.starts_with(SENT) {
            sent += 1;
            // How many files the export made is not known before.
            task.count("sending", sent, paths.len().max(sent));
        } else {
            lines.push(line);
        }
    }
    let status = child.wait().or_else(|error| does_not_start(&error))?;
    let warned = warned.join().unwrap_or_default();
    if !is_done(status) {
        let help =
            if sent == 0 { "nothing was sent" } else { "what was sent before that is there; send again" };
        return failed(&warned, help);
    }
    let more = lines.len().saturating_sub(LINES_MAX);
    if more > 0 {
        // The last one sums up.
        lines.drain(LINES_MAX - 1..lines.len() - 1);
        lines.insert(LINES_MAX - 1, format!("and {more} more lines"));
    }
    let whole = status.success() && lacking.is_empty();
    lines.extend([lacking, warned].into_iter().filter(|told| !told.is_empty()));
    Ok(SendOutcome { whole, said: lines.join("\n") })
}

/// The files of the stills that are the exam's own.
fn stills(desk: &Desk) -> Result<Vec<PathBuf>, Refusal> {
    let seen = desk.seen()?;
    let own = seen.exam.frames.iter().zip(&seen.record.frames).filter(|(_, row)| row.is_own());
    let file = |(still, _)| {
        let help = "find the file that was paired, then send again; nothing was sent";
        desk.folder.paired_file(still).or_else(|fault| wrong(fault.to_string(), help))
    };
    own.map(file).collect()
}
