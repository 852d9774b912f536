//! What only sound can show: a live microphone played by a PulseAudio null sink.
#![allow(
    unreachable_pub,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss
)] // tests may panic

#[path = "../support/mod.rs"]
mod support;

mod doctor;
mod enrol;
mod exams;
mod listen;
mod receive;
mod setup;
mod switch;
