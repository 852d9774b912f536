//! Units of length, area and share, as far as bounds need them.
//!
//! Takes: a number and two UCUM codes.
//! Gives: the number in the other unit.
//! Never: converts between kinds; a length never becomes an area.
//! Tested in: `tests/it/protocol.rs`.

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
