//! Having a signature stamped by a third party, when it is made or any time later.
//!
//! Takes: a signed exam and a time-stamp server.
//! Gives: the time stamp, kept next to the journal.
//! Never: changes the journal or the signature, or takes the place of a time stamp that is there.
//! Tested in: `tests/it/time_stamp/`.

use std::io::Write as _;
use std::path::PathBuf;

use crate::exam::event::{Event, ExamEvent};
use crate::exam::journal::JournalError;
use crate::exam::review::Change;
use crate::exam::seq::Seq;
use crate::exam::sign::fault;
use crate::exam::time_stamp_file::{stamp_file, stamp_of, stamped_hash};
use crate::exam_folder::ExamFolder;
use crate::private;
use crate::terminal::ShownText as _;
use crate::time_stamp::{ServerError, StampServer, Token};

/// Why there is no time stamp; the signature is as it was.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StampError {
    /// The journal cannot be read.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// Nobody signed.
    #[error("there is no signature to be stamped; sign the exam first")]
    NoSignature,
    /// What is kept is none.
    #[error("{0}; move the file away, then try again")]
    Kept(String),
    /// The server gave none.
    #[error(transparent)]
    Server(#[from] ServerError),
    /// It cannot be kept.
    #[error("cannot keep the time stamp as `{path}`: {source}", path = path.shown())]
    Keep {
        /// The file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
}

/// The signature of an exam, stamped.
#[derive(Debug, Clone)]
pub struct StampedSignature {
    /// Its line in the journal.
    pub seq: Seq,
    /// Its time stamp.
    pub token: Token,
    /// It was there before.
    pub was_there: bool,
}

/// Has the last signature of an exam stamped; one that is stamped already stays as it is, and the server is not asked.
///
/// # Errors
/// When nothing is signed, the server gives no time stamp, or it cannot be kept.
pub fn stamp(folder: &ExamFolder, server: &StampServer) -> Result<StampedSignature, StampError> {
    let lines = folder.lines()?;
    let signature = lines
        .events
        .iter()
        .rev()
        .find(|line| matches!(&line.event, Event::Signed(signed) if fault(signed, &line.prev).is_none()));
    let seq = signature.ok_or(StampError::NoSignature)?.seq;
    let takes_back = |line: &ExamEvent| match &line.event {
        Event::Review(review) => review.change == Change::TakeBack { seq },
        _ => false,
    };
    if lines.events.iter().any(takes_back) {
        return Err(StampError::NoSignature);
    }
    match stamp_of(folder.path(), &lines, seq) {
        Some(Ok(token)) => return Ok(StampedSignature { seq, token, was_there: true }),
        Some(Err(why)) => return Err(StampError::Kept(why)),
        None => {}
    }
    let hash = stamped_hash(&lines, seq).ok_or(StampError::NoSignature)?;
    let token = server.stamp(&hash)?;
    keep(folder, seq, &token)?;
    Ok(StampedSignature { seq, token, was_there: false })
}

/// Puts it next to the journal, whole or not at all.
fn keep(folder: &ExamFolder, seq: Seq, token: &Token) -> Result<(), StampError> {
    let path = folder.path().join(stamp_file(seq));
    let failed = |source| StampError::Keep { path: path.clone(), source };
    let home = path.parent().unwrap_or(folder.path());
    private::make_folder(home).map_err(failed)?;
    // For its owner alone, as `tempfile` makes it.
    let mut part = tempfile::NamedTempFile::new_in(home).map_err(failed)?;
    part.write_all(token.bytes()).and_then(|()| part.as_file().sync_all()).map_err(failed)?;
    match part.persist_noclobber(&path) {
        Ok(_) => {}
        // Somebody else had it stamped meanwhile; theirs is as good.
        Err(refused) if refused.error.kind() == std::io::ErrorKind::AlreadyExists => {}
        Err(refused) => return Err(failed(refused.error)),
    }
    folder.machine().sync_folder(home).map_err(failed)?;
    folder.machine().sync_folder(folder.path()).map_err(failed)
}
