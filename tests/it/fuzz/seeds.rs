//! Whole inputs of each kind, from which the changed ones are made.

use std::path::Path;

use dicom_core::value::PixelFragmentSequence;
use dicom_core::{DataElement, PrimitiveValue, VR, dicom_value};
use dicom_dictionary_std::tags;
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
use zonecall::archive::{Archive, Filed};
use zonecall::exam::journal::JOURNAL_FILE;
use zonecall::speech::keep::Keeper;

use crate::support::{self, pydicom, sample, still};

/// The bytes of a file that is made at a path.
fn made(name: &str, make: impl Fn(&Path)) -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    make(&path);
    std::fs::read(path).unwrap()
}

fn file(path: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(path)).unwrap()
}

pub(super) fn wav() -> Vec<Vec<u8>> {
    let kept = made("a.wav", |path| {
        let mut keeper = Keeper::create(path, support::header().started_at, 7200).unwrap();
        keeper.write(&[7; 4000]).unwrap();
        keeper.finalise().unwrap();
    });
    let other = |channels, bits_per_sample, sample_format| {
        let spec = hound::WavSpec { channels, sample_rate: 44_100, bits_per_sample, sample_format };
        made("a.wav", |path| {
            let mut wav = hound::WavWriter::create(path, spec).unwrap();
            for value in 0..400_i32 {
                match sample_format {
                    hound::SampleFormat::Int => wav.write_sample(value % 100).unwrap(),
                    hound::SampleFormat::Float => wav.write_sample(value as f32 / 400.0).unwrap(),
                }
            }
            wav.finalize().unwrap();
        })
    };
    let (int, float) = (hound::SampleFormat::Int, hound::SampleFormat::Float);
    vec![kept, other(2, 24, int), other(1, 8, int), other(2, 32, float)]
}

pub(super) fn flac() -> Vec<Vec<u8>> {
    let whole = file("tests/recorded/left_fore.flac");
    let cut = whole[..whole.len().min(9000)].to_vec();
    vec![cut, whole]
}

/// A still by run lengths (DICOM PS3.5, annex G), of 8 x 16 pixels of one value, one without compression, and one in the
/// colours of a palette.
fn dicom_stills() -> Vec<Vec<u8>> {
    let text = |tag, vr, value: &str| DataElement::new(tag, vr, PrimitiveValue::from(value));
    let number = |tag, value: u16| DataElement::new(tag, VR::US, dicom_value!(U16, [value]));
    let about = || {
        InMemDicomObject::from_element_iter([
            text(tags::SOP_CLASS_UID, VR::UI, "1.2.840.10008.5.1.4.1.1.6.1"),
            text(tags::SOP_INSTANCE_UID, VR::UI, "2.25.1"),
            text(tags::ACQUISITION_DATE_TIME, VR::DT, "20260504100000.25"),
            text(tags::PATIENT_NAME, VR::PN, "Juniper"),
            number(tags::SAMPLES_PER_PIXEL, 1),
            text(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "MONOCHROME2"),
            number(tags::ROWS, 8),
            number(tags::COLUMNS, 16),
            number(tags::BITS_ALLOCATED, 8),
            number(tags::BITS_STORED, 8),
            number(tags::HIGH_BIT, 7),
            number(tags::PIXEL_REPRESENTATION, 0),
        ])
    };
    let write = |object: InMemDicomObject, syntax: &str| {
        let meta = FileMetaTableBuilder::new().transfer_syntax(syntax);
        made("a.dcm", |path| object.clone().with_meta(meta.clone()).unwrap().write_to_file(path).unwrap())
    };
    let mut fragment = vec![0; 64];
    fragment[0] = 1;
    fragment[4] = 64;
    fragment.extend([129, 77]);
    let (mut runs, mut plain) = (about(), about());
    runs.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PixelFragmentSequence::new(vec![0], vec![fragment])));
    plain.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::from(vec![7_u8; 128])));
    let mut coloured = plain.clone();
    coloured.put(text(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "PALETTE COLOR"));
    for (descriptor, data) in [
        (tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR, tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DATA),
        (tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR, tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DATA),
        (tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR, tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DATA),
    ] {
        coloured.put(DataElement::new(descriptor, VR::US, dicom_value!(U16, [16, 0, 16])));
        coloured.put(DataElement::new(data, VR::OW, PrimitiveValue::from(vec![77_u8; 32])));
    }
    let plain_syntax = "1.2.840.10008.1.2.1";
    vec![write(runs, "1.2.840.10008.1.2.5"), write(plain, plain_syntax), write(coloured, plain_syntax)]
}

pub(super) fn dicom() -> Vec<Vec<u8>> {
    // JPEG 2000, big-endian, JPEG, JPEG-LS of grey and of colours, deflated, brightness with shared differences of colour.
    let others = [
        "examples_jpeg2k.dcm",
        "ExplVR_BigEnd.dcm",
        "SC_rgb_jpeg_dcmtk.dcm",
        "JPEGLSNearLossless_08.dcm",
        "SC_rgb_jls_lossy_line.dcm",
        "image_dfl.dcm",
        "SC_ybr_full_422_uncompressed.dcm",
    ];
    let samples = pydicom::samples();
    let others = others.iter().map(|name| std::fs::read(samples.join(name)).unwrap());
    dicom_stills().into_iter().chain(others).collect()
}

pub(super) fn pictures() -> Vec<Vec<u8>> {
    let picture = image::RgbImage::from_fn(48, 32, |x, y| image::Rgb([x as u8, y as u8, (x * y) as u8]));
    let files = ["a.png", "a.jpg", "a.bmp", "a.tiff"];
    let plain = files.iter().map(|name| made(name, |path| picture.save(path).unwrap()));
    plain.chain(dicom()).collect()
}

/// A picture whose EXIF data states a time (EXIF 2.3: tag 0x9003 in the directory that tag 0x8769 names).
pub(super) fn exif() -> Vec<Vec<u8>> {
    let mut tiff = b"II\x2a\0\x08\0\0\0\x03\0".to_vec();
    for (tag, kind, count, value) in
        [(0x100_u16, 3_u16, 1_u32, 64_u32), (0x101, 3, 1, 48), (0x8769, 4, 1, 50)]
    {
        tiff.extend(tag.to_le_bytes());
        tiff.extend(kind.to_le_bytes());
        tiff.extend(count.to_le_bytes());
        tiff.extend(value.to_le_bytes());
    }
    tiff.extend([0; 4]);
    tiff.extend(b"\x01\0\x03\x90\x02\0\x14\0\0\0\x44\0\0\0\0\0\0\0");
    tiff.extend(b"2026:05:04 10:00:00\0");
    let exif = [&b"Exif\0\0"[..], &tiff].concat();
    let mut jpeg = b"\xff\xd8\xff\xe1".to_vec();
    jpeg.extend(u16::try_from(exif.len() + 2).unwrap().to_be_bytes());
    jpeg.extend(exif);
    jpeg.extend(b"\xff\xc0\0\x0b\x08\0\x30\0\x40\x01\x01\x11\0\xff\xd9");
    vec![tiff, jpeg]
}

pub(super) fn grammar() -> Vec<Vec<u8>> {
    let small = "#JSGF V1.0;\ngrammar small;\n\
        public <exam> = <view> {!view} | save {!save} | [the] <limb>+;\n\
        <view> = <limb> zone (one | two) {zone=1A};\n<limb> = (left | right) fore {limb=LF} | /2/ hind;\n";
    vec![small.as_bytes().to_vec(), file("grammars/en/core.gram")]
}

pub(super) fn dictionary() -> Vec<Vec<u8>> {
    vec![file("grammars/en/words.dict"), b"fore  F AO R\nfore(2)  F OW R\n# a remark\n".to_vec()]
}

pub(super) fn own_words() -> Vec<Vec<u8>> {
    vec![b"# ours\nfront = fore\nflexor tendon = superficial flexor / F L EH K S ER\n".to_vec()]
}

/// Each file of the protocols, with its name as a remark in its first line.
pub(super) fn protocols() -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("protocols");
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    let text =
        |name: &String| [format!("# {name}\n").into_bytes(), file(&format!("protocols/{name}"))].concat();
    names.iter().map(text).collect()
}

pub(super) fn settings() -> Vec<Vec<u8>> {
    let all = "device = \"headset\"\near = \"sphinx\"\ntones = true\nvoice = false\nwatch = \"/tmp\"\n\
        export_delay_s = 2.5\ncall_word = \"exam\"\nperson = \"Ada\"\nscore_scale = \"0 to 4\"\n";
    vec![all.as_bytes().to_vec()]
}

pub(super) fn journal() -> Vec<Vec<u8>> {
    let case = "tests/cases/001_two_zones_in_both_planes/journal.jsonl";
    let folder = still::folder();
    vec![file(case), std::fs::read(folder.path().join(JOURNAL_FILE)).unwrap()]
}

pub(super) fn record() -> Vec<Vec<u8>> {
    vec![serde_json::to_vec(&sample::record()).unwrap()]
}

pub(super) fn archive() -> Vec<Vec<u8>> {
    let record = sample::record();
    let at = support::header().started_at;
    let filed = Filed { record: &record, lines: 9, hash: "aa", folder: "exams/x", at };
    vec![made("a.sqlite", |path| {
        let archive = Archive::open(path.to_str().unwrap()).unwrap();
        archive.file(&filed).unwrap();
    })]
}

/// Requests with places for what only the running desk knows.
pub(super) fn page() -> Vec<Vec<u8>> {
    let change = r#"{"by":"Ada","why":"","seen":9,"change":{"change":"withdraw","seq":4}}"#;
    let post = format!(
        "POST /api/change HTTP/1.1\r\nHOST\r\nCOOKIE\r\nORIGIN\r\nContent-Type: application/json\r\n\
         Content-Length: {}\r\nConnection: close\r\n\r\n{change}",
        change.len()
    );
    let get = |path: &str| format!("GET {path} HTTP/1.1\r\nHOST\r\nCOOKIE\r\nConnection: close\r\n\r\n");
    [get("/api/exam"), get("/still/0"), get("/sound?from=0&to=16000"), get("/api/sound/4"), post]
        .map(String::into_bytes)
        .to_vec()
}
