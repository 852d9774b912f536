//! What a scanner drew beside its pixels is in the pictures that are made of a still, as pydicom reads it.
use std::path::Path;

use crate::other_stills::make;
use crate::support::pydicom;

use zonecall::report::picture::{Light, grey, png};

/// The places of a picture that are white, by rows, as `make.py overlays` prints them.
fn white(path: &Path, frame: u32) -> Vec<bool> {
    let shown = image::load_from_memory(&png(path, frame, Light::PLAIN).unwrap()).unwrap().to_luma8();
    shown.pixels().map(|pixel| pixel.0[0] == u8::MAX).collect()
}

/// A magnetic resonance picture with a plane, out of pydicom 3.0.2; that it is none of ultrasound does not matter here.
#[test]
fn a_plane_of_another_maker_is_drawn_where_another_library_reads_it() {
    let path = pydicom::sample("examples_overlay.dcm");
    let script = "import sys, pydicom, json; print(json.dumps(pydicom.dcmread(sys.argv[1]).overlay_array(0x6000).ravel().tolist()))";
    let wanted: Vec<u8> =
        serde_json::from_str(&pydicom::python_with(script, &[path.to_str().unwrap()])).unwrap();
    assert!(wanted.contains(&1) && wanted.contains(&0));
    let shown = white(&path, 0);
    assert_eq!(shown.len(), wanted.len());
    let missing = wanted.iter().zip(&shown).filter(|(bit, white)| **bit == 1 && !**white).count();
    let extra = wanted.iter().zip(&shown).filter(|(bit, white)| **bit == 0 && **white).count();
    // Bone may be as white as a letter.
    assert!(missing == 0 && extra < wanted.len() / 100, "{missing} missing, {extra} white beside them");
}

/// Planes at a place of their own, reaching out of the picture, of one frame of a loop, in spare bits of the pixels, over
/// colours, compressed, and a region of interest: what is white is what `make.py` says, out of pydicom's own reading.
#[test]
fn each_kind_of_plane_is_drawn_and_nothing_of_it_is_measured() {
    let folder = tempfile::tempdir().unwrap();
    let told = make(&["overlays", folder.path().to_str().unwrap()]);
    let told: Vec<(String, u32, Vec<u8>)> = serde_json::from_str(&told).unwrap();
    assert_eq!(told.len(), 9);
    for (file, frame, wanted) in told {
        let path = folder.path().join(&file);
        let wanted: Vec<bool> = wanted.iter().map(|bit| *bit == 1).collect();
        assert!(white(&path, frame) == wanted, "{file}, frame {frame}");
        // Nothing is traced on letters.
        let stored = grey(&path, frame).unwrap();
        let places = (0..30).flat_map(|x| (0..20).map(move |y| (x, y)));
        assert!(places.map(|(x, y)| stored.at(x, y).unwrap()).all(|value| value < u8::MAX), "{file}");
    }
}

/// What cannot be drawn is said: the plane of `embedded.dcm`, its pixels packed.
#[test]
fn a_plane_that_is_not_drawn_is_noted_with_its_still() {
    let folder = tempfile::tempdir().unwrap();
    make(&["overlays", folder.path().to_str().unwrap()]);
    let noted = |file: &str| {
        let still = zonecall::frames::folder::one(&folder.path().join(file), folder.path(), 0).unwrap();
        still.problems.iter().any(|problem| problem.message.contains("overlay plane that is not drawn"))
    };
    assert!(!noted("embedded.dcm") && !noted("two.dcm") && !noted("packed.dcm"));
    let path = folder.path().join("embedded.dcm");
    let script = "import sys, pydicom; still = pydicom.dcmread(sys.argv[1]); still.compress(pydicom.uid.RLELossless); still.save_as(sys.argv[1])";
    pydicom::python_with(script, &[path.to_str().unwrap()]);
    assert!(noted("embedded.dcm"));
}
