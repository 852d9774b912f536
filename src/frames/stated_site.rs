//! Which part of the body a DICOM file says that it shows.
//!
//! Takes: an object.
//! Gives: side and parts, in the words and codes of the file.
//! Never: a side of a file that says "both" or "unpaired".
//! Tested in: `tests/it/stated_site.rs`.

use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;

use super::element::{items_of, text_of};
use crate::exam::stated_site::StatedSite;

/// What a file writes for a side (PS3.3 C.7.3.1.1.2; CID 244, and the same in the older SRT by pydicom's table).
const SIDES: [(&str, [&str; 3]); 2] =
    [("left", ["L", "SCT:7771000", "SRT:G-A101"]), ("right", ["R", "SCT:24028007", "SRT:G-A100"])];

pub(super) fn stated_site(file: &InMemDicomObject) -> Option<StatedSite> {
    let regions = items_of(file, tags::ANATOMIC_REGION_SEQUENCE);
    let modifiers =
        regions.iter().flat_map(|region| items_of(region, tags::ANATOMIC_REGION_MODIFIER_SEQUENCE));
    // That of the picture is set last, and goes before that of the series (PS3.3 C.7.3.1.1.2).
    let letter = text_of(file, tags::IMAGE_LATERALITY).or_else(|| text_of(file, tags::LATERALITY));
    let side = match letter {
        Some(letter) => side(&letter),
        None => modifiers.filter_map(code).find_map(|said| side(&said)),
    };
    let words = text_of(file, tags::BODY_PART_EXAMINED).map(|part| part.to_uppercase());
    let mut parts: Vec<String> = words.into_iter().chain(regions.iter().filter_map(code)).collect();
    parts.dedup();
    let views = items_of(file, tags::VIEW_CODE_SEQUENCE).iter().filter_map(code).collect();
    StatedSite { side: side.map(str::to_owned), parts, views }.known()
}

fn side(said: &str) -> Option<&'static str> {
    SIDES.iter().find(|(_, ways)| ways.contains(&said)).map(|(side, _)| *side)
}

/// A code with its scheme.
fn code(item: &InMemDicomObject) -> Option<String> {
    let (scheme, value) = (text_of(item, tags::CODING_SCHEME_DESIGNATOR)?, text_of(item, tags::CODE_VALUE)?);
    // Scanners name one scheme in three ways (PS3.16, table 8-1).
    let scheme = if matches!(scheme.as_str(), "SNM3" | "99SDM") { "SRT" } else { &scheme };
    Some(format!("{scheme}:{value}"))
}
