//! The course of a horse over its exams: what each exam measured, and a trend with how sure it is.
use crate::support::program::zonecall;
use crate::support::sample;
use crate::support::sample::WHOLE;
use crate::support::{area, write_heard_by};

use chrono::{Duration, TimeDelta};
use zonecall::clock::Sample;
use zonecall::exam::event::{Event, Header};
use zonecall::exam::journal::Journal;
use zonecall::knowledge::measure::Earlier;
use zonecall::knowledge::measure::row::{MeasureRow, Name};
use zonecall::protocol::Protocols;
use zonecall::report::picture::Pictures;
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
fn page(mut exams: Vec<MeasureRow>) -> String {
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
    course::html(&ReportInput {
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
    let pdf = ["report", &third, "--for", "course", "--format", "pdf"];
    assert_eq!(zonecall(&pdf).status.code(), Some(2));
}
