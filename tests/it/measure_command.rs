//! `zonecall measure`, `enter` and `check --explain` from outside.
use crate::support;
use crate::support::program;

use std::path::Path;
use std::process::Output;

use program::zonecall;
use serde_json::Value;
use zonecall::exam::event::Header;

fn exam(folder: &Path, area: &str) -> String {
    support::write_journal(
        folder,
        &[(2.0, "left fore two bravo transverse"), (6.0, "s d f t"), (10.0, area)],
    );
    folder.to_str().unwrap().to_owned()
}

fn area(measured: &Output) -> (f64, String) {
    let measures: Value = serde_json::from_slice(&measured.stdout).unwrap();
    let row =
        measures["measures"].as_array().unwrap().iter().find(|row| row["name"] == "area").unwrap().clone();
    (row["value"].as_f64().unwrap(), row["how"][0].as_str().unwrap().to_owned())
}

#[test]
fn a_typed_value_counts_before_the_spoken_one_and_the_journal_still_holds() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam(folder.path(), "area one point five square centimetres");
    assert_eq!(area(&zonecall(&["measure", &exam, "--as", "json"])), (150.0, "spoken".to_owned()));
    let place = [
        "enter",
        &exam,
        "--limb",
        "LF",
        "--structure",
        "SDFT",
        "--term",
        "area",
        "--number",
        "148",
        "--by",
        "Ada",
    ];
    let enter = |more: &[&str]| zonecall(&[&place, more].concat());
    assert!(enter(&["--zone", "2B", "--unit", "mm2"]).status.success());
    assert_eq!(area(&zonecall(&["measure", &exam, "--as", "json"])), (148.0, "typed".to_owned()));
    assert!(zonecall(&["journal", &exam, "--verify"]).status.success());
    for wrong in [["--zone", "4A", "--unit", "mm2"], ["--zone", "2B", "--unit", "mm"]] {
        let refused = enter(&wrong);
        assert_eq!(refused.status.code(), Some(2), "{refused:?}");
    }
    assert_eq!(enter(&["--zone", "2B"]).status.code(), Some(2), "an area without a unit");
}

#[test]
fn a_typed_value_says_what_it_replaces_and_one_of_a_limb_that_was_not_scanned_is_asked_about() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam(folder.path(), "area one point five square centimetres");
    let enter = |limb: &str, term: &str, more: &[&str]| {
        let place = ["enter", &exam, "--limb", limb, "--zone", "2B", "--structure", "SDFT", "--term", term];
        zonecall(&[&place[..], &["--number", "2", "--by", "Ada"], more].concat())
    };
    let unit = enter("LF", "echo score", &["--unit", "mm"]);
    assert!(
        String::from_utf8_lossy(&unit.stderr).contains("echo score has no unit; leave out --unit"),
        "{unit:?}"
    );
    let told = |done: &Output| String::from_utf8_lossy(&done.stdout).into_owned();
    let first = enter("LF", "echo score", &[]);
    assert!(first.status.success() && !told(&first).contains("takes the place"), "{first:?}");
    assert!(told(&enter("LF", "echo score", &[])).contains("takes the place of the value before it"));
    let other = enter("LH", "echo score", &[]);
    assert_eq!(other.status.code(), Some(2));
    let why = String::from_utf8_lossy(&other.stderr).into_owned();
    assert!(why.contains("the left hind was not scanned in this exam, only the left fore"), "{why}");
    assert!(enter("LH", "echo score", &["--contradicts"]).status.success());
}

/// The builder's exams are of 4 May 2026; that of two months before is what an impression is held against.
#[test]
fn check_holds_an_impression_against_an_earlier_exam_that_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let (now, then) = (folder.path().join("now"), folder.path().join("then"));
    let said = |area: &'static str| [(2.0, "left fore two bravo transverse"), (6.0, "s d f t"), (10.0, area)];
    let header = Header { started_at: "2026-03-04T08:00:00Z".parse().unwrap(), ..support::header() };
    let heard =
        said("area one point two square centimetres").map(|(at_s, text)| support::utterance(at_s, text));
    drop(support::write_heard_by(&then, header, heard));
    let mut larger = said("area one point eight square centimetres").to_vec();
    larger.push((16.0, "smaller than last time"));
    support::write_journal(&now, &larger);
    let (now, then) = (now.to_str().unwrap(), then.to_str().unwrap());
    let told = |more: &[&str]| {
        let done = zonecall(&[&["check", now], more].concat());
        assert!(done.status.code() == Some(1) || done.status.code() == Some(2), "{done:?}");
        String::from_utf8_lossy(&done.stdout).into_owned()
    };
    let found = told(&["--earlier", then]);
    assert!(
        found.contains("look  impression-unlike-measure: ")
            && found.contains("50 % larger than on 2026-03-04"),
        "{found}"
    );
    assert!(!told(&[]).contains("impression-unlike-measure"));
}

/// Both exams of the builder began at one instant and are of one horse: neither is earlier.
#[test]
fn only_an_earlier_exam_and_a_known_set_are_compared_with() {
    let folder = tempfile::tempdir().unwrap();
    let now = exam(&folder.path().join("now"), "area one point five square centimetres");
    let other = exam(&folder.path().join("other"), "area one point four square centimetres");
    let refused = zonecall(&["measure", &now, "--earlier", &other]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("is not an earlier exam"), "{refused:?}");
    let set = zonecall(&["measure", &now, "--reference", "any"]);
    assert!(
        String::from_utf8_lossy(&set.stderr).contains("the built-in sets are: mangalarga-marchador"),
        "{set:?}"
    );
    let named = zonecall(&[
        "measure",
        &now,
        "--reference",
        "national-hunt-thoroughbred",
        "--injured",
        "LF=2026-04-04",
    ]);
    let text = String::from_utf8_lossy(&named.stdout).into_owned();
    assert_eq!(named.status.code(), Some(1), "a passed threshold is something to look at: {text}");
    assert!(
        text.contains("outside 77 to 139 mm2") && text.contains("30 days since the injury of 2026-04-04"),
        "{text}"
    );
    assert!(text.contains("n = 142"));
}

#[test]
fn a_rule_is_explained_with_its_source() {
    let told = zonecall(&["check", "--explain", "sweep-missing"]);
    let text = String::from_utf8_lossy(&told.stdout).into_owned();
    assert!(
        told.status.success() && text.contains("sweep-missing (info)") && text.contains("source: "),
        "{text}"
    );
    assert_eq!(zonecall(&["check", "--explain", "no-such-rule"]).status.code(), Some(2));
    assert_eq!(zonecall(&["check"]).status.code(), Some(2), "without a rule a folder is wanted");
}

#[test]
fn a_typed_value_is_bounded_named_taken_back_and_exported() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam(folder.path(), "area one point five square centimetres");
    let enter = |term: &str, number: &str, more: &[&str]| {
        let place = ["enter", &exam, "--limb", "LF", "--zone", "2B", "--structure", "SDFT", "--term", term];
        zonecall(&[&place[..], &["--number", number], more].concat())
    };
    let told = |output: &Output| String::from_utf8_lossy(&output.stderr).into_owned();
    let off_scale = enter("echo score", "7", &["--by", "Ada"]);
    assert!(told(&off_scale).contains("a whole number from 0 to 4"), "{}", told(&off_scale));
    let slip = enter("area", "2", &["--unit", "mm2", "--by", "Ada"]);
    assert!(told(&slip).contains("--unusual"), "{}", told(&slip));
    let nobody = enter("area", "148", &["--unit", "mm2", "--by", " "]);
    assert_eq!(nobody.status.code(), Some(2));
    let entered = enter("area", "148", &["--unit", "mm2", "--by", "Ada"]);
    let text = String::from_utf8_lossy(&entered.stdout).into_owned();
    let line = text.split_whitespace().find_map(|word| word.parse::<u64>().ok()).unwrap().to_string();
    let table = zonecall(&["export", &exam, "--as", "csv"]);
    let table = String::from_utf8_lossy(&table.stdout).into_owned();
    assert!(
        table.lines().any(|row| row.starts_with("entered,LF,2B,")
            && row.contains("typed,")
            && row.contains(",Ada,,false,,")),
        "{table}"
    );
    assert!(zonecall(&["enter", &exam, "--withdraw", &line, "--by", "Ada"]).status.success());
    assert_eq!(area(&zonecall(&["measure", &exam, "--as", "json"])), (150.0, "spoken".to_owned()));
    let again = zonecall(&["enter", &exam, "--withdraw", &line, "--by", "Ada"]);
    assert!(told(&again).contains("those are: none"), "{}", told(&again));
    assert!(zonecall(&["journal", &exam, "--verify"]).status.success());
}

/// A click finds the edge of the whole structure, never that of the lesion in it.
#[test]
fn a_lesion_is_never_outlined_from_a_click() {
    let refused = zonecall(&["trace", "x", "--still", "y", "--by", "Ada", "--lesion", "--click", "1,1"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("cannot be used with"), "{refused:?}");
}

#[test]
fn a_typed_value_is_refused_where_the_desk_refuses_it_and_takes_a_decimal_comma() {
    let folder = tempfile::tempdir().unwrap();
    let said = [(2.0, "left fore two bravo transverse"), (6.0, "s d f t"), (10.0, "normal")];
    support::write_journal(folder.path(), &said);
    let exam = folder.path().to_str().unwrap();
    let enter = |structure: &str, term: &str, number: &str, more: &[&str]| {
        let place = ["enter", exam, "--limb", "LF", "--zone", "2B", "--structure", structure, "--by", "Ada"];
        let what = ["--term", term, "--number", number, "--unit", "mm2"];
        zonecall(&[&place[..], &what, more].concat())
    };
    let told = |output: &Output| String::from_utf8_lossy(&output.stderr).into_owned();
    // A ligament of the hind limb.
    let foreign = enter("LPL", "area", "100", &[]);
    assert_eq!(foreign.status.code(), Some(2));
    assert!(told(&foreign).contains("the left fore has no long plantar ligament"), "{}", told(&foreign));
    let odd = enter("SDFT", "area", "1,4,8", &[]);
    assert!(told(&odd).contains("give a number such as 3.4 or 3,4"), "{}", told(&odd));
    let lesion = enter("SDFT", "lesion area", "3,4", &[]);
    assert_eq!(lesion.status.code(), Some(2));
    assert!(told(&lesion).contains("lesion area 3.4 mm2 (typed) contradicts `normal"), "{}", told(&lesion));
    assert!(told(&lesion).contains("--contradicts"), "{}", told(&lesion));
    assert!(enter("SDFT", "lesion area", "3,4", &["--contradicts"]).status.success());
    let checked = String::from_utf8(zonecall(&["check", exam]).stdout).unwrap();
    assert!(checked.contains("normal-and-lesion"), "{checked}");
    let record: Value = serde_json::from_slice(&zonecall(&["export", exam, "--as", "json"]).stdout).unwrap();
    assert_eq!(record["entries"].as_array().unwrap().len(), 1);
    assert_eq!(record["entries"][0]["number"], 3.4);
}
