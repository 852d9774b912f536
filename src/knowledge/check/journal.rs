//! Rules about the journal and the sound as a whole.
//!
//! Takes: the evidence of an exam.
//! Gives: hits, mostly one summary each.
//! Never: looks at what was said.
//! Tested in: `tests/it/rules/journal.rs`.

use crate::clock::{Span, seconds};
use crate::exam::breaks::Break;
use crate::exam::fold::{Gap, LoggedUtterance, SoundFault};
use crate::knowledge::check::{Evidence, Hit, in_words};
use crate::speech::silence::SILENCE_MIN;

/// Utterances quieter than this are hard to understand, in dB relative to full scale; from memory, no source.
const QUIET_DBFS: f64 = -50.0;
/// A larger share of clipped samples spoils an utterance; from memory, no source.
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
    let message = format!(
        "the exam was never closed: the program was stopped, or is still listening; what came after its last line was \
         not understood: {}",
        evidence.exam.source.way_out()
    );
    vec![Hit::new(message)]
}

/// A file of the kept sound that is gone, or ends before the journal says.
pub(super) fn sound_cut_short(evidence: &Evidence) -> Vec<Hit> {
    let hit = |fault: &SoundFault| match fault {
        SoundFault::Unreadable { file, why } => {
            Some(format!("the kept sound `{file}` cannot be read: {why}"))
        }
        SoundFault::Short { file, lacks, from } => Some(format!(
            "the kept sound `{file}` lacks its last {:.1} s, from {:.1} s into the exam",
            seconds(*lacks),
            seconds(*from)
        )),
        SoundFault::Silent(_) => None,
    };
    let messages = evidence.exam.sound.iter().filter_map(hit);
    messages.map(|message| Hit::new(format!("{message}; put back a whole copy, or go without it"))).collect()
}

/// Stopped in the midst of a recording, or by a fault: there was more to hear, and what was heard later does not hold it.
pub(super) fn broken_off(evidence: &Evidence) -> Vec<Hit> {
    let hit = |broken: &Break| {
        let way = match broken.cut_file() {
            Some(file) => format!("find a whole copy of `{file}` and hear it into a new folder"),
            None => broken.source.way_out().to_owned(),
        };
        let message = format!(
            "hearing was broken off {:.1} s into the exam ({}); what came after is in no line: {way}",
            seconds(broken.sample),
            broken.why.as_deref().unwrap_or("the program ended without closing it")
        );
        Hit { at: Some(broken.at), ..Hit::new(message) }
    };
    evidence.exam.breaks.iter().filter(|broken| broken.is_left()).map(hit).collect()
}

/// Stretches of nothing but zeros: one hit for all of them, at the first.
pub(super) fn sound_silent(evidence: &Evidence) -> Vec<Hit> {
    let exam = evidence.exam;
    let silent = |fault: &SoundFault| match fault {
        SoundFault::Silent(span) => Some(*span),
        _ => None,
    };
    let spans: Vec<Span> = exam.sound.iter().filter_map(silent).collect();
    let Some(first) = spans.first() else { return Vec::new() };
    let all: u64 = spans.iter().map(|span| span.to - span.from).sum();
    let message = format!(
        "{:.0} s of the sound are nothing but zeros, from {:.1} s into the exam on; hardly any microphone that is on \
         gives that: was it muted, unplugged or the wrong one?",
        seconds(all),
        seconds(first.from)
    );
    vec![Hit { at: Some(exam.instant_of(first.from)), ..Hit::new(message) }]
}

/// Sound was kept and nobody spoke in it; where it is all zeros the rule above says so.
pub(super) fn nothing_heard(evidence: &Evidence) -> Vec<Hit> {
    let exam = evidence.exam;
    if !exam.utterances.is_empty() || exam.n_samples < SILENCE_MIN || !sound_silent(evidence).is_empty() {
        return Vec::new();
    }
    vec![Hit::new(format!(
        "nobody was heard in {:.0} s of sound; listen to it, then try the microphone with `zonecall setup`",
        seconds(exam.n_samples)
    ))]
}

pub(super) fn not_understood(evidence: &Evidence) -> Vec<Hit> {
    summary(evidence, LoggedUtterance::is_open, |utterances| {
        format!("{utterances} not understood and changed nothing; listen to the calls marked `unknown`")
    })
}

pub(super) fn too_quiet(evidence: &Evidence) -> Vec<Hit> {
    summary(
        evidence,
        |utterance| utterance.level_dbfs < QUIET_DBFS,
        |utterances| {
            format!("{utterances} quieter than {QUIET_DBFS} dB of full scale; move the microphone nearer")
        },
    )
}

pub(super) fn clipped(evidence: &Evidence) -> Vec<Hit> {
    summary(
        evidence,
        |utterance| utterance.clipped > CLIPPED_SHARE_MAX,
        |utterances| format!("{utterances} clipped; turn the microphone down"),
    )
}

/// One hit for all utterances that fit, at the first of them.
fn summary(
    evidence: &Evidence,
    fits: impl Fn(&LoggedUtterance) -> bool,
    message: impl Fn(String) -> String,
) -> Vec<Hit> {
    let found: Vec<&LoggedUtterance> =
        evidence.exam.utterances.iter().filter(|utterance| fits(utterance)).collect();
    let Some(first) = found.first() else { return Vec::new() };
    let utterances = if found.len() == 1 {
        "1 utterance was".to_owned()
    } else {
        format!("{} utterances were", found.len())
    };
    vec![Hit { at: Some(first.said_at), ..Hit::new(message(utterances)) }]
}
