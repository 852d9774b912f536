//! A still as other DICOM objects speak of it.
//!
//! Takes: the file of a still.
//! Gives: its names, its size and everything of its head; none where it is no DICOM file.
//! Never: reads the picture itself, or trusts a name that is missing.
//! Tested in: `tests/it/exchange/`.

use std::path::{Path, PathBuf};

use dicom_core::Tag;
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;

use super::uid::is_uid;
use crate::exam::call::Problem;
use crate::frames::dicom::open;
use crate::frames::element::text_of;
use crate::frames::part10;
use crate::knowledge::record::FrameRow;

/// A still that is a DICOM file.
#[derive(Debug, Clone)]
pub struct Still {
    /// Its id in the record.
    pub id: String,
    /// Its file.
    pub path: PathBuf,
    /// SOP Class UID.
    pub class: String,
    /// SOP Instance UID.
    pub instance: String,
    /// Study Instance UID.
    pub study: String,
    /// Series Instance UID.
    pub series: String,
    /// Width and height in pixels.
    pub size_px: (u32, u32),
    /// Pictures in it.
    pub n_frames: u32,
    /// Grey, and not in colour.
    pub is_grey: bool,
    /// UID of the transfer syntax.
    pub syntax: String,
    /// Its attributes, without the pixels.
    pub head: InMemDicomObject,
}

/// Reads the still of a row; `None` where its file is a picture without DICOM attributes.
///
/// # Errors
/// A problem, where the file is DICOM but cannot be read or lacks a name that others need to speak of it.
pub fn read(frame: &FrameRow, exam_folder: &Path) -> Result<Option<Still>, Problem> {
    let path = frame.paired_file(exam_folder).map_err(|fault| Problem {
        message: fault.to_string(),
        help: "it is not spoken of in the export".to_owned(),
    })?;
    if !is_dicom(&path) {
        return Ok(None);
    }
    let file = open(&path)?;
    let syntax = file.meta().transfer_syntax().trim_end_matches('\0').to_owned();
    let head = file.into_inner();
    let name = |tag: Tag, what: &str| {
        text_of(&head, tag).filter(|name| is_uid(name)).ok_or_else(|| Problem {
            message: format!("`{}` has no valid {what}", frame.name()),
            help: "it is not spoken of in the export; have the scanner export it again".to_owned(),
        })
    };
    let side = |tag| number_of(&head, tag).unwrap_or(0);
    let still = Still {
        id: frame.id.clone(),
        class: name(tags::SOP_CLASS_UID, "SOP Class UID")?,
        instance: name(tags::SOP_INSTANCE_UID, "SOP Instance UID")?,
        study: name(tags::STUDY_INSTANCE_UID, "Study Instance UID")?,
        series: name(tags::SERIES_INSTANCE_UID, "Series Instance UID")?,
        size_px: (side(tags::COLUMNS), side(tags::ROWS)),
        n_frames: number_of(&head, tags::NUMBER_OF_FRAMES).unwrap_or(1).max(1),
        is_grey: text_of(&head, tags::PHOTOMETRIC_INTERPRETATION)
            .is_some_and(|name| name.starts_with("MONOCHROME")),
        path,
        syntax,
        head,
    };
    Ok(Some(still))
}

/// Whether a file is a DICOM file by its beginning.
pub(super) fn is_dicom(path: &Path) -> bool {
    use std::io::Read as _;
    let mut start = Vec::new();
    let read = std::fs::File::open(path)
        .and_then(|file| file.take(part10::START_BYTES as u64).read_to_end(&mut start));
    read.is_ok() && part10::is_dicom(&start)
}

/// A whole number of a data set; none where it is missing or none.
pub(super) fn number_of(data: &InMemDicomObject, tag: Tag) -> Option<u32> {
    data.element_opt(tag).ok().flatten()?.to_int().ok()
}
