//! A closed exam folder becomes one encrypted file.
//!
//! Takes: an exam folder and the public keys of those who may read it.
//! Gives: the file, read back whole; and, if that was asked for, no folder any more.
//! Never: leaves half a file under the name of a whole one, or the folder's only copy in what was not read back.
//! Tested in: `tests/it/encryption.rs`.

use std::fs::File;
use std::io::{BufReader, BufWriter, Read, Write as _};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use age::x25519::Identity;
use rustix::fs::{Advice, fadvise};

use super::contents::{ContentsError, FolderItem, contents};
use super::encrypted_file;
use super::keys::Recipients;
use crate::exam_folder::{ExamFolder, FolderError, REMOVING, with_ending};
use crate::plain_file;
use crate::private;
use crate::protocol::Protocols;
use crate::terminal::ShownText as _;

/// Bytes written and read at once.
const PIECE: usize = 1 << 16;
/// A file that is being written.
const PART: &str = ".part";

/// Why an exam was not encrypted, or its folder not removed; the folder has all that it had.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum EncryptError {
    /// No exam, or one that cannot be read.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// Somebody may still be listening.
    #[error("the exam was never closed, so nothing was encrypted; close it with `zonecall resume`")]
    Open,
    /// There is a file.
    #[error("`{path}` already exists and is not overwritten; move it away, or name another with --out", path = path.shown())]
    There {
        /// The file.
        path: PathBuf,
    },
    /// A link, a pipe or the like.
    #[error("`{path}` is neither a file nor a folder, and could not be given back; take it out of the exam folder", path = path.shown())]
    Odd {
        /// What it is.
        path: PathBuf,
    },
    /// The disk refuses.
    #[error("cannot {doing} `{path}`: {source}", path = path.shown())]
    Io {
        /// What was being done.
        doing: &'static str,
        /// The file or folder.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// The library refuses.
    #[error("cannot encrypt: {0}")]
    Age(String),
    /// What was read back is something else.
    #[error(
        "the encrypted file does not hold what the folder holds ({why}); it was deleted, and the folder is as it was"
    )]
    Differs {
        /// What is different.
        why: String,
    },
    /// Something came meanwhile.
    #[error("`{path}` came or changed meanwhile, so the folder was not removed; encrypt it again", path = path.shown())]
    Changed {
        /// What it is.
        path: PathBuf,
    },
}

/// What was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Encrypted {
    /// The file.
    pub file: PathBuf,
    /// Files in it.
    pub n_files: usize,
    /// Stills of the exam whose files are outside its folder, where they stay as they are.
    pub outside: Vec<PathBuf>,
}

/// What becomes of the folder.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlainFolder {
    /// It stays.
    Kept,
    /// It goes, once the file was read back.
    Removed,
}

/// Encrypts a closed exam into `into`, reads it back, and removes the folder if that is wanted.
///
/// Nobody but the recipients can read the file, and this program is none. So it encrypts for one more key, which it has in
/// memory only and forgets at the end: with that the file is decrypted whole, and each byte compared with the folder.
///
/// # Errors
/// When the exam is not closed, something cannot be read or written, or what was read back differs; then the folder is as
/// it was, and there is no file.
pub fn encrypt(
    folder: &ExamFolder,
    protocols: &Protocols,
    recipients: &Recipients,
    into: &Path,
    plain: PlainFolder,
) -> Result<Encrypted, EncryptError> {
    encrypt_with(folder, protocols, recipients, into, plain, &mut |_| ())
}

/// The same; `meanwhile` is called with the path of the written file before it is read back, for tests that harm it.
///
/// # Errors
/// As `encrypt`.
pub fn encrypt_with(
    folder: &ExamFolder,
    protocols: &Protocols,
    recipients: &Recipients,
    into: &Path,
    plain: PlainFolder,
    meanwhile: &mut dyn FnMut(&Path),
) -> Result<Encrypted, EncryptError> {
    // Held to the end: nobody writes into the journal meanwhile.
    let _journal = folder.append_journal().map_err(FolderError::from)?;
    let exam = folder.exam(protocols)?;
    if exam.closed.is_none() {
        return Err(EncryptError::Open);
    }
    if std::fs::symlink_metadata(into).is_ok() {
        return Err(EncryptError::There { path: into.to_owned() });
    }
    let items = listed(folder.path())?;
    let part = with_ending(into, PART);
    let key = Identity::generate();
    let written = write(folder.path(), &items, recipients, &key, &part).and_then(|()| {
        meanwhile(&part);
        read_back(folder.path(), &items, &key, &part)?;
        if plain == PlainFolder::Removed { take_away(folder.path(), &items) } else { Ok(()) }
    });
    if written.is_err() {
        // Half a file is of no use; should this fail too, it is written over the next time.
        let _ = std::fs::remove_file(&part);
    }
    written?;
    let stills = exam.frames.iter().filter(|still| Path::new(&still.file).is_absolute());
    let outside = stills.filter_map(|still| folder.paired_file(still).ok()).collect();
    put(folder, &part, into)?;
    if plain == PlainFolder::Removed {
        remove(folder)?;
    }
    let n_files = items.iter().filter(|item| item.bytes.is_some()).count();
    Ok(Encrypted { file: into.to_owned(), n_files, outside })
}

/// Takes the folder from under its name, so that nothing comes into it from here on. From now until it is gone its file is
/// whole, under the name of a part or its own: `finish_removal` relies on that.
fn take_away(path: &Path, items: &[FolderItem]) -> Result<(), EncryptError> {
    let going = with_ending(path, REMOVING);
    std::fs::rename(path, &going).map_err(failed("rename", path))?;
    let new = listed(&going).map(|now| now.into_iter().find(|item| !items.contains(item)));
    let error = match new {
        Ok(None) => return Ok(()),
        Ok(Some(new)) => EncryptError::Changed { path: path.join(new.path) },
        Err(error) => error,
    };
    std::fs::rename(&going, path).map_err(failed("rename", &going))?;
    Err(error)
}

/// Goes on with a removal that a kill or a power cut broke off; false where there is none.
///
/// # Errors
/// When the disk refuses.
pub fn finish_removal(folder: &ExamFolder) -> Result<bool, EncryptError> {
    let (going, file) = (with_ending(folder.path(), REMOVING), encrypted_file(folder.path()));
    if folder.path().exists() || !going.is_dir() {
        return Ok(false);
    }
    let part = with_ending(&file, PART);
    if !file.exists() && part.is_file() {
        put(folder, &part, &file)?;
    }
    if !file.is_file() {
        return Ok(false);
    }
    remove(folder)?;
    Ok(true)
}

fn remove(folder: &ExamFolder) -> Result<(), EncryptError> {
    let going = with_ending(folder.path(), REMOVING);
    std::fs::remove_dir_all(&going).map_err(failed("remove", &going))?;
    sync_parent(folder, &going)
}

fn sync_parent(folder: &ExamFolder, path: &Path) -> Result<(), EncryptError> {
    let parent = path.parent().unwrap_or(Path::new(""));
    folder.machine().sync_folder(parent).map_err(failed("sync", parent))
}

fn failed(doing: &'static str, path: &Path) -> impl Fn(std::io::Error) -> EncryptError {
    let path = path.to_owned();
    move |source| EncryptError::Io { doing, path: path.clone(), source }
}

fn listed(folder: &Path) -> Result<Vec<FolderItem>, EncryptError> {
    contents(folder).map_err(|error| match error {
        ContentsError::Odd(path) => EncryptError::Odd { path },
        ContentsError::Io(path, source) => EncryptError::Io { doing: "read", path, source },
    })
}

/// Writes the archive, encrypted, and waits until the disk has it.
fn write(
    folder: &Path,
    items: &[FolderItem],
    recipients: &Recipients,
    own: &Identity,
    part: &Path,
) -> Result<(), EncryptError> {
    let unwritten = failed("write", part);
    let own = own.to_public();
    let everybody = recipients.each().chain([&own]).map(|one| one as &dyn age::Recipient);
    let age =
        age::Encryptor::with_recipients(everybody).map_err(|error| EncryptError::Age(error.to_string()))?;
    let file = private::options().write(true).create(true).truncate(true).open(part).map_err(&unwritten)?;
    let sealed = age.wrap_output(BufWriter::with_capacity(PIECE, file)).map_err(&unwritten)?;
    let mut archive = tar::Builder::new(sealed);
    let root = PathBuf::from(folder.file_name().unwrap_or("exam".as_ref()));
    for item in items {
        let path = folder.join(&item.path);
        let mut header = tar::Header::new_gnu();
        let seconds = item.changed.duration_since(SystemTime::UNIX_EPOCH);
        header.set_mtime(seconds.map_or(0, |since| since.as_secs()));
        header.set_size(item.bytes.unwrap_or(0));
        let name = root.join(&item.path);
        if let Some(bytes) = item.bytes {
            header.set_mode(0o600);
            header.set_entry_type(tar::EntryType::Regular);
            let mut file = Counted {
                file: plain_file::open(&path).map_err(failed("read", &path))?,
                left: bytes,
                is_unread: false,
            };
            archive.append_data(&mut header, &name, &mut file).map_err(|source| match file.is_unread {
                true => EncryptError::Io { doing: "read", path: path.clone(), source },
                false => unwritten(source),
            })?;
        } else {
            header.set_mode(0o700);
            header.set_entry_type(tar::EntryType::Directory);
            archive.append_data(&mut header, &name, std::io::empty()).map_err(&unwritten)?;
        }
    }
    let sealed = archive.into_inner().map_err(&unwritten)?;
    let mut file = sealed.finish().map_err(&unwritten)?;
    file.flush().and_then(|()| file.get_ref().sync_all()).map_err(&unwritten)?;
    // What is read back should come from the disk and not from memory; a system that does not do so is no fault.
    let _ = fadvise(file.get_ref(), 0, None, Advice::DontNeed);
    Ok(())
}

/// A file of which exactly so many bytes are read.
struct Counted {
    file: File,
    left: u64,
    /// It could not be read, or not so far.
    is_unread: bool,
}

impl Read for Counted {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let most = usize::try_from(self.left).unwrap_or(usize::MAX).min(buffer.len());
        let read = self.file.read(&mut buffer[..most]);
        self.is_unread = !matches!(read, Ok(length) if length > 0 || most == 0);
        match read? {
            0 if most > 0 => Err(std::io::Error::other("it became shorter meanwhile")),
            length => {
                self.left -= length as u64;
                Ok(length)
            }
        }
    }
}

/// Decrypts the file to its end and compares each byte with what is in the folder now.
fn read_back(folder: &Path, items: &[FolderItem], own: &Identity, part: &Path) -> Result<(), EncryptError> {
    let differs = |why: String| EncryptError::Differs { why };
    let broken = |error: &dyn std::fmt::Display| differs(format!("it cannot be decrypted: {error}"));
    let file = plain_file::open(part).map_err(failed("read back", part))?;
    let sealed =
        age::Decryptor::new_buffered(BufReader::with_capacity(PIECE, file)).map_err(|e| broken(&e))?;
    let mut plain = sealed.decrypt(std::iter::once(own as &dyn age::Identity)).map_err(|e| broken(&e))?;
    let mut archive = tar::Archive::new(&mut plain);
    let mut wanted = items.iter();
    for entry in archive.entries().map_err(|e| broken(&e))? {
        let mut entry = entry.map_err(|e| broken(&e))?;
        let path = entry.path().map_err(|e| broken(&e))?.into_owned();
        let inside: PathBuf = path.components().skip(1).collect();
        let item = wanted.next().filter(|item| item.path == inside);
        let item = item.ok_or_else(|| differs(format!("`{}` is not in its place", path.shown())))?;
        if item.bytes.is_some() {
            let file = folder.join(&item.path);
            let kept = plain_file::open(&file).map_err(failed("read", &file))?;
            match is_same(&mut entry, &mut BufReader::with_capacity(PIECE, kept)) {
                Ok(true) => {}
                Ok(false) => return Err(differs(format!("`{}` is another one", item.path.shown()))),
                Err(Unread::Archive(error)) => return Err(broken(&error)),
                Err(Unread::Folder(source)) => return Err(failed("read", &file)(source)),
            }
        }
    }
    if let Some(missing) = wanted.next() {
        return Err(differs(format!("`{}` is missing", missing.path.shown())));
    }
    // To the very end: only there it shows that nothing was cut off.
    std::io::copy(&mut plain, &mut std::io::sink()).map_err(|e| broken(&e))?;
    let now = listed(folder)?;
    match now.iter().find(|item| !items.contains(item)) {
        Some(new) => Err(differs(format!("`{}` came or changed meanwhile", new.path.shown()))),
        None if now.len() != items.len() => Err(differs("something was removed meanwhile".to_owned())),
        None => Ok(()),
    }
}

/// Which of two readers gave an error.
enum Unread {
    Archive(std::io::Error),
    Folder(std::io::Error),
}

/// Whether the archive and the folder give the same bytes.
fn is_same(archive: &mut impl Read, folder: &mut impl Read) -> Result<bool, Unread> {
    let (mut first, mut second) = (vec![0; PIECE], vec![0; PIECE]);
    loop {
        let length = archive.read(&mut first).map_err(Unread::Archive)?;
        if length == 0 {
            return Ok(folder.read(&mut second).map_err(Unread::Folder)? == 0);
        }
        match folder.read_exact(&mut second[..length]) {
            Ok(()) if first[..length] == second[..length] => {}
            Ok(()) => return Ok(false),
            Err(error) if error.kind() == std::io::ErrorKind::UnexpectedEof => return Ok(false),
            Err(error) => return Err(Unread::Folder(error)),
        }
    }
}

/// Gives the whole file its name.
fn put(folder: &ExamFolder, part: &Path, into: &Path) -> Result<(), EncryptError> {
    std::fs::rename(part, into).map_err(failed("rename", part))?;
    sync_parent(folder, into)
}
