//! Makes the demo's stills: DICOM ultrasound pictures of synthetic speckle, on a scanner whose clock is wrong.
//!
//! `demo_stills STILLS.csv FOLDER START [OFFSET_S [DRIFT_PPM [whole]]]`; the table comes from `demo-audio/make.py`,
//! START is an RFC 3339 instant. Without more the scanner is 197.3 s behind, gains 12 ppm and writes hundredths of
//! a second; `whole` cuts its times to whole seconds. Equal input gives equal files.
//! A transverse picture holds an ellipse of the table's area, and a dark one in it of the lesion's; the label
//! stands nowhere in the file.

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
/// Area of a cross-section that the table gives no area for: of the order of a flexor tendon's.
const USUAL_AREA_CM2: f64 = 1.0;
/// Width of the ellipses for each unit of their height.
const FLATNESS: f64 = 2.25;
/// Height of the band that stands for a tendon seen along its fibres, from its middle to its edge.
const HALF_BAND_PX: f64 = 31.0;
/// How many independent pictures are averaged, as scanners do to calm the speckle.
const LOOKS: u32 = 4;

/// The scanner's clock against the instant that the exam's second 0 was recorded.
struct ScannerClock {
    start: DateTime<FixedOffset>,
    offset_s: f64,
    drift_ppm: f64,
    whole_seconds: bool,
}

impl ScannerClock {
    fn shows(&self, exam_s: f64) -> DateTime<FixedOffset> {
        let scanner_s = exam_s + self.offset_s + exam_s * self.drift_ppm * 1e-6;
        #[allow(clippy::cast_possible_truncation)] // minutes, in hundredths of a second
        let shown = self.start + TimeDelta::milliseconds((scanner_s * 100.0).round() as i64 * 10);
        let cut = if self.whole_seconds { i64::from(shown.timestamp_subsec_millis()) } else { 0 };
        shown - TimeDelta::milliseconds(cut)
    }
}

/// One line of the table.
struct Row<'a> {
    exam_s: f64,
    transverse: bool,
    area_cm2: f64,
    lesion_cm2: f64,
    horse: [&'a str; 4],
}

impl<'a> Row<'a> {
    fn read(line: &'a str) -> anyhow::Result<Self> {
        let mut cells: Vec<&str> = line.split(',').collect();
        ensure!((2..=8).contains(&cells.len()), "`{line}` has not two to eight cells");
        cells.resize(8, "");
        let cells: [&str; 8] = cells.try_into().ok().context("eight cells, as sized above")?;
        let [exam_s, label, area, lesion, horse @ ..] = cells;
        let number = |text: &str, otherwise: f64| -> anyhow::Result<f64> {
            if text.is_empty() {
                return Ok(otherwise);
            }
            text.parse().with_context(|| format!("no number `{text}` in `{line}`"))
        };
        Ok(Self {
            exam_s: exam_s.parse().with_context(|| format!("no time in `{line}`"))?,
            transverse: label.ends_with('T'),
            area_cm2: number(area, USUAL_AREA_CM2)?,
            lesion_cm2: number(lesion, 0.0)?,
            horse,
        })
    }
}

fn main() -> anyhow::Result<()> {
    let args: Vec<String> = std::env::args().collect();
    ensure!(
        (4..=7).contains(&args.len()),
        "usage: demo_stills STILLS.csv FOLDER START [OFFSET_S [DRIFT_PPM [whole]]]"
    );
    let number = |at: usize, otherwise: f64| args.get(at).map_or(Ok(otherwise), |text| text.parse());
    let resolution = args.get(6).map(String::as_str);
    ensure!(matches!(resolution, None | Some("whole")), "the last word can only be `whole`");
    let clock = ScannerClock {
        start: args[3].parse().context("START must look like 2026-05-04T10:00:00+02:00")?,
        offset_s: number(4, OFFSET_S).context("OFFSET_S must be a number")?,
        drift_ppm: number(5, DRIFT_PPM).context("DRIFT_PPM must be a number")?,
        whole_seconds: resolution.is_some(),
    };
    let table = std::fs::read_to_string(&args[1]).with_context(|| format!("cannot read `{}`", args[1]))?;
    std::fs::create_dir_all(&args[2]).with_context(|| format!("cannot make `{}`", args[2]))?;
    let study = study_number(&table, &args[3]);
    for (idx, line) in table.lines().skip(1).filter(|line| !line.trim().is_empty()).enumerate() {
        let number = u32::try_from(idx + 1)?;
        let path = Path::new(&args[2]).join(format!("IM{number:04}.dcm"));
        write(&path, number, study, &Row::read(line)?, &clock)?;
    }
    Ok(())
}

/// A number for the UIDs that differs from table to table: FNV-1a, 64 bits.
fn study_number(table: &str, start: &str) -> u64 {
    table
        .bytes()
        .chain(start.bytes())
        .fold(0xCBF2_9CE4_8422_2325, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01B3))
}

fn write(path: &Path, number: u32, study: u64, row: &Row, clock: &ScannerClock) -> anyhow::Result<()> {
    let mut still = identity(clock.start, study, row.horse);
    let saved = clock.shows(row.exam_s);
    // Four figures keep it apart from the study's and the series' own one.
    let uid = format!("2.25.{study}{number:04}");
    let (date, time) = (saved.format("%Y%m%d").to_string(), saved.format("%H%M%S").to_string());
    let time = if clock.whole_seconds { time } else { format!("{time}{}", saved.format("%.3f")) };
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
    put(tags::PATIENT_ORIENTATION, VR::CS, if row.transverse { "L\\D" } else { "DI\\D" });
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
    let regions = dicom_core::value::DataSetSequence::from(vec![region()]);
    still.put(DataElement::new(tags::SEQUENCE_OF_ULTRASOUND_REGIONS, VR::SQ, regions));
    still.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::from(picture(number, row)?)));
    let meta = FileMetaTableBuilder::new()
        .transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN)
        .media_storage_sop_class_uid(uids::ULTRASOUND_IMAGE_STORAGE)
        .media_storage_sop_instance_uid(uid);
    still.with_meta(meta)?.write_to_file(path).with_context(|| format!("cannot write `{}`", path.display()))
}

/// The animal, the study and the series: invented.
fn identity(start: DateTime<FixedOffset>, study: u64, horse: [&str; 4]) -> InMemDicomObject {
    let mut object = InMemDicomObject::new_empty();
    let [name, breed, sex, neutered] = horse;
    let date = start.format("%Y%m%d").to_string();
    let texts = [
        (tags::PATIENT_NAME, VR::PN, format!("Larkfield Stud^{name}")),
        (tags::PATIENT_ID, VR::LO, format!("DEMO-{name}")),
        (tags::PATIENT_BIRTH_DATE, VR::DA, "20190412".to_owned()),
        (tags::PATIENT_SEX, VR::CS, sex.to_owned()),
        (tags::PATIENT_SEX_NEUTERED, VR::CS, neutered.to_owned()),
        (tags::PATIENT_SPECIES_DESCRIPTION, VR::LO, "Equus caballus".to_owned()),
        (tags::PATIENT_BREED_DESCRIPTION, VR::LO, breed.to_owned()),
        (tags::RESPONSIBLE_PERSON, VR::PN, "Marsh^Ada".to_owned()),
        (tags::RESPONSIBLE_PERSON_ROLE, VR::CS, "OWNER".to_owned()),
        (tags::RESPONSIBLE_ORGANIZATION, VR::LO, "Larkfield Stud".to_owned()),
        (tags::STUDY_INSTANCE_UID, VR::UI, format!("2.25.{study}1")),
        (tags::SERIES_INSTANCE_UID, VR::UI, format!("2.25.{study}2")),
        (tags::STUDY_ID, VR::SH, "1".to_owned()),
        (tags::SERIES_NUMBER, VR::IS, "1".to_owned()),
        (tags::STUDY_DATE, VR::DA, date),
        (tags::STUDY_TIME, VR::TM, start.format("%H%M%S").to_string()),
        (tags::ACCESSION_NUMBER, VR::SH, String::new()),
        (tags::REFERRING_PHYSICIAN_NAME, VR::PN, String::new()),
        (tags::MODALITY, VR::CS, "US".to_owned()),
        (tags::MANUFACTURER, VR::LO, "zonecall demo".to_owned()),
        // Empty: the scanner was not told which limb, and the label must stand nowhere in the file.
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

/// Half axes in pixels of an ellipse of this area, which is pi times their product.
fn half_axes_px(area_cm2: f64) -> (f64, f64) {
    let b = (area_cm2 / (CM_PER_PX * CM_PER_PX) / (std::f64::consts::PI * FLATNESS)).sqrt();
    (b * FLATNESS, b)
}

/// Speckle around a brighter tendon: an ellipse across it, a striped band along it.
fn picture(seed: u32, row: &Row) -> anyhow::Result<Vec<u8>> {
    let (middle_x, middle_y) = (f64::from(COLUMNS) / 2.0, f64::from(ROWS) / 2.0);
    let (tendon, lesion) = (half_axes_px(row.area_cm2), half_axes_px(row.lesion_cm2));
    ensure!(tendon.0 < middle_x && tendon.1 < middle_y, "{} cm2 does not fit the picture", row.area_cm2);
    ensure!(lesion.0 < tendon.0, "a lesion of {} cm2 is larger than its tendon", row.lesion_cm2);
    let mut state = u64::from(seed).wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut pixels = Vec::with_capacity(usize::from(COLUMNS) * usize::from(ROWS));
    for y in 0..ROWS {
        for x in 0..COLUMNS {
            let (dx, dy) = (f64::from(x) + 0.5 - middle_x, f64::from(y) + 0.5 - middle_y);
            let within = |(a, b): (f64, f64)| b > 0.0 && (dx / a).powi(2) + (dy / b).powi(2) <= 1.0;
            let stripes = if y % 5 < 2 { 1.3 } else { 1.0 };
            let mean = match row.transverse {
                true if within(lesion) => 45.0,
                true if within(tendon) => 105.0,
                false if dy.abs() <= HALF_BAND_PX => 105.0 * stripes,
                _ => 45.0,
            };
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // clamped to a byte
            pixels.push((mean * speckle(&mut state)).clamp(0.0, 255.0) as u8);
        }
    }
    Ok(pixels)
}

/// The size of a sum of random waves is Rayleigh distributed; here with mean 1, averaged over the looks.
fn speckle(state: &mut u64) -> f64 {
    let one_look = |state: &mut u64| {
        *state ^= *state << 13;
        *state ^= *state >> 7;
        *state ^= *state << 17;
        let even = f64::from(u32::try_from(*state >> 40).unwrap_or(0) + 1) / f64::from(1_u32 << 24);
        // The mean of a Rayleigh distribution of scale 1 is the root of pi / 2.
        (-2.0 * even.ln()).sqrt() / std::f64::consts::FRAC_PI_2.sqrt()
    };
    (0..LOOKS).map(|_| one_look(state)).sum::<f64>() / f64::from(LOOKS)
}
