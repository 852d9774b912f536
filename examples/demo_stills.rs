//! Makes the demo's stills: DICOM ultrasound pictures of synthetic speckle, on a scanner whose clock is wrong.
//!
//! `demo_stills STILLS.csv FOLDER START` where the table holds `exam_s,label` and START is an RFC 3339 instant.
//! The scanner is 197.3 s behind and gains 12 ppm; its clock writes hundredths of a second.
//! Equal input gives equal files. Pictures hold an ellipse of known area; the label stands nowhere in the file.

use std::path::Path;

use anyhow::{Context, ensure};
use chrono::{DateTime, FixedOffset, TimeDelta};
use dicom_core::{DataElement, PrimitiveValue, VR, dicom_value};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};

const OFFSET_S: f64 = -197.3;
const DRIFT_PPM: f64 = 12.0;
const COLUMNS: u16 = 320;
const ROWS: u16 = 240;
/// Centimetres in one pixel.
const CM_PER_PX: f64 = 0.0125;
/// Half axes of the tendon's cross-section in pixels; its area is pi x a x b.
const HALF_AXES_PX: (f64, f64) = (70.0, 31.0);

fn main() -> anyhow::Result<()> {
    let args: Vec<String> = std::env::args().collect();
    ensure!(args.len() == 4, "usage: demo_stills STILLS.csv FOLDER START");
    let start: DateTime<FixedOffset> =
        args[3].parse().context("START must look like 2026-05-04T10:00:00+02:00")?;
    let table = std::fs::read_to_string(&args[1]).with_context(|| format!("cannot read `{}`", args[1]))?;
    std::fs::create_dir_all(&args[2])?;
    for (idx, line) in table.lines().skip(1).filter(|line| !line.trim().is_empty()).enumerate() {
        let (exam_s, label) = line.split_once(',').with_context(|| format!("no comma in `{line}`"))?;
        let exam_s: f64 = exam_s.parse().with_context(|| format!("no number in `{line}`"))?;
        let scanner_s = exam_s + OFFSET_S + exam_s * DRIFT_PPM * 1e-6;
        #[allow(clippy::cast_possible_truncation)] // minutes, in hundredths of a second
        let saved = start + TimeDelta::milliseconds((scanner_s * 100.0).round() as i64 * 10);
        let number = u32::try_from(idx + 1)?;
        let path = Path::new(&args[2]).join(format!("IM{number:04}.dcm"));
        write(&path, number, &saved, label.ends_with('T'), start)?;
    }
    Ok(())
}

fn write(
    path: &Path,
    number: u32,
    saved: &DateTime<FixedOffset>,
    transverse: bool,
    start: DateTime<FixedOffset>,
) -> anyhow::Result<()> {
    let mut still = identity(start);
    let uid = format!("2.25.{}{number:04}", start.timestamp());
    let (date, time) = (saved.format("%Y%m%d").to_string(), saved.format("%H%M%S%.3f").to_string());
    let mut put = |tag, vr, value: &str| {
        still.put(DataElement::new(tag, vr, PrimitiveValue::from(value)));
    };
    put(tags::SOP_CLASS_UID, VR::UI, uids::ULTRASOUND_IMAGE_STORAGE);
    put(tags::SOP_INSTANCE_UID, VR::UI, &uid);
    put(tags::INSTANCE_NUMBER, VR::IS, &number.to_string());
    put(tags::CONTENT_DATE, VR::DA, &date);
    put(tags::CONTENT_TIME, VR::TM, &time);
    put(tags::ACQUISITION_DATE_TIME, VR::DT, &format!("{date}{time}"));
    put(tags::IMAGE_TYPE, VR::CS, "ORIGINAL\\PRIMARY");
    put(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "MONOCHROME2");
    put(tags::PATIENT_ORIENTATION, VR::CS, if transverse { "L\\D" } else { "DI\\D" });
    put(tags::BURNED_IN_ANNOTATION, VR::CS, "NO");
    put(tags::LOSSY_IMAGE_COMPRESSION, VR::CS, "00");
    let numbers = [
        (tags::SAMPLES_PER_PIXEL, 1),
        (tags::ROWS, ROWS),
        (tags::COLUMNS, COLUMNS),
        (tags::BITS_ALLOCATED, 8),
        (tags::BITS_STORED, 8),
        (tags::HIGH_BIT, 7),
        (tags::PIXEL_REPRESENTATION, 0),
    ];
    for (tag, value) in numbers {
        still.put(DataElement::new(tag, VR::US, PrimitiveValue::from(value)));
    }
    let region = region();
    still.put(DataElement::new(
        tags::SEQUENCE_OF_ULTRASOUND_REGIONS,
        VR::SQ,
        dicom_core::value::DataSetSequence::from(vec![region]),
    ));
    still.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::from(picture(number, transverse))));
    let meta = FileMetaTableBuilder::new()
        .transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN)
        .media_storage_sop_class_uid(uids::ULTRASOUND_IMAGE_STORAGE)
        .media_storage_sop_instance_uid(uid);
    still.with_meta(meta)?.write_to_file(path).with_context(|| format!("cannot write `{}`", path.display()))
}

/// The animal, the study and the series: invented.
fn identity(start: DateTime<FixedOffset>) -> InMemDicomObject {
    let mut object = InMemDicomObject::new_empty();
    let second = start.timestamp();
    let date = start.format("%Y%m%d").to_string();
    let texts = [
        (tags::PATIENT_NAME, VR::PN, "Larkfield Stud^Juniper".to_owned()),
        (tags::PATIENT_ID, VR::LO, "DEMO-1".to_owned()),
        (tags::PATIENT_BIRTH_DATE, VR::DA, "20190412".to_owned()),
        (tags::PATIENT_SEX, VR::CS, "F".to_owned()),
        (tags::PATIENT_SEX_NEUTERED, VR::CS, "UNALTERED".to_owned()),
        (tags::PATIENT_SPECIES_DESCRIPTION, VR::LO, "Equus caballus".to_owned()),
        (tags::PATIENT_BREED_DESCRIPTION, VR::LO, "Warmblood".to_owned()),
        (tags::RESPONSIBLE_PERSON, VR::PN, "Marsh^Ada".to_owned()),
        (tags::RESPONSIBLE_PERSON_ROLE, VR::CS, "OWNER".to_owned()),
        (tags::RESPONSIBLE_ORGANIZATION, VR::LO, "Larkfield Stud".to_owned()),
        (tags::STUDY_INSTANCE_UID, VR::UI, format!("2.25.{second}1")),
        (tags::SERIES_INSTANCE_UID, VR::UI, format!("2.25.{second}2")),
        (tags::STUDY_ID, VR::SH, "1".to_owned()),
        (tags::SERIES_NUMBER, VR::IS, "1".to_owned()),
        (tags::STUDY_DATE, VR::DA, date),
        (tags::STUDY_TIME, VR::TM, start.format("%H%M%S").to_string()),
        (tags::ACCESSION_NUMBER, VR::SH, String::new()),
        (tags::REFERRING_PHYSICIAN_NAME, VR::PN, String::new()),
        (tags::MODALITY, VR::CS, "US".to_owned()),
        (tags::MANUFACTURER, VR::LO, "zonecall demo".to_owned()),
        (tags::LATERALITY, VR::CS, String::new()),
        (tags::ANATOMICAL_ORIENTATION_TYPE, VR::CS, "QUADRUPED".to_owned()),
    ];
    for (tag, vr, text) in texts {
        object.put(DataElement::new(tag, vr, PrimitiveValue::from(text)));
    }
    for tag in [tags::PATIENT_BREED_CODE_SEQUENCE, tags::BREED_REGISTRATION_SEQUENCE] {
        let none: Vec<InMemDicomObject> = Vec::new();
        object.put(DataElement::new(tag, VR::SQ, dicom_core::value::DataSetSequence::from(none)));
    }
    object
}

/// US Region Calibration, DICOM PS3.3 C.8.5.5: one 2D tissue region over the whole picture, in centimetres.
fn region() -> InMemDicomObject {
    let mut region = InMemDicomObject::new_empty();
    for (tag, value) in [
        (tags::REGION_SPATIAL_FORMAT, 1_u16),
        (tags::REGION_DATA_TYPE, 1),
        (tags::PHYSICAL_UNITS_X_DIRECTION, 3),
        (tags::PHYSICAL_UNITS_Y_DIRECTION, 3),
    ] {
        region.put(DataElement::new(tag, VR::US, PrimitiveValue::from(value)));
    }
    for (tag, value) in [
        (tags::REGION_FLAGS, 0_u32),
        (tags::REGION_LOCATION_MIN_X0, 0),
        (tags::REGION_LOCATION_MIN_Y0, 0),
        (tags::REGION_LOCATION_MAX_X1, u32::from(COLUMNS) - 1),
        (tags::REGION_LOCATION_MAX_Y1, u32::from(ROWS) - 1),
    ] {
        region.put(DataElement::new(tag, VR::UL, dicom_value!(U32, [value])));
    }
    for tag in [tags::PHYSICAL_DELTA_X, tags::PHYSICAL_DELTA_Y] {
        region.put(DataElement::new(tag, VR::FD, dicom_value!(F64, [CM_PER_PX])));
    }
    region
}

/// Speckle around a brighter tendon: an ellipse across it, a striped band along it.
fn picture(seed: u32, transverse: bool) -> Vec<u8> {
    let mut state = u64::from(seed).wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut pixels = Vec::with_capacity(usize::from(COLUMNS) * usize::from(ROWS));
    let (a, b) = HALF_AXES_PX;
    for y in 0..ROWS {
        for x in 0..COLUMNS {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            // The size of a sum of random waves: speckle is Rayleigh distributed.
            let even = f64::from(u32::try_from(state >> 40).unwrap_or(0) + 1) / f64::from(1_u32 << 24);
            let speckle = (-2.0 * even.ln()).sqrt() / 1.2533;
            let (dx, dy) = (f64::from(x) + 0.5 - f64::from(COLUMNS) / 2.0, f64::from(y) + 0.5 - 90.0);
            let inside = if transverse { (dx / a).powi(2) + (dy / b).powi(2) <= 1.0 } else { dy.abs() <= b };
            let stripes = if !transverse && y % 5 < 2 { 1.3 } else { 1.0 };
            let mean = if inside { 105.0 * stripes } else { 45.0 };
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped to a byte
            pixels.push((mean * speckle).clamp(0.0, 255.0) as u8);
        }
    }
    pixels
}
