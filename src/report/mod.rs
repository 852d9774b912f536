//! What people and other systems get: the reports, the phrase card and the exports.

pub mod card;
pub mod export;
#[cfg(feature = "archive")]
pub mod history;
pub mod owner;
mod segments;
pub(crate) mod colour;
mod picture_error;
mod jpeg_ls;
pub(crate) mod unpacked;
mod overlay_planes;
mod decode;
pub mod apart;
pub mod picture;
pub mod practice;
pub mod overlay;
#[cfg(feature = "print")]
pub mod print;
pub mod signed;
mod signed_differs;
pub mod vet;
pub mod course;
pub mod measure_table;
mod limb_drawing;
pub(crate) mod chart;
mod trend;
mod measure_section;
mod cues;
mod document;
mod data;
pub(crate) mod spreadsheet;
mod tables;
pub(crate) mod words;

use crate::knowledge::measure::Earlier;
use crate::knowledge::record::Record;
use crate::protocol::Protocols;
use overlay::Overlays;
use picture::Pictures;
use practice::Practice;

/// What a report is made from.
#[derive(Debug, Clone, Copy)]
pub struct ReportInput<'a> {
    /// The exam.
    pub record: &'a Record,
    /// Earlier exams of the same horse, the latest last: the trend of the areas is drawn over them.
    pub earlier: &'a [Earlier],
    /// What codes mean.
    pub protocols: &'a Protocols,
    /// The stills as pictures.
    pub pictures: &'a Pictures,
    /// What goes around it.
    pub frame: ReportFrame<'a>,
}

/// What goes around a report; nothing of it changes what the report says of the exam.
#[derive(Debug, Clone, Copy, Default)]
pub struct ReportFrame<'a> {
    /// Whose letterhead it has.
    pub practice: Option<&'a Practice>,
    /// What is drawn over the pictures.
    pub drawn: Option<&'a Overlays>,
    /// Whether coverage, points to check, stills and calls come with it.
    pub appendix: bool,
}
