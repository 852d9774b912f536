//! Steady noise taken out of an utterance before an old acoustic model hears it.
//!
//! Takes: the samples of one utterance.
//! Gives: as many samples, neither earlier nor later, with the noise a quarter as strong.
//! Never: what is kept or measured; that is the sound as it came.
//! Tested in: `tests/it/denoise.rs`.

use nnnoiseless::DenoiseState;

use crate::clock::SAMPLE_RATE_HZ;
use crate::speech::resample::{After, Resample, ResampleRefused};

/// The suppressor hears 48,000 samples a second.
const WORKS_AT_HZ: u32 = 48_000;
/// Of the utterance as it came this share stays: without it words break up, and more are misheard than in the noise.
///
/// Found best, with the same suppressor and recogniser, in a measurement before this program; by itself at 10 dB.
const KEPT: f32 = 0.25;

/// The utterance with less noise.
///
/// # Errors
/// When the sample rate cannot be changed.
pub fn denoise(samples: &[i16]) -> Result<Vec<i16>, ResampleRefused> {
    let came: Vec<f32> = samples.iter().map(|sample| f32::from(*sample)).collect();
    let mut up = Resample::between(SAMPLE_RATE_HZ, WORKS_AT_HZ)?;
    let mut fine = up.take(&came, After::Nothing)?;
    // The suppressor answers a frame late, and its first answer is no sound of the utterance.
    let n_fine = fine.len();
    let whole = (n_fine / DenoiseState::FRAME_SIZE + 2) * DenoiseState::FRAME_SIZE;
    fine.resize(whole, 0.0);
    let mut state = DenoiseState::new();
    let mut quiet = vec![0.0; whole];
    for (from, into) in
        fine.chunks_exact(DenoiseState::FRAME_SIZE).zip(quiet.chunks_exact_mut(DenoiseState::FRAME_SIZE))
    {
        state.process_frame(into, from);
    }
    let mut down = Resample::between(WORKS_AT_HZ, SAMPLE_RATE_HZ)?;
    let from = DenoiseState::FRAME_SIZE;
    let quiet = down.take(&quiet[from..from + n_fine], After::Nothing)?;
    Ok(came.iter().zip(quiet).map(|(came, quiet)| whole_number(KEPT * came + (1.0 - KEPT) * quiet)).collect())
}

#[allow(clippy::cast_possible_truncation)] // bounded just before
fn whole_number(value: f32) -> i16 {
    value.round().clamp(f32::from(i16::MIN), f32::from(i16::MAX)) as i16
}
