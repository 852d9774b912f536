//! The trend of an area over several exams, as a plain line chart for each structure.
//!
//! Takes: `Record`, the earlier exams and `Protocols`.
//! Gives: one SVG for each group of limbs and strand that was measured at least twice.
//! Never: a total, which hides a local change: the zone drawn is the worst one, else the largest, and is named.
//! Tested in: `tests/it/report_measures.rs`.

use std::fmt::Write as _;

use chrono::{DateTime, Utc};

use crate::code::ZoneCode;
use crate::knowledge::measure::Earlier;
use crate::knowledge::measure::row::{MeasureRow, Name};
use crate::knowledge::record::Record;
use crate::protocol::Protocols;

use super::chart::{ChartStrand, escaped, strands};
use super::words::{local, structure};

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 240.0;
/// Room around the drawing: left, top, right and bottom.
const ROOM: [f64; 4] = [56.0, 40.0, 110.0, 36.0];
/// From the upright axis to the first exam, so that its figures do not lie on the axis.
const INSET: f64 = 24.0;

/// One limb's areas in one zone over time.
struct TrendLine<'a> {
    limb: &'a str,
    points: Vec<(DateTime<Utc>, f64)>,
}

/// The charts in the order of the strands.
pub(crate) fn trend(record: &Record, earlier: &[Earlier], protocols: &Protocols) -> Vec<String> {
    let mut drawn = Vec::new();
    for ChartStrand { group, scheme, strand, .. } in strands(record, protocols) {
        let Some(zone) = zone_to_draw(record, group, scheme, strand, protocols) else { continue };
        let limbs = protocols.limbs.iter().filter(|limb| limb.group == group);
        let mut lines: Vec<TrendLine> = Vec::new();
        for limb in limbs {
            let wanted = MeasureRow {
                scheme: Some(scheme.to_owned()),
                structure: Some(strand.into()),
                zone: Some(zone.clone()),
                ..MeasureRow::new(&limb.code, Name::Area, "mm2")
            };
            let area = |rows: &[MeasureRow]| {
                rows.iter().find(|row| row.same_place(&wanted)).and_then(|row| row.value)
            };
            let mut points: Vec<(DateTime<Utc>, f64)> =
                earlier.iter().filter_map(|exam| Some((exam.at, area(&exam.rows)?))).collect();
            points.extend(area(&record.measures).map(|mm2| (record.exam.started_at, mm2)));
            lines.push(TrendLine { limb: &limb.code, points });
        }
        if lines.iter().any(|line| line.points.len() > 1) {
            let title = format!("{}, zone {zone}: area in mm2", structure(strand, protocols));
            drawn.push(draw(&title, &lines, record.exam.utc_offset_s, protocols));
        }
    }
    drawn
}

/// The worst zone of the limb with the largest percentage, else the zone with the largest area.
fn zone_to_draw(
    record: &Record,
    group: &str,
    scheme: &str,
    strand: &str,
    protocols: &Protocols,
) -> Option<ZoneCode> {
    let mine = record.measures.iter().filter(|row| {
        row.scheme.as_deref() == Some(scheme)
            && row.structure.as_deref() == Some(strand)
            && protocols.limb(&row.limb).is_some_and(|limb| limb.group == group)
    });
    let largest = |name: Name| {
        let rows = mine.clone().filter(|row| row.name == name && row.value.is_some());
        rows.max_by(|a, b| a.value.unwrap_or_default().total_cmp(&b.value.unwrap_or_default()))
    };
    let worst = largest(Name::WorstZone).and_then(|row| row.word.as_deref().map(ZoneCode::from));
    worst.or_else(|| largest(Name::Area).and_then(|row| row.zone.clone()))
}

fn draw(title: &str, lines: &[TrendLine], utc_offset_s: i32, protocols: &Protocols) -> String {
    let all = || lines.iter().flat_map(|line| line.points.iter());
    let seconds = |at: DateTime<Utc>| (at - DateTime::UNIX_EPOCH).as_seconds_f64();
    let first = all().map(|point| seconds(point.0)).fold(f64::INFINITY, f64::min);
    let last = all().map(|point| seconds(point.0)).fold(f64::NEG_INFINITY, f64::max);
    let top = all().map(|point| point.1).fold(1.0, f64::max) * 1.1;
    let [left, above, right, below] = ROOM;
    let x = |at: DateTime<Utc>| {
        left + INSET + (seconds(at) - first) / (last - first).max(1.0) * (WIDTH - left - INSET - right)
    };
    // From zero, so that a small change does not look large.
    let y = |mm2: f64| HEIGHT - below - mm2 / top * (HEIGHT - above - below);
    let mut svg = format!(
        "<svg viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" font-family=\"inherit\" font-size=\"13\" fill=\"#111\">\
         <title>{0}</title><text x=\"{left}\" y=\"18\" font-weight=\"650\">{0}</text>\
         <path d=\"M{left} {above}V{1}H{2}\" fill=\"none\" stroke=\"#111\"></path>\
         <text x=\"{3}\" y=\"{1}\" text-anchor=\"end\">0</text>",
        escaped(title),
        HEIGHT - below,
        WIDTH - right,
        left - 6.0
    );
    let mut days: Vec<DateTime<Utc>> = all().map(|point| point.0).collect();
    days.sort();
    days.dedup();
    for day in days {
        let _ = write!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-size=\"11\">{}</text>",
            x(day),
            HEIGHT - below + 16.0,
            local(day, utc_offset_s).format("%-d %b %Y")
        );
    }
    for (idx, line) in lines.iter().enumerate() {
        let Some(end) = line.points.last() else { continue };
        let at: Vec<String> =
            line.points.iter().map(|point| format!("{:.1} {:.1}", x(point.0), y(point.1))).collect();
        let dash = if idx == 0 { "" } else { " stroke-dasharray=\"6 4\"" };
        let _ = write!(
            svg,
            "<path d=\"M{}\" fill=\"none\" stroke=\"#111\" stroke-width=\"1.5\"{dash}></path>",
            at.join("L")
        );
        for (at, mm2) in &line.points {
            let (x, y) = (x(*at), y(*mm2));
            let sign = if idx == 0 {
                format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\"></circle>")
            } else {
                format!(
                    "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"8\" height=\"8\" fill=\"#fff\" stroke=\"#111\"></rect>",
                    x - 4.0,
                    y - 4.0
                )
            };
            // Left above, right below its sign, so that close lines keep their figures apart.
            let lift = if idx == 0 { -9.0 } else { 19.0 };
            let _ = write!(
                svg,
                "{sign}<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-size=\"11\">{mm2:.0}</text>",
                y + lift
            );
        }
        let name = escaped(protocols.limb_name(line.limb));
        let _ = write!(svg, "<text x=\"{:.1}\" y=\"{:.1}\">{name}</text>", x(end.0) + 16.0, y(end.1) + 4.0);
    }
    svg.push_str("</svg>");
    svg
}
