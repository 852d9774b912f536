//! Stills of another horse, of another exam, and stills that are there twice: found, told, and taken only on a person's word.
use std::fs;
use std::path::Path;

use dicom_core::{DataElement, PrimitiveValue, VR};
use dicom_dictionary_std::tags;
use dicom_object::open_file;
use serde_json::Value;

use crate::support::program::{START, demo, demo_stills, zonecall};
use crate::support::{self, exam_of};
use zonecall::exam::event::{Frame, Header, Horse};
use zonecall::exam::fold::Exam;
use zonecall::exam::identity::Foreign;
use zonecall::exam::patient::Patient;

/// An exam in which each view of the demo's first stills is called and saved when the still was.
fn exam_at(folder: &Path) -> String {
    exam_begun(folder, 0)
}

/// The same exam, begun some minutes after it.
fn exam_begun(folder: &Path, minutes: i64) -> String {
    let mut header = support::header();
    header.started_at += chrono::TimeDelta::minutes(minutes);
    exam_with(folder, header)
}

fn exam_with(folder: &Path, header: Header) -> String {
    let table = fs::read_to_string(demo("fore-limbs.stills.csv")).unwrap();
    let mut said = vec![(1.0, "left fore zone one alpha transverse".to_owned())];
    for line in table.lines().skip(1).take(STILLS) {
        let at_s: f64 = line.split(',').next().unwrap().parse().unwrap();
        said.push((at_s, "save".to_owned()));
    }
    let said: Vec<(f64, &str)> = said.iter().map(|(at_s, words)| (*at_s, words.as_str())).collect();
    fs::create_dir_all(folder).unwrap();
    support::write_heard_by(folder, header, said.iter().map(|(at_s, text)| support::utterance(*at_s, text)));
    folder.to_string_lossy().into_owned()
}

const STILLS: usize = 12;

/// The demo's first stills; `change` may change what each says of itself.
fn stills_at(folder: &Path, change: impl Fn(usize, &mut dicom_object::DefaultDicomObject)) -> String {
    let made = tempfile::tempdir().unwrap();
    let done = demo_stills().arg(demo("fore-limbs.stills.csv")).arg(made.path()).arg(START).status();
    assert!(done.unwrap().success());
    fs::create_dir_all(folder).unwrap();
    for number in 1..=STILLS {
        let name = format!("IM{number:04}.dcm");
        let mut still = open_file(made.path().join(&name)).unwrap();
        change(number, &mut still);
        still.write_to_file(folder.join(&name)).unwrap();
    }
    folder.to_string_lossy().into_owned()
}

fn rename(still: &mut dicom_object::DefaultDicomObject, name: &str, id: &str) {
    for (tag, vr, text) in [(tags::PATIENT_NAME, VR::PN, name), (tags::PATIENT_ID, VR::LO, id)] {
        still.put(DataElement::new(tag, vr, PrimitiveValue::from(text)));
    }
}

fn told(args: &[&str]) -> (i32, String) {
    let done = zonecall(args);
    let code = done.status.code().unwrap();
    assert!(code < 2, "{}", String::from_utf8_lossy(&done.stderr));
    (code, String::from_utf8(done.stdout).unwrap())
}

fn record(exam: &str) -> Value {
    serde_json::from_str(&told(&["export", exam, "--as", "json"]).1).unwrap()
}

fn labelled(record: &Value) -> usize {
    record["frames"].as_array().unwrap().iter().filter(|still| still["zone"].is_string()).count()
}

fn found(record: &Value, rule: &str) -> usize {
    record["findings"].as_array().unwrap().iter().filter(|finding| finding["rule"] == rule).count()
}

#[test]
fn stills_that_name_the_exams_horse_are_taken() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam_at(&folder.path().join("exam"));
    let stills = stills_at(&folder.path().join("scanner"), |_, _| {});
    told(&["pair", &exam, "--frames", &stills]);
    let record = record(&exam);
    assert_eq!((labelled(&record), found(&record, "still-of-another-horse")), (STILLS, 0));
    assert_eq!(record["frames"][0]["patient"]["name"], "Larkfield Stud^Juniper");
}

/// Nobody said which horse it is, and all stills agree: a person takes that over, and nothing does it unasked.
#[test]
fn an_exam_without_a_horse_is_named_from_its_stills_where_they_agree() {
    let folder = tempfile::tempdir().unwrap();
    let nameless = || Header { horse: Horse::default(), ..support::header() };
    let exam = &exam_with(&folder.path().join("exam"), nameless());
    let stills = stills_at(&folder.path().join("scanner"), |_, _| {});
    let (_, shown) = told(&["pair", exam, "--frames", &stills]);
    assert!(shown.contains("its stills are of Larkfield Stud^Juniper (no. DEMO-Juniper)"), "{shown}");
    assert!(record(exam)["exam"]["horse"]["name"].is_null());
    told(&["name", exam, "--from-stills", "--by", "Kim"]);
    let horse = record(exam)["exam"]["horse"].clone();
    assert_eq!((&horse["name"], &horse["id"]), (&"Juniper".into(), &"DEMO-Juniper".into()));
    // It has one now, so the stills name it no more.
    let again = zonecall(&["name", exam, "--from-stills", "--by", "Kim"]);
    let why = String::from_utf8_lossy(&again.stderr).into_owned();
    assert!(again.status.code() == Some(2) && why.contains("the exam has one already"), "{why}");
    // Stills of two horses say nothing.
    let other = exam_with(&folder.path().join("other"), nameless());
    let stills = stills_at(&folder.path().join("two"), |number, still| {
        let name = if number % 2 == 0 { "Bramble" } else { "Juniper" };
        still.put(DataElement::new(tags::PATIENT_NAME, VR::PN, PrimitiveValue::from(name)));
    });
    told(&["pair", &other, "--frames", &stills]);
    let refused = zonecall(&["name", &other, "--from-stills", "--by", "Kim"]);
    assert_eq!(refused.status.code(), Some(2));
}

/// A folder of another horse that was taken back names nobody.
#[test]
fn stills_that_are_left_out_name_no_horse() {
    let folder = tempfile::tempdir().unwrap();
    let nameless = Header { horse: Horse::default(), ..support::header() };
    let exam = &exam_with(&folder.path().join("exam"), nameless);
    let stills = stills_at(&folder.path().join("scanner"), |_, _| {});
    told(&["pair", exam, "--frames", &stills]);
    told(&["pair", exam, "--undo", "--by", "Kim"]);
    let refused = zonecall(&["name", exam, "--from-stills", "--by", "Kim"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(record(exam)["exam"]["horse"]["name"].is_null());
}

/// Name and number of all files rewritten: none of them gets a label, until a person says that it is this horse.
/// The demo's stills name breed, sex and birth; an owner is put into each, and into one another breed.
#[test]
fn what_the_stills_say_of_the_horse_is_in_the_record_where_they_agree() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam_at(&folder.path().join("exam"));
    let stills = stills_at(&folder.path().join("stills"), |number, still| {
        let mut put = |tag, vr, text: &str| still.put(DataElement::new(tag, vr, PrimitiveValue::from(text)));
        put(tags::RESPONSIBLE_PERSON, VR::PN, "Marsh^Ada^^Dr");
        put(tags::RESPONSIBLE_PERSON_ROLE, VR::CS, "OWNER");
        put(tags::PATIENT_BREED_DESCRIPTION, VR::LO, if number == 1 { "Pony" } else { "Warmblood" });
    });
    told(&["pair", &exam, "--frames", &stills]);
    let wanted =
        serde_json::json!({"owner": "Dr Ada Marsh", "sex": "M", "neutered": true, "born": "2019-04-12"});
    assert_eq!(record(&exam)["exam"]["in_stills"], wanted);
}

/// The name was put right on the scanner in the middle: number alone tells nobody apart, and what is printed works.
#[test]
fn the_way_out_that_is_printed_for_a_refused_still_works_as_it_is_printed() {
    for (name, id) in [("Larkfield Stud^Jupiter", "DEMO-Juniper"), ("Jupiter", "")] {
        let folder = tempfile::tempdir().unwrap();
        let exam = exam_at(&folder.path().join("exam"));
        let stills = stills_at(&folder.path().join("scanner"), |number, still| {
            if number == 3 {
                rename(still, name, id);
            }
        });
        let (_, said) = told(&["pair", &exam, "--frames", &stills]);
        let (_, after) = said.split_once("--same-horse \"").unwrap_or_else(|| panic!("{said}"));
        let (printed, _) = after.split_once('"').unwrap();
        told(&["pair", &exam, "--frames", &stills, "--same-horse", printed, "--by", "Robin"]);
        let taken = record(&exam);
        assert_eq!((labelled(&taken), found(&taken, "still-of-another-horse")), (STILLS, 0), "{printed}");
    }
}

#[test]
fn each_patient_of_a_list_is_named_by_the_words_that_are_shown_for_it() {
    let of = |name: &str, id: &str| Patient { name: Some(name.to_owned()), id: Some(id.to_owned()) };
    let list = [of("Hill^Ed", "7"), of("Hill^Ed", "8"), of("Marsh^Ed", "7"), of("marsh ed (no. 7)", "9")];
    let all: std::collections::BTreeSet<&Patient> = list.iter().collect();
    for one in &list {
        assert_eq!(Patient::called(&one.told_apart(&all), &all), [one]);
        assert!(one.is_called(&one.name.clone().unwrap()), "as the file has it");
    }
    let both = Patient::called("7", &all);
    assert_eq!(both.len(), 2);
}

/// A mare of 2001 that was registered under the name and number of a gelding of 2019.
#[test]
fn a_still_of_another_sex_or_age_is_refused_whatever_its_name_and_number() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam_at(&folder.path().join("exam"));
    let stills = stills_at(&folder.path().join("scanner"), |number, still| {
        if number == 3 {
            still.put(DataElement::new(tags::PATIENT_SEX, VR::CS, PrimitiveValue::from("F")));
            still.put(DataElement::new(tags::PATIENT_BIRTH_DATE, VR::DA, PrimitiveValue::from("20010101")));
            still.put(DataElement::new(tags::STUDY_INSTANCE_UID, VR::UI, PrimitiveValue::from("2.25.77")));
        }
    });
    let (code, said) = told(&["pair", &exam, "--frames", &stills]);
    assert_eq!(code, 1);
    assert!(said.contains("says female, born 2001-01-01, but others of `Larkfield Stud^Juniper"), "{said}");
    assert!(said.contains("say male, born 2019-04-12"), "{said}");
    let refused = record(&exam);
    assert_eq!((labelled(&refused), found(&refused, "still-of-another-horse")), (STILLS - 1, 1));
    assert_eq!(refused["exam"]["in_stills"]["sex"], "M");
    let (_, after) = said.split_once("--same-horse \"").unwrap();
    let (printed, _) = after.split_once('"').unwrap();
    let (_, said) = told(&["pair", &exam, "--frames", &stills, "--same-horse", printed, "--by", "Robin"]);
    // The second study is told where the stills are paired.
    assert!(said.contains("1 of the 12 stills is of another study on the scanner"), "{said}");
    let taken = record(&exam);
    assert_eq!((labelled(&taken), found(&taken, "still-of-another-horse")), (STILLS, 0));
}

#[test]
fn stills_of_another_horse_are_refused_until_a_person_confirms() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam_at(&folder.path().join("exam"));
    let stills =
        stills_at(&folder.path().join("scanner"), |_, still| rename(still, "Otter Farm^Bramble", "B-77"));
    let (code, said) = told(&["pair", &exam, "--frames", &stills]);
    assert_eq!(code, 1);
    assert!(said.contains("REFUSED") && said.contains("the exam is of `Juniper`"), "{said}");
    assert!(said.contains("--same-horse \"B-77\" --by"), "{said}");
    let refused = record(&exam);
    assert_eq!((labelled(&refused), found(&refused, "still-of-another-horse")), (0, 1));
    assert_eq!(
        found(&refused, "still-unlabelled") + found(&refused, "clock-unknown"),
        0,
        "one cause, one line"
    );
    let (code, checked) = told(&["check", &exam]);
    assert!(code == 1 && checked.contains("ERROR still-of-another-horse"), "{checked}");

    let someone = zonecall(&["pair", &exam, "--frames", &stills, "--same-horse", "Nobody", "--by", "Robin"]);
    let why = String::from_utf8(someone.stderr).unwrap();
    assert!(someone.status.code() == Some(2) && why.contains("no still is of `Nobody`"), "{why}");
    let nameless = zonecall(&["pair", &exam, "--frames", &stills, "--same-horse", "B-77"]);
    assert_eq!(nameless.status.code(), Some(2), "somebody must stand for it");

    told(&["pair", &exam, "--frames", &stills, "--same-horse", "bramble", "--by", "Robin"]);
    let taken = record(&exam);
    assert_eq!((labelled(&taken), found(&taken, "still-of-another-horse")), (STILLS, 0));
    let change = &taken["changes"][0];
    assert_eq!(change["by"], "Robin");
    assert_eq!(change["what"], "stills of Otter Farm^Bramble (no. B-77) are of the exam's horse");
    assert!(told(&["journal", &exam, "--verify"]).0 == 0);
}

#[test]
fn one_still_of_another_horse_among_others_is_refused_and_the_others_are_taken() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam_at(&folder.path().join("exam"));
    let stills = stills_at(&folder.path().join("scanner"), |number, still| {
        if number == 3 {
            rename(still, "Otter Farm^Bramble", "B-77");
        }
    });
    told(&["pair", &exam, "--frames", &stills]);
    let record = record(&exam);
    assert_eq!((labelled(&record), found(&record, "still-of-another-horse")), (STILLS - 1, 1));
    assert!(record["frames"][2]["refused"].as_str().unwrap().contains("Bramble"));
}

/// A copy under another name, and one that was exported anew: another head, the same picture and time.
/// Scanners that save each still as DICOM and as a picture: beside it by name, or elsewhere by the picture's own time.
#[test]
fn a_still_that_is_there_in_two_formats_counts_once_everywhere() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam_at(&folder.path().join("exam"));
    let stills = stills_at(&folder.path().join("stills"), |_, _| {});
    for number in 1..=STILLS {
        let file = folder.path().join(format!("stills/IM{number:04}.dcm"));
        let still = open_file(&file).unwrap();
        let pixels = still.element(tags::PIXEL_DATA).unwrap().to_bytes().unwrap().into_owned();
        image::GrayImage::from_raw(320, 240, pixels).unwrap().save(file.with_extension("jpg")).unwrap();
    }
    let (_, said) = told(&["pair", &exam, "--frames", &stills]);
    assert!(said.contains("12 stills in 24 files, 24 of these new"), "{said}");
    assert!(!said.contains("the files all have about the same time"), "{said}");
    let record = record(&exam);
    assert_eq!((labelled(&record), found(&record, "still-in-two-formats")), (24, 1));
    let copies =
        record["frames"].as_array().unwrap().iter().filter(|still| still["copy_of"].is_string()).count();
    assert_eq!(copies, 12);
    told(&["export", &exam, "--as", "labelled"]);
    let named = |ending: &str| {
        let files = fs::read_dir(folder.path().join("exam/out/labelled")).unwrap();
        files.filter(|file| file.as_ref().unwrap().file_name().to_str().unwrap().ends_with(ending)).count()
    };
    assert_eq!((named(".png"), named(".dcm")), (12, 12));
}

#[test]
fn a_still_that_is_there_twice_counts_once() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam_at(&folder.path().join("exam"));
    let scanner = folder.path().join("scanner");
    let stills = stills_at(&scanner, |_, _| {});
    fs::copy(scanner.join("IM0001.dcm"), scanner.join("copy.dcm")).unwrap();
    let mut anew = open_file(scanner.join("IM0002.dcm")).unwrap();
    anew.put(DataElement::new(tags::SOP_INSTANCE_UID, VR::UI, PrimitiveValue::from("2.25.4711")));
    anew.write_to_file(scanner.join("anew.dcm")).unwrap();
    let (code, said) = told(&["pair", &exam, "--frames", &stills]);
    assert!(code == 1 && said.contains("the same still as"), "{said}");
    let record = record(&exam);
    let frames = record["frames"].as_array().unwrap();
    assert_eq!((frames.len(), found(&record, "still-in-two-formats")), (STILLS + 1, 1));
    assert_eq!(frames.iter().filter(|still| still["copy_of"].is_string()).count(), 1);
    // A copy that comes later is reported as well.
    fs::copy(scanner.join("IM0004.dcm"), scanner.join("late.dcm")).unwrap();
    let (_, said) = told(&["pair", &exam, "--frames", &stills]);
    assert!(said.matches("the same still as").count() == 2, "{said}");
}

#[test]
fn a_still_that_counts_in_another_exam_already_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let first = exam_at(&folder.path().join("first"));
    let stills = stills_at(&folder.path().join("scanner"), |_, _| {});
    told(&["pair", &first, "--frames", &stills]);
    let second = exam_begun(&folder.path().join("second"), 10);
    told(&["pair", &second, "--frames", &stills]);
    assert_eq!(found(&record(&second), "still-in-two-exams"), STILLS);
    // The same recording heard once more is no other exam; it is reported, and weighs nothing.
    let again = exam_at(&folder.path().join("again"));
    told(&["pair", &again, "--frames", &stills]);
    let again = record(&again);
    assert_eq!(found(&again, "still-paired-again"), 1);
    assert_eq!(found(&record(&first), "still-in-two-exams"), 0, "it was the first");
}

fn still(name: Option<&str>, id: Option<&str>) -> Frame {
    let some = |text: Option<&str>| text.map(str::to_owned);
    let case = support::case::said(&["left fore"]).still(zonecall::frames::pairing::Tie::Nothing);
    let mut frame = case.exam.frames[0].clone();
    frame.id = format!("{name:?}{id:?}");
    frame.patient = Patient::new(some(name), some(id));
    frame
}

fn refused(
    name: Option<&str>,
    id: Option<&str>,
    stills: &[(Option<&str>, Option<&str>)],
) -> Vec<Option<Foreign>> {
    let mut exam: Exam = exam_of(&["left fore"]);
    (exam.header.horse.name, exam.header.horse.id) = (name.map(str::to_owned), id.map(str::to_owned));
    let stills: Vec<Frame> = stills.iter().map(|(name, id)| still(*name, *id)).collect();
    exam.refused(&stills)
}

#[test]
fn a_number_counts_with_a_name_that_can_be_the_same_and_nothing_to_compare_refuses_nothing() {
    use Foreign::{OtherHorse, OtherThanStills};
    let (star, other) = (Some("Smith^Star"), Some("Jones^Star"));
    // Numbers on both sides: they count, unless the names say that it is another horse.
    assert_eq!(refused(Some("Star"), Some("7"), &[(star, Some("7")), (None, Some("7"))]), [None, None]);
    assert_eq!(refused(None, Some("7"), &[(star, Some("7"))]), [None]);
    assert_eq!(refused(Some("Star"), Some("7"), &[(Some("Jones^Bramble"), Some("7"))]), [Some(OtherHorse)]);
    assert_eq!(refused(Some("Star"), Some("7"), &[(star, Some("8"))]), [Some(OtherHorse)]);
    // A comma is typed where DICOM has a caret.
    assert_eq!(refused(Some("Star"), None, &[(Some("Smith, Star"), None), (star, None)]), [None, None]);
    // A number on one side only: names.
    assert_eq!(refused(Some("star"), Some("7"), &[(star, None)]), [None]);
    assert_eq!(refused(Some("Star Dancer"), None, &[(star, Some("8"))]), [Some(OtherHorse)]);
    // A scanner on which nobody typed a name writes the signs that part one.
    assert_eq!(refused(Some("Star"), None, &[(Some("^^^^"), None), (Some(" , "), None)]), [None, None]);
    // Nothing to compare.
    assert_eq!(refused(None, None, &[(star, Some("8")), (None, None)]), [None, None]);
    assert_eq!(refused(Some("Star"), None, &[(None, Some("8"))]), [None]);
    // Held against each other: two horses of one name, and two names while the exam has none.
    assert_eq!(
        refused(Some("Star"), None, &[(star, None), (other, None), (star, None)]),
        [Some(OtherThanStills); 3]
    );
    assert_eq!(refused(None, None, &[(star, None), (Some("Bramble"), None)]), [Some(OtherThanStills); 2]);
    assert_eq!(refused(None, None, &[(star, Some("1")), (star, Some("1"))]), [None, None]);
    // The owner's name is not the horse's.
    assert_eq!(
        refused(None, None, &[(Some("Smith^Star"), None), (Some("Smith^Bramble"), None)]),
        [Some(OtherThanStills); 2]
    );
}
