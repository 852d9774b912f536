//! A name that was spelled, sign by sign.
//!
//! Takes: the signs in the order in which they were said, slips and their corrections among them.
//! Gives: the name as people write it.
//! Never: guesses a sign; what is left of one letter is no name.
//! Tested in: `tests/it/horse_name.rs`.

/// What the grammar calls the sign that parts two words of a name.
const SPACE: &str = "space";
/// The sign before it was a slip.
const CORRECTION: &str = "correction";
/// All signs before it were.
const AGAIN: &str = "again";
/// Signs of the shortest name.
const SIGNS_MIN: usize = 2;

/// The name of these signs; none where too few are left.
#[must_use]
pub fn spelled(signs: &[String]) -> Option<String> {
    let text = kept(signs);
    let words: Vec<&str> = text.split_whitespace().collect();
    let name = words.join(" ");
    (name.chars().filter(|c| c.is_alphanumeric()).count() >= SIGNS_MIN).then(|| capitalised(&name))
}

/// A name that was broken off, with its rest.
#[must_use]
pub fn joined(begun: &str, rest: &str) -> String {
    capitalised(format!("{begun}{rest}").trim_end())
}

/// The signs as they stand after all corrections.
#[must_use]
pub fn kept(signs: &[String]) -> String {
    let mut kept: Vec<&str> = Vec::new();
    for sign in signs {
        match sign.as_str() {
            CORRECTION => drop(kept.pop()),
            AGAIN => kept.clear(),
            SPACE => kept.push(" "),
            letter => kept.push(letter),
        }
    }
    kept.concat()
}

/// Each part of a name begins with a capital: "Juniper Two", "O'Hara", "Anna-Lee".
fn capitalised(name: &str) -> String {
    let mut begins = true;
    let letter = |c: char| {
        let shown = if begins { c.to_uppercase().to_string() } else { c.to_lowercase().to_string() };
        begins = !c.is_alphanumeric();
        shown
    };
    name.chars().map(letter).collect()
}

/// The signs of a name one by one, for the ear and the eye: `J U N I P E R`.
#[must_use]
pub fn sign_by_sign(name: &str) -> String {
    let sign = |c: char| if c == ' ' { SPACE.to_owned() } else { c.to_uppercase().to_string() };
    name.chars().map(sign).collect::<Vec<_>>().join(" ")
}
