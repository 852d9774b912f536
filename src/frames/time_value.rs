//! Reads the times that files of stills carry.
//!
//! Takes: text of DICOM values (DA, TM, DT, time zone) and of EXIF values.
//! Gives: `TimeValue`: a local time, the step it is written in, and a time zone where the text names one.
//! Never: mends an invalid value; it is refused with the reason.
//! Tested in: here and `tests/it/frames.rs`.

use chrono::{DateTime, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Utc};

use crate::exam::call::Problem;

/// A time as written in a file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeValue {
    /// As written, by the clock on the wall.
    pub local: NaiveDateTime,
    /// Smallest step as written, in seconds.
    pub resolution_s: f64,
    /// Seconds east of UTC, where the text names it.
    pub utc_offset_s: Option<i32>,
}

impl TimeValue {
    /// The instant, by the text's own zone or else by `zone_s` seconds east of UTC.
    ///
    /// None where it would lie outside the years that a calendar can hold.
    #[must_use]
    pub fn instant(&self, zone_s: i32) -> Option<DateTime<Utc>> {
        let east = TimeDelta::seconds(i64::from(self.utc_offset_s.unwrap_or(zone_s)));
        self.local.checked_sub_signed(east).map(|utc| utc.and_utc())
    }
}

/// A problem of one line and what to do about it.
pub(crate) fn problem(message: impl Into<String>, help: &str) -> Problem {
    Problem { message: message.into(), help: help.to_owned() }
}

fn refused(what: &str, text: &str, wanted: &str) -> Problem {
    problem(
        format!("{what} is `{text}`; wanted {wanted}"),
        "the next time in the file was tried; check the scanner's clock",
    )
}

fn digits(text: &str) -> Option<u32> {
    (!text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit())).then(|| text.parse().ok())?
}

/// A DICOM date (VR DA): eight digits, DICOM PS3.5 6.2; or parted by points, as before DICOM 3.0 (PS3.5-2011, the note there).
///
/// # Errors
/// A problem that names `what`, where the text is not a date.
pub fn date(what: &str, text: &str) -> Result<NaiveDate, Problem> {
    let read = || {
        text.is_ascii().then_some(())?;
        let (year, month, day) = match (text.len(), text.as_bytes()) {
            (8, _) => (&text[..4], &text[4..6], &text[6..]),
            (10, [_, _, _, _, b'.', _, _, b'.', ..]) => (&text[..4], &text[5..7], &text[8..]),
            _ => return None,
        };
        NaiveDate::from_ymd_opt(i32::try_from(digits(year)?).ok()?, digits(month)?, digits(day)?)
    };
    read().ok_or_else(|| refused(what, text, "a date as `YYYYMMDD`"))
}

/// A DICOM time (VR TM): `HH`, `HHMM`, `HHMMSS` or `HHMMSS.FFFFFF`, DICOM PS3.5 6.2, with its step in seconds; or parted by
/// colons, as before DICOM 3.0 (PS3.5-2011, the note there).
///
/// # Errors
/// A problem that names `what`, where the text is not a time.
pub fn time(what: &str, text: &str) -> Result<(NaiveTime, f64), Problem> {
    let read = || {
        text.is_ascii().then_some(())?;
        let (whole, fraction) = match text.split_once('.') {
            Some((whole, fraction)) => (whole, Some(fraction)),
            None => (text, None),
        };
        let plain = match whole.as_bytes() {
            [_, _, b':', _, _, b':', _, _] => whole.replace(':', ""),
            _ => whole.to_owned(),
        };
        let whole = plain.as_str();
        let part = |from: usize| whole.get(from..from + 2).and_then(digits);
        let (minute, second, step_s) = match whole.len() {
            2 if fraction.is_none() => (0, 0, 3600.0),
            4 if fraction.is_none() => (part(2)?, 0, 60.0),
            6 => (part(2)?, part(4)?, 1.0),
            _ => return None,
        };
        let (nanos, step_s) = match fraction {
            Some(fraction) => subseconds(fraction)?,
            None => (0, step_s),
        };
        // A leap second may be written as 60; no clock that we compare with counts it.
        NaiveTime::from_hms_nano_opt(part(0)?, minute, second.min(59), nanos)
            .filter(|_| second <= 60)
            .map(|time| (time, step_s))
    };
    read().ok_or_else(|| refused(what, text, "a time as `HHMMSS.FFFFFF`"))
}

/// Digits after the point as nanoseconds, with their step in seconds; one to nine digits.
pub(crate) fn subseconds(text: &str) -> Option<(u32, f64)> {
    let length = u32::try_from(text.len()).ok().filter(|length| *length <= 9)?;
    let nanos = digits(text)? * 10_u32.pow(9 - length);
    Some((nanos, 1.0 / f64::from(10_u32.pow(length))))
}

/// A DICOM date and time (VR DT): `YYYYMMDDHHMMSS.FFFFFF&ZZXX`, at least down to the hour.
///
/// # Errors
/// A problem that names `what`, where the text is not a date and time.
pub fn date_time(what: &str, text: &str) -> Result<TimeValue, Problem> {
    let (plain, zone) = match text.find(['+', '-']) {
        Some(at) => (&text[..at], Some(zone(what, &text[at..])?)),
        None => (text, None),
    };
    let wanted = || refused(what, text, "a date and time as `YYYYMMDDHHMMSS.FFFFFF&ZZXX`");
    let (day, clock) = plain.split_at_checked(8).ok_or_else(wanted)?;
    let (clock, resolution_s) = time(what, clock).map_err(|_| wanted())?;
    let local = date(what, day).map_err(|_| wanted())?.and_time(clock);
    Ok(TimeValue { local, resolution_s, utc_offset_s: zone })
}

/// A time zone as DICOM writes it: `+0200`; from `-1200` to `+1400`, and `-0000` is not allowed (PS3.3 C.12.1.1.8).
///
/// # Errors
/// A problem that names `what`, where the text is not such a zone; a colon is not allowed.
pub fn zone(what: &str, text: &str) -> Result<i32, Problem> {
    let read = || {
        (text.len() == 5 && text.is_ascii() && text != "-0000").then_some(())?;
        let sign = match &text[..1] {
            "+" => 1,
            "-" => -1,
            _ => return None,
        };
        let minutes = digits(&text[3..]).filter(|minutes| *minutes < 60)?;
        let seconds = i32::try_from(digits(&text[1..3])? * 3600 + minutes * 60).ok()? * sign;
        (-12 * 3600..=14 * 3600).contains(&seconds).then_some(seconds)
    };
    read().ok_or_else(|| refused(what, text, "a time zone as `+0200`"))
}

/// An EXIF time `YYYY:MM:DD HH:MM:SS` with its own fields for what is below the second and for the zone (`+02:00`).
///
/// # Errors
/// A problem, where one of them is not valid.
pub fn exif(text: &str, subsec: Option<&str>, offset: Option<&str>) -> Result<TimeValue, Problem> {
    let wanted = || refused("DateTimeOriginal", text, "`YYYY:MM:DD HH:MM:SS`");
    let mut local = NaiveDateTime::parse_from_str(text, "%Y:%m:%d %H:%M:%S").map_err(|_| wanted())?;
    let mut resolution_s = 1.0;
    if let Some(subsec) = subsec {
        let (nanos, step_s) = subseconds(subsec)
            .ok_or_else(|| refused("SubSecTimeOriginal", subsec, "the digits after the point"))?;
        local += TimeDelta::nanoseconds(i64::from(nanos));
        resolution_s = step_s;
    }
    let utc_offset_s = offset
        .map(|offset| {
            zone("OffsetTimeOriginal", &offset.replacen(':', "", 1))
                .or_else(|fault| if offset == "-00:00" { Ok(0) } else { Err(fault) })
        })
        .transpose()?;
    Ok(TimeValue { local, resolution_s, utc_offset_s })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_step_is_the_one_written() {
        assert_eq!(time("t", "145628").unwrap().1, 1.0);
        assert_eq!(time("t", "145628.35").unwrap().1, 0.01);
        assert_eq!(time("t", "1456").unwrap().1, 60.0);
    }

    #[test]
    fn dates_and_times_of_before_dicom_3_are_read() {
        assert_eq!(date("d", "1994.11.05").unwrap(), date("d", "19941105").unwrap());
        assert_eq!(time("t", "14:56:28.35").unwrap(), time("t", "145628.35").unwrap());
    }

    #[test]
    fn what_is_no_date_or_time_is_refused() {
        for text in
            ["1994-11-05", "1994.13.05", "94.11.05", "1994.11.5x", "19941305", "1994110", "", "1994110５"]
        {
            assert!(date("d", text).is_err(), "{text}");
        }
        for text in
            ["14:56", "14:5628", "24:56:28", "245628", "1460", "145661", "145628.", "1456.5", "", "+1", "1é"]
        {
            assert!(time("t", text).is_err(), "{text}");
        }
        for text in ["+02:00", "-0000", "+1500", "0200", "+0260", "+ 200"] {
            assert!(zone("z", text).is_err(), "{text}");
        }
        for text in ["20260504", "2026-05-04T10:00:00", "20260504100000+02:00", "20260504é"] {
            assert!(date_time("dt", text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_zone_in_the_text_goes_before_the_one_assumed() {
        let stamp = date_time("dt", "20260504100000.5+0200").unwrap();
        assert_eq!(stamp.instant(-3600).unwrap().to_rfc3339(), "2026-05-04T08:00:00.500+00:00");
        let stamp = date_time("dt", "20260504100000.5").unwrap();
        assert_eq!(stamp.instant(-3600).unwrap().to_rfc3339(), "2026-05-04T11:00:00.500+00:00");
    }
}
