//! What every form of an export is made from.
//!
//! Takes: the exam, its record, the protocols and the codes.
//! Gives: `ExportInput`, and the codes of a place in it.
//! Never: a change to any of them.
//! Tested in: `tests/it/exchange/`.

use super::code::{Codes, Site};
use crate::exam::fold::Exam;
use crate::exam::place::Place;
use crate::exam::review::WordsPart;
use crate::knowledge::record::{FrameRow, Record, Status, WordsRow};
use crate::protocol::Protocols;

/// What an export is made from.
#[derive(Debug, Clone, Copy)]
pub struct ExportInput<'a> {
    /// What the exam says.
    pub record: &'a Record,
    /// The exam, for its outlines.
    pub exam: &'a Exam,
    /// What codes of the record mean.
    pub protocols: &'a Protocols,
    /// What they are called elsewhere.
    pub codes: &'a Codes,
    /// The practice that a signing vet answers to, where it was named.
    pub organisation: Option<&'a str>,
    /// What everybody who reads it should keep in mind.
    pub cautions: &'a str,
}

impl ExportInput<'_> {
    pub(super) fn site(&self, place: &Place) -> Site {
        self.codes.site(place, &self.record.exam.schemes, self.protocols)
    }

    /// What the scan means and what to do, in the vet's own words.
    pub(super) fn conclusion(&self) -> impl Iterator<Item = &WordsRow> {
        [WordsPart::Impression, WordsPart::Recommendation]
            .into_iter()
            .filter_map(|part| self.record.words.iter().find(|row| row.part == part))
    }
}

/// Whether a still has one label, and is taken for one of this exam.
pub(super) fn is_labelled(frame: &FrameRow) -> bool {
    frame.refused.is_none() && matches!(frame.status, Status::Spoken | Status::Context | Status::Hand)
}
