//! The distance between two points of a still: measured at once, and written as a value when a person says what it is.
//!
//! Takes: two points in pixels of a still, and what is between them.
//! Gives: millimetres, and the number of the value's line once it is written.
//! Never: a distance where the scale is missing or inconsistent, or one that does not say of what it is.
//! Tested in: `tests/it/review.rs` and `tests/it/review_browser/`.

use chrono::Utc;
use serde::{Deserialize, Serialize};

use crate::code::{LimbCode, StructureCode, ZoneCode};
use crate::exam::event::{Entered, Event};
use crate::exam::seq::Seq;
use crate::exam_folder::FolderError;
use crate::frames::scale::scale_of;
use crate::review::desk::Desk;
use crate::review::fit::amount_fits;
use crate::review::judge::{frame_fits, may_change, paired, row_of};
use crate::review::refusal::{Refusal, wrong};
use crate::review::trace::{TraceTarget, hundredths, read_from};
use crate::trace::distance_mm;

/// What the page sends.
#[derive(Debug, Deserialize)]
pub(super) struct Ends {
    /// The still's id.
    still: String,
    ends_px: [(f64, f64); 2],
    /// Where the still is a loop, the frame it was set on, counted from 1.
    #[serde(default)]
    frame_number: Option<u32>,
    /// The person knows that a signed record becomes a draft again.
    #[serde(default)]
    draft_again: bool,
    /// The person has seen that the distance is unusual.
    #[serde(default)]
    confirmed: bool,
    /// What is to be written; without it the distance is only shown.
    #[serde(default)]
    write: Option<Named>,
}

/// What is between the two points, and who says so.
#[derive(Debug, Deserialize)]
struct Named {
    by: String,
    limb: LimbCode,
    zone: ZoneCode,
    structure: StructureCode,
    term: String,
}

/// How far two points lie apart.
#[derive(Debug, Serialize)]
pub(super) struct Apart {
    distance_mm: f64,
    /// The still states no scale: a person set it.
    scale_by_hand: bool,
    /// Its line in the journal, once written.
    seq: Option<Seq>,
}

/// Measures from point to point, and writes it if asked to.
pub(super) fn distance(desk: &Desk, ends: &Ends) -> Result<Apart, Refusal> {
    // Held from reading to writing, so that nobody labels the still anew in between.
    let mut journal = match ends.write {
        Some(_) => Some(desk.folder.append_journal().map_err(FolderError::from)?),
        None => None,
    };
    let seen = desk.seen()?;
    if ends.write.is_some() {
        may_change(&seen, ends.draft_again)?;
    }
    let row = row_of(&seen, &ends.still)?;
    let path = paired(desk, row)?;
    frame_fits(&path, ends.frame_number)?;
    let (scale, by_hand) = scale_of(&seen.exam, &row.id, &path, &ends.ends_px).map_err(Refusal::Wrong)?;
    let distance_mm = distance_mm(ends.ends_px, &scale);
    let mut apart = Apart { distance_mm, scale_by_hand: by_hand, seq: None };
    if let (Some(journal), Some(named)) = (&mut journal, &ends.write) {
        let is_distance = desk.protocols.value(&named.term).is_some_and(|kind| kind.between.is_some());
        if !is_distance {
            return wrong("nothing was chosen to measure between the points", "choose what it is");
        }
        let amount = hundredths(distance_mm, "mm");
        let doubt = amount_fits(desk, &seen.exam, &named.term, &amount, None)?;
        if let Some(doubt) = doubt.filter(|_| !ends.confirmed) {
            return Err(Refusal::Doubtful(doubt));
        }
        let what = TraceTarget {
            by: &named.by,
            limb: &named.limb,
            zone: &named.zone,
            structure: &named.structure,
            term: &named.term,
            amount,
            frame_number: ends.frame_number,
        };
        let entered = Entered {
            scale_by_hand_mm: by_hand.then_some(scale.width_mm),
            ends_px: Some(ends.ends_px),
            ..read_from(desk, &seen, row, &what)?
        };
        let event = Event::Entered(Box::new(entered));
        let seq = journal.append(Utc::now(), seen.exam.last_sample(), &event).map_err(FolderError::from)?;
        apart.seq = Some(seq);
    }
    Ok(apart)
}
