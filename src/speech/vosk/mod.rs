//! The Vosk ear: any model that can take a grammar, in whatever language it speaks.
//!
//! Takes: the folder of a model.
//! Gives: whether it can serve; the engine itself where the program was built with the library.
//! Never: a download.
//! Tested in: `tests/it/vosk.rs`.

#[cfg(vosk_library)]
mod engine;

use std::path::{Path, PathBuf};

#[cfg(vosk_library)]
pub use engine::Vosk;

use crate::speech::installed;

/// The files that are read first; a model with one fixed graph lacks the last two and can take no grammar.
const FILES: [&str; 4] = ["am/final.mdl", "conf/mfcc.conf", "graph/HCLr.fst", "graph/Gr.fst"];

/// True where the program was built with the library of this ear.
pub const IS_BUILT_IN: bool = cfg!(vosk_library);

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
