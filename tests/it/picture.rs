//! Small pictures of stills: every usual format, and why there is none.
use crate::support::program::zonecall;
use crate::support::pydicom;
use crate::support::sample;
use crate::support::{header, sha256, write_journal};

use std::path::Path;

use zonecall::clock::Sample;
use zonecall::exam::event::{Event, Frame};
use zonecall::exam::journal::Journal;
use zonecall::knowledge::record::Status;
use zonecall::report::picture::{FIT_PX, MAX_SIDE_PX, Picture, pictures};

fn save_picture(path: &Path, width: u32, height: u32) {
    let speckle =
        image::GrayImage::from_fn(width, height, |x, y| image::Luma([((x * 7 + y * 13) % 256) as u8]));
    speckle.save(path).unwrap();
}

/// An uncompressed 8-bit DICOM still (Explicit VR Little Endian), written with the library's own writer.
fn save_dicom(path: &Path, rows: u16, columns: u16, pixels: Vec<u8>) {
    use dicom_core::{DataElement, PrimitiveValue, VR, dicom_value};
    use dicom_dictionary_std::tags;
    use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
    let text = |tag, vr, value: &str| DataElement::new(tag, vr, PrimitiveValue::from(value));
    let number = |tag, value: u16| DataElement::new(tag, VR::US, dicom_value!(U16, [value]));
    let object = InMemDicomObject::from_element_iter([
        text(tags::SOP_CLASS_UID, VR::UI, "1.2.840.10008.5.1.4.1.1.6.1"),
        text(tags::SOP_INSTANCE_UID, VR::UI, "2.25.1"),
        number(tags::SAMPLES_PER_PIXEL, 1),
        text(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "MONOCHROME2"),
        number(tags::ROWS, rows),
        number(tags::COLUMNS, columns),
        number(tags::BITS_ALLOCATED, 8),
        number(tags::BITS_STORED, 8),
        number(tags::HIGH_BIT, 7),
        number(tags::PIXEL_REPRESENTATION, 0),
        DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::from(pixels)),
    ]);
    let meta = FileMetaTableBuilder::new().transfer_syntax("1.2.840.10008.1.2.1");
    object.with_meta(meta).unwrap().write_to_file(path).unwrap();
}

fn picture_of(file: &str, make: impl Fn(&Path)) -> Picture {
    let folder = tempfile::tempdir().unwrap();
    make(&folder.path().join(file));
    let mut record = sample::record();
    record.frames = vec![sample::still(1, "LF 1A T -", Status::Spoken, Some(6))];
    record.frames[0].file = file.to_owned();
    record.frames[0].sha256 =
        std::fs::read(folder.path().join(file)).map(|bytes| sha256(&bytes)).unwrap_or_default();
    pictures(&record, folder.path()).remove("2.25.90001").unwrap()
}

#[test]
fn every_usual_format_becomes_a_small_picture_in_the_page() {
    let small = |picture| match picture {
        Picture::Shown { jpeg, width_px, height_px } => {
            assert!(jpeg.starts_with(&[0xFF, 0xD8, 0xFF]), "so a JPEG begins");
            (width_px, height_px)
        }
        Picture::NotShown { why } => panic!("not shown: {why}"),
    };
    for file in ["a.png", "a.jpg", "a.bmp", "a.tiff", "misnamed.dcm.png"] {
        assert_eq!(small(picture_of(file, |path| save_picture(path, 960, 720))), (480, 360), "{file}");
    }
    let pixels: Vec<u8> = (0..640u32 * 480).map(|idx| (idx % 251) as u8).collect();
    assert_eq!(small(picture_of("IM1", |path| save_dicom(path, 480, 640, pixels.clone()))), (480, 360));
    assert_eq!(small(picture_of("tiny.png", |path| save_picture(path, 40, 30))), (40, 30), "never enlarged");
    assert_eq!(FIT_PX, (480, 480));
}

#[test]
fn a_picture_that_cannot_be_shown_says_why() {
    let why = |picture| match picture {
        Picture::NotShown { why } => why,
        Picture::Shown { .. } => panic!("it was shown"),
    };
    let gone = why(picture_of("gone.dcm", |_| {}));
    assert!(gone.starts_with("`gone.dcm` cannot be read: "), "{gone}");
    let folder = why(picture_of("folder.dcm", |path| std::fs::create_dir(path).unwrap()));
    assert!(folder.starts_with("`folder.dcm` cannot be read: "), "{folder}");
    let noise = why(picture_of("noise.dcm", |path| std::fs::write(path, "no picture at all").unwrap()));
    assert!(noise.starts_with("neither a picture nor a DICOM file: "), "{noise}");
    let cut = why(picture_of("cut.png", |path| {
        save_picture(path, 96, 72);
        let bytes = std::fs::read(path).unwrap();
        std::fs::write(path, &bytes[..bytes.len() / 2]).unwrap();
    }));
    assert!(cut.starts_with("the picture cannot be decoded: "), "{cut}");
    let wide = why(picture_of("wide.dcm", |path| save_dicom(path, 1, 9000, vec![0; 9000])));
    assert_eq!(wide, format!("the picture has 9000 x 1 pixels; at most {MAX_SIDE_PX} a side are shown"));
    let short = why(picture_of("short.dcm", |path| save_dicom(path, 480, 640, vec![0; 100])));
    assert!(short.starts_with("the DICOM picture cannot be decoded: "), "{short}");
}

/// Mean red, green and blue of a picture, 0 to 255.
fn means(picture: Picture) -> [f64; 3] {
    let Picture::Shown { jpeg, .. } = picture else { panic!("{picture:?}") };
    let rgb = image::load_from_memory(&jpeg).unwrap().to_rgb8();
    let sum = rgb.pixels().fold([0.0; 3], |sum, pixel| [0, 1, 2].map(|idx| sum[idx] + f64::from(pixel[idx])));
    sum.map(|sum| sum / f64::from(rgb.width() * rgb.height()))
}

/// Colour and compressed ultrasound stills out of pydicom 3.0.2: the means are those of pydicom's own decoder with
/// NumPy 2 (JPEG 2000: pylibjpeg-openjpeg), the first picture of each file.
#[test]
fn colour_and_compressed_stills_look_as_another_reader_shows_them() {
    for (file, wanted) in [
        // Uncompressed RGB, whose preamble makes it a TIFF as well.
        ("examples_rgb_color.dcm", [40.10, 34.23, 28.46]),
        // JPEG baseline, YBR_FULL_422.
        ("examples_ybr_color.dcm", [9.21, 9.53, 9.67]),
        // A palette of 16 bits, applied by pydicom's `apply_color_lut` and brought to eight bits.
        ("examples_palette.dcm", [15.88, 20.03, 25.33]),
        // RGB by planes, big endian.
        ("ExplVR_BigEnd.dcm", [250.96, 248.05, 15.72]),
        // JPEG 2000.
        ("examples_jpeg2k.dcm", [40.37, 34.50, 28.71]),
    ] {
        let found = means(picture_of(file, |path| {
            std::fs::copy(pydicom::sample(file), path).unwrap();
        }));
        for (found, wanted) in found.iter().zip(wanted) {
            assert!((found - wanted).abs() < 2.0, "{file}: {found} for {wanted}");
        }
    }
}

/// pydicom 3.0.2 brings one picture uncompressed and in JPEG-LS as CharLS writes it, and two that lose within a bound.
#[test]
fn stills_in_jpeg_ls_look_as_they_do_uncompressed() {
    let shown = |file: &str| {
        picture_of("x.dcm", |path| {
            std::fs::copy(pydicom::sample(file), path).unwrap();
        })
    };
    assert_eq!(shown("MR_small_jpeg_ls_lossless.dcm"), shown("MR_small.dcm"));
    // Bands from black to white, the same in eight and in sixteen bits: the mean is that of pydicom's own decoder.
    let mean = |file: &str| means(shown(file))[0];
    assert!((mean("JPEGLSNearLossless_08.dcm") - 55.56).abs() < 2.0);
    assert!(matches!(shown("JPEGLSNearLossless_16.dcm"), Picture::Shown { .. }));
    // One that ends early says so.
    let Picture::NotShown { why } = picture_of("x.dcm", |path| {
        let mut still = dicom_object::open_file(pydicom::sample("MR_small_jpeg_ls_lossless.dcm")).unwrap();
        let pixels = still.take_element(dicom_dictionary_std::tags::PIXEL_DATA).unwrap();
        let piece = pixels.fragments().unwrap()[0][..1000].to_vec();
        let cut = dicom_core::value::PixelFragmentSequence::new_fragments(vec![piece]);
        still.put(dicom_core::DataElement::new(
            dicom_dictionary_std::tags::PIXEL_DATA,
            dicom_core::VR::OB,
            cut,
        ));
        still.write_to_file(path).unwrap();
    }) else {
        panic!("it was shown")
    };
    assert!(why.contains("JPEG-LS") && why.contains("cut short"), "{why}");
}

/// A DICOM still of 4x2 pixels whose attributes and pixels `change` sets.
fn save_small(path: &Path, change: impl Fn(&mut dicom_object::DefaultDicomObject)) {
    save_dicom(path, 2, 4, vec![0, 1, 2, 3, 3, 2, 1, 0]);
    let mut still = dicom_object::open_file(path).unwrap();
    change(&mut still);
    still.write_to_file(path).unwrap();
}

/// Whether two colours are the same but for what JPEG loses.
fn like(found: [f64; 3], wanted: [f64; 3]) -> bool {
    found.iter().zip(wanted).all(|(found, wanted)| (found - wanted).abs() < 4.0)
}

/// PS3.3 C.7.6.3.1.2, PALETTE COLOR: a value is a place in three tables. Red falls, green rises, blue stands: worked by hand.
#[test]
fn a_still_in_palette_colours_is_shown_in_them_and_one_without_its_palette_says_so() {
    use dicom_core::{DataElement, PrimitiveValue, VR};
    use dicom_dictionary_std::tags;
    let palettes: [[u16; 4]; 3] = [[200, 150, 100, 50], [0, 20, 40, 60], [90; 4]];
    let coloured = |bits: u16, entries: u16, stored: fn(u16) -> Vec<u8>| {
        picture_of("IM1", |path| {
            save_small(path, |still| {
                let name = PrimitiveValue::from("PALETTE COLOR");
                still.put(DataElement::new(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, name));
                let tags = [
                    (
                        tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
                        tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DATA,
                    ),
                    (
                        tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
                        tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DATA,
                    ),
                    (
                        tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
                        tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DATA,
                    ),
                ];
                for ((descriptor, data), palette) in tags.into_iter().zip(palettes) {
                    let about = PrimitiveValue::U16([entries, 0, bits].as_slice().into());
                    still.put(DataElement::new(descriptor, VR::US, about));
                    let bytes: Vec<u8> = palette.into_iter().flat_map(stored).collect();
                    still.put(DataElement::new(data, VR::OW, PrimitiveValue::from(bytes)));
                }
            });
        })
    };
    let wanted = [125.0, 30.0, 90.0];
    for (bits, stored) in [
        (16, (|value: u16| (value * 257).to_le_bytes().to_vec()) as fn(u16) -> Vec<u8>),
        (8, |value: u16| vec![value as u8]),
        (8, |value: u16| value.to_le_bytes().to_vec()),
    ] {
        let found = means(coloured(bits, 4, stored));
        assert!(like(found, wanted), "{bits} bits: {found:?}");
    }
    let Picture::NotShown { why } = coloured(8, 200, |value| vec![value as u8]) else {
        panic!("it was shown")
    };
    assert!(why.contains("palette"), "{why}");
}

/// PS3.3 C.7.6.3.1.2, YBR_FULL_422, uncompressed: two greys, then the colour of both. The wanted colours are those of
/// ITU-R BT.601 at full range, worked by hand.
#[test]
fn a_still_whose_pixels_share_their_colour_is_shown_in_it() {
    use dicom_core::{DataElement, PrimitiveValue, VR};
    use dicom_dictionary_std::tags;
    let found = |kind: &str, stored: [u8; 4]| {
        means(picture_of("IM1", |path| {
            save_small(path, |still| {
                let name = PrimitiveValue::from(kind);
                still.put(DataElement::new(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, name));
                still.put(DataElement::new(tags::SAMPLES_PER_PIXEL, VR::US, PrimitiveValue::from(3_u16)));
                still.put(DataElement::new(tags::PLANAR_CONFIGURATION, VR::US, PrimitiveValue::from(0_u16)));
                let pixels = PrimitiveValue::from(stored.repeat(4));
                still.put(DataElement::new(tags::PIXEL_DATA, VR::OB, pixels));
            });
        }))
    };
    let full = found("YBR_FULL_422", [100, 120, 90, 200]);
    // 110 + 1.402 * 72, 110 + 0.344 * 38 - 0.714 * 72, 110 - 1.772 * 38
    assert!(like(full, [210.9, 71.7, 42.7]), "{full:?}");
    // PS3.3-2011 C.7.6.3.1.2, YBR_PARTIAL_422: of red 200, green 80 and blue 40 it makes the grey
    // 0.2568 * 200 + 0.5041 * 80 + 0.0979 * 40 + 16, and the differences
    // -0.1482 * 200 - 0.2910 * 80 + 0.4392 * 40 + 128 and 0.4392 * 200 - 0.3678 * 80 - 0.0714 * 40 + 128.
    let partial = found("YBR_PARTIAL_422", [112, 112, 93, 184]);
    assert!(like(partial, [200.0, 80.0, 40.0]), "{partial:?}");
}

/// A DICOM still by run lengths (DICOM PS3.5, annex G), whose one fragment is given as it is.
fn save_run_lengths(path: &Path, rows: u16, columns: u16, fragment: Vec<u8>) {
    use dicom_core::value::PixelFragmentSequence;
    use dicom_core::{DataElement, PrimitiveValue, VR, dicom_value};
    use dicom_dictionary_std::tags;
    use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
    let text = |tag, vr, value: &str| DataElement::new(tag, vr, PrimitiveValue::from(value));
    let number = |tag, value: u16| DataElement::new(tag, VR::US, dicom_value!(U16, [value]));
    let object = InMemDicomObject::from_element_iter([
        text(tags::SOP_CLASS_UID, VR::UI, "1.2.840.10008.5.1.4.1.1.6.1"),
        text(tags::SOP_INSTANCE_UID, VR::UI, "2.25.1"),
        number(tags::SAMPLES_PER_PIXEL, 1),
        text(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "MONOCHROME2"),
        number(tags::ROWS, rows),
        number(tags::COLUMNS, columns),
        number(tags::BITS_ALLOCATED, 8),
        number(tags::BITS_STORED, 8),
        number(tags::HIGH_BIT, 7),
        number(tags::PIXEL_REPRESENTATION, 0),
        DataElement::new(tags::PIXEL_DATA, VR::OB, PixelFragmentSequence::new(vec![0], vec![fragment])),
    ]);
    let meta = FileMetaTableBuilder::new().transfer_syntax("1.2.840.10008.1.2.5");
    object.with_meta(meta).unwrap().write_to_file(path).unwrap();
}

/// The header of run lengths: how many segments, and where each begins.
fn run_lengths(n_segments: u32, segments: &[u8]) -> Vec<u8> {
    let mut fragment = vec![0; 64];
    fragment[..4].copy_from_slice(&n_segments.to_le_bytes());
    fragment[4..8].copy_from_slice(&64_u32.to_le_bytes());
    [fragment, segments.to_vec()].concat()
}

/// Whole, cut short, with too many segments, with an offset beyond the end, and a header alone.
#[test]
fn a_bad_still_ends_no_report_and_the_others_are_shown() {
    let folder = tempfile::tempdir().unwrap();
    write_journal(folder.path(), &[(2.0, "left fore zone two bravo transverse"), (6.0, "save")]);
    // 8 x 16 pixels of one value: a run of 128.
    let whole = run_lengths(1, &[129, 77]);
    let mut beyond = whole.clone();
    beyond[4..8].copy_from_slice(&u32::MAX.to_le_bytes());
    let files = [
        ("whole", whole.clone()),
        ("cut", whole[..65].to_vec()),
        ("many", run_lengths(u32::MAX, &[129, 77])),
        ("beyond", beyond),
        ("short", vec![1, 0, 0, 0]),
    ];
    let mut journal = Journal::open(folder.path()).unwrap();
    for (name, fragment) in files {
        let file = format!("{name}.dcm");
        save_run_lengths(&folder.path().join(&file), 8, 16, fragment);
        let frame = Frame {
            id: name.to_owned(),
            file,
            sha256: sha256(&std::fs::read(folder.path().join(format!("{name}.dcm"))).unwrap()),
            saved_at: header().started_at,
            resolution_s: 1.0,
            time_source: "AcquisitionDateTime".to_owned(),
            zone_assumed: false,
            instance_number: None,
            size_px: Some((16, 8)),
            problems: Vec::new(),
            also_in: Vec::new(),
            content_at: None,
            scanner: None,
            patient: None,
            animal: None,
            stated_site: None,
            pixels_sha256: None,
            study: None,
        };
        journal.append(header().started_at, Sample::FIRST, &Event::Frame(Box::new(frame))).unwrap();
    }
    drop(journal);
    let path = folder.path().to_string_lossy().into_owned();
    for format in ["html", "pdf"] {
        let told = zonecall(&["report", &path, "--format", format]);
        let words = String::from_utf8_lossy(&told.stderr);
        assert!(told.status.success(), "{format}: {words}");
        assert!(!words.contains("panicked"), "{words}");
    }
    let page = std::fs::read_to_string(folder.path().join("out/report.html")).unwrap();
    let shown = |still: u32| page.contains(&format!("alt=\"still {still}\""));
    assert!(shown(1), "the whole one is shown");
    // The one that is cut short is shown as far as it goes; the others have nothing to show.
    assert!(![3, 4, 5].into_iter().any(shown), "what cannot be read is not shown");
}
