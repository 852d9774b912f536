//! Presentation states, the selection and the report as PDF, judged by dciodvfy, dcentvfy, dcmpschk and pydicom.

use serde_json::Value;

use super::stage::{
    SAVED_S, SIZE, agree, enter, enter_on, export, faults, faults_of_sr, files, folder, folder_of, judge,
    python, sign, still, unpaired,
};

#[test]
fn every_object_is_clean_and_agrees_with_the_stills() {
    let exam = folder();
    enter(exam.path());
    sign(exam.path());
    export(exam.path(), "dicom", &[], 0);
    let made = files(&exam.path().join("out/dicom"));
    let names: Vec<String> =
        made.iter().map(|path| path.file_name().unwrap().to_string_lossy().into_owned()).collect();
    let wanted = [
        "presentation-001.dcm",
        "presentation-002.dcm",
        "presentation-003.dcm",
        "report-01.dcm",
        "report-pdf.dcm",
        "selection.dcm",
    ];
    assert_eq!(names, wanted);
    // A label of a still that has none any more does not go out with the next export.
    let outdated = exam.path().join("out/dicom/presentation-099.dcm");
    std::fs::write(&outdated, b"of another day").unwrap();
    export(exam.path(), "dicom", &[], 0);
    assert!(!outdated.exists());
    for path in &made {
        assert_eq!(faults(path), Vec::<String>::new(), "{}", path.display());
    }
    let stills = files(&exam.path().join("frames"));
    agree(&made.iter().chain(&stills).cloned().collect::<Vec<_>>());
    for path in &made[..3] {
        let (_, said) = judge("dcmpschk", &[path.to_str().unwrap()]);
        assert!(said.contains("Test passed"), "{}: {said}", path.display());
    }
    assert_eq!(faults_of_sr(&exam.path().join("out/dicom/selection.dcm")), Vec::<String>::new());
}

#[test]
fn a_presentation_state_shows_label_and_outline_and_covers_nothing() {
    let exam = folder();
    enter(exam.path());
    export(exam.path(), "dicom", &[], 0);
    let path = exam.path().join("out/dicom/presentation-001.dcm");
    let (_, said) = judge("dcmpschk", &[path.to_str().unwrap()]);
    assert!(said.contains("Test passed"), "{said}");
    let read = python(&["header", path.to_str().unwrap()], "");
    assert_eq!(read["00080016"]["Value"][0], "1.2.840.10008.5.1.4.1.1.11.1");
    let annotation = &read["00700001"]["Value"][0];
    let text = &annotation["00700008"]["Value"][0];
    assert!(
        text["00700006"]["Value"][0]
            .as_str()
            .unwrap()
            .starts_with("LF 2B T SDFT (draft): left fore, zone 2B")
    );
    let outline = &annotation["00700009"]["Value"][0];
    assert_eq!(outline["00700023"]["Value"][0], "POLYLINE");
    let points: Vec<f64> = serde_json::from_value(outline["00700022"]["Value"].clone()).unwrap();
    assert_eq!((points.len(), points[..2].to_vec()), (10, points[8..].to_vec()));
    // The label stands below the last row of the picture.
    let area = &read["0070005A"]["Value"][0];
    let bottom = area["00700053"]["Value"][1].as_f64().unwrap();
    let top = text["00700010"]["Value"][1].as_f64().unwrap();
    assert!(top * bottom >= f64::from(SIZE.1), "{top} of {bottom}");
}

#[test]
fn a_still_in_colour_gets_a_state_for_colour() {
    use dicom_core::{DataElement, PrimitiveValue, VR};
    use dicom_dictionary_std::tags;
    let exam = folder_of(&[], |idx, still| {
        let number = |tag, number: u16| DataElement::new(tag, VR::US, PrimitiveValue::from(number));
        still.put(number(tags::SAMPLES_PER_PIXEL, 3));
        still.put(number(tags::PLANAR_CONFIGURATION, 0));
        still.put(DataElement::new(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, PrimitiveValue::from("RGB")));
        let pixels = vec![7 + idx as u8; 3 * usize::from(SIZE.0) * usize::from(SIZE.1)];
        still.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::U8(pixels.into())));
    });
    export(exam.path(), "dicom", &[], 0);
    let path = exam.path().join("out/dicom/presentation-001.dcm");
    let read = python(&["header", path.to_str().unwrap()], "");
    assert_eq!(read["00080016"]["Value"][0], "1.2.840.10008.5.1.4.1.1.11.2");
    let (_, said) = judge("dcmpschk", &[path.to_str().unwrap()]);
    assert!(said.contains("Test passed"), "{said}");
    assert_eq!(faults(&path), Vec::<String>::new());
}

#[test]
fn the_selection_names_the_still_that_shows_the_finding() {
    let exam = folder();
    export(exam.path(), "dicom", &[], 0);
    let path = exam.path().join("out/dicom/selection.dcm");
    let read = python(&["header", path.to_str().unwrap()], "");
    let content = read["0040A730"]["Value"].as_array().unwrap();
    let images: Vec<&str> = content
        .iter()
        .filter(|item| item["0040A040"]["Value"][0] == "IMAGE")
        .map(|item| item["00081199"]["Value"][0]["00081155"]["Value"][0].as_str().unwrap())
        .collect();
    assert_eq!(images, [super::stage::uid(1)]);
    let text = content.iter().find(|item| {
        item["0040A040"]["Value"][0] == "TEXT"
            && item["0040A043"]["Value"][0]["00080100"]["Value"][0] == "113012"
    });
    assert!(text.unwrap()["0040A160"]["Value"][0].as_str().unwrap().contains("core lesion"));
}

/// PS3.3 tables 10-3 and C.17.3.2-1: what is said of one frame of a loop names the frame, what is said of all does not.
#[test]
fn what_was_traced_on_a_frame_of_a_loop_names_that_frame_in_report_and_presentation_state() {
    use dicom_core::{DataElement, PrimitiveValue, VR};
    use dicom_dictionary_std::{tags, uids};
    let exam = unpaired();
    let frames = exam.path().join("frames");
    std::fs::create_dir(&frames).unwrap();
    let mut looped = still(1, SAVED_S[0]);
    let put = |looped: &mut dicom_object::InMemDicomObject, tag, vr, text: &str| {
        looped.put(DataElement::new(tag, vr, PrimitiveValue::from(text)));
    };
    put(&mut looped, tags::SOP_CLASS_UID, VR::UI, uids::ULTRASOUND_MULTI_FRAME_IMAGE_STORAGE);
    put(&mut looped, tags::NUMBER_OF_FRAMES, VR::IS, "3");
    put(&mut looped, tags::FRAME_TIME, VR::DS, "40");
    looped.put(DataElement::new(
        tags::FRAME_INCREMENT_POINTER,
        VR::AT,
        PrimitiveValue::from(tags::FRAME_TIME),
    ));
    let pixels = vec![7; 3 * usize::from(SIZE.0) * usize::from(SIZE.1)];
    looped.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::U8(pixels.into())));
    let meta = dicom_object::FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
    looped.with_meta(meta).unwrap().write_to_file(frames.join("IM1.dcm")).unwrap();
    crate::support::program::zonecall(&[
        "pair",
        exam.path().to_str().unwrap(),
        "--frames",
        frames.to_str().unwrap(),
    ]);
    enter_on(exam.path(), Some(2));
    export(exam.path(), "dicom", &[], 0);
    let made = exam.path().join("out/dicom");
    let frames_in = |name: &str| {
        let mut found = Vec::new();
        frames_named(&python(&["header", made.join(name).to_str().unwrap()], ""), &mut found);
        found
    };
    assert_eq!(frames_in("report-01.dcm"), ["2"]);
    assert_eq!(frames_in("presentation-001.dcm"), ["2"]);
    for name in ["report-01.dcm", "presentation-001.dcm", "selection.dcm"] {
        assert_eq!(faults(&made.join(name)), Vec::<String>::new(), "{name}");
    }
}

/// Every Referenced Frame Number in a data set and below it.
fn frames_named(data: &Value, found: &mut Vec<String>) {
    match data {
        Value::Object(fields) => {
            for (tag, value) in fields {
                if tag == "00081160" {
                    found.push(value["Value"][0].to_string().trim_matches('"').to_owned());
                }
                frames_named(value, found);
            }
        }
        Value::Array(items) => items.iter().for_each(|item| frames_named(item, found)),
        _ => {}
    }
}

#[test]
fn attributes_that_a_scanner_left_empty_make_no_bad_object_and_no_other_picture() {
    use dicom_core::{DataElement, PrimitiveValue, VR};
    use dicom_dictionary_std::tags;
    let exam = folder_of(&[], |_, still| {
        for (tag, vr) in [
            (tags::WINDOW_CENTER, VR::DS),
            (tags::WINDOW_WIDTH, VR::DS),
            (tags::RESCALE_SLOPE, VR::DS),
            (tags::RESCALE_INTERCEPT, VR::DS),
            (tags::NUMBER_OF_FRAMES, VR::IS),
        ] {
            still.put(DataElement::new(tag, vr, PrimitiveValue::Empty));
        }
    });
    export(exam.path(), "dicom", &[], 0);
    let made = files(&exam.path().join("out/dicom"));
    let states: Vec<_> = made.iter().filter(|path| path.to_str().unwrap().contains("presentation")).collect();
    assert_eq!(states.len(), 3);
    for path in states {
        assert_eq!(faults(path), Vec::<String>::new(), "{}", path.display());
    }
    export(exam.path(), "labelled", &[], 0);
    let copy = image::open(exam.path().join("out/labelled/LF_2B_T_SDFT_01.png")).unwrap().to_luma8();
    let columns = u32::from(SIZE.0);
    for (x, y, pixel) in copy.enumerate_pixels().filter(|(_, y, _)| *y < u32::from(SIZE.1)) {
        assert_eq!(u32::from(pixel.0[0]), (y * columns + x) % 251, "{x} {y}");
    }
}
