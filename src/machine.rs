//! The machine that an exam is kept on: its files and its clocks.
//!
//! Takes: paths, bytes, open files.
//! Gives: what the system makes of them; each method can fail in a test as a disk or a clock does.
//! Never: decides anything; which order of writing and syncing is safe, journal and kept sound say.
//! Tested in: `tests/it/simulated.rs`.

use std::fmt::Debug;
use std::fs::File;
use std::io::{ErrorKind, Result, Seek as _, SeekFrom, Write as _};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use chrono::{DateTime, Utc};

use crate::{plain_file, private};

/// Both clocks, read together.
#[derive(Debug, Clone, Copy)]
pub struct Clocks {
    /// What the wall clock says (UTC); a person or a server may set it.
    pub wall: DateTime<Utc>,
    /// What the monotonic clock says, which nobody sets.
    pub monotonic: Instant,
}

/// Files and clocks; unless a method says otherwise, it is the one of the system.
pub trait Machine: Debug + Send + Sync {
    /// Makes a folder, and those above it, for its owner alone; a power cut leaves it there.
    ///
    /// # Errors
    /// When the file system refuses.
    fn make_folder(&self, path: &Path) -> Result<()> {
        let is_new = |folder: &&Path| !folder.as_os_str().is_empty() && !folder.exists();
        let made: Vec<&Path> = path.ancestors().take_while(is_new).collect();
        private::make_folder(path)?;
        made.iter().filter_map(|folder| folder.parent()).try_for_each(|above| self.sync_folder(above))
    }

    /// Makes a file for its owner alone, where there is none yet; after a power cut its name may be gone until its folder
    /// is synced.
    ///
    /// # Errors
    /// When there is one, or the file system refuses.
    fn create(&self, path: &Path) -> Result<File> {
        private::options().read(true).write(true).create_new(true).open(path)
    }

    /// Opens a file that is there, to read and to write.
    ///
    /// # Errors
    /// When there is none, or the file system refuses.
    fn open(&self, path: &Path) -> Result<File> {
        private::options().read(true).write(true).open(path)
    }

    /// Writes into the open file `file`, whose path is `path`, from the byte `at` on; all or an error.
    ///
    /// # Errors
    /// When the file system refuses; a part may have been written.
    fn write(&self, mut file: &File, _path: &Path, at: u64, bytes: &[u8]) -> Result<()> {
        file.seek(SeekFrom::Start(at))?;
        file.write_all(bytes)
    }

    /// Cuts an open file to `bytes`.
    ///
    /// # Errors
    /// When the file system refuses.
    fn cut(&self, file: &File, _path: &Path, bytes: u64) -> Result<()> {
        file.set_len(bytes)
    }

    /// Waits until the disk has what was written into an open file.
    ///
    /// # Errors
    /// When the disk refuses.
    fn sync(&self, file: &File, _path: &Path) -> Result<()> {
        file.sync_data()
    }

    /// Waits until the disk has the names in a folder; one that this program may not read is its owner's business.
    ///
    /// # Errors
    /// When the disk refuses.
    fn sync_folder(&self, path: &Path) -> Result<()> {
        if !cfg!(unix) {
            return Ok(());
        }
        let path = if path.as_os_str().is_empty() { Path::new(".") } else { path };
        match File::open(path) {
            Err(refused) if refused.kind() == ErrorKind::PermissionDenied => Ok(()),
            // Some file systems keep no names to wait for.
            opened => match opened?.sync_all() {
                Err(refused)
                    if matches!(refused.kind(), ErrorKind::InvalidInput | ErrorKind::Unsupported) =>
                {
                    Ok(())
                }
                done => done,
            },
        }
    }

    /// Puts a file in the place of another one, by way of the path `new`.
    ///
    /// # Errors
    /// When the file system refuses; the other one is as it was.
    fn replace(&self, new: &Path, path: &Path, bytes: &[u8]) -> Result<()> {
        private::options().write(true).create(true).truncate(true).open(new)?.write_all(bytes)?;
        std::fs::rename(new, path)
    }

    /// The whole of a file.
    ///
    /// # Errors
    /// When there is none, or it cannot be read.
    fn read(&self, path: &Path) -> Result<Vec<u8>> {
        plain_file::read(path)
    }

    /// What the clocks say now.
    fn now(&self) -> Clocks {
        Clocks { wall: Utc::now(), monotonic: Instant::now() }
    }
}

/// The machine that this program runs on.
#[derive(Debug)]
struct ThisMachine;

impl Machine for ThisMachine {}

/// The machine that this program runs on.
#[must_use]
pub fn this() -> Arc<dyn Machine> {
    Arc::new(ThisMachine)
}
