//! Claims about the review desk in a real browser: each flow by key and by mouse, reloads, crashes, two people at once.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation)] // tests may panic
#![allow(unreachable_pub)] // one crate, whose files use each other

#[path = "../support/browser.rs"]
mod browser;
#[path = "../support/desk.rs"]
mod desk;
#[path = "../support/pdf.rs"]
mod pdf;
#[path = "../support/program.rs"]
mod program;

mod shared;

mod again;
mod flows;
mod forms;
mod keyboard;
mod lesion;
mod light;
mod looks;
mod measures;
mod printing;
mod touch;
mod tracing;
