//! Changes the sample rate.
//!
//! Takes: mono samples at a fixed rate, in pieces of any length.
//! Gives: the same sound at the rate wanted (16 kHz for what is heard), as long as it was and not delayed.
//! Never: folds high sounds into low ones; a windowed sinc filter keeps them out.
//! Tested in: `tests/it/hear.rs`.

use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Async, FixedAsync, Indexing, Resampler, SincInterpolationParameters};

use crate::clock::SAMPLE_RATE_HZ;

/// Samples that go through the filter at a time.
const CHUNK: usize = 1_024;

/// The resampler refused.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ResampleRefused {
    /// It cannot be made for this rate.
    #[error(transparent)]
    Make(#[from] rubato::ResamplerConstructionError),
    /// It cannot go on.
    #[error(transparent)]
    Run(#[from] rubato::ResampleError),
}

/// A resampler with what it has not yet used.
pub(crate) struct Resample {
    inner: Async<f32>,
    from_hz: u32,
    to_hz: u32,
    waiting: Vec<f32>,
    n_in: u64,
    n_out: u64,
    /// Samples of the filter's own delay that are still to be left out.
    delay: usize,
}

/// What comes after the samples that are given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum After {
    /// More of the same sound.
    More,
    /// Nothing: these are the last.
    Nothing,
}

impl Resample {
    /// To 16 kHz.
    pub(crate) fn new(rate_hz: u32) -> Result<Self, ResampleRefused> {
        Self::between(rate_hz, SAMPLE_RATE_HZ)
    }

    pub(crate) fn between(from_hz: u32, to_hz: u32) -> Result<Self, ResampleRefused> {
        let ratio = f64::from(to_hz) / f64::from(from_hz);
        let parameters = SincInterpolationParameters::default();
        let inner = Async::new_sinc(ratio, 1.0, &parameters, CHUNK, 1, FixedAsync::Input)?;
        let delay = inner.output_delay();
        Ok(Self { inner, from_hz, to_hz, waiting: Vec::new(), n_in: 0, n_out: 0, delay })
    }

    /// Takes samples; after the last ones it gives all that is left.
    pub(crate) fn take(&mut self, samples: &[f32], after: After) -> Result<Vec<f32>, ResampleRefused> {
        self.n_in += samples.len() as u64;
        self.waiting.extend_from_slice(samples);
        let mut out = Vec::new();
        let waiting = std::mem::take(&mut self.waiting);
        let mut chunks = waiting.chunks_exact(CHUNK);
        for chunk in &mut chunks {
            self.chunk(chunk, &mut out)?;
        }
        self.waiting = chunks.remainder().to_vec();
        if after == After::Nothing {
            self.finish(&mut out)?;
        }
        Ok(out)
    }

    /// Pushes silence behind the last samples until all of them are out, and no more.
    fn finish(&mut self, out: &mut Vec<f32>) -> Result<(), ResampleRefused> {
        let due = self.n_in * u64::from(self.to_hz) / u64::from(self.from_hz);
        let mut chunk = std::mem::take(&mut self.waiting);
        while self.n_out < due {
            chunk.resize(CHUNK, 0.0);
            self.chunk(&chunk, out)?;
            chunk.clear();
        }
        let extra = usize::try_from(self.n_out - due).unwrap_or(usize::MAX);
        out.truncate(out.len().saturating_sub(extra));
        self.n_out = due;
        Ok(())
    }

    fn chunk(&mut self, chunk: &[f32], out: &mut Vec<f32>) -> Result<(), ResampleRefused> {
        let mut made = vec![0.0; self.inner.output_frames_next()];
        let len = made.len();
        let n = {
            let (Ok(input), Ok(mut output)) =
                (InterleavedSlice::new(chunk, 1, chunk.len()), InterleavedSlice::new_mut(&mut made, 1, len))
            else {
                unreachable!("mono slices have the length they have");
            };
            self.inner.process_into_buffer(&input, &mut output, None::<&Indexing>)?.1
        };
        let skip = self.delay.min(n);
        self.delay -= skip;
        out.extend_from_slice(&made[skip..n]);
        self.n_out += (n - skip) as u64;
        Ok(())
    }
}
