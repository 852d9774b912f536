//! The file of a still, as its row in the record knows it.
//!
//! Takes: a `FrameRow`, and the exam folder that its path starts from.
//! Gives: the file's name, and the way to it.
//! Never: the way to another file than the one that was paired.
//! Tested in: `tests/it/other_file.rs`.

use std::path::{Path, PathBuf};

use crate::exam::file_integrity::{StillFault, paired_file};
use crate::knowledge::record::{FrameRow, Status};

impl FrameRow {
    /// The file's name without its folders: what a person looks for on the scanner.
    #[must_use]
    pub fn name(&self) -> &str {
        self.file.rsplit(['/', '\\']).next().unwrap_or(&self.file)
    }

    /// Whether it is a still of this exam, and no second file of one: taken, not left out by a person, no copy.
    #[must_use]
    pub fn is_own(&self) -> bool {
        self.refused.is_none() && self.copy_of.is_none() && self.status != Status::LeftOut
    }

    /// Where its file is, once it is known to be the one that was paired.
    ///
    /// # Errors
    /// As [`paired_file`].
    pub fn paired_file(&self, exam_folder: &Path) -> Result<PathBuf, StillFault> {
        paired_file(exam_folder, &self.file, &self.sha256)
    }
}
