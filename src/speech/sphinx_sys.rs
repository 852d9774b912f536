//! The binding to PocketSphinx 5.1.1.
//!
//! Takes: paths, grammar text and samples.
//! Gives: `Decoder`, safe to use.
//! Never: policy; settings and meaning are `sphinx`.
//! Tested in: `tests/it/hear.rs`.
#![allow(unsafe_code)]

use std::ffi::{CStr, CString, c_char, c_double, c_float, c_int, c_long, c_void};
use std::ptr::NonNull;

// Opaque C types.
type Config = c_void;
type RawDecoder = c_void;
type Seg = c_void;
type LogMath = c_void;
type Fsg = c_void;

// Declared as in `include/pocketsphinx.h` of 5.1.1.
unsafe extern "C" {
    fn ps_config_init(defn: *const c_void) -> *mut Config;
    fn ps_config_free(config: *mut Config) -> c_int;
    fn ps_config_set_str(config: *mut Config, name: *const c_char, val: *const c_char) -> *const c_void;
    fn ps_config_set_int(config: *mut Config, name: *const c_char, val: c_long) -> *const c_void;
    fn ps_config_set_bool(config: *mut Config, name: *const c_char, val: c_int) -> *const c_void;
    fn ps_config_set_float(config: *mut Config, name: *const c_char, val: c_double) -> *const c_void;
    fn ps_init(config: *mut Config) -> *mut RawDecoder;
    fn ps_free(ps: *mut RawDecoder) -> c_int;
    fn ps_add_allphone_file(ps: *mut RawDecoder, name: *const c_char, path: *const c_char) -> c_int;
    fn ps_get_logmath(ps: *mut RawDecoder) -> *mut LogMath;
    fn ps_add_fsg(ps: *mut RawDecoder, name: *const c_char, fsg: *mut Fsg) -> c_int;
    fn ps_activate_search(ps: *mut RawDecoder, name: *const c_char) -> c_int;
    fn ps_start_utt(ps: *mut RawDecoder) -> c_int;
    fn ps_process_raw(
        ps: *mut RawDecoder,
        data: *const i16,
        n: usize,
        no_search: c_int,
        full: c_int,
    ) -> c_int;
    fn ps_end_utt(ps: *mut RawDecoder) -> c_int;
    fn ps_get_hyp(ps: *mut RawDecoder, score: *mut i32) -> *const c_char;
    fn ps_seg_iter(ps: *mut RawDecoder) -> *mut Seg;
    fn ps_seg_next(seg: *mut Seg) -> *mut Seg;
    fn ps_seg_word(seg: *mut Seg) -> *const c_char;
    fn ps_seg_frames(seg: *mut Seg, from: *mut c_int, to: *mut c_int);
    fn ps_seg_prob(seg: *mut Seg, ascr: *mut i32, lscr: *mut i32, lback: *mut i32) -> i32;
    // As in `src/lm/fsg_model.h`: the same that the library calls for its own `fsg` setting.
    fn fsg_model_readfile(file: *const c_char, lmath: *mut LogMath, lw: c_float) -> *mut Fsg;
    fn fsg_model_free(fsg: *mut Fsg) -> c_int;
    fn err_set_loglevel(level: c_int) -> c_int;
}

/// Only fatal messages of the library are printed; its errors come back as return values.
const ERR_FATAL: c_int = 4;

/// Weight of a graph's arcs against the sound: the library's own default. All arcs are equally likely here.
const LANGUAGE_WEIGHT: c_float = 6.5;

/// One piece of a hypothesis.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SphinxSegment {
    /// The word or phone, as the dictionary writes it; `<sil>`, `(NULL)` and the like are among them.
    pub(crate) text: String,
    /// First 10 ms frame.
    pub(crate) from: i32,
    /// Last 10 ms frame.
    pub(crate) to: i32,
    /// Acoustic score in the library's log units (base 1.0001, shifted).
    pub(crate) score: i32,
}

/// A value for one setting.
pub(crate) enum SphinxSetting<'a> {
    Text(&'a str),
    Whole(i32),
    Switch(bool),
    Real(f64),
}

/// The library refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("PocketSphinx refused to {0}")]
pub struct SphinxRefused(pub &'static str);

/// A decoder with its acoustic model.
#[derive(Debug)]
pub(crate) struct Decoder(NonNull<RawDecoder>);

// SAFETY: the library keeps no thread-local state; a decoder may move to another thread, not be shared.
unsafe impl Send for Decoder {}

impl Decoder {
    pub(crate) fn new(settings: &[(&str, SphinxSetting<'_>)]) -> Result<Self, SphinxRefused> {
        // SAFETY: a null definition asks for the default arguments; `config` is checked, used and freed here;
        // `ps_init` keeps its own reference, and every string lives until the call that copies it returns.
        unsafe {
            err_set_loglevel(ERR_FATAL);
            let config = ps_config_init(std::ptr::null());
            if config.is_null() {
                return Err(SphinxRefused("make a configuration"));
            }
            for (name, value) in settings {
                let name = text(name)?;
                let set = match value {
                    SphinxSetting::Text(value) => {
                        ps_config_set_str(config, name.as_ptr(), text(value)?.as_ptr())
                    }
                    SphinxSetting::Whole(value) => {
                        ps_config_set_int(config, name.as_ptr(), c_long::from(*value))
                    }
                    SphinxSetting::Switch(value) => {
                        ps_config_set_bool(config, name.as_ptr(), c_int::from(*value))
                    }
                    SphinxSetting::Real(value) => ps_config_set_float(config, name.as_ptr(), *value),
                };
                if set.is_null() {
                    ps_config_free(config);
                    return Err(SphinxRefused("take a setting"));
                }
            }
            let decoder = NonNull::new(ps_init(config));
            ps_config_free(config);
            decoder.map(Self).ok_or(SphinxRefused("load the acoustic model"))
        }
    }

    /// Adds a search over the word graph in a file of the library's text format.
    pub(crate) fn add_graph(&mut self, name: &str, file: &str) -> Result<(), SphinxRefused> {
        let (name, file) = (text(name)?, text(file)?);
        let ps = self.0.as_ptr();
        // SAFETY: the decoder is alive and both strings outlive the calls; the decoder keeps its own reference
        // to the graph, so ours is given back.
        let status = unsafe {
            let graph = fsg_model_readfile(file.as_ptr(), ps_get_logmath(ps), LANGUAGE_WEIGHT);
            if graph.is_null() {
                return Err(SphinxRefused("read the word graph"));
            }
            let status = ps_add_fsg(ps, name.as_ptr(), graph);
            fsg_model_free(graph);
            status
        };
        accept(status, "take the word graph")
    }

    pub(crate) fn add_phone_loop(&mut self, name: &str, model: &str) -> Result<(), SphinxRefused> {
        let (name, model) = (text(name)?, text(model)?);
        // SAFETY: the decoder is alive and both strings outlive the call, which copies what it keeps.
        let status = unsafe { ps_add_allphone_file(self.0.as_ptr(), name.as_ptr(), model.as_ptr()) };
        accept(status, "load the phone model")
    }

    /// Decodes a whole utterance with the named search; the total score and the pieces, none if nothing fits.
    pub(crate) fn decode(
        &mut self,
        search: &str,
        samples: &[i16],
    ) -> Result<(i32, Vec<SphinxSegment>), SphinxRefused> {
        let search = text(search)?;
        let ps = self.0.as_ptr();
        // SAFETY: the decoder is alive and borrowed mutably; `samples` outlives the call that reads it.
        unsafe {
            accept(ps_activate_search(ps, search.as_ptr()), "switch the search")?;
            accept(ps_start_utt(ps), "begin an utterance")?;
            let done = ps_process_raw(ps, samples.as_ptr(), samples.len(), 0, 1);
            accept(ps_end_utt(ps), "end an utterance")?;
            if done < 0 {
                return Err(SphinxRefused("decode an utterance"));
            }
            let mut score = 0;
            if ps_get_hyp(ps, &raw mut score).is_null() {
                return Ok((0, Vec::new()));
            }
            Ok((score, pieces(ps)))
        }
    }
}

/// The pieces of the current hypothesis.
///
/// # Safety
/// `ps` must be a live decoder whose last utterance has ended.
unsafe fn pieces(ps: *mut RawDecoder) -> Vec<SphinxSegment> {
    let mut found = Vec::new();
    // SAFETY: `ps_seg_next` frees the iterator when it gives null; words are copied before it is moved.
    unsafe {
        let mut seg = ps_seg_iter(ps);
        while !seg.is_null() {
            let (mut from, mut to, mut score, mut lscr, mut lback) = (0, 0, 0, 0, 0);
            ps_seg_frames(seg, &raw mut from, &raw mut to);
            ps_seg_prob(seg, &raw mut score, &raw mut lscr, &raw mut lback);
            let word = ps_seg_word(seg);
            if !word.is_null() {
                let text = CStr::from_ptr(word).to_string_lossy().into_owned();
                found.push(SphinxSegment { text, from, to, score });
            }
            seg = ps_seg_next(seg);
        }
    }
    found
}

impl Drop for Decoder {
    fn drop(&mut self) {
        // SAFETY: made by `ps_init` and freed only here.
        unsafe { ps_free(self.0.as_ptr()) };
    }
}

fn text(value: &str) -> Result<CString, SphinxRefused> {
    CString::new(value).map_err(|_| SphinxRefused("take a text with a zero byte in it"))
}

fn accept(status: c_int, doing: &'static str) -> Result<(), SphinxRefused> {
    if status < 0 { Err(SphinxRefused(doing)) } else { Ok(()) }
}
