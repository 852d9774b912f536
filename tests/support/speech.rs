//! Sound for the tests: a quiet room, and a synthetic voice (`flite`, which set-up installs).
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::process::Command;

use zonecall::clock::SAMPLE_RATE_HZ;
use zonecall::speech::recording;

pub const SECOND: usize = SAMPLE_RATE_HZ as usize;

/// All samples of a recording.
pub fn all(mut recording: recording::Recording) -> Vec<i16> {
    let mut samples = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        samples.extend(block);
    }
    samples
}

/// `seconds` of faint noise: a quiet room.
pub fn room(seconds: f64) -> Vec<i16> {
    let mut state: u32 = 7;
    let mut next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 28) as i16 - 8
    };
    (0..(seconds * SECOND as f64) as usize).map(|_| next()).collect()
}

/// The text spoken by a flite voice that makes 16 kHz.
pub fn spoken(text: &str) -> Vec<i16> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("speech.wav");
    let status = Command::new("flite").args(["-voice", "rms", "-t", text, "-o"]).arg(&path).status();
    assert!(status.expect("flite is missing: run `make setup`").success());
    all(recording::open(&path).unwrap())
}
