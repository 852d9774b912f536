//! Storage commitment in both directions, with Orthanc on the other side.

use std::time::Instant;

use serde_json::{Value, json};

use zonecall::exchange::network::InboxOutcome;

use super::orthanc::Orthanc;
use super::peers::{Archive, PATIENCE, Receiving, stills};
use super::stage::{folder, said_of, uid};
use crate::support::program::{free_port, zonecall};

#[test]
fn the_archive_confirms_what_was_sent_and_the_journal_says_so() {
    let port = free_port();
    let own = json!({"exam": {"AET": "ZONECALL", "Host": "127.0.0.1", "Port": port}});
    let orthanc = Orthanc::start(&json!({"DicomModalities": own}));
    let exam = folder();
    let frames = exam.path().join("frames");
    let commit = format!("--commit={port}");
    let to = orthanc.to();
    let args = [
        "send",
        "--to",
        &to,
        "--called",
        "ARCHIVE",
        &commit,
        "--exam",
        exam.path().to_str().unwrap(),
        frames.to_str().unwrap(),
    ];
    let done = zonecall(&args);
    assert_eq!(done.status.code(), Some(0), "{}\n{}", said_of(&done), orthanc.log());
    assert!(said_of(&done).contains("3 of 3 confirmed by ARCHIVE"), "{}", said_of(&done));
    let journal = std::fs::read_to_string(exam.path().join("exam.jsonl")).unwrap();
    let last: Value = serde_json::from_str(journal.lines().last().unwrap()).unwrap();
    let wanted = json!([uid(1), uid(2), uid(3)]);
    assert_eq!((&last["kind"], &last["body"]["committed"]), (&json!("sent"), &wanted));
}

#[test]
fn an_archive_without_the_service_is_said_to_have_none() {
    let archive = Archive::start(&[]);
    let exam = folder();
    let frames = exam.path().join("frames");
    let to = archive.to();
    let done = zonecall(&["send", "--to", &to, "--called", "ARCHIVE", "--commit", frames.to_str().unwrap()]);
    assert_eq!(done.status.code(), Some(0), "{}", said_of(&done));
    assert!(said_of(&done).contains("does not confirm what it keeps"), "{}", said_of(&done));
}

#[test]
fn a_sender_that_asks_is_told_what_the_receiver_keeps_and_what_not() {
    let archive_port = free_port();
    let port = free_port();
    let into = tempfile::tempdir().unwrap();
    let back = format!("ARCHIVE=127.0.0.1:{archive_port}");
    let receiving = Receiving::start(into.path(), &["--port", &port.to_string(), "--report-to", &back]);
    let own = json!({"exam": {"AET": "ZONECALL", "Host": "127.0.0.1", "Port": port}});
    let orthanc = Orthanc::start(&json!({"DicomModalities": own, "DicomPort": archive_port}));
    let exam = folder();
    let stills = stills(exam.path());
    let (code, said) = receiving.storescu(&[&stills[0]]);
    assert_eq!(code, Some(0), "{said}");
    let class = "1.2.840.10008.5.1.4.1.1.6.1";
    let asked = json!({"DicomInstances": [
        {"SOPClassUID": class, "SOPInstanceUID": uid(1)},
        {"SOPClassUID": class, "SOPInstanceUID": uid(2)},
    ]});
    let begun = orthanc.post("/modalities/exam/storage-commitment", &asked);
    let path = begun["Path"].as_str().unwrap().to_owned();
    let until = Instant::now() + PATIENCE;
    let report = loop {
        let report = orthanc.get(&path);
        if report["Status"] != "Pending" {
            break report;
        }
        assert!(Instant::now() < until, "{report}\n{:?}\n{}", receiving.log(), orthanc.log());
        std::thread::sleep(std::time::Duration::from_millis(50));
    };
    assert_eq!(report["Status"], "Failure", "{report}");
    assert_eq!(report["Success"], json!([{"SOPClassUID": class, "SOPInstanceUID": uid(1)}]));
    assert_eq!(report["Failures"][0]["SOPInstanceUID"], uid(2), "{report}");
    let log = receiving.await_log(|log| log.len() == 2);
    assert_eq!(log[1].outcome, InboxOutcome::Asked, "{log:?}");
    assert!(log[1].why.contains("2 objects") && log[1].why.contains(&uid(2)), "{log:?}");
    // A file that is not as it came any more is not promised, whatever its head says.
    let kept = into.path().join(format!("{}.dcm", uid(1)));
    let mut bytes = std::fs::read(&kept).unwrap();
    *bytes.last_mut().unwrap() ^= 1;
    std::fs::write(&kept, bytes).unwrap();
    let asked = json!({"DicomInstances": [{"SOPClassUID": class, "SOPInstanceUID": uid(1)}]});
    orthanc.post("/modalities/exam/storage-commitment", &asked);
    let log = receiving.await_log(|log| log.len() == 3);
    assert!(log[2].why.contains("1 are not"), "{log:?}");
}
