//! What `send` is to send: files, folders, and of an exam what is its own.
//!
//! Takes: the paths, and the exam that was named beside them.
//! Gives: `Parcel`: each file with the exam whose journal is to say so, and the stills that cannot go.
//! Never: a copy, a still of another animal, or one that a person left out, as part of an exam.
//! Tested in: `tests/it/exchange/send_exam.rs`.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use anyhow::Context as _;

use super::options::KnowledgeArgs;
use crate::exam_folder::{ExamFolder, OUT_FOLDER, record_against};
use crate::exchange::dicom::DICOM_FOLDER;
use crate::frames::beside::is_own_file;
use crate::knowledge::measure::Against;
use crate::protocol::Protocols;
use crate::terminal::ShownText as _;

/// What is to go.
#[derive(Debug, Default)]
pub(super) struct Parcel {
    /// Each file with the exam that it is of, in order of their paths.
    pub(super) files: BTreeMap<PathBuf, Option<PathBuf>>,
    /// Stills whose files are gone or not the ones that were paired, each with its exam.
    pub(super) unfit: BTreeMap<PathBuf, UnfitStill>,
    /// The exam whose journal keeps all of it, where one was named.
    exam: Option<PathBuf>,
}

/// Why a still cannot go.
#[derive(Debug)]
pub(super) struct UnfitStill {
    exam: PathBuf,
    pub(super) why: String,
}

/// Whether a folder holds an exam.
pub(super) fn is_exam(path: &Path) -> bool {
    ExamFolder::at(path).journal_file().is_file()
}

/// Where an exam has what `export --as dicom` made.
pub(super) fn exported(exam: &Path) -> PathBuf {
    exam.join(OUT_FOLDER).join(DICOM_FOLDER)
}

impl Parcel {
    /// Looks what there is.
    pub(super) fn of(
        paths: &[PathBuf],
        exam: Option<&Path>,
        knowledge: &KnowledgeArgs,
    ) -> anyhow::Result<Parcel> {
        let mut parcel = Parcel { exam: exam.map(Path::to_owned), ..Parcel::default() };
        let mut files = Vec::new();
        for path in paths {
            if !is_exam(path) {
                gather(path, &mut files)?;
                // What was named as part of an exam stays that.
                for file in files.drain(..) {
                    parcel.files.entry(file).or_insert(None);
                }
                continue;
            }
            parcel.add_stills(path, &knowledge.read()?)?;
            let made = exported(path);
            if made.is_dir() {
                gather(&made, &mut files)?;
            }
            parcel.files.extend(files.drain(..).map(|file| (file, Some(path.clone()))));
        }
        Ok(parcel)
    }

    /// The stills that are the exam's own, as the review desk sends them.
    fn add_stills(&mut self, path: &Path, protocols: &Protocols) -> anyhow::Result<()> {
        let folder = ExamFolder::at(path);
        let exam = folder.exam(protocols)?;
        let record = record_against(&exam, protocols, &Against::default());
        for (still, row) in exam.frames.iter().zip(&record.frames) {
            if !row.is_own() || exam.is_discarded(&still.file) {
                continue;
            }
            match folder.paired_file(still) {
                Ok(file) => {
                    self.files.insert(file, Some(path.to_owned()));
                }
                Err(fault) => {
                    let unfit = UnfitStill { exam: path.to_owned(), why: fault.to_string() };
                    self.unfit.insert(path.join(&still.file), unfit);
                }
            }
        }
        Ok(())
    }

    /// The exam whose journal is to name this file.
    pub(super) fn exam_of(&self, file: &Path) -> Option<&Path> {
        let own = || self.files.get(file).and_then(Option::as_deref);
        let unfit = || self.unfit.get(file).map(|still| still.exam.as_path());
        own().or_else(unfit).or(self.exam.as_deref())
    }

    /// Whether any journal is to name what is sent.
    pub(super) fn has_exam(&self) -> bool {
        self.exam.is_some() || !self.unfit.is_empty() || self.files.values().any(Option::is_some)
    }
}

/// Files of a folder and of the folders in it.
fn gather(path: &Path, files: &mut Vec<PathBuf>) -> anyhow::Result<()> {
    let unread = || format!("cannot read `{}`", path.shown());
    if !path.is_dir() {
        anyhow::ensure!(path.exists(), "`{}` does not exist; name an existing file or folder", path.shown());
        if !is_own_file(path) {
            files.push(path.to_owned());
        }
        return Ok(());
    }
    for entry in std::fs::read_dir(path).with_context(unread)? {
        let entry = entry.with_context(unread)?;
        // A link could lead out of what was named.
        if !entry.file_type().with_context(unread)?.is_symlink() {
            gather(&entry.path(), files)?;
        }
    }
    Ok(())
}
