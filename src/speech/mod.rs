//! From sound to words.

pub mod utterance;
pub(crate) mod resample;
pub mod recording;
#[cfg(feature = "sound")]
pub(crate) mod library_messages;
mod capture_input;
pub mod sound_reader;
#[cfg(all(feature = "sound", target_os = "linux"))]
mod alsa_input;
#[cfg(feature = "sound")]
mod input_device;
#[cfg(not(feature = "sound"))]
#[path = "no_input_device.rs"]
mod input_device;
pub mod capture;
pub mod switch;
pub mod keep;
pub mod silence;
pub mod voice_activity;
pub mod endpoint;
pub mod room;
pub mod denoise;
pub mod installed;
pub mod dictionary;
#[cfg(feature = "sphinx")]
mod sphinx_sys;
pub mod stakes;
pub mod recognise;
mod wav_head;
pub mod stream;
#[cfg(feature = "sphinx")]
pub mod sphinx;
pub mod neural;
pub mod vosk;
pub mod scripted;
