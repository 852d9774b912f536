//! Changes to an input: those that break readers most often.

use crate::support::machine::Dice;

/// Numbers at the edges of what readers take.
const NUMBERS: [u64; 10] = [
    0,
    1,
    0x7f,
    0xff,
    0x7fff,
    0xffff,
    0x7fff_ffff,
    0xffff_ffff,
    0x7fff_ffff_ffff_ffff,
    0xffff_ffff_ffff_ffff,
];
/// The same in text, and what is no number.
const WORDS: [&str; 12] = [
    "-1",
    "0",
    "1e308",
    "18446744073709551615",
    "99999999999999999999999",
    "NaN",
    "null",
    "\"\"",
    "[]",
    "{}",
    "0001-01-01T00:00:00Z",
    "+262142-12-31T23:59:59Z",
];
/// What nests.
const OPENING: [&[u8]; 6] = [b"[", b"{", b"(", b"{\"a\":", b"<", b"[["];
/// Longest input.
const BYTES_MAX: usize = 1 << 20;

/// One of the seeds, changed in up to four places.
pub(super) fn changed(dice: &mut Dice, seeds: &[Vec<u8>]) -> Vec<u8> {
    let mut input = dice.pick(seeds).clone();
    for _ in 0..=dice.below(4) {
        change(dice, &mut input, seeds);
    }
    input.truncate(BYTES_MAX);
    input
}

fn place(dice: &mut Dice, bytes: &[u8]) -> usize {
    // Most of what a reader believes is at the beginning.
    let end = if dice.one_in(2) { bytes.len().min(512) } else { bytes.len() };
    usize::try_from(dice.below(end as u64 + 1)).unwrap()
}

fn change(dice: &mut Dice, input: &mut Vec<u8>, seeds: &[Vec<u8>]) {
    let at = place(dice, input);
    let length = usize::try_from(1 + dice.below(64)).unwrap().min(input.len() - at);
    match dice.below(9) {
        0 if at < input.len() => input[at] ^= 1 << dice.below(8),
        1 => input.truncate(at),
        2 => drop(input.drain(at..at + length)),
        3 => {
            let piece = input[at..at + length].to_vec();
            let times = usize::try_from(1 + dice.below(200)).unwrap();
            input.splice(at..at, piece.repeat(times));
        }
        4 | 5 => {
            let (number, width) = (*dice.pick(&NUMBERS), *dice.pick(&[1, 2, 4, 8]));
            let bytes = if dice.one_in(2) { number.to_le_bytes() } else { number.to_be_bytes() };
            let bytes = if dice.one_in(2) { &bytes[..width] } else { &bytes[8 - width..] };
            for (to, from) in input[at..].iter_mut().zip(bytes) {
                *to = *from;
            }
        }
        6 => {
            let other = dice.pick(seeds);
            let from = place(dice, other);
            let to = (from + length.max(16)).min(other.len());
            input.splice(at..at, other[from..to].iter().copied());
        }
        7 => number_in_text(dice, input, at),
        _ => {
            let times = usize::try_from(dice.below(30_000)).unwrap();
            let nested = dice.pick(&OPENING).repeat(times);
            input.splice(at..at, nested);
        }
    }
}

/// Puts another number or word in the place of the next one.
fn number_in_text(dice: &mut Dice, input: &mut Vec<u8>, at: usize) {
    let Some(from) = input[at..].iter().position(u8::is_ascii_digit) else { return };
    let from = at + from;
    let length = input[from..].iter().take_while(|byte| byte.is_ascii_digit()).count();
    let word = dice.pick(&WORDS).bytes();
    input.splice(from..from + length, word);
}
