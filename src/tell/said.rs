//! What was said to be found and measured, by place, for the report.
//!
//! Takes: `Record` and `Protocols`.
//! Gives: a table of the findings and values that stand.
//! Never: a call that was taken back.
//! Tested in: `tests/tell.rs`.

use maud::{Markup, html};

use crate::knowledge::record::{CallRow, Record};
use crate::protocol::Protocols;

use super::words::{meaning, percent, plane, standing, structure};

/// Findings and values in the order of the protocols' limbs and zones; within a view in the order they were said.
pub(crate) fn said_table(record: &Record, protocols: &Protocols) -> Markup {
    let mut calls: Vec<&CallRow> =
        standing(record).filter(|call| matches!(call.kind.as_str(), "finding" | "value")).collect();
    calls.sort_by_key(|call| order(call, protocols));
    html! {
        section #said {
            h2 { "Findings and values as said" }
            @if calls.is_empty() { p { "Nothing was said to be found or measured." } } @else {
                table {
                    thead { tr {
                        th scope="col" { "Where" } th scope="col" { "Structure" } th scope="col" { "What" }
                        th.num scope="col" { "Sure" } th scope="col" { "Call" }
                    } }
                    tbody { @for call in calls { (said_row(call, protocols)) } }
                }
            }
        }
    }
}

fn said_row(call: &CallRow, protocols: &Protocols) -> Markup {
    let place = call.place.view_in_words(protocols);
    let part = call.place.structure.as_deref().map_or("not named", |code| structure(code, protocols));
    html! {
        tr {
            td { @if place.is_empty() { "place not said" } @else { (place) } }
            td { (part) }
            td { (meaning(call)) }
            td.num { (percent(call.confidence)) }
            td { a href={ "#call-" (call.seq) } { (call.seq) } }
        }
    }
}

/// Limb, zone and plane by their order in the protocols; what is unknown comes last.
fn order(call: &CallRow, protocols: &Protocols) -> (usize, usize, usize) {
    let limb = protocols.limbs.iter().position(|limb| Some(&limb.code) == call.place.limb.as_ref());
    let mut zones = protocols.schemes.iter().flat_map(|scheme| scheme.zones.iter());
    let zone = zones.position(|zone| Some(&zone.code) == call.place.zone.as_ref());
    let plane = protocols.planes.iter().position(|plane| Some(&plane.code) == call.place.plane.as_ref());
    (limb.unwrap_or(usize::MAX), zone.unwrap_or(usize::MAX), plane.unwrap_or(usize::MAX))
}

/// Names of the planes that the rows of one limb use, in the order of the protocols; then those that they do not know.
pub(crate) fn planes_in_order<'a>(used: &[&'a str], protocols: &'a Protocols) -> Vec<(&'a str, &'a str)> {
    let mut codes: Vec<&str> = used.to_vec();
    codes.sort_by_key(|code| {
        (protocols.planes.iter().position(|plane| plane.code == *code).unwrap_or(usize::MAX), *code)
    });
    codes.dedup();
    codes.into_iter().map(|code| (code, plane(code, protocols))).collect()
}
