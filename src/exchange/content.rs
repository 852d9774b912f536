//! Content items of DICOM structured reports (PS3.3 C.17.3).
//!
//! Takes: a tree of items.
//! Gives: its data set, in which each item has a named relation to the one above it.
//! Never: a number without a unit, or a name without a code.
//! Tested in: `tests/it/exchange/report.rs`.

use chrono::{DateTime, Utc};
use dicom_core::VR;
use dicom_core::value::PrimitiveValue;
use dicom_dictionary_std::tags;

use super::code::Code;
use super::dataset::{DataSet, coded, date_time, decimal, reference};
use super::still::Still;

/// How an item is related to the one above it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Relation {
    Contains,
    HasObservationContext,
    HasConceptModifier,
    HasAcquisitionContext,
    InferredFrom,
    SelectedFrom,
}

impl Relation {
    const fn term(self) -> &'static str {
        match self {
            Relation::Contains => "CONTAINS",
            Relation::HasObservationContext => "HAS OBS CONTEXT",
            Relation::HasConceptModifier => "HAS CONCEPT MOD",
            Relation::HasAcquisitionContext => "HAS ACQ CONTEXT",
            Relation::InferredFrom => "INFERRED FROM",
            Relation::SelectedFrom => "SELECTED FROM",
        }
    }
}

/// What an item says.
#[derive(Debug, Clone)]
pub(super) enum Says {
    /// Nothing of its own: it holds others. The template it follows, where it is the root of one.
    Container(Option<&'static str>),
    Text(String),
    Code(Code),
    Number(f64, Code),
    Person(String),
    Uid(String),
    /// Of a loop one frame may be meant, counted from 1.
    Image {
        class: String,
        instance: String,
        frame_number: Option<u32>,
    },
    /// The edge of an area, by its corners in pixels.
    Polyline(Vec<(f64, f64)>),
    /// A line from point to point, in pixels.
    Line(Vec<(f64, f64)>),
}

/// A content item.
#[derive(Debug, Clone)]
pub(super) struct ContentItem {
    relation: Relation,
    name: Option<Code>,
    says: Says,
    at: Option<DateTime<Utc>>,
    below: Vec<ContentItem>,
}

impl ContentItem {
    pub(super) fn new(relation: Relation, name: impl Into<Code>, says: Says) -> ContentItem {
        ContentItem { relation, name: Some(name.into()), says, at: None, below: Vec::new() }
    }

    pub(super) fn image(relation: Relation, name: Option<Code>, still: &Still) -> ContentItem {
        let says =
            Says::Image { class: still.class.clone(), instance: still.instance.clone(), frame_number: None };
        ContentItem { relation, name, says, at: None, below: Vec::new() }
    }

    /// An image, of a loop the one frame that is meant, counted from 1.
    pub(super) fn image_frame(
        relation: Relation,
        name: Option<Code>,
        still: &Still,
        frame_number: Option<u32>,
    ) -> ContentItem {
        // Only a loop has frames to be named (PS3.3 table C.17.3.2-1); one that says nothing means all of them.
        let frame_number = (still.n_frames > 1).then(|| frame_number.unwrap_or(1));
        let says = Says::Image { class: still.class.clone(), instance: still.instance.clone(), frame_number };
        ContentItem { relation, name, says, at: None, below: Vec::new() }
    }

    pub(super) fn text(relation: Relation, name: impl Into<Code>, text: &str) -> ContentItem {
        ContentItem::new(relation, name, Says::Text(text.to_owned()))
    }

    pub(super) fn code(relation: Relation, name: impl Into<Code>, code: impl Into<Code>) -> ContentItem {
        ContentItem::new(relation, name, Says::Code(code.into()))
    }

    pub(super) fn at(mut self, at: DateTime<Utc>) -> ContentItem {
        self.at = Some(at);
        self
    }

    pub(super) fn with(mut self, below: impl IntoIterator<Item = ContentItem>) -> ContentItem {
        self.below.extend(below);
        self
    }

    /// The item below others.
    fn data(&self, utc_offset_s: i32) -> DataSet {
        let data = DataSet::new().text(tags::RELATIONSHIP_TYPE, VR::CS, self.relation.term());
        self.put(data, utc_offset_s)
    }

    /// The item as the root of a document.
    pub(super) fn root(&self, utc_offset_s: i32) -> DataSet {
        self.put(DataSet::new(), utc_offset_s)
    }

    fn put(&self, data: DataSet, utc_offset_s: i32) -> DataSet {
        let mut data = data.text(tags::VALUE_TYPE, VR::CS, self.says.kind());
        if let Some(name) = &self.name {
            data = data.code(tags::CONCEPT_NAME_CODE_SEQUENCE, name);
        }
        if let Some(at) = self.at {
            data = data.text(tags::OBSERVATION_DATE_TIME, VR::DT, &date_time(at, utc_offset_s));
        }
        data = self.says.put(data);
        if self.below.is_empty() {
            return data;
        }
        data.items(tags::CONTENT_SEQUENCE, self.below.iter().map(|item| item.data(utc_offset_s)).collect())
    }
}

impl Says {
    const fn kind(&self) -> &'static str {
        match self {
            Says::Container(_) => "CONTAINER",
            Says::Text(_) => "TEXT",
            Says::Code(_) => "CODE",
            Says::Number(..) => "NUM",
            Says::Person(_) => "PNAME",
            Says::Uid(_) => "UIDREF",
            Says::Image { .. } => "IMAGE",
            Says::Polyline(_) | Says::Line(_) => "SCOORD",
        }
    }

    fn put(&self, data: DataSet) -> DataSet {
        match self {
            Says::Container(template) => {
                let data = data.text(tags::CONTINUITY_OF_CONTENT, VR::CS, "SEPARATE");
                match template {
                    Some(template) => {
                        let names = DataSet::new().text(tags::MAPPING_RESOURCE, VR::CS, "DCMR").text(
                            tags::TEMPLATE_IDENTIFIER,
                            VR::CS,
                            template,
                        );
                        data.items(tags::CONTENT_TEMPLATE_SEQUENCE, vec![names])
                    }
                    None => data,
                }
            }
            Says::Text(text) => data.text(tags::TEXT_VALUE, VR::UT, text),
            Says::Code(code) => data.code(tags::CONCEPT_CODE_SEQUENCE, code),
            Says::Number(number, unit) => {
                let value = DataSet::new()
                    .text(tags::NUMERIC_VALUE, VR::DS, &decimal(*number))
                    .value(tags::FLOATING_POINT_VALUE, VR::FD, PrimitiveValue::from(*number))
                    .items(tags::MEASUREMENT_UNITS_CODE_SEQUENCE, vec![coded(unit)]);
                data.items(tags::MEASURED_VALUE_SEQUENCE, vec![value])
            }
            Says::Person(name) => data.text(tags::PERSON_NAME, VR::PN, name),
            Says::Uid(uid) => data.text(tags::UID, VR::UI, uid),
            Says::Image { class, instance, frame_number } => {
                let image = reference(class, instance);
                let image = match frame_number {
                    Some(number) => image.text(tags::REFERENCED_FRAME_NUMBER, VR::IS, &number.to_string()),
                    None => image,
                };
                data.items(tags::REFERENCED_SOP_SEQUENCE, vec![image])
            }
            Says::Polyline(corners) => polyline(data, closed(corners)),
            Says::Line(points) => polyline(data, numbers(points.iter())),
        }
    }
}

fn polyline(data: DataSet, numbers: Vec<f32>) -> DataSet {
    data.text(tags::GRAPHIC_TYPE, VR::CS, "POLYLINE").value(
        tags::GRAPHIC_DATA,
        VR::FL,
        PrimitiveValue::F32(numbers.into()),
    )
}

/// Columns and rows one after the other, the last corner that of the first: only such a line is an area (PS3.3 C.18.6.1.2).
///
/// Its frame is ours: the outer corner of the upper left pixel is 0, 0.
pub(super) fn closed(corners: &[(f64, f64)]) -> Vec<f32> {
    let first = corners.first().filter(|first| corners.last() != Some(first));
    numbers(corners.iter().chain(first))
}

#[allow(clippy::cast_possible_truncation)] // VR FL holds no more
fn numbers<'a>(points: impl Iterator<Item = &'a (f64, f64)>) -> Vec<f32> {
    points.flat_map(|(x, y)| [*x as f32, *y as f32]).collect()
}

/// A person's name in the form of VR PN: the last word is the family name, unless the name has its own parts.
pub(super) fn person_name(name: &str) -> String {
    let name = name.trim().replace(['=', '\\'], " ");
    if name.contains('^') {
        return name;
    }
    match name.rsplit_once(' ') {
        Some((given, family)) => format!("{family}^{given}"),
        None => name,
    }
}
