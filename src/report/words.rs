//! Codes, times and numbers as people read them.
//!
//! Takes: codes and rows of the record, and the names in `Protocols`.
//! Gives: short texts, not yet escaped.
//! Never: a name of its own; a code that the protocols do not know is shown as it is.
//! Tested in: `tests/it/report.rs`.

use chrono::{DateTime, FixedOffset, Utc};

use crate::exam::closed_sets::CallKind;
use crate::exam::seq::Seq;
use crate::exam::shown::{SaidAs, bound, finding_named};
use crate::knowledge::current::current;
use crate::knowledge::record::{CallRow, CoverageRow, Record, Status};
use crate::language::closed_sets::Class;
use crate::protocol::Protocols;

pub(crate) use crate::knowledge::cautions::CAUTIONS;

/// The name of a structure in words.
pub(crate) fn structure<'a>(code: &'a str, protocols: &'a Protocols) -> &'a str {
    protocols.structure(code).map_or(code, |structure| &structure.name)
}

/// The horse by name, else by number.
pub(crate) fn horse(record: &Record) -> &str {
    let horse = &record.exam.horse;
    horse.name.as_deref().or(horse.id.as_deref()).unwrap_or("unnamed horse")
}

/// The calls that count.
pub(crate) fn standing(record: &Record) -> impl Iterator<Item = &CallRow> {
    crate::knowledge::record::standing(&record.calls)
}

/// What a call says, without its place: `mild <finding>, lateral` or `area 1.07 cm2`.
pub(crate) fn meaning(call: &CallRow) -> String {
    let term = call.term.as_deref().unwrap_or_default().replace('_', " ");
    match call.kind {
        CallKind::Finding => {
            let said = match (&call.class, call.certainty) {
                (Some(Class::Negative), _) => SaidAs::Denied,
                (_, Some(_)) => SaidAs::Possible,
                _ => SaidAs::Seen,
            };
            let mut text = finding_named(said, call.degree.as_deref(), &call.attributes, &term);
            match call.class {
                Some(Class::Absent) => text.insert_str(0, "not seen: "),
                Some(Class::NotDone) if term != "not done" => text.insert_str(0, "not done: "),
                _ => {}
            }
            for position in &call.position {
                text.push_str(", ");
                text.push_str(position);
            }
            if !call.zones.is_empty() {
                text.push_str(&format!(", zones {}", call.zones.join(" to ")));
            }
            if let Some(against) = &call.against {
                let than = call.than.as_ref().map(|than| format!(", {than}")).unwrap_or_default();
                text.push_str(&format!("{than} compared with the {against}, an impression"));
            }
            if call.copied {
                text.push_str(" (said as the same again)");
            }
            text
        }
        CallKind::Value | CallKind::Setting => {
            let number = call.number.map(|_| amount(call)).unwrap_or_default();
            [term.as_str(), call.state.as_deref().unwrap_or_default(), &number]
                .into_iter()
                .filter(|part| !part.is_empty())
                .collect::<Vec<_>>()
                .join(" ")
        }
        CallKind::Save if call.state.is_some() => "clip saved".to_owned(),
        CallKind::Save => "still saved".to_owned(),
        CallKind::Identity => format!("{term}: {}", call.state.as_deref().unwrap_or_default()),
        CallKind::Note if term == "conclusion" => "conclusion".to_owned(),
        CallKind::Note if term == "close" => "end of the free note".to_owned(),
        CallKind::Note => "free note".to_owned(),
        CallKind::Unknown => "not understood".to_owned(),
        CallKind::View => "view".to_owned(),
        kind if term.is_empty() => kind.to_string(),
        kind => format!("{kind}: {term}"),
    }
}

/// The number of a call with unit and scale; an assumed unit is said to be one.
pub(crate) fn amount(call: &CallRow) -> String {
    let Some(number) = call.number else { return String::new() };
    let bound = bound(call.comparator);
    let about = if call.approx { "about " } else { "" };
    let mut text = format!("{bound}{about}{number}");
    if let Some(to) = call.to {
        text.push_str(&format!(" to {to}"));
    }
    if let Some(by) = call.by {
        text.push_str(&format!(" by {by}"));
    }
    if let Some(unit) = &call.unit {
        text.push(' ');
        text.push_str(unit);
        if call.unit_assumed {
            text.push_str(" (unit assumed)");
        }
    }
    if let Some(scale) = &call.scale {
        text.push_str(" on the scale ");
        text.push_str(scale);
    }
    text
}

/// What a call says, its number in the one unit that people are shown; where another number counts, that one, and then what
/// was said.
pub(crate) fn meaning_that_counts(call: &CallRow, record: &Record, protocols: &Protocols) -> String {
    let term = call.term.as_deref().unwrap_or_default();
    let (Some(kind), Some(number), CallKind::Value) = (protocols.value(term), call.number, call.kind) else {
        return meaning(call);
    };
    let in_shown_unit = |number: f64, unit: Option<&str>| as_in_tables(kind.shown(number, unit));
    let shown = |number: f64, unit: Option<&str>| match in_shown_unit(number, unit) {
        (number, Some(unit)) => format!("{number} {unit}"),
        (number, None) => number.to_string(),
    };
    let of_unit = |number: f64| in_shown_unit(number, call.unit.as_deref()).0;
    let (number, unit) = in_shown_unit(number, call.unit.as_deref());
    let (to, by) = (call.to.map(of_unit), call.by.map(of_unit));
    let own = CallRow { number: Some(number), to, by, unit, ..call.clone() };
    match current(record, call) {
        // The same number in another unit is no other one.
        Some(other) if shown(other.number, other.unit) != shown(number, own.unit.as_deref()) => {
            format!("{term} {}, {} ({} was said)", shown(other.number, other.unit), other.how, amount(&own))
        }
        _ => meaning(&own),
    }
}

/// What contradicts a call, in words.
pub(crate) fn said_against(call: &CallRow, record: &Record, protocols: &Protocols) -> Vec<String> {
    let against = |seq: &Seq| {
        if let Some(other) = record.calls.iter().find(|other| other.seq == *seq) {
            return Some(meaning_that_counts(other, record, protocols));
        }
        let entry = record.entries.iter().find(|entry| entry.seq == *seq)?;
        let (number, unit) = as_in_tables(match protocols.value(&entry.term) {
            Some(kind) => kind.shown(entry.number, entry.unit.as_deref()),
            None => (entry.number, entry.unit.clone()),
        });
        let unit = unit.map(|unit| format!(" {unit}")).unwrap_or_default();
        Some(format!("{} {number}{unit}", entry.term))
    };
    call.contradicted_by.iter().filter_map(against).collect()
}

/// As the tables have it: square millimetres without decimals.
fn as_in_tables((number, unit): (f64, Option<String>)) -> (f64, Option<String>) {
    let is_whole = unit.as_deref() == Some("mm2");
    (if is_whole { number.round() } else { number }, unit)
}

/// How a still got its label, in words.
pub(crate) fn status(status: Status) -> &'static str {
    match status {
        Status::Spoken => "paired with a save call",
        Status::Context => "labelled with the place last called; no save call",
        Status::Hand => "paired or labelled by hand",
        Status::LeftOut => "marked by hand as not part of the exam",
        Status::Ambiguous => "fits two labels: choose one",
        Status::Unlabelled => "no label: label it by hand",
    }
}

/// How a still got its label, as the record writes it.
pub(crate) fn status_code(status: Status) -> &'static str {
    match status {
        Status::Spoken => "spoken",
        Status::Context => "context",
        Status::Hand => "hand",
        Status::LeftOut => "left_out",
        Status::Ambiguous => "ambiguous",
        Status::Unlabelled => "unlabelled",
    }
}

/// A share of 1 as a percentage without decimals.
pub(crate) fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

/// The instant at the place of the exam; UTC where the offset is impossible.
pub(crate) fn local(at: DateTime<Utc>, utc_offset_s: i32) -> DateTime<FixedOffset> {
    match FixedOffset::east_opt(utc_offset_s) {
        Some(offset) => at.with_timezone(&offset),
        None => at.fixed_offset(),
    }
}

/// Date, time and zone, such as `4 May 2026, 10:15:30 (UTC+02:00)`.
pub(crate) fn date_time(at: DateTime<Utc>, utc_offset_s: i32) -> String {
    local(at, utc_offset_s).format("%-d %B %Y, %H:%M:%S (UTC%:z)").to_string()
}

/// Day at the place of the exam, such as `4 May 2026`.
pub(crate) fn day(at: DateTime<Utc>, utc_offset_s: i32) -> String {
    local(at, utc_offset_s).format("%-d %B %Y").to_string()
}

/// Time of day at the place of the exam with its zone, such as `10:15:30 +02:00`.
pub(crate) fn time_of_day(at: DateTime<Utc>, utc_offset_s: i32) -> String {
    local(at, utc_offset_s).format("%H:%M:%S %:z").to_string()
}

/// Seconds as minutes and seconds of the recording, such as `1:03.2`.
pub(crate) fn in_recording(at_s: f64) -> String {
    let at_s = if at_s.is_finite() { at_s.max(0.0) } else { 0.0 };
    let tenths = (at_s * 10.0).round();
    format!("{:.0}:{:04.1}", (tenths / 600.0).floor(), (tenths % 600.0) / 10.0)
}

/// What there is of a wanted view.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Cover {
    /// At least one still.
    Stills,
    /// It was said that it would not be scanned.
    NotDone,
    /// Save calls, and no still.
    Saved,
    /// Called, and neither save nor still.
    Called,
    /// Nothing.
    Missing,
}

impl Cover {
    /// What there is of this view; a still counts more than anything said.
    pub(crate) fn of(row: &CoverageRow) -> Cover {
        match (row.frames, row.not_done, row.saves, row.called) {
            (1.., ..) => Cover::Stills,
            (0, true, ..) => Cover::NotDone,
            (0, false, 1.., _) => Cover::Saved,
            (0, false, 0, true) => Cover::Called,
            (0, false, 0, false) => Cover::Missing,
        }
    }
}

/// `1 still`, `2 stills`.
pub(crate) fn count(number: usize, noun: &str) -> String {
    if number == 1 { format!("1 {noun}") } else { format!("{number} {noun}s") }
}

/// Text with typographic quotes in place of pairs of backticks; what is quoted may hold a quote itself.
pub(crate) fn quoted(text: &str) -> String {
    let (mut out, mut depth, mut before) = (String::new(), 0_usize, ' ');
    let mut signs = text.chars().peekable();
    while let Some(sign) = signs.next() {
        let begins_word = before.is_whitespace() && signs.peek().is_some_and(|next| !next.is_whitespace());
        match sign {
            '`' if depth == 0 || begins_word => {
                depth += 1;
                out.push('“');
            }
            '`' => {
                depth -= 1;
                out.push('”');
            }
            other => out.push(other),
        }
        before = sign;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::quoted;

    #[test]
    fn a_quote_within_a_quote_is_opened_and_closed() {
        assert_eq!(quoted("`a` or `b c`; run `d e`"), "“a” or “b c”; run “d e”");
        assert_eq!(quoted("now has `still `3.dcm`: the file…`"), "now has “still “3.dcm”: the file…”");
        assert_eq!(quoted("no quote, and `one that is open"), "no quote, and “one that is open");
    }
}
