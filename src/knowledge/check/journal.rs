//! Rules about the journal and the sound as a whole.
//!
//! Takes: the evidence of an exam.
//! Gives: hits, mostly one summary each.
//! Never: looks at what was said.
//! Tested in: `tests/rules/journal.rs`.

use crate::clock::seconds;
use crate::exam::fold::{Breath, Gap};
use crate::knowledge::check::{Evidence, Hit, in_words};

/// Breaths quieter than this are hard to understand, in dB relative to full scale; from memory, no source.
const QUIET_DBFS: f64 = -50.0;
/// A larger share of clipped samples spoils a breath; from memory, no source.
const CLIPPED_SHARE_MAX: f64 = 0.01;

pub(super) fn damage(evidence: &Evidence) -> Vec<Hit> {
    let hit =
        |(line, problem): &(u64, _)| Hit::new(format!("line {line} of the journal: {}", in_words(problem)));
    evidence.exam.damage.iter().map(hit).collect()
}

pub(super) fn audio_lost(evidence: &Evidence) -> Vec<Hit> {
    let gap = |gap: &Gap| {
        let at_s = seconds(gap.at);
        let lost = match gap.samples {
            0 => "sound was lost, it is not known how much,".to_owned(),
            samples => format!("{:.2} s of sound were lost", seconds(samples)),
        };
        Hit::new(format!("{lost} {at_s:.1} s into the exam; something may not have been heard"))
    };
    evidence.exam.gaps.iter().map(gap).collect()
}

pub(super) fn not_closed(evidence: &Evidence) -> Vec<Hit> {
    if evidence.exam.closed.is_some() {
        return Vec::new();
    }
    vec![Hit::new("the exam was never closed: the program was stopped, or is still listening".to_owned())]
}

pub(super) fn not_understood(evidence: &Evidence) -> Vec<Hit> {
    summary(evidence, Breath::is_open, |breaths| {
        format!("{breaths} not understood and changed nothing; listen to the calls marked `unknown`")
    })
}

pub(super) fn too_quiet(evidence: &Evidence) -> Vec<Hit> {
    summary(
        evidence,
        |breath| breath.level_dbfs < QUIET_DBFS,
        |breaths| format!("{breaths} quieter than {QUIET_DBFS} dB of full scale; move the microphone nearer"),
    )
}

pub(super) fn clipped(evidence: &Evidence) -> Vec<Hit> {
    summary(
        evidence,
        |breath| breath.clipped > CLIPPED_SHARE_MAX,
        |breaths| format!("{breaths} clipped; turn the microphone down"),
    )
}

/// One hit for all breaths that fit, at the first of them.
fn summary(
    evidence: &Evidence,
    fits: impl Fn(&Breath) -> bool,
    message: impl Fn(String) -> String,
) -> Vec<Hit> {
    let found: Vec<&Breath> = evidence.exam.breaths.iter().filter(|breath| fits(breath)).collect();
    let Some(first) = found.first() else { return Vec::new() };
    let breaths =
        if found.len() == 1 { "1 breath was".to_owned() } else { format!("{} breaths were", found.len()) };
    vec![Hit { at: Some(first.said_at), ..Hit::new(message(breaths)) }]
}
