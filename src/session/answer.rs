//! Answers to spoken questions.
//!
//! Takes: `Exam` as it stands, and the names in `Protocols`.
//! Gives: short sentences for the ear or the eye.
//! Never: I/O, or a name of its own; what is left comes from the same coverage as in the report.
//! Tested in: `tests/it/answer.rs`.

use crate::code::{LimbCode, ZoneCode};
use crate::exam::call::Act;
use crate::exam::fold::Exam;
use crate::knowledge::coverage::coverage_of;
use crate::knowledge::progress::Progress;
use crate::knowledge::record::CoverageRow;
use crate::language::closed_sets::Ask;
use crate::protocol::Protocols;

/// Views named in an answer; of the rest only the number is reported.
const VIEWS_MAX: usize = 3;
/// Words that the voice says in three seconds, at 160 a minute.
const WORDS_MAX: usize = 8;

/// The answer to a question; none for one that this program cannot answer.
#[must_use]
pub fn answer(ask: Ask, exam: &Exam, progress: &Progress, protocols: &Protocols) -> Option<String> {
    match ask {
        Ask::Where => Some(whereabouts(exam, protocols)),
        Ask::Left => Some(left(exam, progress, protocols)),
        Ask::Next => Some(next(exam, progress, protocols)),
        Ask::Last => Some(last(exam)),
        Ask::Value => Some(value(exam)),
        Ask::Saved => Some(format!("{} saved", progress.saves())),
        Ask::Compare | Ask::Unknown => None,
    }
}

fn whereabouts(exam: &Exam, protocols: &Protocols) -> String {
    let place = exam.context.place.in_words(protocols);
    if place.is_empty() { "no limb has been called yet".to_owned() } else { place }
}

/// Views of the current limb that nobody saved or left out on purpose.
fn left(exam: &Exam, progress: &Progress, protocols: &Protocols) -> String {
    let Some(limb) = exam.context.place.limb.as_deref() else {
        return "no limb has been called yet".to_owned();
    };
    let open = open_views(limb, exam, progress, protocols);
    let more = open.len().saturating_sub(VIEWS_MAX);
    let named =
        open.iter().take(VIEWS_MAX).map(|row| view_in_words(row, protocols)).collect::<Vec<_>>().join(", ");
    match (named.is_empty(), more) {
        (true, _) => "nothing is left on this limb".to_owned(),
        (false, 0) => named,
        (false, more) => format!("{named}, and {more} more"),
    }
}

/// The first view of the current limb that nobody saved, in the order of the practice.
fn next(exam: &Exam, progress: &Progress, protocols: &Protocols) -> String {
    let Some(limb) = exam.context.place.limb.as_deref() else {
        return "no limb has been called yet".to_owned();
    };
    let order = &protocols.rules.habits.view_order;
    let place = |row: &CoverageRow| {
        let name = format!("{} {}", row.zone, row.plane);
        order.iter().position(|view| *view == name).unwrap_or(order.len())
    };
    // Stable: views that the practice does not name stay in the order of the scheme.
    let next = open_views(limb, exam, progress, protocols).into_iter().min_by_key(place);
    next.map_or_else(|| "nothing is left on this limb".to_owned(), |row| view_in_words(&row, protocols))
}

fn view_in_words(row: &CoverageRow, protocols: &Protocols) -> String {
    let plane = protocols.plane_name(&row.plane);
    format!("zone {} {plane}", row.zone)
}

/// Views of a limb that nobody saved or left out on purpose, whatever stills there are.
pub(super) fn open_views(
    limb: &str,
    exam: &Exam,
    progress: &Progress,
    protocols: &Protocols,
) -> Vec<CoverageRow> {
    let rows = coverage_of(progress, &exam.header.schemes, &[], protocols);
    rows.into_iter().filter(|row| row.limb == limb && row.saves == 0 && !row.not_done).collect()
}

/// The zones that the answer to "what is left" names, by limb and zone.
#[must_use]
pub fn named_as_left(exam: &Exam, progress: &Progress, protocols: &Protocols) -> Vec<(LimbCode, ZoneCode)> {
    let Some(limb) = exam.context.place.limb.as_deref() else { return Vec::new() };
    let open = open_views(limb, exam, progress, protocols);
    open.into_iter().take(VIEWS_MAX).map(|row| (row.limb, row.zone)).collect()
}

/// As much of an answer as is said in three seconds; the screen has all of it.
#[must_use]
pub fn brief(answer: &str) -> String {
    const MORE: &str = ", and more";
    let words = |text: &str| text.split_whitespace().map(n_words).sum::<usize>();
    if words(answer) <= WORDS_MAX {
        return answer.to_owned();
    }
    let first = answer.split(", ").next().unwrap_or_default();
    if words(first) + words(MORE) > WORDS_MAX {
        return first_words(first) + MORE;
    }
    let mut said = String::new();
    for part in answer.split(", ") {
        let longer = if said.is_empty() { part.to_owned() } else { format!("{said}, {part}") };
        if !said.is_empty() && words(&longer) + words(MORE) > WORDS_MAX {
            break;
        }
        said = longer;
    }
    said + MORE
}

/// As many of the words of a part as leave room to say that there is more.
fn first_words(part: &str) -> String {
    let (mut room, mut kept) = (WORDS_MAX.saturating_sub(2), Vec::new());
    for word in part.split_whitespace() {
        let Some(left) = room.checked_sub(n_words(word)) else { break };
        room = left;
        kept.push(word);
    }
    kept.join(" ")
}

/// A code such as `2A` is spoken as two words, and so is a number of two figures.
fn n_words(word: &str) -> usize {
    let is_code = word.starts_with(|first: char| first.is_ascii_digit());
    if is_code { word.chars().filter(|c| c.is_alphanumeric()).count().max(1) } else { 1 }
}

/// The last number said of this limb, as it counts.
fn value(exam: &Exam) -> String {
    let said = exam.calls.iter().rev().find(|call| {
        call.withdrawn_by.is_none()
            && call.context.place.limb == exam.context.place.limb
            && matches!(call.act, Act::Value(_))
    });
    said.map_or_else(|| "no number has been said for this limb yet".to_owned(), |call| call.act.to_string())
}

/// The last valid call; questions and answers are left out.
fn last(exam: &Exam) -> String {
    let spoken = |act: &Act| !matches!(act, Act::Question { .. } | Act::Answer { .. } | Act::Command(_));
    let call = exam.calls.iter().rev().find(|call| call.withdrawn_by.is_none() && spoken(&call.act));
    call.map_or_else(|| "nothing has been called yet".to_owned(), |call| call.call.words.clone())
}
