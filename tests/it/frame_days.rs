//! Stills whose files state a time without a day, or two times.

use dicom_core::VR;
use dicom_dictionary_std::tags;

use crate::frames::{dated, messages};

/// Some scanners date the study and the series only.
#[test]
fn a_time_without_a_date_is_of_the_day_of_its_series_or_study() {
    let study = [(tags::STUDY_DATE, VR::DA, "20260504"), (tags::STUDY_TIME, VR::TM, "235000")];
    for (tag, name) in [(tags::ACQUISITION_TIME, "AcquisitionTime"), (tags::CONTENT_TIME, "ContentTime")] {
        let frame = dated(&[study[0], study[1], (tag, VR::TM, "235500")]);
        assert_eq!(frame.time_source, name);
        assert_eq!(frame.saved_at.to_rfc3339(), "2026-05-04T21:55:00+00:00");
        let told = messages(&frame.problems);
        assert!(told.contains("has no date of its own; that of the study is used"), "{told}");
        // Past midnight.
        let frame = dated(&[study[0], study[1], (tag, VR::TM, "000500")]);
        assert_eq!(frame.saved_at.to_rfc3339(), "2026-05-04T22:05:00+00:00");
        // The series is nearer to it.
        let frame = dated(&[study[0], (tags::SERIES_DATE, VR::DA, "20260505"), (tag, VR::TM, "000500")]);
        assert_eq!(frame.saved_at.to_rfc3339(), "2026-05-04T22:05:00+00:00");
    }
    // A time that has its date goes first, and a time of the study is none of the still.
    let own = [(tags::CONTENT_DATE, VR::DA, "20260504"), (tags::CONTENT_TIME, VR::TM, "120000")];
    let frame = dated(&[study[0], (tags::ACQUISITION_TIME, VR::TM, "110000"), own[0], own[1]]);
    assert_eq!(frame.time_source, "ContentTime");
    assert_eq!(dated(&study).time_source, "file time");
    let unread = dated(&[study[0], (tags::CONTENT_TIME, VR::TM, "11:00:00 AM")]);
    assert!(messages(&unread.problems).contains("states no time that can be read"), "{:?}", unread.problems);
}

#[test]
fn what_is_said_of_two_times_holds_whichever_of_them_is_used() {
    let frame = dated(&[
        (tags::ACQUISITION_DATE_TIME, VR::DT, "20260504000000"),
        (tags::CONTENT_DATE, VR::DA, "20260504"),
        (tags::CONTENT_TIME, VR::TM, "120000"),
    ]);
    let told = frame.problems.iter().find(|problem| problem.message.contains("ContentTime")).unwrap();
    assert_eq!(told.message, "AcquisitionDateTime and ContentTime are not the same");
    assert!(told.help.contains("unless several stills share it"), "{}", told.help);
}
