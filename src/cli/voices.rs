//! The voices of those who have enrolled: a file each, next to the settings.
//!
//! Takes: who speaks.
//! Gives: how the neural ear bends to their voice, where that helped; kept, put back, forgotten.
//! Never: sound, or a bend that was fitted for another head.
//! Tested in: `tests/sound/enrol.rs`.

use std::path::{Path, PathBuf};

use anyhow::Context as _;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::output::one_line;
use super::settings_place;
use crate::plain_file;
use crate::private;
use crate::speech::neural::Neural;
use crate::speech::neural::adapt::Adaptation;
use crate::terminal::{self, ShownText as _};

/// Characters of a name that its file name shows.
const SHOWN_MAX: usize = 24;

/// What enrolling gave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Enrolled {
    /// Whose voice it is.
    pub(super) person: String,
    /// SHA-256 of encoder, head and lexicon that it was fitted with.
    pub(super) head_sha256: String,
    /// How the phrases that nothing was learned from were heard before.
    pub(super) before: PhraseHeard,
    /// And after.
    pub(super) after: PhraseHeard,
    pub(super) adaptation: Adaptation,
}

/// What became of some phrases.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct PhraseHeard {
    pub(super) right: usize,
    /// Asked about, the right reading among the two.
    pub(super) asked: usize,
    pub(super) missed: usize,
    /// Something else was acted on.
    pub(super) wrong: usize,
}

impl PhraseHeard {
    /// Better only if no phrase more is missed or acted on wrongly; then the more right at once, or after one question.
    pub(super) fn is_better_than(self, other: Self) -> bool {
        let rank = |heard: Self| (heard.right, heard.asked);
        self.wrong <= other.wrong && self.missed <= other.missed && rank(self) > rank(other)
    }
}

/// The file of a person's voice.
fn place(person: &str) -> anyhow::Result<PathBuf> {
    let settings =
        settings_place::place().context("there is no place for voices; name a file in ZONECALL_SETTINGS")?;
    let shown: String =
        person.chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).take(SHOWN_MAX).collect();
    // Two names that look alike as a file's name stay two.
    let hash = crate::hex(&Sha256::digest(person.as_bytes()));
    let folder = settings.parent().unwrap_or(Path::new(".")).join("voices");
    Ok(folder.join(format!("{shown}-{}.json", &hash[..8])))
}

fn before(path: &Path) -> PathBuf {
    path.with_extension("json.before")
}

/// The voice of a person, if they have enrolled.
fn read(person: &str) -> anyhow::Result<Option<Enrolled>> {
    let path = place(person)?;
    let text = match plain_file::read_to_string(&path) {
        Ok(text) => text,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(error) => {
            return Err(error).with_context(|| format!("cannot read the voice `{}`", path.shown()));
        }
    };
    let read = serde_json::from_str(&text);
    Ok(Some(read.with_context(|| {
        format!("`{}` is not an adapted model; enrol again, or remove it with `zonecall enrol --person \"{person}\" --undo`", path.shown())
    })?))
}

/// Somebody who has enrolled under nearly this name: other capitals, spaces or signs, or one letter.
fn alike(person: &str) -> Option<String> {
    let folder = place(person).ok()?.parent()?.to_owned();
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .ok()?
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
        .filter_map(|path| serde_json::from_slice::<Enrolled>(&plain_file::read(&path).ok()?).ok())
        .map(|enrolled| enrolled.person)
        .collect();
    names.sort();
    names.into_iter().find(|name| is_alike(person, name))
}

fn is_alike(one: &str, other: &str) -> bool {
    let letters = |name: &str| -> Vec<char> {
        name.chars().filter(|sign| sign.is_alphanumeric()).flat_map(char::to_lowercase).collect()
    };
    let (one, other) = (letters(one), letters(other));
    let before = one.iter().zip(&other).take_while(|(a, b)| a == b).count();
    let (one, other) = (&one[before..], &other[before..]);
    let after = one.iter().rev().zip(other.iter().rev()).take_while(|(a, b)| a == b).count();
    before + after > 0 && one.len().max(other.len()) - after <= 1
}

/// Bends the ear to a person who has enrolled; one who has not, or whose voice does not count, is heard as anybody.
pub(super) fn bend(ear: &mut Neural, person: &str) {
    match read(person) {
        Ok(None) => {
            if let Some(known) = alike(person) {
                terminal::warn(format!(
                    "zonecall: `{person}` has not enrolled, so the standard model is used; `{known}` has: if that is who is speaking, say --person \"{known}\", letter by letter"
                ));
            }
        }
        Ok(Some(enrolled)) if enrolled.head_sha256 == ear.head_sha256() => {
            ear.adapt(person, enrolled.adaptation);
            terminal::warn(format!("zonecall: hearing with the voice that `{person}` enrolled"));
        }
        Ok(Some(_)) => terminal::warn(format!(
            "zonecall: `{person}` enrolled with another head of the neural ear, so the standard model is used; enrol again with \
             `zonecall enrol --person \"{person}\"`"
        )),
        Err(error) => terminal::warn(format!(
            "zonecall: the standard model is used for `{person}`: {}",
            one_line(&error)
        )),
    }
}

/// Keeps a voice; the one before can be put back.
pub(super) fn keep(enrolled: &Enrolled) -> anyhow::Result<PathBuf> {
    let path = place(&enrolled.person)?;
    let failed = || format!("cannot write the voice `{}`", path.shown());
    let bytes = serde_json::to_vec(enrolled).with_context(failed)?;
    if path.exists() {
        let kept = plain_file::read(&path).and_then(|bytes| private::replace(&before(&path), &bytes));
        kept.with_context(failed)?;
    }
    private::replace(&path, &bytes).with_context(failed)?;
    Ok(path)
}

/// Takes the last enrolling back; says what is used now.
pub(super) fn undo(person: &str) -> anyhow::Result<&'static str> {
    let path = place(person)?;
    anyhow::ensure!(
        path.exists() || before(&path).exists(),
        "nobody has enrolled as `{person}`; give the name exactly as it was enrolled{}",
        alike(person).map(|known| format!(": did you mean `{known}`?")).unwrap_or_default()
    );
    let failed = || format!("cannot take back the voice `{}`", path.shown());
    if before(&path).exists() {
        std::fs::rename(before(&path), &path).with_context(failed)?;
        return Ok("the previous adaptation is used again");
    }
    std::fs::remove_file(&path).with_context(failed)?;
    Ok("heard without adaptation again")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_better_that_acts_wrongly_more_often() {
        let before = PhraseHeard { right: 12, asked: 3, missed: 1, wrong: 0 };
        assert!(PhraseHeard { right: 13, asked: 3, missed: 0, wrong: 0 }.is_better_than(before));
        assert!(PhraseHeard { right: 12, asked: 4, missed: 0, wrong: 0 }.is_better_than(before));
        assert!(!PhraseHeard { right: 15, asked: 0, missed: 0, wrong: 1 }.is_better_than(before));
        assert!(!PhraseHeard { right: 13, asked: 0, missed: 3, wrong: 0 }.is_better_than(before));
        assert!(!before.is_better_than(before));
    }
    #[test]
    fn a_name_is_like_another_that_differs_in_capitals_signs_or_one_letter() {
        for (one, other) in
            [("ada", "Ada"), ("Dr. Ada L", "dr ada l"), ("Adda", "Ada"), ("Ad", "Ada"), ("Ida", "Ada")]
        {
            assert!(is_alike(one, other) && is_alike(other, one), "{one} {other}");
        }
        for (one, other) in [("Ada", "Robin"), ("A", "B"), ("Ada", "Ad Robin"), ("Aad", "Ada")] {
            assert!(!is_alike(one, other), "{one} {other}");
        }
    }
}
