//! The course of a horse over its exams: what each exam measured, and a trend with how sure it is.
use crate::support::pdf::{Pdf, dense};
use crate::support::program::zonecall;
use crate::support::sample;
use crate::support::sample::WHOLE;
use crate::support::{area, write_heard_by};

use chrono::{Duration, TimeDelta};
use zonecall::clock::Sample;
use zonecall::exam::closed_sets::ExamStatus;
use zonecall::exam::event::{Event, Header};
use zonecall::exam::journal::Journal;
use zonecall::exam::seq::Seq;
use zonecall::knowledge::measure::Earlier;
use zonecall::knowledge::measure::row::{MeasureRow, Name};
use zonecall::knowledge::record::SignedRow;
use zonecall::protocol::Protocols;
use zonecall::report::picture::Pictures;
use zonecall::report::print::{Audience, PageSize, pdf};
use zonecall::report::{ReportInput, course};

fn row(mm2: f64) -> MeasureRow {
    MeasureRow {
        scheme: Some("thirds".to_owned()),
        structure: Some("SDFT".into()),
        zone: Some("2B".into()),
        value: Some(mm2),
        ..MeasureRow::new("LF", Name::Area, "mm2")
    }
}

/// The page of exams thirty days apart, the last of them the record's own.
fn page(exams: Vec<MeasureRow>) -> String {
    of_exams(exams, course::html)
}

/// The same, printed.
fn print(exams: Vec<MeasureRow>, size: PageSize) -> Pdf {
    Pdf::new(&of_exams(exams, |input| pdf(input, Audience::Course, size).unwrap().pdf))
}

fn of_exams<T>(mut exams: Vec<MeasureRow>, make: impl Fn(&ReportInput) -> T) -> T {
    let mut record = sample::record();
    record.measures = vec![exams.pop().unwrap()];
    let count = i32::try_from(exams.len()).unwrap();
    let earlier: Vec<Earlier> = exams
        .into_iter()
        .zip(0..)
        .map(|(row, idx): (MeasureRow, i32)| Earlier {
            id: format!("exam-{idx}"),
            at: record.exam.started_at - TimeDelta::days(30) * (count - idx),
            utc_offset_s: record.exam.utc_offset_s,
            rows: vec![row],
        })
        .collect();
    let (protocols, pictures) = (Protocols::built_in().unwrap(), Pictures::new());
    make(&ReportInput {
        record: &record,
        earlier: &earlier,
        protocols: &protocols,
        pictures: &pictures,
        frame: WHOLE,
    })
}

/// Slope and interval as `scipy.stats.theilslopes([150, 131, 112, 108, 95], [0, 30, 60, 90, 120])` gives them, times 30.
#[test]
fn a_trend_over_five_exams_is_that_of_the_reference_library_with_its_interval() {
    let page = page([150.0, 131.0, 112.0, 108.0, 95.0].map(row).to_vec());
    assert!(page.contains("Course over 5 exams"), "{page}");
    assert!(page.contains("-13.4 (-19.0 to -4.0)"), "{page}");
    for number in ["150", "131", "112", "108", "95"] {
        assert!(page.contains(&format!("<td>{number}</td>")), "{number} is in the table");
    }
}

#[test]
fn two_exams_make_no_trend_and_what_is_no_like_value_is_shown_but_not_in_it() {
    let two = page([150.0, 131.0].map(row).to_vec());
    assert!(two.contains("needs 3 exams") && !two.contains(" to "), "{two}");
    let off = |mm2: f64| MeasureRow { off_weight: true, ..row(mm2) };
    let three = page(vec![row(150.0), off(90.0), row(131.0)]);
    assert!(three.contains("90*") && three.contains("needs 3 exams"), "{three}");
}

#[test]
fn the_command_writes_the_course_of_one_horse_and_refuses_another_s_exam() {
    let folder = tempfile::tempdir().unwrap();
    let exam = |name: &str, month: i64, horse: &str, mm2: f64| {
        let path = folder.path().join(name);
        let header = crate::support::header();
        let started_at = header.started_at + Duration::days(30 * month);
        let horse = zonecall::exam::event::Horse { name: Some(horse.to_owned()), ..header.horse.clone() };
        std::fs::create_dir(&path).unwrap();
        drop(write_heard_by(&path, Header { started_at, horse, id: name.to_owned(), ..header }, []));
        let mut journal = Journal::open(&path).unwrap();
        journal
            .append(started_at, Sample::FIRST, &Event::Entered(Box::new(area("SDFT", mm2, "mm2"))))
            .unwrap();
        path.to_str().unwrap().to_owned()
    };
    let (first, second, third) =
        (exam("a", 0, "Juniper", 150.0), exam("b", 1, "Juniper", 120.0), exam("c", 2, "Juniper", 90.0));
    let done = zonecall(&["report", &third, "--for", "course", "--earlier", &second, "--earlier", &first]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let page = std::fs::read_to_string(folder.path().join("c/out/report-course.html")).unwrap();
    assert!(page.contains("-30.0 (-30.0 to -30.0)"), "{page}");
    let other = exam("d", 0, "Bramble", 150.0);
    assert_eq!(zonecall(&["report", &third, "--for", "course", "--earlier", &other]).status.code(), Some(2));
    let course = ["report", &third, "--for", "course", "--earlier", &second, "--earlier", &first];
    for (paper, told) in [("a4", "A4"), ("letter", "letter")] {
        let done = zonecall(&[&course[..], &["--format", "pdf", "--paper", paper]].concat());
        assert!(done.status.success() && done.stderr.is_empty(), "{done:?}");
        let read = Pdf::read(&folder.path().join("c/out/report-course.pdf"));
        assert!(read.property("Page size").contains(told), "{}", read.property("Page size"));
        assert_eq!(read.property("Title"), "Course of Juniper");
        assert!(read.dense().contains(&dense("-30.0 (-30.0 to -30.0)")));
    }
}

/// The same slope and interval as on the page, beside the numbers of the same line, read by poppler.
#[test]
fn the_printed_course_has_each_exam_s_number_and_the_trend_in_one_line() {
    for size in [PageSize::A4, PageSize::Letter] {
        let read = print([150.0, 131.0, 112.0, 108.0, 95.0].map(row).to_vec(), size);
        let pages = read.pages();
        let line = "2B area mm2 150 131 112 108 95 -13.4 (-19.0 to -4.0)";
        let lines = || pages.iter().flat_map(|page| page.lines());
        let spaced = |line: &str| line.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(lines().any(|found| spaced(found) == line), "{pages:?}");
        let text = read.dense();
        for words in
            ["Course over 5 exams", "Juniper", "4 May", "4 April", "Trend over 30 days", "Theil 1950"]
        {
            assert!(text.contains(&dense(words)), "{words}: {text}");
        }
        for (idx, page) in pages.iter().enumerate() {
            assert!(page.contains("DRAFT. Not a diagnosis"), "page {}: {page}", idx + 1);
        }
        assert!(read.fonts().iter().all(|font| font.1), "{:?}", read.fonts());
    }
}

#[test]
fn more_exams_lay_the_page_on_its_side_and_still_more_come_in_parts() {
    let width =
        |read: &Pdf| -> f64 { read.property("Page size").split(' ').next().unwrap().parse().unwrap() };
    let exams = |count: u8| (0..count).map(|idx| row(200.0 - f64::from(idx))).collect::<Vec<_>>();
    assert!((width(&print(exams(5), PageSize::A4)) - 595.3).abs() < 0.5);
    let ten = print(exams(10), PageSize::A4);
    assert!((width(&ten) - 841.9).abs() < 0.5);
    assert!(!ten.dense().contains("exams1to10"));
    let many = print(exams(23), PageSize::Letter);
    let text = many.dense();
    for part in ["exams 1 to 10 of 23", "exams 11 to 20 of 23", "exams 21 to 23 of 23"] {
        assert!(text.contains(&dense(part)), "{part}: {text}");
    }
    // No exam is left out, and the trend stands once.
    for idx in 0..23 {
        assert!(text.contains(&format!("{}", 200 - idx)), "{idx}");
    }
    assert_eq!(text.matches("-1.0(-1.0to-1.0)").count(), 1, "{text}");
}

#[test]
fn a_signature_is_said_of_the_exam_that_was_signed_and_of_no_earlier_one() {
    let signed = |earlier: usize| {
        let mut record = sample::record();
        record.exam.status = ExamStatus::Signed;
        record.exam.signed = Some(SignedRow {
            seq: Seq(90),
            at: sample::at(990),
            by: "Dr Example".to_owned(),
            licence: "V-1".to_owned(),
            key: "0".repeat(64),
            changes_since: 0,
            taken_back_by: None,
            time_stamp: None,
        });
        let exam = Earlier {
            id: "exam".to_owned(),
            at: record.exam.started_at - TimeDelta::days(30),
            utc_offset_s: record.exam.utc_offset_s,
            rows: Vec::new(),
        };
        let (protocols, pictures) = (Protocols::built_in().unwrap(), Pictures::new());
        course::html(&ReportInput {
            record: &record,
            earlier: &vec![exam; earlier],
            protocols: &protocols,
            pictures: &pictures,
            frame: WHOLE,
        })
    };
    assert!(signed(1).contains("The exam of 4 May 2026 only. By "), "{}", signed(1));
    assert!(!signed(0).contains(" only. By "));
}
