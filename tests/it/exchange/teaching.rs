//! Copies for teaching: nothing in them says whose they are.

use std::collections::BTreeMap;
use std::io::Read as _;
use std::path::Path;

use super::stage::{SIZE, STUDY, agree, doubtful, export, faults, files, folder, python};

/// A number of 128 bits has fewer digits once in a thousand million times.
const NEW_DIGITS_MIN: usize = 30;

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

/// The bytes of a copy without the digits of the names that it was given. These are made anew for each export, from 128 bits
/// (PS3.5 B.2), and each few hundred of them hold a short number by chance; the names of the stills are far shorter.
fn without_new_names(mut bytes: Vec<u8>) -> Vec<u8> {
    let starts: Vec<usize> =
        bytes.windows(5).enumerate().filter(|(_, five)| five == b"2.25.").map(|(at, _)| at + 5).collect();
    for start in starts {
        let digits = bytes[start..].iter().take_while(|byte| byte.is_ascii_digit()).count();
        if digits >= NEW_DIGITS_MIN {
            bytes[start..start + digits].fill(b'#');
        }
    }
    bytes
}

/// A file, or each file of an archive and its list of them: in packed bytes three letters stand by chance, too.
fn held(path: &Path) -> Vec<(String, Vec<u8>)> {
    if path.extension().is_none_or(|ending| ending != "zip") {
        return vec![(String::new(), without_new_names(std::fs::read(path).unwrap()))];
    }
    let mut archive = zip::ZipArchive::new(std::fs::File::open(path).unwrap()).unwrap();
    let list = format!(
        "{} {:?}",
        String::from_utf8_lossy(archive.comment()),
        archive.file_names().collect::<Vec<_>>()
    );
    let mut held = vec![("list".to_owned(), list.into_bytes())];
    for idx in 0..archive.len() {
        let mut file = archive.by_index(idx).unwrap();
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).unwrap();
        held.push((file.name().to_owned(), without_new_names(bytes)));
    }
    assert!(held.len() > 3, "the archive holds the copies");
    held
}

#[test]
fn no_file_holds_a_name_a_number_or_a_day() {
    let exam = folder();
    let said = export(exam.path(), "teaching", &[], 0);
    assert!(said.contains("look at each"), "{said}");
    let folder = exam.path().join("out/teaching");
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        for (name, bytes) in held(&path) {
            for secret in SECRETS {
                let found = bytes.windows(secret.len()).any(|window| window == secret.as_bytes());
                assert!(!found, "{name} in {} holds `{secret}`", path.display());
            }
        }
    }
    agree(&files(&folder));
    for path in files(&folder) {
        assert_eq!(faults(&path), Vec::<String>::new(), "{}", path.display());
        let read = python(&["header", path.to_str().unwrap()], "");
        assert_eq!(read["00120062"]["Value"][0], "YES");
        // PS3.15 annex E: the basic profile by its code in CID 7050.
        assert_eq!(methods(&read), ["113100"]);
        // Nothing was blackened: the pixels are those of the still.
        assert_eq!(read["00080008"]["Value"][0], "ORIGINAL");
        assert!(read.get("00082111").is_none(), "{read}");
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
    // It is no original any more, and says what was done (PS3.3 C.7.6.1.1.2; PS3.15 E.3.1).
    let read = python(&["header", path.to_str().unwrap()], "");
    assert_eq!(read["00080008"]["Value"], serde_json::json!(["DERIVED", "PRIMARY"]));
    assert!(read["00082111"]["Value"][0].as_str().unwrap().contains("black"), "{read}");
    assert_eq!(read["00280301"]["Value"][0], "NO");
    assert_eq!(methods(&read), ["113100", "113101"]);
}

/// The codes of how a copy was made nobody's.
fn methods(read: &serde_json::Value) -> Vec<&str> {
    let items = read["00120064"]["Value"].as_array().unwrap().iter();
    items.map(|item| item["00080100"]["Value"][0].as_str().unwrap()).collect()
}

/// A label in doubt is no code, so that nothing in the copy names a side.
#[test]
fn a_copy_whose_label_is_in_doubt_is_a_whole_object_too() {
    let exam = doubtful();
    export(exam.path(), "teaching", &[], 0);
    let made = files(&exam.path().join("out/teaching"));
    assert_eq!(made.len(), 1);
    // The judge warns that a side may be empty only where it is unknown: it is.
    let errors: Vec<String> =
        faults(&made[0]).into_iter().filter(|fault| fault.starts_with("Error")).collect();
    assert_eq!(errors, Vec::<String>::new());
}

#[test]
fn pixels_that_share_their_colour_are_blackened_too() {
    use dicom_core::{DataElement, PrimitiveValue, VR};
    use dicom_dictionary_std::tags;
    let exam = super::stage::folder_of(&[], |number, still| {
        let name = PrimitiveValue::from("YBR_FULL_422");
        still.put(DataElement::new(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, name));
        still.put(DataElement::new(tags::SAMPLES_PER_PIXEL, VR::US, PrimitiveValue::from(3_u16)));
        still.put(DataElement::new(tags::PLANAR_CONFIGURATION, VR::US, PrimitiveValue::from(0_u16)));
        let pairs = usize::from(SIZE.0) * usize::from(SIZE.1) / 2;
        let mut pixels = [100_u8, 120, 128, 128].repeat(pairs);
        // No two stills show the very same picture.
        *pixels.last_mut().unwrap() += u8::try_from(number).unwrap();
        still.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::from(pixels)));
    });
    export(exam.path(), "teaching", &["--black-out", "0,0,64,10"], 0);
    let copy = exam.path().join("out/teaching/LF_2B_T_SDFT_01.dcm");
    assert_eq!(faults(&copy), Vec::<String>::new());
    let file = dicom_object::open_file(&copy).unwrap();
    let pixels = file.element(tags::PIXEL_DATA).unwrap().to_bytes().unwrap();
    let black = 3 * 64 * 10;
    assert!(pixels[..black].iter().all(|value| *value == 0));
    assert_eq!(pixels[black..black + 6], [100, 100, 100, 120, 120, 120]);
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

/// Attributes of PS3.15 table E.1-1 with which the copies do otherwise than the basic profile asks, each with its reason.
const OTHERWISE: [(&str, &str, &str); 2] = [
    // Responsible Person and Responsible Organization: the profile removes them. They are of type 2 in the Patient Module
    // where the patient is an animal (PS3.3 C.7.1.1), so they are there, and empty.
    ("00102297", "X", "empty"),
    ("00102299", "X", "empty"),
];

/// The list is that of the edition 2026c of PS3.15, as the library `dicom-anonymizer` has it: each of its attributes is
/// put into a still, with a value that is found again wherever it goes.
#[test]
fn no_attribute_of_the_profile_s_list_survives_and_each_that_is_treated_otherwise_is_named() {
    let exam = folder();
    let still = exam.path().join("frames/IM1.dcm");
    let added = python(&["fill", still.to_str().unwrap()], "");
    assert!(added.as_object().unwrap().len() > 600, "{added}");
    crate::support::as_paired(exam.path());
    export(exam.path(), "teaching", &[], 0);
    let copy = exam.path().join("out/teaching/LF_2B_T_SDFT_01.dcm");
    let told = python(&["profiled", still.to_str().unwrap(), copy.to_str().unwrap()], "");
    let told: BTreeMap<String, (String, String)> = serde_json::from_value(told).unwrap();
    let mut otherwise = Vec::new();
    let mut stricter = 0;
    for (tag, (action, became)) in &told {
        // PS3.15 table E.1-1a: X removes, Z empties or puts a value that says nothing, D puts such a value, U a new UID.
        let asked = match became.as_str() {
            "gone" => action.contains('X'),
            "empty" => action.contains('Z'),
            "other" => action.contains(['D', 'Z', 'U']),
            kept => panic!("{tag} ({action}) is {kept}"),
        };
        if asked {
            continue;
        }
        // What these objects can do without goes altogether, where the profile would leave it empty or replace it: only
        // what is on the list of what stays is copied.
        if became == "gone" {
            stricter += 1;
        } else {
            otherwise.push((tag.as_str(), action.as_str(), became.as_str()));
        }
    }
    assert_eq!(otherwise, OTHERWISE);
    assert!(stricter > 100, "{stricter}");
    // They can do without: the judge misses nothing.
    assert_eq!(faults(&copy), Vec::<String>::new());
    // And nothing of it went elsewhere, into a sequence, a text or the name of a file.
    for path in files(&exam.path().join("out/teaching")) {
        let bytes = without_new_names(std::fs::read(&path).unwrap());
        for tag in added.as_object().unwrap().keys() {
            let mark = format!("S{tag}");
            assert!(
                !bytes.windows(mark.len()).any(|window| window == mark.as_bytes()),
                "{mark} in {}",
                path.display()
            );
        }
        for secret in ["19991231", "235959", "77077", "2.25.77"] {
            assert!(!bytes.windows(secret.len()).any(|window| window == secret.as_bytes()), "{secret}");
        }
    }
}
