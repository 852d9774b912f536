//! What a scanner's folder holds besides plain ultrasound stills.
use crate::exchange::stage::{SIZE, export, folder, still};
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

/// As scanners wrote it before DICOM 3.0, and as PS3.5-2011 6.2 still recommends to read it.
#[test]
fn dates_parted_by_points_and_times_parted_by_colons_are_read() {
    let frame = read(|still| {
        for tag in [tags::ACQUISITION_DATE_TIME, tags::TIMEZONE_OFFSET_FROM_UTC] {
            still.remove_element(tag);
        }
        put(still, tags::ACQUISITION_DATE, VR::DA, "2026.05.04");
        put(still, tags::ACQUISITION_TIME, VR::TM, "10:00:14.5");
    });
    let frame = frame.unwrap();
    assert_eq!(frame.saved_at.to_rfc3339(), "2026-05-04T10:00:14.500+00:00");
    assert_eq!(frame.time_source, "AcquisitionTime");
}

#[test]
fn a_picture_that_is_cut_short_is_noted() {
    let noted = |bytes: usize, kind: &str, samples: u16| {
        let frame = read(|still| {
            put(still, tags::PHOTOMETRIC_INTERPRETATION, VR::CS, kind);
            still.put(DataElement::new(tags::SAMPLES_PER_PIXEL, VR::US, PrimitiveValue::from(samples)));
            still.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::from(vec![7_u8; bytes])));
        });
        let problems = frame.unwrap().problems;
        problems
            .into_iter()
            .find(|problem| problem.message.contains("cut short"))
            .map(|problem| problem.message)
    };
    let pixels = usize::from(SIZE.0) * usize::from(SIZE.1);
    assert_eq!(noted(pixels, "MONOCHROME2", 1), None);
    assert_eq!(noted(2 * pixels, "YBR_FULL_422", 3), None);
    assert_eq!(noted(3 * pixels, "RGB", 3), None);
    let told = noted(1000, "MONOCHROME2", 1).unwrap();
    assert_eq!(told, "its picture is cut short: 1000 of 3072 bytes are there");
    assert!(noted(2 * pixels, "RGB", 3).is_some());
}

/// A faulty scanner that gives each still the same name: nobody is told to remove one of them.
#[test]
fn two_stills_of_one_name_are_told_from_two_copies_of_one_still() {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, saved_s: f64| {
        let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
        still(1, saved_s).with_meta(meta).unwrap().write_to_file(folder.path().join(name)).unwrap();
    };
    write("a.dcm", 14.0);
    write("b.dcm", 14.0);
    write("c.dcm", 29.0);
    let found = zonecall::frames::folder::read(folder.path(), folder.path(), 0);
    assert_eq!((found.stills.len(), found.refused.len()), (1, 2));
    let told = |idx: usize| format!("{}; {}", found.refused[idx].1.message, found.refused[idx].1.help);
    assert!(
        told(0).contains("the same still as `a.dcm`") && told(0).contains("remove the copy"),
        "{}",
        told(0)
    );
    assert!(told(1).contains("and other content; keep both files"), "{}", told(1));
    // What is left out with its content stays with the exam, and not only on the screen of whoever paired it.
    let noted: Vec<&str> = found.stills[0].problems.iter().map(|problem| problem.message.as_str()).collect();
    assert_eq!(
        noted
            .iter()
            .filter(|noted| noted.contains("`c.dcm`, has its SOP Instance UID and other content"))
            .count(),
        1,
        "{noted:?}"
    );
    assert!(!noted.iter().any(|noted| noted.contains("b.dcm")), "{noted:?}");
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
