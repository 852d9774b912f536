//! What the words of a reading leave over: sound and loudness that none of them explains.
//!
//! Takes: the frames of each word, the frames of the utterance, its samples.
//! Gives: `UnexplainedSpeech`, two plain numbers; both are about 0 where every sound belongs to a word.
//! Never: knows a word. A word that was said and not read shows here and nowhere else.
//! Tested in: `tests/it/neural_confidence.rs`.

use crate::speech::neural::align::WordFrames;
use crate::speech::neural::encoder::FRAME;
use crate::speech::neural::lexicon::BLANK;
use crate::speech::neural::search::Frames;

/// A unit this many frames away from a word still belongs to it: peaks are not sharp.
const BESIDE: usize = 1;
/// A word is louder than its peaks are long, by this many frames on each side (72 ms).
const AROUND: usize = 3;
/// Loud is what exceeds this share of the way from the quiet to the loud parts, in dB.
const LOUD_SHARE: f64 = 0.6;
/// More unexplained sound than this says no more.
const SOUND_MAX: f64 = 5.0;
/// A longer loud stretch than this, in seconds, says no more.
const WORDLESS_MAX_S: f64 = 1.0;
/// Seconds a frame lasts, at 16 kHz.
const FRAME_S: f64 = FRAME as f64 / 16_000.0;

/// What no word explains.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct UnexplainedSpeech {
    /// Probability of any unit, added up over the frames outside all words: about the units left over, 0 to 5.
    pub sound: f64,
    /// The longest loud stretch outside all words, in seconds, 0 to 1.
    pub wordless_s: f64,
}

/// Measures what the words at `spans` leave over.
#[must_use]
pub fn unexplained(spans: &[WordFrames], frames: &Frames, samples: &[i16]) -> UnexplainedSpeech {
    let outside = |frame: usize, slack: usize| {
        spans.iter().all(|word| frame + slack < word.from || frame > word.to + slack)
    };
    let unit = |(_, row): (usize, &[f32])| 1.0 - f64::from(row[BLANK]).exp();
    let sound: f64 = frames.rows().enumerate().filter(|(frame, _)| outside(*frame, BESIDE)).map(unit).sum();
    let (mut run, mut longest) = (0_u32, 0_u32);
    for (frame, loud) in loud(samples).into_iter().enumerate() {
        run = if loud && outside(frame, AROUND) { run + 1 } else { 0 };
        longest = longest.max(run);
    }
    UnexplainedSpeech {
        sound: sound.clamp(0.0, SOUND_MAX),
        wordless_s: (f64::from(longest) * FRAME_S).min(WORDLESS_MAX_S),
    }
}

/// Which frames are loud, held against the quietest and the loudest tenth of this utterance.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // a frame is 384 samples
fn loud(samples: &[i16]) -> Vec<bool> {
    let level_db = |frame: &[i16]| {
        let power = frame.iter().map(|sample| f64::from(*sample).powi(2)).sum::<f64>() / frame.len() as f64;
        10.0 * power.max(1.0).log10()
    };
    let levels: Vec<f64> = samples.chunks(FRAME as usize).map(level_db).collect();
    let mut sorted = levels.clone();
    sorted.sort_by(f64::total_cmp);
    let tenth = sorted.len() / 10;
    let (Some(low), Some(high)) = (sorted.get(tenth), sorted.iter().rev().nth(tenth)) else {
        return Vec::new();
    };
    let limit = low + LOUD_SHARE * (high - low);
    levels.into_iter().map(|level| level > limit).collect()
}
