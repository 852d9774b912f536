//! An exam of one limb with DICOM stills, values that were spoken, typed and traced, and the judges.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use chrono::{DateTime, Duration, FixedOffset};
use dicom_core::value::DataSetSequence;
use dicom_core::{DataElement, PrimitiveValue, VR, dicom_value};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
use serde_json::Value;

use zonecall::clock::Sample;
use zonecall::exam::call::Amount;
use zonecall::exam::event::{Entered, Event};
use zonecall::exam::journal::Journal;
use zonecall::exam::review::{Change, Review, WordsPart};
use zonecall::exam::sign::{Signable, Signed};
use zonecall::exam_folder::{ExamFolder, record_against};
use zonecall::knowledge::measure::Against;
use zonecall::trace::Outline;

use crate::support::program::zonecall;
use crate::support::{header, write_journal};

pub const STUDY: &str = "2.25.1001";
pub const SERIES: &str = "2.25.1002";
/// Columns and rows of the stills.
pub const SIZE: (u16, u16) = (64, 48);
/// Corners of what was traced, in pixels.
pub const TRACED: [(f64, f64); 4] = [(10.0, 8.0), (30.0, 8.5), (30.5, 20.0), (10.0, 20.0)];

/// When each still was saved, in seconds of the exam, with what was said as it was.
pub const SAVED_S: [f64; 3] = [14.0, 29.0, 48.0];

const SAID: [(f64, &str); 13] = [
    (2.0, "left fore zone two bravo transverse"),
    (6.0, "superficial flexor"),
    (8.0, "area one hundred and twelve square millimetres"),
    (11.0, "mild core lesion medial"),
    (14.0, "save"),
    (20.0, "zone three alpha transverse"),
    (24.0, "deep flexor"),
    (26.0, "normal"),
    (29.0, "save"),
    (38.0, "longitudinal"),
    (41.0, "fibre score one"),
    (48.0, "save"),
    (52.0, "end of exam"),
];

pub fn uid(number: usize) -> String {
    format!("2.25.200{number}")
}

/// The exam folder, paired with its stills, before any value is entered.
pub fn folder() -> tempfile::TempDir {
    folder_of(&[], |_, _| {})
}

/// The same; `pair` is added to the command that pairs, `change` may change each still before it is written.
pub fn folder_of(pair: &[&str], change: impl Fn(usize, &mut InMemDicomObject)) -> tempfile::TempDir {
    let folder = unpaired();
    let frames = folder.path().join("frames");
    std::fs::create_dir(&frames).unwrap();
    for (idx, saved_s) in SAVED_S.iter().enumerate() {
        let mut still = still(idx + 1, *saved_s);
        change(idx + 1, &mut still);
        let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
        still.with_meta(meta).unwrap().write_to_file(frames.join(format!("IM{}.dcm", idx + 1))).unwrap();
    }
    let path = folder.path().to_str().unwrap();
    let paired = zonecall(&[&["pair", path, "--frames", frames.to_str().unwrap()], pair].concat());
    assert_eq!(paired.status.code(), Some(0), "{}", said_of(&paired));
    folder
}

/// What was said, before any still was found.
pub fn unpaired() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    write_journal(folder.path(), &SAID);
    // Three stills are too few to tell the scanner's clock from: a person says that it is right.
    let change = Change::Clock { offset_s: 0.0 };
    let review = Review { by: "Ada".to_owned(), why: String::new(), was: String::new(), change };
    let mut journal = Journal::open(folder.path()).unwrap();
    journal
        .append(header().started_at + Duration::seconds(60), Sample::FIRST, &Event::Review(Box::new(review)))
        .unwrap();
    drop(journal);
    folder
}

/// An exam whose still hangs on a call that was not understood.
pub fn doubtful() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let said = [
        (2.0, "left fore zone two bravo transverse"),
        (6.0, "superficial flexor"),
        (9.0, "area ninety"),
        (11.0, "zone zone zone"),
        (14.0, "save"),
        (14.8, "clock mark"),
        (30.0, "end of exam"),
    ];
    write_journal(folder.path(), &said);
    let frames = folder.path().join("frames");
    std::fs::create_dir(&frames).unwrap();
    let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
    still(1, 14.0).with_meta(meta).unwrap().write_to_file(frames.join("IM1.dcm")).unwrap();
    zonecall(&["pair", folder.path().to_str().unwrap(), "--frames", frames.to_str().unwrap()]);
    folder
}

/// Adds an area traced on the first still, and a typed one.
pub fn enter(folder: &Path) {
    enter_on(folder, None);
}

/// The same, the area on this frame of a loop.
pub fn enter_on(folder: &Path, frame_number: Option<u32>) {
    let mut journal = Journal::open(folder).unwrap();
    let at = header().started_at + Duration::seconds(100);
    let amount = |number| Amount { number, unit: Some("mm2".to_owned()), unit_assumed: false };
    let traced = Entered {
        limb: "LF".into(),
        zone: "2B".into(),
        plane: Some("T".into()),
        structure: "SDFT".into(),
        term: "area".to_owned(),
        amount: amount(2.36),
        scale: None,
        traced: true,
        by: Some("Ada".to_owned()),
        still: Some(uid(1)),
        scale_by_hand_mm: None,
        ends_px: None,
        frame_number,
        outline: Some(Outline::Polygon { points_px: TRACED.to_vec() }),
    };
    journal.append(at, Sample::FIRST, &Event::Entered(Box::new(traced.clone()))).unwrap();
    let typed = Entered {
        zone: "3A".into(),
        structure: "DDFT".into(),
        amount: amount(140.0),
        traced: false,
        still: None,
        frame_number: None,
        outline: None,
        ..traced
    };
    journal.append(at, Sample::FIRST, &Event::Entered(Box::new(typed))).unwrap();
}

/// What the vet writes at the desk.
pub const CONCLUDED: [(WordsPart, &str); 2] = [
    (WordsPart::Impression, "Core lesion of the <left> flexor & nothing else"),
    (WordsPart::Recommendation, "Box rest; scan again in 30 days"),
];

/// Writes the vet's conclusion.
pub fn conclude(folder: &Path) {
    let mut journal = Journal::open(folder).unwrap();
    for (part, text) in CONCLUDED {
        let change = Change::Words { part, text: text.to_owned() };
        let review =
            Review { by: "Dr Erin Example".to_owned(), why: String::new(), was: String::new(), change };
        journal.append(header().started_at, Sample::FIRST, &Event::Review(Box::new(review))).unwrap();
    }
}

pub fn sign(folder: &Path) {
    let mut journal = Journal::open(folder).unwrap();
    let key = ed25519_dalek::SigningKey::from_bytes(&[7; 32]);
    let at = header().started_at + Duration::seconds(200);
    // As the review desk does it: under the record as it is exported at this moment.
    let protocols = &crate::support::BUILT_IN.1;
    let exam = zonecall::report::signed::verified(&ExamFolder::at(folder), protocols).unwrap();
    let record = record_against(&exam, protocols, &Against::default());
    let record_sha256 = sha256(zonecall::report::export::json(&record).as_bytes());
    let signable = Signable {
        by: "Dr Erin Example".to_owned(),
        licence: "V-1".to_owned(),
        at,
        journal_sha256: journal.last_hash().to_owned(),
        record_sha256,
        files: Vec::new(),
    };
    let signed = Signed::new(signable, &key);
    journal.append(at, Sample::FIRST, &Event::Signed(Box::new(signed))).unwrap();
}

fn sha256(bytes: &[u8]) -> String {
    use sha2::Digest as _;
    sha2::Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// An ultrasound still as the standard wants it, of a horse, half of it bright.
pub fn still(number: usize, saved_s: f64) -> InMemDicomObject {
    let start: DateTime<FixedOffset> = "2026-05-04T10:00:00+02:00".parse().unwrap();
    let saved = start + Duration::milliseconds((saved_s * 1000.0) as i64);
    let mut still = InMemDicomObject::new_empty();
    let mut text = |tag, vr, text: &str| {
        still.put(DataElement::new(tag, vr, PrimitiveValue::from(text)));
    };
    text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 192");
    text(tags::SOP_CLASS_UID, VR::UI, uids::ULTRASOUND_IMAGE_STORAGE);
    text(tags::SOP_INSTANCE_UID, VR::UI, &uid(number));
    text(tags::STUDY_INSTANCE_UID, VR::UI, STUDY);
    text(tags::SERIES_INSTANCE_UID, VR::UI, SERIES);
    text(tags::STUDY_DATE, VR::DA, "20260504");
    text(tags::STUDY_TIME, VR::TM, "095500");
    text(tags::ACQUISITION_DATE_TIME, VR::DT, &saved.format("%Y%m%d%H%M%S%.3f%z").to_string());
    text(tags::CONTENT_DATE, VR::DA, "20260504");
    text(tags::CONTENT_TIME, VR::TM, &saved.format("%H%M%S%.3f").to_string());
    text(tags::ACCESSION_NUMBER, VR::SH, "A17");
    text(tags::REFERRING_PHYSICIAN_NAME, VR::PN, "");
    text(tags::STUDY_ID, VR::SH, "7");
    text(tags::MODALITY, VR::CS, "US");
    text(tags::MANUFACTURER, VR::LO, "A maker");
    text(tags::STATION_NAME, VR::SH, "YARD3");
    text(tags::SERIES_NUMBER, VR::IS, "1");
    text(tags::INSTANCE_NUMBER, VR::IS, &number.to_string());
    text(tags::PATIENT_NAME, VR::PN, "Müller^Juniper");
    text(tags::PATIENT_ID, VR::LO, "H-22");
    text(tags::PATIENT_BIRTH_DATE, VR::DA, "20180401");
    text(tags::PATIENT_SEX, VR::CS, "M");
    text(tags::PATIENT_SPECIES_DESCRIPTION, VR::LO, "horse");
    text(tags::PATIENT_BREED_DESCRIPTION, VR::LO, "Standardbred");
    text(tags::RESPONSIBLE_PERSON, VR::PN, "Müller^Anna");
    text(tags::RESPONSIBLE_PERSON_ROLE, VR::CS, "OWNER");
    text(tags::RESPONSIBLE_ORGANIZATION, VR::LO, "");
    text(tags::PATIENT_SEX_NEUTERED, VR::CS, "ALTERED");
    text(tags::IMAGE_TYPE, VR::CS, "ORIGINAL\\PRIMARY");
    text(tags::LATERALITY, VR::CS, "");
    text(tags::PATIENT_ORIENTATION, VR::CS, "");
    text(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "MONOCHROME2");
    text(tags::LOSSY_IMAGE_COMPRESSION, VR::CS, "00");
    text(tags::BURNED_IN_ANNOTATION, VR::CS, "NO");
    for tag in [tags::PATIENT_BREED_CODE_SEQUENCE, tags::BREED_REGISTRATION_SEQUENCE] {
        still.put(DataElement::new(tag, VR::SQ, DataSetSequence::<InMemDicomObject>::empty()));
    }
    let mut put = |tag, value: u16| {
        still.put(DataElement::new(tag, VR::US, PrimitiveValue::from(value)));
    };
    let (columns, rows) = SIZE;
    put(tags::SAMPLES_PER_PIXEL, 1);
    put(tags::ROWS, rows);
    put(tags::COLUMNS, columns);
    put(tags::BITS_ALLOCATED, 8);
    put(tags::BITS_STORED, 8);
    put(tags::HIGH_BIT, 7);
    put(tags::PIXEL_REPRESENTATION, 0);
    still.put(DataElement::new(
        tags::SEQUENCE_OF_ULTRASOUND_REGIONS,
        VR::SQ,
        DataSetSequence::from(vec![region()]),
    ));
    let pixels: Vec<u8> =
        (0..usize::from(rows) * usize::from(columns)).map(|idx| ((idx + number - 1) % 251) as u8).collect();
    still.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::U8(pixels.into())));
    still
}

/// All of the picture, a tenth of a millimetre a pixel.
fn region() -> InMemDicomObject {
    let mut item = InMemDicomObject::new_empty();
    item.put(DataElement::new(tags::REGION_SPATIAL_FORMAT, VR::US, dicom_value!(U16, [1])));
    item.put(DataElement::new(tags::REGION_DATA_TYPE, VR::US, dicom_value!(U16, [1])));
    item.put(DataElement::new(tags::REGION_FLAGS, VR::UL, dicom_value!(U32, [0])));
    let (columns, rows) = (u32::from(SIZE.0), u32::from(SIZE.1));
    let edges = [
        (tags::REGION_LOCATION_MIN_X0, 0),
        (tags::REGION_LOCATION_MIN_Y0, 0),
        (tags::REGION_LOCATION_MAX_X1, columns - 1),
        (tags::REGION_LOCATION_MAX_Y1, rows - 1),
    ];
    for (tag, edge) in edges {
        item.put(DataElement::new(tag, VR::UL, dicom_value!(U32, [edge])));
    }
    item.put(DataElement::new(tags::PHYSICAL_UNITS_X_DIRECTION, VR::US, dicom_value!(U16, [3])));
    item.put(DataElement::new(tags::PHYSICAL_UNITS_Y_DIRECTION, VR::US, dicom_value!(U16, [3])));
    item.put(DataElement::new(tags::PHYSICAL_DELTA_X, VR::FD, dicom_value!(F64, [0.01])));
    item.put(DataElement::new(tags::PHYSICAL_DELTA_Y, VR::FD, dicom_value!(F64, [0.01])));
    item
}

pub fn said_of(output: &std::process::Output) -> String {
    format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
}

/// Exports in a form; the program must end with this code.
pub fn export(folder: &Path, form: &str, more: &[&str], code: i32) -> String {
    let mut args = vec!["export", folder.to_str().unwrap(), "--as", form];
    args.extend(more);
    let done = zonecall(&args);
    let said = said_of(&done);
    assert_eq!(done.status.code(), Some(code), "{said}");
    said
}

/// The DICOM files in a folder, by name.
pub fn files(folder: &Path) -> Vec<PathBuf> {
    let all = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    let mut found: Vec<PathBuf> =
        all.filter(|path| path.extension().is_some_and(|ending| ending == "dcm")).collect();
    found.sort();
    found
}

/// What a judge from the Debian packages says of a file.
pub fn judge(program: &str, args: &[&str]) -> (Option<i32>, String) {
    let done = Command::new(program).args(args).output();
    let done = done.unwrap_or_else(|error| panic!("`{program}`: {error}; run `make setup`"));
    (done.status.code(), said_of(&done))
}

/// Lets `dcentvfy` judge whether objects say the same of what they share.
pub fn agree(objects: &[PathBuf]) {
    assert!(!objects.is_empty());
    let all: Vec<&str> = objects.iter().map(|path| path.to_str().unwrap()).collect();
    let (_, said) = judge("dcentvfy", &all);
    // Known and left: its own tables put the accession number of an image and of a report in different places.
    let faults = said.lines().filter(|line| line.starts_with("Error") || line.starts_with("Warning"));
    let faults: Vec<&str> = faults.filter(|line| !line.contains("Different information entities")).collect();
    assert!(faults.is_empty(), "{faults:?}");
}

/// The lines in which `dsrdump` finds fault.
pub fn faults_of_sr(file: &Path) -> Vec<String> {
    let (code, said) = judge("dsrdump", &[file.to_str().unwrap()]);
    assert_eq!(code, Some(0), "{said}");
    // Known and left: this version can check neither text in UTF-8 nor the template of a selection.
    let known = [
        "The VR checker does not support this Specific Character Set: ISO_IR 192",
        "Check for template constraints not yet supported",
    ];
    let faults = said.lines().filter(|line| line.starts_with("W:") || line.starts_with("E:"));
    faults.filter(|line| !known.iter().any(|known| line.contains(known))).map(str::to_owned).collect()
}

/// The lines in which `dciodvfy` finds fault; its words on what a file is are no fault.
///
/// Known and left: it warns of every local coding scheme, and ours is declared in the file; and of days and numbers that
/// copies for teaching must not have, as they would be needed to index a disc.
pub fn faults(file: &Path) -> Vec<String> {
    let (_, said) = judge("dciodvfy", &["-new", file.to_str().unwrap()]);
    let known = ["99ZONECALL", "CodingSchemeUID", "needed to build DICOMDIR"];
    said.lines()
        .filter(|line| line.starts_with("Error") || line.starts_with("Warning"))
        .filter(|line| !known.iter().any(|known| line.contains(known)))
        .map(str::to_owned)
        .collect()
}

/// What the Python libraries read.
pub fn python(args: &[&str], input: &str) -> Value {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let deps = std::env::var_os("ZONECALL_DEPS").map_or_else(|| root.join(".deps"), PathBuf::from);
    let mut judge = Command::new(deps.join("venv/bin/python3"))
        .arg(root.join("tests/it/exchange/judge.py"))
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{error}; run `make setup`"));
    judge.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    let done = judge.wait_with_output().unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    serde_json::from_slice(&done.stdout).unwrap()
}
