//! The journal: `exam.jsonl`, append-only, one event a line, each line holding the hash of the one before.
//!
//! Takes: events, one at a time.
//! Gives: the file, and back from it every whole line and what is wrong with the rest.
//! Never: rewrites or cuts a line that stands; a torn last line stays and the next event starts on a fresh one.
//! Tested in: `tests/it/journal.rs`.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::exam::call::Problem;
use crate::exam::event::{Event, ExamEvent};

/// Name of the journal inside an exam folder.
pub const JOURNAL_FILE: &str = "exam.jsonl";
/// What the first line holds in place of the hash of a line before it.
const NO_LINE: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// How long another program's writing is waited for: one that listens holds the journal for hours.
pub const LOCK_WAIT: Duration = Duration::from_secs(2);
/// Time between two tries.
const LOCK_AGAIN: Duration = Duration::from_millis(10);

/// Why the journal cannot be written or read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum JournalError {
    /// The folder already holds an exam.
    #[error("`{path}` already holds an exam, and a journal is never overwritten; choose a new folder")]
    Exists {
        /// The journal that is there.
        path: PathBuf,
    },
    /// Another program is writing it.
    #[error("`{path}` is being written by another zonecall; wait for it to end")]
    Busy {
        /// The journal.
        path: PathBuf,
    },
    /// There is no journal.
    #[error("`{path}` is not there; name an exam folder, as made by `zonecall hear FILE --into FOLDER`")]
    Missing {
        /// Where it should be.
        path: PathBuf,
    },
    /// A file was named in place of the folder that holds it.
    #[error("`{folder}` is a file and no exam folder; {}", instead(folder))]
    NoFolder {
        /// What was named.
        folder: PathBuf,
    },
    /// The file system refused.
    #[error("cannot {doing} `{path}`: {source}")]
    Io {
        /// What was being done.
        doing: &'static str,
        /// The file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// An event could not be written as JSON.
    #[error("cannot write an event to `{path}`: {source}")]
    Encode {
        /// The journal.
        path: PathBuf,
        /// Why not.
        #[source]
        source: serde_json::Error,
    },
}

/// A journal open for writing; it holds a lock so that two programs cannot break the chain.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    file: File,
    seq: u64,
    prev: String,
}

impl Journal {
    /// Begins a journal in `folder`, which is made if need be.
    ///
    /// # Errors
    /// When there is a journal already, or the disk refuses.
    pub fn create(folder: &Path) -> Result<Self, JournalError> {
        no_file(folder)?;
        let path = folder.join(JOURNAL_FILE);
        let io = |doing, source| JournalError::Io { doing, path: path.clone(), source };
        std::fs::create_dir_all(folder).map_err(|source| io("make the folder of", source))?;
        let file = match OpenOptions::new().append(true).create_new(true).open(&path) {
            Ok(file) => file,
            Err(source) if source.kind() == std::io::ErrorKind::AlreadyExists => {
                return Err(JournalError::Exists { path });
            }
            Err(source) => return Err(io("make", source)),
        };
        lock(&file, &path)?;
        Ok(Self { path, file, seq: 0, prev: NO_LINE.to_owned() })
    }

    /// Opens the journal of `folder` to go on with it.
    ///
    /// A torn last line is closed with a line feed and reported in the journal itself.
    ///
    /// # Errors
    /// When there is none, it is in use, or the disk refuses.
    pub fn open(folder: &Path) -> Result<Self, JournalError> {
        no_file(folder)?;
        let path = folder.join(JOURNAL_FILE);
        let file = match OpenOptions::new().append(true).open(&path) {
            Ok(file) => file,
            Err(source) if source.kind() == std::io::ErrorKind::NotFound => {
                return Err(JournalError::Missing { path });
            }
            Err(source) => return Err(JournalError::Io { doing: "open", path, source }),
        };
        lock(&file, &path)?;
        let bytes = bytes(&path)?;
        let lines = lines(&bytes);
        let last = lines.events.last();
        let (seq, at, sample) =
            last.map_or((0, DateTime::UNIX_EPOCH, 0), |last| (last.seq, last.at, last.sample));
        let prev = lines.last_hash.clone();
        let mut journal = Self { path, file, seq, prev };
        if lines.torn_bytes > 0 {
            journal.write(b"\n")?;
            journal.append(at, sample, &Event::Torn { bytes: lines.torn_bytes })?;
        }
        Ok(journal)
    }

    /// Writes one event and does not come back before it is on the disk; gives its number.
    ///
    /// # Errors
    /// When the disk refuses; nothing of what was written before is harmed.
    pub fn append(&mut self, at: DateTime<Utc>, sample: u64, event: &Event) -> Result<u64, JournalError> {
        self.append_all(at, sample, std::slice::from_ref(event))?;
        Ok(self.seq)
    }

    /// Writes events that belong together, all of them or none, and does not come back before they are on the disk;
    /// gives their numbers.
    ///
    /// # Errors
    /// When the disk refuses; nothing of what was written before is harmed.
    pub fn append_all(
        &mut self,
        at: DateTime<Utc>,
        sample: u64,
        events: &[Event],
    ) -> Result<Vec<u64>, JournalError> {
        let (mut seq, mut prev, mut text) = (self.seq, self.prev.clone(), Vec::new());
        for event in events {
            seq += 1;
            let line = serde_json::to_vec(&LineOut { seq, at, sample, event, prev: &prev })
                .map_err(|source| JournalError::Encode { path: self.path.clone(), source })?;
            prev = crate::hex(&Sha256::digest(&line));
            text.extend_from_slice(&line);
            text.push(b'\n');
        }
        self.write(&text)?;
        let numbers = self.seq + 1..=seq;
        (self.seq, self.prev) = (seq, prev);
        Ok(numbers.collect())
    }

    /// SHA-256 of the last line, in hexadecimal.
    #[must_use]
    pub fn last_hash(&self) -> &str {
        &self.prev
    }

    fn write(&mut self, bytes: &[u8]) -> Result<(), JournalError> {
        let io = |source| JournalError::Io { doing: "write", path: self.path.clone(), source };
        let whole = self.file.metadata().map_err(io)?.len();
        let done = self.file.write_all(bytes).and_then(|()| self.file.sync_data());
        if done.is_err() {
            // What a full disk took of it would run into the next line. Should this fail too, a torn line is told.
            let _ = self.file.set_len(whole);
        }
        done.map_err(io)
    }
}

/// What to name in place of a file.
fn instead(file: &Path) -> String {
    match file.parent().filter(|_| file.ends_with(JOURNAL_FILE)) {
        Some(folder) if folder.as_os_str().is_empty() => "name the folder that it lies in: `.`".to_owned(),
        Some(folder) => format!("name the folder that it lies in: `{}`", folder.display()),
        None => "name an exam folder, as made by `zonecall hear FILE --into FOLDER`".to_owned(),
    }
}

/// Makes sure that what was named as an exam folder is no file.
fn no_file(folder: &Path) -> Result<(), JournalError> {
    if folder.is_file() { Err(JournalError::NoFolder { folder: folder.to_owned() }) } else { Ok(()) }
}

fn lock(file: &File, path: &Path) -> Result<(), JournalError> {
    let began = Instant::now();
    loop {
        match file.try_lock() {
            Ok(()) => return Ok(()),
            Err(TryLockError::WouldBlock) if began.elapsed() < LOCK_WAIT => std::thread::sleep(LOCK_AGAIN),
            Err(TryLockError::WouldBlock) => return Err(JournalError::Busy { path: path.to_owned() }),
            Err(TryLockError::Error(source)) => {
                return Err(JournalError::Io { doing: "lock", path: path.to_owned(), source });
            }
        }
    }
}

fn bytes(path: &Path) -> Result<Vec<u8>, JournalError> {
    std::fs::read(path).map_err(|source| match source.kind() {
        std::io::ErrorKind::NotFound => JournalError::Missing { path: path.to_owned() },
        _ => JournalError::Io { doing: "read", path: path.to_owned(), source },
    })
}

#[derive(Serialize)]
struct LineOut<'a> {
    seq: u64,
    at: DateTime<Utc>,
    sample: u64,
    #[serde(flatten)]
    event: &'a Event,
    prev: &'a str,
}

#[derive(Deserialize)]
struct LineIn {
    seq: u64,
    at: DateTime<Utc>,
    sample: u64,
    kind: String,
    body: serde_json::Value,
    prev: String,
}

/// What a journal file holds.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Lines {
    /// Every whole line that could be read, in file order.
    pub events: Vec<ExamEvent>,
    /// What is wrong, with the line number from 1.
    pub damage: Vec<(u64, Problem)>,
    /// Length of a last line without its line feed.
    pub torn_bytes: u64,
    last_hash: String,
}

impl Lines {
    /// SHA-256 of the last line, in hexadecimal: noted elsewhere, it shows later whether the end was cut off.
    #[must_use]
    pub fn last_hash(&self) -> &str {
        &self.last_hash
    }
}

/// Reads the journal of `folder`.
///
/// # Errors
/// When there is none or it cannot be read; damage inside it is no error.
pub fn read(folder: &Path) -> Result<Lines, JournalError> {
    no_file(folder)?;
    Ok(lines(&bytes(&folder.join(JOURNAL_FILE))?))
}

/// Takes the bytes of a journal apart.
#[must_use]
pub fn lines(bytes: &[u8]) -> Lines {
    let mut found = Lines { last_hash: NO_LINE.to_owned(), ..Lines::default() };
    let mut number = 0;
    let mut torn_at = None;
    for piece in bytes.split_inclusive(|byte| *byte == b'\n') {
        number += 1;
        let Some(line) = piece.strip_suffix(b"\n") else {
            found.torn_bytes = piece.len() as u64;
            found.last_hash = crate::hex(&Sha256::digest(piece));
            found.damage.push((number, torn(piece.len() as u64)));
            break;
        };
        let before = std::mem::replace(&mut found.last_hash, crate::hex(&Sha256::digest(line)));
        let seq_wanted = found.events.last().map_or(1, |event: &ExamEvent| event.seq + 1);
        match serde_json::from_slice::<LineIn>(line) {
            Ok(parts) => {
                found.damage.extend(faults(&parts, &before, seq_wanted).map(|problem| (number, problem)));
                let event = body(&parts, number, &mut found.damage);
                if let (Event::Torn { .. }, Some(at)) = (&event, torn_at.take()) {
                    // The program itself reported this one: a torn line is not a fault of the chain.
                    found.damage.retain(|(line, _)| *line != at);
                    found.damage.push((at, torn(0)));
                }
                let LineIn { seq, at, sample, prev, .. } = parts;
                found.events.push(ExamEvent { seq, at, sample, event, prev });
            }
            Err(error) => {
                torn_at = Some(number);
                found.damage.push((
                    number,
                    Problem {
                        message: format!("line {number} is not a journal line: {error}"),
                        help: "the line was changed or cut; compare with a copy".to_owned(),
                    },
                ));
            }
        }
    }
    found
}

fn torn(bytes: u64) -> Problem {
    let size = if bytes == 0 { String::new() } else { format!(" ({bytes} bytes)") };
    Problem {
        message: format!("a line was cut short while it was written{size}, by a crash or a full disk"),
        help: "what was said then is in the kept audio".to_owned(),
    }
}

/// Checks a line against the one before it.
fn faults(line: &LineIn, hash_before: &str, seq_wanted: u64) -> impl Iterator<Item = Problem> {
    let chain = (line.prev != hash_before).then(|| Problem {
        message: format!("line with seq {} does not fit the line before it", line.seq),
        help: "a line was changed, added or taken out after it was written; compare with a copy".to_owned(),
    });
    let order = (line.seq != seq_wanted).then(|| Problem {
        message: format!("seq is {} where {seq_wanted} was to come", line.seq),
        help: "lines are missing or doubled; compare with a copy".to_owned(),
    });
    chain.into_iter().chain(order)
}

/// The event in a line; one of a kind or shape that this version does not know is kept as it stands.
fn body(line: &LineIn, number: u64, damage: &mut Vec<(u64, Problem)>) -> Event {
    let tagged = serde_json::json!({ "kind": line.kind, "body": line.body });
    serde_json::from_value(tagged).unwrap_or_else(|error| {
        damage.push((
            number,
            Problem {
                message: format!("`{}` is not known to this version: {error}", line.kind),
                help: "it is kept; a later version of the program can read it".to_owned(),
            },
        ));
        Event::Unknown { kind: line.kind.clone(), body: line.body.clone() }
    })
}
