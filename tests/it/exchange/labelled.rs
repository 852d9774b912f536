//! Labelled copies, judged by dciodvfy and pydicom, and by the pixels themselves.

use image::GenericImageView;

use crate::support::program::zonecall;

use super::stage::{SIZE, STUDY, agree, doubtful, enter, export, faults, files, folder, python, uid};

fn names(folder: &std::path::Path) -> Vec<String> {
    let all =
        std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut names: Vec<String> = all.collect();
    names.sort();
    names
}

#[test]
fn files_are_named_by_what_they_show_in_scan_order() {
    let exam = folder();
    export(exam.path(), "labelled", &[], 0);
    let folder = exam.path().join("out/labelled");
    let wanted = [
        "LF_2B_T_SDFT_01.dcm",
        "LF_2B_T_SDFT_01.png",
        "LF_3A_L_DDFT_03.dcm",
        "LF_3A_L_DDFT_03.png",
        "LF_3A_T_DDFT_02.dcm",
        "LF_3A_T_DDFT_02.png",
        "index.csv",
        "index.html",
        "labelled.zip",
    ];
    assert_eq!(names(&folder), wanted);
    let (_, listed) = super::stage::judge(
        "python3",
        &["-m", "zipfile", "-l", folder.join("labelled.zip").to_str().unwrap()],
    );
    assert!(wanted[..8].iter().all(|name| listed.contains(name)), "{listed}");
    let index = std::fs::read_to_string(folder.join("index.html")).unwrap();
    assert!(index.contains("left fore, zone 2B, transverse") && index.contains("Not a diagnosis"));
    let table = std::fs::read_to_string(folder.join("index.csv")).unwrap();
    assert!(table.contains("LF_2B_T_SDFT_01.png,LF_2B_T_SDFT_01.dcm,LF,2B,T,SDFT"), "{table}");
    // A row that is copied alone says whose it is, and a file taken out of the archive has the day of the exam.
    let ends = [",Juniper,,2026-05-04,draft", ",exam_id,horse,horse_id,exam_day,exam_status"];
    assert!(ends.iter().all(|end| table.lines().any(|line| line.ends_with(end))), "{table}");
    assert_eq!(listed.matches(" 2026-05-04 10:00:00 ").count(), 8, "{listed}");
}

#[test]
fn the_picture_is_as_it_was_and_the_label_stands_below() {
    let exam = folder();
    export(exam.path(), "labelled", &[], 0);
    let labelled = image::open(exam.path().join("out/labelled/LF_2B_T_SDFT_01.png")).unwrap().to_luma8();
    let (columns, rows) = (u32::from(SIZE.0), u32::from(SIZE.1));
    assert!(labelled.width() == columns && labelled.height() > rows, "{:?}", labelled.dimensions());
    for (x, y, pixel) in labelled.view(0, 0, columns, rows).pixels() {
        assert_eq!(u32::from(pixel.0[0]), (y * columns + x) % 251, "{x} {y}");
    }
    let strip = labelled.view(0, rows, columns, labelled.height() - rows);
    assert!(strip.pixels().any(|(_, _, pixel)| pixel.0[0] > 200), "there is nothing in the strip");
}

#[test]
fn a_copy_is_a_derived_image_that_names_its_source_and_what_it_shows() {
    let exam = folder();
    enter(exam.path());
    export(exam.path(), "labelled", &[], 0);
    let copies = files(&exam.path().join("out/labelled"));
    agree(&[copies.clone(), files(&exam.path().join("frames"))].concat());
    for path in copies {
        assert_eq!(faults(&path), Vec::<String>::new(), "{}", path.display());
    }
    let path = exam.path().join("out/labelled/LF_2B_T_SDFT_01.dcm");
    let read = python(&["header", path.to_str().unwrap()], "");
    let value = |tag: &str| read[tag]["Value"][0].clone();
    // dciodvfy lets ORIGINAL pass beside a source image.
    assert_eq!(read["00080008"]["Value"], serde_json::json!(["DERIVED", "PRIMARY"]));
    assert_ne!(value("00080018"), uid(1));
    assert_ne!(value("0020000E"), super::stage::SERIES);
    assert_eq!(value("0020000D"), STUDY);
    let source = value("00082112");
    assert_eq!(source["00081155"]["Value"][0], uid(1));
    assert_eq!(source["0040A170"]["Value"][0]["00080100"]["Value"][0], "121322");
    assert_eq!(value("00082218")["00080100"]["Value"][0], "36455000");
    assert_eq!(value("00200062"), "L");
    assert!(read.get("00200060").is_none(), "both lateralities are an error");
    assert_eq!(value("00540220")["00080100"]["Value"][0], "62824007");
    assert_eq!(value("00082228")["00080100"]["Value"][0], "13024002");
    assert_eq!(value("00180015"), "METACARPUS");
    assert_eq!(value("00100010")["Alphabetic"], "Müller^Juniper");
}

#[test]
fn a_label_in_doubt_is_in_the_name_and_in_words_and_never_a_code() {
    let exam = doubtful();
    export(exam.path(), "labelled", &[], 0);
    let folder = exam.path().join("out/labelled");
    assert!(names(&folder).contains(&"LF_2B_T_SDFT_in-doubt_01.dcm".to_owned()), "{:?}", names(&folder));
    let path = folder.join("LF_2B_T_SDFT_in-doubt_01.dcm");
    let read = python(&["header", path.to_str().unwrap()], "");
    assert!(read["00204000"]["Value"][0].as_str().unwrap().contains("in doubt"));
    for tag in ["00082218", "00200062", "00540220", "00082228"] {
        assert!(read.get(tag).is_none(), "{tag}");
    }
}

#[test]
fn a_copy_with_a_label_of_before_does_not_stay_beside_the_new_ones() {
    let exam = folder();
    export(exam.path(), "labelled", &[], 0);
    let copies = exam.path().join("out/labelled");
    assert!(copies.join("LF_2B_T_SDFT_01.png").exists());
    let path = exam.path().to_str().unwrap();
    assert!(zonecall(&["pair", path, "--undo", "--by", "Ada"]).status.success());
    export(exam.path(), "labelled", &[], 0);
    assert_eq!(names(&copies), ["index.csv", "index.html", "labelled.zip"]);
}

#[test]
fn copies_are_written_among_no_other_files_and_are_not_taken_for_stills() {
    let exam = folder();
    let path = exam.path().to_str().unwrap();
    let frames = exam.path().join("frames");
    let before = names(&frames);
    let refused = zonecall(&["export", path, "--as", "labelled", "--out", frames.to_str().unwrap()]);
    let told = super::stage::said_of(&refused);
    assert!(refused.status.code() == Some(2) && told.contains("holds other files, such as `IM"), "{told}");
    assert_eq!(names(&frames), before);
    // A folder of its own is written again, and what is in it is left out with a word.
    let own = exam.path().join("copies");
    for _ in 0..2 {
        export(exam.path(), "labelled", &["--out", own.to_str().unwrap()], 0);
    }
    export(exam.path(), "labelled", &[], 0);
    let done = zonecall(&["pair", path, "--frames", path]);
    let told = super::stage::said_of(&done);
    assert!(
        told.contains("3 stills, 0 of them new") && told.contains("holds copies that zonecall made"),
        "{told}"
    );
    assert!(!told.contains("out/labelled"), "{told}");
}
