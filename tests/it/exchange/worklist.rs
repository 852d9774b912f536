//! The worklist of the day, from dcmtk's worklist server, and what an exam takes from it.

use std::path::Path;
use std::process::{Child, Command, Stdio};

use dicom_core::value::DataSetSequence;
use dicom_core::{DataElement, PrimitiveValue, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
use serde_json::{Value, json};

use super::orthanc::Orthanc;
use super::peers::await_port;
use super::stage::{export, faults, files, said_of};
use super::tls::Certificates;
use crate::support::program::{free_port, zonecall};
use crate::support::utterance;

struct Server {
    child: Child,
    port: u16,
    _folder: tempfile::TempDir,
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An appointment: day, time, patient, number, kind of machine.
fn row(number: usize, [day, time, name, id, modality]: [&str; 5]) -> InMemDicomObject {
    let text = |tag, vr, text: &str| DataElement::new(tag, vr, PrimitiveValue::from(text));
    let step = InMemDicomObject::from_element_iter([
        text(tags::MODALITY, VR::CS, modality),
        text(tags::SCHEDULED_STATION_AE_TITLE, VR::AE, "SCANNER"),
        text(tags::SCHEDULED_PROCEDURE_STEP_START_DATE, VR::DA, day),
        text(tags::SCHEDULED_PROCEDURE_STEP_START_TIME, VR::TM, time),
        text(tags::SCHEDULED_PROCEDURE_STEP_DESCRIPTION, VR::LO, "tendon scan"),
        text(tags::SCHEDULED_PROCEDURE_STEP_ID, VR::SH, "S1"),
        text(tags::SCHEDULED_PERFORMING_PHYSICIAN_NAME, VR::PN, ""),
    ]);
    let mut row = InMemDicomObject::from_element_iter([
        text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 192"),
        text(tags::SOP_CLASS_UID, VR::UI, "1.2.276.0.7230010.3.1.0.1"),
        text(tags::SOP_INSTANCE_UID, VR::UI, &format!("2.25.90{number}")),
        text(tags::PATIENT_NAME, VR::PN, name),
        text(tags::PATIENT_ID, VR::LO, id),
        text(tags::PATIENT_BIRTH_DATE, VR::DA, "20180401"),
        text(tags::PATIENT_SEX, VR::CS, "F"),
        text(tags::PATIENT_SEX_NEUTERED, VR::CS, "ALTERED"),
        text(tags::RESPONSIBLE_PERSON, VR::PN, "Agent^Alex"),
        text(tags::RESPONSIBLE_PERSON_ROLE, VR::CS, "AGENT"),
        text(tags::STUDY_INSTANCE_UID, VR::UI, &format!("2.25.80{number}")),
        text(tags::ACCESSION_NUMBER, VR::SH, &format!("A{number}")),
        text(tags::REQUESTED_PROCEDURE_ID, VR::SH, "R1"),
        text(tags::REQUESTED_PROCEDURE_DESCRIPTION, VR::LO, "lameness"),
    ]);
    if number == 2 {
        let code = InMemDicomObject::from_element_iter([
            text(tags::CODE_VALUE, VR::SH, "34200004"),
            text(tags::CODING_SCHEME_DESIGNATOR, VR::SH, "SCT"),
            text(tags::CODE_MEANING, VR::LO, "Standardbred"),
        ]);
        let codes = DataSetSequence::from(vec![code]);
        row.put(DataElement::new(tags::PATIENT_BREED_CODE_SEQUENCE, VR::SQ, codes));
    } else {
        row.put(text(tags::PATIENT_BREED_DESCRIPTION, VR::LO, "Hanoverian"));
    }
    let steps = DataSetSequence::from(vec![step]);
    row.put(DataElement::new(tags::SCHEDULED_PROCEDURE_STEP_SEQUENCE, VR::SQ, steps));
    row
}

fn write_rows(folder: &Path, rows: &[[&str; 5]]) {
    for (idx, cells) in rows.iter().enumerate() {
        let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
        let row = row(idx + 1, *cells).with_meta(meta).unwrap();
        row.write_to_file(folder.join(format!("{idx}.wl"))).unwrap();
    }
}

/// dcmtk's server; it knows no breed.
fn server(rows: &[[&str; 5]]) -> Server {
    let folder = tempfile::tempdir().unwrap();
    let list = folder.path().join("CLINIC");
    std::fs::create_dir(&list).unwrap();
    std::fs::write(list.join("lockfile"), "").unwrap();
    write_rows(&list, rows);
    let port = free_port();
    let child = Command::new("wlmscpfs")
        .args(["-dfp", folder.path().to_str().unwrap(), "-dfr", "-csk", &port.to_string()])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap_or_else(|error| panic!("wlmscpfs: {error}; run `make setup`"));
    await_port(port);
    Server { child, port, _folder: folder }
}

const DAY: [[&str; 5]; 4] = [
    ["20260504", "101500", "Müller^Juniper", "H-22", "US"],
    ["20260504", "083000", "Kim^+danger", "H-7", "US"],
    ["20260505", "080000", "Kim^Tomorrow", "H-8", "US"],
    ["20260504", "090000", "Kim^Radiograph", "H-9", "DX"],
];

/// The list of the day as a table in a folder.
fn day_list(folder: &Path) -> String {
    let server = server(&DAY);
    let from = format!("127.0.0.1:{}", server.port);
    let path = folder.join("today.csv").to_str().unwrap().to_owned();
    let args = ["worklist", "--from", &from, "--called", "CLINIC", "--day", "2026-05-04"];
    let listed = zonecall(&args);
    let said = said_of(&listed);
    assert_eq!(listed.status.code(), Some(0), "{said}");
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!(
        lines,
        [
            "  1  08:30  +danger (H-7), owner Kim, F, born 2018-04-01, tendon scan",
            "  2  10:15  Juniper (H-22), owner Müller, F, born 2018-04-01, tendon scan"
        ]
    );
    let table = zonecall(&[&args[..], &["--as", "csv", "--out", &path]].concat());
    assert_eq!(table.status.code(), Some(0), "{}", said_of(&table));
    path
}

#[test]
fn the_horses_of_the_day_come_in_the_order_of_the_day_with_their_owners() {
    let folder = tempfile::tempdir().unwrap();
    let table = std::fs::read_to_string(day_list(folder.path())).unwrap();
    let head = "number,time,horse,horse_id,owner,species,breed,sex,neutered,born,accession,study,procedure\n";
    assert!(table.starts_with(head), "{table}");
    assert!(table.contains("\n1,08:30,'+danger,H-7,Kim,"), "{table}");
    assert!(
        table.contains("\n2,10:15,Juniper,H-22,Müller,,,F,,2018-04-01,A1,2.25.801,tendon scan\n"),
        "{table}"
    );
}

/// dcmtk's asker gets the same rows from the same server.
#[test]
fn another_asker_gets_the_same_rows() {
    let server = server(&DAY);
    let answers = tempfile::tempdir().unwrap();
    let asked = Command::new("findscu")
        .args(["-W", "-X", "-aec", "CLINIC", "127.0.0.1", &server.port.to_string()])
        .args(["-k", "PatientName", "-k", "PatientID", "-k", "AccessionNumber", "-k", "StudyInstanceUID"])
        .args(["-k", "ScheduledProcedureStepSequence[0].Modality=US"])
        .args(["-k", "ScheduledProcedureStepSequence[0].ScheduledProcedureStepStartDate=20260504"])
        .current_dir(answers.path())
        .output()
        .unwrap_or_else(|error| panic!("findscu: {error}; run `make setup`"));
    assert!(asked.status.success(), "{}", said_of(&asked));
    let theirs: std::collections::BTreeSet<[String; 3]> = files(answers.path())
        .iter()
        .map(|file| {
            let row = dicom_object::open_file(file).unwrap();
            [tags::PATIENT_ID, tags::ACCESSION_NUMBER, tags::STUDY_INSTANCE_UID].map(|tag| {
                row.element(tag).unwrap().to_str().unwrap().trim_end_matches(['\0', ' ']).to_owned()
            })
        })
        .collect();
    let from = format!("127.0.0.1:{}", server.port);
    let args = ["worklist", "--from", &from, "--called", "CLINIC", "--day", "2026-05-04", "--as", "csv"];
    let ours = zonecall(&args);
    let ours = zonecall::exchange::day_list::parse(&String::from_utf8(ours.stdout).unwrap()).unwrap();
    let ours = ours.into_iter().map(|row| [row.horse_id, row.accession, row.study]);
    assert_eq!(ours.collect::<std::collections::BTreeSet<_>>(), theirs);
    assert_eq!(theirs.len(), 2);
}

#[test]
fn an_empty_day_is_a_finding_and_a_wrong_name_an_error() {
    let server = server(&DAY);
    let from = format!("127.0.0.1:{}", server.port);
    let done = zonecall(&["worklist", "--from", &from, "--called", "CLINIC", "--day", "2026-06-01"]);
    assert!(done.status.code() == Some(1) && said_of(&done).contains("no appointment"), "{}", said_of(&done));
    let done = zonecall(&["worklist", "--from", &from, "--called", "NOBODY", "--day", "2026-05-04"]);
    assert_eq!(done.status.code(), Some(2), "{}", said_of(&done));
}

/// An exam of the horse with this number on the list, heard from a script.
fn exam(folder: &Path, list: &str, number: &str) -> String {
    let sound = folder.join("scan.wav");
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(&sound, spec).unwrap();
    for tick in 0..48_000_u32 {
        // A tone between silences: one utterance.
        let loud = (16_000..32_000).contains(&tick);
        writer.write_sample(if loud && tick % 80 < 40 { 9000_i16 } else { 0 }).unwrap();
    }
    writer.finalize().unwrap();
    let script = folder.join("script.jsonl");
    let spoken = utterance(1.2, "left fore zone two bravo transverse");
    std::fs::write(&script, serde_json::to_string(&spoken).unwrap()).unwrap();
    let into = folder.join(format!("exam-{number}")).to_str().unwrap().to_owned();
    let args =
        ["hear", sound.to_str().unwrap(), "--into", &into, "--started-at", "2026-05-04T10:00:00+02:00"];
    let chosen =
        ["--ear", "scripted", "--script", script.to_str().unwrap(), "--day-list", list, "--number", number];
    let heard = zonecall(&[&args[..], &chosen].concat());
    assert!(matches!(heard.status.code(), Some(0 | 1)), "{}", said_of(&heard));
    into
}

#[test]
fn an_exam_takes_horse_and_order_from_the_list_and_gives_them_to_the_archive() {
    let folder = tempfile::tempdir().unwrap();
    let list = day_list(folder.path());
    let into = exam(folder.path(), &list, "2");
    let shown = zonecall(&["export", &into, "--as", "json"]);
    let record: Value = serde_json::from_slice(&shown.stdout).unwrap();
    let horse = json!({
        "name": "Juniper", "id": "H-22", "owner": "Müller", "sex": "F"
    });
    assert_eq!(record["exam"]["horse"], horse);
    assert_eq!(record["exam"]["order"], json!({"accession": "A1", "study": "2.25.801"}));
    export(Path::new(&into), "dicom", &[], 0);
    let made = files(&Path::new(&into).join("out/dicom"));
    assert!(!made.is_empty());
    for file in made {
        assert_eq!(faults(&file), Vec::<String>::new(), "{}", file.display());
        let object = dicom_object::open_file(&file).unwrap();
        let text = |tag| object.element(tag).unwrap().to_str().unwrap().trim().to_owned();
        assert_eq!(text(tags::PATIENT_NAME), "Müller^Juniper");
        assert_eq!(text(tags::RESPONSIBLE_PERSON), "Müller^");
        assert_eq!(
            (text(tags::ACCESSION_NUMBER), text(tags::STUDY_INSTANCE_UID)),
            ("A1".into(), "2.25.801".into())
        );
    }
    // What was not taken from the list as it stands is an error, not a guess.
    let none = zonecall(&["hear", "scan.wav", "--into", "exam-9", "--day-list", &list, "--number", "9"]);
    assert!(
        none.status.code() == Some(2) && said_of(&none).contains("has no number `9`"),
        "{}",
        said_of(&none)
    );
    let unsaid = zonecall(&["hear", "scan.wav", "--into", "exam-9", "--day-list", &list]);
    assert!(unsaid.status.code() == Some(2) && said_of(&unsaid).contains("--number"), "{}", said_of(&unsaid));
}

#[test]
fn a_still_of_another_horse_than_the_list_says_is_a_finding() {
    let folder = tempfile::tempdir().unwrap();
    let list = day_list(folder.path());
    let frames = folder.path().join("frames");
    std::fs::create_dir(&frames).unwrap();
    let mut still = super::stage::still(1, 1.5);
    still.put(DataElement::new(tags::PATIENT_NAME, VR::PN, PrimitiveValue::from("Kim^Bramble")));
    still.put(DataElement::new(tags::PATIENT_ID, VR::LO, PrimitiveValue::from("H-7")));
    let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
    still.with_meta(meta).unwrap().write_to_file(frames.join("IM1.dcm")).unwrap();
    for (number, foreign) in [("2", true), ("1", false)] {
        let into = exam(folder.path(), &list, number);
        zonecall(&["pair", &into, "--frames", frames.to_str().unwrap()]);
        let checked = said_of(&zonecall(&["check", &into]));
        let told =
            checked.contains("it shows `Kim^Bramble (no. H-7)`, but the exam is of `Juniper (no. H-22)`");
        assert_eq!(told, foreign, "{checked}");
    }
}

/// Debian's plug-in of Orthanc.
const PLUGIN: &str = "/usr/share/orthanc/plugins/libModalityWorklists.so";

#[test]
fn orthanc_gives_its_worklist_with_the_breed_and_by_tls_only_to_who_may_have_it() {
    let place = tempfile::tempdir().unwrap();
    write_rows(place.path(), &DAY);
    let certificates = Certificates::new();
    let mut settings = certificates.orthanc();
    settings["Plugins"] = json!([PLUGIN]);
    settings["Worklists"] = json!({"Enable": true, "Database": place.path()});
    settings["DicomAlwaysAllowFindWorklist"] = json!(true);
    let orthanc = Orthanc::start(&settings);
    let to = orthanc.to();
    let ask = |tls: &[String]| {
        let args = ["worklist", "--from", &to, "--called", "ARCHIVE", "--day", "2026-05-04"];
        let tls: Vec<&str> = tls.iter().map(String::as_str).collect();
        let done = zonecall(&[&args[..], &tls].concat());
        (done.status.code(), said_of(&done))
    };
    let (code, said) = ask(&certificates.ours("scanner"));
    assert_eq!(code, Some(0), "{said}\n{}", orthanc.log());
    let wanted =
        "  2  10:15  Juniper (H-22), owner Müller, Hanoverian, F, neutered, born 2018-04-01, tendon scan";
    // The breed of the other one is stated by its code alone; an agent is not its owner.
    let coded =
        "  1  08:30  +danger (H-7), owner Kim, Standardbred, F, neutered, born 2018-04-01, tendon scan";
    assert_eq!(said.lines().nth(1), Some(wanted), "{said}");
    assert_eq!(said.lines().next(), Some(coded), "{said}");
    let (code, said) = ask(&certificates.ours("intruder"));
    assert_eq!(code, Some(2), "{said}");
}
