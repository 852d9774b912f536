//! An exam folder: the one door to its journal, its stills, its sound and its record.
//!
//! Takes: the path of a folder that holds `exam.jsonl`, or that is to hold one.
//! Gives: the exam as its journal has it, what is next to the journal, and the record.
//! Never: changes what is there; only `Journal` writes, and it only appends.
//! Tested in: `tests/it/demo.rs`, `tests/it/torn.rs`.

use std::io::Error as IoError;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use crate::clock::Sample;
use crate::exam::event::{AudioFile, Frame};
use crate::exam::file_integrity::{StillFault, paired_file};
use crate::exam::fold::{Exam, FoldError, fold};
use crate::exam::journal::{self, JOURNAL_FILE, Journal, JournalError, Lines};
use crate::exam::sound::note_sound;
use crate::frames::folder::note_missing;
use crate::frames::pair::pair;
use crate::knowledge::assemble;
use crate::knowledge::measure::Against;
use crate::knowledge::record::Record;
use crate::machine::{self, Machine};
use crate::private;
use crate::protocol::Protocols;
use crate::speech::keep::kept_samples;
use crate::terminal::ShownText as _;

/// Where the kept sound is inside an exam folder.
pub(crate) const AUDIO_FOLDER: &str = "audio";
/// Where what is made from an exam is.
pub(crate) const OUT_FOLDER: &str = "out";

/// How the name of an encrypted exam ends: a tar archive in the format of age.
pub const ENCRYPTED: &str = ".tar.age";
/// How the name of a folder ends whose encrypted file is whole, and that is being removed.
pub(crate) const REMOVING: &str = ".removing";

/// The path with more at the end of its name.
pub(crate) fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.file_name().unwrap_or_default().to_owned();
    name.push(ending);
    path.with_file_name(name)
}

/// Why an exam folder cannot be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FolderError {
    /// The journal cannot be read or written.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// The journal is not one of an exam.
    #[error("`{path}`: {source}", path = path.shown())]
    Fold {
        /// The journal.
        path: PathBuf,
        /// Why not.
        #[source]
        source: FoldError,
    },
    /// A folder, or a file in it, cannot be made.
    #[error("cannot make `{path}`: {source}", path = path.shown())]
    Make {
        /// The folder or the file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: IoError,
    },
}

impl FolderError {
    /// The exam was erased on request: there is nothing more to read, and nothing wrong with it.
    #[must_use]
    pub fn is_erased(&self) -> bool {
        matches!(self, FolderError::Fold { source: FoldError::Erased { .. }, .. })
    }
}

/// A folder with an exam in it, or with room for one.
#[derive(Debug, Clone)]
pub struct ExamFolder {
    path: PathBuf,
    machine: Arc<dyn Machine>,
}

impl ExamFolder {
    /// Names a folder; nothing is read yet.
    #[must_use]
    pub fn at(path: impl Into<PathBuf>) -> Self {
        Self::on(machine::this(), path)
    }

    /// The same on a machine of the caller's choice.
    #[must_use]
    pub fn on(machine: Arc<dyn Machine>, path: impl Into<PathBuf>) -> Self {
        Self { path: path.into(), machine }
    }

    /// What it is kept on.
    #[must_use]
    pub fn machine(&self) -> &Arc<dyn Machine> {
        &self.machine
    }

    /// Its path.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Path of the journal.
    #[must_use]
    pub fn journal_file(&self) -> PathBuf {
        self.path.join(JOURNAL_FILE)
    }

    /// Makes sure that no exam is in it yet, before an engine is loaded; `begin_journal` checks again.
    ///
    /// # Errors
    /// When there is one.
    pub fn must_be_new(&self) -> Result<(), JournalError> {
        let path = self.journal_file();
        if path.exists() { Err(JournalError::Exists { path }) } else { Ok(()) }
    }

    /// Makes sure that an exam is in it.
    ///
    /// # Errors
    /// When there is none.
    pub fn must_hold_exam(&self) -> Result<(), JournalError> {
        let path = self.journal_file();
        if path.exists() { Ok(()) } else { Err(JournalError::Missing { path }) }
    }

    /// Begins the journal of a new exam; the folder is made if need be.
    ///
    /// # Errors
    /// When there is a journal already, or the disk refuses.
    pub fn begin_journal(&self) -> Result<Journal, JournalError> {
        Journal::create_on(Arc::clone(&self.machine), &self.path)
    }

    /// Opens the journal to append to it.
    ///
    /// # Errors
    /// When there is none, another program writes it, or the disk refuses.
    pub fn append_journal(&self) -> Result<Journal, JournalError> {
        Journal::open_on(Arc::clone(&self.machine), &self.path)
    }

    /// The lines of the journal.
    ///
    /// # Errors
    /// When there is none or it cannot be read; damage inside it is no error.
    pub fn lines(&self) -> Result<Lines, JournalError> {
        journal::read(&self.path)
    }

    /// Length of the journal in bytes, 0 where there is none: it only grows, so an unchanged length is an unchanged
    /// journal.
    #[must_use]
    pub fn journal_bytes(&self) -> u64 {
        std::fs::metadata(self.journal_file()).map_or(0, |about| about.len())
    }

    /// The exam as its journal has it; missing stills and faults of the kept sound are noted.
    ///
    /// # Errors
    /// When there is no journal, or it is not one of an exam.
    pub fn exam(&self, protocols: &Protocols) -> Result<Exam, FolderError> {
        self.exam_of(&self.lines()?, protocols)
    }

    /// The same from lines that were read before.
    ///
    /// # Errors
    /// When they are not those of an exam.
    pub fn exam_of(&self, lines: &Lines, protocols: &Protocols) -> Result<Exam, FolderError> {
        let failed = |source| FolderError::Fold { path: self.journal_file(), source };
        let mut exam = fold(lines, protocols).map_err(failed)?;
        exam.discarded.clone_from(&lines.discarded);
        let is_kept = |still: &&mut Frame| lines.discarded.iter().all(|gone| gone.file != still.file);
        note_missing(&self.path, exam.frames.iter_mut().filter(is_kept));
        note_sound(&self.path, &mut exam);
        Ok(exam)
    }

    /// The record of the exam, held against nothing.
    ///
    /// # Errors
    /// As `exam`.
    pub fn record(&self, protocols: &Protocols) -> Result<Record, FolderError> {
        Ok(record_against(&self.exam(protocols)?, protocols, &Against::default()))
    }

    /// Path of a still, whose file is named from the exam folder or in full, once it is known to be the one that was paired.
    ///
    /// # Errors
    /// As [`paired_file`].
    pub fn paired_file(&self, still: &Frame) -> Result<PathBuf, StillFault> {
        paired_file(&self.path, &still.file, &still.sha256)
    }

    /// Path of a file of kept sound.
    #[must_use]
    pub fn audio_file(&self, audio: &AudioFile) -> PathBuf {
        self.path.join(&audio.file)
    }

    /// A name for the next file of kept sound after the first `n_files`, and how many there are with it.
    ///
    /// A crash may have left a file that no line speaks of: it is kept, too.
    ///
    /// # Errors
    /// When the folder of the sound cannot be made.
    pub fn next_audio_file(&self, n_files: usize) -> Result<(String, usize), FolderError> {
        let folder = self.path.join(AUDIO_FOLDER);
        self.machine.make_folder(&folder).map_err(|source| FolderError::Make { path: folder, source })?;
        let mut n_files = n_files;
        loop {
            n_files += 1;
            let file = format!("{AUDIO_FOLDER}/{n_files:04}.wav");
            if !self.path.join(&file).exists() {
                return Ok((file, n_files));
            }
        }
    }

    /// The sample after the last one that the exam's audio files hold; a crash may have come before any line said so, and
    /// a power cut may have left nothing of a file.
    #[must_use]
    pub fn kept_samples(&self, exam: &Exam) -> Sample {
        let end = |file: &AudioFile| file.first_sample + kept_samples(&self.audio_file(file)).unwrap_or(0);
        exam.audio.iter().map(end).max().unwrap_or_default()
    }

    /// The folder for what is made from the exam; it is made if need be.
    ///
    /// # Errors
    /// When it cannot be made.
    pub fn out(&self) -> Result<PathBuf, FolderError> {
        let path = self.path.join(OUT_FOLDER);
        match private::make_folder(&path) {
            Ok(()) => Ok(path),
            Err(source) => Err(FolderError::Make { path, source }),
        }
    }
}

/// The record of an exam, its stills paired and its measures held against what was named.
#[must_use]
pub fn record_against(exam: &Exam, protocols: &Protocols, against: &Against) -> Record {
    assemble::record_against(exam, &pair(exam, &exam.frames), protocols, against)
}
