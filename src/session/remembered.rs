//! What an exam was listened to with, for the next time.
//!
//! Takes: an exam folder, and the options of `listen`.
//! Gives: the scanner's folder again, when the exam is resumed without naming one.
//! Never: part of the record; it is in the cache of the exam, which may be deleted.
//! Tested in: `tests/it/live_exam.rs`.

use std::io;
use std::path::{Path, PathBuf};

use serde::Deserialize;

use crate::file_name::{kept_file, spelled};
use crate::plain_file;
use crate::private;

/// The file in the exam's cache.
const FILE: &str = ".cache/listen.toml";

/// Where the stills of an exam came from.
#[derive(Debug, Clone, PartialEq)]
pub struct RememberedScanner {
    /// The folder into which the scanner exports them.
    pub watch: PathBuf,
    /// Seconds that this takes it.
    pub export_delay_s: f64,
    /// `zonecall` itself received them into that folder: without its receiver none comes.
    pub received: bool,
}

/// The same as text.
#[derive(Deserialize)]
struct Written {
    /// The folder, spelled: its name may be no text.
    watch: String,
    export_delay_s: f64,
    #[serde(default)]
    received: bool,
}

impl RememberedScanner {
    /// Keeps it for when the exam is resumed.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn keep(&self, exam: &Path) -> io::Result<()> {
        let path = exam.join(FILE);
        let watch = toml::Value::from(spelled(&std::path::absolute(&self.watch)?));
        let Self { export_delay_s, received, .. } = self;
        let text = format!("watch = {watch}\nexport_delay_s = {export_delay_s:?}\nreceived = {received}\n");
        private::replace(&path, text.as_bytes())
    }

    /// What was kept; none where nothing was, or where it cannot be read any more.
    #[must_use]
    pub fn of(exam: &Path) -> Option<Self> {
        let text = plain_file::read_to_string(&exam.join(FILE)).ok()?;
        let Written { watch, export_delay_s, received } = toml::from_str(&text).ok()?;
        Some(Self { watch: kept_file(Path::new(""), &watch), export_delay_s, received })
    }
}
