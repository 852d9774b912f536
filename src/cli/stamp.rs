//! `zonecall stamp`: a signature is stamped by a third party, at once or later.
//!
//! Takes: signed exams, and the server that options or settings name.
//! Gives: a time stamp next to each journal.
//! Never: changes a signature, or keeps anybody from signing.
//! Tested in: `tests/it/time_stamp/`.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;

use super::output::one_line;
use super::settings::Settings;
use crate::exam_folder::ExamFolder;
use crate::signing::time_stamp::{StampedSignature, stamp as stamp_exam};
use crate::terminal::{self, ShownText as _};
use crate::time_stamp::server::PATIENCE;
use crate::time_stamp::{Authority, StampServer, Token};

/// Who stamps.
#[derive(Debug, Default, clap::Args)]
pub(crate) struct StampOptions {
    /// Address of the time-stamp server (RFC 3161), such as http://stamp.example/tsa; else the one in the settings.
    #[arg(long, value_name = "URL")]
    time_stamp: Option<String>,
    #[command(flatten)]
    authority: AuthorityOption,
}

/// Who vouches for whoever stamps.
#[derive(Debug, Default, clap::Args)]
pub(crate) struct AuthorityOption {
    /// Certificates of the authority that vouches for the time-stamp server, as a PEM file; else those in the settings.
    #[arg(long, value_name = "FILE")]
    time_stamp_ca: Option<PathBuf>,
}

impl AuthorityOption {
    /// The authority that option or settings name.
    pub(super) fn read(&self, settings: &Settings) -> anyhow::Result<Option<Authority>> {
        let named = self.time_stamp_ca.as_ref().or(settings.time_stamp_ca.as_ref());
        Ok(named.map(|path| Authority::read(path)).transpose()?)
    }
}

impl StampOptions {
    /// The server that option or settings name.
    pub(super) fn server(&self) -> anyhow::Result<Option<StampServer>> {
        let settings = Settings::read()?;
        let Some(url) = self.time_stamp.as_ref().or(settings.time_stamp.as_ref()) else { return Ok(None) };
        Ok(Some(StampServer::new(url, self.authority.read(&settings)?, PATIENCE)?))
    }
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall stamp exams/juniper\n  \
    zonecall stamp --time-stamp http://stamp.example/tsa --time-stamp-ca authority.pem exams/*\n\n\
    The server gets a hash and a random number, and nothing else. What is stamped already stays as it is.\n\n\
    Exit codes: 0 stamped, 2 an error; the signature stays as it was.")]
pub(crate) struct StampArgs {
    /// Exam folders.
    #[arg(value_name = "FOLDER", required = true)]
    folders: Vec<PathBuf>,
    #[command(flatten)]
    options: StampOptions,
}

pub(crate) fn stamp(args: &StampArgs) -> anyhow::Result<ExitCode> {
    let server = args.options.server()?.context(
        "no time-stamp server is named; name one with --time-stamp, or as `time_stamp` in the settings",
    )?;
    let mut failed = false;
    for path in &args.folders {
        match stamp_exam(&ExamFolder::at(path), &server) {
            Ok(stamped) => writeln!(terminal::out(), "{}: {}", path.shown(), in_words(&stamped))?,
            Err(error) => {
                failed = true;
                let why = one_line(&error.into());
                writeln!(terminal::out(), "{}: NOT STAMPED: {why}", path.shown())?;
            }
        }
    }
    Ok(if failed { ExitCode::from(2) } else { ExitCode::SUCCESS })
}

/// After a signature: has it stamped where a server is named. Whatever goes wrong is reported; the signature is made.
pub(super) fn stamp_signature(path: &Path, options: &StampOptions) -> std::io::Result<()> {
    let stamped = || -> anyhow::Result<Option<StampedSignature>> {
        let Some(server) = options.server()? else { return Ok(None) };
        Ok(Some(stamp_exam(&ExamFolder::at(path), &server)?))
    };
    match stamped() {
        Ok(None) => {}
        Ok(Some(stamped)) => writeln!(terminal::out(), "{}", in_words(&stamped))?,
        Err(error) => terminal::warn(format!(
            "zonecall: signed, but not stamped yet: {}; once that is fixed, run `zonecall stamp {}`",
            one_line(&error),
            path.shown()
        )),
    }
    Ok(())
}

fn in_words(stamped: &StampedSignature) -> String {
    let before = if stamped.was_there { " already" } else { "" };
    format!("the signature in line {} is{before} stamped: {}", stamped.seq, token_in_words(&stamped.token))
}

/// When, and by whom.
pub(super) fn token_in_words(token: &Token) -> String {
    let at = token.at.format("%Y-%m-%d %H:%M:%S UTC");
    let accuracy = token.accuracy.map(|within| format!(" (+-{:.1} s)", within.as_seconds_f64()));
    format!("{at}{} by {}", accuracy.unwrap_or_default(), token.by)
}
