//! Areas, lengths and shares that cannot be mixed up.
//!
//! Takes: numbers with their UCUM units.
//! Gives: `Area`, `Length` and `Share`; adding an area to a length does not compile.
//! Never: a number without its unit.
//! Tested in: `tests/it/measure.rs`, `tests/it/measure_laws.rs`.
//!
//! ```compile_fail
//! use zonecall::knowledge::measure::quantity::{Area, Length};
//! let sum = Area::from_mm2(1.0) + Length::from_mm(1.0);
//! ```

use std::iter::Sum;
use std::ops::{Add, Sub};

use crate::protocol::convert;

/// An area; any number, negative ones are differences.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Area(f64);

/// A length.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Length(f64);

/// A share in percent.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Share(f64);

impl Area {
    /// From square millimetres.
    #[must_use]
    pub const fn from_mm2(mm2: f64) -> Area {
        Area(mm2)
    }

    /// From a number of `unit`; none where that is no unit of area, or the number is not finite.
    #[must_use]
    pub fn from_unit(number: f64, unit: &str) -> Option<Area> {
        convert(number, unit, "mm2").filter(|mm2| mm2.is_finite()).map(Area)
    }

    /// In square millimetres.
    #[must_use]
    pub const fn mm2(self) -> f64 {
        self.0
    }

    /// As a share of `whole`; none where that is not more than nothing.
    #[must_use]
    pub fn share_of(self, whole: Area) -> Option<Share> {
        (whole.0 > 0.0).then(|| Share(100.0 * self.0 / whole.0))
    }

    /// How many times `other` it is; none where that is not more than nothing.
    #[must_use]
    pub fn times(self, other: Area) -> Option<f64> {
        (other.0 > 0.0).then(|| self.0 / other.0)
    }
}

impl Length {
    /// From millimetres.
    #[must_use]
    pub const fn from_mm(mm: f64) -> Length {
        Length(mm)
    }

    /// From a number of `unit`; none where that is no unit of length, or the number is not finite.
    #[must_use]
    pub fn from_unit(number: f64, unit: &str) -> Option<Length> {
        convert(number, unit, "mm").filter(|mm| mm.is_finite()).map(Length)
    }

    /// In centimetres.
    #[must_use]
    pub const fn cm(self) -> f64 {
        self.0 / 10.0
    }
}

impl Share {
    /// From percent.
    #[must_use]
    pub const fn from_percent(percent: f64) -> Share {
        Share(percent)
    }

    /// In percent.
    #[must_use]
    pub const fn percent(self) -> f64 {
        self.0
    }

    /// This share of `whole`.
    #[must_use]
    pub fn of(self, whole: Area) -> Area {
        Area(self.0 / 100.0 * whole.0)
    }
}

impl Add for Area {
    type Output = Area;
    fn add(self, other: Area) -> Area {
        Area(self.0 + other.0)
    }
}

impl Sub for Area {
    type Output = Area;
    fn sub(self, other: Area) -> Area {
        Area(self.0 - other.0)
    }
}

impl Sum for Area {
    fn sum<I: Iterator<Item = Area>>(areas: I) -> Area {
        areas.fold(Area(0.0), Add::add)
    }
}
