//! Whether a still is of the exam's horse, and whether two exams are of one.
//!
//! Takes: whom each still names, the horse of the exam, and what a person confirmed.
//! Gives: for each still, why it is refused, if it is.
//! Never: trusts a name because it is there; where there is nothing to compare, it refuses nothing.
//! Tested in: `tests/it/identity.rs`.

use std::collections::BTreeSet;

use crate::exam::animal::Animal;
use crate::exam::event::{Frame, Horse};
use crate::exam::fold::{Exam, LoggedChange};
use crate::exam::patient::{IdentityVerdict, Patient};
use crate::exam::review::Change;

/// Why a still is refused until a person confirms whose it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Foreign {
    /// It names another horse than the exam does.
    OtherHorse,
    /// It names another patient than other stills of this exam do.
    OtherThanStills,
    /// Its name and number are right, but it states another sex or day of birth than the exam or most other stills do.
    OtherAnimal,
}

impl Exam {
    /// For each of these stills, in order: why it is refused; none where it is taken.
    ///
    /// A still that a person placed or left out is that person's business; a patient that a person confirmed is taken.
    #[must_use]
    pub fn refused(&self, stills: &[Frame]) -> Vec<Option<Foreign>> {
        let open = |frame: &&Frame| self.said_of_still(&frame.id).is_none();
        let named: BTreeSet<&Patient> =
            stills.iter().filter(open).filter_map(|frame| frame.patient.as_ref()).collect();
        let of = |patient: &Patient| self.refusal(patient, &named);
        let by_name = |frame: &Frame| frame.patient.as_ref().filter(|_| open(&frame)).and_then(of);
        let by_name: Vec<Option<Foreign>> = stills.iter().map(by_name).collect();
        let is_open = |frame: &Frame| {
            open(&frame) && !frame.patient.as_ref().is_some_and(|patient| self.is_confirmed(patient))
        };
        let taken: Vec<&Animal> = stills
            .iter()
            .zip(&by_name)
            .filter(|(_, refused)| refused.is_none())
            .filter_map(|(frame, _)| frame.animal.as_ref())
            .collect();
        let by_animal = |frame: &Frame| {
            let animal = frame.animal.as_ref().filter(|_| is_open(frame))?;
            self.is_other_animal(animal, &taken).then_some(Foreign::OtherAnimal)
        };
        stills.iter().zip(by_name).map(|(frame, refused)| refused.or_else(|| by_animal(frame))).collect()
    }

    /// Whom all stills of an exam that names no horse are of, where all that name somebody agree in all they say.
    #[must_use]
    pub fn patient_of_stills(&self) -> Option<&Patient> {
        let horse = &self.header.horse;
        if horse.name.is_some() || horse.id.is_some() {
            return None;
        }
        let is_left_out = |said: &LoggedChange| matches!(said.review.change, Change::LeaveOut { .. });
        let is_taken = |frame: &&Frame| !self.said_of_still(&frame.id).is_some_and(is_left_out);
        let mut named = self.frames.iter().filter(is_taken).filter_map(|frame| frame.patient.as_ref());
        let first = named.next()?;
        named.all(|other| other == first).then_some(first)
    }

    /// Whether it differs from what the practice's list says, or from at least as many stills as it agrees with.
    fn is_other_animal(&self, animal: &Animal, taken: &[&Animal]) -> bool {
        let listed = Animal { sex: self.header.horse.sex.clone(), ..Animal::default() };
        let (others, same): (Vec<&Animal>, Vec<&Animal>) = taken
            .iter()
            .filter(|other| other.sex.is_some() || other.born.is_some())
            .partition(|other| animal.is_other_than(other));
        animal.is_other_than(&listed) || !others.is_empty() && others.len() >= same.len()
    }

    fn refusal(&self, patient: &Patient, named: &BTreeSet<&Patient>) -> Option<Foreign> {
        if self.is_confirmed(patient) {
            return None;
        }
        let held = |patient: &Patient| held_against(patient, &self.header.horse);
        let own = held(patient);
        if own == IdentityVerdict::Other {
            return Some(Foreign::OtherHorse);
        }
        // A number settles it, unless the names say otherwise; a name alone may be that of two horses.
        if own == IdentityVerdict::SameNumber {
            return patient.has_other_name(self.header.horse.name.as_deref()).then_some(Foreign::OtherHorse);
        }
        // One that a person confirmed against its own name says nothing of the others.
        let counts = |other: &&&Patient| held(other) != IdentityVerdict::Other;
        let rival = named.iter().filter(counts).any(|other| patient.is_other_than(other));
        rival.then_some(Foreign::OtherThanStills)
    }

    /// Whether a person said that stills of this patient are of the exam's horse.
    #[must_use]
    pub fn is_confirmed(&self, patient: &Patient) -> bool {
        self.standing_changes().any(
            |logged| matches!(&logged.review.change, Change::SameHorse { patient: confirmed } if confirmed == patient),
        )
    }
}

fn held_against(patient: &Patient, horse: &Horse) -> IdentityVerdict {
    let Horse { name, id, .. } = horse;
    patient.against(name.as_deref(), id.as_deref())
}

impl Horse {
    /// Whether two exams are of one horse: by its number where both have one, else by its name; none where neither tells.
    #[must_use]
    pub fn is_same(&self, other: &Horse) -> Option<bool> {
        match (&self.id, &other.id, &self.name, &other.name) {
            (Some(one), Some(other), ..) | (.., Some(one), Some(other)) => Some(one == other),
            _ => None,
        }
    }
}
