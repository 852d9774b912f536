//! Palettes that are written in segments.
//!
//! Takes: the data of a segmented palette (PS3.3 C.7.9.2).
//! Gives: its values, eight bits each.
//! Never: more values than a palette may have, or a segment that points into itself.
//! Tested in: `tests/it/other_stills/pixels.rs`.

/// Entries of the largest palette.
const ENTRIES_MAX: usize = 1 << 16;
/// What a segment is: values one by one, a line from the last value to another, or segments that were written before.
const DISCRETE: u16 = 0;
const LINEAR: u16 = 1;
const INDIRECT: u16 = 2;

/// All values of the palette, whose entries have so many bits; none where it is malformed.
pub(super) fn unfolded(bytes: &[u8], bits: u16) -> Option<Vec<u8>> {
    let (entries, a_entry): (Vec<u16>, usize) = match bits {
        8 => (bytes.iter().copied().map(u16::from).collect(), 1),
        16 => (bytes.chunks_exact(2).map(|word| u16::from_le_bytes([word[0], word[1]])).collect(), 2),
        _ => return None,
    };
    let mut values = Vec::new();
    let mut at = 0;
    // A byte may be added to make the length even.
    while at + 1 < entries.len() {
        at = segment(&entries, at, a_entry, Pointing::Allowed, &mut values)?;
    }
    let shown = |value: u16| if bits == 8 { value } else { value >> 8 };
    values.into_iter().map(|value| u8::try_from(shown(value)).ok()).collect()
}

/// Whether a segment may point to others: one that was pointed to may not, or they could go round in a circle.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Pointing {
    Allowed,
    Refused,
}

/// Adds the values of the segment at this place and gives the place of the next one.
fn segment(
    entries: &[u16],
    at: usize,
    a_entry: usize,
    pointing: Pointing,
    values: &mut Vec<u16>,
) -> Option<usize> {
    let (kind, length) = (*entries.get(at)?, usize::from(*entries.get(at + 1)?));
    let at = at + 2;
    // One without a value would be no segment, and thousands of them would be long work for nothing.
    if length == 0 || values.len() + length > ENTRIES_MAX {
        return None;
    }
    match kind {
        DISCRETE => {
            values.extend(entries.get(at..at + length)?);
            Some(at + length)
        }
        LINEAR => {
            let (from, to) = (f64::from(*values.last()?), f64::from(*entries.get(at)?));
            let step = (to - from) / f64::from(u16::try_from(length).ok()?);
            values.extend((1..=length).map(|idx| between(from + step * idx as f64)));
            Some(at + 1)
        }
        INDIRECT if pointing == Pointing::Allowed => {
            // The offset has 32 bits, the lowest part first, and counts bytes (from memory).
            let parts = 4 / a_entry;
            let parts_here = entries.get(at..at + parts)?;
            let offset =
                parts_here.iter().rev().fold(0, |sum, part| (sum << (8 * a_entry)) | usize::from(*part));
            let mut from = offset / a_entry;
            for _ in 0..length {
                from = segment(entries, from, a_entry, Pointing::Refused, values)?;
            }
            Some(at + parts)
        }
        _ => None,
    }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // between two values of 16 bits
fn between(value: f64) -> u16 {
    value.round_ties_even() as u16
}
