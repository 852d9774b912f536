//! The files of the neural ear: found, read and checked.
//!
//! Takes: the folder of the encoder and its runtime, and the folder of the head.
//! Gives: `Parts`, and the head's description.
//! Never: runs a model.
//! Tested in: `tests/it/neural.rs`.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use serde::Deserialize;
use sha2::{Digest, Sha256};

use crate::speech::installed;
use crate::speech::neural::confidence::Calibration;
use crate::speech::neural::lexicon::{BLANK, Lexicon};
use crate::speech::recognise::EngineError;

/// How a head may name the blank in its list of units; without it the list begins after the blank.
const BLANK_NAMES: [&str; 3] = ["<blank>", "<b>", "_"];
/// The unit for speech outside the language.
const OTHER: &str = "<other>";
/// Encoder and head in one file.
const WHOLE: &str = "ear.onnx";
/// The sample rate that the encoder was made for, in Hz.
const ENCODER_RATE_HZ: u32 = 16_000;

/// Where the files of the neural ear are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parts {
    /// `libonnxruntime.so`, which runs both models.
    pub runtime: PathBuf,
    /// `encoder_model.ort`, the frozen speech encoder.
    pub encoder: PathBuf,
    /// `decoder_model_merged.ort` and `tokenizer.bin`, which write free words down; the ear hears without them, too.
    pub writer: [PathBuf; 2],
    /// Folder of `ear.onnx`, encoder and head in one, or `head.onnx`, the head alone; with `head.json`, `lexicon.dict`, and
    /// `calibration.json` where it was fitted.
    pub head: PathBuf,
}

impl Parts {
    /// Where the parts are, if nothing else is said: encoder and runtime where set-up put them, and the head for
    /// `language`; where the program is installed, its own come first.
    ///
    /// `head` names a folder of another head; encoder and runtime are taken from it, too, where it holds them.
    #[must_use]
    pub fn find(head: Option<&Path>, language: &str) -> Self {
        let named = head.map(Path::to_path_buf);
        let ear = installed::folder("ear", env!("ZONECALL_BUILT_EAR"));
        let models = installed::folder("models", env!("ZONECALL_BUILT_HEAD"));
        let in_either = |file: &str| {
            let own = named.as_ref().map(|folder| folder.join(file)).filter(|path| path.is_file());
            own.unwrap_or_else(|| ear.join(file))
        };
        let (runtime, encoder) = (in_either("libonnxruntime.so"), in_either("encoder_model.ort"));
        let writer = ["decoder_model_merged.ort", "tokenizer.bin"].map(in_either);
        Self { runtime, encoder, writer, head: named.unwrap_or_else(|| models.join(language)) }
    }

    /// The first file that is not there; none when all are.
    #[must_use]
    pub fn missing(&self) -> Option<PathBuf> {
        let (model, encoder) = self.model();
        let more = ["head.json", "lexicon.dict"].map(|file| self.head.join(file));
        let parts = [self.runtime.clone(), model].into_iter().chain(encoder.cloned()).chain(more);
        parts.into_iter().find(|path| !path.is_file())
    }

    /// Whether free words can be written down, too: that takes the encoder as it was, and the decoder.
    #[must_use]
    pub fn can_write(&self) -> bool {
        let needed = [&self.runtime, &self.encoder].into_iter().chain(&self.writer);
        needed.into_iter().all(|path| path.is_file())
    }

    /// The model in the head's folder, and the encoder that it needs beside it, if it needs one.
    fn model(&self) -> (PathBuf, Option<&PathBuf>) {
        let whole = self.head.join(WHOLE);
        if whole.is_file() { (whole, None) } else { (self.head.join("head.onnx"), Some(&self.encoder)) }
    }
}

/// What `head.json` says; what it says besides this is for people.
#[derive(Debug, Clone, Deserialize)]
struct Described {
    name: String,
    version: String,
    units: Vec<String>,
    sample_rate_hz: u32,
    /// None where the head's file holds the encoder, too.
    #[serde(default)]
    encoder_sha256: Option<String>,
    head_sha256: String,
    #[serde(default)]
    calibration: Option<Calibration>,
}

/// `calibration.json`: a calibration, and the head that it was fitted for.
#[derive(Debug, Deserialize)]
struct Fitted {
    head_sha256: String,
    #[serde(flatten)]
    calibration: Calibration,
}

/// The files of the neural ear, read and found to belong together.
#[derive(Debug)]
pub(super) struct LoadedParts {
    pub(super) name: String,
    pub(super) version: String,
    /// None where the head's file holds it, too.
    pub(super) encoder: Option<Vec<u8>>,
    pub(super) head: Vec<u8>,
    /// Place of each unit in the head's output.
    pub(super) units: HashMap<String, usize>,
    pub(super) other: Option<usize>,
    pub(super) lexicon: Lexicon,
    pub(super) calibration: Calibration,
    /// SHA-256 over encoder, head and lexicon: what a voice is learned with.
    pub(super) head_sha256: String,
    /// The same over all that decides what is heard.
    pub(super) sha256: String,
}

impl LoadedParts {
    /// Reads the parts.
    pub(super) fn new(parts: &Parts) -> Result<Self, EngineError> {
        let description = parts.head.join("head.json");
        let described: Described = json(&description, &read(&description)?)?;
        if described.sample_rate_hz != ENCODER_RATE_HZ {
            let (found, wanted) = (described.sample_rate_hz.to_string(), ENCODER_RATE_HZ.to_string());
            return Err(EngineError::Mismatch { path: description, what: "sample_rate_hz", found, wanted });
        }
        let (head_file, beside) = parts.model();
        let wanted = described.encoder_sha256.unwrap_or_default();
        let encoder = beside.map(|path| checked(path, "encoder_sha256", &wanted)).transpose()?;
        let head = checked(&head_file, "head_sha256", &described.head_sha256)?;
        let first = usize::from(!described.units.first().is_some_and(|unit| BLANK_NAMES.contains(&&**unit)));
        let mut units: HashMap<String, usize> =
            described.units.iter().enumerate().map(|(idx, unit)| (unit.clone(), idx + first)).collect();
        units.retain(|_, place| *place != BLANK);
        let lexicon_file = parts.head.join("lexicon.dict");
        let text = read(&lexicon_file)?;
        let lexicon = Lexicon::read(&String::from_utf8_lossy(&text), &units)
            .map_err(|bad| EngineError::Lexicon { path: lexicon_file, line: bad.line, text: bad.text })?;
        let fitted = parts.head.join("calibration.json");
        let mut hash = Sha256::new_with_prefix(encoder.as_deref().unwrap_or_default());
        hash.update(&head);
        hash.update(&text);
        let head_sha256 = crate::hex(&hash.clone().finalize());
        let calibration = if fitted.is_file() {
            let bytes = read(&fitted)?;
            hash.update(&bytes);
            let Fitted { head_sha256: found, calibration } = json(&fitted, &bytes)?;
            if found != described.head_sha256 {
                let wanted = described.head_sha256;
                return Err(EngineError::Mismatch { path: fitted, what: "head_sha256", found, wanted });
            }
            calibration
        } else {
            described.calibration.unwrap_or_else(Calibration::unfitted)
        };
        Ok(Self {
            name: described.name,
            version: described.version,
            encoder,
            head,
            other: units.get(OTHER).copied(),
            units,
            lexicon,
            calibration,
            head_sha256,
            sha256: crate::hex(&hash.finalize()),
        })
    }
}

pub(super) fn read(path: &Path) -> Result<Vec<u8>, EngineError> {
    std::fs::read(path).map_err(|source| EngineError::Model { path: path.to_owned(), source })
}

fn json<T: serde::de::DeserializeOwned>(path: &Path, bytes: &[u8]) -> Result<T, EngineError> {
    serde_json::from_slice(bytes).map_err(|source| EngineError::Description { path: path.to_owned(), source })
}

/// The file's bytes, if they are those that the head was trained with.
fn checked(path: &Path, what: &'static str, wanted: &str) -> Result<Vec<u8>, EngineError> {
    let bytes = read(path)?;
    let found = crate::hex(&Sha256::digest(&bytes));
    if found == wanted.to_lowercase() {
        return Ok(bytes);
    }
    Err(EngineError::Mismatch { path: path.to_owned(), what, found, wanted: wanted.to_owned() })
}
