//! Measurement groups: what was said, typed or traced of one place.
//!
//! Takes: calls and entries of the record, outlines of the exam, and the stills of their views.
//! Gives: groups after TID 1501 for what was said or typed, after TID 1410 for what was traced on a still.
//! Never: a value that was taken back; a doubt that is left behind.
//! Tested in: `tests/it/exchange/report.rs`.

use std::collections::BTreeMap;

use super::code::{Code, Site};
use super::concept::{
    COMMENT, FINDING, GROUP, IMAGE_VIEW, LATERALITY, METHOD, MODIFIER, PATH, REGION, SITE, SOURCE,
    TRACKING_ID, TRACKING_UID,
};
use super::content::{ContentItem, Relation, Says};
use super::input::{ExportInput, is_labelled};
use super::still::Still;
use super::uid::uid;
use crate::exam::closed_sets::CallKind;
use crate::exam::event::Entered;
use crate::exam::place::Place;
use crate::exam::seq::Seq;
use crate::knowledge::record::{CallRow, EntryRow, FrameRow, Record, standing};
use crate::language::closed_sets::Class;
use crate::report::words::{amount, meaning};

/// Every group of an exam, in the order of the journal; of several values for one thing the one that counts, which names the
/// others.
pub(super) fn groups(input: &ExportInput, stills: &[Still]) -> Vec<ContentItem> {
    let mut found: Vec<(Seq, ContentItem)> = Vec::new();
    let mut said: BTreeMap<[Option<&str>; 4], Vec<&CallRow>> = BTreeMap::new();
    for call in standing(&input.record.calls) {
        match call.kind {
            CallKind::Value => said.entry(call.place.parts()).or_default().push(call),
            CallKind::Finding => found.push((call.seq, finding_group(input, stills, call))),
            _ => {}
        }
    }
    for calls in said.into_values() {
        // Named after the first that was said, so that it stays the same when another value comes to count.
        let Some(first) = calls.first().copied() else { continue };
        let counting: Vec<&CallRow> = calls.into_iter().filter(|call| call.replaced_by.is_none()).collect();
        if !counting.is_empty() {
            found.push((first.seq, spoken_group(input, stills, first, &counting)));
        }
    }
    for entry in input.record.entries.iter().filter(|entry| entry.replaced_by.is_none()) {
        found.push((entry.seq, entry_group(input, stills, entry)));
    }
    found.sort_by_key(|(seq, _)| *seq);
    found.into_iter().map(|(_, item)| item).collect()
}

/// The head of a group: what it is of, and its names. The UID follows from the line of the journal alone, so that it stays
/// when a person corrects the place.
fn group(input: &ExportInput, tracking: &str, seq: Seq, template: &'static str) -> ContentItem {
    let exam = &input.record.exam.id;
    ContentItem::new(Relation::Contains, GROUP, Says::Container(Some(template))).with([
        ContentItem::text(Relation::HasObservationContext, TRACKING_ID, tracking),
        ContentItem::new(
            Relation::HasObservationContext,
            TRACKING_UID,
            Says::Uid(uid(&["group", exam, &seq.to_string()])),
        ),
    ])
}

/// Where it is: region, zone and side; then the structure.
fn sites(site: &Site, positions: &[Code]) -> Vec<ContentItem> {
    let side =
        || site.side.clone().map(|side| ContentItem::code(Relation::HasConceptModifier, LATERALITY, side));
    let modifier = |code: &Code| ContentItem::code(Relation::HasConceptModifier, MODIFIER, code.clone());
    let mut found = Vec::new();
    let region = site.region.as_ref().or(site.zone.as_ref());
    if let Some(region) = region {
        let zone = site.zone.as_ref().filter(|zone| *zone != region).map(modifier);
        found.push(
            ContentItem::code(Relation::HasConceptModifier, SITE, region.clone()).with(side()).with(zone),
        );
    }
    if let Some(structure) = &site.structure {
        found.push(
            ContentItem::code(Relation::HasConceptModifier, SITE, structure.clone())
                .with(side())
                .with(site.kind.as_ref().map(modifier))
                .with(positions.iter().map(modifier)),
        );
    }
    found
}

fn view(site: &Site) -> Option<ContentItem> {
    site.view.clone().map(|view| ContentItem::code(Relation::Contains, IMAGE_VIEW, view))
}

/// The stills of a view, and what speaks against their labels.
fn sources(input: &ExportInput, stills: &[Still], place: &Place) -> Vec<ContentItem> {
    let mut found = Vec::new();
    let of_view =
        |frame: &&FrameRow| place.zone.is_some() && frame.place.same_view(place) && is_labelled(frame);
    for frame in input.record.frames.iter().filter(of_view) {
        if let Some(still) = stills.iter().find(|still| still.id == frame.id) {
            found.push(ContentItem::image(Relation::Contains, Some(SOURCE.into()), still));
            let doubt = frame.doubt.join("; ");
            if !doubt.is_empty() {
                found.push(comment(&format!("label of the still {} in doubt: {doubt}", frame.name())));
            }
        }
    }
    found
}

fn comment(text: &str) -> ContentItem {
    ContentItem::text(Relation::Contains, COMMENT, text)
}

fn spoken_group(input: &ExportInput, stills: &[Still], first: &CallRow, calls: &[&CallRow]) -> ContentItem {
    let site = input.site(&first.place);
    let tracking = format!("spoken {} {}", first.place.columns(), first.seq);
    let numbers = calls.iter().filter_map(|call| {
        let term = call.term.as_deref().unwrap_or_default();
        let (unit, scale) = (call.unit.as_deref(), call.scale.as_deref());
        let mut says = if is_one_number(call) {
            number(input, term, call.number?, unit, scale)
        } else {
            // A bound, a range or a product is no number: it goes out in words.
            ContentItem::text(Relation::Contains, named(input, term, scale), &amount(call))
        };
        says = says.at(call.said_at);
        if input.codes.is_of_lesion(term) {
            says = says.with([of_lesion(input)]);
        }
        Some(says.with([how_it_came(input, "spoken")]))
    });
    let numbers: Vec<ContentItem> = numbers.collect();
    let doubts: Vec<ContentItem> =
        calls.iter().flat_map(|call| doubts(call)).map(|text| comment(&text)).collect();
    let replaced = calls.iter().flat_map(|call| replaces(input.record, call.seq));
    let replaced: Vec<ContentItem> = replaced.map(|text| comment(&text)).collect();
    group(input, &tracking, first.seq, "1501")
        .with(sites(&site, &[]))
        .with(sources(input, stills, &first.place))
        .with(numbers)
        .with(view(&site))
        .with(calls.iter().map(|call| comment(&as_heard(call))))
        .with(replaced)
        .with(doubts)
}

/// Whether a call says one number, and neither a bound nor a range nor two sides.
pub(super) fn is_one_number(call: &CallRow) -> bool {
    call.comparator.is_none() && call.to.is_none() && call.by.is_none()
}

/// What a finding says, as a name and a value: `Finding` and what was seen; or the thing itself and that it was not found,
/// is only possible, or is an impression. Only what was plainly seen goes out as seen.
pub(super) fn stated(input: &ExportInput, call: &CallRow) -> (Code, Code) {
    let codes = input.codes;
    let term = call.term.as_deref().unwrap_or_default();
    let class = call.class.as_ref();
    let is_known = matches!(
        class,
        Some(
            Class::Lesion
                | Class::Unremarkable
                | Class::Quality
                | Class::Normal
                | Class::Absent
                | Class::NotDone
        )
    );
    let is_plain = call.certainty.is_none() && call.against.is_none() && call.than.is_none();
    // What is normal in one way only is no normal structure.
    let is_plain = is_plain && (class != Some(&Class::Normal) || call.is_all_normal());
    if is_known && is_plain {
        return (FINDING.into(), codes.finding(class.map(Class::as_str), term));
    }
    let name = codes.finding(None, term);
    match class {
        Some(Class::Negative) if is_plain => (name, codes.common.absent.clone()),
        _ if call.certainty.is_some() => (name, codes.local("possible", "possible")),
        _ => (name, codes.local("see comment", &meaning(call))),
    }
}

/// How a number came; the dictionaries have no code for it.
fn how_it_came(input: &ExportInput, how: &str) -> ContentItem {
    ContentItem::code(Relation::HasConceptModifier, METHOD, input.codes.local(how, how))
}

fn of_lesion(input: &ExportInput) -> ContentItem {
    ContentItem::code(Relation::HasConceptModifier, FINDING, input.codes.common.lesion.clone())
}

fn number(
    input: &ExportInput,
    term: &str,
    number: f64,
    unit: Option<&str>,
    scale: Option<&str>,
) -> ContentItem {
    let name = named(input, term, scale);
    ContentItem::new(Relation::Contains, name, Says::Number(number, input.codes.unit(unit)))
}

/// What a value is called; a score means something only on its scale.
pub(super) fn named(input: &ExportInput, term: &str, scale: Option<&str>) -> Code {
    match scale {
        Some(scale) => input.codes.local(&format!("{term} {scale}"), &format!("{term} on the scale {scale}")),
        None => input.codes.value(term),
    }
}

fn finding_group(input: &ExportInput, stills: &[Still], call: &CallRow) -> ContentItem {
    let codes = input.codes;
    let site = input.site(&call.place);
    let (name, value) = stated(input, call);
    let positions: Vec<_> = call.position.iter().map(|name| codes.position(name)).collect();
    let tracking = format!("finding {} {}", call.place.columns(), call.seq);
    let degree = call.degree.as_deref().map(|name| {
        ContentItem::code(Relation::Contains, codes.common.severity.clone(), codes.degree(name))
            .at(call.said_at)
    });
    group(input, &tracking, call.seq, "1501")
        .with([ContentItem::code(Relation::Contains, name, value).at(call.said_at)])
        .with(sites(&site, &positions))
        .with(sources(input, stills, &call.place))
        .with(degree)
        .with(view(&site))
        .with([comment(&as_heard(call)), comment(&meaning(call))])
        .with(doubts(call).map(|text| comment(&text)))
}

fn as_heard(call: &CallRow) -> String {
    match call.words.trim() {
        "" if call.added => "added by hand, not heard".to_owned(),
        words => format!("as heard: {words}"),
    }
}

/// What speaks against a call, and what was not said but assumed.
pub(super) fn doubts(call: &CallRow) -> impl Iterator<Item = String> {
    let against = call.doubt.iter().map(|doubt| format!("in doubt: {doubt}"));
    let term = call.term.clone().unwrap_or_default();
    let assumed = call.unit_assumed.then(|| format!("unit of {term} assumed, not said"));
    let about = call.approx.then(|| format!("{term} said as about that much"));
    let possible = call.certainty.map(|_| format!("{term} only possible, neither seen nor ruled out"));
    let copied = call.copied.then(|| "said as the same again".to_owned());
    let opposed = contradicted(&call.contradicted_by);
    let corrected = (!call.corrected_by.is_empty()).then(|| {
        let lines: Vec<String> = call.corrected_by.iter().map(Seq::to_string).collect();
        format!("{term} corrected by journal line {}", lines.join(", "))
    });
    against.chain(assumed).chain(about).chain(possible).chain(copied).chain(corrected).chain(opposed)
}

/// That something says the opposite of the same place; which of them is right nobody has said.
pub(super) fn contradicted(by: &[Seq]) -> Option<String> {
    let lines: Vec<String> = by.iter().map(Seq::to_string).collect();
    (!by.is_empty()).then(|| format!("contradicted by journal line {}", lines.join(", ")))
}

/// The values that this one replaces, each in words: they are in no export on their own.
pub(super) fn replaces(record: &Record, seq: Seq) -> Vec<String> {
    let said = record.calls.iter().filter(|call| call.replaced_by == Some(seq)).map(|call| {
        let term = call.term.as_deref().unwrap_or_default();
        format!("replaces {term} {}, spoken, journal line {}", amount(call), call.seq)
    });
    let entered = record.entries.iter().filter(|entry| entry.replaced_by == Some(seq)).map(|entry| {
        let how = entry.how();
        let unit = entry.unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default();
        format!("replaces {} {}{unit}, {how}, journal line {}", entry.term, entry.number, entry.seq)
    });
    said.chain(entered).collect()
}

fn entry_group(input: &ExportInput, stills: &[Still], entry: &EntryRow) -> ContentItem {
    let entered =
        input.exam.entries.iter().find(|logged| logged.seq == entry.seq).map(|logged| &logged.entered);
    let still = entry.still.as_ref().and_then(|id| stills.iter().find(|still| still.id == *id));
    let outline = entered.and_then(corners).zip(still);
    let how = entry.how();
    let tracking = format!("{how} {} {}", entry.place.columns(), entry.seq);
    let site = input.site(&entry.place);
    let mut value =
        number(input, &entry.term, entry.number, entry.unit.as_deref(), entry.scale.as_deref()).at(entry.at);
    if input.codes.is_of_lesion(&entry.term) {
        value = value.with([of_lesion(input)]);
    }
    let method = input.codes.method(&entry.term).filter(|_| outline.is_some());
    value = value.with([match method {
        Some(method) => ContentItem::code(Relation::HasConceptModifier, METHOD, method),
        None => how_it_came(input, how),
    }]);
    value = value.with(entered.and_then(|entered| entered.ends_px).zip(still).map(|(ends, still)| {
        ContentItem::new(Relation::InferredFrom, PATH, Says::Line(ends.to_vec()))
            .with([ContentItem::image_frame(Relation::SelectedFrom, None, still, entry.frame_number)])
    }));
    let template = if outline.is_some() { "1410" } else { "1501" };
    let head = group(input, &tracking, entry.seq, template).with(sites(&site, &[]));
    let body = match outline {
        Some((corners, still)) => {
            head.with([ContentItem::new(Relation::Contains, REGION, Says::Polyline(corners))
                .with([ContentItem::image_frame(Relation::SelectedFrom, None, still, entry.frame_number)])])
        }
        None => {
            let source = |still| {
                ContentItem::image_frame(Relation::Contains, Some(SOURCE.into()), still, entry.frame_number)
            };
            head.with(still.map(source))
        }
    };
    let by = entry.by.as_ref().map(|by| comment(&format!("{how} by {by}")));
    let hand =
        entry.scale_by_hand.then(|| comment("the still states no scale: a person set it on its depth scale"));
    let label = entry.still.as_ref().and_then(|id| input.record.frames.iter().find(|frame| frame.id == *id));
    let doubt = label.filter(|frame| !frame.doubt.is_empty()).map(|frame| {
        comment(&format!("label of the still {} in doubt: {}", frame.name(), frame.doubt.join("; ")))
    });
    let replaced = replaces(input.record, entry.seq).into_iter().map(|text| comment(&text));
    let opposed = contradicted(&entry.contradicted_by).map(|text| comment(&text));
    body.with([value]).with(view(&site)).with(by).with(hand).with(doubt).with(replaced).with(opposed)
}

/// The corners of what was traced.
pub(super) fn corners(entered: &Entered) -> Option<Vec<(f64, f64)>> {
    entered.outline.as_ref().map(crate::trace::Outline::corners)
}
