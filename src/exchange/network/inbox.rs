//! The folder that received objects go into.
//!
//! Takes: the data of an object as they come.
//! Gives: a whole file under its own name, on the disk before anybody says so; a line in `received.jsonl` for each.
//! Never: half a file, a file written over, a name that leads out of the folder, or two lines of the log in one.
//! Tested in: `tests/it/exchange/network.rs`.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufWriter, Read as _, Seek as _, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};

use chrono::{DateTime, Utc};
use dicom_object::FileMetaTableBuilder;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::exchange::uid::{IMPLEMENTATION_NAME, IMPLEMENTATION_UID, UID_CHARS_MAX, is_uid};
use crate::frames::folder::RECEIVED_FILE;
use crate::hex;
use crate::private;
use crate::terminal::{self, ShownText as _};

/// Where files are while they come in.
const COMING: &str = ".receiving";
/// Most files of one name and different content.
const BESIDE_MAX: u32 = 99;

/// What became of an object.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum InboxOutcome {
    /// Kept.
    Kept,
    /// It was there already, byte for byte.
    Known,
    /// Another object of the same name was there: kept next to it. A person should look.
    Beside,
    /// Not kept.
    Refused,
    /// No object, but the question whether some are kept.
    Asked,
}

/// One line of the log.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReceivedObject {
    /// When it was here, by this computer's clock.
    pub at: DateTime<Utc>,
    /// Who sent it: AE title.
    pub from: String,
    /// And from where.
    pub address: String,
    /// SOP Instance UID.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub instance: String,
    /// What became of it.
    pub outcome: InboxOutcome,
    /// Its file in the folder.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// Bytes of the file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bytes: Option<u64>,
    /// SHA-256 of the file, in hexadecimal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sha256: Option<String>,
    /// When it was saved, by the scanner's clock, as the file states it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub saved_at: Option<DateTime<Utc>>,
    /// Why it was refused, or what else a person should know.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub why: String,
}

/// The folder cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum InboxError {
    /// The disk refused.
    #[error("cannot write into `{path}`: {source}; check that the disk is there and has room", path = path.shown())]
    Write {
        /// Where.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// Somebody else receives into it.
    #[error("another zonecall receives into `{path}` already; stop it, or name another folder", path = path.shown())]
    Taken {
        /// The folder.
        path: PathBuf,
    },
    /// A name that is none.
    #[error("`{0}` is no UID, so it cannot be the name of a file")]
    NoUid(String),
    /// There are too many of one name.
    #[error("{BESIDE_MAX} objects of the name `{0}` with different content are here already")]
    TooMany(String),
    /// The head of the file could not be made.
    #[error("the head of the file cannot be written: {0}")]
    Head(#[from] dicom_object::meta::Error),
}

/// The folder, held by one program at a time.
#[derive(Debug)]
pub(super) struct Inbox {
    folder: PathBuf,
    /// Held as long as this lives.
    _lock: File,
    log: Mutex<File>,
    next: AtomicU64,
}

/// An object on its way in; without `keep` nothing of it stays.
#[derive(Debug)]
pub(super) struct Coming {
    path: PathBuf,
    file: BufWriter<File>,
    hash: Sha256,
    pub(super) bytes: u64,
}

impl Inbox {
    /// Opens the folder, and throws away what an earlier receiver left half-way.
    pub(super) fn open(folder: &Path) -> Result<Inbox, InboxError> {
        let failed = |path: &Path| {
            let path = path.to_owned();
            move |source| InboxError::Write { path, source }
        };
        let coming = folder.join(COMING);
        private::make_folder(&coming).map_err(failed(&coming))?;
        let lock = private::options()
            .write(true)
            .create(true)
            .truncate(true)
            .open(coming.join("lock"))
            .map_err(failed(&coming))?;
        if lock.try_lock().is_err() {
            return Err(InboxError::Taken { path: folder.to_owned() });
        }
        for entry in std::fs::read_dir(&coming).map_err(failed(&coming))?.flatten() {
            if entry.path().extension().is_some_and(|ending| ending == "part") {
                std::fs::remove_file(entry.path()).map_err(failed(&entry.path()))?;
            }
        }
        let path = folder.join(RECEIVED_FILE);
        let mut log =
            private::options().create(true).read(true).append(true).open(&path).map_err(failed(&path))?;
        if end_cut_line(&mut log).map_err(failed(&path))? {
            terminal::warn(format!(
                "zonecall: the last line of `{}` was cut short, as by a power cut; it stays as it is, and a still that it \
                 names is in the folder if it was kept",
                path.shown()
            ));
        }
        Ok(Inbox { folder: folder.to_owned(), _lock: lock, log: Mutex::new(log), next: AtomicU64::new(1) })
    }

    pub(super) fn begin(&self, class: &str, instance: &str, syntax: &str) -> Result<Coming, InboxError> {
        if !is_uid(instance) {
            return Err(InboxError::NoUid(instance.chars().take(UID_CHARS_MAX).collect()));
        }
        let number = self.next.fetch_add(1, Ordering::Relaxed);
        let path = self.folder.join(COMING).join(format!("{number}.part"));
        let file = private::options().write(true).create(true).truncate(true).open(&path);
        let file = file.map_err(|source| InboxError::Write { path: path.clone(), source })?;
        let mut coming = Coming { path, file: BufWriter::new(file), hash: Sha256::new(), bytes: 0 };
        // No word on who sent it: the same object sent twice is the same file.
        let meta = FileMetaTableBuilder::new()
            .media_storage_sop_class_uid(class)
            .media_storage_sop_instance_uid(instance)
            .transfer_syntax(syntax)
            .implementation_class_uid(IMPLEMENTATION_UID)
            .implementation_version_name(IMPLEMENTATION_NAME)
            .build()?;
        let mut head = vec![0; 128];
        head.extend(b"DICM");
        meta.write(&mut head)?;
        coming.write(&head)?;
        Ok(coming)
    }

    /// Puts a whole object in its place; it is on the disk when this returns.
    pub(super) fn keep(
        &self,
        coming: Coming,
        instance: &str,
    ) -> Result<(InboxOutcome, PathBuf, String), InboxError> {
        let (part, sha256) = coming.finish()?;
        let failed = |source| InboxError::Write { path: self.folder.clone(), source };
        // Two senders of one object at once are distinguished by the order in which they come here.
        let turn = self.log.lock();
        let mut outcome = InboxOutcome::Kept;
        for copy in 0..=BESIDE_MAX {
            let name =
                if copy == 0 { format!("{instance}.dcm") } else { format!("{instance}.other-{copy}.dcm") };
            let path = self.folder.join(name);
            if !path.exists() {
                std::fs::rename(&part, &path).map_err(failed)?;
                File::open(&self.folder).and_then(|folder| folder.sync_all()).map_err(failed)?;
                drop(turn);
                return Ok((outcome, path, sha256));
            }
            if file_sha256(&path).map_err(failed)? == sha256 {
                std::fs::remove_file(&part).map_err(failed)?;
                return Ok((InboxOutcome::Known, path, sha256));
            }
            outcome = InboxOutcome::Beside;
        }
        std::fs::remove_file(&part).map_err(failed)?;
        Err(InboxError::TooMany(instance.to_owned()))
    }

    /// The files that the log says were kept, each with the SHA-256 that it had when it came.
    pub(super) fn logged(&self) -> BTreeMap<String, String> {
        let text = std::fs::read(self.folder.join(RECEIVED_FILE)).unwrap_or_default();
        let lines = text.split(|byte| *byte == b'\n');
        // A line that a power cut broke says nothing of a file.
        let rows = lines.filter_map(|line| serde_json::from_slice::<ReceivedObject>(line).ok());
        rows.filter_map(|row| Some((row.file?, row.sha256?))).collect()
    }

    /// Adds a line to the log.
    pub(super) fn note(&self, arrival: &ReceivedObject) -> Result<(), InboxError> {
        let path = self.folder.join(RECEIVED_FILE);
        let failed = |source| InboxError::Write { path: path.clone(), source };
        let mut line = serde_json::to_string(arrival).map_err(|error| failed(error.into()))?;
        line.push('\n');
        let mut log = self.log.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        // A full disk may have taken a part of the line before.
        end_cut_line(&mut log).map_err(failed)?;
        log.write_all(line.as_bytes()).and_then(|()| log.sync_data()).map_err(failed)
    }
}

impl Coming {
    pub(super) fn write(&mut self, bytes: &[u8]) -> Result<(), InboxError> {
        self.hash.update(bytes);
        self.bytes += bytes.len() as u64;
        self.file.write_all(bytes).map_err(|source| InboxError::Write { path: self.path.clone(), source })
    }

    pub(super) fn flush(&mut self) -> Result<&Path, InboxError> {
        self.file.flush().map_err(|source| InboxError::Write { path: self.path.clone(), source })?;
        Ok(&self.path)
    }

    fn finish(mut self) -> Result<(PathBuf, String), InboxError> {
        self.flush()?;
        let failed = |source| InboxError::Write { path: self.path.clone(), source };
        self.file.get_ref().sync_all().map_err(failed)?;
        let sha256 = hex(&std::mem::take(&mut self.hash).finalize());
        // The name is empty from here on, so that dropping this removes nothing.
        Ok((std::mem::take(&mut self.path), sha256))
    }
}

impl Drop for Coming {
    fn drop(&mut self) {
        if !self.path.as_os_str().is_empty() {
            // What cannot be removed now is removed when the next receiver starts.
            let _ = std::fs::remove_file(&self.path);
        }
    }
}

/// Ends a last line that was cut short, so that the next one begins a line of its own; true where there was one.
fn end_cut_line(log: &mut File) -> std::io::Result<bool> {
    let mut last = *b"\n";
    if log.seek(SeekFrom::End(0))? > 0 {
        log.seek(SeekFrom::End(-1))?;
        log.read_exact(&mut last)?;
    }
    let is_cut = last != *b"\n";
    if is_cut {
        log.write_all(b"\n")?;
        log.sync_data()?;
    }
    Ok(is_cut)
}

/// SHA-256 of a file, in hexadecimal.
pub(super) fn file_sha256(path: &Path) -> std::io::Result<String> {
    let mut hash = Sha256::new();
    std::io::copy(&mut File::open(path)?, &mut HashWriter(&mut hash))?;
    Ok(hex(&hash.finalize()))
}

struct HashWriter<'a>(&'a mut Sha256);

impl Write for HashWriter<'_> {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.update(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}
