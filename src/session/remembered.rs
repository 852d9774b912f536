//! What an exam was listened to with, for the next time.
//!
//! Takes: an exam folder, and the options of `listen`.
//! Gives: the scanner's folder again, when the exam is resumed without naming one.
//! Never: part of the record; it is in the cache of the exam, which may be deleted.
//! Tested in: `tests/it/live_exam.rs`.

use std::io;
use std::path::{Path, PathBuf};

use serde::Deserialize;

/// The file in the exam's cache.
const FILE: &str = ".cache/listen.toml";

/// Where the stills of an exam came from.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub struct RememberedScanner {
    /// The folder into which the scanner exports them.
    pub watch: PathBuf,
    /// Seconds that this takes it.
    pub export_delay_s: f64,
}

impl RememberedScanner {
    /// Keeps it for when the exam is resumed.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn keep(&self, exam: &Path) -> io::Result<()> {
        let path = exam.join(FILE);
        if let Some(cache) = path.parent() {
            std::fs::create_dir_all(cache)?;
        }
        let watch = std::path::absolute(&self.watch)?;
        let watch = toml::Value::from(watch.to_string_lossy().into_owned());
        std::fs::write(path, format!("watch = {watch}\nexport_delay_s = {:?}\n", self.export_delay_s))
    }

    /// What was kept; none where nothing was, or where it cannot be read any more.
    #[must_use]
    pub fn of(exam: &Path) -> Option<Self> {
        toml::from_str(&std::fs::read_to_string(exam.join(FILE)).ok()?).ok()
    }
}
