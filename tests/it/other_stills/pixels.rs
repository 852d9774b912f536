//! Pictures that are stored as few scanners do.
use std::fs;

use super::make;
use crate::exchange::stage::{export, folder};
use crate::support::{as_paired, pydicom};

use dicom_core::value::{PixelFragmentSequence, Value};
use dicom_core::{DataElement, PrimitiveValue, VR};
use dicom_dictionary_std::tags;
use zonecall::report::picture::{Light, png};

/// Each kind looks as pydicom's own decoder and converter show it.
#[test]
fn each_kind_of_pixel_looks_as_another_reader_shows_it() {
    let exam = folder();
    let made = exam.path().join("made");
    fs::create_dir(&made).unwrap();
    let still = exam.path().join("frames/IM1.dcm");
    let kinds = make(&["kinds", still.to_str().unwrap(), made.to_str().unwrap()]);
    for kind in serde_json::from_str::<Vec<String>>(&kinds).unwrap() {
        let original = made.join(format!("{kind}.dcm"));
        fs::copy(&original, &still).unwrap();
        as_paired(exam.path());
        // As copies for people show it: nothing is stretched where the file asks for nothing.
        export(exam.path(), "labelled", &[], 0);
        let picture = exam.path().join("out/labelled/LF_2B_T_SDFT_01.png");
        let seen = make(&["looks", original.to_str().unwrap(), picture.to_str().unwrap()]);
        let apart: f64 = seen.trim().parse().unwrap();
        assert!(apart <= 2.0, "{kind}: {apart} of 255 apart");
    }
}

/// A loop of three frames in JPEG-LS, out of one picture of pydicom 3.0.2 in pieces; with an offset table and without.
#[test]
fn frames_in_several_pieces_are_put_together() {
    let source = pydicom::sample("MR_small_jpeg_ls_lossless.dcm");
    let shown = png(&source, 0, Light::PLAIN).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.dcm");
    for has_table in [true, false] {
        let mut still = dicom_object::open_file(&source).unwrap();
        let whole = still.take_element(tags::PIXEL_DATA).unwrap().fragments().unwrap()[0].clone();
        let half = whole.len() / 4 * 2;
        let (mut pieces, mut table, mut at) = (Vec::new(), Vec::new(), 0);
        for cuts in [vec![0, whole.len()], vec![0, half, whole.len()], vec![0, 100, half, whole.len()]] {
            table.push(at);
            for cut in cuts.windows(2) {
                pieces.push(whole[cut[0]..cut[1]].to_vec());
                at += 8 + u32::try_from(cut[1] - cut[0]).unwrap();
            }
        }
        let table = if has_table { table } else { Vec::new() };
        let pixels = PixelFragmentSequence::new(table, pieces);
        still.put(DataElement::new(tags::PIXEL_DATA, VR::OB, Value::PixelSequence(pixels)));
        still.put(DataElement::new(tags::NUMBER_OF_FRAMES, VR::IS, PrimitiveValue::from("3")));
        still.write_to_file(&path).unwrap();
        for frame in 0..3 {
            assert!(png(&path, frame, Light::PLAIN).unwrap() == shown, "frame {frame}, table {has_table}");
        }
    }
}
