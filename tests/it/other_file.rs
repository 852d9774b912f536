//! A memory card that is used again: other pictures under the names of those that were paired are never shown as these.
use crate::support;
use crate::support::desk::Served;
use crate::support::program::zonecall;
use crate::support::still;

use std::path::Path;

use serde_json::json;

/// Writes another picture under the name of the still: all white, of another size.
fn use_again(folder: &Path) {
    image::GrayImage::from_pixel(120, 60, image::Luma([255])).save(folder.join("still.png")).unwrap();
}

fn run(args: &[&str]) -> (Option<i32>, String) {
    let done = zonecall(args);
    let told = [done.stdout, done.stderr].concat();
    (done.status.code(), String::from_utf8_lossy(&told).into_owned())
}

#[test]
fn a_report_shows_no_picture_that_was_not_paired_and_names_the_file() {
    let folder = still::folder();
    let exam = folder.path().to_string_lossy().into_owned();
    let page = || std::fs::read_to_string(folder.path().join("out/report.html")).unwrap();
    assert_eq!(run(&["report", &exam]).0, Some(0));
    assert!(page().contains("data:image/jpeg"), "the still that was paired is shown");
    use_again(folder.path());
    let (code, told) = run(&["report", &exam]);
    assert_eq!(code, Some(1), "{told}");
    assert!(
        told.contains("`still.png` is not what was paired") && told.contains("`zonecall pair`"),
        "{told}"
    );
    assert!(!page().contains("data:image/jpeg"), "another picture is not");
    let (code, told) = run(&["report", &exam, "--for", "owner", "--format", "pdf"]);
    assert_eq!(code, Some(1), "{told}");
}

#[test]
fn no_copy_is_made_of_a_file_that_was_not_paired() {
    let folder = still::folder();
    let exam = folder.path().to_string_lossy().into_owned();
    use_again(folder.path());
    for form in ["labelled", "teaching"] {
        let (code, told) = run(&["export", &exam, "--as", form]);
        assert_eq!(code, Some(1), "{form}: {told}");
        assert!(told.contains("`still.png` is not"), "{form}: {told}");
        let copies = std::fs::read_dir(folder.path().join("out").join(form)).unwrap();
        let names: Vec<String> =
            copies.map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned()).collect();
        assert!(!names.iter().any(|name| name.ends_with(".png")), "{form}: {names:?}");
    }
    let (_, told) = run(&["check", &exam]);
    assert!(told.contains("file-changed") && told.contains("neither shown nor copied"), "{told}");
}

#[test]
fn nothing_is_traced_on_a_file_that_was_not_paired() {
    let folder = still::folder();
    let exam = folder.path().to_string_lossy().into_owned();
    use_again(folder.path());
    let before = std::fs::read(folder.path().join("exam.jsonl")).unwrap();
    let points = "20,20 60,20 60,40 20,40";
    let place = ["--limb", "LF", "--zone", "2B", "--structure", "SDFT", "--by", "Ada"];
    let trace = [&["trace", &exam, "--still", "still.png", "--points", points], &place[..]].concat();
    let (code, told) = run(&trace);
    assert!(code == Some(2) && told.contains("`still.png` is not the file that was paired"), "{told}");
    assert_eq!(std::fs::read(folder.path().join("exam.jsonl")).unwrap(), before, "nothing was written");
}

#[test]
fn the_desk_asks_about_a_file_that_was_not_paired_and_neither_shows_nor_measures_it() {
    let folder = still::folder();
    let desk = Served::start(folder.path(), 0);
    assert_eq!(desk.get("/api/still/0").0, 200);
    let asks = |exam: &serde_json::Value| {
        exam["questions"].as_array().unwrap().iter().any(|one| one["rule"] == "file-changed")
    };
    assert!(!asks(&desk.exam()));
    // While the desk is open: no line of the journal says so.
    use_again(folder.path());
    assert!(asks(&desk.exam()));
    for path in ["/api/still/0", "/api/thumb/0"] {
        let (status, body) = desk.get(path);
        let told = String::from_utf8_lossy(&body).into_owned();
        assert!(status == 404 && told.contains("is not the file that was paired"), "{path}: {told}");
    }
    let drawn = json!({
        "by": "Kim", "still": "2.25.7", "limb": "LF", "zone": "2B", "structure": "SDFT", "lesion": false, "write": false,
        "click": [60.0, 30.0],
    });
    let (status, told) = desk.post("/api/trace", &drawn);
    assert!(status == 422 && told.to_string().contains("is not the file that was paired"), "{status} {told}");
}

#[test]
fn a_card_that_is_wiped_takes_no_picture_from_an_exam_whose_stills_were_copied() {
    let folder = tempfile::tempdir().unwrap();
    let (exam, card) = (folder.path().join("exam"), folder.path().join("card"));
    support::write_journal(&exam, &[(2.0, "left fore zone one alpha transverse"), (6.0, "save")]);
    std::fs::create_dir(&card).unwrap();
    let save =
        |grey| image::GrayImage::from_pixel(8, 8, image::Luma([grey])).save(card.join("a.png")).unwrap();
    save(7);
    let (exam_path, frames) = (exam.to_string_lossy().into_owned(), card.to_string_lossy().into_owned());
    let pair = |more: &[&str]| run(&[&["pair", &exam_path, "--frames", &frames, "--all"], more].concat()).1;
    let told = pair(&[]);
    assert!(
        told.contains("the journal names them and does not hold them") && told.contains("--copy"),
        "{told}"
    );
    let told = pair(&["--copy"]);
    assert!(told.contains("1 still copied into"), "{told}");
    let bytes = std::fs::read(card.join("a.png")).unwrap();
    assert_eq!(std::fs::read(exam.join("stills/a.png")).unwrap(), bytes);
    let mode = |path: &Path| {
        std::os::unix::fs::PermissionsExt::mode(&path.metadata().unwrap().permissions()) & 0o777
    };
    assert_eq!((mode(&exam.join("stills")), mode(&exam.join("stills/a.png"))), (0o700, 0o600));
    // The next patient, under the same name.
    save(200);
    let told = pair(&["--copy"]);
    assert!(told.contains("2 stills, 1 of them new"), "{told}");
    assert_eq!(std::fs::read(exam.join("stills/a.png")).unwrap(), bytes, "nothing is written over");
    assert_eq!(
        std::fs::read(exam.join("stills/a-2.png")).unwrap(),
        std::fs::read(card.join("a.png")).unwrap()
    );
    std::fs::remove_file(card.join("a.png")).unwrap();
    let (_, told) = run(&["check", &exam_path]);
    assert!(!told.contains("is no longer at") && !told.contains("file-changed"), "{told}");
    assert!(!pair(&[]).contains("does not hold them"), "and nothing more is said of it");
}

#[test]
fn a_report_without_the_picture_of_a_still_that_is_gone_says_so() {
    let folder = still::folder();
    std::fs::remove_file(folder.path().join("still.png")).unwrap();
    let (code, told) = run(&["report", &folder.path().to_string_lossy()]);
    assert_eq!(code, Some(1), "{told}");
    assert!(told.contains("`still.png` is no longer where it was paired"), "{told}");
}

/// The stills name another horse: they are there, and not accepted.
#[test]
fn stills_that_were_not_accepted_are_named_where_they_are_missed() {
    use crate::exchange::stage::{SAVED_S, unpaired};
    use dicom_core::{DataElement, VR};
    use dicom_dictionary_std::{tags, uids};
    let (exam, card) = (unpaired(), tempfile::tempdir().unwrap());
    for (number, saved_s) in (1..).zip(SAVED_S) {
        let mut still = crate::exchange::stage::still(number, saved_s);
        still.put(DataElement::new(tags::PATIENT_NAME, VR::PN, "Larkfield Stud^Bramble"));
        let meta = dicom_object::FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
        still.with_meta(meta).unwrap().write_to_file(card.path().join(format!("IM{number}.dcm"))).unwrap();
    }
    let exam = exam.path().to_string_lossy().into_owned();
    run(&["pair", &exam, "--frames", &card.path().to_string_lossy()]);
    let (_, told) = run(&["check", &exam]);
    assert!(told.contains("has no still that was accepted; 3 that may show it were not"), "{told}");
    assert!(!told.contains("look on the scanner"), "{told}");
    for form in ["labelled", "dicom"] {
        let (code, told) = run(&["export", &exam, "--as", form]);
        assert_eq!(code, Some(1), "{form}: {told}");
        assert!(told.contains("and 2 more stills are not accepted"), "{form}: {told}");
    }
}
