//! The time stamps of an exam's signatures: each a file of its own, named by the line of its signature.
//!
//! Takes: an exam folder, the lines of its journal.
//! Gives: where a time stamp is kept, what it must be of, and whether it is one.
//! Never: asks a server.
//! Tested in: `tests/it/time_stamp/`.

use std::io::Read as _;
use std::path::{Path, PathBuf};

use crate::exam::fold::{Exam, Stamped};
use crate::exam::journal::Lines;
use crate::exam::seq::Seq;
use crate::plain_file;
use crate::terminal::ShownText as _;
use crate::time_stamp::{TOKEN_BYTES_MAX, Token};

/// Where the time stamps are, inside an exam folder.
pub const STAMPS_FOLDER: &str = "stamps";

/// The file of the time stamp of the signature in this line, from the exam folder.
#[must_use]
pub fn stamp_file(seq: Seq) -> PathBuf {
    Path::new(STAMPS_FOLDER).join(format!("{:04}.tst", seq.0))
}

/// The files of all time stamps of an exam, in the order of their names.
#[must_use]
pub fn stamp_files(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder.join(STAMPS_FOLDER)).into_iter().flatten();
    let mut files: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.sort();
    files
}

/// What a time stamp of the signature in this line is of: the SHA-256 of the line, as the next line holds it.
#[must_use]
pub fn stamped_hash(lines: &Lines, seq: Seq) -> Option<[u8; 32]> {
    let idx = lines.events.iter().position(|line| line.seq == seq)?;
    crate::unhex(lines.hashes.get(idx)?)?.try_into().ok()
}

/// The time stamp of the signature in this line; none where there is no file.
#[must_use]
pub fn stamp_of(folder: &Path, lines: &Lines, seq: Seq) -> Option<Result<Token, String>> {
    let file = stamp_file(seq);
    let path = folder.join(&file);
    if !path.exists() {
        return None;
    }
    let mut bytes = Vec::new();
    let read =
        plain_file::open(&path).and_then(|opened| opened.take(TOKEN_BYTES_MAX).read_to_end(&mut bytes));
    let named = |why: String| format!("the time stamp `{}` does not hold: {why}", file.shown());
    if let Err(error) = read {
        return Some(Err(named(format!("it cannot be read: {error}"))));
    }
    let Some(hash) = stamped_hash(lines, seq) else {
        return Some(Err(named("there is no such line in the journal".to_owned())));
    };
    Some(Token::read(&bytes, &hash).map_err(|fault| named(fault.to_string())))
}

/// Notes the time stamp of the last signature that holds.
pub(crate) fn note_stamp(folder: &Path, lines: &Lines, exam: &mut Exam) {
    let Some(signed) = &mut exam.signed else { return };
    signed.stamp = stamp_of(folder, lines, signed.seq).map(|found| match found {
        Ok(token) => Stamped::Holds { at: token.at, by: token.by },
        Err(why) => Stamped::Fails { why },
    });
}
