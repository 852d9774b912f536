//! What the numbers say: sums, shares, scores, the other limb, the last exam.
//!
//! Takes: what was said and entered in the folded exam, its labelled stills, and what to hold them against.
//! Gives: `MeasureRow`s in the order of limbs, schemes and strands; each names what it came from.
//! Never: a diagnosis, a guess at a number that was not given, or a reference set that was not named.
//! Tested in: `tests/it/measure.rs`, `tests/it/measure_laws.rs`.

pub mod quantity;
pub mod row;
mod reading;
mod strand;
mod within;
mod distance;
mod against;
mod unused;

pub use against::{Against, Earlier, is_over};
pub use reading::{How, Readings, Stated, Statement};
pub(crate) use strand::LARGER;
pub(crate) use unused::is_measured;
pub use unused::{Unused, unused};
pub use within::class;

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use crate::knowledge::measure::row::MeasureRow;
use crate::protocol::Protocols;

/// Caution of every value that rests on such a scale.
const SCALE_BY_HAND: &str = "scale set by hand: the still states none, so the number is only as good as the two marks that \
were set on its depth scale";

/// When and by which zones an exam was made.
#[derive(Debug, Clone, Copy)]
pub struct Occasion<'a> {
    /// When it began.
    pub at: DateTime<Utc>,
    /// Seconds east of UTC there.
    pub utc_offset_s: i32,
    /// Scheme chosen per group of limbs.
    pub schemes: &'a BTreeMap<String, String>,
}

/// Every measure of an exam; equal input gives equal rows.
#[must_use]
pub fn measure(
    readings: &Readings,
    occasion: &Occasion,
    against: &Against,
    protocols: &Protocols,
) -> Vec<MeasureRow> {
    let measuring = &protocols.measuring;
    let mut own = Vec::new();
    for limb in &protocols.limbs {
        for scheme in protocols.schemes_for(&limb.code, occasion.schemes) {
            for strand in &measuring.strand {
                let facts = strand::strand_facts(readings, &limb.code, scheme, strand, protocols);
                own.extend(facts.iter().flat_map(|facts| within::within(facts, readings, strand, measuring)));
            }
            own.extend(distance::distances(readings, &limb.code, scheme, protocols));
        }
    }
    let mut held = against::ratios(&own, measuring);
    held.extend(against::other_limb(&own, protocols));
    if let Some(set) = &against.reference {
        held.extend(against::reference(&own, set, protocols));
    }
    if let Some(last) = against.earlier.last() {
        held.extend(against::earlier(&own, last, measuring));
    }
    held.extend(against::since_injury(&against.injured, occasion.at, occasion.utc_offset_s));
    own.extend(held);
    warn_of_scales(&mut own);
    own
}

/// What changed since an earlier exam of the same horse, from rows that were computed before.
#[must_use]
pub fn changes(rows: &[MeasureRow], earlier: &Earlier, protocols: &Protocols) -> Vec<MeasureRow> {
    let mut rows = against::earlier(rows, earlier, &protocols.measuring);
    warn_of_scales(&mut rows);
    rows
}

/// A value that rests on a scale set by hand is never shown without saying so.
fn warn_of_scales(rows: &mut [MeasureRow]) {
    for row in rows.iter_mut().filter(|row| row.scale_by_hand && row.value.is_some()) {
        row.cautions.push(SCALE_BY_HAND.to_owned());
    }
}
