//! What is odd about a number: off its scale, or outside its bounds.
//!
//! Takes: a kind of value, a number and its unit.
//! Gives: `Odd`, or another unit in which the number would be as usual.
//! Never: changes a number.
//! Tested in: `tests/it/protocol.rs`.

use crate::protocol::model::ValueKind;
use crate::protocol::unit::convert;

/// Without what is lost in turning one unit into another.
fn round(number: f64) -> f64 {
    (number * 1e6).round() / 1e6
}

/// What is odd about a number.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Odd {
    /// It is no step of its scale.
    #[error("{term} is a whole number from {min} to {max}")]
    OffScale {
        /// What was scored.
        term: String,
        /// Lowest step.
        min: String,
        /// Highest step.
        max: String,
    },
    /// It is outside the usual bounds.
    #[error("{term} is outside {min} to {max} {unit}: is the unit right?")]
    Unusual {
        /// What was measured.
        term: String,
        /// Least usual value.
        min: String,
        /// Largest usual value.
        max: String,
        /// Unit of the bounds.
        unit: String,
    },
}

impl ValueKind {
    /// The number as people are shown it, always in one unit; unchanged where its unit is of another kind.
    #[must_use]
    pub fn shown(&self, number: f64, unit: Option<&str>) -> (f64, Option<String>) {
        let same = || (number, unit.map(str::to_owned));
        let (Some(from), Some(to)) = (unit, self.shown.as_ref().or(self.unit.as_ref())) else {
            return same();
        };
        convert(number, from, to).map_or_else(same, |number| (round(number), Some(to.clone())))
    }

    /// Another unit of this kind in which `number`, said without one, is as usual as in `unit`.
    #[must_use]
    pub fn other_unit(&self, number: f64, unit: &str) -> Option<&str> {
        let usual = |unit: &str| self.odd(number, Some(unit)).is_none();
        let bound = self.bound_unit.as_ref()?;
        let fits = |other: &&String| {
            *other != unit && convert(number, other, bound).is_some() && usual(other) && usual(unit)
        };
        self.units.iter().find(fits).map(String::as_str)
    }

    /// The same on the scale that was said or set for the exam, where it is one of those that can be.
    #[must_use]
    pub fn odd_on(&self, scale: Option<&str>, number: f64, unit: Option<&str>) -> Option<Odd> {
        Self { max: self.max_on(scale), ..self.clone() }.odd(number, unit)
    }

    /// The largest step on this scale, where it is one of those that can be.
    #[must_use]
    pub fn max_on(&self, scale: Option<&str>) -> f64 {
        let known = self.scales.iter().find(|known| Some(known.name.as_str()) == scale);
        known.map_or(self.max, |known| known.max)
    }

    /// What is odd about `number` in `unit`: a score off its scale cannot be, a size out of bounds can.
    #[must_use]
    pub fn odd(&self, number: f64, unit: Option<&str>) -> Option<Odd> {
        let fits = |number: f64| (self.min..=self.max).contains(&number);
        let (term, min, max) = (self.term.clone(), self.min.to_string(), self.max.to_string());
        if self.whole && (number.fract() != 0.0 || !fits(number)) {
            return Some(Odd::OffScale { term, min, max });
        }
        let (unit, bound) = (unit?, self.bound_unit.as_ref()?);
        let inside = convert(number, unit, bound).is_some_and(fits);
        (!inside).then(|| Odd::Unusual { term, min, max, unit: bound.clone() })
    }
}
