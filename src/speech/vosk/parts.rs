//! The files of a Vosk model.
//!
//! Takes: a folder that was named, or the language.
//! Gives: where the model is, and what it lacks.
//! Never: a download.
//! Tested in: `tests/it/vosk.rs`.

use std::path::{Path, PathBuf};

use crate::speech::installed;

/// The files that are read first; a model with one fixed graph lacks the last two and can take no grammar.
pub(super) const FILES: [&str; 4] = ["am/final.mdl", "conf/mfcc.conf", "graph/HCLr.fst", "graph/Gr.fst"];

/// Where the model of the Vosk ear is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VoskParts {
    /// Folder of the model: `am/`, `conf/`, `graph/`, `ivector/`.
    pub model: PathBuf,
}

impl VoskParts {
    /// The model in `model`, else in the folder named after the `language` among the program's own, see [`installed`].
    #[must_use]
    pub fn find(model: Option<&Path>, language: &str) -> Self {
        let own = || installed::folder("vosk", env!("ZONECALL_BUILT_VOSK")).join(language);
        Self { model: model.map_or_else(own, Path::to_path_buf) }
    }

    /// The first file that is not there; none when all are.
    #[must_use]
    pub fn missing(&self) -> Option<PathBuf> {
        FILES.map(|file| self.model.join(file)).into_iter().find(|path| !path.is_file())
    }
}
