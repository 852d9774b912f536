//! Claims about the review desk in a real browser: each flow by key and by mouse, reloads, crashes, two people at once.

pub(crate) mod shared;

mod again;
mod answered;
mod beside;
mod cine;
mod flows;
mod forms;
mod history;
mod inbox;
mod keyboard;
mod lesion;
mod listening;
mod light;
pub(crate) mod looks;
mod measures;
mod notes;
mod printing;
mod sending;
mod slips;
mod touch;
mod tracing;
mod view;
