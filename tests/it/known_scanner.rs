//! A scanner that was met before: its clock helps where an exam says too little of it.
use crate::support;

use chrono::{DateTime, TimeDelta, Utc};

use zonecall::clock::Sample;
use zonecall::exam::event::{Event, Frame, ScannerClock};
use zonecall::exam::fold::Exam;
use zonecall::exam::journal::{self, Journal};
use zonecall::frames::known_clock::{found, from_earlier};
use zonecall::frames::outside::outside;
use zonecall::frames::pair::pair;
use zonecall::frames::pairing::Tie;

const SCANNER: &str = "Sono 7 0815";

fn after(at_s: f64) -> DateTime<Utc> {
    support::header().started_at + TimeDelta::milliseconds((at_s * 1000.0) as i64)
}

fn still(number: i64, at_s: f64) -> Frame {
    Frame {
        id: format!("2.25.{number}"),
        time_source: "AcquisitionDateTime".to_owned(),
        saved_at: after(at_s),
        resolution_s: 0.01,
        instance_number: Some(number),
        scanner: Some(SCANNER.to_owned()),
        ..support::still::frame("")
    }
}

fn known(offset_s: f64) -> ScannerClock {
    let at = after(-86_400.0);
    ScannerClock {
        scanner: SCANNER.to_owned(),
        offset_s,
        uncertainty_s: 0.5,
        at,
        exam: Some("bramble".to_owned()),
    }
}

fn with_clock(said: &[(f64, &str)], clock: Option<ScannerClock>) -> Exam {
    let mut exam = support::exam(said);
    exam.scanner_clocks.extend(clock);
    exam
}

#[test]
fn a_single_pair_gives_no_label_unless_the_scanner_is_known() {
    let said = [(1.0, "left fore zone one alpha transverse"), (10.0, "save")];
    let stills = [still(1, 10.5 + 412.0)];
    let unknown = pair(&with_clock(&said, None), &stills);
    assert_eq!((unknown.clock, unknown.frames[0].tie), (None, Tie::Nothing));
    let exam = with_clock(&said, Some(known(412.0)));
    assert_eq!(pair(&exam, &stills).frames[0].tie, Tie::Save(1));
    let elsewhere = with_clock(&said, Some(known(-5000.0)));
    let pairing = pair(&elsewhere, &stills);
    assert!(
        !matches!(pairing.frames[0].tie, Tie::Save(_)),
        "a clock that was set anew proves nothing: {pairing:?}"
    );
}

#[test]
fn without_any_save_a_known_clock_still_ties_the_stills_to_what_was_called() {
    let said = [(1.0, "left fore zone one alpha transverse"), (30.0, "zone one bravo")];
    let stills = [still(1, 20.0 + 412.0), still(2, 45.0 + 412.0)];
    let pairing = pair(&with_clock(&said, Some(known(412.0))), &stills);
    assert_eq!(
        pairing.frames.iter().map(|frame| frame.tie).collect::<Vec<_>>(),
        [Tie::Context(0), Tie::Context(1)]
    );
    assert!(pairing.clock.is_some_and(|clock| clock.method.contains("as in the exam `bramble`")));
}

#[test]
fn what_an_exam_finds_is_read_by_the_next_one() {
    let exams = tempfile::tempdir().unwrap();
    let saves = [12.0, 25.5, 31.0, 58.0, 66.5, 90.0];
    let mut said = vec![(1.0, "left fore zone one alpha transverse")];
    said.extend(saves.map(|at_s| (at_s, "save")));
    let stills: Vec<Frame> =
        saves.iter().zip(1..).map(|(at_s, number)| still(number, at_s + 412.0)).collect();
    support::write_journal(&exams.path().join("first"), &said);
    let mut exam = support::exam(&said);
    exam.frames = stills;
    let clock = found(&exam, &pair(&exam, &exam.frames)).unwrap();
    assert!((clock.offset_s - 412.0).abs() < 1.0, "{clock:?}");
    let mut journal = Journal::open(&exams.path().join("first")).unwrap();
    journal.append(clock.at, exam.last_sample(), &Event::ScannerClock(clock.clone())).unwrap();
    drop(journal);
    let second = exams.path().join("second");
    support::write_journal(&second, &said);
    let read = from_earlier(&second, SCANNER).unwrap();
    assert_eq!(read, ScannerClock { exam: Some("first".to_owned()), ..clock });
    assert_eq!(from_earlier(&second, "another"), None);
    assert_eq!(journal::read(&second).unwrap().damage, []);
}

/// Two scanners of one model that state no number share a name: then their clocks show that they are two.
#[test]
fn a_name_that_two_scanners_share_gives_a_clock_only_where_all_of_late_agree() {
    let exams = tempfile::tempdir().unwrap();
    let (shared, own) = ("A maker Sono 7 (no serial number)", SCANNER);
    let found = |exam: &str, scanner: &str, offset_s: f64, days: i64| {
        let folder = exams.path().join(exam);
        support::write_journal(&folder, &[(1.0, "left fore")]);
        let at = after(0.0) + TimeDelta::days(days);
        let clock =
            ScannerClock { scanner: scanner.to_owned(), offset_s, uncertainty_s: 0.5, at, exam: None };
        Journal::open(&folder).unwrap().append(at, Sample::FIRST, &Event::ScannerClock(clock)).unwrap();
    };
    let this = exams.path().join("this");
    support::write_journal(&this, &[(1.0, "left fore")]);
    let known = |scanner: &str| from_earlier(&this, scanner).map(|clock| clock.offset_s);
    // Set anew before that: too long ago to say anything.
    found("a", shared, -3600.0, -60);
    found("b", shared, 412.0, -9);
    found("c", shared, 413.5, -2);
    assert_eq!(known(shared), Some(413.5));
    found("d", shared, 80.0, -5);
    assert_eq!(known(shared), None);
    found("e", own, 80.0, -5);
    found("f", own, 412.0, -2);
    assert_eq!(known(own), Some(412.0), "a scanner with a number of its own was set anew");
}

/// The names by what a file states: DICOM, and EXIF of a picture.
#[test]
fn a_scanner_without_a_number_is_called_by_maker_and_model_or_as_a_person_calls_it() {
    use crate::exchange::stage::{SAVED_S, said_of, still, unpaired};
    use crate::support::program::zonecall;
    use dicom_core::{DataElement, VR};
    use dicom_dictionary_std::{tags, uids};
    let folder = tempfile::tempdir().unwrap();
    let made = |model: Option<&str>| {
        for (number, saved_s) in (1..).zip(SAVED_S) {
            let mut still = still(number, saved_s);
            for tag in [tags::STATION_NAME, tags::DEVICE_SERIAL_NUMBER, tags::MANUFACTURER_MODEL_NAME] {
                still.remove_element(tag);
            }
            if let Some(model) = model {
                still.put(DataElement::new(tags::MANUFACTURER_MODEL_NAME, VR::LO, model));
            }
            still.put(DataElement::new(tags::MANUFACTURER, VR::LO, "A maker"));
            let meta =
                dicom_object::FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
            let path = folder.path().join(format!("IM{number}.dcm"));
            still.with_meta(meta).unwrap().write_to_file(path).unwrap();
        }
        let read = zonecall::frames::folder::read(folder.path(), folder.path(), 0);
        read.stills[0].scanner.clone()
    };
    assert_eq!(made(Some("Sono 7")).as_deref(), Some("A maker Sono 7 (no serial number)"));
    assert_eq!(made(Some("A Maker Sono 7")).as_deref(), Some("A Maker Sono 7 (no serial number)"));
    assert_eq!(made(None), None);
    let exam = unpaired();
    let (exam, stills) = (exam.path().to_str().unwrap(), folder.path().to_str().unwrap());
    let said = said_of(&zonecall(&["pair", exam, "--frames", stills, "--scanner", "yard"]));
    assert!(said.contains("3 stills, 3 of them new"), "{said}");
    let journal = std::fs::read_to_string(std::path::Path::new(exam).join("exam.jsonl")).unwrap();
    assert_eq!(journal.matches("\"scanner\":\"yard\"").count(), 3, "{journal}");
}

#[test]
fn what_an_exam_finds_by_a_clock_that_was_known_does_not_make_it_forget_that_clock() {
    let said = [(1.0, "left fore zone one alpha transverse"), (10.0, "save")];
    let stills = [still(1, 10.5 + 412.0)];
    let mut exam = with_clock(&said, Some(known(412.0)));
    exam.scanner_clocks.push(ScannerClock { exam: None, at: after(10.0), ..known(412.3) });
    assert_eq!(pair(&exam, &stills).frames[0].tie, Tie::Save(1));
}

#[test]
fn stills_of_three_exams_of_the_same_rhythm_are_all_kept_in_sight_and_none_is_labelled_by_chance() {
    let saves = [12.0, 25.5, 31.0, 58.0, 66.5, 90.0, 104.0, 131.5];
    let limbs = [
        "one alpha transverse",
        "one bravo",
        "two alpha",
        "two bravo",
        "two charlie",
        "three alpha",
        "three bravo",
    ];
    let views: Vec<String> = limbs.iter().map(|zone| format!("left fore zone {zone}")).collect();
    let mut said: Vec<(f64, &str)> = saves.iter().map(|at_s| (*at_s, "save")).collect();
    said.extend(views.iter().zip(saves).map(|(view, at_s)| (at_s - 6.0, view.as_str())));
    said.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut exam = support::exam(&said);
    for horse in 0..3_i64 {
        let first = 412.0 + 4000.0 * horse as f64;
        exam.frames.extend(
            saves
                .iter()
                .zip(1..)
                .map(|(at_s, number)| Frame { scanner: None, ..still(100 * horse + number, at_s + first) }),
        );
    }
    let pairing = pair(&exam, &exam.frames);
    let outside = outside(&exam, &exam.frames, &pairing);
    assert_eq!(
        outside,
        vec![false; exam.frames.len()],
        "each group fits by one of the clocks: {:?}",
        pairing.clock
    );
    let labelled = pairing.frames.iter().filter(|frame| matches!(frame.tie, Tie::Save(_) | Tie::Context(_)));
    assert_eq!(labelled.count(), 0, "{pairing:?}");
}
