//! Stills in DICOM files.
//!
//! Takes: the path of a file and the exam's lead on UTC.
//! Gives: a `Frame`; time attributes are tried in the order acquisition, content, instance creation.
//! Never: reads the pixels.
//! Tested in: `tests/frames.rs`.

use std::path::Path;

use chrono::{DateTime, FixedOffset, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Utc};
use dicom_core::Tag;
use dicom_dictionary_std::tags;
use dicom_object::{DefaultDicomObject, OpenFileOptions};

use crate::exam::call::Problem;

/// What a DICOM file says of itself.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Header {
    pub(crate) uid: Option<String>,
    pub(crate) saved: Option<Saved>,
    pub(crate) instance_number: Option<i64>,
    pub(crate) size_px: Option<(u32, u32)>,
    pub(crate) problems: Vec<Problem>,
}

/// When a still was saved, as far as its file tells.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Saved {
    pub(crate) at: DateTime<Utc>,
    pub(crate) resolution_s: f64,
    pub(crate) source: &'static str,
    pub(crate) zone_assumed: bool,
}

/// Reads everything before the pixels; the reason in words when it is no DICOM file.
pub(crate) fn read(path: &Path, utc_offset_s: i32) -> Result<Header, String> {
    let object = OpenFileOptions::new()
        .read_until(tags::PIXEL_DATA)
        .open_file(path)
        .map_err(|error| format!("cannot be read as DICOM: {error}"))?;
    let text = |tag: Tag| text(&object, tag);
    let mut problems = Vec::new();
    let zone = text(tags::TIMEZONE_OFFSET_FROM_UTC).and_then(|zone| {
        let known = zone_s(&zone);
        if known.is_none() {
            problems.push(Problem {
                message: format!("time zone `{zone}` is not of the form +0200"),
                help: "the exam's own zone was taken".to_owned(),
            });
        }
        known
    });
    let whole = text(tags::ACQUISITION_DATE_TIME).map(|value| ("AcquisitionDateTime", value));
    let split = [
        ("AcquisitionDate and -Time", tags::ACQUISITION_DATE, tags::ACQUISITION_TIME),
        ("ContentDate and -Time", tags::CONTENT_DATE, tags::CONTENT_TIME),
        ("InstanceCreationDate and -Time", tags::INSTANCE_CREATION_DATE, tags::INSTANCE_CREATION_TIME),
    ];
    let pairs = split.into_iter().filter_map(|(name, date, time)| Some((name, format!("{}{}", text(date)?, text(time)?))));
    let mut saved = None;
    for (source, value) in whole.into_iter().chain(pairs) {
        match moment(&value) {
            Some((local, resolution_s, said)) => {
                let offset = said.or(zone);
                let at = local - TimeDelta::seconds(i64::from(offset.unwrap_or(utc_offset_s)));
                saved = Some(Saved { at: at.and_utc(), resolution_s, source, zone_assumed: offset.is_none() });
                break;
            }
            None => problems.push(Problem {
                message: format!("{source} `{value}` is no date and time"),
                help: "the next time attribute of the file was taken".to_owned(),
            }),
        }
    }
    let number = |tag: Tag| text(tag).and_then(|value| value.parse::<u32>().ok());
    Ok(Header {
        uid: text(tags::SOP_INSTANCE_UID),
        saved,
        instance_number: text(tags::INSTANCE_NUMBER).and_then(|value| value.parse().ok()),
        size_px: number(tags::COLUMNS).zip(number(tags::ROWS)),
        problems,
    })
}

fn text(object: &DefaultDicomObject, tag: Tag) -> Option<String> {
    let value = object.element_opt(tag).ok()??.to_str().ok()?.trim_matches(['\0', ' ']).to_owned();
    (!value.is_empty()).then_some(value)
}

/// `+0200` as seconds; `-0000` is not allowed by the standard.
fn zone_s(zone: &str) -> Option<i32> {
    let digits = zone.strip_prefix(['+', '-'])?;
    if digits.len() != 4 || zone == "-0000" {
        return None;
    }
    let hours: i32 = digits.get(..2)?.parse().ok()?;
    let minutes: i32 = digits.get(2..)?.parse().ok()?;
    let seconds = hours * 3600 + minutes * 60;
    let signed = if zone.starts_with('-') { -seconds } else { seconds };
    FixedOffset::east_opt(signed).map(|_| signed)
}

/// A DICOM date and time `YYYYMMDDHHMMSS.FFFFFF&ZZXX`: local time, its resolution in seconds, and the zone if said.
fn moment(value: &str) -> Option<(NaiveDateTime, f64, Option<i32>)> {
    let at = value.rfind(['+', '-']).unwrap_or(value.len());
    let (clock, zone) = value.split_at(at);
    let zone = if zone.is_empty() { None } else { Some(zone_s(zone)?) };
    let (whole, fraction) = clock.split_once('.').unwrap_or((clock, ""));
    if whole.len() != 14 || fraction.len() > 6 || !fraction.bytes().all(|byte| byte.is_ascii_digit()) {
        return None;
    }
    let date = NaiveDate::parse_from_str(whole.get(..8)?, "%Y%m%d").ok()?;
    let time = NaiveTime::parse_from_str(whole.get(8..)?, "%H%M%S").ok()?;
    let micros: i64 = format!("{fraction:0<6}").parse().ok()?;
    let resolution_s = 10f64.powi(-i32::try_from(fraction.len()).ok()?);
    Some((date.and_time(time) + TimeDelta::microseconds(micros), resolution_s, zone))
}

#[cfg(test)]
mod tests {
    use super::*;

    // Forms of DICOM PS3.5, 6.2: value representations DA, TM and DT.
    #[test]
    fn dates_and_times_are_read_with_their_resolution_and_zone() {
        let (at, resolution_s, zone) = moment("20260504101530.250+0200").unwrap();
        assert_eq!((at.to_string().as_str(), zone), ("2026-05-04 10:15:30.250", Some(7200)));
        assert!((resolution_s - 0.001).abs() < 1e-12);
        assert_eq!(moment("20260504101530").unwrap().1, 1.0);
        assert!(moment("1994.11.05101530").is_none());
        assert!(moment("2026-05-04T10:15:30").is_none());
        assert_eq!((zone_s("-0000"), zone_s("+02:00"), zone_s("-0430")), (None, None, Some(-16_200)));
    }
}
