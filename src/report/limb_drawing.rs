//! The limb beside the areas of its zones: where each zone lies, from the top of the drawing down.
//!
//! Takes: the zones of a chart, and the scheme with the outlines of its bones.
//! Gives: the height of each zone, and the bones as outlines.
//! Never: a shape of its own: the outlines are data, schematic in width, and as high as their zones.
//! Tested in: `tests/it/report_measures.rs`.

use std::fmt::Write as _;

use crate::code::ZoneCode;
use crate::protocol::{Protocols, Scheme};

/// Room between the largest area and the bones, for that area's figures.
const GAP: f64 = 74.0;
/// Width of the bones.
const WIDE: f64 = 54.0;

/// Where the zones of a chart lie.
pub(super) struct LimbDrawing<'a> {
    /// From the top of each zone to the bottom of the last one.
    edges: Vec<f64>,
    scheme: Option<&'a Scheme>,
    /// Place of the first zone of the chart in its scheme.
    first: usize,
}

impl<'a> LimbDrawing<'a> {
    /// Zones from `top` down: as high as their centimetres say, where the scheme has these, else all alike; `high` on average.
    pub(super) fn of(
        scheme: Option<&str>,
        zones: &[ZoneCode],
        [top, high]: [f64; 2],
        protocols: &'a Protocols,
    ) -> LimbDrawing<'a> {
        let scheme = scheme.and_then(|name| protocols.scheme(name));
        let in_scheme = |code: &ZoneCode| scheme?.zones.iter().find(|zone| zone.code == *code);
        let spans = zones.iter().map(|code| in_scheme(code)?.cm.map(|(from, to)| to - from));
        let spans: Vec<f64> =
            spans.collect::<Option<_>>().unwrap_or_else(|| zones.iter().map(|_| 1.0).collect());
        let whole: f64 = spans.iter().sum();
        let per_unit = high * f64::from(u32::try_from(spans.len()).unwrap_or(u32::MAX)) / whole.max(1e-9);
        let mut edges = vec![top];
        for span in spans {
            edges.push(edges.last().copied().unwrap_or(top) + span * per_unit);
        }
        let first = scheme
            .and_then(|scheme| scheme.zones.iter().position(|zone| Some(&zone.code) == zones.first()))
            .unwrap_or_default();
        LimbDrawing { edges, scheme, first }
    }

    /// Top and height of a zone of the chart.
    pub(super) fn zone(&self, idx: usize) -> (f64, f64) {
        let (top, bottom) = (self.edges.get(idx), self.edges.get(idx + 1));
        let top = top.copied().unwrap_or_default();
        (top, bottom.map_or(0.0, |bottom| bottom - top))
    }

    /// Bottom of the last zone.
    pub(super) fn foot(&self) -> f64 {
        self.edges.last().copied().unwrap_or_default()
    }

    /// Whether the scheme has outlines.
    pub(super) fn has_bones(&self) -> bool {
        self.scheme.is_some_and(|scheme| !scheme.bone.is_empty())
    }

    /// The bones of one limb, outwards from `x` in the direction `way`.
    pub(super) fn bones(&self, svg: &mut String, x: f64, way: f64) {
        for bone in self.scheme.iter().flat_map(|scheme| &scheme.bone) {
            let corner = |(out, zone): &(f64, f64)| {
                format!("{:.1},{:.1}", x + way * (GAP + out * WIDE), self.height(*zone))
            };
            let corners: Vec<String> = bone.outline.iter().map(corner).collect();
            let _ = write!(
                svg,
                "<polygon points=\"{}\" fill=\"#eee\" stroke=\"#999\" stroke-linejoin=\"round\"></polygon>",
                corners.join(" ")
            );
        }
    }

    /// The height of a place that is counted in zones of the scheme from its upper end.
    fn height(&self, in_zones: f64) -> f64 {
        let last = self.edges.len().saturating_sub(2);
        let at = in_zones - f64::from(u32::try_from(self.first).unwrap_or_default());
        let idx = (0..last).take_while(|idx| f64::from(u32::try_from(*idx).unwrap_or_default()) + 1.0 <= at);
        let idx = idx.count();
        let (top, high) = self.zone(idx);
        top + (at - f64::from(u32::try_from(idx).unwrap_or_default())) * high
    }
}
