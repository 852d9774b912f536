//! Claims about reading stills: times, identity, regions and everything that is wrong with files.
use crate::support::pydicom;

use std::path::{Path, PathBuf};

use chrono::TimeDelta;
use dicom_core::{DataElement, PrimitiveValue, VR, value::DataSetSequence};
use dicom_dictionary_std::tags;
use dicom_object::{FileMetaTableBuilder, InMemDicomObject, Tag};

use zonecall::exam::call::Problem;
use zonecall::exam::event::Frame;
use zonecall::frames::dicom::{self, Region};
use zonecall::frames::folder::{self, were_copied};

/// Seconds east of UTC of the exams here.
const ZONE_S: i32 = 7200;

fn read(folder: &Path) -> (Vec<Frame>, Vec<(PathBuf, Problem)>) {
    let found = folder::read(folder, folder, ZONE_S);
    (found.stills, found.refused)
}

/// The one still in a folder, where nothing else was in it.
fn one(folder: &Path) -> Frame {
    let (mut frames, problems) = read(folder);
    assert_eq!((frames.len(), problems.len()), (1, 0), "{problems:?}");
    frames.remove(0)
}

pub(super) fn messages(problems: &[Problem]) -> String {
    problems.iter().map(|problem| format!("{}\n", problem.message)).collect()
}

/// A DICOM file of 640x480 with these attributes as text.
fn dicom_with(uid: &str, attributes: &[(Tag, VR, &str)]) -> InMemDicomObject {
    let mut object = InMemDicomObject::new_empty();
    object.put(DataElement::new(tags::SOP_CLASS_UID, VR::UI, "1.2.840.10008.5.1.4.1.1.6.1"));
    object.put(DataElement::new(tags::SOP_INSTANCE_UID, VR::UI, uid));
    object.put(DataElement::new(tags::ROWS, VR::US, PrimitiveValue::from(480_u16)));
    object.put(DataElement::new(tags::COLUMNS, VR::US, PrimitiveValue::from(640_u16)));
    for (tag, vr, text) in attributes {
        object.put(DataElement::new(*tag, *vr, *text));
    }
    object
}

fn write(path: &Path, object: InMemDicomObject) {
    let meta = FileMetaTableBuilder::new().transfer_syntax("1.2.840.10008.1.2.1");
    object.with_meta(meta).unwrap().write_to_file(path).unwrap();
}

pub(super) fn dated(attributes: &[(Tag, VR, &str)]) -> Frame {
    let folder = tempfile::tempdir().unwrap();
    write(&folder.path().join("a.dcm"), dicom_with("1.2.3", attributes));
    one(folder.path())
}

fn region(format: u16, bounds: [u32; 4], units: [u16; 2], deltas: [f64; 2]) -> InMemDicomObject {
    let edges = [
        tags::REGION_LOCATION_MIN_X0,
        tags::REGION_LOCATION_MIN_Y0,
        tags::REGION_LOCATION_MAX_X1,
        tags::REGION_LOCATION_MAX_Y1,
    ];
    let mut item = InMemDicomObject::new_empty();
    item.put(DataElement::new(tags::REGION_SPATIAL_FORMAT, VR::US, PrimitiveValue::from(format)));
    for (tag, edge) in edges.into_iter().zip(bounds) {
        item.put(DataElement::new(tag, VR::UL, PrimitiveValue::from(edge)));
    }
    for (tag, unit) in
        [tags::PHYSICAL_UNITS_X_DIRECTION, tags::PHYSICAL_UNITS_Y_DIRECTION].into_iter().zip(units)
    {
        item.put(DataElement::new(tag, VR::US, PrimitiveValue::from(unit)));
    }
    for (tag, delta) in [tags::PHYSICAL_DELTA_X, tags::PHYSICAL_DELTA_Y].into_iter().zip(deltas) {
        item.put(DataElement::new(tag, VR::FD, PrimitiveValue::from(delta)));
    }
    item
}

fn regions(items: Vec<InMemDicomObject>) -> (Vec<Region>, String) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.dcm");
    let mut object = dicom_with("1.2.3", &[]);
    let items = DataSetSequence::from(items);
    object.put(DataElement::new(tags::SEQUENCE_OF_ULTRASOUND_REGIONS, VR::SQ, items));
    write(&path, object);
    let (good, problems) = dicom::regions(&path).unwrap();
    (good, messages(&problems))
}

#[test]
fn the_times_of_a_dicom_still_are_tried_in_order() {
    let all = [
        (tags::ACQUISITION_DATE_TIME, VR::DT, "20260504100000.25"),
        (tags::ACQUISITION_DATE, VR::DA, "20260504"),
        (tags::ACQUISITION_TIME, VR::TM, "110000"),
        (tags::CONTENT_DATE, VR::DA, "20260504"),
        (tags::CONTENT_TIME, VR::TM, "120000.1"),
        (tags::INSTANCE_CREATION_DATE, VR::DA, "20260504"),
        (tags::INSTANCE_CREATION_TIME, VR::TM, "130000"),
    ];
    let wanted = [
        (0, "AcquisitionDateTime", "2026-05-04T08:00:00.250+00:00", 0.01),
        (1, "AcquisitionTime", "2026-05-04T09:00:00+00:00", 1.0),
        (3, "ContentTime", "2026-05-04T10:00:00.100+00:00", 0.1),
        (5, "InstanceCreationTime", "2026-05-04T11:00:00+00:00", 1.0),
    ];
    for (from, source, at, resolution_s) in wanted {
        let frame = dated(&all[from..]);
        assert_eq!(frame.time_source, source);
        assert_eq!(frame.saved_at.to_rfc3339(), at);
        assert_eq!((frame.resolution_s, frame.zone_assumed), (resolution_s, true));
    }
}

/// A scanner that saves loops asks nothing of anybody for each of them.
#[test]
fn a_loop_is_a_still_like_any_other() {
    let time = (tags::ACQUISITION_DATE_TIME, VR::DT, "20260504100000+0200");
    let frame = dated(&[time, (tags::NUMBER_OF_FRAMES, VR::IS, "30")]);
    assert_eq!(messages(&frame.problems), "");
}

#[test]
fn neither_study_nor_series_dates_a_still() {
    let frame = dated(&[
        (tags::STUDY_DATE, VR::DA, "20260504"),
        (tags::STUDY_TIME, VR::TM, "100000"),
        (tags::SERIES_DATE, VR::DA, "20260504"),
        (tags::SERIES_TIME, VR::TM, "100000"),
    ]);
    assert_eq!(frame.time_source, "file time");
    assert!(messages(&frame.problems).contains("modification time is used"));
}

#[test]
fn the_time_zone_of_the_file_goes_before_the_exams_and_a_colon_in_it_is_a_problem() {
    let time = (tags::ACQUISITION_DATE_TIME, VR::DT, "20260504100000");
    let frame = dated(&[time, (tags::TIMEZONE_OFFSET_FROM_UTC, VR::SH, "-0400")]);
    assert_eq!(
        (frame.saved_at.to_rfc3339().as_str(), frame.zone_assumed),
        ("2026-05-04T14:00:00+00:00", false)
    );
    for wrong in ["+02:00", "-0000"] {
        let frame = dated(&[time, (tags::TIMEZONE_OFFSET_FROM_UTC, VR::SH, wrong)]);
        assert_eq!(
            (frame.saved_at.to_rfc3339().as_str(), frame.zone_assumed),
            ("2026-05-04T08:00:00+00:00", true)
        );
        assert!(messages(&frame.problems).contains(wrong));
    }
}

#[test]
fn an_invalid_date_is_a_problem_and_the_next_time_is_taken() {
    let frame = dated(&[
        (tags::ACQUISITION_DATE, VR::DA, "1994-11-05"),
        (tags::ACQUISITION_TIME, VR::TM, "110000"),
        (tags::CONTENT_DATE, VR::DA, "20260504"),
        (tags::CONTENT_TIME, VR::TM, "120001"),
    ]);
    assert_eq!(frame.time_source, "ContentTime");
    assert!(messages(&frame.problems).contains("`1994-11-05`"), "{:?}", frame.problems);
}

#[test]
fn only_a_region_that_fits_the_image_gives_pixels_a_size() {
    let good = [10, 20, 600, 400];
    let (found, problems) = regions(vec![region(1, good, [3, 3], [0.01, -0.02])]);
    assert_eq!(found, [Region { bounds_px: good, delta_x_mm: 0.1, delta_y_mm: -0.2 }]);
    assert_eq!(problems, "");
    let refused = [
        (region(1, [10, 20, 641, 400], [3, 3], [0.01, 0.01]), "do not fit the image of 640x480"),
        (region(1, [10, 20, 600, 481], [3, 3], [0.01, 0.01]), "do not fit"),
        (region(1, [600, 20, 10, 400], [3, 3], [0.01, 0.01]), "do not fit"),
        (region(1, good, [3, 0], [0.01, 0.01]), "Physical Units Y Direction is 0"),
        (region(1, good, [4, 3], [0.01, 0.01]), "Physical Units X Direction is 4"),
        (region(1, good, [3, 3], [0.01, 0.0]), "Physical Delta Y is 0"),
        (region(1, good, [3, 3], [f64::NAN, 0.01]), "Physical Delta X is NaN"),
        (region(1, good, [3, 3], [1.0, 0.01]), "makes it 5900.000 mm wide, which no probe sees"),
        (region(1, good, [3, 3], [0.01, 1e-5]), "makes it 0.038 mm high"),
        (region(4, good, [3, 3], [0.01, 0.01]), "Region Spatial Format is 4"),
        (InMemDicomObject::new_empty(), "is missing"),
    ];
    for (item, why) in refused {
        let (found, problems) = regions(vec![item]);
        assert_eq!(found, []);
        assert!(problems.contains(why), "{problems} lacks {why}");
    }
    let (found, problems) = regions(vec![region(1, [0, 0, 640, 400], [3, 3], [0.01, 0.01])]);
    assert_eq!(found.len(), 1);
    assert!(problems.contains("one pixel outside"), "{problems}");
    let two = vec![
        region(1, [0, 0, 300, 400], [3, 3], [0.01, 0.01]),
        region(1, [310, 0, 600, 400], [3, 3], [0.02, 0.02]),
    ];
    assert!(regions(two).1.contains("2 regions with a scale of their own"));
}

#[test]
fn bad_files_are_problems_and_the_others_are_read_in_order() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    std::fs::create_dir_all(at("deep/deeper")).unwrap();
    let time = |text| [(tags::ACQUISITION_DATE_TIME, VR::DT, text)];
    write(&at("deep/deeper/late.dcm"), dicom_with("1.2.4", &time("20260504100005")));
    write(&at("early"), dicom_with("1.2.5", &time("20260504100001")));
    std::fs::copy(at("early"), at("early copy.dcm")).unwrap();
    write(
        &at("second.dcm"),
        dicom_with("1.2.6", &[time("20260504100005")[0], (tags::INSTANCE_NUMBER, VR::IS, "7")]),
    );
    write(
        &at("third.dcm"),
        dicom_with("1.2.7", &[time("20260504100005")[0], (tags::INSTANCE_NUMBER, VR::IS, "10")]),
    );
    let whole = std::fs::read(at("early")).unwrap();
    std::fs::write(at("cut.dcm"), &whole[..200]).unwrap();
    std::fs::write(at("empty.dcm"), "").unwrap();
    std::fs::write(at("words.txt"), "not a still").unwrap();
    std::fs::write(at(".hidden.dcm"), "not looked at").unwrap();
    std::fs::write(at("cut.jpg"), [0xff, 0xd8, 0xff, 0xe0, 0, 16]).unwrap();
    let (frames, problems) = read(folder.path());
    let order: Vec<&str> = frames.iter().map(|frame| frame.file.as_str()).collect();
    assert_eq!(order, ["early", "deep/deeper/late.dcm", "second.dcm", "third.dcm"]);
    let bad: Vec<String> =
        problems.iter().map(|(path, _)| path.file_name().unwrap().to_string_lossy().into_owned()).collect();
    assert_eq!(bad, ["cut.dcm", "cut.jpg", "early copy.dcm", "empty.dcm", "words.txt"]);
    assert!(problems[2].1.message.contains("the same still as `early`"), "{problems:?}");
    assert_eq!(frames[0].id, "1.2.5");
    let nowhere = read(&at("nowhere"));
    assert_eq!((nowhere.0.len(), nowhere.1.len()), (0, 1));
}

#[test]
fn a_file_cut_anywhere_is_read_or_refused_but_never_fatal() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.dcm");
    let mut object = dicom_with("1.2.3", &[(tags::ACQUISITION_DATE_TIME, VR::DT, "20260504100000")]);
    let items = DataSetSequence::from(vec![region(1, [1, 1, 9, 9], [3, 3], [0.01, 0.01])]);
    object.put(DataElement::new(tags::SEQUENCE_OF_ULTRASOUND_REGIONS, VR::SQ, items));
    write(&path, object);
    let whole = std::fs::read(&path).unwrap();
    for length in 0..whole.len() {
        std::fs::write(&path, &whole[..length]).unwrap();
        let (frames, problems) = read(folder.path());
        assert_eq!(frames.len() + problems.len(), 1, "cut at {length}");
    }
}

#[test]
fn an_element_that_claims_more_than_there_is_and_endless_nesting_are_refused_before_they_cost_memory() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.dcm");
    write(&path, dicom_with("1.2.3", &[]));
    let whole = std::fs::read(&path).unwrap();
    let mut greedy = whole.clone();
    greedy.extend(*b"\x29\0\x10\x10OB\0\0\xf0\xff\xff\xff");
    std::fs::write(&path, greedy).unwrap();
    let refused = dicom::read(&path, 0).unwrap_err().message;
    assert_eq!(refused, "element (0029,1010) claims 4294967280 bytes, but only 0 are left");
    let mut deep = whole;
    for _ in 0..100_000 {
        deep.extend(*b"\x08\0\x15\x11SQ\0\0\xff\xff\xff\xff\xfe\xff\0\xe0\xff\xff\xff\xff");
    }
    std::fs::write(&path, deep).unwrap();
    assert!(dicom::read(&path, 0).unwrap_err().message.contains("nested deeper than 64"));
}

/// A copy that broke off is not taken for the still, and never for the first of two.
#[test]
fn a_picture_that_is_cut_short_is_refused_and_the_whole_copy_is_taken() {
    let folder = tempfile::tempdir().unwrap();
    let fragments =
        dicom_core::value::PixelFragmentSequence::new(Vec::new(), vec![vec![7_u8; 400], vec![8; 200]]);
    let kinds: [(&str, dicom_core::value::Value<InMemDicomObject>); 2] =
        [("native", PrimitiveValue::from(vec![7_u8; 600]).into()), ("fragments", fragments.into())];
    for (name, pixels) in kinds {
        let mut object = dicom_with("1.2.3", &[(tags::ACQUISITION_DATE_TIME, VR::DT, "20260504100000")]);
        object.put(DataElement::new(tags::PIXEL_DATA, VR::OB, pixels));
        let path = folder.path().join("b whole.dcm");
        write(&path, object);
        let whole = std::fs::read(&path).unwrap();
        std::fs::write(folder.path().join("a cut.dcm"), &whole[..whole.len() - 300]).unwrap();
        let (frames, problems) = read(folder.path());
        assert_eq!((frames.len(), problems.len()), (1, 1), "{name}: {problems:?}");
        assert!(frames[0].file.ends_with("b whole.dcm"), "{name}: {}", frames[0].file);
        assert!(problems[0].1.message.contains("cut short"), "{name}: {}", problems[0].1.message);
    }
}

/// EXIF data as a TIFF: an EXIF directory with ASCII fields (tag, text).
fn tiff(size: Option<(u16, u16)>, fields: &[(u16, &str)]) -> Vec<u8> {
    let mut first: Vec<(u16, u16, u32, u32)> = Vec::new();
    if let Some((width, height)) = size {
        first.push((0x100, 3, 1, width.into()));
        first.push((0x101, 3, 1, height.into()));
    }
    let second_at = 8 + 2 + 12 * (first.len() as u32 + 1) + 4;
    first.push((0x8769, 4, 1, second_at));
    let mut texts_at = second_at + 2 + 12 * fields.len() as u32 + 4;
    let (mut second, mut texts) = (Vec::new(), Vec::new());
    for (tag, text) in fields {
        let bytes = [text.as_bytes(), b"\0"].concat();
        if bytes.len() <= 4 {
            let mut inline = [0; 4];
            inline[..bytes.len()].copy_from_slice(&bytes);
            second.push((*tag, 2, bytes.len() as u32, u32::from_le_bytes(inline)));
        } else {
            second.push((*tag, 2, bytes.len() as u32, texts_at));
            texts_at += bytes.len() as u32;
            texts.extend(bytes);
        }
    }
    let mut out = b"II\x2a\0\x08\0\0\0".to_vec();
    for directory in [first, second] {
        out.extend((directory.len() as u16).to_le_bytes());
        for (tag, kind, count, value) in directory {
            out.extend(tag.to_le_bytes());
            out.extend(kind.to_le_bytes());
            out.extend(count.to_le_bytes());
            out.extend(value.to_le_bytes());
        }
        out.extend([0; 4]);
    }
    out.extend(texts);
    out
}

fn jpeg(exif: Option<Vec<u8>>) -> Vec<u8> {
    let mut out = vec![0xff, 0xd8];
    if let Some(exif) = exif {
        out.extend([0xff, 0xe1]);
        out.extend((exif.len() as u16 + 8).to_be_bytes());
        out.extend(b"Exif\0\0");
        out.extend(exif);
    }
    // A frame header of 640x480 with one component, and no picture after it.
    out.extend([0xff, 0xc0, 0, 11, 8, 1, 0xe0, 2, 0x80, 1, 1, 0x11, 0, 0xff, 0xd9]);
    out
}

fn png(exif: Option<Vec<u8>>) -> Vec<u8> {
    let mut out = vec![0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a];
    let header = [0, 0, 2, 0x80, 0, 0, 1, 0xe0, 8, 0, 0, 0, 0].to_vec();
    let chunks = [(b"IHDR", Some(header)), (b"eXIf", exif), (b"IEND", Some(Vec::new()))];
    for (name, data) in chunks.into_iter().filter_map(|(name, data)| Some((name, data?))) {
        out.extend((data.len() as u32).to_be_bytes());
        out.extend(name);
        out.extend(data);
        out.extend([0; 4]); // no reader here looks at the checksum
    }
    out
}

fn picture(name: &str, bytes: &[u8]) -> Frame {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join(name), bytes).unwrap();
    one(folder.path())
}

const ORIGINAL: u16 = 0x9003;
const OFFSET_ORIGINAL: u16 = 0x9011;
const SUBSEC_ORIGINAL: u16 = 0x9291;

#[test]
fn a_picture_is_dated_by_its_exif_data_in_every_container() {
    let fields = [(ORIGINAL, "2026:05:04 10:00:00"), (OFFSET_ORIGINAL, "+01:00"), (SUBSEC_ORIGINAL, "35")];
    for (name, bytes) in [
        ("a.jpg", jpeg(Some(tiff(None, &fields)))),
        ("a.png", png(Some(tiff(None, &fields)))),
        ("a.tif", tiff(Some((640, 480)), &fields)),
    ] {
        let frame = picture(name, &bytes);
        assert_eq!(frame.saved_at.to_rfc3339(), "2026-05-04T09:00:00.350+00:00", "{name}");
        assert_eq!((frame.resolution_s, frame.zone_assumed, frame.size_px), (0.01, false, Some((640, 480))));
        assert_eq!((frame.time_source.as_str(), frame.problems.len()), ("DateTimeOriginal", 0));
        assert_eq!(frame.id, format!("sha256:{}", frame.sha256));
    }
}

#[test]
fn without_a_zone_the_exams_is_taken_and_a_broken_zone_costs_only_itself() {
    let time = (ORIGINAL, "2026:05:04 10:00:00");
    let frame = picture("a.jpg", &jpeg(Some(tiff(None, &[time]))));
    assert_eq!(
        (frame.saved_at.to_rfc3339().as_str(), frame.zone_assumed),
        ("2026-05-04T08:00:00+00:00", true)
    );
    let frame = picture("a.jpg", &jpeg(Some(tiff(None, &[time, (OFFSET_ORIGINAL, "summer")]))));
    assert_eq!((frame.time_source.as_str(), frame.zone_assumed), ("DateTimeOriginal", true));
    assert!(messages(&frame.problems).contains("`summer`"));
}

#[test]
fn files_that_were_copied_without_their_times_are_noticed() {
    let saved = |seconds: &[i64]| {
        let frame = picture("a.png", &png(None));
        let at =
            |second: &i64| Frame { saved_at: frame.saved_at + TimeDelta::seconds(*second), ..frame.clone() };
        seconds.iter().map(at).collect::<Vec<_>>()
    };
    assert!(were_copied(&saved(&[0, 0])) && were_copied(&saved(&[0, 1, 1, 2, 2, 2])));
    assert!(!were_copied(&saved(&[0])) && !were_copied(&[]) && !were_copied(&saved(&[0, 4, 9])));
    // Those that state a time of their own were saved when they say.
    let dated = |frame: Frame| Frame { time_source: "DateTimeOriginal".to_owned(), ..frame };
    assert!(!were_copied(&saved(&[0, 0]).into_iter().map(dated).collect::<Vec<_>>()));
}

#[test]
fn a_picture_without_a_time_takes_that_of_the_file_and_says_so() {
    let mut bmp = b"BM\0\0\0\0\0\0\0\0\x36\0\0\0\x28\0\0\0".to_vec();
    bmp.extend(640_i32.to_le_bytes());
    bmp.extend((-480_i32).to_le_bytes());
    let broken = tiff(None, &[(ORIGINAL, "yesterday, at ten")]);
    for (name, bytes) in
        [("a.jpg", jpeg(None)), ("a.png", png(None)), ("a.bmp", bmp), ("b.jpg", jpeg(Some(broken)))]
    {
        let frame = picture(name, &bytes);
        assert_eq!((frame.time_source.as_str(), frame.size_px), ("file time", Some((640, 480))), "{name}");
        assert!(messages(&frame.problems).contains("modification time is used"), "{name}");
    }
}

#[test]
fn no_sample_of_pydicom_is_fatal() {
    let (frames, problems) = read(&pydicom::samples());
    assert!(frames.len() > 20 && !problems.is_empty(), "{} {}", frames.len(), problems.len());
    assert!(problems.iter().all(|(_, problem)| !problem.message.is_empty() && !problem.help.is_empty()));
}

/// What standards of this project found in them by another reader: regions cut off, none at all, outside the image.
#[test]
fn the_traps_in_the_ultrasound_samples_of_pydicom_are_found() {
    let told = dicom::read(&pydicom::sample("examples_palette.dcm"), 0).unwrap();
    assert_eq!((told.time_source.as_str(), told.size_px), ("AcquisitionDateTime", Some((800, 350))));
    assert_eq!(told.saved_at.unwrap().timestamp_subsec_millis(), 350);
    assert!(told.zone_assumed);
    let (good, problems) = dicom::regions(&pydicom::sample("examples_palette.dcm")).unwrap();
    assert_eq!(good, []);
    let problems = messages(&problems);
    assert!(problems.contains("do not fit the image of 800x350"), "{problems}");
    assert!(problems.contains("region 2"), "{problems}");

    let (good, problems) = dicom::regions(&pydicom::sample("examples_ybr_color.dcm")).unwrap();
    assert_eq!(good, []);
    assert!(
        messages(&problems).contains("84..595 x 31..414 do not fit the image of 320x240"),
        "{problems:?}"
    );
    let told = dicom::read(&pydicom::sample("examples_ybr_color.dcm"), 0).unwrap();
    assert!(!messages(&told.problems).contains("pictures"), "a loop is no problem: {:?}", told.problems);
    assert_eq!((told.time_source.as_str(), told.resolution_s), ("ContentTime", 1.0));

    for name in ["examples_rgb_color.dcm", "examples_jpeg2k.dcm", "ExplVR_BigEnd.dcm"] {
        assert_eq!(dicom::regions(&pydicom::sample(name)).unwrap(), (Vec::new(), Vec::new()), "{name}");
    }
    let told = dicom::read(&pydicom::sample("examples_rgb_color.dcm"), 0).unwrap();
    assert_eq!((told.time_source.as_str(), told.zone_assumed), ("InstanceCreationTime", false));
    assert!(messages(&told.problems).contains("dated only by when the file was made"));
    assert_eq!(dicom::read(&pydicom::sample("ExplVR_BigEnd.dcm"), 0).unwrap().saved_at, None);
    assert!(
        dicom::read(&pydicom::sample("test-SR.dcm"), 0).unwrap_err().message.contains("without an image")
    );
}

#[cfg(unix)]
#[test]
fn every_name_of_a_file_is_text_that_is_turned_back_and_text_stays_text() {
    use std::os::unix::ffi::OsStrExt as _;
    use zonecall::file_name::{kept_file, spelled};
    let there = tempfile::tempdir().unwrap();
    let names = [
        &b"a\xff.png"[..],
        b"\xc3\xa9t\xe9/1.dcm",
        b"a\\xff.png",
        b"a\\x5cxff",
        b"\\x\\x4\\x+1\\",
        b"/m\xfcnchen/1",
    ];
    for name in names {
        let path = Path::new(std::ffi::OsStr::from_bytes(name));
        assert_eq!(kept_file(there.path(), &spelled(path)), there.path().join(path), "{}", spelled(path));
    }
    for name in ["Jüniper 2B (1).png", "C:\\stills\\1.png", "\\x", "a\\xg0", "\\x2e\\x2e\\x2f1"] {
        assert_eq!(spelled(Path::new(name)), name);
        assert_eq!(kept_file(there.path(), name), there.path().join(name), "nothing leads out of the folder");
    }
    // As an earlier version wrote it.
    std::fs::write(there.path().join("a\\xff.png"), "").unwrap();
    assert_eq!(kept_file(there.path(), "a\\xff.png"), there.path().join("a\\xff.png"));
}
