//! Claims about the inbox: the exams of a folder, each under an address of its own, with what is open and signed.
use crate::support;
use crate::support::desk::Served;
use crate::support::pdf::{Pdf, dense};
use crate::support::program::zonecall;
use crate::support::{area, write_heard_by};

use chrono::TimeDelta;
use serde_json::{Value, json};
use zonecall::clock::Sample;
use zonecall::exam::event::{Event, Header, Horse};
use zonecall::exam::journal::Journal;

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

#[test]
fn an_exam_of_the_inbox_stands_beside_the_last_one_of_the_same_horse_before_it() {
    let folder = months(&[
        ("march", "Juniper", 0, 150.0),
        ("april", "Juniper", 1, 140.0),
        ("other", "Bramble", 1, 77.0),
        ("may", "Juniper", 2, 120.0),
    ]);
    let desk = Served::start(folder.path(), 0);
    let exam = |name: &str| -> Value {
        let (status, body) = desk.get(&format!("/e/{name}/api/exam"));
        assert_eq!(status, 200, "{}", String::from_utf8_lossy(&body));
        serde_json::from_slice(&body).unwrap()
    };
    let started = |name: &str| exam(name)["record"]["exam"]["started_at"].clone();
    let may = exam("may");
    assert_eq!(may["earlier"]["started_at"], started("april"));
    assert!(may["earlier"]["changes"].to_string().contains("-14.28"), "{}", may["earlier"]["changes"]);
    assert_eq!(exam("april")["earlier"]["started_at"], started("march"));
    assert!(exam("march")["earlier"].is_null() && exam("other")["earlier"].is_null());
    let (status, page) = desk.get("/e/may/api/report?reader=vet&form=html");
    let page = String::from_utf8(page).unwrap();
    assert!(status == 200 && page.contains("-14.3"), "held against April: {page}");
    // One of another horse since: it is that horse's no more.
    let folder = folder.path().join("april").to_string_lossy().into_owned();
    assert!(
        zonecall(&["name", &folder, "--horse", "Bramble", "--horse-id", "B-2", "--by", "Ada"])
            .status
            .success()
    );
    assert_eq!(exam("may")["earlier"]["started_at"], started("march"));
}

/// Exams of a month each, of these horses, each with one area that was typed; a number may follow the horse's name.
fn months(exams: &[(&str, &str, i64, f64)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, horse, month, mm2) in exams {
        let path = folder.path().join(name);
        let header = support::header();
        let started_at = header.started_at + TimeDelta::days(30 * month);
        let (called, id) =
            horse.split_once(" no. ").map_or((*horse, None), |(called, id)| (called, Some(id)));
        let id = id.map(str::to_owned).or(header.horse.id.clone());
        let horse = Horse { name: Some(called.to_owned()), id, ..header.horse.clone() };
        std::fs::create_dir(&path).unwrap();
        drop(write_heard_by(&path, Header { started_at, horse, id: (*name).to_owned(), ..header }, []));
        let mut journal = Journal::open(&path).unwrap();
        let area = Event::Entered(Box::new(area("SDFT", *mm2, "mm2")));
        journal.append(started_at, Sample::FIRST, &area).unwrap();
    }
    folder
}

#[test]
fn the_course_goes_over_the_exams_of_the_same_horse_that_lie_in_the_folder() {
    let folder = months(&[
        ("a", "Juniper", 0, 150.0),
        ("b", "Juniper", 1, 120.0),
        ("b-copied", "Juniper", 1, 120.0),
        ("other", "Bramble", 1, 77.0),
        ("c", "Juniper", 2, 90.0),
        ("later", "Juniper", 3, 66.0),
    ]);
    let desk = Served::start(folder.path(), 0);
    let (status, page) = desk.get("/e/c/api/report?reader=course&form=html");
    let page = String::from_utf8(page).unwrap();
    assert_eq!(status, 200, "{page}");
    assert!(page.contains("Course over 3 exams") && page.contains("-30.0 (-30.0 to -30.0)"), "{page}");
    assert!(!page.contains("77") && !page.contains("<td>66"), "{page}");
    // Made while the page waits, then fetched.
    let address = "/e/c/api/report?reader=course&form=pdf&paper=letter";
    assert_eq!(desk.post(address, &json!({})).0, 200);
    let read = Pdf::new(&desk.get(address).1);
    assert!(read.property("Page size").contains("letter"));
    assert!(read.dense().contains(&dense("-30.0 (-30.0 to -30.0)")));
    // The first exam of a horse has no course, and says what to do.
    for alone in ["a", "other"] {
        let (status, told) = desk.get(&format!("/e/{alone}/api/report?reader=course&form=pdf"));
        let told = String::from_utf8(told).unwrap();
        assert_eq!(status, 404, "{told}");
        assert!(told.contains("no earlier exam of this horse") && told.contains("--earlier"), "{told}");
    }
}

/// Two horses of one name are told apart by their number, and one horse is known by it under another name.
#[test]
fn the_inbox_offers_a_course_only_over_exams_of_the_same_horse() {
    let folder = months(&[
        ("a", "Juniper no. 1", 0, 150.0),
        ("b", "Juniper no. 2", 1, 120.0),
        ("c", "Juniper (Hill Farm) no. 1", 2, 90.0),
    ]);
    let desk = Served::start(folder.path(), 0);
    let offered: Vec<(String, bool)> = rows(&desk, "")
        .iter()
        .map(|row| (row["name"].as_str().unwrap().to_owned(), row["has_course"].as_bool().unwrap()))
        .collect();
    let of = |name: &str| offered.iter().find(|(one, _)| one == name).unwrap().1;
    assert_eq!((of("a"), of("b"), of("c")), (false, false, true));
    for (name, offered) in offered {
        let (status, _) = desk.get(&format!("/e/{name}/api/report?reader=course&form=html"));
        assert_eq!(status == 200, offered, "what is offered can be had: {name}");
    }
    assert_eq!(
        rows(&desk, "hill")[0]["has_course"],
        true,
        "also where the search leaves the earlier exam out"
    );
}

#[test]
fn the_desk_of_one_exam_makes_the_course_over_the_exam_that_was_named() {
    let folder = months(&[("a", "Juniper", 0, 150.0), ("c", "Juniper", 2, 90.0)]);
    let earlier = folder.path().join("a");
    let desk = Served::start_with(&folder.path().join("c"), 0, &["--earlier", &earlier.to_string_lossy()]);
    let (status, page) = desk.get("/api/report?reader=course&form=html");
    let page = String::from_utf8(page).unwrap();
    assert_eq!(status, 200, "{page}");
    assert!(page.contains("Course over 2 exams") && page.contains("needs 3 exams"), "{page}");
}
