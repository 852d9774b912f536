//! The numbers of one exam, each with where it came from.
//!
//! Takes: the calls, entries and stills of a record.
//! Gives: for a place and a term, the one number that counts.
//! Never: drops the others; they stay in the record.
//! Tested in: `tests/it/measure.rs`.

use std::collections::BTreeSet;

use crate::knowledge::place::Place;
use crate::knowledge::record::{CallRow, EntryRow, FrameRow, standing};
use crate::protocol::measuring::Measuring;
use crate::protocol::rules::Stance;

/// What a number was made from.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Basis {
    pub(crate) seqs: BTreeSet<u64>,
    pub(crate) stills: BTreeSet<String>,
    pub(crate) how: BTreeSet<String>,
    pub(crate) by: BTreeSet<String>,
    /// Some of it was taken without weight on the leg.
    pub(crate) off_weight: bool,
    /// Some of it was measured on a scale that a person set.
    pub(crate) scale_by_hand: bool,
    /// Some of it is no number that was said, but a 0: for `normal`, or where an area was said and no lesion.
    pub(crate) implied: bool,
}

impl Basis {
    pub(crate) fn join(mut self, other: &Basis) -> Basis {
        self.seqs.extend(&other.seqs);
        self.stills.extend(other.stills.iter().cloned());
        self.how.extend(other.how.iter().cloned());
        self.by.extend(other.by.iter().cloned());
        self.off_weight |= other.off_weight;
        self.scale_by_hand |= other.scale_by_hand;
        self.implied |= other.implied;
        self
    }
}

/// A value and what it was made from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Known<T> {
    pub(crate) value: T,
    pub(crate) basis: Basis,
}

/// One number, said, typed or traced.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ValueReading<'a> {
    pub(crate) number: f64,
    pub(crate) unit: Option<&'a str>,
    pub(crate) scale: Option<&'a str>,
    pub(crate) basis: Basis,
    /// Typed or traced values come before spoken ones, later before earlier.
    rank: (bool, u64),
}

/// What the measures are made from.
#[derive(Debug, Clone, Copy)]
pub struct Readings<'a> {
    /// Calls, those that were taken back too.
    pub calls: &'a [CallRow],
    /// Values that were typed or traced.
    pub entries: &'a [EntryRow],
    /// Labelled stills.
    pub frames: &'a [FrameRow],
    /// How a leg without weight is called.
    pub stance: &'a Stance,
}

impl<'a> Readings<'a> {
    /// The number that counts for a term at a place: the last typed or traced one, else the last one said.
    pub(crate) fn counting(
        &self,
        limb: &str,
        zone: &str,
        structure: &str,
        term: &str,
    ) -> Option<ValueReading<'a>> {
        self.all(limb, Some(zone), structure, term).into_iter().max_by_key(|reading| reading.rank)
    }

    /// Every number for a term at a place, in any zone where none is given, in the order of the journal.
    pub(crate) fn all(
        &self,
        limb: &str,
        zone: Option<&str>,
        structure: &str,
        term: &str,
    ) -> Vec<ValueReading<'a>> {
        let said = standing(self.calls).filter(|call| {
            call.kind == "value"
                && call.term.as_deref() == Some(term)
                && call.place.limb.as_deref() == Some(limb)
                && zone.is_none_or(|zone| call.place.zone.as_deref() == Some(zone))
                && call.place.structure.as_deref() == Some(structure)
        });
        let mut found: Vec<ValueReading> = said.filter_map(|call| self.spoken(call)).collect();
        let entered = self.entries.iter().filter(|entry| {
            entry.term == term
                && entry.place.limb.as_deref() == Some(limb)
                && zone.is_none_or(|zone| entry.place.zone.as_deref() == Some(zone))
                && entry.place.structure.as_deref() == Some(structure)
        });
        found.extend(entered.map(|entry| self.by_hand(entry)));
        found
    }

    /// Limb, zone and structure of every number for a term.
    pub(crate) fn places(&self, term: &str) -> BTreeSet<[&'a str; 3]> {
        let said =
            standing(self.calls).filter(|call| call.kind == "value" && call.term.as_deref() == Some(term));
        let entered = self.entries.iter().filter(|entry| entry.term == term);
        let places = said.map(|call| &call.place).chain(entered.map(|entry| &entry.place));
        let codes = |place: &'a Place| {
            Some([place.limb.as_deref()?, place.zone.as_deref()?, place.structure.as_deref()?])
        };
        places.filter_map(codes).collect()
    }

    /// Calls of a kind and class about a structure in a zone.
    pub(crate) fn findings(
        &self,
        limb: &str,
        zone: &str,
        structure: &str,
        class: &str,
    ) -> impl Iterator<Item = &'a CallRow> {
        standing(self.calls).filter(move |call| {
            call.kind == "finding"
                && call.class.as_deref() == Some(class)
                && call.place.limb.as_deref() == Some(limb)
                && call.place.zone.as_deref() == Some(zone)
                && call.place.structure.as_deref() == Some(structure)
        })
    }

    /// Whether a lesion, or a number of one, was said in a zone while no structure was in force.
    pub(crate) fn has_unplaced_lesion(&self, limb: &str, zone: &str, measuring: &Measuring) -> bool {
        let Measuring { terms, .. } = measuring;
        let of_lesion = |term: &String| {
            measuring.has_extent(term) || *term == terms.lesion_area || *term == terms.lesion_percent
        };
        standing(self.calls).any(|call| {
            call.term.as_ref().is_some_and(of_lesion)
                && call.place.structure.is_none()
                && call.place.limb.as_deref() == Some(limb)
                && call.place.zone.as_deref() == Some(zone)
        })
    }

    /// What a call stands on: itself and the stills of its view.
    pub(crate) fn basis(&self, call: &CallRow) -> Basis {
        let shown = |frame: &&FrameRow| {
            let part = &frame.place.structure;
            frame.place.limb.is_some()
                && frame.place.same_view(&call.place)
                && (part.is_none() || *part == call.place.structure)
        };
        let mut seqs: BTreeSet<u64> = call.corrected_by.iter().copied().collect();
        seqs.insert(call.seq);
        Basis {
            seqs,
            stills: self.frames.iter().filter(shown).map(|frame| frame.id.clone()).collect(),
            how: BTreeSet::from(["spoken".to_owned()]),
            by: BTreeSet::new(),
            off_weight: self.is_off_weight(call),
            scale_by_hand: false,
            implied: call.kind == "finding",
        }
    }

    fn is_off_weight(&self, call: &CallRow) -> bool {
        call.settings.get(&self.stance.setting) == Some(&self.stance.off_weight)
    }

    fn spoken(&self, call: &'a CallRow) -> Option<ValueReading<'a>> {
        Some(ValueReading {
            number: call.number?,
            unit: call.unit.as_deref(),
            scale: call.scale.as_deref(),
            basis: self.basis(call),
            rank: (false, call.seq),
        })
    }

    /// A value read from a still was taken as the leg stood when the still was saved.
    fn by_hand(&self, entry: &'a EntryRow) -> ValueReading<'a> {
        let still = self.frames.iter().find(|frame| Some(&frame.id) == entry.still.as_ref());
        let taken = |seq: u64| self.calls.iter().any(|call| call.seq == seq && self.is_off_weight(call));
        let how = if entry.traced { "traced" } else { "typed" };
        ValueReading {
            number: entry.number,
            unit: entry.unit.as_deref(),
            scale: entry.scale.as_deref(),
            basis: Basis {
                seqs: BTreeSet::from([entry.seq]),
                stills: entry.still.iter().cloned().collect(),
                how: BTreeSet::from([how.to_owned()]),
                by: entry.by.iter().cloned().collect(),
                off_weight: still.and_then(|still| still.call_seq).is_some_and(taken),
                scale_by_hand: entry.scale_by_hand,
                implied: false,
            },
            rank: (true, entry.seq),
        }
    }
}
