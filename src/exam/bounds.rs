//! How large a number in a line of the journal can be.
//!
//! Takes: a line as it was read.
//! Gives: what in it no exam can hold, so that nothing is computed from it.
//! Never: an opinion on a number that an exam could hold.
//! Tested in: `tests/it/journal_bounds.rs`.

use chrono::{DateTime, Datelike, TimeDelta, Utc};
use serde_json::Value;

use crate::clock::SAMPLE_RATE_HZ;
use crate::exam::call::Problem;
use crate::exam::event::{Event, ExamEvent};

/// Longest line, in bytes: an outline has at most 2,000 points.
pub const LINE_BYTES_MAX: usize = 1 << 22;
/// Lines of one journal.
pub const SEQ_MAX: u64 = 10_000_000;
/// Seconds of sound in one exam: a week.
pub const SOUND_S_MAX: u64 = 7 * 24 * 3600;
/// Samples of sound in one exam.
pub const SAMPLES_MAX: u64 = SOUND_S_MAX * SAMPLE_RATE_HZ as u64;
/// Days from the start of an exam to the last sound in it: an exam can be resumed.
pub const EXAM_DAYS_MAX: i64 = 400;
/// Years that a clock of ours can show.
const YEARS: std::ops::RangeInclusive<i32> = 2000..=2199;
/// Years that a scanner's clock can show, which nobody may ever have set.
const SCANNER_YEARS: std::ops::RangeInclusive<i32> = 1900..=2199;
/// Seconds from UTC, either way.
const UTC_OFFSET_S_MAX: f64 = 18.0 * 3600.0;
/// Pixels of a still, each way.
const PIXELS_MAX: f64 = 100_000.0;
/// Calls that one call takes back.
const COUNT_MAX: f64 = 1000.0;
/// Any other number.
const NUMBER_MAX: f64 = 1e9;

/// What is impossible in a line; `started_at` is when its exam began, where that is known.
#[must_use]
pub fn fault(line: &ExamEvent, body: &Value, started_at: Option<DateTime<Utc>>) -> Option<Problem> {
    let wrong = |name: &str, got: String, most: String| {
        Problem::new(
            format!("`{name}` is {got}, and an exam can hold {most}; the line is not used"),
            "the line was changed or damaged; compare with a copy",
        )
    };
    if line.seq.0 > SEQ_MAX {
        return Some(wrong("seq", line.seq.to_string(), format!("at most {SEQ_MAX} lines")));
    }
    if line.sample.0 > SAMPLES_MAX {
        return Some(wrong("sample", line.sample.to_string(), format!("at most {SAMPLES_MAX}")));
    }
    if !YEARS.contains(&line.at.year()) {
        return Some(wrong("at", line.at.to_string(), years(&YEARS)));
    }
    if let (Event::Anchor(anchor), Some(start)) = (&line.event, started_at) {
        let most = TimeDelta::days(EXAM_DAYS_MAX);
        let (first, last) = (start - most, start + most);
        if !(first..=last).contains(&anchor.wall) {
            let most = format!("instants within {EXAM_DAYS_MAX} days of its start");
            return Some(wrong("wall", anchor.wall.to_string(), most));
        }
    }
    inside("body", body).map(|(name, got, most)| wrong(&name, got, most))
}

fn years(years: &std::ops::RangeInclusive<i32>) -> String {
    format!("the years {} to {}", years.start(), years.end())
}

/// The first impossible number or instant in a value: its name, what it is, and what it can be at most.
fn inside(name: &str, value: &Value) -> Option<(String, String, String)> {
    match value {
        Value::Number(number) => {
            let most = most(name);
            let is_fit = number.as_f64().is_some_and(|number| number.abs() <= most);
            (!is_fit).then(|| (name.to_owned(), number.to_string(), format!("at most {most}")))
        }
        Value::String(text) => {
            let years_of = match name {
                "saved_at" => &SCANNER_YEARS,
                "started_at" | "wall" | "at" => &YEARS,
                _ => return None,
            };
            let at: DateTime<Utc> = text.parse().ok()?;
            (!years_of.contains(&at.year())).then(|| (name.to_owned(), text.clone(), years(years_of)))
        }
        Value::Array(all) => all.iter().find_map(|one| inside(name, one)),
        Value::Object(fields) => {
            let side = |key: &str| fields.get(key).and_then(Value::as_u64);
            if let (Some(from), Some(to)) = (side("from"), side("to"))
                && from > to
            {
                return Some((
                    name.to_owned(),
                    format!("from {from} to {to}"),
                    "what ends after it begins".to_owned(),
                ));
            }
            fields.iter().find_map(|(key, field)| inside(key, field))
        }
        Value::Null | Value::Bool(_) => None,
    }
}

/// The largest number allowed under a name, either side of zero.
#[allow(clippy::cast_precision_loss)] // bounds, exact far beyond them
fn most(name: &str) -> f64 {
    match name {
        "sample" | "samples" | "first_sample" | "from" | "to" => SAMPLES_MAX as f64,
        "monotonic_ns" => SOUND_S_MAX as f64 * 1e9,
        "seq" | "heard_seq" => SEQ_MAX as f64,
        "bytes" => u64::MAX as f64,
        "utc_offset_s" => UTC_OFFSET_S_MAX,
        "size_px" | "ends_px" => PIXELS_MAX,
        "count" => COUNT_MAX,
        _ => NUMBER_MAX,
    }
}
