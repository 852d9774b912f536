//! The exam while it happens: what is heard is understood, acted on or asked about, written down and answered.
//!
//! `exam_session` joins folder, ear and dialogue for recordings and microphones alike; `listen_loop` is the loop at the horse, and
//! `waiting` the box that waits for exams. What is decided is decided in `dialogue`, which does nothing itself: it takes
//! `Input`s and gives `Effect`s.

pub mod error;
mod own_words;
pub mod spoken;
pub mod tone;
pub mod earpiece;
pub mod voice;
mod audio_output;
#[cfg(feature = "sound")]
mod output_device;
#[cfg(not(feature = "sound"))]
#[path = "no_output_device.rs"]
mod output_device;
pub mod speaker;
mod sound_log;
pub mod speech_output;
pub mod feedback;
pub mod talk_gate;
pub mod notice;
pub mod effect;
pub mod ear;
pub mod answer;
pub mod ask;
pub mod forgotten;
pub mod screen_view;
pub mod second_screen;
pub mod screen;
pub mod talk_switch;
mod dialogue_options;
pub mod listed_horse;
pub mod options;
pub mod microphone;
pub mod remembered;
mod sound_source;
mod exam_log;
mod own_voice;
mod stills;
mod exam_summary;
mod dialogue_state;
mod unsaid;
mod summary;
mod after_end;
mod open_question;
mod prompts;
mod horse_name;
mod reach;
mod taken_back;
pub mod dialogue;
mod second_place;
pub mod exam_session;
pub mod note_drafts;
pub mod background_jobs;
pub mod listen_loop;
pub mod waiting;
