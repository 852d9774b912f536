//! The journal: `exam.jsonl`, append-only, one event a line, each line holding the hash of the one before.
//!
//! Takes: events, one at a time or several that belong together.
//! Gives: the file, and back from it every whole line and what is wrong with the rest.
//! Never: rewrites or cuts a line that was written; a torn last line stays and the next event starts on a fresh one. Only
//! an exam that is erased on request loses its lines, all of them together.
//! Tested in: `tests/it/journal.rs`.

use std::fs::{File, TryLockError};
use std::io::{Read as _, Seek as _, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use chrono::{DateTime, Utc};
use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::clock::Sample;
use crate::exam::chain_head::Head;
use crate::exam::event::{Erased, Event};
use crate::exam::lines::NO_LINE;
use crate::exam::seq::Seq;
use crate::machine::{self, Machine};
use crate::private;
use crate::terminal::ShownText as _;

pub use crate::exam::lines::{Lines, lines};

/// Name of the journal inside an exam folder.
pub const JOURNAL_FILE: &str = "exam.jsonl";
/// What is left of an erased one, until it is whole.
const ERASED_FILE: &str = ".exam.jsonl.new";
/// How long another program's writing is waited for: one that listens holds the journal for hours.
pub const LOCK_WAIT: Duration = Duration::from_secs(2);
/// Time between two tries.
const LOCK_AGAIN: Duration = Duration::from_millis(10);

/// Why the journal cannot be written or read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum JournalError {
    /// The folder already holds an exam.
    #[error("`{path}` already holds an exam, and a journal is never overwritten; choose a new folder", path = path.shown())]
    Exists {
        /// The journal that is there.
        path: PathBuf,
    },
    /// Another program is writing it.
    #[error("`{path}` is being written by another zonecall; wait for it to end", path = path.shown())]
    Busy {
        /// The journal.
        path: PathBuf,
    },
    /// There is no journal.
    #[error("`{path}` does not exist; name an exam folder, as made by `zonecall hear FILE --into FOLDER`", path = path.shown())]
    Missing {
        /// Where it should be.
        path: PathBuf,
    },
    /// A file was named in place of the folder that holds it.
    #[error("`{folder}` is a file, not an exam folder; {}", instead(folder), folder = folder.shown())]
    NoFolder {
        /// What was named.
        folder: PathBuf,
    },
    /// It was removed, moved or replaced while it was being written.
    #[error(
        "`{path}` was removed, moved or replaced while it was being written; put it back, or begin a new exam",
        path = path.shown()
    )]
    Removed {
        /// Where it was.
        path: PathBuf,
    },
    /// The file system refused.
    #[error("cannot {doing} `{path}`: {source}", path = path.shown())]
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
    #[error("cannot write an event to `{path}`: {source}", path = path.shown())]
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
    machine: Arc<dyn Machine>,
    path: PathBuf,
    file: File,
    /// The number of the next line.
    next_seq: Seq,
    prev: String,
    /// The head next to it is this journal's; one that is not is kept, as it shows what was cut off.
    has_own_head: bool,
}

impl Journal {
    /// Begins a journal in `folder`, which is made if need be.
    ///
    /// # Errors
    /// When there is a journal already, or the disk refuses.
    pub fn create(folder: &Path) -> Result<Self, JournalError> {
        Self::create_on(machine::this(), folder)
    }

    /// The same on a machine of the caller's choice.
    ///
    /// # Errors
    /// As `create`.
    pub fn create_on(machine: Arc<dyn Machine>, folder: &Path) -> Result<Self, JournalError> {
        no_file(folder)?;
        let path = folder.join(JOURNAL_FILE);
        let file = new_file(machine.as_ref(), folder, &path)?;
        let (next_seq, prev, has_own_head) = (Seq::FIRST, NO_LINE.to_owned(), true);
        Ok(Self { machine, path, file, next_seq, prev, has_own_head })
    }

    /// Opens the journal of `folder` to go on with it.
    ///
    /// A torn last line is closed with a line feed and reported in the journal itself.
    ///
    /// # Errors
    /// When there is none, it is in use, or the disk refuses.
    pub fn open(folder: &Path) -> Result<Self, JournalError> {
        Self::open_on(machine::this(), folder)
    }

    /// The same on a machine of the caller's choice.
    ///
    /// # Errors
    /// As `open`.
    pub fn open_on(machine: Arc<dyn Machine>, folder: &Path) -> Result<Self, JournalError> {
        no_file(folder)?;
        let path = folder.join(JOURNAL_FILE);
        let file = match machine.open(&path) {
            Ok(file) => file,
            Err(source) if source.kind() == std::io::ErrorKind::NotFound => {
                return Err(JournalError::Missing { path });
            }
            Err(source) => return Err(JournalError::Io { doing: "open", path, source }),
        };
        lock(&file, &path)?;
        let lines = lines(&bytes(machine.as_ref(), &path)?);
        let (at, sample) =
            lines.events.last().map_or((DateTime::UNIX_EPOCH, Sample::FIRST), |last| (last.at, last.sample));
        let has_own_head =
            Head::read(folder).is_none_or(|head| head.fault(&lines.events, &lines.hashes).is_none());
        let (next_seq, prev) = (lines.next_seq(), lines.last_hash.clone());
        let mut journal = Self { machine, path, file, next_seq, prev, has_own_head };
        if lines.torn_bytes > 0 {
            journal.write(b"\n")?;
        }
        if lines.torn_bytes > 0 || lines.lacks_more {
            journal.append(at, sample, &Event::Torn { bytes: lines.torn_bytes })?;
        }
        Ok(journal)
    }

    /// Goes on in another folder, with all that was written so far: the open file still has it, whatever became of its
    /// name.
    ///
    /// # Errors
    /// When there is a journal already, or a disk refuses; nothing is changed then.
    pub fn go_on_in(&mut self, folder: &Path) -> Result<(), JournalError> {
        let path = folder.join(JOURNAL_FILE);
        let file = new_file(self.machine.as_ref(), folder, &path)?;
        let mut so_far = Vec::new();
        let copied = self.file.seek(SeekFrom::Start(0)).and_then(|_| self.file.read_to_end(&mut so_far));
        let copied = copied.and_then(|_| self.machine.write(&file, &path, 0, &so_far));
        let copied = copied.and_then(|()| self.machine.sync(&file, &path));
        if let Err(source) = copied {
            // Half a copy would pass for an exam.
            let _ = std::fs::remove_file(&path).and_then(|()| std::fs::remove_dir(folder));
            return Err(JournalError::Io { doing: "copy the lines into", path, source });
        }
        (self.path, self.file) = (path, file);
        Ok(())
    }

    /// Writes one event and does not come back before it is on the disk; gives its number.
    ///
    /// # Errors
    /// When the disk refuses; nothing of what was written before is harmed.
    pub fn append(&mut self, at: DateTime<Utc>, sample: Sample, event: &Event) -> Result<Seq, JournalError> {
        let seq = self.next_seq;
        self.append_all(at, sample, std::slice::from_ref(event))?;
        Ok(seq)
    }

    /// The number that the next line gets.
    #[must_use]
    pub fn next_seq(&self) -> Seq {
        self.next_seq
    }

    /// Writes events that belong together, all of them or none, and does not come back before they are on the disk;
    /// gives their numbers.
    ///
    /// # Errors
    /// When the disk refuses; nothing of what was written before is harmed.
    pub fn append_all(
        &mut self,
        at: DateTime<Utc>,
        sample: Sample,
        events: &[Event],
    ) -> Result<Vec<Seq>, JournalError> {
        self.append_lines(events.iter().map(|event| (at, sample, event)))
    }

    /// The same, each with its own instant and sample.
    ///
    /// # Errors
    /// As `append_all`.
    pub fn append_lines<'a>(
        &mut self,
        events: impl IntoIterator<Item = (DateTime<Utc>, Sample, &'a Event)>,
    ) -> Result<Vec<Seq>, JournalError> {
        let (mut seq, mut prev, mut text) = (self.next_seq, self.prev.clone(), Vec::new());
        let mut numbers = Vec::new();
        let mut events = events.into_iter().peekable();
        while let Some((at, sample, event)) = events.next() {
            let more = events.peek().is_some();
            let line = serde_json::to_vec(&LineOut { seq, at, sample, event, prev: &prev, more })
                .map_err(|source| JournalError::Encode { path: self.path.clone(), source })?;
            prev = crate::hex(&Sha256::digest(&line));
            text.extend_from_slice(&line);
            text.push(b'\n');
            numbers.push(seq);
            seq = seq.next();
        }
        self.still_there()?;
        self.write(&text)?;
        (self.next_seq, self.prev) = (seq, prev);
        if let Some(last) = numbers.last() {
            self.write_head(*last);
        }
        Ok(numbers)
    }

    /// Puts one line in the place of all others: it has the next number and still the hash of the last one.
    ///
    /// # Errors
    /// When the disk refuses; then the lines are as they were.
    pub fn erase(self, at: DateTime<Utc>, erased: Erased) -> Result<(), JournalError> {
        self.still_there()?;
        let (seq, prev, event) = (self.next_seq, self.prev.as_str(), &Event::Erased(erased));
        let line = LineOut { seq, at, sample: Sample::FIRST, event, prev, more: false };
        let mut line = serde_json::to_vec(&line)
            .map_err(|source| JournalError::Encode { path: self.path.clone(), source })?;
        let sha256 = crate::hex(&Sha256::digest(&line));
        line.push(b'\n');
        let folder = self.path.parent().unwrap_or(Path::new(""));
        let new = folder.join(ERASED_FILE);
        let replace = || -> std::io::Result<()> {
            // What a crash left of another try.
            std::fs::remove_file(&new).or_else(|error| match error.kind() {
                std::io::ErrorKind::NotFound => Ok(()),
                _ => Err(error),
            })?;
            let file = self.machine.create(&new)?;
            self.machine.write(&file, &new, 0, &line)?;
            self.machine.sync(&file, &new)?;
            std::fs::rename(&new, &self.path)?;
            self.machine.sync_folder(folder)
        };
        replace().map_err(|source| {
            // Half a line is of no use; should this fail too, it goes at the next try.
            let _ = std::fs::remove_file(&new);
            JournalError::Io { doing: "erase", path: self.path.clone(), source }
        })?;
        Head { seq, sha256 }.write(self.machine.as_ref(), folder);
        Ok(())
    }

    /// Makes sure that the file which is being written is still the one that others would find.
    ///
    /// # Errors
    /// When the journal or its folder was removed, moved or replaced.
    pub fn still_there(&self) -> Result<(), JournalError> {
        if private::is_same_file(&self.file, &self.path) {
            return Ok(());
        }
        Err(JournalError::Removed { path: self.path.clone() })
    }

    fn write_head(&self, seq: Seq) {
        if let Some(folder) = self.path.parent().filter(|_| self.has_own_head) {
            Head { seq, sha256: self.prev.clone() }.write(self.machine.as_ref(), folder);
        }
    }

    /// SHA-256 of the last line, in hexadecimal.
    #[must_use]
    pub fn last_hash(&self) -> &str {
        &self.prev
    }

    fn write(&mut self, bytes: &[u8]) -> Result<(), JournalError> {
        let io = |source| JournalError::Io { doing: "write", path: self.path.clone(), source };
        let whole = self.file.metadata().map_err(io)?.len();
        let done = self.machine.write(&self.file, &self.path, whole, bytes);
        let done = done.and_then(|()| self.machine.sync(&self.file, &self.path));
        if done.is_err() {
            // What a full disk took of it would run into the next line. Should this fail too, a torn line is reported.
            let _ = self.machine.cut(&self.file, &self.path, whole);
        }
        done.map_err(io)
    }
}

/// What to name in place of a file.
fn instead(file: &Path) -> String {
    match file.parent().filter(|_| file.ends_with(JOURNAL_FILE)) {
        Some(folder) if folder.as_os_str().is_empty() => "name the folder it is in: `.`".to_owned(),
        Some(folder) => format!("name the folder it is in: `{}`", folder.shown()),
        None => "name an exam folder, as made by `zonecall hear FILE --into FOLDER`".to_owned(),
    }
}

/// Makes sure that what was named as an exam folder is no file.
fn no_file(folder: &Path) -> Result<(), JournalError> {
    if folder.is_file() { Err(JournalError::NoFolder { folder: folder.to_owned() }) } else { Ok(()) }
}

/// A new journal, locked; its name is on the disk only when its folder is.
fn new_file(machine: &dyn Machine, folder: &Path, path: &Path) -> Result<File, JournalError> {
    let io = |doing, source| JournalError::Io { doing, path: path.to_owned(), source };
    machine.make_folder(folder).map_err(|source| io("make the folder of", source))?;
    let file = match machine.create(path) {
        Ok(file) => file,
        Err(source) if source.kind() == std::io::ErrorKind::AlreadyExists => {
            return Err(JournalError::Exists { path: path.to_owned() });
        }
        Err(source) => return Err(io("make", source)),
    };
    machine.sync_folder(folder).map_err(|source| io("make", source))?;
    lock(&file, path)?;
    Ok(file)
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

fn bytes(machine: &dyn Machine, path: &Path) -> Result<Vec<u8>, JournalError> {
    machine.read(path).map_err(|source| match source.kind() {
        std::io::ErrorKind::NotFound => JournalError::Missing { path: path.to_owned() },
        _ => JournalError::Io { doing: "read", path: path.to_owned(), source },
    })
}

#[derive(Serialize)]
struct LineOut<'a> {
    seq: Seq,
    at: DateTime<Utc>,
    sample: Sample,
    #[serde(flatten)]
    event: &'a Event,
    prev: &'a str,
    /// The next line was written with this one, and belongs to it.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    more: bool,
}

/// Reads the journal of `folder`.
///
/// # Errors
/// When there is none or it cannot be read; damage inside it is no error.
pub fn read(folder: &Path) -> Result<Lines, JournalError> {
    no_file(folder)?;
    // Before the journal, which may grow meanwhile: a head is never ahead of it.
    let head = Head::read(folder);
    let mut lines = lines(&bytes(machine::this().as_ref(), &folder.join(JOURNAL_FILE))?);
    lines.damage.extend(head.and_then(|head| head.fault(&lines.events, &lines.hashes)));
    Ok(lines)
}

/// Whether `exam.head` is gone, which would show lines that were cut off the end; `lines` are those of `folder`.
#[must_use]
pub fn head_is_gone(folder: &Path, lines: &Lines) -> bool {
    Head::is_gone(folder, &lines.events)
}
