//! Encoder and head, run by ONNX Runtime on one core.
//!
//! Takes: the bytes of the models, or of the one that is both, and the samples of one utterance.
//! Gives: the head's log-probabilities, frame by frame, and what its last layer made them from.
//! Never: words.
//! Tested in: `tests/it/neural.rs`.

use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use ort::environment::Environment;
use ort::session::{Session, SessionInputValue, SessionOutputs};
use ort::value::Tensor;

use crate::speech::neural::adapt::AdaptationSample;
use crate::speech::neural::search::Frames;
use crate::speech::recognise::EngineError;

/// Samples between two frames of the encoder: its three convolutions step by 64, 3 and 2.
pub(super) const FRAME: u64 = 384;
/// A shorter utterance is filled up with silence to half a second, as in training.
const SAMPLES_MIN: usize = 8_000;
/// Numbers in one frame of the encoder.
pub(super) const FEATURES: usize = 288;

/// The library is loaded once a process, and so is what it needs to run.
static RUNTIME: Mutex<Option<(PathBuf, Environment)>> = Mutex::new(None);

/// A model, ready to run on one core; `what` says what was being done when that failed.
pub(super) fn session(runtime: &Path, what: &'static str, bytes: &[u8]) -> Result<Session, EngineError> {
    let failed = |what, reason: String| EngineError::Runtime { path: runtime.to_owned(), what, reason };
    let mut loaded = RUNTIME.lock().unwrap_or_else(PoisonError::into_inner);
    if loaded.is_none() {
        let library = ort::init_from(runtime).map_err(|error| failed("load", error.to_string()))?;
        let environment = library.build().map_err(|error| failed("start", error.to_string()))?;
        *loaded = Some((runtime.to_owned(), environment));
    }
    let Some((_, environment)) = loaded.as_ref() else {
        return Err(failed("start", "no environment".to_owned()));
    };
    let built = Session::builder(environment)
        .and_then(|builder| Ok(builder.with_intra_threads(1)?))
        .and_then(|builder| Ok(builder.with_inter_threads(1)?))
        .and_then(|mut builder| builder.commit_from_memory(bytes));
    built.map_err(|error| failed(what, error.to_string()))
}

/// The models, ready to run.
#[derive(Debug)]
pub(super) struct Encoder {
    /// None where the head takes samples itself: encoder and head in one file.
    encoder: Option<Session>,
    head: Session,
    runtime: PathBuf,
}

impl Encoder {
    pub(super) fn new(runtime: &Path, encoder: Option<&[u8]>, head: &[u8]) -> Result<Self, EngineError> {
        let head = session(runtime, "read the head with", head)?;
        let encoder = encoder.map(|bytes| session(runtime, "read the encoder with", bytes)).transpose()?;
        Ok(Self { encoder, head, runtime: runtime.to_owned() })
    }

    /// What the head makes of one utterance.
    pub(super) fn hear(&mut self, samples: &[i16]) -> Result<AdaptationSample, EngineError> {
        self.run(as_numbers(samples)).map_err(|error| EngineError::Runtime {
            path: self.runtime.clone(),
            what: "hear an utterance with",
            reason: error.to_string(),
        })
    }

    fn run(&mut self, heard: Vec<f32>) -> ort::Result<AdaptationSample> {
        let Some(encoder) = &mut self.encoder else {
            let samples = Tensor::from_array(([1, heard.len()], heard))?;
            let answered = self.head.run(ort::inputs!["samples" => samples])?;
            return sample(&answered);
        };
        let sound = encoded(encoder, heard)?;
        let features = Tensor::from_array(([1, sound.len() / FEATURES, FEATURES], sound))?;
        let answered = self.head.run(ort::inputs!["features" => features])?;
        sample(&answered)
    }
}

/// Samples as the models take them, filled up to the shortest utterance.
fn as_numbers(samples: &[i16]) -> Vec<f32> {
    let mut heard: Vec<f32> = samples.iter().map(|sample| f32::from(*sample) / 32_768.0).collect();
    heard.resize(heard.len().max(SAMPLES_MIN), 0.0);
    heard
}

/// What an encoder by itself makes of some sound, frame by frame.
pub(super) fn encode(encoder: &mut Session, samples: &[i16]) -> ort::Result<Vec<f32>> {
    encoded(encoder, as_numbers(samples))
}

fn encoded(encoder: &mut Session, heard: Vec<f32>) -> ort::Result<Vec<f32>> {
    let len = heard.len();
    let samples = Tensor::from_array(([1, len], heard))?;
    let mask = Tensor::from_array(([1, len], vec![1_i64; len]))?;
    let inputs: Vec<(&str, SessionInputValue<'_>)> =
        vec![("input_values", samples.into()), ("attention_mask", mask.into())];
    let encoded = encoder.run(inputs)?;
    let (_, sound) = encoded[0].try_extract_tensor::<f32>()?;
    Ok(sound.to_vec())
}

/// What the head answered.
fn sample(answered: &SessionOutputs<'_>) -> ort::Result<AdaptationSample> {
    let rows = |idx: usize| -> ort::Result<Frames> {
        let (shape, values) = answered[idx].try_extract_tensor::<f32>()?;
        let width = shape.last().and_then(|len| usize::try_from(*len).ok()).unwrap_or(0);
        Ok(Frames::new(values.to_vec(), width))
    };
    // A head from before voices could be learned has one output, and nothing to learn from.
    let inner = if answered.len() > 1 { rows(1)? } else { Frames::new(Vec::new(), 1) };
    Ok(AdaptationSample { frames: rows(0)?, inner })
}
