//! Exports that are made from the review desk: the same as the command makes.

use std::path::Path;

use dicom_core::{DataElement, PrimitiveValue, VR};
use dicom_dictionary_std::tags;
use serde_json::json;

use super::stage::{export, files, folder, folder_of, python, sign};
use crate::support::desk::Served;

#[test]
fn each_form_is_made_from_the_desk_and_is_what_the_command_makes() {
    let exam = folder();
    let served = Served::start(exam.path(), 0);
    let out = exam.path().join("out");
    for (form, file) in [
        ("dicom", "dicom/report-01.dcm"),
        ("labelled", "labelled/labelled.zip"),
        ("teaching", "teaching/index.csv"),
        ("fhir", "bundle.json"),
        ("json", "record.json"),
        ("csv", "table.csv"),
        ("vtt", "captions.vtt"),
    ] {
        let (status, told) = served.post("/api/export", &json!({"form": form}));
        assert_eq!(status, 200, "{form}: {told}");
        assert!(out.join(file).is_file(), "{form}: {told}");
        let folder = Path::new(file).parent().unwrap().to_str().unwrap();
        let said = told["said"].as_str().unwrap();
        assert!(said.contains(if folder.is_empty() { file } else { folder }), "{form}: {said}");
    }
    let by_command = exam.path().join("by-command.csv");
    export(exam.path(), "csv", &["--out", by_command.to_str().unwrap()], 0);
    assert_eq!(std::fs::read(out.join("table.csv")).unwrap(), std::fs::read(by_command).unwrap());
    let (status, told) = served.post("/api/export", &json!({"form": "everything"}));
    assert_eq!(status, 422, "{told}");
}

/// The signed report names the practice of the letterhead, from the desk and from the command.
#[test]
fn the_practice_of_the_letterhead_is_the_verifying_organization() {
    let exam = folder();
    sign(exam.path());
    let settings = exam.path().join("settings/zonecall");
    std::fs::create_dir_all(&settings).unwrap();
    std::fs::write(settings.join("people.toml"), "[practice]\nname = \"Equine practice of the tests\"\n")
        .unwrap();
    let served = Served::start(exam.path(), 0);
    let (status, told) = served.post("/api/export", &json!({"form": "dicom"}));
    assert_eq!(status, 200, "{told}");
    let report = exam.path().join("out/dicom/report-01.dcm");
    let read = python(&["header", report.to_str().unwrap()], "");
    assert_eq!(read["0040A073"]["Value"][0]["0040A027"]["Value"][0], "Equine practice of the tests");
}

#[test]
fn a_name_that_is_still_a_question_is_one_at_the_desk_too() {
    let exam = folder_of(&["--same-horse", "H-22", "--by", "Ada"], |_, still| {
        still.put(DataElement::new(tags::PATIENT_NAME, VR::PN, PrimitiveValue::from("Owner^Another")));
    });
    let served = Served::start(exam.path(), 0);
    let (status, told) = served.post("/api/export", &json!({"form": "dicom"}));
    let message = told["message"].as_str().unwrap();
    assert!(status == 422 && message.contains("Another") && message.contains("Juniper"), "{told}");
    assert!(files(&exam.path().join("out/dicom")).is_empty());
    let (status, told) = served.post("/api/export", &json!({"form": "dicom", "identity": "exam"}));
    assert_eq!(status, 200, "{told}");
}
