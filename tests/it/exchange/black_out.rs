//! What is blackened in copies for teaching, whatever the pixels mean; judged by pydicom.

use std::path::Path;
use std::process::Command;

use dicom_core::value::PixelFragmentSequence;
use dicom_core::{DataElement, VR};
use dicom_dictionary_std::{tags, uids};

use super::stage::{SIZE, export, faults, folder, said_of};
use crate::other_stills::make;
use crate::support::as_paired;

/// Left, top, width and height.
const RECTANGLE: &str = "5,3,20,10";

fn copy(exam: &Path) -> std::path::PathBuf {
    exam.join("out/teaching/LF_2B_T_SDFT_01.dcm")
}

/// Grey in both directions, signed and of sixteen bits; colours by pixels, by planes, as greys and differences, shared,
/// through a palette; plain, run-length coded and big-endian.
#[test]
fn a_rectangle_is_black_to_another_reader_and_all_else_as_it_was() {
    let made = tempfile::tempdir().unwrap();
    let exam = folder();
    let still = exam.path().join("frames/IM1.dcm");
    let kinds = make(&["kinds", still.to_str().unwrap(), made.path().to_str().unwrap()]);
    let kinds: Vec<String> = serde_json::from_str(&kinds).unwrap();
    assert!(kinds.len() == 17, "{kinds:?}");
    for kind in kinds {
        let original = made.path().join(format!("{kind}.dcm"));
        std::fs::copy(&original, &still).unwrap();
        as_paired(exam.path());
        export(exam.path(), "teaching", &["--black-out", RECTANGLE], 0);
        let seen =
            make(&["seen", original.to_str().unwrap(), copy(exam.path()).to_str().unwrap(), RECTANGLE]);
        let seen: serde_json::Value = serde_json::from_str(&seen).unwrap();
        assert!(seen["inside"].as_f64().unwrap() <= 1.0, "{kind} is not black: {seen}");
        assert!(seen["outside"].as_f64().unwrap() <= 2.0, "{kind} is changed elsewhere: {seen}");
        let known = faults(&original);
        let is_error = |fault: &String| fault.starts_with("Error") && !known.contains(fault);
        let errors: Vec<String> = faults(&copy(exam.path())).into_iter().filter(is_error).collect();
        assert_eq!(errors, [] as [String; 0], "{kind}");
        // The picture beside it, which people see.
        let picture = image::open(copy(exam.path()).with_extension("png")).unwrap().to_rgb8();
        let inside =
            picture.enumerate_pixels().filter(|(x, y, _)| (5..25).contains(x) && (3..13).contains(y));
        assert!(inside.into_iter().all(|(.., pixel)| pixel.0 == [0; 3]), "{kind} is not black as a picture");
    }
}

/// Run lengths that end too early make their decoder panic: the other copies are made, and the still is named.
#[test]
fn a_torn_still_costs_its_copy_and_not_the_export() {
    let segment = |offset: u32, runs: &[u8]| {
        let mut fragment = [0; 64];
        fragment[0] = 1;
        fragment[4..8].copy_from_slice(&offset.to_le_bytes());
        [&fragment[..], runs].concat()
    };
    for torn in [segment(64, &[129]), segment(9999, &[129, 77]), vec![1, 0, 0, 0], segment(64, &[40, 1])] {
        let exam = folder();
        let path = exam.path().join("frames/IM1.dcm");
        let mut still = dicom_object::open_file(&path).unwrap();
        let pixels = PixelFragmentSequence::new(vec![0], vec![torn]);
        still.put(DataElement::new(tags::PIXEL_DATA, VR::OB, pixels));
        uids::RLE_LOSSLESS.clone_into(&mut still.meta_mut().transfer_syntax);
        still.write_to_file(&path).unwrap();
        as_paired(exam.path());
        let said = export(exam.path(), "teaching", &["--black-out", RECTANGLE], 1);
        assert!(said.contains("LF_2B_T_SDFT_01"), "{said}");
        assert!(!copy(exam.path()).exists(), "{said}");
        assert_eq!(super::stage::files(&exam.path().join("out/teaching")).len(), 2, "{said}");
    }
}

#[test]
fn a_rectangle_is_set_once_for_a_scanner() {
    let exam = folder();
    let settings = exam.path().join("scanners.toml");
    let teaching = |text: &str, more: &[&str]| {
        std::fs::write(&settings, text).unwrap();
        let mut program = Command::new(env!("CARGO_BIN_EXE_zonecall"));
        program.env("ZONECALL_SCANNERS", &settings);
        let done =
            program.args(["export", exam.path().to_str().unwrap(), "--as", "teaching"]).args(more).output();
        let done = done.unwrap();
        let said = said_of(&done);
        let black = dicom_object::open_file(copy(exam.path())).ok().map(|file| {
            let pixels = file.element(dicom_dictionary_std::tags::PIXEL_DATA).unwrap().to_bytes().unwrap();
            let is_black = |at: usize| pixels[at..at + usize::from(SIZE.0)].iter().all(|value| *value == 0);
            (is_black(0), is_black(64 * 47))
        });
        (done.status.code(), said, black)
    };
    // The stills name their maker and their station; letters count alike in both cases.
    let own = "[[scanner]]\nmanufacturer = \"a Maker\"\nstation = \"YARD3\"\nblack_out = [\"0,0,64,4\", \"0,47,64,1\"]\n";
    let (code, said, black) = teaching(own, &[]);
    assert_eq!((code, black), (Some(0), Some((true, true))), "{said}");
    assert!(!said.contains("look at each"), "{said}");
    // Another scanner's do not count, and that is said by the scanner's name.
    let other = "[[scanner]]\nstation = \"YARD4\"\nblack_out = [\"0,0,64,4\"]\n";
    let (code, said, black) = teaching(other, &[]);
    assert_eq!((code, black), (Some(0), Some((false, false))), "{said}");
    assert!(said.contains("`YARD3`") && said.contains("look at each"), "{said}");
    // What states nothing is for all; an option takes its place.
    let all = "[[scanner]]\nblack_out = [\"0,0,64,4\"]\n";
    assert_eq!(teaching(all, &[]).2, Some((true, false)));
    assert_eq!(teaching(all, &["--black-out", "0,47,64,1"]).2, Some((false, true)));
    // A file that cannot be read blackens nothing, so nothing is written.
    let (code, said, _) = teaching("[[scanner]]\nblack_out = [\"0,0,64\"]\n", &[]);
    assert!(code == Some(2) && said.contains("left, top, width and height"), "{said}");
}
