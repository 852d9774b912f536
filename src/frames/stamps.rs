//! When each still was saved by the scanner's clock, and which files show a still that another file shows, too.
//!
//! Takes: the stills of an exam, as their files describe them.
//! Gives: times that run on through a fixed acquisition time and past midnight; for a copy in another format, the still.
//! Never: changes a still; shifts a time unless the scanner's own numbers say that it ran on.
//! Tested in: `tests/it/pair_stamps.rs`.

use std::path::Path;

use chrono::{DateTime, Days, TimeDelta, Utc};

use crate::exam::event::Frame;
use crate::frames::folder::FILE_TIME;

/// Two stills whose contents were made further apart than this, in seconds, were not saved at the same instant.
const APART_S: f64 = 1.0;
/// A clock that falls back by more than this many hours within a date that stays the same has passed midnight.
const MIDNIGHT_H: i64 = 20;
/// Two files of the same name show one still where their times differ by no more than this, in seconds.
const SAME_NAME_S: f64 = 5.0;

/// When each still was saved, by the scanner's clock.
pub(super) fn saved_at(frames: &[Frame], utc_offset_s: i32) -> Vec<DateTime<Utc>> {
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

/// The same by the times as they are written, for stills of which no exam is known.
pub(crate) fn copies(frames: &[Frame]) -> Vec<Option<usize>> {
    let times: Vec<DateTime<Utc>> = frames.iter().map(|frame| frame.saved_at).collect();
    copy_of(frames, &times)
}

/// For each file that shows the still of another file in another format, the place of that one.
pub(super) fn copy_of(frames: &[Frame], times: &[DateTime<Utc>]) -> Vec<Option<usize>> {
    let is_picture = |frame: &Frame| frame.id.starts_with("sha256:");
    let originals: Vec<usize> = (0..frames.len()).filter(|idx| !is_picture(&frames[*idx])).collect();
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
    copies
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
