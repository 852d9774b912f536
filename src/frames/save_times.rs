//! When each still was saved by the scanner's clock, and which files show a still that another file shows, too.
//!
//! Takes: the stills of an exam, as their files describe them.
//! Gives: times that run on through a fixed acquisition time, past midnight and through a change of summer time; for a file
//! that shows the still of another one, that still.
//! Never: changes a still; shifts a time unless the scanner's own numbers say that it ran on.
//! Tested in: `tests/it/pair_save_times.rs`.

use std::path::Path;

use chrono::{DateTime, Days, TimeDelta, Utc};

use crate::exam::event::Frame;
use crate::frames::folder::FILE_TIME;
use crate::frames::scanner_name::by_scanner;

/// Two stills whose contents were made further apart than this, in seconds, were not saved at the same instant.
const APART_S: f64 = 1.0;
/// A clock that falls back by more than this many hours within a date that stays the same has passed midnight.
const MIDNIGHT_H: i64 = 20;
/// By so many seconds a clock is set at the beginning and the end of summer time.
const SUMMER_S: i64 = 3600;
/// Stills before and after that were saved no further apart than this, in seconds.
const STEP_PAUSE_S: i64 = 1800;
/// Two objects with the same pixels show one still where their times differ by no more than this, in seconds.
const SAME_PIXELS_S: f64 = 1.0;
/// Two files of the same name show one still where their times differ by no more than this, in seconds.
const SAME_NAME_S: f64 = 5.0;

/// When each still was saved, by its scanner's clock.
pub(crate) fn saved_at(frames: &[Frame], utc_offset_s: i32) -> Vec<DateTime<Utc>> {
    let mut times: Vec<DateTime<Utc>> = frames.iter().map(|frame| frame.saved_at).collect();
    for own in by_scanner(frames) {
        let stills: Vec<Frame> = own.iter().map(|idx| frames[*idx].clone()).collect();
        for (idx, at) in own.into_iter().zip(saved_by_one(&stills, utc_offset_s)) {
            times[idx] = at;
        }
    }
    times
}

/// The same for the stills of one scanner.
fn saved_by_one(frames: &[Frame], utc_offset_s: i32) -> Vec<DateTime<Utc>> {
    let times: Vec<DateTime<Utc>> = match stands_still(frames) {
        true => frames.iter().map(|frame| frame.content_at.unwrap_or(frame.saved_at)).collect(),
        false => frames.iter().map(|frame| frame.saved_at).collect(),
    };
    past_midnight(frames, &times, utc_offset_s).unwrap_or(times)
}

/// The acquisition time is that of the exam, and only the time of the content tells the stills apart.
fn stands_still(frames: &[Frame]) -> bool {
    let mut by_time: Vec<(DateTime<Utc>, DateTime<Utc>)> =
        frames.iter().filter_map(|frame| Some((frame.saved_at, frame.content_at?))).collect();
    by_time.sort();
    by_time.windows(2).any(|two| two[0].0 == two[1].0 && (two[1].1 - two[0].1).as_seconds_f64() > APART_S)
}

/// The date is that on which the study began: by the scanner's numbers the clock ran on past midnight.
fn past_midnight(
    frames: &[Frame],
    written: &[DateTime<Utc>],
    utc_offset_s: i32,
) -> Option<Vec<DateTime<Utc>>> {
    let numbers = frames.iter().enumerate().map(|(idx, frame)| Some((frame.instance_number?, idx)));
    let mut order: Vec<(i64, usize)> = numbers.collect::<Option<_>>()?;
    order.sort_unstable();
    if order.windows(2).any(|two| two[0].0 == two[1].0) {
        return None;
    }
    let mut times = written.to_vec();
    let mut days = 0;
    for two in order.windows(2) {
        let (before, at) = (written[two[0].1], written[two[1].1]);
        let date = |at: DateTime<Utc>| {
            Some(at.checked_add_signed(TimeDelta::seconds(utc_offset_s.into()))?.date_naive())
        };
        if date(before) != date(at) {
            days = 0;
        } else if before - at > TimeDelta::hours(MIDNIGHT_H) {
            days += 1;
        }
        times[two[1].1] = at.checked_add_days(Days::new(days))?;
    }
    Some(times)
}

/// The same times as if the scanner's clock had been set by an hour once, at the beginning or the end of summer time: it
/// falls back by the scanner's own numbers, or leaves out an hour. None where it does so nowhere, or more than once.
pub(super) fn through_summer_time(frames: &[Frame], times: &[DateTime<Utc>]) -> Option<Vec<DateTime<Utc>>> {
    let mut order: Vec<usize> = (0..frames.len()).collect();
    let numbers: Option<Vec<i64>> = frames.iter().map(|frame| frame.instance_number).collect();
    match numbers {
        Some(numbers) => order.sort_by_key(|idx| (numbers[*idx], times[*idx])),
        None => order.sort_by_key(|idx| times[*idx]),
    }
    let (summer, pause) = (TimeDelta::seconds(SUMMER_S), TimeDelta::seconds(STEP_PAUSE_S));
    let set_by = |two: &[usize]| {
        let later = times[two[1]] - times[two[0]];
        [-summer, summer].into_iter().find(|by| (*by..*by + pause).contains(&later))
    };
    let mut steps = order.windows(2).enumerate().filter_map(|(idx, two)| Some((idx + 1, set_by(two)?)));
    let (first, by) = steps.next().filter(|_| steps.next().is_none())?;
    let mut through = times.to_vec();
    for idx in &order[first..] {
        through[*idx] = times[*idx].checked_sub_signed(by)?;
    }
    Some(through)
}

/// The same by the times as they are written, for stills of which no exam is known.
pub(crate) fn copies(frames: &[Frame]) -> Vec<Option<usize>> {
    let times: Vec<DateTime<Utc>> = frames.iter().map(|frame| frame.saved_at).collect();
    copy_of(frames, &times)
}

/// Whether a file is a picture without DICOM attributes.
pub(crate) fn is_picture(frame: &Frame) -> bool {
    frame.id.starts_with("sha256:")
}

/// For each file that shows the still of another file, in another format or as another object, the place of that one.
pub(super) fn copy_of(frames: &[Frame], times: &[DateTime<Utc>]) -> Vec<Option<usize>> {
    let twins = twin_of(frames, times);
    let is_original = |idx: &usize| !is_picture(&frames[*idx]) && twins[*idx].is_none();
    let originals: Vec<usize> = (0..frames.len()).filter(is_original).collect();
    let find = |idx: usize| {
        let picture = &frames[idx];
        if !is_picture(picture) {
            return None;
        }
        let is_named = |other: &&usize| {
            stem(picture) == stem(&frames[**other]) && is_near(picture, times[idx], times[**other])
        };
        let is_at_once = |other: &&usize| {
            let step_s = picture.resolution_s.max(frames[**other].resolution_s);
            is_dated(picture)
                && twins[**other].is_none()
                && picture.size_px == frames[**other].size_px
                && apart_s(times[idx], times[**other]) <= step_s
        };
        only(originals.iter().filter(is_named)).or_else(|| only(originals.iter().filter(is_at_once)))
    };
    let mut copies: Vec<Option<usize>> = (0..frames.len()).map(find).collect();
    // Two pictures of one still are no copies in another format: then one of them is of something else.
    let shared: Vec<Option<usize>> = copies.clone();
    for copy in &mut copies {
        let claimed = shared.iter().filter(|other| copy.is_some() && *other == copy).count();
        *copy = copy.filter(|_| claimed == 1);
    }
    copies.into_iter().zip(twins).map(|(copy, twin)| copy.or(twin)).collect()
}

/// For each object with the very pixels of one that was saved just before it, the place of the first of these.
fn twin_of(frames: &[Frame], times: &[DateTime<Utc>]) -> Vec<Option<usize>> {
    let mut order: Vec<usize> =
        (0..frames.len()).filter(|idx| frames[*idx].pixels_sha256.is_some()).collect();
    order.sort_by_key(|idx| (&frames[*idx].pixels_sha256, times[*idx], frames[*idx].instance_number, *idx));
    let mut twins = vec![None; frames.len()];
    let mut first: Option<usize> = None;
    for idx in order {
        let is_twin = |first: &usize| {
            frames[*first].pixels_sha256 == frames[idx].pixels_sha256
                && apart_s(times[*first], times[idx]) <= SAME_PIXELS_S
        };
        first = first.filter(is_twin).inspect(|first| twins[idx] = Some(*first)).or(Some(idx));
    }
    twins
}

/// The only one of them.
fn only<'a>(mut of: impl Iterator<Item = &'a usize>) -> Option<usize> {
    let first = of.next()?;
    of.next().is_none().then_some(*first)
}

/// The time of the file alone says when it was copied, and nothing of the still.
fn is_dated(frame: &Frame) -> bool {
    frame.time_source != FILE_TIME
}

fn is_near(picture: &Frame, one: DateTime<Utc>, other: DateTime<Utc>) -> bool {
    !is_dated(picture) || apart_s(one, other) <= SAME_NAME_S
}

fn apart_s(one: DateTime<Utc>, other: DateTime<Utc>) -> f64 {
    (one - other).as_seconds_f64().abs()
}

fn stem(frame: &Frame) -> Option<String> {
    Some(Path::new(&frame.file).file_stem()?.to_string_lossy().to_lowercase())
}
