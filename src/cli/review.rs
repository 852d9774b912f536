//! `zonecall review`: the review desk, a page on this machine only.

use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, ExitCode, Stdio};

use anyhow::Context as _;
use tempfile::NamedTempFile;

use super::against::earlier_record;
use super::options::KnowledgeArgs;
use super::output::one_line;
use super::peers;
use super::stamp::StampOptions;
use crate::exam_folder::ExamFolder;
use crate::protocol::Protocols;
use crate::review::{Desk, ExportProgram, ServedExams, bind, serve};
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall review exams/juniper\n  zonecall review exams\n  \
    zonecall review exams/juniper --earlier exams/juniper-march\n  \
    zonecall review exams/juniper --port 7400 --no-open\n\n\
    The page is served to this machine only, under a secret address that is new each time. Ctrl-C ends it.\n\n\
    Exit codes: 0 ended with Ctrl-C, 2 an error; every change is kept at once.")]
pub(crate) struct ReviewArgs {
    /// The exam folder, or a folder of exam folders: then the inbox lists what is open, signed and sent.
    #[arg(value_name = "FOLDER", default_value = ".")]
    pub(crate) folder: PathBuf,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
    /// Folder of an earlier exam of the same horse: its still of the same view appears next to each still, with its values.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) earlier: Option<PathBuf>,
    /// Port to listen on; without it, any free one.
    #[arg(long, default_value_t = 0)]
    pub(crate) port: u16,
    /// Print the address only; open no browser.
    #[arg(long)]
    pub(crate) no_open: bool,
    #[command(flatten)]
    pub(crate) stamps: StampOptions,
}

pub(crate) fn review(args: &ReviewArgs) -> anyhow::Result<ExitCode> {
    let protocols = args.knowledge.read()?;
    let is_exam = ExamFolder::at(&args.folder).journal_file().exists();
    // What is neither is reported as an exam that is not there.
    let has_exams = !is_exam && ServedExams::of_folder(args.folder.clone(), protocols.clone()).has_exams();
    let exams = if has_exams {
        anyhow::ensure!(
            args.earlier.is_none(),
            "--earlier goes with one exam, `{}` holds several; name the exam folder",
            args.folder.shown()
        );
        ServedExams::of_folder(args.folder.clone(), protocols)
    } else {
        ServedExams::one(desk(args, protocols)?)
    };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .context("cannot start the threads of the review desk")?;
    // Without it the desk still signs, and `zonecall stamp` comes later.
    let stamps = args.stamps.server().unwrap_or_else(|error| {
        terminal::warn(format!("zonecall: signatures will not be stamped: {}", one_line(&error)));
        None
    });
    let exams = exams.stamped_by(stamps).exporting_by(exporter(args)?);
    runtime.block_on(async {
        let bound = bind(args.port).await?;
        let address = bound.address();
        let mut out = terminal::out();
        writeln!(
            out,
            "review desk: {address}\nPress Ctrl-C to end it; every change you make is saved in the journal at once."
        )?;
        out.flush()?;
        // Removed when the desk ends.
        let _page = if args.no_open { None } else { browse(&address) };
        serve(bound, exams).await.map_err(anyhow::Error::from)
    })?;
    Ok(ExitCode::SUCCESS)
}

/// This program, with the same anatomy and zones.
fn exporter(args: &ReviewArgs) -> anyhow::Result<Option<ExportProgram>> {
    let program = std::env::current_exe().context("cannot find this program's own file")?;
    let protocols = args.knowledge.protocols.iter();
    let more = protocols.flat_map(|folder| ["--protocols".into(), folder.as_os_str().to_owned()]).collect();
    let peers = || {
        let all = peers::read().map_err(|error| one_line(&error))?;
        Ok(all.into_iter().map(|peer| peer.name).collect())
    };
    Ok(Some(ExportProgram { program, more, peers }))
}

/// The desk of one exam.
fn desk(args: &ReviewArgs, protocols: Protocols) -> anyhow::Result<Desk> {
    let Some(other) = &args.earlier else { return Ok(Desk::open(&args.folder, protocols)?) };
    let now = ExamFolder::at(&args.folder).exam(&protocols)?.header;
    let record = earlier_record(other, &now, &protocols)?;
    Ok(Desk::open(&args.folder, protocols)?.beside(other, record))
}

/// Opens the address in the person's browser, where the system knows one; it was printed in any case.
///
/// Every user of a machine can read what its programs were started with, so the browser is given a page that only its
/// owner can read, and that page has the address.
fn browse(address: &str) -> Option<NamedTempFile> {
    let page = entry_page(address).ok()?;
    let opener = if cfg!(target_os = "macos") { "open" } else { "xdg-open" };
    let quiet = || Stdio::null();
    drop(Command::new(opener).arg(page.path()).stdin(quiet()).stdout(quiet()).stderr(quiet()).spawn());
    Some(page)
}

/// A page of mode 0600 that leads to the address; in the folder of the person's session, where the system has one.
fn entry_page(address: &str) -> std::io::Result<NamedTempFile> {
    let folder = std::env::var_os("XDG_RUNTIME_DIR").map_or_else(std::env::temp_dir, PathBuf::from);
    let mut page = tempfile::Builder::new().prefix("zonecall-").suffix(".html").tempfile_in(folder)?;
    write!(
        page,
        "<!doctype html><meta charset=\"utf-8\"><meta http-equiv=\"refresh\" content=\"0; url={address}\">\
         <title>zonecall</title><a href=\"{address}\">the review desk</a>"
    )?;
    page.flush()?;
    Ok(page)
}
