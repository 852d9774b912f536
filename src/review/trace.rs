//! An outline drawn on the page: measured at once, and written as entered values when a person says so.
//!
//! Takes: an outline or a click in pixels of a still, and what it outlines.
//! Gives: its size and grey, the outline itself, and the numbers of its lines once they are written.
//! Never: a size where the scale is missing or inconsistent; the reason is reported instead.
//! Tested in: `tests/it/review.rs`.

use std::path::Path;

use chrono::Utc;
use serde::{Deserialize, Serialize};

use crate::code::{LimbCode, StructureCode, ZoneCode};
use crate::exam::call::Amount;
use crate::exam::event::{Entered, Event};
use crate::exam::review::TEXT_MAX;
use crate::exam::seq::Seq;
use crate::exam_folder::FolderError;
use crate::frames::scale::scale_of;
use crate::knowledge::record::FrameRow;
use crate::protocol::OfOutline;
use crate::report::picture;
use crate::review::desk::{Desk, DeskSnapshot};
use crate::review::judge::{frame_fits, may_change, paired, row_of};
use crate::review::refusal::{Refusal, wrong};
use crate::review::signature::name_of;
use crate::terminal::is_plain;
use crate::trace::{Outline, Size, compare, outline_at, size};

/// What the page sends.
#[derive(Debug, Deserialize)]
pub(super) struct Drawn {
    by: String,
    /// The still's id.
    still: String,
    limb: LimbCode,
    zone: ZoneCode,
    structure: StructureCode,
    /// The outline is the lesion's, not the whole structure's.
    lesion: bool,
    /// Where the still is a loop, the frame it was drawn on, counted from 1.
    #[serde(default)]
    frame_number: Option<u32>,
    /// The person knows that a signed record becomes a draft again.
    #[serde(default)]
    draft_again: bool,
    #[serde(default)]
    outline: Option<Outline>,
    /// A point inside the structure, where an outline is to be suggested.
    #[serde(default)]
    click: Option<(f64, f64)>,
    /// Write it; else only measure.
    write: bool,
    /// Of a whole structure write all lengths, too, that the protocols know of an outline; else its area alone.
    #[serde(default)]
    lengths: bool,
}

/// What an outline measures.
#[derive(Debug, Serialize)]
pub(super) struct TraceResult {
    corners: Vec<(f64, f64)>,
    area_mm2: f64,
    circumference_mm: f64,
    width_mm: f64,
    depth_mm: f64,
    /// Mean grey inside a lesion divided by that around it, where both it and its structure are outlined on the still.
    grey_ratio: Option<f64>,
    /// The still states no scale: a person set it.
    scale_by_hand: bool,
    /// The line of its area in the journal, once written.
    seq: Option<Seq>,
    /// Those of its lengths.
    length_seqs: Vec<Seq>,
}

/// Measures what was drawn, and writes it if asked to.
pub(super) fn trace(desk: &Desk, drawn: &Drawn) -> Result<TraceResult, Refusal> {
    if drawn.write && drawn.outline.is_none() {
        return wrong("a suggested outline is not saved unseen", "look at it on the still, then save it");
    }
    // Held from reading to writing, so that nobody labels the still anew in between.
    let mut journal = match drawn.write {
        true => Some(desk.folder.append_journal().map_err(FolderError::from)?),
        false => None,
    };
    let seen = desk.seen()?;
    if drawn.write {
        may_change(&seen, drawn.draft_again)?;
    }
    let row = row_of(&seen, &drawn.still)?;
    let path = paired(desk, row)?;
    frame_fits(&path, drawn.frame_number)?;
    let outline = outline(drawn, &path)?;
    if let Err(why) = outline.verify() {
        return wrong(why.to_string(), "");
    }
    let (scale, by_hand) =
        scale_of(&seen.exam, &row.id, &path, &outline.corners()).map_err(Refusal::Wrong)?;
    let size = size(&outline, &scale);
    let mut answer = TraceResult {
        corners: outline.corners(),
        area_mm2: size.area_mm2,
        circumference_mm: size.circumference_mm,
        width_mm: size.width_mm,
        depth_mm: size.depth_mm,
        grey_ratio: grey_ratio(desk, &seen, drawn, &outline, &path),
        scale_by_hand: by_hand,
        seq: None,
        length_seqs: Vec::new(),
    };
    if let Some(journal) = &mut journal {
        let values = values(desk, drawn, &size).into_iter();
        let entered: Vec<Event> = values
            .map(|(term, amount)| {
                let value = entered(desk, &seen, row, drawn, term, amount)?;
                let scale_by_hand_mm = by_hand.then_some(scale.width_mm);
                let outline = Some(outline.clone());
                Ok(Event::Entered(Box::new(Entered { scale_by_hand_mm, outline, ..value })))
            })
            .collect::<Result<_, Refusal>>()?;
        let seqs =
            journal.append_all(Utc::now(), seen.exam.last_sample(), &entered).map_err(FolderError::from)?;
        let mut seqs = seqs.into_iter();
        answer.seq = seqs.next();
        answer.length_seqs = seqs.collect();
    }
    Ok(answer)
}

/// What is written of an outline: its area first, then its lengths if they are wanted.
fn values<'a>(desk: &'a Desk, drawn: &Drawn, size: &Size) -> Vec<(&'a str, Amount)> {
    let terms = &desk.protocols.measuring.terms;
    let area = if drawn.lesion { &terms.lesion_area } else { &terms.area };
    let mut values = vec![(area.as_str(), hundredths(size.area_mm2, "mm2"))];
    // The lengths are values of the whole structure; a lesion has none of its own in the list.
    for kind in desk.protocols.values.iter().filter(|_| drawn.lengths && !drawn.lesion) {
        let length_mm = match kind.outline {
            Some(OfOutline::Around) => size.circumference_mm,
            Some(OfOutline::Width) => size.width_mm,
            Some(OfOutline::Depth) => size.depth_mm,
            None => continue,
        };
        values.push((&kind.term, hundredths(length_mm, "mm")));
    }
    values
}

fn outline(drawn: &Drawn, path: &Path) -> Result<Outline, Refusal> {
    if let Some(outline) = &drawn.outline {
        return Ok(outline.clone());
    }
    let Some((x, y)) = drawn.click else {
        return wrong("nothing was drawn", "set at least three points on the still");
    };
    match picture::grey(path, picture::frame_index(drawn.frame_number)) {
        Ok(grey) => outline_at(&grey, x, y).or_else(|why| wrong(why.to_string(), "trace it by hand")),
        Err(error) => wrong(error.to_string(), "measure on the scanner"),
    }
}

/// The grey of a lesion against its structure, whichever of the two is drawn now; the other one was traced before.
fn grey_ratio(
    desk: &Desk,
    seen: &DeskSnapshot,
    drawn: &Drawn,
    outline: &Outline,
    path: &Path,
) -> Option<f64> {
    let terms = &desk.protocols.measuring.terms;
    let wanted = if drawn.lesion { &terms.area } else { &terms.lesion_area };
    let other = seen.exam.entries.iter().rev().map(|entry| &entry.entered).find(|entered| {
        entered.still.as_ref() == Some(&drawn.still)
            && entered.structure == drawn.structure
            && entered.frame_number.unwrap_or(1) == drawn.frame_number.unwrap_or(1)
            && entered.term == *wanted
            && entered.outline.is_some()
    })?;
    let other = other.outline.as_ref()?;
    let (lesion, whole) = if drawn.lesion { (outline, other) } else { (other, outline) };
    let grey = picture::grey(path, picture::frame_index(drawn.frame_number)).ok()?;
    compare(&grey, lesion, whole)?.ratio
}

fn entered(
    desk: &Desk,
    seen: &DeskSnapshot,
    row: &FrameRow,
    drawn: &Drawn,
    term: &str,
    amount: Amount,
) -> Result<Entered, Refusal> {
    let what = TraceTarget {
        by: &drawn.by,
        limb: &drawn.limb,
        zone: &drawn.zone,
        structure: &drawn.structure,
        term,
        amount,
        frame_number: drawn.frame_number,
    };
    read_from(desk, seen, row, &what)
}

/// A value that is read from a still, as the page asks for it.
pub(super) struct TraceTarget<'a> {
    pub(super) by: &'a str,
    pub(super) limb: &'a str,
    pub(super) zone: &'a str,
    pub(super) structure: &'a str,
    pub(super) term: &'a str,
    pub(super) amount: Amount,
    /// Where the still is a loop, the frame it was read from, counted from 1.
    pub(super) frame_number: Option<u32>,
}

/// No still shows more than two decimals of a millimetre.
pub(super) fn hundredths(number: f64, unit: &str) -> Amount {
    Amount { number: (number * 100.0).round() / 100.0, unit: Some(unit.to_owned()), unit_assumed: false }
}

/// The value at the still's own label, without what was drawn.
pub(super) fn read_from(
    desk: &Desk,
    seen: &DeskSnapshot,
    row: &FrameRow,
    what: &TraceTarget,
) -> Result<Entered, Refusal> {
    let protocols = &desk.protocols;
    // The still's own label is used; what the page sends was perhaps read before somebody changed it.
    let (Some(limb), Some(zone)) = (&row.place.limb, &row.place.zone) else {
        return wrong("the still has no limb or no zone", "label the still first");
    };
    let by = what.by.trim();
    if by.is_empty() {
        return wrong("no name is entered", "enter your name at the top");
    }
    if by.chars().count() > TEXT_MAX || !is_plain(by) {
        return wrong("the name is too long or holds invisible characters", "type it again, in plain text");
    }
    let by = name_of(by)?;
    if protocols.scheme_for(limb, zone, &seen.exam.header.schemes).is_none() {
        return wrong(format!("{zone} is not a zone of {limb} in this exam"), "label the still first");
    }
    if (limb.as_str(), zone.as_str()) != (what.limb, what.zone) {
        return wrong("the still's label has changed meanwhile", "look at its label, then measure it again");
    }
    if protocols.structure(what.structure).is_none() {
        return wrong("no structure was chosen", "choose what was measured");
    }
    let planes = protocols.value(what.term).map(|kind| kind.planes.clone()).unwrap_or_default();
    if let Some(plane) =
        row.place.plane.as_ref().filter(|plane| !planes.is_empty() && !planes.contains(plane))
    {
        let names: Vec<&str> = planes.iter().map(|code| protocols.plane_name(code)).collect();
        let (is, wanted) = (protocols.plane_name(plane), names.join(" or "));
        return wrong(
            format!("this still is a {is} view; {} is traced in {wanted} views", what.term),
            "choose another still",
        );
    }
    Ok(Entered {
        limb: limb.clone(),
        zone: zone.clone(),
        plane: row.place.plane.clone(),
        structure: what.structure.into(),
        term: what.term.to_owned(),
        amount: what.amount.clone(),
        scale: None,
        traced: true,
        by: Some(by),
        still: Some(row.id.clone()),
        frame_number: what.frame_number,
        scale_by_hand_mm: None,
        ends_px: None,
        outline: None,
    })
}
