//! Claims about what is measured on the desk: areas, distances, scales set by hand, the last exam, the report.
use crate::support::desk;
use crate::support::pdf;
use crate::support::still;

use std::collections::BTreeSet;

use serde_json::{Value, json};
use zonecall::exam::journal;

use desk::Served;
use pdf::Pdf;
use still::folder;

#[test]
fn a_still_without_a_scale_is_not_measured_and_the_reason_is_told() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let (status, told) = desk.post(
        "/api/trace",
        &json!({"by": "Robin", "still": "2.25.7", "limb": "LF", "zone": "2B",
        "structure": "SDFT", "lesion": false, "write": true,
        "outline": {"shape": "polygon", "points_px": [[10, 10], [60, 10], [60, 60]]}}),
    );
    assert_eq!(status, 422);
    assert!(!told["message"].as_str().unwrap().is_empty(), "{told}");
    assert!(desk.exam()["record"]["entries"].is_null(), "nothing was written");
}

#[test]
fn a_trace_is_written_at_the_still_s_own_label_and_only_after_it_was_seen() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let drawn = |more: Value| {
        let mut body = json!({"by": "Robin", "still": "2.25.7", "limb": "RF", "zone": "1A", "structure": "SDFT",
            "lesion": false, "write": true});
        body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        desk.post("/api/trace", &body)
    };
    let (status, told) = drawn(json!({"click": [30, 30]}));
    assert_eq!((status, told["message"].as_str()), (422, Some("a suggested outline is not saved unseen")));
    let (status, _) =
        drawn(json!({"outline": {"shape": "polygon", "points_px": [[10, 10], [60, 10], [60, 60]]}}));
    assert_eq!(status, 422, "the still is not of that limb");
    assert!(desk.exam()["record"]["entries"].is_null(), "nothing was written");
}

/// 60 by 80 pixels are 100, so 20 mm on them are 0.2 mm a pixel; half of 50 by 50 pixels are then 50 mm2.
#[test]
fn a_scale_set_by_hand_is_used_where_the_still_states_none_and_is_marked() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let scale =
        json!({"change": "scale", "still": "2.25.7", "ends_px": [[10, 10], [70, 90]], "distance_mm": 20});
    let seen = || desk.exam()["version"].as_u64().unwrap();
    assert_eq!(desk.change("Robin", seen(), &scale).0, 200);
    let label =
        json!({"change": "label", "still": "2.25.7", "place": {"limb": "LF", "zone": "2B", "plane": "T"}});
    assert_eq!(desk.change("Robin", seen(), &label).0, 200);
    let ends = json!({"still": "2.25.7", "ends_px": [[0, 0], [100, 0]]});
    let (status, told) = desk.post("/api/distance", &ends);
    assert_eq!((status, &told["scale_by_hand"]), (200, &true.into()), "{told}");
    assert!((told["distance_mm"].as_f64().unwrap() - 20.0).abs() < 1e-9, "{told}");
    let (status, told) = desk.post(
        "/api/trace",
        &json!({"by": "Robin", "still": "2.25.7", "limb": "LF", "zone": "2B", "structure": "SDFT", "lesion": false,
        "write": true, "outline": {"shape": "polygon", "points_px": [[10, 10], [60, 10], [60, 60]]}}),
    );
    assert_eq!((status, &told["scale_by_hand"]), (200, &true.into()), "{told}");
    assert!((told["area_mm2"].as_f64().unwrap() - 50.0).abs() < 1e-9, "{told}");
    assert_eq!(desk.exam()["record"]["entries"][0]["scale_by_hand"], true);
}

/// Half of 50 by 50 pixels of 0.2 mm: 10 mm wide and deep, and 10 + 10 + 14.14 mm around.
#[test]
fn an_outline_of_a_structure_is_written_with_its_lengths_if_they_are_wanted_and_a_lesion_is_not() {
    let folder = folder();
    let desk = scaled(folder.path());
    let drawn = |lesion: bool, lengths: bool| {
        let body = json!({"by": "Robin", "still": "2.25.7", "limb": "LF", "zone": "2B", "structure": "SDFT", "lesion": lesion,
            "lengths": lengths, "write": true, "outline": {"shape": "polygon", "points_px": [[10, 10], [60, 10], [60, 60]]}});
        let (status, told) = desk.post("/api/trace", &body);
        assert_eq!(status, 200, "{told}");
        told["length_seqs"].as_array().unwrap().len()
    };
    assert_eq!((drawn(true, true), drawn(false, false), drawn(false, true)), (0, 0, 3));
    let exam = desk.exam();
    let written: Vec<(String, f64, bool)> = exam["record"]["entries"].as_array().unwrap()[2..]
        .iter()
        .map(|entry| {
            let number = entry["number"].as_f64().unwrap();
            (entry["term"].as_str().unwrap().to_owned(), number, entry["scale_by_hand"] == true)
        })
        .collect();
    let wanted = [("area", 50.0), ("width", 10.0), ("depth", 10.0), ("circumference", 34.14)];
    assert_eq!(written, wanted.map(|(term, number)| (term.to_owned(), number, true)));
    // Each line holds the outline that it was read from.
    let journal = std::fs::read_to_string(folder.path().join("exam.jsonl")).unwrap();
    assert_eq!(journal.lines().filter(|line| line.contains("\"outline\"")).count(), 6);
    let rows = exam["record"]["measures"].as_array().unwrap();
    let width = rows.iter().find(|row| row["name"] == "distance" && row["of"] == "width").unwrap();
    assert_eq!((&width["value"], &width["by"]), (&1.0.into(), &json!(["Robin"])));
}

/// A report is made while somebody else asks what is being done, over and over.
#[test]
fn what_is_being_done_is_told_while_it_is_done_and_a_report_that_was_made_is_fetched_as_it_was() {
    let folder = folder();
    let desk = scaled(folder.path());
    let pdf = "/api/report?reader=vet&form=pdf&paper=a4";
    let (made, words) = steps_of_report(&desk, || desk.post(pdf, &json!({})));
    assert_eq!(made, (200, json!({"made": true})));
    assert!(words.contains("laying out the pages"), "{words:?}");
    assert_eq!(desk.get("/api/running-tasks").1, b"[]");
    let ((status, first), words) = steps_of_report(&desk, || desk.get(pdf));
    assert!(status == 200 && first.starts_with(b"%PDF-"));
    assert!(words.is_empty(), "what was made is handed out, nothing is made again: {words:?}");
    // It is handed out once: asked for again, it is made again.
    let (_, words) = steps_of_report(&desk, || desk.get(pdf));
    assert!(words.contains("laying out the pages"), "{words:?}");
    // And only as the exam stands: after a change it is made anew.
    assert_eq!(desk.post("/api/report?reader=vet&form=html&appendix=true", &json!({})).0, 200);
    assert_eq!(distance(&desk, 60.0, json!({})).0, 200);
    let page = String::from_utf8(desk.get("/api/report?reader=vet&form=html&appendix=true").1).unwrap();
    assert!(page.contains("traced, scale set by hand"), "the distance is in it");
}

/// What was asked for gives, and the steps of a report that were reported meanwhile.
fn steps_of_report<T: Send>(desk: &Served, asked: impl FnOnce() -> T + Send) -> (T, BTreeSet<String>) {
    std::thread::scope(|scope| {
        let asked = scope.spawn(asked);
        let mut words = BTreeSet::new();
        while !asked.is_finished() {
            let steps: Value = serde_json::from_slice(&desk.get("/api/running-tasks").1).unwrap();
            let of_report = steps.as_array().unwrap().iter().filter(|step| step["kind"] == "report");
            words.extend(of_report.map(|step| step["words"].as_str().unwrap().to_owned()));
        }
        (asked.join().unwrap(), words)
    })
}

/// The one still of the exam labelled, and 0.2 mm a pixel set on it: 60 by 80 pixels are 100, 20 mm of the scale.
fn scaled(folder: &std::path::Path) -> Served {
    let desk = Served::start(folder, 0);
    for change in [
        json!({"change": "scale", "still": "2.25.7", "ends_px": [[10, 10], [70, 90]], "distance_mm": 20}),
        json!({"change": "label", "still": "2.25.7", "place": {"limb": "LF", "zone": "2B", "plane": "T"}}),
    ] {
        let seen = desk.exam()["version"].as_u64().unwrap();
        assert_eq!(desk.change("Robin", seen, &change).0, 200);
    }
    desk
}

fn distance(desk: &Served, to_x: f64, more: Value) -> (u16, Value) {
    let mut what = json!({"by": "Robin", "limb": "LF", "zone": "2B", "structure": "SDFT", "term": "width"});
    what.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    desk.post("/api/distance", &json!({"still": "2.25.7", "ends_px": [[0, 0], [to_x, 0]], "write": what}))
}

#[test]
fn a_distance_is_written_as_what_it_is_of_with_who_and_counts_in_the_measures() {
    let folder = folder();
    let desk = scaled(folder.path());
    let (status, told) = distance(&desk, 60.0, json!({}));
    assert_eq!((status, told["seq"].is_u64()), (200, true), "{told}");
    let exam = desk.exam();
    let entry = &exam["record"]["entries"][0];
    assert_eq!(
        (&entry["term"], &entry["number"], &entry["unit"]),
        (&"width".into(), &12.0.into(), &"mm".into())
    );
    assert_eq!(
        (&entry["by"], &entry["traced"], &entry["scale_by_hand"]),
        (&"Robin".into(), &true.into(), &true.into())
    );
    assert_eq!(
        (&entry["structure"], &entry["zone"], &entry["still"]),
        (&"SDFT".into(), &"2B".into(), &"2.25.7".into())
    );
    let rows = exam["record"]["measures"].as_array().unwrap();
    let row = rows.iter().find(|row| row["name"] == "distance").unwrap_or_else(|| panic!("{rows:#?}"));
    assert_eq!((&row["of"], &row["value"], &row["by"]), (&"width".into(), &1.2.into(), &json!(["Robin"])));
    assert!(row["cautions"][0].as_str().unwrap().starts_with("scale set by hand"), "{row}");
    let line =
        std::fs::read_to_string(folder.path().join("exam.jsonl")).unwrap().lines().last().unwrap().to_owned();
    assert!(line.contains("\"ends_px\":[[0.0,0.0],[60.0,0.0]]"), "{line}");
    assert!(journal::read(folder.path()).unwrap().damage.is_empty());
    // A later one counts; taken back, the earlier one counts again.
    let (_, later) = distance(&desk, 70.0, json!({}));
    let of = |exam: Value| {
        let rows = exam["record"]["measures"].as_array().unwrap().clone();
        rows.into_iter().find(|row| row["name"] == "distance").unwrap()["value"].as_f64().unwrap()
    };
    assert!((of(desk.exam()) - 1.4).abs() < 1e-9);
    let back = json!({"change": "take_back", "seq": later["seq"]});
    assert_eq!(desk.change("Kim", desk.exam()["version"].as_u64().unwrap(), &back).0, 200);
    assert!((of(desk.exam()) - 1.2).abs() < 1e-9);
}

#[test]
fn a_distance_that_says_nothing_of_itself_or_cannot_be_is_refused_and_not_written() {
    let folder = folder();
    let desk = scaled(folder.path());
    let before = std::fs::read(folder.path().join("exam.jsonl")).unwrap();
    for (more, reason) in [
        (json!({"term": "area"}), "nothing was chosen to measure"),
        (json!({"term": "girth"}), "nothing was chosen to measure"),
        (json!({"structure": ""}), "no structure"),
        (json!({"limb": "RF"}), "label has changed"),
        (json!({"by": " "}), "no name is entered"),
        (json!({"by": "\u{202e}niboR"}), "invisible characters"),
    ] {
        let (status, told) = distance(&desk, 60.0, more.clone());
        assert!(
            status == 422 && told["message"].as_str().unwrap().contains(reason),
            "{more}: {status} {told}"
        );
    }
    // 180 mm across is more than any bound: probably a slip, so a person confirms it.
    let (status, told) = distance(&desk, 900.0, json!({}));
    assert!(status == 409 && told["confirm"] == true, "{status} {told}");
    assert!(told["message"].as_str().unwrap().contains("is outside"), "{told}");
    assert_eq!(std::fs::read(folder.path().join("exam.jsonl")).unwrap(), before, "nothing was written");
}

#[test]
fn the_report_is_made_for_either_reader_in_either_form_and_says_what_was_done_by_hand() {
    let folder = folder();
    let desk = scaled(folder.path());
    assert_eq!(distance(&desk, 60.0, json!({})).0, 200);
    let add = json!({"change": "add", "sample": 160_000, "act": {"kind": "value", "term": "area", "amount": {"number": 95, "unit": "mm2"}}});
    assert_eq!(desk.change("Kim", desk.exam()["version"].as_u64().unwrap(), &add).0, 200);
    assert_eq!(
        desk.request("GET /api/report?reader=vet&form=html", &[desk.host()], "").0,
        401,
        "a stranger gets none"
    );
    let get = |query: &str| {
        let (status, head, body) =
            desk.request(&format!("GET /api/report?{query}"), &[desk.host(), desk.cookie()], "");
        assert_eq!(status, 200, "{query}: {head}");
        (head, body)
    };
    let (head, body) = get("reader=vet&form=html&appendix=true");
    let policy = head.lines().find_map(|line| line.strip_prefix("content-security-policy: ")).unwrap();
    assert!(
        policy.contains("default-src 'none'") && !policy.contains("unsafe") && !policy.contains("script"),
        "{policy}"
    );
    let page = String::from_utf8(body).unwrap();
    for words in
        ["not heard; added by hand by Kim", "traced, scale set by hand", "2B: scale set by hand", "DRAFT"]
    {
        assert!(page.contains(words), "{words}");
    }
    let (head, vet) = get("reader=vet&form=pdf&paper=a4&appendix=true");
    assert!(head.contains("content-type: application/pdf"), "{head}");
    let vet = Pdf::new(&vet);
    assert!(vet.property("Page size").contains("A4"), "{}", vet.property("Page size"));
    let text = vet.dense();
    for words in ["notheard;addedbyhandbyKim", "traced,scalesetbyhand", "2B:scalesetbyhand"] {
        assert!(text.contains(words), "{words} in {text}");
    }
    let owner = Pdf::new(&get("reader=owner&form=pdf&paper=letter").1);
    assert!(owner.property("Page size").contains("letter"), "{}", owner.property("Page size"));
    let page = String::from_utf8(get("reader=owner&form=html").1).unwrap();
    assert!(page.contains("for the owner"));
    assert_eq!(desk.get("/api/report?reader=king&form=pdf").0, 400);
    assert_eq!(desk.get("/api/report?reader=vet").0, 400);
    assert!(!folder.path().join("out").exists(), "nothing is written into the folder");
}
