//! What the files of stills say of the animal, beside name and number.
//!
//! Takes: what each still says.
//! Gives: `Animal`; of several stills what they agree on.
//! Never: a fact on which two stills differ.
//! Tested in: here and `tests/it/first_page.rs`.

use chrono::{Datelike as _, NaiveDate};
use serde::{Deserialize, Serialize};

/// What a still's file says of the animal; what it does not say is absent.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Animal {
    /// Its owner or keeper.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub owner: Option<String>,
    /// Its breed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub breed: Option<String>,
    /// Its sex as DICOM writes it: `M`, `F` or `O`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sex: Option<String>,
    /// Whether it was neutered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub neutered: Option<bool>,
    /// When it was born.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub born: Option<NaiveDate>,
}

impl Animal {
    /// Itself, unless nothing is known.
    #[must_use]
    pub fn known(self) -> Option<Animal> {
        (self != Animal::default()).then_some(self)
    }

    /// What all of these say who say anything of it.
    #[must_use]
    pub fn agreed(all: &[&Animal]) -> Animal {
        Animal {
            owner: sole(all.iter().filter_map(|one| one.owner.clone())),
            breed: sole(all.iter().filter_map(|one| one.breed.clone())),
            sex: sole(all.iter().filter_map(|one| one.sex.clone())),
            neutered: sole(all.iter().filter_map(|one| one.neutered)),
            born: sole(all.iter().filter_map(|one| one.born)),
        }
    }

    /// Whether both state a sex or a day of birth, and not the same one: these do not change from still to still.
    #[must_use]
    pub fn is_other_than(&self, other: &Animal) -> bool {
        let sex = self.sex.is_some() && other.sex.is_some() && self.sex != other.sex;
        sex || self.born.is_some() && other.born.is_some() && self.born != other.born
    }

    /// Sex and day of birth in words, such as `male, born 2019-04-12`; empty where neither is known.
    #[must_use]
    pub fn told_apart_by(&self) -> String {
        let sex = self.sex.as_deref().map(|sex| match sex {
            "M" => "male".to_owned(),
            "F" => "female".to_owned(),
            other => format!("of sex `{other}`"),
        });
        let born = self.born.map(|born| format!("born {born}"));
        sex.into_iter().chain(born).collect::<Vec<_>>().join(", ")
    }

    /// Its age on a day in words: full years, of a foal full months; none where it was not born yet.
    #[must_use]
    pub fn age_on(&self, day: NaiveDate) -> Option<String> {
        let born = self.born?;
        let whole = i32::from(day.day() < born.day());
        let months = 12 * (day.year() - born.year()) + day.month0().cast_signed()
            - born.month0().cast_signed()
            - whole;
        let (number, unit) = if months < 12 { (months, "month") } else { (months / 12, "year") };
        (born <= day).then(|| format!("{number} {unit}{}", if number == 1 { "" } else { "s" }))
    }
}

/// The one value that all of them are.
fn sole<T: PartialEq>(mut values: impl Iterator<Item = T>) -> Option<T> {
    let first = values.next()?;
    values.all(|other| other == first).then_some(first)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn an_age_is_in_full_years_and_that_of_a_foal_in_full_months() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let age =
            |born: &str, on: &str| Animal { born: Some(day(born)), ..Animal::default() }.age_on(day(on));
        assert_eq!(age("2019-05-04", "2026-05-04").as_deref(), Some("7 years"));
        assert_eq!(age("2019-05-05", "2026-05-04").as_deref(), Some("6 years"));
        assert_eq!(age("2025-05-04", "2026-05-04").as_deref(), Some("1 year"));
        assert_eq!(age("2026-03-31", "2026-05-04").as_deref(), Some("1 month"));
        assert_eq!(age("2026-05-05", "2026-05-04"), None);
    }

    #[test]
    fn a_fact_on_which_two_stills_differ_is_none() {
        let of = |owner: &str, sex: Option<&str>| Animal {
            owner: Some(owner.to_owned()),
            sex: sex.map(str::to_owned),
            ..Animal::default()
        };
        let agreed = Animal::agreed(&[&of("Ada", Some("M")), &of("Kim", None)]);
        assert_eq!((agreed.owner, agreed.sex.as_deref()), (None, Some("M")));
    }
}
