//! Whom a still is of, as its file says.
//!
//! Takes: name and number out of a file.
//! Gives: `Patient`, and whether two of them can be one.
//! Never: says that two are the same where nothing can be compared.
//! Tested in: `tests/it/identity.rs`.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

/// Whom a still is of, as its file says.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Patient {
    /// The name, as the scanner wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The number, as the scanner wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
}

/// What comparing two identities says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum IdentityVerdict {
    /// Both have a number, and it is the same.
    SameNumber,
    /// One has no number, and the names are the same.
    SameName,
    /// What can be compared differs.
    Other,
    /// Nothing can be compared.
    CannotTell,
}

impl Patient {
    /// None where neither name nor number is there; signs that only part a name are none.
    #[must_use]
    pub fn new(name: Option<String>, id: Option<String>) -> Option<Patient> {
        let name = name.filter(|name| !whole(name).is_empty());
        (name.is_some() || id.is_some()).then_some(Patient { name, id })
    }

    /// Name and number as one text, such as `Juniper (no. 4711)`.
    #[must_use]
    pub fn in_words(&self) -> String {
        match (&self.name, &self.id) {
            (Some(name), Some(id)) => format!("{name} (no. {id})"),
            (Some(name), None) => name.clone(),
            (None, Some(id)) => format!("no. {id}"),
            (None, None) => "nobody".to_owned(),
        }
    }

    /// Whether `words` are its name or its number, as a person would type them or as the file has them.
    #[must_use]
    pub fn is_called(&self, words: &str) -> bool {
        let number = self.id.as_ref().is_some_and(|id| plain(id) == plain(words));
        number || self.name.as_ref().is_some_and(|name| names(name).any(|name| name == whole(words)))
    }

    /// Those of `patients` whom `words` may mean; the one whose name and number they are, where there is one.
    #[must_use]
    pub fn called<'a>(words: &str, patients: &BTreeSet<&'a Patient>) -> Vec<&'a Patient> {
        let exact = |patient: &&'a Patient| plain(&patient.in_words()) == plain(words);
        if let Some(one) = patients.iter().copied().find(exact) {
            return vec![one];
        }
        patients.iter().copied().filter(|patient| patient.is_called(words)).collect()
    }

    /// The shortest words that mean this one of `patients` and no other: its number, its name, or both.
    #[must_use]
    pub fn told_apart(&self, patients: &BTreeSet<&Patient>) -> String {
        let short = [&self.id, &self.name].into_iter().flatten();
        let mut sole = short.filter(|words| Patient::called(words, patients) == [self]);
        sole.next().cloned().unwrap_or_else(|| self.in_words())
    }

    /// The animal's own name: the second part, after its owner's (DICOM PS3.3 C.7.1.1, Patient's Name), else the whole.
    #[must_use]
    pub fn own_name(&self) -> Option<String> {
        let first = self.name.as_deref()?.split('=').next()?;
        let mut parts = first.split('^').map(str::trim).filter(|part| !part.is_empty());
        let (owner, own) = (parts.next()?, parts.next());
        Some(own.unwrap_or(owner).to_owned())
    }

    /// By number where both have one, else by name: as two exams of a horse are held against each other.
    pub(crate) fn against(&self, name: Option<&str>, id: Option<&str>) -> IdentityVerdict {
        if let (Some(own), Some(other)) = (&self.id, id) {
            return if plain(own) == plain(other) {
                IdentityVerdict::SameNumber
            } else {
                IdentityVerdict::Other
            };
        }
        match (&self.name, name) {
            (Some(_), Some(_)) if self.has_other_name(name) => IdentityVerdict::Other,
            (Some(_), Some(_)) => IdentityVerdict::SameName,
            _ => IdentityVerdict::CannotTell,
        }
    }

    /// Whether both have a name, and these cannot be one: the whole of one is the whole or a part of the other, for two
    /// horses of one owner share a part only.
    pub(crate) fn has_other_name(&self, other: Option<&str>) -> bool {
        let (Some(own), Some(other)) = (&self.name, other) else { return false };
        !(names(own).any(|name| name == whole(other)) || names(other).any(|name| name == whole(own)))
    }

    pub(crate) fn is_other_than(&self, other: &Patient) -> bool {
        self.against(other.name.as_deref(), other.id.as_deref()) == IdentityVerdict::Other
    }
}

/// Small letters, single spaces.
fn plain(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// What parts a name: DICOM has `^`, and `=` between ways of writing it (PS3.5 6.2); people type a comma at the scanner.
const PARTS: [char; 3] = ['^', '=', ','];

/// The name without the signs that part it.
fn whole(name: &str) -> String {
    plain(&name.replace(PARTS, " "))
}

/// The name as a whole, and each of its parts. An animal's own name is the second part, after its owner's.
fn names(text: &str) -> impl Iterator<Item = String> {
    let parts = text.split(PARTS).map(plain).filter(|part| !part.is_empty());
    std::iter::once(whole(text)).chain(parts)
}
