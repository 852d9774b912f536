//! Stills whose picture is missing or damaged: told as they are paired, and no still of their view.
use crate::exchange::peers::Receiving;
use crate::exchange::stage::{SAVED_S, export, said_of, still, unpaired};
use crate::support::desk::Served;
use crate::support::program::zonecall;
use crate::support::talk::{Talk, person, sample};

use std::path::Path;

use dicom_core::value::PixelFragmentSequence;
use dicom_core::{DataElement, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject};
use zonecall::exam::call::Problem;
use zonecall::exchange::network::InboxOutcome;
use zonecall::session::dialogue::{DialogueOptions, Speech};
use zonecall::session::effect::Input;
use zonecall::session::notice::Notice;
use zonecall::session::tone::Tone;

fn write(path: &Path, still: InMemDicomObject, syntax: &str) {
    let meta = FileMetaTableBuilder::new().transfer_syntax(syntax);
    still.with_meta(meta).unwrap().write_to_file(path).unwrap();
}

/// The stills of the exam in a folder, the second as it is changed.
fn stills(folder: &Path, syntax: &str, change: impl Fn(&mut InMemDicomObject)) {
    for (number, saved_s) in (1..).zip(SAVED_S) {
        let mut still = still(number, saved_s);
        if number == 2 {
            change(&mut still);
        }
        let syntax = if number == 2 { syntax } else { uids::EXPLICIT_VR_LITTLE_ENDIAN };
        write(&folder.join(format!("IM{number}.dcm")), still, syntax);
    }
}

/// The stills that the record counts for the view of the second.
fn counted(exam: &Path) -> u64 {
    let record: serde_json::Value = serde_json::from_str(&export(exam, "json", &[], 0)).unwrap();
    let is_view =
        |row: &&serde_json::Value| row["limb"] == "LF" && row["zone"] == "3A" && row["plane"] == "T";
    let row = record["coverage"].as_array().unwrap().iter().find(is_view).unwrap();
    row["frames"].as_u64().unwrap()
}

/// Half a JPEG: its head says how large it is, and its data end early.
fn half_a_jpeg() -> Vec<u8> {
    let picture = image::GrayImage::from_fn(64, 48, |x, y| image::Luma([(x * y % 251) as u8]));
    let mut jpeg = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut jpeg, image::ImageFormat::Jpeg).unwrap();
    let jpeg = jpeg.into_inner();
    jpeg[..jpeg.len() / 4 * 2].to_vec()
}

#[test]
fn a_still_without_a_picture_is_told_and_counts_for_no_view_until_it_is_exported_again() {
    type Broken = (&'static str, fn(&mut InMemDicomObject));
    let broken: [Broken; 2] = [
        (uids::EXPLICIT_VR_LITTLE_ENDIAN, |still| {
            still.remove_element(tags::PIXEL_DATA);
        }),
        (uids::JPEG_BASELINE8_BIT, |still| {
            let pixels = PixelFragmentSequence::new(vec![0], vec![half_a_jpeg()]);
            still.put(DataElement::new(tags::PIXEL_DATA, VR::OB, pixels));
        }),
    ];
    for (syntax, change) in broken {
        let (exam, card) = (unpaired(), tempfile::tempdir().unwrap());
        stills(card.path(), syntax, change);
        let pair =
            || zonecall(&["pair", exam.path().to_str().unwrap(), "--frames", card.path().to_str().unwrap()]);
        let paired = pair();
        let told = said_of(&paired);
        assert_eq!(paired.status.code(), Some(1), "{told}");
        assert_eq!(told.matches("NO PICTURE").count(), 1, "{told}");
        assert_eq!(counted(exam.path()), 0);
        let told = said_of(&zonecall(&["check", exam.path().to_str().unwrap()]));
        assert!(told.contains("still-file") && told.contains("holds no picture that can be shown"), "{told}");
        assert!(told.contains("its still is missing"), "{told}");
        // The same file again is no other one; a good one takes its place.
        assert_eq!(pair().status.code(), Some(1));
        stills(card.path(), uids::EXPLICIT_VR_LITTLE_ENDIAN, |_| {});
        let paired = pair();
        assert_eq!(paired.status.code(), Some(0), "{}", said_of(&paired));
        assert_eq!(counted(exam.path()), 1);
    }
}

#[test]
fn a_picture_file_that_was_cut_short_is_told() {
    let card = tempfile::tempdir().unwrap();
    let picture = image::GrayImage::from_fn(200, 150, |x, y| image::Luma([(x * y % 251) as u8]));
    for name in ["a.png", "b.jpg", "c.bmp"] {
        let path = card.path().join(name);
        picture.save(&path).unwrap();
        let bytes = std::fs::read(&path).unwrap();
        std::fs::write(&path, &bytes[..bytes.len() / 3 * 2]).unwrap();
    }
    picture.save(card.path().join("whole.png")).unwrap();
    let exam = unpaired();
    let told = said_of(&zonecall(&[
        "pair",
        exam.path().to_str().unwrap(),
        "--frames",
        card.path().to_str().unwrap(),
        "--all",
    ]));
    assert_eq!(told.matches("NO PICTURE").count(), 3, "{told}");
}

#[test]
fn the_receiver_refuses_an_object_without_pixels() {
    let (folder, into) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    stills(folder.path(), uids::EXPLICIT_VR_LITTLE_ENDIAN, |still| {
        still.remove_element(tags::PIXEL_DATA);
    });
    let receiving = Receiving::start(into.path(), &[]);
    let (_, told) = receiving.storescu(&[folder.path().join("IM2.dcm").to_str().unwrap()]);
    let log = receiving.await_log(|log| log.len() == 1);
    assert_eq!(
        (log[0].outcome, log[0].why.as_str()),
        (InboxOutcome::Refused, "it holds no picture"),
        "{told}"
    );
    let (code, told) = receiving.storescu(&[folder.path().join("IM1.dcm").to_str().unwrap()]);
    assert_eq!(code, Some(0), "{told}");
}

#[test]
fn the_desk_says_to_export_a_damaged_still_again() {
    let (exam, card) = (unpaired(), tempfile::tempdir().unwrap());
    stills(card.path(), uids::EXPLICIT_VR_LITTLE_ENDIAN, |still| {
        still.remove_element(tags::PIXEL_DATA);
    });
    zonecall(&["pair", exam.path().to_str().unwrap(), "--frames", card.path().to_str().unwrap()]);
    let desk = Served::start(exam.path(), 0);
    let (status, body) = desk.get("/api/still/1");
    let told = String::from_utf8_lossy(&body).into_owned();
    assert!(status == 404 && told.contains("export the still from the scanner again"), "{told}");
    assert!(!told.contains("zonecall pair"), "{told}");
}

/// It can be saved again while the horse is there; until then its view has no still.
#[test]
fn a_still_without_a_picture_is_an_alarm_and_no_still_of_its_view() {
    let options = DialogueOptions { export_delay: Some(sample(1.0).0), ..person(Speech::Silent) };
    let mut talk = Talk::new(options);
    talk.say("left fore zone two alpha transverse");
    talk.at_s += 3.0;
    let mut frame = Box::new(crate::support::still::frame("1.2.3"));
    frame.problems.push(Problem {
        message: "it holds no picture that can be shown: the file ends early".to_owned(),
        help: "export it again".to_owned(),
    });
    talk.step(Input::Still { frame, at: sample(talk.at_s) });
    assert!(talk.told(Notice::Still).is_empty());
    assert!(talk.told(Notice::Fault)[0].ends_with("holds no picture that can be shown; save it again"));
    assert!(talk.tones().contains(&Tone::Alarm));
    talk.say("zone two bravo");
    talk.at_s += 30.0;
    talk.step(Input::Time);
    assert_eq!(talk.told(Notice::Forgotten), ["left fore, zone 2A, transverse has no still"]);
}
