//! The binding to libvosk 0.3.45, loaded when its ear is: the program runs without the library.
//!
//! Takes: paths, sentences as JSON, and samples.
//! Gives: `Model` and `Listener`, safe to use.
//! Never: policy; settings and meaning are `vosk`.
//! Tested in: `tests/it/vosk.rs`.
#![allow(unsafe_code)]

use std::ffi::{CStr, CString, c_char, c_float, c_int, c_void};
use std::path::Path;
use std::ptr::NonNull;
use std::sync::Arc;

use libloading::Library;

/// Only errors are told as return values; the library prints nothing.
const LOG_NOTHING: c_int = -1;

/// The functions used, declared as in `vosk_api.h` of 0.3.45.
#[derive(Debug)]
struct Functions {
    set_log_level: unsafe extern "C" fn(c_int),
    model_new: unsafe extern "C" fn(*const c_char) -> *mut c_void,
    model_free: unsafe extern "C" fn(*mut c_void),
    find_word: unsafe extern "C" fn(*mut c_void, *const c_char) -> c_int,
    listener_new: unsafe extern "C" fn(*mut c_void, c_float, *const c_char) -> *mut c_void,
    listener_free: unsafe extern "C" fn(*mut c_void),
    set_words: unsafe extern "C" fn(*mut c_void, c_int),
    accept: unsafe extern "C" fn(*mut c_void, *const i16, c_int) -> c_int,
    result: unsafe extern "C" fn(*mut c_void) -> *const c_char,
    /// Last, so that it is closed after all that came from it.
    _library: Library,
}

/// The library cannot be loaded, or refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct VoskRefused {
    pub(super) what: &'static str,
    pub(super) reason: String,
}

fn refused(what: &'static str, reason: impl ToString) -> VoskRefused {
    VoskRefused { what, reason: reason.to_string() }
}

impl Functions {
    fn load(path: &Path) -> Result<Self, VoskRefused> {
        // SAFETY: loading runs the start code of a library that the user or set-up named; each name is looked up with
        // the type that its header declares, and the library stays loaded as long as the pointers live.
        unsafe {
            let library = Library::new(path).map_err(|error| refused("load", error))?;
            macro_rules! function {
                ($name:literal) => {
                    *library.get(concat!($name, "\0").as_bytes()).map_err(|error| refused("use", error))?
                };
            }
            Ok(Self {
                set_log_level: function!("vosk_set_log_level"),
                model_new: function!("vosk_model_new"),
                model_free: function!("vosk_model_free"),
                find_word: function!("vosk_model_find_word"),
                listener_new: function!("vosk_recognizer_new_grm"),
                listener_free: function!("vosk_recognizer_free"),
                set_words: function!("vosk_recognizer_set_words"),
                accept: function!("vosk_recognizer_accept_waveform_s"),
                result: function!("vosk_recognizer_final_result"),
                _library: library,
            })
        }
    }
}

/// An acoustic model.
#[derive(Debug)]
pub(super) struct Model {
    raw: NonNull<c_void>,
    functions: Arc<Functions>,
}

// SAFETY: the library keeps no thread-local state; a model may move to another thread, not be shared.
unsafe impl Send for Model {}

impl Model {
    pub(super) fn load(library: &Path, folder: &Path) -> Result<Self, VoskRefused> {
        let functions = Arc::new(Functions::load(library)?);
        let folder = text(&folder.to_string_lossy())?;
        // SAFETY: the path outlives the call; null is the library's way to say that it could not read the model.
        let raw = unsafe {
            (functions.set_log_level)(LOG_NOTHING);
            (functions.model_new)(folder.as_ptr())
        };
        let raw = NonNull::new(raw).ok_or_else(|| refused("read the model with", "it gave none"))?;
        Ok(Self { raw, functions })
    }

    /// Does the model know how the word sounds?
    pub(super) fn knows(&self, word: &str) -> bool {
        let Ok(word) = text(word) else { return false };
        // SAFETY: the model is alive and the word outlives the call.
        unsafe { (self.functions.find_word)(self.raw.as_ptr(), word.as_ptr()) >= 0 }
    }

    /// A listener for the sentences in `grammar`, a JSON array of texts; results hold words, times and confidences.
    pub(super) fn listener(&self, rate_hz: u16, grammar: &str) -> Result<Listener, VoskRefused> {
        let grammar = text(grammar)?;
        // SAFETY: the model is alive and the text outlives the call; the library counts its own references to the
        // model, so the listener may outlive ours.
        let raw = unsafe {
            (self.functions.listener_new)(self.raw.as_ptr(), c_float::from(rate_hz), grammar.as_ptr())
        };
        let raw = NonNull::new(raw).ok_or_else(|| refused("take the grammar with", "it gave no listener"))?;
        let listener = Listener { raw, functions: Arc::clone(&self.functions) };
        // SAFETY: the listener is alive.
        unsafe { (self.functions.set_words)(listener.raw.as_ptr(), 1) };
        Ok(listener)
    }
}

impl Drop for Model {
    fn drop(&mut self) {
        // SAFETY: made by `model_new`, and given back once.
        unsafe { (self.functions.model_free)(self.raw.as_ptr()) };
    }
}

/// Hears utterances under one grammar.
#[derive(Debug)]
pub(super) struct Listener {
    raw: NonNull<c_void>,
    functions: Arc<Functions>,
}

// SAFETY: as for `Model`.
unsafe impl Send for Listener {}

impl Listener {
    /// What the library makes of one utterance, as its JSON; the listener is ready for the next one.
    pub(super) fn hear(&mut self, samples: &[i16]) -> Result<String, VoskRefused> {
        let length = c_int::try_from(samples.len()).map_err(|error| refused("hear with", error))?;
        // SAFETY: the listener is alive, `length` samples can be read, and the text that comes back lives until the
        // next call on this listener: it is copied before.
        unsafe {
            if (self.functions.accept)(self.raw.as_ptr(), samples.as_ptr(), length) < 0 {
                return Err(refused("hear with", "it refused the sound"));
            }
            let json = (self.functions.result)(self.raw.as_ptr());
            if json.is_null() {
                return Err(refused("hear with", "it gave no result"));
            }
            Ok(CStr::from_ptr(json).to_string_lossy().into_owned())
        }
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        // SAFETY: made by `listener_new`, and given back once.
        unsafe { (self.functions.listener_free)(self.raw.as_ptr()) };
    }
}

fn text(text: &str) -> Result<CString, VoskRefused> {
    CString::new(text).map_err(|error| refused("give a text to", error))
}
