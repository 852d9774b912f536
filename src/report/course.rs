//! The course of a horse: every measure over all its exams, with its trend and how sure that trend is.
//!
//! Takes: `ReportInput`: the latest exam, and the earlier ones.
//! Gives: `CourseReport`, and one HTML page of it; a row for each measure of a place, a column for each exam.
//! Never: a trend from two exams, or one over values that are no alike: another scale, or a leg without weight.
//! Tested in: `tests/it/course.rs`.

use chrono::{DateTime, Utc};
use maud::{Markup, PreEscaped, html};
use serde::Serialize;

use super::ReportInput;
use super::data::{Letterhead, Standing, of_horse, standing_of};
use super::document::{Document, page};
use super::measure_table::title;
use super::trend::trend;
use super::vet::{STYLE, letterhead, status};
use super::words::{CAUTIONS, count, day, horse, structure};
use crate::code::ZoneCode;
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

/// What the numbers of the course mean.
const KEY: &str = "Trend: the median of the changes between every two exams, for 30 days, with its 95 % interval in brackets \
     (Theil 1950, Sen 1968), from three exams on. An interval that holds 0 shows no certain change. \
     *: taken without weight on the leg, or implied by a spoken “normal”; not in the trend.";

/// The course, each of its texts ready; the page and the printed report are both made from it.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct CourseReport {
    pub(crate) title: String,
    pub(crate) letterhead: Option<Letterhead>,
    pub(crate) kicker: String,
    pub(crate) horse: String,
    /// Day of the latest exam at its place.
    pub(crate) day: String,
    pub(crate) facts: Vec<(&'static str, String)>,
    pub(crate) status: Standing,
    /// SVG; what each of them shows is its title.
    pub(crate) charts: Vec<String>,
    /// The day of each exam, in order.
    pub(crate) days: Vec<String>,
    pub(crate) tables: Vec<CourseTable>,
    pub(crate) key: &'static str,
}

/// What was measured of one structure on one limb.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct CourseTable {
    pub(crate) place: String,
    pub(crate) rows: Vec<CourseRow>,
}

/// One measure of one zone: a value for each exam, empty where it has none.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct CourseRow {
    /// None where the measure is of all zones.
    pub(crate) zone: Option<ZoneCode>,
    pub(crate) measure: String,
    pub(crate) values: Vec<String>,
    pub(crate) trend: String,
}

impl CourseReport {
    pub(crate) fn of(input: &ReportInput) -> CourseReport {
        let ReportInput { record, protocols, earlier, .. } = *input;
        let exam = &record.exam;
        let mut stages: Vec<Stage> = earlier
            .iter()
            .map(|exam| Stage { at: exam.at, utc_offset_s: exam.utc_offset_s, rows: &exam.rows })
            .collect();
        stages.push(Stage { at: exam.started_at, utc_offset_s: exam.utc_offset_s, rows: &record.measures });
        let days: Vec<String> = stages.iter().map(|stage| day(stage.at, stage.utc_offset_s)).collect();
        CourseReport {
            title: format!("Course of {}", horse(record)),
            letterhead: Letterhead::of(&input.frame),
            kicker: format!("Course over {}", count(stages.len(), "exam")),
            horse: horse(record).to_owned(),
            day: day(exam.started_at, exam.utc_offset_s),
            facts: of_horse(record),
            status: standing(input),
            charts: trend(record, earlier, protocols),
            days,
            tables: tables(&stages, protocols),
            key: KEY,
        }
    }
}

/// Draft or signed: of the earlier exams nothing was signed with the latest one.
fn standing(input: &ReportInput) -> Standing {
    let exam = &input.record.exam;
    let standing = standing_of(input.record, CAUTIONS);
    if standing.signed.is_empty() || input.earlier.is_empty() {
        return standing;
    }
    let only = format!("The exam of {} only.", day(exam.started_at, exam.utc_offset_s));
    Standing { signed: format!("{only} {}", standing.signed), ..standing }
}

/// The page.
#[must_use]
pub fn html(input: &ReportInput) -> String {
    let course = CourseReport::of(input);
    let body = html! {
        (letterhead(course.letterhead.as_ref(), input))
        header {
            p.kicker { (course.kicker) }
            h1 { (course.horse) }
            @if !course.facts.is_empty() {
                dl.facts { @for (name, value) in &course.facts { div { dt { (name) } dd { (value) } } } }
            }
        }
        (status(&course.status))
        main {
            @for chart in &course.charts { figure.leg { (PreEscaped(chart)) } }
            @if course.tables.is_empty() { p { "Nothing was measured in any of these exams." } }
            @for table in &course.tables { (table_of(table, &course.days)) }
            p.small { (course.key) }
        }
        footer { (status(&course.status)) }
    };
    page(&Document { title: &course.title, style: STYLE, body: &body })
}

fn table_of(table: &CourseTable, days: &[String]) -> Markup {
    html! {
        section {
            h2 { (table.place) }
            table {
                thead { tr {
                    th scope="col" { "Zone" } th scope="col" { "Measure" }
                    @for day in days { th scope="col" { (day) } }
                    th scope="col" { "Trend over 30 days" }
                } }
                tbody { @for row in &table.rows { tr {
                    td { (row.zone.as_deref().unwrap_or("all")) }
                    td { (row.measure) }
                    @for value in &row.values { td { (value) } }
                    td { (row.trend) }
                } } }
            }
        }
    }
}

/// A table for each limb and structure that was measured.
fn tables(stages: &[Stage], protocols: &Protocols) -> Vec<CourseTable> {
    let lines = lines(stages);
    let mut places: Vec<(&str, &str)> = Vec::new();
    for line in &lines {
        let place = place(line);
        if !places.contains(&place) {
            places.push(place);
        }
    }
    let row = |line: &CourseLine| CourseRow {
        zone: line.of.zone.clone(),
        measure: format!("{} {}", title(line.of), unit(line.of, protocols)).trim_end().to_owned(),
        values: line.rows.iter().map(|row| value(*row, protocols)).collect(),
        trend: trend_of(line, stages, protocols),
    };
    let table = |wanted: (&str, &str)| {
        let part =
            if wanted.1.is_empty() { String::new() } else { format!(", {}", structure(wanted.1, protocols)) };
        CourseTable {
            place: format!("{}{part}", protocols.limb_name(wanted.0)),
            rows: lines.iter().filter(|line| place(line) == wanted).map(row).collect(),
        }
    };
    places.iter().map(|wanted| table(*wanted)).collect()
}

/// Limb and structure; the latter is empty where the measure is of none.
fn place<'a>(line: &CourseLine<'a>) -> (&'a str, &'a str) {
    (line.of.limb.as_str(), line.of.structure.as_deref().unwrap_or_default())
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
