//! An exam goes to an archive that is not ours, comes back from it, and is the same exam.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::{Value, json};

use super::orthanc::Orthanc;
use super::peers::{Receiving, names, stills};
use super::stage::{SERIES, STUDY, enter, export, faults, files, folder, judge, said_of, uid, unpaired};
use crate::support::program::{free_port, zonecall};

/// Sends stills and what was made of them; gives how many objects that were.
fn send(orthanc: &Orthanc, exam: &Path) -> usize {
    enter(exam);
    export(exam, "dicom", &[], 0);
    let (frames, made) = (exam.join("frames"), exam.join("out/dicom"));
    let to = orthanc.to();
    let args = ["send", "--to", &to, "--called", "ARCHIVE", frames.to_str().unwrap(), made.to_str().unwrap()];
    for _ in 0..2 {
        let done = zonecall(&args);
        assert_eq!(done.status.code(), Some(0), "{}\n{}", said_of(&done), orthanc.log());
    }
    files(&frames).len() + files(&made).len()
}

/// Label and place of each still, by its name.
fn labels(exam: &Path) -> BTreeMap<String, Value> {
    let record = zonecall(&["export", exam.to_str().unwrap(), "--as", "json"]);
    let record: Value = serde_json::from_slice(&record.stdout).unwrap();
    let frames = record["frames"].as_array().unwrap().iter();
    let label = |frame: &Value| {
        json!(["limb", "zone", "plane", "structure", "status"].map(|part| frame[part].clone()))
    };
    let labels: BTreeMap<String, Value> =
        frames.map(|frame| (frame["id"].to_string(), label(frame))).collect();
    assert!(labels.values().all(|label| label[0] == "LF" && label[1].is_string()), "{labels:?}");
    labels
}

#[test]
fn what_an_archive_gives_back_is_labelled_as_before_and_every_judge_reads_it() {
    let orthanc = Orthanc::start(&json!({}));
    let exam = folder();
    let count = send(&orthanc, exam.path());
    assert_eq!(orthanc.instances().len(), count, "sent twice, kept once");
    let studies = orthanc.get("/studies");
    assert_eq!(studies.as_array().unwrap().len(), 1, "all of it is one study: {studies}");
    let back = tempfile::tempdir().unwrap();
    let (fresh, made) = (back.path().join("frames"), back.path().join("made"));
    std::fs::create_dir(&fresh).unwrap();
    std::fs::create_dir(&made).unwrap();
    for id in orthanc.instances() {
        let tags = orthanc.get(&format!("/instances/{id}/simplified-tags"));
        let into = if tags["Modality"] == "US" { &fresh } else { &made };
        let name = format!("{}.dcm", tags["SOPInstanceUID"].as_str().unwrap());
        std::fs::write(into.join(name), orthanc.bytes(&format!("/instances/{id}/file"))).unwrap();
    }
    assert_eq!(names(&fresh).len(), stills(exam.path()).len());
    let again = unpaired();
    let path = again.path().to_str().unwrap();
    let paired = zonecall(&["pair", path, "--frames", fresh.to_str().unwrap()]);
    assert_eq!(paired.status.code(), Some(0), "{}", said_of(&paired));
    assert_eq!(labels(again.path()), labels(exam.path()));
    let all: Vec<String> =
        files(&fresh).iter().chain(&files(&made)).map(|path| path.to_str().unwrap().to_owned()).collect();
    let (_, said) = judge("dcentvfy", &all.iter().map(String::as_str).collect::<Vec<_>>());
    assert!(!said.contains("Error"), "{said}");
    for file in &all {
        let name = Path::new(file).file_name().unwrap();
        let sent = files(&exam.path().join("frames")).into_iter().zip(names(&fresh));
        // Of a still no more is found than of the one that was sent; of what was made, nothing at all.
        let before = sent.into_iter().find(|(_, back)| back.as_str() == name).map(|(path, _)| faults(&path));
        assert_eq!(faults(Path::new(file)), before.unwrap_or_default(), "{file}");
        let (code, said) = judge("dcm2xml", &[file, &format!("{file}.xml")]);
        assert_eq!(code, Some(0), "{said}");
    }
}

#[test]
fn an_archive_moves_the_stills_back_to_the_receiver() {
    let receiving_port = free_port();
    let into = tempfile::tempdir().unwrap();
    let receiving =
        Receiving::start(into.path(), &["--port", &receiving_port.to_string(), "--from", "ARCHIVE"]);
    let modality = json!({"exam": ["ZONECALL", "127.0.0.1", receiving_port]});
    let orthanc = Orthanc::start(&json!({"DicomModalities": modality}));
    let exam = folder();
    send(&orthanc, exam.path());
    // The series of the stills; what was made of them is not for this receiver.
    let (study, series) = (format!("StudyInstanceUID={STUDY}"), format!("SeriesInstanceUID={SERIES}"));
    let keys = ["-k", "QueryRetrieveLevel=SERIES", "-k", &study, "-k", &series];
    let whom = ["-v", "-S", "-aec", "ARCHIVE", "-aem", "ZONECALL"];
    let port = orthanc.dicom.to_string();
    let (code, said) = judge("movescu", &[&whom[..], &keys, &["127.0.0.1", &port]].concat());
    assert_eq!(code, Some(0), "{said}\n{}", orthanc.log());
    receiving.await_log(|log| log.iter().filter(|row| row.file.is_some()).count() >= 3);
    assert_eq!(names(into.path()), [1, 2, 3].map(|number| format!("{}.dcm", uid(number))));
    // An exam that has never seen them.
    let again = unpaired();
    let path = again.path().to_str().unwrap();
    let paired = zonecall(&["pair", path, "--frames", into.path().to_str().unwrap()]);
    assert_eq!(paired.status.code(), Some(0), "{}", said_of(&paired));
    assert_eq!(labels(again.path()), labels(exam.path()));
}
