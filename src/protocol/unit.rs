//! Units of length, area and share, as far as bounds need them.
//!
//! Takes: a number and two UCUM codes.
//! Gives: the number in the other unit; what is odd about a number of some kind.
//! Never: converts between kinds; a length never becomes an area.
//! Tested in: `tests/it/protocol.rs`.

use crate::protocol::ValueKind;

/// Kind and size of a unit: powers of ten of a millimetre, square millimetre or percent.
fn size(unit: &str) -> Option<(&'static str, f64)> {
    match unit {
        "mm" => Some(("length", 1.0)),
        "cm" => Some(("length", 10.0)),
        "m" => Some(("length", 1000.0)),
        "mm2" => Some(("area", 1.0)),
        "cm2" => Some(("area", 100.0)),
        "%" => Some(("share", 1.0)),
        _ => None,
    }
}

/// `number` of unit `from` (UCUM code) in unit `to`; none where the two are not of one kind or not known.
#[must_use]
pub fn convert(number: f64, from: &str, to: &str) -> Option<f64> {
    let ((from_kind, from_size), (to_kind, to_size)) = (size(from)?, size(to)?);
    (from_kind == to_kind).then(|| number * from_size / to_size)
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
    /// It lies outside the usual bounds.
    #[error("{term} lies outside {min} to {max} {unit}: a slip of the unit?")]
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
