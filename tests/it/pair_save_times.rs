//! Times that scanners write wrongly, and stills that are there in two formats.
use crate::support;

use chrono::{DateTime, TimeDelta, Utc};

use zonecall::exam::event::Frame;
use zonecall::exam::fold::Exam;
use zonecall::frames::outside::outside;
use zonecall::frames::pair::pair;
use zonecall::frames::pairing::Tie;

const SAVED_S: [f64; 8] = [12.0, 25.5, 31.0, 58.0, 66.5, 90.0, 101.5, 133.0];

fn exam(begin: DateTime<Utc>) -> Exam {
    let mut said = vec![(1.0, "left fore zone one alpha transverse")];
    said.extend(SAVED_S.map(|at_s| (at_s, "save")));
    let mut exam = support::exam(&said);
    let by = begin - exam.header.started_at;
    exam.header.started_at = begin;
    exam.calls.iter_mut().for_each(|call| call.said_at += by);
    exam.utterances.iter_mut().for_each(|heard| heard.said_at += by);
    exam
}

fn still(number: i64, saved_at: DateTime<Utc>) -> Frame {
    Frame {
        id: format!("2.25.{number}"),
        file: format!("dicom/IM{number:04}.dcm"),
        saved_at,
        resolution_s: 0.01,
        time_source: "AcquisitionTime".to_owned(),
        instance_number: Some(number),
        ..support::still::frame("")
    }
}

fn at(begin: DateTime<Utc>, at_s: f64) -> DateTime<Utc> {
    begin + TimeDelta::milliseconds((at_s * 1000.0) as i64)
}

fn ties(exam: &Exam, stills: &[Frame]) -> Vec<Tie> {
    pair(exam, stills).frames.iter().map(|frame| frame.tie).collect()
}

fn each_save() -> Vec<Tie> {
    (1..=SAVED_S.len()).map(Tie::Save).collect()
}

#[test]
fn an_acquisition_time_that_stands_still_gives_way_to_the_time_of_the_content() {
    let begin = support::header().started_at;
    let exam = exam(begin);
    let fixed = |number: usize, at_s: f64| Frame {
        content_at: Some(at(begin, at_s + 60.0)),
        ..still(number as i64, at(begin, 55.0))
    };
    let stills: Vec<Frame> = SAVED_S.iter().enumerate().map(|(number, at_s)| fixed(number, *at_s)).collect();
    assert_eq!(ties(&exam, &stills), each_save());
    // Where it runs, it is the better one: the content may be made when the still is stored.
    let runs = |number: usize, at_s: f64| Frame {
        content_at: Some(at(begin, 60.0 + 7.0 * number as f64)),
        ..still(number as i64, at(begin, at_s + 60.0))
    };
    let stills: Vec<Frame> = SAVED_S.iter().enumerate().map(|(number, at_s)| runs(number, *at_s)).collect();
    assert_eq!(ties(&exam, &stills), each_save());
}

#[test]
fn a_date_that_is_kept_past_midnight_is_carried_on() {
    // Half an hour and a minute before midnight where the exam is, two hours east of UTC.
    let begin: DateTime<Utc> = "2026-05-04T21:59:00Z".parse().unwrap();
    let exam = exam(begin);
    let stills: Vec<Frame> = SAVED_S
        .iter()
        .enumerate()
        .map(|(number, at_s)| {
            let true_at = at(begin, *at_s + 5.0);
            let is_past = *at_s + 5.0 >= 60.0;
            still(number as i64, if is_past { true_at - TimeDelta::days(1) } else { true_at })
        })
        .collect();
    assert_eq!(ties(&exam, &stills), each_save());
}

#[test]
fn a_still_in_two_formats_is_one_still_with_one_label() {
    let begin = support::header().started_at;
    let exam = exam(begin);
    let originals: Vec<Frame> = SAVED_S
        .iter()
        .enumerate()
        .map(|(number, at_s)| still(number as i64, at(begin, at_s + 60.0)))
        .collect();
    let picture = |original: &Frame, file: String, source: &str, late_s: f64| Frame {
        id: format!("sha256:{file}"),
        file,
        instance_number: None,
        time_source: source.to_owned(),
        saved_at: at(original.saved_at, late_s),
        resolution_s: 1.0,
        ..original.clone()
    };
    // By name, whenever the file was written; and by time, whatever the name.
    let named = |original: &Frame| {
        picture(original, original.file.replace("dicom", "jpeg").replace("dcm", "JPG"), "file time", 4000.0)
    };
    let timed =
        |original: &Frame| picture(original, format!("x/{}.jpg", original.id), "DateTimeOriginal", -0.4);
    for copies in [originals.iter().map(named).collect::<Vec<_>>(), originals.iter().map(timed).collect()] {
        let all = [originals.clone(), copies].concat();
        assert_eq!(ties(&exam, &all), [each_save(), each_save()].concat());
        let paired = pair(&exam, &all);
        let wanted: Vec<Option<usize>> = (0..16).map(|idx: usize| idx.checked_sub(8)).collect();
        assert_eq!(paired.copies, wanted);
        // Whenever its file was written, it is of the time of its still.
        assert_eq!(outside(&exam, &all, &paired), [false; 16]);
    }
    // A picture of its own, at no time of a still, is a still of its own.
    let mut all = originals.clone();
    all.push(picture(&originals[3], "x/other.jpg".to_owned(), "DateTimeOriginal", 4.0));
    assert_eq!(ties(&exam, &all)[8], Tie::Context(4));
}

/// A scanner that writes each still twice, as two objects with the same pixels, a third of a second apart.
#[test]
fn a_still_that_was_written_twice_is_one_still_with_one_label() {
    let begin = support::header().started_at;
    let exam = exam(begin);
    let file = |number: usize, at_s: f64, pixels: usize| Frame {
        pixels_sha256: Some(format!("{pixels:064}")),
        ..still(number as i64, at(begin, at_s + 60.0))
    };
    let twice = |apart_s: f64, differ: usize| -> Vec<Frame> {
        let stills = SAVED_S.iter().enumerate();
        // The call lies in the middle between the two.
        stills
            .flat_map(|(n, at_s)| {
                let half_s = apart_s / 2.0;
                [file(2 * n, at_s - half_s, n), file(2 * n + 1, at_s + half_s, n + differ)]
            })
            .collect()
    };
    let paired = pair(&exam, &twice(0.3, 0));
    let wanted: Vec<Option<usize>> = (0..16).map(|idx: usize| (idx % 2 == 1).then(|| idx - 1)).collect();
    assert_eq!(paired.copies, wanted);
    let ties: Vec<Tie> = paired.frames.iter().map(|frame| frame.tie).collect();
    assert_eq!(ties, each_save().into_iter().flat_map(|tie| [tie, tie]).collect::<Vec<_>>());
    // Other pixels, or a frozen picture that is saved again later, are stills of their own.
    for stills in [twice(0.3, 100), twice(2.0, 0)] {
        assert_eq!(pair(&exam, &stills).copies, [None; 16]);
    }
}

/// The scanner sets its own clock by an hour while the exam goes on, in autumn and in spring.
#[test]
fn a_clock_that_is_set_by_an_hour_during_the_exam_is_followed() {
    let begin = support::header().started_at;
    let exam = exam(begin);
    let set = |by_s: f64, numbered: bool| -> Vec<Frame> {
        let stills = SAVED_S.iter().enumerate();
        stills
            .map(|(n, at_s)| {
                let at_s = at_s + 60.0 + if n >= 4 { by_s } else { 0.0 };
                let instance_number = numbered.then_some(n as i64);
                Frame { instance_number, ..still(n as i64, at(begin, at_s)) }
            })
            .collect()
    };
    for stills in [set(-3600.0, true), set(3600.0, true), set(3600.0, false)] {
        let paired = pair(&exam, &stills);
        assert_eq!(ties(&exam, &stills), each_save());
        assert!(paired.clock.as_ref().unwrap().method.contains("set by an hour"), "{:?}", paired.clock);
        assert_eq!(outside(&exam, &stills, &paired), [false; 8]);
    }
    assert!(!pair(&exam, &set(0.0, true)).clock.unwrap().method.contains("set by an hour"));
}

/// Stills of two parts of an exam, three quarters of an hour apart, that were numbered when they were exported: the clock was
/// not set, however the numbers run.
#[test]
fn numbers_alone_set_no_clock() {
    let begin = support::header().started_at;
    let later: Vec<f64> = SAVED_S.iter().map(|at_s| at_s + if *at_s > 60.0 { 2700.0 } else { 0.0 }).collect();
    let mut said = vec![(1.0, "left fore zone one alpha transverse")];
    said.extend(later.iter().map(|at_s| (*at_s, "save")));
    let exam = support::exam(&said);
    let stills: Vec<Frame> = later
        .iter()
        .enumerate()
        .map(|(n, at_s)| Frame {
            instance_number: Some((n as i64 + 4) % 8),
            ..still(n as i64, at(begin, at_s + 60.0))
        })
        .collect();
    assert_eq!(ties(&exam, &stills), each_save());
}

#[test]
fn a_place_that_was_called_long_ago_labels_nothing() {
    let begin = support::header().started_at;
    let exam = exam(begin);
    let mut stills: Vec<Frame> = SAVED_S
        .iter()
        .enumerate()
        .map(|(number, at_s)| still(number as i64, at(begin, at_s + 60.0)))
        .collect();
    let mut closed = exam.clone();
    closed.closed = Some((at(begin, 400.0), "end of exam".to_owned().into()));
    stills.push(still(50, at(begin, 133.0 + 50.0 + 60.0)));
    stills.push(still(51, at(begin, 133.0 + 70.0 + 60.0)));
    assert_eq!(ties(&closed, &stills)[8..], [Tie::Context(8), Tie::Nothing]);
}
