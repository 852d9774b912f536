//! Claims about the inbox: the exams of a folder, each under an address of its own, with what is open and signed.
use crate::support;
use crate::support::desk::Served;
use crate::support::program::zonecall;

use serde_json::{Value, json};

/// A folder with two exams, and something that is none.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for name in ["juniper <1>", "bramble"] {
        support::write_journal(
            &folder.path().join(name),
            &[(2.0, "left fore zone two bravo transverse"), (6.0, "save")],
        );
    }
    std::fs::create_dir(folder.path().join("no exam")).unwrap();
    folder
}

fn rows(desk: &Served, search: &str) -> Vec<Value> {
    let (status, body) = desk.get(&format!("/api/inbox?search={search}"));
    assert_eq!(status, 200);
    serde_json::from_slice::<Value>(&body).unwrap().as_array().unwrap().clone()
}

#[test]
fn every_exam_of_the_folder_is_listed_and_a_change_goes_into_the_exam_that_its_address_names() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let listed = rows(&desk, "");
    let names: Vec<&str> = listed.iter().map(|row| row["name"].as_str().unwrap()).collect();
    assert_eq!(names, ["bramble", "juniper <1>"]);
    assert!(listed.iter().all(|row| row["signed"] == false && row["open"].as_u64() > Some(0)), "{listed:?}");
    assert_eq!(rows(&desk, "bram").len(), 1);
    assert!(rows(&desk, "nobody").is_empty());
    let exam = |name: &str| -> Value {
        let (status, body) = desk.get(&format!("/e/{name}/api/exam"));
        assert_eq!(status, 200, "{}", String::from_utf8_lossy(&body));
        serde_json::from_slice(&body).unwrap()
    };
    let before = exam("juniper%20%3C1%3E");
    let change = json!({"by": "Kim", "seen": exam("bramble")["version"], "change": {"change": "clock", "offset_s": 3.0}});
    assert_eq!(desk.post("/e/bramble/api/change", &change).0, 200);
    assert_eq!(exam("bramble")["history"].as_array().unwrap().len(), 1);
    assert_eq!(exam("juniper%20%3C1%3E"), before, "the other exam is not touched");
    // The desk of the folder itself has no exam to change.
    assert_eq!(desk.post("/api/change", &change).0, 404);
}

#[test]
fn an_address_names_no_file_outside_the_folder() {
    let folder = folder();
    let inside = folder.path().join("bramble");
    let desk = Served::start(&inside.join(".."), 0);
    for name in ["..", "%2e%2e", "..%2Fbramble", "no%20exam", "bramble%2F..%2Fbramble", "%2Fetc"] {
        let (status, body) = desk.get(&format!("/e/{name}/api/exam"));
        assert_eq!(status, 404, "{name}: {}", String::from_utf8_lossy(&body));
    }
    assert_eq!(desk.get("/e/bramble/").0, 200);
}

#[test]
fn an_exam_that_cannot_be_read_is_listed_with_the_reason_and_hides_no_other() {
    let folder = folder();
    std::fs::create_dir(folder.path().join("broken")).unwrap();
    std::fs::write(folder.path().join("broken/exam.jsonl"), "{}\n").unwrap();
    let desk = Served::start(folder.path(), 0);
    let listed = rows(&desk, "");
    assert_eq!(listed.len(), 3);
    let broken = listed.iter().find(|row| row["name"] == "broken").unwrap();
    assert!(!broken["problem"].as_str().unwrap().is_empty(), "{broken}");
}

#[test]
fn one_exam_has_no_inbox_and_an_earlier_exam_goes_with_one_exam() {
    let folder = folder();
    let exam = folder.path().join("bramble");
    let desk = Served::start(&exam, 0);
    assert_eq!(desk.get("/api/inbox").0, 404);
    assert_eq!(desk.get("/e/bramble/api/exam").0, 404);
    let folder = folder.path().to_string_lossy().into_owned();
    let refused = zonecall(&["review", &folder, "--earlier", &exam.to_string_lossy(), "--no-open"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("name the exam folder"));
}
