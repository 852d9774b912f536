//! Claims about what the desk writes by one act: all of it or nothing, judged as a whole; what is unlikely is asked about.
use crate::support;
use crate::support::desk::Served;
use crate::support::still::{folder, frame};

use serde_json::{Value, json};
use zonecall::clock::Sample;
use zonecall::exam::event::Event;
use zonecall::exam::journal::Journal;

fn seq_of(exam: &Value, kind: &str) -> u64 {
    let calls = exam["record"]["calls"].as_array().unwrap();
    calls.iter().find(|call| call["kind"] == kind).unwrap()["seq"].as_u64().unwrap()
}

/// Asks for a change of the exam as it is now, with more that goes with it.
fn ask(desk: &Served, change: &Value, more: Value) -> (u16, Value) {
    let mut asked = json!({"by": "Robin", "seen": desk.exam()["version"], "change": change});
    asked.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    desk.post("/api/change", &asked)
}

fn lines(folder: &tempfile::TempDir) -> Vec<Value> {
    let text = std::fs::read_to_string(folder.path().join("exam.jsonl")).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

/// A structure of hind limbs only.
fn of_hind(exam: &Value) -> Value {
    let structures = exam["codes"]["structures"].as_array().unwrap();
    structures.iter().find(|one| one["groups"] == json!(["hind"])).unwrap()["code"].clone()
}

fn area(number: f64) -> Value {
    json!({"kind": "value", "term": "area", "amount": {"number": number, "unit": "mm2"}})
}

#[test]
fn a_call_that_is_added_with_a_place_that_its_limb_lacks_is_refused_whole() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let before = lines(&folder).len();
    let add = json!({"change": "add", "sample": 9 * 16_000, "act": area(90.0)});
    let (status, told) = ask(&desk, &add, json!({"place": {"structure": of_hind(&desk.exam())}}));
    assert_eq!(status, 422, "{told}");
    assert!(told["message"].as_str().unwrap().contains("left fore has no"), "{told}");
    let view = json!({"change": "add", "sample": 9 * 16_000, "act": {"kind": "view", "limb": "LF"}});
    assert_eq!(ask(&desk, &view, json!({"place": {"limb": "RF"}})).0, 422, "a new place has no other place");
    assert_eq!(lines(&folder).len(), before, "nothing is written");
    assert_eq!(ask(&desk, &add, json!({"place": {"limb": "RF"}})).0, 200);
    let calls = desk.exam()["record"]["calls"].clone();
    let added = calls.as_array().unwrap().iter().find(|call| call["added"] == true).unwrap();
    assert_eq!((&added["limb"], &added["number"]), (&json!("RF"), &json!(90.0)));
}

#[test]
fn a_value_and_its_place_are_corrected_together_or_not_at_all_and_undone_together() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let before = lines(&folder).len();
    let seq = seq_of(&desk.exam(), "value");
    let call = json!({"change": "call", "seq": seq, "act": area(80.0)});
    let place = |place: Value| json!({"more": [{"change": "place", "seq": seq, "place": place}]});
    assert_eq!(ask(&desk, &call, place(json!({"structure": of_hind(&desk.exam())}))).0, 422);
    assert_eq!(lines(&folder).len(), before, "nothing is written");
    let (status, told) = ask(&desk, &call, place(json!({"limb": "RF"})));
    assert_eq!(status, 200, "{told}");
    let exam = desk.exam();
    let (history, value) = (exam["history"].as_array().unwrap(), seq_of(&exam, "value"));
    let acts: Vec<&Value> = history.iter().map(|deed| &deed["act"]).collect();
    assert_eq!(acts, [&told["seq"], &told["seq"]], "one act: {history:?}");
    let row = |exam: &Value| {
        let calls = exam["record"]["calls"].as_array().unwrap();
        let call = calls.iter().find(|call| call["seq"] == value).unwrap();
        (call["number"].clone(), call["limb"].clone())
    };
    assert_eq!(row(&exam), (json!(80.0), json!("RF")));
    let back = |deed: &Value| json!({"change": "take_back", "seq": deed["seq"]});
    assert_eq!(ask(&desk, &back(&history[0]), json!({"more": [back(&history[1])]})).0, 200);
    assert_eq!(row(&desk.exam()), (json!(90.0), json!("LF")));
    // What somebody did before and after that is another act.
    assert_eq!(ask(&desk, &json!({"change": "clock", "offset_s": 3.0}), json!({})).0, 200);
    let exam = desk.exam();
    let last = exam["history"].as_array().unwrap().last().unwrap().clone();
    assert_eq!(last["act"], last["seq"]);
}

#[test]
fn an_unusual_number_and_an_unknown_finding_are_written_once_they_are_confirmed() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let finding = |term: &str| {
        let act = json!({"kind": "finding", "class": "lesion", "term": term});
        json!({"change": "add", "sample": 9 * 16_000, "act": act})
    };
    let unusual = json!({"change": "call", "seq": seq_of(&desk.exam(), "value"), "act": area(99_999.0)});
    for (change, reason) in
        [(unusual, "is outside 20 to 1000 mm2"), (finding("qwertz 12"), "not a known finding")]
    {
        let before = lines(&folder).len();
        let (status, told) = ask(&desk, &change, json!({}));
        assert!(status == 409 && told["confirm"] == true, "{told}");
        let words = format!("{}: {}", told["message"].as_str().unwrap(), told["help"].as_str().unwrap());
        assert!(words.contains(reason) && !words.contains("zonecall"), "{words}");
        assert_eq!(lines(&folder).len(), before);
        assert_eq!(ask(&desk, &change, json!({"confirmed": true})).0, 200);
    }
    assert_eq!(ask(&desk, &finding("core lesion"), json!({})).0, 200, "a known one needs no more");
    let known = desk.exam()["codes"]["findings"].clone();
    assert!(known.as_array().unwrap().contains(&json!("core lesion")), "{known}");
}

#[test]
fn a_label_that_the_still_has_already_is_not_written_again() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let label = |plane: &str| json!({"change": "label", "still": "2.25.7", "place": {"limb": "LF", "zone": "2B", "plane": plane}});
    assert_eq!(ask(&desk, &label("T"), json!({})).0, 200);
    let (status, told) = ask(&desk, &label("T"), json!({}));
    assert_eq!(status, 422, "{told}");
    assert!(told["message"].as_str().unwrap().contains("has this label already"), "{told}");
    assert_eq!(desk.exam()["history"].as_array().unwrap().len(), 1);
    assert_eq!(ask(&desk, &label("L"), json!({})).0, 200);
}

#[test]
fn what_may_be_a_wrong_label_is_asked_before_missing_stills_and_those_are_accepted_by_one_look() {
    let folder = tempfile::tempdir().unwrap();
    let said = [
        (2.0, "left fore zone three bravo transverse"),
        (5.0, "area ninety square millimetres"),
        (8.0, "save"),
        (12.0, "zone three alpha transverse"),
        (16.0, "area ninety square millimetres"),
        (20.0, "colourless green ideas"),
        (24.0, "save"),
        (30.0, "end of exam"),
    ];
    support::write_journal(folder.path(), &said);
    let at = support::header().started_at;
    let still = Event::Frame(Box::new(frame("2.25.7")));
    Journal::open(folder.path()).unwrap().append(at, Sample::FIRST, &still).unwrap();
    let desk = Served::start(folder.path(), 0);
    let exam = desk.exam();
    let asked = exam["questions"].as_array().unwrap();
    let at =
        |rule: &str| asked.iter().position(|one| one["rule"] == rule).unwrap_or_else(|| panic!("{asked:#?}"));
    assert!(at("save-after-unheard") < at("structure-without-still"), "{asked:#?}");
    assert_eq!(asked[at("save-after-unheard")]["one_look"], false, "each is listened to");
    assert_eq!(asked[at("structure-without-still")]["one_look"], true);
}
