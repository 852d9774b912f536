//! DICOM files without all of a head, or deflated as a whole.
use std::fs;
use std::path::Path;

use super::make;
use crate::exchange::stage::{export, faults, files, said_of, still, unpaired};
use crate::support::program::zonecall;
use crate::support::pydicom;

use dicom_dictionary_std::uids;
use dicom_object::FileMetaTableBuilder;
use zonecall::frames::folder;
use zonecall::report::picture::{Light, png};

/// The first still of the exam of `unpaired`, as it should be.
fn whole(path: &Path) {
    let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
    still(1, 14.0).with_meta(meta).unwrap().write_to_file(path).unwrap();
}

#[test]
fn a_still_is_the_same_whatever_comes_before_its_elements() {
    let folder = tempfile::tempdir().unwrap();
    let (wanted, made) = (folder.path().join("whole.dcm"), folder.path().join("made"));
    fs::create_dir(&made).unwrap();
    whole(&wanted);
    make(&["heads", wanted.to_str().unwrap(), made.to_str().unwrap()]);
    let one = |path: &Path| {
        folder::one(path, folder.path(), 7200).unwrap_or_else(|why| panic!("{}: {why:?}", path.display()))
    };
    let sure = one(&wanted);
    let shown = png(&wanted, 0, Light::PLAIN).unwrap();
    let mut n_files = 0;
    for entry in fs::read_dir(&made).unwrap() {
        let path = entry.unwrap().path();
        let found = one(&path);
        assert_eq!(found.pixels_sha256, sure.pixels_sha256, "{}", path.display());
        assert_eq!((&found.id, found.saved_at, &found.patient), (&sure.id, sure.saved_at, &sure.patient));
        assert!(png(&path, 0, Light::PLAIN).unwrap() == shown, "{} looks different", path.display());
        n_files += 1;
    }
    assert_eq!(n_files, 7);
}

#[test]
fn copies_of_a_deflated_still_are_dicom_files_like_all_others() {
    let exam = unpaired();
    let frames = exam.path().join("frames");
    fs::create_dir(&frames).unwrap();
    whole(&frames.join("whole.dcm"));
    let made = exam.path().join("made");
    fs::create_dir(&made).unwrap();
    make(&["heads", frames.join("whole.dcm").to_str().unwrap(), made.to_str().unwrap()]);
    for name in ["deflated", "bare-implicit"] {
        fs::copy(made.join(name), frames.join("whole.dcm")).unwrap();
        let paired = zonecall(&["pair", exam.path().to_str().unwrap(), "--frames", frames.to_str().unwrap()]);
        assert!(paired.status.code().is_some_and(|code| code < 2), "{}", said_of(&paired));
        for form in ["labelled", "teaching", "dicom"] {
            let out = exam.path().join(format!("{form}-{name}"));
            export(exam.path(), form, &["--out", out.to_str().unwrap()], 0);
            let copies = files(&out);
            assert!(!copies.is_empty(), "{form} of {name} is empty");
            for copy in copies {
                assert_eq!(faults(&copy), [] as [String; 0], "{form} of {name}");
            }
        }
    }
}

/// A deflated secondary capture out of pydicom 3.0.2: the mean is that of pydicom's own decoder.
#[test]
fn a_deflated_still_of_another_maker_is_read() {
    let path = pydicom::sample("image_dfl.dcm");
    let frame = folder::one(&path, Path::new("/"), 0).unwrap();
    assert_eq!(frame.size_px, Some((512, 512)));
    let picture = image::load_from_memory(&png(&path, 0, Light::PLAIN).unwrap()).unwrap().to_luma8();
    let mean = picture.pixels().map(|pixel| f64::from(pixel.0[0])).sum::<f64>() / 512.0 / 512.0;
    assert!((mean - 127.12).abs() < 0.5, "{mean}");
}

/// A few bytes of a deflated file may stand for any number: no more of them than a still could have are inflated.
#[test]
fn deflated_files_that_are_damaged_or_grow_without_end_are_refused_in_words() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.dcm");
    let meta = FileMetaTableBuilder::new()
        .media_storage_sop_class_uid(uids::ULTRASOUND_IMAGE_STORAGE)
        .media_storage_sop_instance_uid("2.25.1")
        .transfer_syntax(uids::DEFLATED_EXPLICIT_VR_LITTLE_ENDIAN);
    let mut head = vec![0; 128];
    head.extend(b"DICM");
    meta.build().unwrap().write(&mut head).unwrap();
    let told = |data: &[u8]| {
        fs::write(&path, [&head, data].concat()).unwrap();
        folder::one(&path, folder.path(), 0).unwrap_err().message
    };
    assert!(told(b"\xff\xff\xff\xff no such block").contains("cannot be inflated"));
    let mut packed = flate2::write::DeflateEncoder::new(Vec::new(), flate2::Compression::best());
    for _ in 0..300 {
        std::io::Write::write_all(&mut packed, &vec![0; 1 << 20]).unwrap();
    }
    assert!(told(&packed.finish().unwrap()).contains("more than 268435456 bytes"));
    // What is no DICOM file at all stays what it is.
    fs::write(&path, b"\x08\x00\x99\x00CS and more that is none").unwrap();
    assert!(folder::one(&path, folder.path(), 0).is_err());
}
