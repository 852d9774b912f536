//! The numbers of one exam, each with where it came from.
//!
//! Takes: the folded exam, and what its stills are labelled as.
//! Gives: for a place and a term, the one number that is used.
//! Never: drops the others; they stay in the record.
//! Tested in: `tests/it/measure.rs`.

use std::collections::{BTreeMap, BTreeSet};

use crate::exam::call::Act;
use crate::exam::fold::{Exam, LoggedCall, LoggedEntry};
use crate::exam::place::Place;
use crate::exam::seq::Seq;
use crate::knowledge::label::StillLabel;
use crate::knowledge::rows::setting_text;
use crate::language::closed_sets::Class;
use crate::protocol::Protocols;
use crate::protocol::measuring::Measuring;
use crate::protocol::rules::Stance;

/// What a number was made from.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Basis {
    pub(crate) seqs: BTreeSet<Seq>,
    pub(crate) stills: BTreeSet<String>,
    pub(crate) how: BTreeSet<How>,
    pub(crate) by: BTreeSet<String>,
    /// Some of it was taken without weight on the leg.
    pub(crate) off_weight: bool,
    /// Some of it was measured on a scale that a person set.
    pub(crate) scale_by_hand: bool,
    /// Some of it is no number that was said, but comes from a spoken `normal`.
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

/// How a number came into the exam.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    /// Said while scanning.
    Spoken,
    /// Traced on a still.
    Traced,
    /// Typed afterwards.
    Typed,
}

impl How {
    /// The word of the record.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            How::Spoken => "spoken",
            How::Traced => "traced",
            How::Typed => "typed",
        }
    }
}

/// What was said or entered of a place.
#[derive(Debug, Clone, PartialEq)]
pub enum Stated {
    /// A number.
    Value {
        /// What was measured or scored.
        term: String,
        /// How much, in `unit`.
        number: f64,
        /// UCUM unit; none for scores.
        unit: Option<String>,
        /// Scale of a score.
        scale: Option<String>,
    },
    /// Something seen.
    Finding {
        /// What sort.
        class: String,
        /// Its term.
        term: String,
        /// The speaker was not sure of it.
        is_possible: bool,
    },
}

impl Stated {
    /// The term of the number or the finding.
    #[must_use]
    pub fn term(&self) -> &str {
        match self {
            Stated::Value { term, .. } | Stated::Finding { term, .. } => term,
        }
    }
}

/// A number or a finding that counts, with its place and where it came from.
#[derive(Debug, Clone, PartialEq)]
pub struct Statement {
    /// Its line in the journal.
    pub seq: Seq,
    /// The lines that corrected it.
    pub corrected_by: Vec<Seq>,
    /// Limb, zone, plane and structure.
    pub place: Place,
    /// What was said or entered.
    pub what: Stated,
    /// How it came.
    pub how: How,
    /// Who typed or traced it.
    pub by: Option<String>,
    /// The still it was read from.
    pub still: Option<String>,
    /// It was measured on a scale that a person set.
    pub scale_by_hand: bool,
    /// It was taken without weight on the leg.
    pub off_weight: bool,
}

/// One number, said, typed or traced.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ValueReading<'a> {
    pub(crate) number: f64,
    pub(crate) unit: Option<&'a str>,
    pub(crate) scale: Option<&'a str>,
    pub(crate) basis: Basis,
}

/// What the measures are made from.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Readings {
    /// What was said, in the order of time; then what was typed or traced, in the order of the journal.
    pub statements: Vec<Statement>,
    /// Each still with what it shows.
    pub stills: Vec<(String, Place)>,
    /// Scale of each score, as far as it was set for the exam.
    pub scales: BTreeMap<String, String>,
}

impl Readings {
    /// What counts of an exam; `labels` are those of its stills.
    #[must_use]
    pub fn of(exam: &Exam, labels: &[StillLabel], protocols: &Protocols) -> Readings {
        let stance = &protocols.rules.habits.stance;
        let stills = || exam.frames.iter().zip(labels);
        let spoken = exam.standing_calls().filter_map(|call| spoken(call, stance, protocols));
        let mut statements: Vec<Statement> = spoken.collect();
        statements.extend(exam.entries.iter().map(|entry| {
            // A value read from a still was taken as the leg was when the still was saved.
            let still = stills().find(|(frame, _)| Some(&frame.id) == entry.entered.still.as_ref());
            let call = still.and_then(|(_, label)| label.call_seq);
            let taken = exam.calls.iter().find(|other| Some(other.seq) == call);
            by_hand(entry, taken.is_some_and(|call| is_off_weight(call, stance)), protocols)
        }));
        let shown = stills().map(|(frame, label)| (frame.id.clone(), label.place.clone()));
        Readings { statements, stills: shown.collect(), scales: exam.header.scales.clone() }
    }

    /// The number used for a term at a place: the last typed or traced one, else the last one said.
    pub(crate) fn counting(
        &self,
        limb: &str,
        zone: &str,
        structure: &str,
        term: &str,
    ) -> Option<ValueReading<'_>> {
        let all = || self.of_term(limb, zone, structure, term);
        let by_hand = all().filter(|one| one.how != How::Spoken).last();
        by_hand.or_else(|| all().last()).and_then(|one| self.reading(one))
    }

    fn of_term(
        &self,
        limb: &str,
        zone: &str,
        structure: &str,
        term: &str,
    ) -> impl Iterator<Item = &Statement> {
        self.statements.iter().filter(move |one| {
            matches!(&one.what, Stated::Value { term: said, .. } if said == term)
                && one.place.limb.as_deref() == Some(limb)
                && one.place.zone.as_deref() == Some(zone)
                && one.place.structure.as_deref() == Some(structure)
        })
    }

    fn reading<'a>(&self, one: &'a Statement) -> Option<ValueReading<'a>> {
        let Stated::Value { number, unit, scale, .. } = &one.what else { return None };
        let (unit, scale) = (unit.as_deref(), scale.as_deref());
        Some(ValueReading { number: *number, unit, scale, basis: self.basis(one) })
    }

    /// Limb, zone and structure of every number for a term.
    pub(crate) fn places(&self, term: &str) -> BTreeSet<[&str; 3]> {
        let of_term =
            |one: &&Statement| matches!(&one.what, Stated::Value { term: said, .. } if said == term);
        self.statements.iter().filter(of_term).filter_map(|one| codes(&one.place)).collect()
    }

    /// Findings of a class about a structure in a zone.
    pub(crate) fn findings(
        &self,
        limb: &str,
        zone: &str,
        structure: &str,
        class: &str,
    ) -> impl Iterator<Item = &Statement> {
        self.statements.iter().filter(move |one| {
            matches!(&one.what, Stated::Finding { class: said, .. } if said == class)
                && one.place.limb.as_deref() == Some(limb)
                && one.place.zone.as_deref() == Some(zone)
                && one.place.structure.as_deref() == Some(structure)
        })
    }

    /// Whether a lesion, or a number of one, was said in a zone without its structure.
    pub(crate) fn has_unplaced_lesion(&self, limb: &str, zone: &str, measuring: &Measuring) -> bool {
        let Measuring { terms, .. } = measuring;
        let of_lesion = |term: &str| {
            measuring.has_extent(term) || term == terms.lesion_area || term == terms.lesion_percent
        };
        self.statements.iter().filter(|one| one.how == How::Spoken).any(|one| {
            of_lesion(one.what.term())
                && one.place.structure.is_none()
                && one.place.limb.as_deref() == Some(limb)
                && one.place.zone.as_deref() == Some(zone)
        })
    }

    /// Where a statement comes from: its lines, and the still it was read from or the stills of its view.
    pub(crate) fn basis(&self, one: &Statement) -> Basis {
        let shown = |(_, place): &&(String, Place)| {
            place.limb.is_some()
                && place.same_view(&one.place)
                && (place.structure.is_none() || place.structure == one.place.structure)
        };
        let stills = match one.how {
            How::Spoken => self.stills.iter().filter(shown).map(|(id, _)| id.clone()).collect(),
            How::Traced | How::Typed => one.still.iter().cloned().collect(),
        };
        Basis {
            seqs: one.corrected_by.iter().copied().chain([one.seq]).collect(),
            stills,
            how: BTreeSet::from([one.how]),
            by: one.by.iter().cloned().collect(),
            off_weight: one.off_weight,
            scale_by_hand: one.scale_by_hand,
            implied: matches!(one.what, Stated::Finding { .. }),
        }
    }
}

/// Limb, zone and structure, where all are known.
fn codes(place: &Place) -> Option<[&str; 3]> {
    Some([place.limb.as_deref()?, place.zone.as_deref()?, place.structure.as_deref()?])
}

fn is_off_weight(call: &LoggedCall, stance: &Stance) -> bool {
    let setting = call.context.settings.get(&stance.setting);
    setting.is_some_and(|setting| setting_text(setting) == stance.off_weight)
}

/// What was said, if it is a number or a finding.
fn spoken(call: &LoggedCall, stance: &Stance, protocols: &Protocols) -> Option<Statement> {
    let what = match &call.act {
        // A bound, a range or two distances is no one number to compute with.
        Act::Value(value) if !value.said.is_one_number() => return None,
        Act::Value(value) => Stated::Value {
            term: value.term.clone(),
            number: value.amount.number,
            unit: value.amount.unit.clone(),
            scale: value
                .said
                .scale
                .clone()
                .or_else(|| protocols.value(&value.term).and_then(|kind| kind.scale.clone())),
        },
        // "Size normal" does not say that there is no lesion.
        Act::Finding(finding) if finding.class == Class::Normal && !finding.is_all_normal() => return None,
        // What may be normal says nothing for sure; what may be a lesion keeps silence from meaning none.
        Act::Finding(finding) if finding.certainty.is_some() && finding.class != Class::Lesion => {
            return None;
        }
        Act::Finding(finding) => {
            let (class, term) = (finding.class.as_str().to_owned(), finding.term.clone());
            Stated::Finding { class, term, is_possible: finding.certainty.is_some() }
        }
        _ => return None,
    };
    Some(Statement {
        seq: call.seq,
        corrected_by: call.corrected_by.clone(),
        place: call.context.place.clone(),
        what,
        how: How::Spoken,
        by: None,
        still: None,
        scale_by_hand: false,
        off_weight: is_off_weight(call, stance),
    })
}

fn by_hand(entry: &LoggedEntry, off_weight: bool, protocols: &Protocols) -> Statement {
    let entered = entry.entered.clone();
    let scale = || protocols.value(&entered.term).and_then(|kind| kind.scale.clone());
    Statement {
        seq: entry.seq,
        corrected_by: Vec::new(),
        place: entered.place(),
        what: Stated::Value {
            number: entered.amount.number,
            unit: entered.amount.unit,
            scale: entered.scale.or_else(scale),
            term: entered.term,
        },
        how: if entered.traced { How::Traced } else { How::Typed },
        by: entered.by,
        still: entered.still,
        scale_by_hand: entered.scale_by_hand_mm.is_some(),
        off_weight,
    }
}
