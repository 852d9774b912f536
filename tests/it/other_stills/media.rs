//! A memory stick from a scanner, with what scanners and computers keep on it for themselves.
use std::fs;
use std::path::Path;

use super::make;
use crate::exchange::stage::{SAVED_S, said_of, still, unpaired};
use crate::support::program::zonecall;

use dicom_dictionary_std::uids;
use dicom_object::FileMetaTableBuilder;
use zonecall::frames::folder;

/// The stills of the exam of `unpaired`, on a medium whose files are named by pydicom.
fn medium(folder: &Path) {
    let stills = folder.join("stills");
    fs::create_dir(&stills).unwrap();
    for (number, saved_s) in (1..).zip(SAVED_S) {
        let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
        let still = still(number, saved_s).with_meta(meta).unwrap();
        still.write_to_file(stills.join(format!("IM{number}.dcm"))).unwrap();
    }
    make(&["medium", stills.to_str().unwrap(), folder.join("stick").to_str().unwrap()]);
}

#[test]
fn a_medium_with_its_directory_is_a_source_of_stills() {
    let exam = unpaired();
    let folder = tempfile::tempdir().unwrap();
    medium(folder.path());
    let stick = folder.path().join("stick");
    assert!(stick.join("DICOMDIR").is_file() && stick.join("PT000000/ST000000/SE000000/IM000000").is_file());
    // What computers add when the stick is plugged in, and a still that was thrown away there.
    fs::write(stick.join("Thumbs.db"), b"\xd0\xcf\x11\xe0").unwrap();
    fs::write(stick.join("PT000000/desktop.ini"), b"[.ShellClassInfo]").unwrap();
    fs::write(stick.join(".DS_Store"), b"\0\0\0\x01Bud1").unwrap();
    fs::write(stick.join("PT000000/ST000000/SE000000/._IM000000"), b"\0\x05\x16\x07").unwrap();
    fs::create_dir(stick.join("$RECYCLE.BIN")).unwrap();
    fs::copy(folder.path().join("stills/IM1.dcm"), stick.join("$RECYCLE.BIN/$RIM1.dcm")).unwrap();

    let paired = zonecall(&["pair", exam.path().to_str().unwrap(), "--frames", stick.to_str().unwrap()]);
    let said = said_of(&paired);
    assert_eq!(paired.status.code(), Some(0), "{said}");
    assert!(said.contains("3 stills, 3 of them new"), "{said}");
    let lines: Vec<&str> = said.lines().filter(|line| line.contains("DICOMDIR")).collect();
    let told = "passed over 6 files that are not stills: $RECYCLE.BIN, .DS_Store, ._IM000000, DICOMDIR, Thumbs.db \
                and others; scanners and computers keep these for themselves";
    assert_eq!(lines, [told], "{said}");
    assert!(!said.contains("left out"), "{said}");
    // The directory itself may be named, too.
    let directory = stick.join("DICOMDIR");
    let paired = zonecall(&["pair", exam.path().to_str().unwrap(), "--frames", directory.to_str().unwrap()]);
    assert_eq!(paired.status.code(), Some(0), "{}", said_of(&paired));
    let checked = zonecall(&["check", exam.path().to_str().unwrap()]);
    assert!(!said_of(&checked).contains("DICOMDIR"), "{}", said_of(&checked));
}

/// What may be a still by its name is looked at, whatever it begins with.
#[test]
fn only_the_known_names_are_passed_over() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["thumbs", "DICOMDIR2", "IM1.db", "desktop.png"] {
        fs::write(folder.path().join(name), b"no picture").unwrap();
    }
    for name in ["dicomdir", "DICOMDIR.", "THUMBS.DB"] {
        fs::write(folder.path().join(name), b"no picture").unwrap();
    }
    let found = folder::read(folder.path(), folder.path(), 0);
    assert_eq!((found.stills.len(), found.refused.len(), found.beside.len()), (0, 4, 3), "{found:?}");
}
