//! The measures of an exam as people and programs read them.
//!
//! Takes: `Record` and `Protocols`.
//! Gives: a table for each strand: zones down, measures across, then totals, thresholds passed and what is missing.
//! Never: a number without its unit, or a cut-off without its source.
//! Tested in: `tests/it/report_measures.rs`; the JSON is described by `schema/measures.schema.json`.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use serde::Serialize;

use crate::code::{LimbCode, StructureCode, ZoneCode};
use crate::exam::shown::bound;
use crate::knowledge::measure::row::{MeasureRow, NORMAL_SAID, Name};
use crate::knowledge::measure::{Unused, unused};
use crate::knowledge::record::{CallRow, ExamInfo, Record};
use crate::protocol::{Protocols, convert};

use super::words::{CAUTIONS, amount, structure};

/// Schema name of the measures.
pub const MEASURES_SCHEMA: &str = "zonecall.measures/1";

/// One strand of one limb.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub(crate) struct MeasureTable {
    pub(crate) limb: LimbCode,
    pub(crate) scheme: String,
    pub(crate) strand: StructureCode,
    /// Heads of the columns after that of the zone.
    pub(crate) heads: Vec<String>,
    /// Zones from proximal to distal, then the total.
    pub(crate) lines: Vec<(String, Vec<String>)>,
    /// Measures over all zones: name and value.
    pub(crate) facts: Vec<(String, String)>,
    /// Thresholds passed, each with its source.
    pub(crate) over: Vec<String>,
    /// What to keep in mind.
    pub(crate) cautions: Vec<String>,
    /// What could not be computed, and why.
    pub(crate) why_not: Vec<String>,
    /// Sources of formulas and cut-offs.
    pub(crate) sources: Vec<String>,
}

/// A column: its head, and the measures that fill it by zone and in the line of the total.
struct Column {
    head: String,
    zone: Name,
    total: Option<Name>,
    of: Option<String>,
    decimals: usize,
    sign: Sign,
    /// Unit it is shown in; absent where it is that of the measure.
    unit: Option<String>,
}

/// Which numbers of a column have a sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sign {
    /// Those below zero.
    IfMinus,
    /// All of them: they are changes.
    Always,
}

/// The tables in the order of limbs, schemes and strands.
pub(crate) fn tables(record: &Record, protocols: &Protocols) -> Vec<MeasureTable> {
    let mut found: Vec<MeasureTable> = Vec::new();
    let totals = record.measures.iter().filter(|row| row.name == Name::AreaTotal);
    let distances = record.measures.iter().filter(|row| row.name == Name::Distance);
    // What has a distance and no area has a table of its own, without a total.
    for row in totals.chain(distances) {
        let (Some(scheme), Some(strand)) = (&row.scheme, &row.structure) else { continue };
        let has =
            |table: &MeasureTable| (&table.limb, &table.scheme, &table.strand) == (&row.limb, scheme, strand);
        if found.iter().any(has) {
            continue;
        }
        let mine = of_strand(record, row);
        // Where only "normal" was said there is nothing to compute: a table of zeros would say less than one line.
        if !mine.iter().any(|row| row.value.is_some_and(|value| value != 0.0)) {
            continue;
        }
        let mut table = MeasureTable {
            limb: row.limb.clone(),
            scheme: scheme.clone(),
            strand: strand.clone(),
            ..MeasureTable::default()
        };
        fill(&mut table, &mine, row, record, protocols);
        found.push(table);
    }
    found
}

/// The measures of the strand that `row` is of, and its ratios.
fn of_strand<'a>(record: &'a Record, row: &MeasureRow) -> Vec<&'a MeasureRow> {
    let mine = |other: &&MeasureRow| {
        let part = other.structure.as_deref();
        other.limb == row.limb
            && other.scheme == row.scheme
            && (part == row.structure.as_deref() || part.and_then(ratio_of) == row.structure.as_deref())
    };
    record.measures.iter().filter(mine).collect()
}

/// The upper structure of a ratio.
fn ratio_of(structure: &str) -> Option<&str> {
    structure.split_once(':').map(|(of, _)| of)
}

fn fill(
    table: &mut MeasureTable,
    rows: &[&MeasureRow],
    total: &MeasureRow,
    record: &Record,
    protocols: &Protocols,
) {
    let columns = columns(rows, protocols);
    table.heads = columns.iter().map(|column| column.head.clone()).collect();
    let mut zones = total.zones.clone();
    // Totals run over some zones only; a distance may be in another.
    for zone in rows.iter().filter(|row| row.name == Name::Distance).filter_map(|row| row.zone.as_ref()) {
        if !zones.contains(zone) {
            zones.push(zone.clone());
        }
    }
    for zone in &zones {
        let cell = |column: &Column| cell(rows, column, column.zone, Some(zone));
        table.lines.push((zone.to_string(), columns.iter().map(cell).collect()));
    }
    if total.name == Name::AreaTotal {
        let cell =
            |column: &Column| column.total.map_or(String::new(), |name| cell(rows, column, name, None));
        table.lines.push(("total".to_owned(), columns.iter().map(cell).collect()));
    }
    let mut lacking: BTreeMap<(&str, &String), Vec<String>> = BTreeMap::new();
    for row in rows {
        if let Some(fact) = fact(row) {
            table.facts.push(fact);
        }
        let place = row.zone.as_deref().unwrap_or("total");
        let source = row.source.as_deref().map(|source| format!(" ({source})")).unwrap_or_default();
        if let Some(over) = &row.over {
            table.over.push(format!("{place}: {over}{source}"));
        }
        for caution in &row.cautions {
            table.cautions.push(format!("{place}: {caution}"));
        }
        if let Some(why) = &row.why_not {
            let titles: &mut Vec<String> = lacking.entry((place, why)).or_default();
            if !titles.contains(&title(row)) {
                titles.push(title(row));
            }
        }
        if let (Some(source), true) = (&row.source, row.value.is_some() && row.over.is_none()) {
            table.sources.push(format!("{}: {source}", title(row)));
        }
    }
    table.cautions.extend(normal_zones(rows));
    table.cautions.extend(assumed(rows, record));
    // One line for all that lacks the same thing.
    let line = |((place, why), titles): ((&str, &String), Vec<String>)| {
        format!("{place}, {}: {why}", titles.join(" and "))
    };
    table.why_not.extend(lacking.into_iter().map(line));
    for list in [&mut table.cautions, &mut table.sources] {
        let mut seen = std::collections::BTreeSet::new();
        list.retain(|line| seen.insert(line.clone()));
    }
}

/// A line for the zones of a spoken `normal`, which has no number.
fn normal_zones(rows: &[&MeasureRow]) -> Option<String> {
    let is_normal = |row: &&&MeasureRow| {
        row.word.as_deref() == Some(NORMAL_SAID) && matches!(row.name, Name::LesionArea | Name::Score)
    };
    let normal: Vec<&MeasureRow> = rows.iter().copied().filter(|row| is_normal(&row)).collect();
    (!normal.is_empty()).then(|| format!("`normal` was said without a number: {}", in_zones(&normal)))
}

/// The zones under the titles of their measures: `lesion area in 2B, 3A; ...`.
fn in_zones(rows: &[&MeasureRow]) -> String {
    let mut titles: Vec<(String, Vec<&str>)> = Vec::new();
    for row in rows {
        let (Some(zone), title) = (row.zone.as_deref(), title(row)) else { continue };
        match titles.iter_mut().find(|known| known.0 == title) {
            Some(known) => known.1.push(zone),
            None => titles.push((title, vec![zone])),
        }
    }
    let shown = titles.iter().map(|(title, zones)| format!("{title} in {}", zones.join(", ")));
    shown.collect::<Vec<_>>().join("; ")
}

/// A line for each number in these measures whose unit nobody said.
fn assumed(rows: &[&MeasureRow], record: &Record) -> Vec<String> {
    // A correction has a row of its own; the unit is that of the call it corrected.
    let corrected = |call: &CallRow| record.calls.iter().any(|other| other.corrected_by.contains(&call.seq));
    let is_used = |call: &&CallRow| {
        call.unit_assumed && rows.iter().any(|row| row.from.contains(&call.seq)) && !corrected(call)
    };
    let line = |call: &CallRow| {
        let term = call.term.as_deref().unwrap_or_default();
        format!("{}: {term} {}, call {}", call.place.zone.as_deref().unwrap_or("?"), amount(call), call.seq)
    };
    record.calls.iter().filter(is_used).map(line).collect()
}

/// A line for each strand that has no table, because nothing but `normal` was said of it.
fn only_normal(record: &Record, tables: &[MeasureTable], protocols: &Protocols) -> Vec<String> {
    let totals = record.measures.iter().filter(|row| row.name == Name::AreaTotal);
    let has_none = |row: &&MeasureRow| {
        !tables.iter().any(|table| {
            table.limb == row.limb
                && Some(&table.scheme) == row.scheme.as_ref()
                && Some(&table.strand) == row.structure.as_ref()
        })
    };
    let line = |row: &MeasureRow| {
        let strand = structure(row.structure.as_deref().unwrap_or_default(), protocols);
        let zones = normal_zones(&of_strand(record, row));
        zones.map(|zones| format!("{}, {strand}: {zones}", protocols.limb_name(&row.limb)))
    };
    totals.filter(has_none).flat_map(line).collect()
}

/// The columns that at least one row fills.
fn columns(rows: &[&MeasureRow], protocols: &Protocols) -> Vec<Column> {
    let column = |head: &str, zone, total, decimals, sign| Column {
        head: head.to_owned(),
        zone,
        total: Some(total),
        of: None,
        decimals,
        sign,
        unit: None,
    };
    let mut found = vec![
        column("area mm2", Name::Area, Name::AreaTotal, 0, Sign::IfMinus),
        column("lesion mm2", Name::LesionArea, Name::LesionTotal, 0, Sign::IfMinus),
        column("lesion %", Name::LesionPercent, Name::LesionPercentTotal, 1, Sign::IfMinus),
    ];
    for term in &protocols.measuring.terms.scores {
        let score = column(term, Name::Score, Name::ScoreTotal, 0, Sign::IfMinus);
        found.push(Column { of: Some(term.clone()), ..score });
    }
    for (term, unit) in distances(protocols) {
        let decimals = if unit == "mm" { 1 } else { 2 };
        let distance =
            column(&format!("{term} {unit}"), Name::Distance, Name::Distance, decimals, Sign::IfMinus);
        found.push(Column {
            of: Some(term.to_owned()),
            total: None,
            unit: Some(unit.to_owned()),
            ..distance
        });
    }
    found.push(column("ratio", Name::AreaRatio, Name::AreaRatio, 2, Sign::IfMinus));
    let held = [
        (Name::AreaAgainstOtherLimb, "against"),
        (Name::AreaChange, "since"),
        (Name::AreaAgainstReference, "against"),
    ];
    let against = |name| {
        rows.iter().find(|row| row.name == name).and_then(|row| row.against.clone()).unwrap_or_default()
    };
    for (name, word) in held {
        found.push(column(&format!("% {word} {}", against(name)), name, name, 1, Sign::Always));
    }
    let of_these = [
        (Name::AreaMinusOtherLimb, "mm2 against", 0),
        (Name::LesionChange, "lesion mm2 since", 0),
        (Name::LesionPercentChange, "lesion points since", 1),
    ];
    for (name, words, decimals) in of_these {
        found.push(column(&format!("{words} {}", against(name)), name, name, decimals, Sign::Always));
    }
    for term in &protocols.measuring.terms.scores {
        let head = format!("{term} since {}", against(Name::ScoreChange));
        let change = column(&head, Name::ScoreChange, Name::ScoreChange, 0, Sign::Always);
        found.push(Column { of: Some(term.clone()), ..change });
    }
    for (term, unit) in distances(protocols) {
        let head = format!("{term} {unit} since {}", against(Name::DistanceChange));
        let decimals = if unit == "mm" { 1 } else { 2 };
        let change = column(&head, Name::DistanceChange, Name::DistanceChange, decimals, Sign::Always);
        found.push(Column { of: Some(term.to_owned()), total: None, unit: Some(unit.to_owned()), ..change });
    }
    found.retain(|column| {
        rows.iter().any(|row| {
            row.name == column.zone && row.zone.is_some() && (column.of.is_none() || row.of == column.of)
        })
    });
    found
}

/// What is measured as a straight distance, and the unit that people are shown.
fn distances(protocols: &Protocols) -> impl Iterator<Item = (&str, &str)> {
    let kinds = protocols.values.iter().filter(|kind| kind.between.is_some());
    kinds.map(|kind| {
        (kind.term.as_str(), kind.shown.as_ref().or(kind.unit.as_ref()).map_or("cm", String::as_str))
    })
}

fn cell(rows: &[&MeasureRow], column: &Column, name: Name, zone: Option<&ZoneCode>) -> String {
    let fits = |row: &&&MeasureRow| {
        row.name == name && row.zone.as_ref() == zone && (column.of.is_none() || row.of == column.of)
    };
    let Some(row) = rows.iter().find(fits) else { return String::new() };
    let in_unit =
        |value: f64| column.unit.as_ref().and_then(|unit| convert(value, &row.unit, unit)).unwrap_or(value);
    match row.value.map(in_unit) {
        Some(value) if column.sign == Sign::Always => format!("{value:+.*}", column.decimals),
        Some(value) => format!("{value:.*}", column.decimals),
        None if row.why_not.is_some() => "?".to_owned(),
        None => row.word.clone().unwrap_or_default(),
    }
}

/// Measures that have no column of their own.
fn fact(row: &MeasureRow) -> Option<(String, String)> {
    let value = row.value?;
    let text = match (row.name, row.zone.is_some()) {
        (Name::LesionPercentTotal, _) => {
            let class = row.word.as_deref().map(|class| format!(", {class}")).unwrap_or_default();
            format!("{value:.2} %{class}")
        }
        (Name::WorstZone, _) => format!("{}, {value:.1} %", row.word.as_deref().unwrap_or_default()),
        (Name::LesionZones, _) => format!("{value} ({})", row.word.as_deref().unwrap_or_default()),
        (Name::LesionLength, _) => format!("{value:.1} cm"),
        (Name::ScoreTotal | Name::ScoreMean, _) => {
            let scale = row.scale.as_deref().unwrap_or("unknown");
            format!("{value:.2} on the scale {scale}, {}", row.word.as_deref().unwrap_or_default())
        }
        (Name::LesionChange, false) => format!("{value:+.0} mm2"),
        (Name::LesionPercentChange, false) => format!("{value:+.2} points"),
        (Name::ScoreChange, false) => format!("{value:+.0}"),
        _ => return None,
    };
    Some((title(row), text))
}

/// A measure in words.
pub(crate) fn title(row: &MeasureRow) -> String {
    let of = row.of.as_deref().unwrap_or_default();
    let against = row.against.as_deref().unwrap_or_default();
    match row.name {
        Name::Area | Name::AreaTotal => "area".to_owned(),
        Name::LesionArea | Name::LesionTotal => "lesion area".to_owned(),
        Name::LesionPercent => "lesion percentage".to_owned(),
        Name::LesionPercentTotal => "lesion percentage of the total".to_owned(),
        Name::Score | Name::Distance => of.to_owned(),
        Name::WorstZone => "worst zone".to_owned(),
        Name::LesionZones => "zones with a lesion".to_owned(),
        Name::LesionLength => "lesion length".to_owned(),
        Name::ScoreTotal => format!("{of}, total"),
        Name::ScoreMean => format!("{of}, mean"),
        Name::AreaRatio => format!("ratio {}", row.structure.as_deref().unwrap_or_default()),
        Name::AreaMinusOtherLimb | Name::AreaAgainstOtherLimb => format!("area compared with {against}"),
        Name::AreaAgainstReference => format!("area compared with {against}"),
        Name::AreaChange => format!("area since {against}"),
        Name::LesionChange => format!("lesion area since {against}"),
        Name::LesionPercentChange => format!("lesion percentage since {against}"),
        Name::ScoreChange | Name::DistanceChange => format!("{of} since {against}"),
        Name::SinceInjury => "since injury".to_owned(),
    }
}

/// Days since each injury, in words.
pub(crate) fn injuries(record: &Record, protocols: &Protocols) -> Vec<String> {
    let rows = record.measures.iter().filter(|row| row.name == Name::SinceInjury);
    rows.map(|row| {
        let day = row.against.as_deref().unwrap_or_default();
        let limb = protocols.limb_name(&row.limb);
        match (row.value, &row.why_not) {
            (Some(days), _) => format!("{limb}: {days} days since the injury of {day}"),
            (None, why) => format!("{limb}: {}", why.as_deref().unwrap_or_default()),
        }
    })
    .collect()
}

/// The measures as tables in plain text.
#[must_use]
pub fn text(record: &Record, protocols: &Protocols) -> String {
    let mut out = String::new();
    let (tables, not_used) = (tables(record, protocols), not_used(record, protocols));
    if tables.is_empty() {
        out.push_str(if not_used.is_empty() {
            "nothing was measured\n"
        } else {
            "nothing could be computed\n"
        });
    }
    for table in &tables {
        put_table(&mut out, table, protocols);
    }
    for line in only_normal(record, &tables, protocols) {
        let _ = writeln!(out, "{line}");
    }
    for line in &not_used {
        let _ = writeln!(out, "not used: {line}");
    }
    for line in injuries(record, protocols) {
        let _ = writeln!(out, "{line}");
    }
    let _ = writeln!(out, "{CAUTIONS}");
    out
}

/// A line for each number that no measure is made from, with the reason.
pub(crate) fn not_used(record: &Record, protocols: &Protocols) -> Vec<String> {
    let line = |one: Unused| {
        let place = one.place.in_words(protocols);
        let place = if place.is_empty() { "place not said".to_owned() } else { place };
        let unit = one.unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default();
        let with =
            |word: &str, more: Option<f64>| more.map(|more| format!(" {word} {more}")).unwrap_or_default();
        let more = with("to", one.to) + &with("by", one.by);
        let number = format!("{}{}{more}", bound(one.comparator), one.number);
        format!("{place}: {} {number}{unit} (line {}): {}", one.term, one.seq, one.why)
    };
    unused(record, protocols).into_iter().map(line).collect()
}

fn put_table(out: &mut String, table: &MeasureTable, protocols: &Protocols) {
    let name = structure(&table.strand, protocols);
    let _ = writeln!(out, "{}, {name} (scheme {})", protocols.limb_name(&table.limb), table.scheme);
    let widest = |column: usize| {
        let cells = table.lines.iter().filter_map(|(_, cells)| cells.get(column));
        cells.chain(table.heads.get(column)).map(|cell| cell.chars().count()).max().unwrap_or(0).max(6)
    };
    let widths: Vec<usize> = (0..table.heads.len()).map(widest).collect();
    let mut line = |first: &str, cells: &[String]| {
        let mut text = format!("  {first:<6}");
        for (cell, width) in cells.iter().zip(&widths) {
            let _ = write!(text, "  {cell:>width$}");
        }
        let _ = writeln!(out, "{}", text.trim_end());
    };
    line("zone", &table.heads);
    for (zone, cells) in &table.lines {
        line(zone, cells);
    }
    for (name, value) in &table.facts {
        let _ = writeln!(out, "  {name}: {value}");
    }
    for (head, lines) in [
        ("over", &table.over),
        ("caution", &table.cautions),
        ("not computed", &table.why_not),
        ("source", &table.sources),
    ] {
        for text in lines {
            let _ = writeln!(out, "  {head}: {text}");
        }
    }
    out.push('\n');
}

#[derive(Serialize)]
struct Measures<'a> {
    schema: &'static str,
    exam: &'a ExamInfo,
    measures: &'a [MeasureRow],
    unused: Vec<Unused>,
    cautions: &'static str,
}

/// The measures for programs.
#[must_use]
pub fn json(record: &Record, protocols: &Protocols) -> String {
    let measures = Measures {
        schema: MEASURES_SCHEMA,
        exam: &record.exam,
        measures: &record.measures,
        unused: unused(record, protocols),
        cautions: CAUTIONS,
    };
    // Only maps with keys that are no text cannot be written, and there are none.
    serde_json::to_string_pretty(&measures).unwrap_or_default() + "\n"
}
