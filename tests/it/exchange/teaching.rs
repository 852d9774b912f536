//! Copies for teaching: nothing in them says whose they are.

use super::stage::{SIZE, STUDY, export, faults, files, folder, python};

/// Everything of the exam's stills, horse and people that must not be found again, as text.
const SECRETS: [&str; 12] = [
    "Juniper",
    "Müller",
    "Anna",
    "H-22",
    "A17",
    "YARD3",
    "A maker",
    "20260504",
    "2026-05-04",
    "20180401",
    STUDY,
    "2.25.200",
];

#[test]
fn no_file_holds_a_name_a_number_or_a_day() {
    let exam = folder();
    let said = export(exam.path(), "teaching", &[], 0);
    assert!(said.contains("look at each"), "{said}");
    let folder = exam.path().join("out/teaching");
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        let bytes = std::fs::read(&path).unwrap();
        for secret in SECRETS {
            let found = bytes.windows(secret.len()).any(|window| window == secret.as_bytes());
            assert!(!found, "{} holds `{secret}`", path.display());
        }
    }
    for path in files(&folder) {
        assert_eq!(faults(&path), Vec::<String>::new(), "{}", path.display());
        let read = python(&["header", path.to_str().unwrap()], "");
        assert_eq!(read["00120062"]["Value"][0], "YES");
        // PS3.15 annex E: the basic profile by its code in CID 7050.
        assert_eq!(read["00120064"]["Value"][0]["00080100"]["Value"][0], "113100");
    }
}

#[test]
fn a_rectangle_is_black_in_every_copy_and_all_else_is_as_it_was() {
    let exam = folder();
    let said = export(exam.path(), "teaching", &["--black-out", "0,0,64,10"], 0);
    assert!(!said.contains("look at each"), "{said}");
    let folder = exam.path().join("out/teaching");
    let picture = image::open(folder.join("LF_2B_T_SDFT_01.png")).unwrap().to_luma8();
    let columns = u32::from(SIZE.0);
    for (x, y, pixel) in picture.enumerate_pixels().filter(|(_, y, _)| *y < u32::from(SIZE.1)) {
        let wanted = if y < 10 { 0 } else { (y * columns + x) % 251 };
        assert_eq!(u32::from(pixel.0[0]), wanted, "{x} {y}");
    }
    let path = folder.join("LF_2B_T_SDFT_01.dcm");
    let file = dicom_object::open_file(&path).unwrap();
    let pixels = file.element(dicom_dictionary_std::tags::PIXEL_DATA).unwrap().to_bytes().unwrap();
    assert!(pixels[..640].iter().all(|value| *value == 0) && pixels[640] == (640 % 251) as u8);
    assert_eq!(faults(&path), Vec::<String>::new());
}

#[test]
fn names_of_two_exports_have_nothing_in_common() {
    let exam = folder();
    let name = || {
        export(exam.path(), "teaching", &[], 0);
        let path = exam.path().join("out/teaching/LF_2B_T_SDFT_01.dcm");
        python(&["header", path.to_str().unwrap()], "")["00080018"]["Value"][0].clone()
    };
    assert_ne!(name(), name());
}
