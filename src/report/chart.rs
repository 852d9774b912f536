//! The leg as a chart: zones down, the area to both sides as a profile, the lesion drawn to scale inside it, the bones beside it.
//!
//! Takes: `Record` and `Protocols`.
//! Gives: one SVG for each pair of limbs and strand: left limb to the left, right limb to the right.
//! Never: a meaning shown by colour alone; shapes, light against dark and figures show it, so that grey print loses nothing.
//! Tested in: `tests/it/report_measures.rs`.

use std::fmt::Write as _;

use crate::knowledge::measure::row::{MeasureRow, NORMAL_SAID, Name};
use crate::knowledge::record::Record;
use crate::protocol::Protocols;

use super::limb_drawing::LimbDrawing;
use super::words::structure;

/// Width of the chart in user units.
const WIDTH: f64 = 640.0;
/// Half of the middle column, where the zones are named.
const MIDDLE: f64 = 34.0;
/// Room left and right for the figures of the largest area, and for the bones beyond them.
const ASIDE: f64 = 132.0;
/// Height of a zone.
const ZONE: f64 = 44.0;
/// Height of the head.
const HEAD: f64 = 58.0;
/// Room under the zones for the scale.
const FOOT: f64 = 80.0;
/// Fill of a lesion: dark in an area that is light, inset, and identified by its figure.
const DARK: &str = "#333";
/// Steps of the scale in mm2, of which the first is taken that gives at most five lines.
const STEPS_MM2: [f64; 5] = [20.0, 50.0, 100.0, 200.0, 500.0];

/// One limb's numbers in one strand.
struct Side<'a> {
    limb: &'a str,
    /// -1 draws to the left, 1 to the right.
    way: f64,
    /// By zone: area in mm2, and what is known of a lesion.
    zones: Vec<(Option<f64>, LesionKnown)>,
}

/// What is known of a lesion in a zone.
#[derive(Clone, Copy, PartialEq)]
enum LesionKnown {
    /// Its area in mm2, as it was said or traced.
    Area(f64),
    /// The structure was called normal.
    Normal,
    /// It was said and has no usable area.
    Unfit,
    /// Nothing was said of one.
    Silent,
}

/// A strand of a group of limbs, which one chart shows.
pub(super) struct ChartStrand<'a> {
    pub(super) group: &'a str,
    pub(super) scheme: &'a str,
    pub(super) strand: &'a str,
    /// The area in total of the first of the limbs.
    pub(super) total: &'a MeasureRow,
}

/// The strands of the record in its order, each once for a group of limbs.
pub(super) fn strands<'a>(record: &'a Record, protocols: &'a Protocols) -> Vec<ChartStrand<'a>> {
    let mut found: Vec<ChartStrand> = Vec::new();
    for total in record.measures.iter().filter(|row| row.name == Name::AreaTotal) {
        let (Some(scheme), Some(strand)) = (total.scheme.as_deref(), total.structure.as_deref()) else {
            continue;
        };
        let Some(group) = protocols.limb(&total.limb).map(|limb| limb.group.as_str()) else { continue };
        let same = |known: &ChartStrand| (known.group, known.scheme, known.strand) == (group, scheme, strand);
        if !found.iter().any(same) {
            found.push(ChartStrand { group, scheme, strand, total });
        }
    }
    found
}

/// The charts, in the order of the strands.
pub(crate) fn chart(record: &Record, protocols: &Protocols) -> Vec<String> {
    let mut drawn = Vec::new();
    for ChartStrand { group, scheme, strand, total: row } in strands(record, protocols) {
        let sides: Vec<Side> = protocols
            .limbs
            .iter()
            .filter(|limb| limb.group == group)
            .map(|limb| Side {
                limb: &limb.code,
                way: if limb.side == "left" { -1.0 } else { 1.0 },
                zones: row
                    .zones
                    .iter()
                    .map(|zone| numbers(record, &limb.code, scheme, strand, zone))
                    .collect(),
            })
            .collect();
        if sides.iter().any(|side| side.zones.iter().any(|zone| zone.0.is_some())) {
            drawn.push(draw(&sides, row, protocols));
        }
    }
    drawn
}

/// A chart as a file of its own, its letters of the typeface `face`.
#[cfg(feature = "print")]
pub(crate) fn alone(svg: &str, face: &str) -> String {
    svg.replacen("<svg ", "<svg xmlns=\"http://www.w3.org/2000/svg\" ", 1)
        .replace("font-family=\"inherit\"", &format!("font-family=\"{face}\""))
}

fn numbers(
    record: &Record,
    limb: &str,
    scheme: &str,
    strand: &str,
    zone: &str,
) -> (Option<f64>, LesionKnown) {
    let of = |name| {
        let fits = |row: &&MeasureRow| {
            row.name == name
                && row.limb == limb
                && row.scheme.as_deref() == Some(scheme)
                && row.structure.as_deref() == Some(strand)
                && row.zone.as_deref() == Some(zone)
        };
        record.measures.iter().find(fits)
    };
    let lesion = match of(Name::LesionArea) {
        Some(MeasureRow { value: Some(mm2), .. }) => LesionKnown::Area(*mm2),
        Some(row) if row.word.as_deref() == Some(NORMAL_SAID) => LesionKnown::Normal,
        Some(_) => LesionKnown::Unfit,
        None => LesionKnown::Silent,
    };
    (of(Name::Area).and_then(|row| row.value), lesion)
}

/// One chart; numbers become text only through `format!`, names through `escaped`.
fn draw(sides: &[Side], row: &MeasureRow, protocols: &Protocols) -> String {
    let strand = structure(row.structure.as_deref().unwrap_or_default(), protocols);
    let zones = &row.zones;
    let largest =
        sides.iter().flat_map(|side| side.zones.iter().filter_map(|zone| zone.0)).fold(1.0, f64::max);
    let scale = (WIDTH / 2.0 - MIDDLE - ASIDE) / largest;
    let limb = LimbDrawing::of(row.scheme.as_deref(), zones, [HEAD, ZONE], protocols);
    let height = limb.foot() + FOOT;
    let mut svg = format!(
        "<svg viewBox=\"0 0 {WIDTH} {height}\" role=\"img\" \
         font-family=\"inherit\" font-size=\"13\" fill=\"#111\">"
    );
    let _ = write!(
        svg,
        "<title>{}: area by zone</title>\
         <text x=\"{}\" y=\"18\" text-anchor=\"middle\" font-weight=\"650\">{}</text>",
        escaped(strand),
        WIDTH / 2.0,
        escaped(strand)
    );
    lines(&mut svg, scale, largest, limb.foot());
    for side in sides {
        limb.bones(&mut svg, WIDTH / 2.0 + side.way * (MIDDLE + largest * scale), side.way);
        profile(&mut svg, side, scale, &limb);
        let x = WIDTH / 2.0 + side.way * (MIDDLE + largest * scale / 2.0);
        let name = escaped(protocols.limb_name(side.limb));
        let _ = write!(svg, "<text x=\"{x:.1}\" y=\"40\" text-anchor=\"middle\">{name}</text>");
    }
    for (idx, zone) in zones.iter().enumerate() {
        let (top, high) = limb.zone(idx);
        let y = top + 0.5 * high + 5.0;
        let _ = write!(
            svg,
            "<text x=\"{}\" y=\"{y:.1}\" text-anchor=\"middle\" font-weight=\"650\">{}</text>",
            WIDTH / 2.0,
            escaped(zone)
        );
    }
    let (y, below) = (height - 28.0, height - 8.0);
    let _ = write!(
        svg,
        "<rect x=\"20\" y=\"{:.1}\" width=\"14\" height=\"12\" fill=\"#ddd\" stroke=\"#111\"></rect>\
         <text x=\"40\" y=\"{y:.1}\">area</text>\
         <rect x=\"84\" y=\"{:.1}\" width=\"14\" height=\"12\" fill=\"{DARK}\" stroke=\"#111\"></rect>\
         <text x=\"104\" y=\"{y:.1}\">lesion; both to the same scale</text>\
         <text x=\"20\" y=\"{below:.1}\">Area (lesion) in mm2. (?): lesion without a usable area. –: not measured.{}</text></svg>",
        y - 11.0,
        y - 11.0,
        if limb.has_bones() { " Bones are schematic." } else { "" }
    );
    svg
}

/// The scale: thin lines at round areas, with their figures at the foot.
fn lines(svg: &mut String, scale: f64, largest: f64, foot: f64) {
    let step = STEPS_MM2.into_iter().find(|step| largest / step <= 5.0).unwrap_or(STEPS_MM2[4]);
    let (top, foot) = (HEAD - 6.0, foot + 6.0);
    let mut at = step;
    while at <= largest {
        for way in [-1.0, 1.0] {
            let x = WIDTH / 2.0 + way * (MIDDLE + at * scale);
            let _ = write!(
                svg,
                "<path d=\"M{x:.1} {top:.1}V{foot:.1}\" stroke=\"#bbb\" stroke-dasharray=\"2 3\"></path>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-size=\"11\">{at}</text>",
                foot + 13.0
            );
        }
        at += step;
    }
}

/// One limb: a step for each zone that was measured, its lesion from the middle outwards, and the figures.
fn profile(svg: &mut String, side: &Side, scale: f64, limb: &LimbDrawing) {
    let inner = WIDTH / 2.0 + side.way * MIDDLE;
    let anchor = if side.way < 0.0 { "end" } else { "start" };
    let bar = |svg: &mut String, mm2: f64, y: f64, height: f64, fill: &str| {
        let width = mm2 * scale;
        let x = if side.way < 0.0 { inner - width } else { inner };
        let _ = write!(
            svg,
            "<rect x=\"{x:.1}\" y=\"{y:.1}\" width=\"{width:.1}\" height=\"{height:.1}\" fill=\"{fill}\" \
             stroke=\"#111\" stroke-width=\"1\"></rect>"
        );
    };
    for (idx, (area, lesion)) in side.zones.iter().enumerate() {
        let (y, high) = limb.zone(idx);
        if let Some(area) = area {
            bar(svg, *area, y, high, "#ddd");
        }
        if let LesionKnown::Area(lesion) = *lesion
            && lesion > 0.0
        {
            bar(svg, lesion, y + high * 0.22, high * 0.56, DARK);
        }
        let figures = match (area, lesion) {
            (None, _) => "–".to_owned(),
            (Some(area), LesionKnown::Silent) => format!("{area:.0}"),
            (Some(area), LesionKnown::Normal) => format!("{area:.0} (normal)"),
            (Some(area), LesionKnown::Area(lesion)) => format!("{area:.0} ({lesion:.0})"),
            (Some(area), LesionKnown::Unfit) => format!("{area:.0} (?)"),
        };
        let x = inner + side.way * (area.unwrap_or(0.0) * scale + 6.0);
        let _ = write!(
            svg,
            "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\" stroke=\"#fff\" stroke-width=\"3\" paint-order=\"stroke\">{figures}</text>",
            y + high / 2.0 + 4.5
        );
    }
    let _ = write!(
        svg,
        "<path d=\"M{inner:.1} {HEAD}V{:.1}\" stroke=\"#111\" stroke-width=\"1.5\"></path>",
        limb.foot()
    );
}

/// Text that cannot become markup.
pub(crate) fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
