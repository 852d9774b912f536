//! What `pair` takes from a folder, what it leaves, and how a mistake is taken back.
use crate::support;

use std::path::Path;

use support::program::{START, demo_stills, zonecall};

/// Seconds at which the exam's stills are saved.
const SAVED_S: [f64; 12] = [20.0, 34.5, 41.0, 63.0, 70.5, 88.0, 97.5, 121.0, 130.5, 149.0, 161.5, 170.0];

/// An exam of one view, a save for each still, begun some minutes after the first.
fn exam(folder: &Path, minutes: i64, horse: &str) -> String {
    let mut header = support::header();
    header.started_at += chrono::TimeDelta::minutes(minutes);
    header.horse.name = Some(horse.to_owned()).filter(|name| !name.is_empty());
    header.horse.id = None;
    let mut said = vec![(1.0, "left fore zone one alpha transverse")];
    said.extend(SAVED_S.map(|at_s| (at_s, "save")));
    said.push((180.0, "end of exam"));
    std::fs::create_dir_all(folder).unwrap();
    support::write_heard_by(
        folder,
        header,
        said.into_iter().map(|(at_s, text)| support::utterance(at_s, text)),
    );
    folder.to_string_lossy().into_owned()
}

/// Stills of a horse, saved at these seconds of the first exam, by a scanner whose clock is so far ahead.
fn stills(folder: &Path, saved_s: impl Iterator<Item = f64>, horse: &str, offset_s: f64) {
    std::fs::create_dir_all(folder).unwrap();
    let rows: String = saved_s.map(|at_s| format!("{at_s},LF 1A T,,,{horse}\n")).collect();
    let table = folder.with_extension("csv");
    std::fs::write(&table, format!("exam_s,label,area_cm2,lesion_cm2,horse\n{rows}")).unwrap();
    let done = demo_stills().arg(&table).arg(folder).arg(START).arg(offset_s.to_string()).arg("0").status();
    assert!(done.unwrap().success());
}

fn pair(args: &[&str]) -> String {
    let done = zonecall(&[&["pair"], args].concat());
    assert!(done.status.code().is_some_and(|code| code < 2), "{}", String::from_utf8_lossy(&done.stderr));
    String::from_utf8(done.stdout).unwrap()
}

fn statuses(exam: &str) -> Vec<String> {
    let done = zonecall(&["export", exam, "--as", "json"]);
    let record: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    let frames = record["frames"].as_array().unwrap();
    frames.iter().map(|frame| frame["status"].as_str().unwrap().to_owned()).collect()
}

fn count(statuses: &[String], wanted: &str) -> usize {
    statuses.iter().filter(|status| *status == wanted).count()
}

#[test]
fn a_clock_that_is_wrong_by_days_and_half_an_hour_is_found() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam(&folder.path().join("exam"), 0, "Juniper");
    let scanner = folder.path().join("scanner");
    stills(&scanner, SAVED_S.into_iter(), "Juniper", -3.0 * 86_400.0 - 1800.0 + 12.0);
    pair(&[&exam, "--frames", &scanner.to_string_lossy()]);
    assert_eq!(count(&statuses(&exam), "spoken"), 12);
}

#[test]
fn stills_from_outside_the_exam_are_left_out_told_and_taken_on_demand() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam(&folder.path().join("exam"), 0, "Juniper");
    let scanner = folder.path().join("scanner");
    let later = [5000.0, 5007.0, 5033.0];
    stills(&scanner, SAVED_S.into_iter().chain(later), "Juniper", 412.0);
    let frames = scanner.to_string_lossy().into_owned();
    let told = pair(&[&exam, "--frames", &frames]);
    assert!(told.contains("left out 3 stills saved outside the time of the exam"), "{told}");
    assert_eq!(statuses(&exam).len(), 12);
    let told = pair(&[&exam, "--frames", &frames, "--all"]);
    assert!(told.contains("15 stills, 3 of them new"), "{told}");
    // And back again, in one step.
    let told = pair(&[&exam, "--undo", "--by", "Ada"]);
    assert!(told.contains("3 stills that were added last are left out"), "{told}");
    let statuses = statuses(&exam);
    assert_eq!((count(&statuses, "spoken"), count(&statuses, "left_out")), (12, 3), "{statuses:?}");
}

#[test]
fn a_damaged_copy_does_not_take_the_place_of_a_good_file() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam(&folder.path().join("exam"), 0, "Juniper");
    let scanner = folder.path().join("scanner");
    stills(&scanner, SAVED_S.into_iter(), "Juniper", 5.0);
    pair(&[&exam, "--frames", &scanner.to_string_lossy()]);
    let (good, copies) = (scanner.join("IM0001.dcm"), folder.path().join("copies"));
    std::fs::create_dir(&copies).unwrap();
    let bytes = std::fs::read(&good).unwrap();
    std::fs::write(copies.join("IM0001.dcm"), &bytes[..bytes.len() - 400]).unwrap();
    let told = pair(&[&exam, "--frames", &copies.to_string_lossy()]);
    assert!(told.contains("left out") && !told.contains("moved or changed"), "{told}");
    let journal = std::fs::read_to_string(Path::new(&exam).join("exam.jsonl")).unwrap();
    assert!(!journal.contains("copies/IM0001.dcm"), "the good file stays the exam's own");
}

#[test]
fn the_stills_of_two_horses_are_shared_out_among_the_exams_of_a_day() {
    let folder = tempfile::tempdir().unwrap();
    let exams = folder.path().join("exams");
    let first = exam(&exams.join("a"), 0, "Juniper");
    let second = exam(&exams.join("b"), 40, "Bramble");
    let stick = folder.path().join("stick");
    stills(&stick.join("a"), SAVED_S.into_iter(), "Juniper", 412.0);
    stills(&stick.join("b"), SAVED_S.into_iter().map(|at_s| at_s + 2400.0), "Bramble", 412.0);
    stills(&stick.join("c"), [9000.0, 9011.0].into_iter(), "Clover", 412.0);
    let told = pair(&[&exams.to_string_lossy(), "--frames", &stick.to_string_lossy()]);
    assert!(told.contains("2 stills fit none of these exams"), "{told}");
    for exam in [first, second] {
        let statuses = statuses(&exam);
        assert_eq!((statuses.len(), count(&statuses, "spoken")), (12, 12), "{told}");
    }
}

/// The second exam names no horse: nobody knows whose of the two it is, and a still that names nobody may be of either.
#[test]
fn an_exam_that_names_no_horse_gets_no_still_of_a_stick_with_several() {
    let folder = tempfile::tempdir().unwrap();
    let exams = folder.path().join("exams");
    let first = exam(&exams.join("a"), 0, "Juniper");
    let second = exam(&exams.join("b"), 40, "");
    let stick = folder.path().join("stick");
    stills(&stick.join("a"), SAVED_S.into_iter(), "Juniper", 412.0);
    stills(&stick.join("b"), SAVED_S.map(|at_s| at_s + 2400.0).into_iter(), "Bramble", 412.0);
    let day = exams.to_string_lossy().into_owned();
    let told = pair(&[&day, "--frames", &stick.to_string_lossy()]);
    let wanted = format!(
        "the exam names no horse, and the stills are of `Larkfield Stud^Bramble (no. DEMO-Bramble)`, `Larkfield \
         Stud^Juniper (no. DEMO-Juniper)`: it gets none of them; `zonecall name {second} --horse NAME --by YOUR-NAME`, then pair again"
    );
    assert!(told.contains(&wanted), "{told}");
    assert_eq!((count(&statuses(&first), "spoken"), statuses(&second).len()), (12, 0));
    let named = zonecall(&["name", &second, "--horse", "Bramble", "--by", "Ada"]);
    assert!(named.status.success());
    pair(&[&day, "--frames", &stick.to_string_lossy()]);
    assert_eq!(count(&statuses(&second), "spoken"), 12);
}

#[test]
fn files_that_all_have_the_time_of_a_copy_are_told_with_a_way_out() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam(&folder.path().join("exam"), 0, "Juniper");
    let scanner = folder.path().join("scanner");
    std::fs::create_dir(&scanner).unwrap();
    let now = std::time::SystemTime::now();
    for grey in 0..3_u8 {
        let file = scanner.join(format!("{grey}.png"));
        image::GrayImage::from_pixel(64, 48, image::Luma([grey])).save(&file).unwrap();
        std::fs::File::options().write(true).open(&file).unwrap().set_modified(now).unwrap();
    }
    let told = pair(&[&exam, "--all", "--frames", &scanner.to_string_lossy()]);
    assert!(
        told.contains("copied or unpacked without their times") && told.contains("cp --preserve"),
        "{told}"
    );
}

#[test]
fn a_horse_can_be_named_afterwards() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam(&folder.path().join("exam"), 0, "unknown");
    let done = zonecall(&["name", &exam, "--horse", "Juniper", "--horse-id", "4711", "--by", "Ada"]);
    assert_eq!(String::from_utf8_lossy(&done.stdout).trim(), format!("{exam}: Juniper, number 4711"));
    let done = zonecall(&["export", &exam, "--as", "json"]);
    let record: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    assert!(record.to_string().contains("4711"), "{record}");
    let nothing = zonecall(&["name", &exam, "--by", "Ada"]);
    assert_eq!(nothing.status.code(), Some(2));
}

/// What `pair` says, and its exit code.
fn tried(args: &[&str]) -> (Option<i32>, String) {
    let done = zonecall(&[&["pair"], args].concat());
    let said = [done.stdout, done.stderr].concat();
    (done.status.code(), String::from_utf8(said).unwrap())
}

#[test]
fn stills_that_were_moved_since_are_left_out_all_the_same_and_taken_in_again_on_demand() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam(&folder.path().join("exam"), 0, "Juniper");
    let (scanner, moved) = (folder.path().join("scanner"), folder.path().join("moved"));
    stills(&scanner, SAVED_S.into_iter(), "Juniper", 5.0);
    pair(&[&exam, "--frames", &scanner.to_string_lossy()]);
    std::fs::rename(&scanner, &moved).unwrap();
    let frames = moved.to_string_lossy().into_owned();
    assert!(pair(&[&exam, "--frames", &frames]).contains("12 moved or changed"));
    let told = pair(&[&exam, "--undo", "--by", "Ada"]);
    assert!(told.contains("12 stills that were added last are left out"), "{told}");
    assert_eq!(count(&statuses(&exam), "left_out"), 12);
    // Once more there is nothing to do, and it says what can be done.
    let (code, told) = tried(&[&exam, "--undo", "--by", "Ada"]);
    assert!(
        code == Some(2) && told.contains("left out already, by Ada") && told.contains("--again"),
        "{told}"
    );
    let (code, told) = tried(&[&exam, "--frames", &frames]);
    assert!(code == Some(1) && told.contains("12 stills of this folder stay left out"), "{told}");
    let (code, told) = tried(&[&exam, "--frames", &frames, "--again", "--by", "Ada"]);
    assert!(code == Some(0) && told.contains("12 stills that had been left out are used again"), "{told}");
    assert_eq!(count(&statuses(&exam), "spoken"), 12);
    pair(&[&exam, "--undo", "--by", "Ada"]);
    assert_eq!(count(&statuses(&exam), "left_out"), 12, "and back once more");
}

#[test]
fn stills_that_were_left_out_of_an_exam_of_the_day_are_told_and_taken_in_again_on_demand() {
    let folder = tempfile::tempdir().unwrap();
    let exams = folder.path().join("exams");
    let first = exam(&exams.join("a"), 0, "Juniper");
    let second = exam(&exams.join("b"), 40, "Bramble");
    let stick = folder.path().join("stick");
    stills(&stick.join("a"), SAVED_S.into_iter(), "Juniper", 412.0);
    stills(&stick.join("b"), SAVED_S.into_iter().map(|at_s| at_s + 2400.0), "Bramble", 412.0);
    for table in ["a.csv", "b.csv"] {
        std::fs::remove_file(stick.join(table)).unwrap();
    }
    let (day, frames) = (exams.to_string_lossy().into_owned(), stick.to_string_lossy().into_owned());
    assert_eq!(tried(&[&day, "--frames", &frames]).0, Some(0));
    pair(&[&first, "--undo", "--by", "Ada"]);
    let (code, told) = tried(&[&day, "--frames", &frames]);
    let (of_first, of_second) = told.split_once(&second).unwrap();
    let stay = "12 stills of this folder stay left out: Ada left them out with --undo; to use them again, pair with \
                --again --by YOUR-NAME";
    assert!(code == Some(1) && of_first.contains(stay) && !of_second.contains("stay left out"), "{told}");
    assert!(!told.contains("fit none"), "they are told once: {told}");
    let (code, told) = tried(&[&day, "--frames", &frames, "--again", "--by", "Ada"]);
    assert!(code == Some(0) && told.contains("12 stills that had been left out are used again"), "{told}");
    assert_eq!([&first, &second].map(|exam| count(&statuses(exam), "spoken")), [12, 12]);
    for of_one in [&["--undo"][..], &["--frames", &frames, "--same-horse", "Juniper"]] {
        let (code, told) = tried(&[&[&day[..], "--by", "Ada"], of_one].concat());
        assert!(code == Some(2) && told.contains("name the folder of that exam"), "{told}");
    }
}

#[test]
fn stills_that_were_left_out_of_the_wrong_exam_of_the_day_go_to_the_right_one() {
    let folder = tempfile::tempdir().unwrap();
    let exams = folder.path().join("exams");
    let wrong = exam(&exams.join("a"), 40, "Juniper");
    let frames = folder.path().join("stick").to_string_lossy().into_owned();
    stills(Path::new(&frames), SAVED_S.into_iter(), "Bramble", 412.0);
    pair(&[&wrong, "--frames", &frames, "--all"]);
    pair(&[&wrong, "--undo", "--by", "Ada"]);
    let right = exam(&exams.join("b"), 0, "Bramble");
    let told = pair(&[&exams.to_string_lossy(), "--frames", &frames]);
    assert_eq!(count(&statuses(&right), "spoken"), 12, "{told}");
    assert_eq!(count(&statuses(&wrong), "left_out"), 12);
}

#[test]
fn where_no_still_was_added_undo_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let exam = exam(&folder.path().join("exam"), 0, "Juniper");
    let (code, told) = tried(&[&exam, "--undo", "--by", "Ada"]);
    assert!(code == Some(2) && told.contains("has no stills yet"), "{told}");
}

/// The same stills as a scanner writes them that names its model and its serial number.
fn name_scanner(folder: &Path) {
    use dicom_core::{DataElement, VR};
    use dicom_dictionary_std::tags;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let mut file = dicom_object::open_file(&path).unwrap();
        file.put(DataElement::new(tags::MANUFACTURER_MODEL_NAME, VR::LO, "Sono 7"));
        file.put(DataElement::new(tags::DEVICE_SERIAL_NUMBER, VR::LO, "0815"));
        file.write_to_file(&path).unwrap();
    }
}

/// A day of two exams: one that shows the scanner's clock, and one with a single save, which shows nothing. Gives the folder of
/// exams, both exams, and the folder of the stills.
fn day_with_one_short_exam(folder: &Path) -> (String, [String; 2], std::path::PathBuf) {
    let exams = folder.join("exams");
    let long = exam(&exams.join("b"), 0, "Juniper");
    let short = exams.join("a");
    let mut header = support::header();
    header.started_at += chrono::TimeDelta::minutes(40);
    (header.horse.name, header.horse.id) = (Some("Bramble".to_owned()), None);
    let said = [(1.0, "left hind zone one alpha transverse"), (20.0, "save"), (40.0, "end of exam")];
    std::fs::create_dir_all(&short).unwrap();
    support::write_heard_by(
        &short,
        header,
        said.into_iter().map(|(at_s, text)| support::utterance(at_s, text)),
    );
    let stick = folder.join("stick");
    stills(&stick.join("b"), SAVED_S.into_iter(), "Juniper", 412.0);
    stills(&stick.join("a"), [2400.0 + 20.5].into_iter(), "Bramble", 412.0);
    [stick.join("a"), stick.join("b")].iter().for_each(|folder| name_scanner(folder));
    (exams.to_string_lossy().into_owned(), [short.to_string_lossy().into_owned(), long], stick)
}

#[test]
fn stills_that_waited_for_the_scanner_s_clock_get_their_labels_when_another_exam_has_shown_it() {
    let folder = tempfile::tempdir().unwrap();
    let (_, [short, long], stick) = day_with_one_short_exam(folder.path());
    let of = |name: &str| stick.join(name).to_string_lossy().into_owned();
    pair(&[&short, "--frames", &of("a")]);
    assert_eq!(statuses(&short), ["unlabelled"], "one still alone proves no clock");
    pair(&[&long, "--frames", &of("b")]);
    for again in 1..=3 {
        let told = pair(&[&short, "--frames", &of("a")]);
        assert_eq!(statuses(&short), ["spoken"], "{again}: {told}");
    }
}

#[test]
fn the_clock_that_one_exam_of_a_day_shows_places_the_stills_of_another() {
    let folder = tempfile::tempdir().unwrap();
    let (exams, [short, long], stick) = day_with_one_short_exam(folder.path());
    let told = pair(&[&exams, "--frames", &stick.to_string_lossy()]);
    assert!(!told.contains("fit none of these exams"), "{told}");
    assert_eq!((statuses(&short), statuses(&long).len()), (vec!["spoken".to_owned()], 12), "{told}");
    pair(&[&exams, "--frames", &stick.to_string_lossy()]);
    assert_eq!(statuses(&short), ["spoken"]);
}
