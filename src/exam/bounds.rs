//! How large a number in a line of the journal can be.
//!
//! Takes: a line as it was read.
//! Gives: what in it no exam can hold, so that nothing is computed from it.
//! Never: an opinion on a number that an exam could hold.
//! Tested in: `tests/it/journal_bounds.rs`.

use chrono::{DateTime, Datelike, Utc};
use serde_json::Value;

use crate::clock::SAMPLE_RATE_HZ;
use crate::exam::call::Problem;
use crate::exam::event::ExamEvent;

/// Longest line, in bytes: an outline has at most 2,000 points.
pub const LINE_BYTES_MAX: usize = 1 << 22;
/// Lines of one journal.
pub const SEQ_MAX: u64 = 10_000_000;
/// Seconds of sound in one exam: a week.
pub const SOUND_S_MAX: u64 = 7 * 24 * 3600;
/// Samples of sound in one exam.
pub const SAMPLES_MAX: u64 = SOUND_S_MAX * SAMPLE_RATE_HZ as u64;
/// Years that a clock of ours can show: one that nobody has set begins in 1970.
const YEARS: std::ops::RangeInclusive<i32> = 1970..=2199;
/// Years in which an exam can begin: the last one is left for what follows.
pub const START_YEARS: std::ops::RangeInclusive<i32> = *YEARS.start()..=*YEARS.end() - 1;
/// The first year that a clock shows which somebody has set.
const SET_SINCE: i32 = 2000;
/// Years that a scanner's clock can show, which nobody may ever have set.
const SCANNER_YEARS: std::ops::RangeInclusive<i32> = 1900..=2199;
/// Hours from UTC, either way.
pub const UTC_OFFSET_HOURS_MAX: i32 = 18;
/// Pixels of a still, each way.
const PIXELS_MAX: f64 = 100_000.0;
/// Calls that one call takes back.
const COUNT_MAX: f64 = 1000.0;
/// Any other number.
const NUMBER_MAX: f64 = 1e9;

/// Whether a clock that somebody has set can have shown this instant.
#[must_use]
pub fn is_dated(at: DateTime<Utc>) -> bool {
    (SET_SINCE..=*START_YEARS.end()).contains(&at.year())
}

/// What is impossible in a line.
#[must_use]
pub fn fault(line: &ExamEvent, body: &Value) -> Option<Problem> {
    let wrong = |name: &str, got: String, most: String| {
        Problem::new(
            format!("`{name}` is {got}, and an exam can hold {most}; the line is not used"),
            // Earlier versions wrote down whatever their clock showed.
            "the line is damaged, or the clock was wrong when it was written; compare with a copy",
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
        "utc_offset_s" => f64::from(UTC_OFFSET_HOURS_MAX) * 3600.0,
        "size_px" | "ends_px" => PIXELS_MAX,
        "count" => COUNT_MAX,
        _ => NUMBER_MAX,
    }
}
