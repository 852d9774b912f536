//! Captions for the kept audio.
//!
//! Takes: `Record`.
//! Gives: WebVTT (W3C): a cue for each call, each utterance that was not understood and each free note.
//! Never: an arrow or a tag in the text that a player would take for its own.
//! Tested in: `tests/it/report.rs`.

use crate::exam::closed_sets::CallKind;
use crate::knowledge::record::{CallRow, Record};

use super::words::{CAUTIONS, date_time, meaning};

/// Shortest cue, in milliseconds: the standard requires its end after its start.
const CUE_MS_MIN: u64 = 1;
/// Longest time written, in milliseconds: one year of audio, far beyond any exam.
const TIME_MS_MAX: f64 = 31_536_000_000.0;

struct Cue {
    from_ms: u64,
    to_ms: u64,
    id: String,
    text: String,
}

/// WebVTT captions of the kept audio; a cue's name is the number of its call in the journal.
///
/// Second 0 is the exam's sample 0, whose instant the note at the top states.
#[must_use]
pub fn vtt(record: &Record) -> String {
    let calls = record.calls.iter().map(|call| cue(call.span_s, call.seq.to_string(), caption(call)));
    let notes = record.notes.iter().map(|note| {
        let about = if note.about.is_empty() { String::new() } else { format!(" about {}", note.about) };
        let words = note.words.as_ref().map(|words| format!(" {}", words.in_words())).unwrap_or_default();
        let text = escape(&format!("[free note{about}]{words}"));
        cue(note.span_s, format!("note-{}", note.call_seq), text)
    });
    let mut cues: Vec<Cue> = calls.chain(notes).collect();
    // The standard requires cues by start time; the sort is stable, so equal starts keep the order of the journal.
    cues.sort_by_key(|cue| cue.from_ms);
    let exam = &record.exam;
    let mut out = String::from("WEBVTT\n\n");
    let start = exam.started_at.to_rfc3339_opts(chrono::SecondsFormat::Millis, true);
    let here = date_time(exam.started_at, exam.utc_offset_s);
    out.push_str(&format!("NOTE\nexam {}\n", escape(&exam.id)));
    out.push_str(&format!("00:00:00.000 is {start}, at the place {here}\n{CAUTIONS}\n"));
    for cue in cues {
        let (from, to) = (timestamp(cue.from_ms), timestamp(cue.to_ms));
        out.push_str(&format!("\n{}\n{from} --> {to}\n{}\n", cue.id, cue.text));
    }
    out
}

fn cue((from_s, to_s): (f64, f64), id: String, text: String) -> Cue {
    let from_ms = millis(from_s);
    Cue { from_ms, to_ms: millis(to_s).max(from_ms + CUE_MS_MIN), id, text }
}

fn caption(call: &CallRow) -> String {
    let mark = match (call.kind, call.withdrawn, call.corrected_by.is_empty()) {
        (CallKind::Unknown, ..) => "[not understood] ",
        (_, true, _) => "[taken back] ",
        (_, false, false) => "[corrected later] ",
        _ => "",
    };
    let words = match call.words.trim() {
        "" if call.added => "[added by hand]",
        "" => "(no words)",
        _ => &call.words,
    };
    let mut text = escape(&format!("{mark}{words}"));
    if call.kind != CallKind::Unknown {
        let (place, meaning) = (call.place.codes(), meaning(call));
        let parts: Vec<&str> =
            [place.as_str(), &meaning].into_iter().filter(|part| !part.is_empty()).collect();
        text.push('\n');
        text.push_str(&escape(&parts.join(": ")));
    }
    text
}

/// Text without tags, arrows, line breaks or empty lines.
fn escape(text: &str) -> String {
    let one_line = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let visible: String = one_line.chars().filter(|sign| !sign.is_control()).collect();
    visible.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // bounded on both sides just before
fn millis(at_s: f64) -> u64 {
    let at_ms = (at_s * 1000.0).round();
    if at_ms.is_nan() { 0 } else { at_ms.clamp(0.0, TIME_MS_MAX) as u64 }
}

fn timestamp(at_ms: u64) -> String {
    let (hours, minutes) = (at_ms / 3_600_000, at_ms / 60_000 % 60);
    format!("{hours:02}:{minutes:02}:{:02}.{:03}", at_ms / 1000 % 60, at_ms % 1000)
}
