//! Rules about the journal and the sound as a whole.
//!
//! Takes: the evidence of an exam.
//! Gives: hits, mostly one summary each.
//! Never: looks at what was said.
//! Tested in: `tests/it/rules/journal.rs`.

use chrono::TimeDelta;

use crate::clock::{Span, WallQuality, seconds};
use crate::exam::bounds::is_dated;
use crate::exam::breaks::Break;
use crate::exam::event::Outcome;
use crate::exam::fold::{FileChange, Gap, LoggedUtterance, OtherRecord, RecordDiffers, SoundFault, Stamped};
use crate::exam::timeline::{ClockJump, JumpKind};
use crate::knowledge::check::evidence::{Evidence, Hit, in_words};
use crate::speech::silence::SILENCE_MIN;

/// Utterances quieter than this are hard to understand, in dB relative to full scale; from memory, no source.
const QUIET_DBFS: f64 = -50.0;
/// A larger share of clipped samples spoils an utterance; from memory, no source.
const CLIPPED_SHARE_MAX: f64 = 0.01;

/// A leap of a clock that is said in days.
const LONG: TimeDelta = TimeDelta::days(3);
/// Moments that are named; of more only that there are more.
const MOMENTS_MAX: usize = 8;

pub(super) fn damage(evidence: &Evidence) -> Vec<Hit> {
    let hit =
        |(line, problem): &(u64, _)| Hit::new(format!("line {line} of the journal: {}", in_words(problem)));
    evidence.exam.damage.iter().map(hit).collect()
}

/// A line that a crash cut short is a gap in what is known, not a change of what was written.
pub(super) fn torn(evidence: &Evidence) -> Vec<Hit> {
    let hit = |line: &u64| {
        Hit::new(format!(
            "line {line} of the journal was cut short while it was being written, by a crash or a full disk; {}",
            evidence.by_ear("what was said then is in the kept sound: listen to it, and add what is missing")
        ))
    };
    evidence.exam.tears.iter().map(hit).collect()
}

/// What a journal without its head cannot show.
pub(crate) const HEAD_IS_GONE: &str = "`exam.head` is gone: nothing shows whether lines were cut off the end; put it \
    back, or compare the number and hash of the last line with your own note";

/// A head that was deleted: the next line that is written makes a new one, and hides it.
pub(super) fn head_gone(evidence: &Evidence) -> Vec<Hit> {
    if evidence.exam.head_is_gone { vec![Hit::new(HEAD_IS_GONE.to_owned())] } else { Vec::new() }
}

/// What a record that no line signs may mean.
pub(crate) fn unclaimed_in_words(record: &str) -> String {
    format!(
        "`{record}` is a record as it was signed, and no line of the journal signs it: its line was removed, or signing was \
         broken off; compare with a copy"
    )
}

/// A signature that is not in the journal any more, though all lines of it match.
pub(super) fn unclaimed(evidence: &Evidence) -> Vec<Hit> {
    evidence.exam.unclaimed.iter().map(|record| Hit::new(unclaimed_in_words(record))).collect()
}

/// An exam that began by a clock that nobody had set.
pub(super) fn date_unknown(evidence: &Evidence) -> Vec<Hit> {
    let header = &evidence.exam.header;
    if is_dated(header.started_at) || header.wall == WallQuality::Stated {
        return Vec::new();
    }
    vec![Hit::new(format!(
        "the computer's clock stood at {} when the exam began, so the date of the exam is unknown; tell whoever reads the \
         report the true date, and set the clock before the next exam",
        header.started_at.format("%Y-%m-%d %H:%M")
    ))]
}

/// An exam whose folder went away while it was heard.
pub(super) fn moved(evidence: &Evidence) -> Vec<Hit> {
    let hit = |from: &String| {
        Hit::new(format!(
            "the folder `{from}` was removed or moved during the exam, so the exam continues here; if that folder \
             turns up, compare the two"
        ))
    };
    evidence.exam.moved_from.iter().map(hit).collect()
}

/// A clock that was set, or sound that does not last as long as it took: what came later may be labelled by a wrong time.
pub(super) fn clock_jumped(evidence: &Evidence) -> Vec<Hit> {
    let hit = |jump: &ClockJump| {
        let by = TimeDelta::milliseconds(jump.by_ms);
        let (at_s, by_s) = (jump.sample.seconds(), by.as_seconds_f64());
        let by = if by.abs() < LONG { format!("{by_s:+.1} s") } else { format!("{:+} days", by.num_days()) };
        let what = match jump.kind {
            JumpKind::Wall => format!(
                "the computer's clock jumped by {by} {at_s:.1} s into the exam: it was set, or the computer \
                 slept; later times are not affected"
            ),
            JumpKind::Sound => format!(
                "{at_s:.1} s into the exam, the sound is {:.1} s {} than the time it took, and no loss was reported",
                by_s.abs(),
                if by_s > 0.0 { "shorter" } else { "longer" }
            ),
        };
        let message = format!("{what}; compare the stills after that with what was said");
        Hit { at: Some(jump.at), ..Hit::new(message) }
    };
    evidence.exam.timeline.jumps.iter().map(hit).collect()
}

pub(super) fn audio_lost(evidence: &Evidence) -> Vec<Hit> {
    let gap = |gap: &Gap| {
        let at_s = gap.at.seconds();
        let lost = match gap.samples {
            0 => "an unknown length of sound was lost".to_owned(),
            samples => format!("{:.2} s of sound were lost", seconds(samples)),
        };
        Hit::new(format!("{lost} {at_s:.1} s into the exam; something may have been missed"))
    };
    evidence.exam.gaps.iter().map(gap).collect()
}

pub(super) fn not_closed(evidence: &Evidence) -> Vec<Hit> {
    if evidence.exam.closed.is_some() {
        return Vec::new();
    }
    let message = format!(
        "the exam was never closed: the program was stopped, or is still listening; anything after its last line was \
         not understood: {}",
        evidence.exam.source.way_out()
    );
    vec![Hit::new(message)]
}

/// A kept file that is another one than it was when the exam was closed or signed, or a signed record that is gone.
pub(super) fn file_changed(evidence: &Evidence) -> Vec<Hit> {
    let hit = |change: &FileChange| {
        let since = if change.was_signed { "it was signed" } else { "it was found or the exam was closed" };
        let what = match change.is_gone {
            true => format!("is gone since {since}: nothing else shows what was signed"),
            false => format!("has changed since {since}: its hash differs"),
        };
        match evidence.frames.iter().find(|still| still.file == change.file) {
            Some(still) => Hit::still(
                still,
                format!(
                    "`{}` {what}; it is neither shown nor copied: run `zonecall pair` with the folder or the medium that holds \
                     the paired file, or put that file back",
                    change.file
                ),
            ),
            None => Hit::new(format!("`{}` {what}; put back the original file", change.file)),
        }
    };
    evidence.exam.changed_files.iter().map(hit).collect()
}

/// A time stamp that is none of the signature it is kept for.
pub(super) fn time_stamp(evidence: &Evidence) -> Vec<Hit> {
    match evidence.exam.signed.as_ref().and_then(|signed| signed.stamp.as_ref()) {
        Some(Stamped::Fails { why }) => {
            vec![Hit::new(format!("{why}; put back the file, or move it away and run `zonecall stamp`"))]
        }
        _ => Vec::new(),
    }
}

/// What was signed is computed differently: what a reader sees is not what the vet saw.
pub(super) fn other_record(evidence: &Evidence) -> Vec<Hit> {
    let way = "use the version and the cut-offs of that day, or have it signed again";
    let hit = |other: &OtherRecord| match other.how {
        RecordDiffers::Worded => None,
        RecordDiffers::Computed => Some(format!(
            "the signature of {} (line {}) holds, and {} is what was signed; this version, or its cut-offs and \
             protocols, compute the record differently, so that what is shown now is a draft: {}; {way}",
            other.by,
            other.seq,
            kept_in_words(other),
            other.what.join("; ")
        )),
        RecordDiffers::Unknown => Some(format!(
            "the signature of {} (line {}) holds for the journal, the sound and the stills; this version, or its \
             cut-offs and protocols, make another record of them than the one that was signed, which was not kept, so \
             that what is shown now is a draft; {way}",
            other.by, other.seq
        )),
    };
    evidence.exam.other_record.iter().filter_map(hit).map(Hit::new).collect()
}

/// What was signed is the same, in other words.
pub(super) fn other_words(evidence: &Evidence) -> Vec<Hit> {
    let hit = |other: &OtherRecord| {
        (other.how == RecordDiffers::Worded).then(|| {
            let what = other.what.join("; ");
            Hit::new(format!(
                "the record that {} signed (line {}) is the same, but reads differently now: {what}; {} is what was signed",
                other.by,
                other.seq,
                kept_in_words(other)
            ))
        })
    };
    evidence.exam.other_record.iter().filter_map(hit).collect()
}

fn kept_in_words(other: &OtherRecord) -> String {
    other.kept.as_ref().map_or_else(|| "the record of that day".to_owned(), |file| format!("`{file}`"))
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
            from.seconds()
        )),
        SoundFault::Silent(_) => None,
    };
    let messages = evidence.exam.sound.iter().filter_map(hit);
    messages
        .map(|message| Hit::new(format!("{message}; restore a complete copy, or do without it")))
        .collect()
}

/// Stopped in the midst of a recording, or by a fault: there was more to hear, and what was heard later does not hold it.
pub(super) fn broken_off(evidence: &Evidence) -> Vec<Hit> {
    let hit = |broken: &Break| {
        let way = match broken.cut_file() {
            Some(file) => {
                format!("find a complete copy of `{file}` and run `zonecall hear` on it into a new folder")
            }
            None => broken.source.way_out().to_owned(),
        };
        let message = format!(
            "hearing stopped {:.1} s into the exam ({}); nothing after that is in the journal: {way}",
            broken.sample.seconds(),
            broken
                .why
                .as_ref()
                .map_or("the program ended without closing it".to_owned(), ToString::to_string)
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
    let all: u64 = spans.iter().map(|span| span.samples()).sum();
    let message = format!(
        "{:.0} s of the sound is all zeros, starting {:.1} s into the exam; a live microphone hardly ever does that: \
         was it muted, unplugged or the wrong one?",
        seconds(all),
        first.from.seconds()
    );
    vec![Hit { at: Some(exam.instant_of(first.from)), ..Hit::new(message) }]
}

/// Sound was kept and nobody spoke in it; where it is all zeros the rule above says so.
pub(super) fn nothing_heard(evidence: &Evidence) -> Vec<Hit> {
    let exam = evidence.exam;
    if !exam.utterances.is_empty() || exam.n_samples.0 < SILENCE_MIN || !sound_silent(evidence).is_empty() {
        return Vec::new();
    }
    vec![Hit::new(format!(
        "no speech was found in {:.0} s of sound; {}",
        exam.n_samples.seconds(),
        evidence.by_ear("listen to it, then test the microphone with `zonecall setup`")
    ))]
}

pub(super) fn not_understood(evidence: &Evidence) -> Vec<Hit> {
    // What was asked about and never answered has a rule of its own.
    let fits =
        |utterance: &LoggedUtterance| utterance.outcome == Outcome::NotUnderstood && utterance.is_open();
    let open: Vec<f64> = evidence
        .exam
        .utterances
        .iter()
        .filter(|heard| fits(heard))
        .map(|heard| heard.span.seconds().0)
        .collect();
    let mut at: Vec<String> = open.iter().take(MOMENTS_MAX).map(|at_s| format!("{at_s:.1}")).collect();
    if open.len() > MOMENTS_MAX {
        at.push("...".to_owned());
    }
    summary(evidence, fits, |utterances| {
        format!(
            "{utterances} not understood and changed nothing, at {} s in the audio; {}",
            at.join(", "),
            evidence.by_ear("listen to the calls marked `unknown`")
        )
    })
}

pub(super) fn too_quiet(evidence: &Evidence) -> Vec<Hit> {
    summary(
        evidence,
        |utterance| utterance.level_dbfs < QUIET_DBFS,
        |utterances| {
            format!("{utterances} quieter than {QUIET_DBFS} dB of full scale; move the microphone closer")
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
    let utterances =
        if found.len() == 1 { "1 phrase was".to_owned() } else { format!("{} phrases were", found.len()) };
    vec![Hit { at: Some(first.said_at), ..Hit::new(message(utterances)) }]
}
