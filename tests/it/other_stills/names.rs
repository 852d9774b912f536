//! Names in other letters.
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use super::make;
use crate::exchange::stage::still;

use dicom_dictionary_std::uids;
use dicom_object::FileMetaTableBuilder;
use zonecall::frames::folder;

fn written(path: &Path) -> Vec<u8> {
    let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
    still(1, 14.0).with_meta(meta).unwrap().write_to_file(path).unwrap();
    fs::read(path).unwrap()
}

/// Arabic, Chinese, French, German, Greek, Hebrew, Japanese, Korean and Russian names, with one set and with several that are
/// switched, out of pydicom 3.0.2; most are those of PS3.5, annexes H to K. Each is read as pydicom reads it.
#[test]
fn names_in_each_character_set_are_read_as_another_library_reads_them() {
    let folder = tempfile::tempdir().unwrap();
    let plain = folder.path().join("plain.dcm");
    written(&plain);
    let told = make(&["names", plain.to_str().unwrap(), folder.path().to_str().unwrap()]);
    let told: BTreeMap<String, String> = serde_json::from_str(&told).unwrap();
    assert_eq!(told.len(), 15, "{told:?}");
    for (file, wanted) in told {
        let frame = folder::one(&folder.path().join(&file), folder.path(), 0).unwrap();
        assert_eq!(frame.patient.unwrap().name.unwrap(), wanted, "{file}");
        let notes: Vec<&str> = frame.problems.iter().map(|problem| problem.message.as_str()).collect();
        assert!(!notes.iter().any(|note| note.contains("character set")), "{file}: {notes:?}");
    }
}

#[test]
fn utf_8_that_no_character_set_declares_is_read_as_such_and_said() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.dcm");
    let bytes = written(&path);
    let at = bytes.windows(10).position(|part| part == b"ISO_IR 192").unwrap();
    let names_at: Vec<usize> =
        (0..bytes.len() - 1).filter(|at| bytes[*at..*at + 2] == *"ü".as_bytes()).collect();
    // None; one that there is not; and Latin letters, which are no UTF-8.
    for (set, name, wanted, is_said) in [
        (b"          ", "ü".as_bytes(), "Müller^Juniper", true),
        (b"UTF-8     ", "ü".as_bytes(), "Müller^Juniper", true),
        (b"          ", b"\xfc ", "Mü ller^Juniper", false),
        (b"ISO_IR 100", "ü".as_bytes(), "MÃ¼ller^Juniper", false),
        (b"ISO_IR 148", b"\xfe ", "Mş ller^Juniper", false),
    ] {
        let mut file = bytes.clone();
        file[at..at + 10].copy_from_slice(set);
        for at in &names_at {
            file[*at..*at + 2].copy_from_slice(name);
        }
        fs::write(&path, file).unwrap();
        let frame = folder::one(&path, folder.path(), 0).unwrap();
        assert_eq!(frame.patient.unwrap().name.unwrap(), wanted);
        let notes: Vec<String> = frame.problems.into_iter().map(|problem| problem.message).collect();
        assert_eq!(
            notes.iter().any(|note| note.contains("declares no known character set")),
            is_said,
            "{notes:?}"
        );
    }
}
