//! The report's tables: views, stills, calls; and its notes and clock.
//!
//! Takes: `Record`, `Protocols` and `Pictures`.
//! Gives: sections of the page, escaped.
//! Never: a state told by colour alone, or a link to an anchor that is not there.
//! Tested in: `tests/tell.rs`.

use maud::{Markup, html};

use crate::knowledge::record::{CallRow, CoverageRow, FrameRow, Record, Rival, Status};
use crate::protocol::Protocols;

use super::picture::{Picture, Pictures};
use super::said::planes_in_order;
use super::table::said_in_view;
use super::words::{
    Cover, count, date_time, in_recording, limb, meaning, percent, status, structure, time_of_day,
};

/// The wanted views: a table for each limb and scheme, zones down, planes across.
pub(crate) fn coverage(record: &Record, protocols: &Protocols) -> Markup {
    let mut grids: Vec<(&str, &str)> = Vec::new();
    for row in &record.coverage {
        if !grids.contains(&(&row.limb, &row.scheme)) {
            grids.push((&row.limb, &row.scheme));
        }
    }
    html! {
        section #views {
            h2 { "Views" }
            @if grids.is_empty() { p { "No limb was called, so no view is expected." } }
            div.grids { @for grid in grids { (grid_table(grid, record, protocols)) } }
        }
    }
}

fn grid_table((limb_code, scheme): (&str, &str), record: &Record, protocols: &Protocols) -> Markup {
    let rows: Vec<&CoverageRow> =
        record.coverage.iter().filter(|row| row.limb == limb_code && row.scheme == scheme).collect();
    let used: Vec<&str> = rows.iter().map(|row| row.plane.as_str()).collect();
    let planes = planes_in_order(&used, protocols);
    let mut zones: Vec<&str> = rows.iter().map(|row| row.zone.as_str()).collect();
    zones.dedup();
    html! {
        table.grid {
            caption { strong { (limb(limb_code, protocols)) } " " span { "scheme " (scheme) } }
            thead { tr { th scope="col" { "Zone" } @for (_, name) in &planes { th scope="col" { (name) } } } }
            tbody { @for zone in zones {
                tr {
                    th scope="row" { (zone) }
                    @for (plane, _) in &planes { (cell(rows.iter().find(|row| row.zone == zone && row.plane == *plane))) }
                }
            } }
        }
    }
}

fn cell(row: Option<&&CoverageRow>) -> Markup {
    let Some(row) = row else { return html! { td.none { "not wanted" } } };
    let (class, sign, words) = match Cover::of(row) {
        Cover::Stills => ("stills", "✓", count(row.frames, "still")),
        Cover::NotDone => ("notdone", "–", "left out on purpose".to_owned()),
        Cover::Saved => ("saved", "?", "saved, no still found".to_owned()),
        Cover::Called => ("called", "○", "called, not saved".to_owned()),
        Cover::Missing => ("missing", "✕", "missing".to_owned()),
    };
    html! { td class=(class) { span.sign aria-hidden="true" { (sign) } " " (words) } }
}

/// The stills with picture, label and what was said in their view.
pub(crate) fn still_table(record: &Record, protocols: &Protocols, pictures: &Pictures) -> Markup {
    html! {
        section #stills {
            h2 { "Stills" }
            @if record.frames.is_empty() { p { "No still was found." } } @else {
                table.stills {
                    thead { tr { th scope="col" { "No." } th scope="col" { "Picture" } th scope="col" { "Label" } } }
                    tbody { @for (idx, frame) in record.frames.iter().enumerate() {
                        (still_row(idx + 1, frame, record, protocols, pictures.get(&frame.id)))
                    } }
                }
            }
        }
    }
}

fn still_row(
    number: usize,
    frame: &FrameRow,
    record: &Record,
    protocols: &Protocols,
    picture: Option<&Picture>,
) -> Markup {
    let label = frame.place.in_words(protocols);
    let offset_s = record.exam.utc_offset_s;
    let said: Vec<&CallRow> = said_in_view(frame, record).collect();
    let mark = if matches!(frame.status, Status::Ambiguous | Status::Unlabelled) { "open" } else { "" };
    html! {
        tr id={ "still-" (number) } {
            th.num scope="row" { (number) }
            td.pic { (show(picture, number, &label)) }
            td {
                p.label { @if label.is_empty() { "No label" } @else { (label) } }
                p class={ "state " (mark) } {
                    (status(frame.status))
                    @if matches!(frame.status, Status::Spoken | Status::Context) { ", " (percent(frame.confidence)) " sure" }
                    @if let Some(seq) = known_call(frame.call_seq, record) { ", " a href={ "#call-" (seq) } { "call " (seq) } }
                }
                @if !frame.rivals.is_empty() {
                    p { "Other readings:" }
                    ul { @for rival in &frame.rivals { (rival_item(rival, record, protocols)) } }
                }
                @if !said.is_empty() {
                    p { "Said in this view:" }
                    ul { @for call in said { li {
                        @if let Some(code) = &call.place.structure { (structure(code, protocols)) ": " }
                        (meaning(call))
                    } } }
                }
                p.small {
                    "Saved " (time_of_day(frame.saved_at, offset_s)) " by the scanner's clock"
                    @match frame.saved_at_exam {
                        Some(at) => { ", " (time_of_day(at, offset_s)) " by the exam's" }
                        None => { "; not tied to the exam's" }
                    }
                    span.file title=(frame.file) { (frame.name()) }
                }
            }
        }
    }
}

fn show(picture: Option<&Picture>, number: usize, label: &str) -> Markup {
    let alt = if label.is_empty() { format!("still {number}") } else { format!("still {number}: {label}") };
    match picture {
        Some(Picture::Shown { data_uri, width_px, height_px }) => html! {
            img src=(data_uri) width=(width_px) height=(height_px) alt=(alt);
        },
        Some(Picture::NotShown { why }) => html! { p.nopic { "Not shown: " (why) } },
        None => html! { p.nopic { "Pictures were not asked for" } },
    }
}

fn rival_item(rival: &Rival, record: &Record, protocols: &Protocols) -> Markup {
    let label = rival.place.in_words(protocols);
    html! {
        li {
            @if label.is_empty() { "no label" } @else { (label) }
            ", " (percent(rival.confidence)) " likely"
            @if let Some(seq) = known_call(Some(rival.call_seq), record) { ", " a href={ "#call-" (seq) } { "call " (seq) } }
            ": " (rival.reason)
        }
    }
}

fn known_call(seq: Option<u64>, record: &Record) -> Option<u64> {
    seq.filter(|seq| record.calls.iter().any(|call| call.seq == *seq))
}

/// Every call, and every breath that was not understood, in order.
pub(crate) fn call_table(record: &Record, protocols: &Protocols) -> Markup {
    html! {
        section #calls {
            h2 { "Calls" }
            @if record.calls.is_empty() { p { "Nothing was said." } } @else {
                table.calls {
                    thead { tr {
                        th.num scope="col" { "Call" } th scope="col" { "Time" } th scope="col" { "Words" }
                        th scope="col" { "Meaning" } th.num scope="col" { "Sure" }
                    } }
                    tbody { @for call in &record.calls { (call_row(call, record, protocols)) } }
                }
            }
        }
    }
}

fn call_row(call: &CallRow, record: &Record, protocols: &Protocols) -> Markup {
    let class = match (call.withdrawn, call.kind.as_str()) {
        (true, _) => "gone",
        (false, "unknown") => "unknown",
        _ => "",
    };
    let place = call.place.in_short(protocols);
    html! {
        tr id={ "call-" (call.seq) } class=(class) {
            th.num scope="row" { (call.seq) }
            td.time {
                (time_of_day(call.said_at, record.exam.utc_offset_s))
                span.small { "sound " (in_recording(call.span_s.0)) }
            }
            td.words { @if call.words.trim().is_empty() { "(no words)" } @else { "“" (call.words) "”" } }
            td {
                @if call.withdrawn { strong { "taken back: " } }
                @if call.corrects { strong { "correction: " } }
                span.meaning { (meaning(call)) }
                @if !place.is_empty() && call.kind != "unknown" { span.small { (place) } }
                @if !call.corrected_by.is_empty() {
                    span.small { "put right by " @for seq in &call.corrected_by {
                        @if known_call(Some(*seq), record).is_some() { a href={ "#call-" (seq) } { "call " (seq) } } @else { "line " (seq) " by hand" }
                        " "
                    } }
                }
            }
            td.num { (percent(call.confidence)) }
        }
    }
}

/// What was put right by hand; nothing when nothing was.
pub(crate) fn changes(record: &Record) -> Markup {
    html! {
        @if !record.changes.is_empty() {
            section #changes {
                h2 { "Put right by hand" }
                table {
                    thead { tr {
                        th.num scope="col" { "Line" } th scope="col" { "When" } th scope="col" { "By" }
                        th scope="col" { "What" } th scope="col" { "Before" } th scope="col" { "Why" }
                    } }
                    tbody { @for change in &record.changes {
                        tr {
                            th.num scope="row" { (change.seq) }
                            td.time { (date_time(change.at, record.exam.utc_offset_s)) }
                            td { (change.by) }
                            td {
                                @if let Some(by) = change.taken_back_by { strong { "taken back in line " (by) ": " } }
                                (change.what)
                            }
                            td { (change.was) }
                            td { (change.why) }
                        }
                    } }
                }
            }
        }
    }
}

/// Free notes; nothing when there are none.
pub(crate) fn notes(record: &Record) -> Markup {
    html! {
        @if !record.notes.is_empty() {
            section #notes {
                h2 { "Free notes" }
                p { "They are kept as sound; listen to them in the recording." }
                ul { @for note in &record.notes { li {
                    (in_recording(note.span_s.0)) " to " (in_recording(note.span_s.1))
                    @if !note.about.is_empty() { ", about " (note.about) }
                    @if let Some(seq) = known_call(Some(note.call_seq), record) { ", " a href={ "#call-" (seq) } { "call " (seq) } }
                } } }
            }
        }
    }
}

/// How the scanner's clock runs against the exam's.
pub(crate) fn clock(record: &Record) -> Markup {
    html! {
        section #clock {
            h2 { "Clock" }
            p { "Times are those of the place of the exam, which began " (date_time(record.exam.started_at, record.exam.utc_offset_s)) "." }
            @match &record.clock {
                Some(clock) => p {
                    "The scanner's clock was " (format!("{:.1} s ", clock.offset_s.abs()))
                    @if clock.offset_s < 0.0 { "behind" } @else { "ahead" }
                    (format!(" at the start, within {:.1} s either way, and ran {:.0} parts in a million ", clock.uncertainty_s, clock.drift_ppm.abs()))
                    @if clock.drift_ppm < 0.0 { "slow" } @else { "fast" }
                    ". This includes the delay between saving a still and saying so. "
                    (count(clock.pairs, "pair")) " of save call and still agree with it; found by: " (clock.method) "."
                },
                None if record.frames.is_empty() => p { "Without stills there is no scanner's clock to compare." },
                None => p { "The scanner's clock could not be tied to the exam's, so no still could be paired by time." },
            }
        }
    }
}
