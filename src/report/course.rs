//! The course of a horse: every measure over all its exams, with its trend and how sure that trend is.
//!
//! Takes: `ReportInput`: the latest exam, and the earlier ones.
//! Gives: one HTML page; a row for each measure of a place, a column for each exam.
//! Never: a trend from two exams, or one over values that are no alike: another scale, or a leg without weight.
//! Tested in: `tests/it/course.rs`.

use chrono::{DateTime, Utc};
use maud::{Markup, PreEscaped, html};

use super::ReportInput;
use super::data::{Letterhead, standing_of};
use super::document::{Document, page};
use super::measure_table::title;
use super::trend::trend;
use super::vet::{STYLE, letterhead, status};
use super::words::{CAUTIONS, day, horse, limb, structure};
use crate::frames::theil_sen::theil_sen;
use crate::knowledge::measure::row::{MeasureRow, Name};
use crate::protocol::Protocols;

/// Fewer exams than this make no trend.
const EXAMS_MIN: usize = 3;
/// The time that a trend is given for, in days.
const TREND_DAYS: f64 = 30.0;
const SECONDS_A_DAY: f64 = 86_400.0;

/// The measures that are followed, in the order of the table.
const FOLLOWED: [Name; 10] = [
    Name::Area,
    Name::LesionArea,
    Name::LesionPercent,
    Name::Score,
    Name::Distance,
    Name::AreaTotal,
    Name::LesionTotal,
    Name::LesionPercentTotal,
    Name::LesionLength,
    Name::ScoreTotal,
];

/// One measure of one place over the exams.
struct CourseLine<'a> {
    of: &'a MeasureRow,
    /// Its row in each exam.
    rows: Vec<Option<&'a MeasureRow>>,
}

/// An exam of the course.
struct Stage<'a> {
    at: DateTime<Utc>,
    utc_offset_s: i32,
    rows: &'a [MeasureRow],
}

/// The page.
#[must_use]
pub fn html(input: &ReportInput) -> String {
    let ReportInput { record, protocols, earlier, .. } = *input;
    let mut stages: Vec<Stage> = earlier
        .iter()
        .map(|exam| Stage { at: exam.at, utc_offset_s: exam.utc_offset_s, rows: &exam.rows })
        .collect();
    let exam = &record.exam;
    stages.push(Stage { at: exam.started_at, utc_offset_s: exam.utc_offset_s, rows: &record.measures });
    let standing = standing_of(record, CAUTIONS);
    let body = html! {
        (letterhead(Letterhead::of(&input.frame).as_ref(), input))
        header {
            p.kicker { "Course over " (stages.len()) " exams" }
            h1 { (horse(record)) }
        }
        (status(&standing))
        main {
            @for chart in trend(record, earlier, protocols) { figure.leg { (PreEscaped(chart)) } }
            (tables(&stages, protocols))
            p.small {
                "Trend: the median of the changes between every two exams, for 30 days, with its 95 % interval in brackets \
                 (Theil 1950, Sen 1968), from three exams on. An interval that holds 0 shows no certain change. \
                 *: taken without weight on the leg, or implied by a spoken “normal”; not in the trend."
            }
        }
        footer { (status(&standing)) }
    };
    let title = format!("Course of {}", horse(record));
    page(&Document { title: &title, style: STYLE, body: &body })
}

/// A table for each limb and structure that was measured.
fn tables(stages: &[Stage], protocols: &Protocols) -> Markup {
    let lines = lines(stages);
    let mut places: Vec<(&str, &str)> = Vec::new();
    for line in &lines {
        let place = (line.of.limb.as_str(), line.of.structure.as_deref().unwrap_or_default());
        if !places.contains(&place) {
            places.push(place);
        }
    }
    let of = |place: (&str, &str)| {
        let here = |line: &&CourseLine| {
            (line.of.limb.as_str(), line.of.structure.as_deref().unwrap_or_default()) == place
        };
        lines.iter().filter(here).collect::<Vec<_>>()
    };
    html! {
        @if places.is_empty() { p { "Nothing was measured in any of these exams." } }
        @for place in places {
            section {
                h2 { (limb(place.0, protocols)) @if !place.1.is_empty() { ", " (structure(place.1, protocols)) } }
                table {
                    thead { tr {
                        th scope="col" { "Zone" } th scope="col" { "Measure" }
                        @for stage in stages { th scope="col" { (day(stage.at, stage.utc_offset_s)) } }
                        th scope="col" { "Trend over 30 days" }
                    } }
                    tbody { @for line in of(place) { tr {
                        td { (line.of.zone.as_deref().unwrap_or("all")) }
                        td { (title(line.of)) " " (unit(line.of, protocols)) }
                        @for row in &line.rows { td { (value(*row, protocols)) } }
                        td { (trend_of(line, stages, protocols)) }
                    } } }
                }
            }
        }
    }
}

/// Every measure that some exam has a value of, in the order of the exams' own rows; the latest exam speaks first.
fn lines<'a>(stages: &[Stage<'a>]) -> Vec<CourseLine<'a>> {
    let mut lines: Vec<CourseLine> = Vec::new();
    for name in FOLLOWED {
        for row in stages.iter().rev().flat_map(|stage| stage.rows.iter()) {
            if row.name != name || row.value.is_none() || lines.iter().any(|line| is_same(line.of, row)) {
                continue;
            }
            let found = |stage: &Stage<'a>| {
                stage.rows.iter().find(|other| is_same(row, other) && other.value.is_some())
            };
            lines.push(CourseLine { of: row, rows: stages.iter().map(found).collect() });
        }
    }
    lines
}

/// The same measure of the same place, a score on the same scale.
fn is_same(one: &MeasureRow, other: &MeasureRow) -> bool {
    one.same_place(other) && one.scale == other.scale && one.unit == other.unit
}

/// A number and its unit as people are shown them.
fn shown(row: &MeasureRow, number: f64, protocols: &Protocols) -> (f64, String) {
    let kind = row.of.as_deref().and_then(|term| protocols.value(term));
    let (number, unit) = kind.map_or((number, None), |kind| kind.shown(number, Some(&row.unit)));
    let unit = unit.unwrap_or_else(|| row.unit.clone());
    (number, if unit == "1" { String::new() } else { unit })
}

fn unit(row: &MeasureRow, protocols: &Protocols) -> String {
    shown(row, 0.0, protocols).1
}

/// A number that was implied or taken without weight is shown, and marked.
fn is_apart(row: &MeasureRow) -> bool {
    row.off_weight || row.implied
}

fn value(row: Option<&MeasureRow>, protocols: &Protocols) -> String {
    let Some((row, number)) = row.and_then(|row| Some((row, row.value?))) else { return String::new() };
    let (number, _) = shown(row, number, protocols);
    format!("{}{}", plain(number), if is_apart(row) { "*" } else { "" })
}

/// One decimal, and none where it would be 0.
fn plain(number: f64) -> String {
    let text = format!("{number:.1}");
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

fn trend_of(line: &CourseLine, stages: &[Stage], protocols: &Protocols) -> String {
    let points = line.rows.iter().zip(stages).filter_map(|(row, stage)| {
        let row = row.filter(|row| !is_apart(row))?;
        let days = (stage.at - DateTime::UNIX_EPOCH).as_seconds_f64() / SECONDS_A_DAY;
        Some((days, shown(row, row.value?, protocols).0))
    });
    let (days, numbers): (Vec<f64>, Vec<f64>) = points.unzip();
    if days.len() < EXAMS_MIN {
        return format!("needs {EXAMS_MIN} exams");
    }
    match theil_sen(&days, &numbers) {
        Some(fit) => {
            let over = |slope: f64| format!("{:+.1}", slope * TREND_DAYS).replace("-0.0", "+0.0");
            format!("{} ({} to {})", over(fit.slope), over(fit.low), over(fit.high))
        }
        None => "all on one day".to_owned(),
    }
}
