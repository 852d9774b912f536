//! Whether an archive is whole, and a copy of it.
//!
//! Takes: an open archive.
//! Gives: what is wrong with it; a copy in one file, made while others go on writing.
//! Never: repairs anything, or writes over a file.
//! Tested in: `tests/it/archive_command.rs`.

use std::path::Path;

use sqlx::Executor as _;

use crate::archive::open::{Archive, ArchiveError};
use crate::knowledge::record::Record;
use crate::private;

/// What an archive holds, and what is wrong with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ArchiveState {
    /// Exams.
    pub n_exams: usize,
    /// Versions of them.
    pub n_versions: usize,
    /// What is wrong, in words; empty where nothing is.
    pub problems: Vec<String>,
}

impl Archive {
    /// Looks through the whole archive: the file itself, and every record in it.
    ///
    /// # Errors
    /// When the database refuses to be read.
    pub fn check(&self) -> Result<ArchiveState, ArchiveError> {
        let looked = async {
            let mut problems = Vec::new();
            if !self.is_server {
                let found: Vec<(String,)> =
                    sqlx::query_as("PRAGMA integrity_check").fetch_all(&self.pool).await?;
                let words = found.into_iter().map(|(words,)| words).filter(|words| words != "ok");
                problems.extend(words.map(|words| format!("the file is damaged: {words}")));
            }
            let exams: Vec<(String, String)> =
                sqlx::query_as("SELECT id, standing FROM exam ORDER BY id").fetch_all(&self.pool).await?;
            let versions: Vec<(String, String, String)> =
                sqlx::query_as("SELECT exam_id, hash, record FROM version ORDER BY exam_id, hash")
                    .fetch_all(&self.pool)
                    .await?;
            for (id, hash, record) in &versions {
                match serde_json::from_str::<Record>(record) {
                    Ok(record) if record.exam.id == *id => {}
                    Ok(record) => {
                        problems.push(format!(
                            "version {hash} of exam `{id}` belongs to exam `{}`",
                            record.exam.id
                        ));
                    }
                    Err(error) => {
                        problems.push(format!("version {hash} of exam `{id}` cannot be read: {error}"));
                    }
                }
            }
            let is_there = |id: &str, hash: &str| versions.iter().any(|(of, own, _)| of == id && own == hash);
            let lost = exams.iter().filter(|(id, standing)| !is_there(id, standing));
            problems
                .extend(lost.map(|(id, _)| format!("the version of exam `{id}` that is in use is missing")));
            Ok(ArchiveState { n_exams: exams.len(), n_versions: versions.len(), problems })
        };
        self.runtime.block_on(looked).map_err(self.failed("check"))
    }

    /// Copies the archive into a new file, as it is at this moment.
    ///
    /// # Errors
    /// When it is on a server, the file is there already, or the disk refuses.
    pub fn backup(&self, into: &Path) -> Result<(), ArchiveError> {
        if self.is_server {
            return Err(ArchiveError::OnServer { place: self.place().to_owned() });
        }
        let failed = |why: String| ArchiveError::Copy { path: into.to_owned(), why };
        let name = into.to_str().ok_or_else(|| failed("its name is not UTF-8; choose another".to_owned()))?;
        // The database would make it for everybody to read; it takes one that is empty.
        private::options()
            .write(true)
            .create_new(true)
            .open(into)
            .map_err(|error| failed(error.to_string()))?;
        let copy = format!("VACUUM INTO '{}'", name.replace('\'', "''"));
        let copied = self.runtime.block_on(self.pool.execute(copy.as_str()));
        if copied.is_err() {
            // Half a copy would pass for one.
            let _ = std::fs::remove_file(into);
        }
        copied.map(|_| ()).map_err(self.failed("copy"))
    }
}
