//! Answers to spoken questions.
//!
//! Takes: `Exam` as it stands, and the names in `Protocols`.
//! Gives: short sentences for the ear or the eye.
//! Never: I/O, or a name of its own; what is left comes from the same coverage as in the report.
//! Tested in: `tests/it/answer.rs`.

use crate::exam::call::Act;
use crate::exam::fold::Exam;
use crate::exam::place::Place;
use crate::knowledge::coverage::coverage_of;
use crate::knowledge::progress::Progress;
use crate::language::closed_sets::Ask;
use crate::protocol::Protocols;

/// Views named in an answer; of the rest only the number is told.
const VIEWS_MAX: usize = 3;

/// The answer to a question; none for one that this program cannot answer.
#[must_use]
pub fn answer(ask: Ask, exam: &Exam, progress: &Progress, protocols: &Protocols) -> Option<String> {
    match ask {
        Ask::Where => Some(whereabouts(exam, protocols)),
        Ask::Left => Some(left(exam, progress, protocols)),
        Ask::Last => Some(last(exam)),
        Ask::Value => Some(value(exam)),
        Ask::Saved => Some(format!("{} saved", progress.saves())),
        Ask::Compare | Ask::Unknown => None,
    }
}

fn whereabouts(exam: &Exam, protocols: &Protocols) -> String {
    let place = Place::from(&exam.context).in_words(protocols);
    if place.is_empty() { "no limb has been called yet".to_owned() } else { place }
}

/// Views of the limb in force that nobody saved or left out on purpose.
fn left(exam: &Exam, progress: &Progress, protocols: &Protocols) -> String {
    let Some(limb) = exam.context.limb.as_deref() else { return "no limb has been called yet".to_owned() };
    let rows = coverage_of(progress, &exam.header.schemes, &[], protocols);
    let open = rows.iter().filter(|row| row.limb == limb && row.saves == 0 && !row.not_done);
    let names: Vec<String> = open
        .map(|row| {
            let plane = protocols.plane(&row.plane).map_or(row.plane.as_str(), |plane| &plane.name);
            format!("zone {} {plane}", row.zone)
        })
        .collect();
    let more = names.len().saturating_sub(VIEWS_MAX);
    let named = names.into_iter().take(VIEWS_MAX).collect::<Vec<_>>().join(", ");
    match (named.is_empty(), more) {
        (true, _) => "nothing is left on this limb".to_owned(),
        (false, 0) => named,
        (false, more) => format!("{named}, and {more} more"),
    }
}

/// The last number said of this limb, as it counts.
fn value(exam: &Exam) -> String {
    let said = exam.calls.iter().rev().find(|call| {
        call.withdrawn_by.is_none()
            && call.context.limb == exam.context.limb
            && matches!(call.act, Act::Value(_))
    });
    said.map_or_else(|| "no number was said on this limb yet".to_owned(), |call| call.act.to_string())
}

/// The last call that stands; questions and answers do not count.
fn last(exam: &Exam) -> String {
    let spoken = |act: &Act| !matches!(act, Act::Question { .. } | Act::Answer { .. } | Act::Command(_));
    let call = exam.calls.iter().rev().find(|call| call.withdrawn_by.is_none() && spoken(&call.act));
    call.map_or_else(|| "nothing has been called yet".to_owned(), |call| call.call.words.clone())
}
