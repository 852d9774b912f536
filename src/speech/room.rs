//! How long a room goes on sounding.
//!
//! Takes: utterances of speech, with the quiet after them.
//! Gives: the reverberation time as the ends of the utterances show it.
//! Never: a number where the noise of the place hides the decay.
//! Tested in: `tests/it/room.rs`.

use crate::clock::SAMPLE_RATE_HZ;
use crate::speech::endpoint::level_dbfs;

/// Samples of one look: 10 ms.
const LOOK: usize = SAMPLE_RATE_HZ as usize / 100;
const LOOK_S: f64 = 0.01;
/// The end of speech is the last look this close to the loudest one, in dB.
const LOUD_DB: f64 = 10.0;
/// The decay is followed over so many dB, as for the T15 of room acoustics, and must be clear of the noise.
const DECAY_DB: f64 = 15.0;
const CLEAR_DB: f64 = 5.0;

/// Seconds in which sound would fall by 60 dB, as the median over the utterances; the last sound of a word falls by
/// itself, too, so a dry room gives some tenths of a second. None where no utterance shows it.
///
/// Reverberation time is defined in ISO 3382; this is a rough estimate of it from speech, which has no source of its own.
#[must_use]
pub fn reverberation_s<'a>(utterances: impl IntoIterator<Item = &'a [i16]>) -> Option<f64> {
    let mut found: Vec<f64> = utterances.into_iter().filter_map(of_utterance).collect();
    found.sort_by(f64::total_cmp);
    found.get(found.len() / 2).copied()
}

#[allow(clippy::cast_precision_loss)] // an utterance has far fewer than 2^53 looks
fn of_utterance(samples: &[i16]) -> Option<f64> {
    let looks: Vec<f64> = samples.chunks_exact(LOOK).map(level_dbfs).collect();
    let loudest = looks.iter().copied().reduce(f64::max)?;
    let end = looks.iter().rposition(|look| *look >= loudest - LOUD_DB)?;
    let floor = looks[end..].iter().copied().reduce(f64::min)?;
    let target = looks[end] - DECAY_DB;
    if target < floor + CLEAR_DB {
        return None;
    }
    let decay = looks[end..].iter().position(|look| *look <= target)?;
    Some(decay as f64 * LOOK_S * 60.0 / DECAY_DB)
}
