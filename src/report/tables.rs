//! The tables of the HTML report: views, what was said, stills, calls, notes and changes.
//!
//! Takes: the parts of a `Paper`, and `Pictures`.
//! Gives: sections of the page, escaped.
//! Never: a state shown by colour alone, or a link to an anchor that is not there.
//! Tested in: `tests/it/report.rs`.

use maud::{Markup, html};

use super::data::{
    CallLine, ChangeLine, CoverageCell, EnteredLine, Grid, NoteLine, SaidLine, SettledLine, StillLine,
};
use super::picture::{Picture, Pictures};

use crate::exam::seq::Seq;

/// The wanted views: a table for each limb and scheme, zones down, planes across.
pub(crate) fn coverage(grids: &[Grid]) -> Markup {
    html! {
        section #views {
            h2 { "Views" }
            @if grids.is_empty() { p { "No limb was called, so no views are expected." } }
            div.grids { @for grid in grids {
                table.grid {
                    caption { strong { (grid.limb) } " " span { "scheme " (grid.scheme) } }
                    thead { tr { th scope="col" { "Zone" } @for name in &grid.planes { th scope="col" { (name) } } } }
                    tbody { @for (zone, cells) in &grid.rows {
                        tr { th scope="row" { (zone) } @for one in cells { (cell(one)) } }
                    } }
                }
            } }
        }
    }
}

fn cell(cell: &CoverageCell) -> Markup {
    let sign = match cell.class {
        "stills" => "✓",
        "notdone" => "–",
        "saved" => "?",
        "called" => "○",
        "missing" => "✕",
        _ => return html! { td.none { (cell.words) } },
    };
    html! { td class=(cell.class) { span.sign aria-hidden="true" { (sign) } " " (cell.words) } }
}

/// Findings and values that were not taken back.
pub(crate) fn said_table(said: &[SaidLine]) -> Markup {
    html! {
        section #said {
            h2 { "Findings and values as spoken" }
            @if said.is_empty() { p { "No findings or values were spoken." } } @else {
                table {
                    thead { tr {
                        th scope="col" { "Where" } th scope="col" { "Structure" } th scope="col" { "What" }
                        th.num scope="col" { "Confidence" } th scope="col" { "Call" }
                    } }
                    tbody { @for line in said { tr {
                        td { (line.place) }
                        td { (line.structure) }
                        td { (line.what) }
                        td.num { (line.sure) }
                        td { a href={ "#call-" (line.call) } { (line.call) } }
                    } } }
                }
            }
        }
    }
}

/// Values that were typed or traced; nothing when there are none.
pub(crate) fn entered(lines: &[EnteredLine]) -> Markup {
    html! {
        @if !lines.is_empty() {
            section #entered {
                h2 { "Typed and traced" }
                table {
                    thead { tr {
                        th.num scope="col" { "Line" } th scope="col" { "When" } th scope="col" { "Where" }
                        th scope="col" { "What" } th scope="col" { "How" } th scope="col" { "By" }
                    } }
                    tbody { @for line in lines { tr {
                        th.num scope="row" { (line.line) }
                        td.time { (line.when) }
                        td { (line.place) } td { (line.what) } td { (line.how) } td { (line.by) }
                    } } }
                }
            }
        }
    }
}

/// The stills with picture, label and what was said in their view.
pub(crate) fn still_table(stills: &[StillLine], pictures: &Pictures) -> Markup {
    html! {
        section #stills {
            h2 { "Stills" }
            @if stills.is_empty() { p { "No still was found." } } @else {
                table.stills {
                    thead { tr { th scope="col" { "No." } th scope="col" { "Picture" } th scope="col" { "Label" } } }
                    tbody { @for still in stills { (still_row(still, pictures.get(&still.id))) } }
                }
            }
        }
    }
}

fn still_row(still: &StillLine, picture: Option<&Picture>) -> Markup {
    let mark = if still.open { "open" } else { "" };
    html! {
        tr id={ "still-" (still.number) } {
            th.num scope="row" { (still.number) }
            td.pic { (show(still, picture)) }
            td {
                p.label { @if still.label.is_empty() { "No label" } @else { (still.label) } }
                p class={ "state " (mark) } { (still.state) (call_link(still.call)) }
                @if !still.rivals.is_empty() {
                    p { "Other possible labels:" }
                    ul { @for (reading, call, reason) in &still.rivals { li { (reading) (call_link(*call)) ": " (reason) } } }
                }
                @if !still.said.is_empty() {
                    p { "Said in this view:" }
                    ul { @for said in &still.said { li { (said) } } }
                }
                p.small { (still.saved) span.file title=(still.file) { (still.name) } }
            }
        }
    }
}

/// `, call 7` as a link; nothing where the call is not in the report.
fn call_link(call: Option<Seq>) -> Markup {
    html! { @if let Some(seq) = call { ", " a href={ "#call-" (seq) } { "call " (seq) } } }
}

fn show(still: &StillLine, picture: Option<&Picture>) -> Markup {
    match picture {
        Some(Picture::Shown { jpeg, width_px, height_px }) => {
            let label = if still.label.is_empty() { String::new() } else { format!(": {}", still.label) };
            html! {
                img src=(super::picture::data_uri(jpeg)) width=(width_px) height=(height_px)
                    alt={ "still " (still.number) (label) };
            }
        }
        _ => html! { p.nopic { (still.no_picture) } },
    }
}

/// Every call, and every utterance that was not understood, in order.
pub(crate) fn call_table(calls: &[CallLine]) -> Markup {
    html! {
        section #calls {
            h2 { "Calls" }
            @if calls.is_empty() { p { "Nothing was said." } } @else {
                table.calls {
                    thead { tr {
                        th.num scope="col" { "Call" } th scope="col" { "Time" } th scope="col" { "Words" }
                        th scope="col" { "Meaning" } th.num scope="col" { "Confidence" }
                    } }
                    tbody { @for call in calls { (call_row(call)) } }
                }
            }
        }
    }
}

fn call_row(call: &CallLine) -> Markup {
    html! {
        tr id={ "call-" (call.seq) } class=(call.class) {
            th.num scope="row" { (call.seq) }
            td.time { (call.time) span.small { "sound " (call.sound) } }
            td.words { (call.words) }
            td {
                @if call.class == "gone" { strong { "taken back: " } }
                @if call.corrects { strong { "correction: " } }
                span.meaning { (call.meaning) }
                @if !call.place.is_empty() { span.small { (call.place) } }
                @if !call.corrected_by.is_empty() {
                    span.small { "corrected by " @for (seq, is_call) in &call.corrected_by {
                        @if *is_call { a href={ "#call-" (seq) } { "call " (seq) } } @else { "line " (seq) " by hand" }
                        " "
                    } }
                }
            }
            td.num { (call.sure) }
        }
    }
}

/// What was corrected by hand; nothing if nothing was.
pub(crate) fn changes(changes: &[ChangeLine]) -> Markup {
    html! {
        @if !changes.is_empty() {
            section #changes {
                h2 { "Corrected by hand" }
                table {
                    thead { tr {
                        th.num scope="col" { "Line" } th scope="col" { "When" } th scope="col" { "By" }
                        th scope="col" { "What" } th scope="col" { "Before" } th scope="col" { "Why" }
                    } }
                    tbody { @for change in changes { tr {
                        th.num scope="row" { (change.line) }
                        td.time { (change.when) }
                        td { (change.by) }
                        td {
                            @if let Some(by) = change.taken_back_by { strong { "taken back in line " (by) ": " } }
                            (change.what)
                        }
                        td { (change.was) }
                        td { (change.why) }
                    } } }
                }
            }
        }
    }
}

/// Free notes; nothing when there are none.
pub(crate) fn notes(notes: &[NoteLine]) -> Markup {
    html! {
        @if !notes.is_empty() {
            section #notes {
                h2 { "Free notes" }
                p { "They are kept as sound; listen to them in the recording." }
                ul { @for note in notes { li { (note.text) (call_link(note.call)) } } }
            }
        }
    }
}

pub(crate) fn settled(settled: &[SettledLine]) -> Markup {
    html! {
        @if !settled.is_empty() {
            section #settled {
                h2 { "Settled" }
                table {
                    thead { tr {
                        th.num scope="col" { "Line" } th scope="col" { "When" } th scope="col" { "By" }
                        th scope="col" { "What was asked" } th scope="col" { "Why" }
                    } }
                    tbody { @for line in settled { tr {
                        th.num scope="row" { (line.line) }
                        td.time { (line.when) }
                        td { (line.by) }
                        td { (line.text) }
                        td { (line.why) }
                    } } }
                }
            }
        }
    }
}
