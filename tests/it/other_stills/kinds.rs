//! What a scanner's folder holds besides plain ultrasound stills.
use crate::exchange::stage::{export, folder, still};
use crate::support::as_paired;

use dicom_core::{DataElement, PrimitiveValue, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
use zonecall::exam::call::Problem;
use zonecall::exam::event::Frame;
use zonecall::frames::folder::one;

fn read(change: impl Fn(&mut InMemDicomObject)) -> Result<Frame, Problem> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.dcm");
    let mut still = still(1, 14.0);
    change(&mut still);
    let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
    still.with_meta(meta).unwrap().write_to_file(&path).unwrap();
    one(&path, folder.path(), 0)
}

fn put(still: &mut InMemDicomObject, tag: dicom_object::Tag, vr: VR, text: &str) {
    still.put(DataElement::new(tag, vr, PrimitiveValue::from(text)));
}

#[test]
fn a_volume_is_refused_in_plain_words() {
    let refused = read(|still| put(still, tags::SOP_CLASS_UID, VR::UI, uids::ENHANCED_US_VOLUME_STORAGE));
    let refused = refused.unwrap_err();
    assert!(refused.message.contains("a volume of slices"), "{refused:?}");
    assert!(refused.help.contains("single picture"), "{refused:?}");
}

#[test]
fn a_picture_of_another_modality_is_taken_and_noted() {
    for (modality, is_noted) in [("US", false), ("OT", false), ("DX", true)] {
        let frame = read(|still| put(still, tags::MODALITY, VR::CS, modality)).unwrap();
        let noted = frame.problems.iter().any(|problem| problem.message.contains("not ultrasound"));
        assert_eq!(noted, is_noted, "{modality}: {:?}", frame.problems);
    }
}

/// Nothing is made that names an object by what is no name: `dciodvfy` finds fault with it.
#[test]
fn a_still_whose_name_is_no_uid_is_not_spoken_of_in_an_export() {
    let exam = folder();
    let path = exam.path().join("frames/IM1.dcm");
    let mut file = std::fs::read(&path).unwrap();
    let (right, wrong) = (b"2.25.2001", b"2.25.2.a1");
    // The last one is that of the object; the one in the head stays.
    let at = file.windows(right.len()).rposition(|part| part == right).unwrap();
    file[at..at + right.len()].copy_from_slice(wrong);
    std::fs::write(&path, file).unwrap();
    as_paired(exam.path());
    let said = export(exam.path(), "dicom", &[], 1);
    assert!(said.contains("`IM1.dcm` has no valid SOP Instance UID"), "{said}");
}
