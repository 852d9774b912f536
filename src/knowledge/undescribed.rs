//! Lesions that were measured and never described.
//!
//! Takes: where a size of a lesion was said or entered, and where something was found.
//! Gives: the places of the sizes in whose structure no lesion was described on that limb.
//! Never: what the lesion is; nobody has said so.
//! Tested in: `tests/it/rules/lesions.rs` and `tests/it/first_page.rs`.

use crate::code::StructureCode;
use crate::exam::place::Place;
use crate::knowledge::contradiction::is_lesion_size;
use crate::knowledge::key_stills::says_changed;
use crate::knowledge::record::{Record, standing};
use crate::protocol::Protocols;

/// What is written where a lesion has a size and no description.
pub(crate) const UNDESCRIBED: &str = "lesion measured, not described";

/// The sizes, in their order, of which no lesion was described in the same structure of the same limb.
pub(crate) fn undescribed<T>(
    sizes: impl Iterator<Item = (Place, T)>,
    described: &[Place],
    protocols: &Protocols,
) -> Vec<(Place, T)> {
    sizes.filter(|(place, _)| !described.iter().any(|other| same_strand(place, other, protocols))).collect()
}

/// Whether both are in the same structure of the same limb, or in parts of it.
pub(crate) fn same_strand(one: &Place, other: &Place, protocols: &Protocols) -> bool {
    let strand = |place: &Place| -> Option<StructureCode> {
        let code = place.structure.as_ref()?;
        let strands = &protocols.measuring.strand;
        let whole = strands.iter().find(|strand| strand.parts.contains(code));
        Some(whole.map_or_else(|| code.clone(), |whole| whole.code.clone()))
    };
    one.limb == other.limb && strand(one) == strand(other)
}

/// The same of a record: a place for each size that counts.
pub(crate) fn undescribed_of(record: &Record, protocols: &Protocols) -> Vec<Place> {
    let said = standing(&record.calls)
        .filter(|call| call.replaced_by.is_none())
        .filter_map(|call| Some((&call.place, call.term.as_deref()?, call.number?)));
    let entered = record
        .entries
        .iter()
        .filter(|entry| entry.replaced_by.is_none())
        .map(|entry| (&entry.place, entry.term.as_str(), entry.number));
    let sizes = said
        .chain(entered)
        .filter(|(_, term, number)| is_lesion_size(term, *number, protocols))
        .map(|(place, ..)| (place.clone(), ()));
    let described: Vec<Place> =
        standing(&record.calls).filter(|call| says_changed(call)).map(|call| call.place.clone()).collect();
    undescribed(sizes, &described, protocols).into_iter().map(|(place, ())| place).collect()
}
