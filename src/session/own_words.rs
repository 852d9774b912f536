//! A practice's own words in the language of an exam: each must be told apart from what means something else.
//!
//! Takes: a grammar pack, the own words, and dictionaries that say how words sound.
//! Gives: the pack and the language with them.
//! Never: takes a phrase that the language has already, or one that sounds almost like another.
//! Tested in: `tests/it/own_words.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use crate::exam::parse::meaning;
use crate::language::automaton::OWN;
use crate::language::fault::Fault;
use crate::language::near::{Sounds, near, sounds_apart};
use crate::language::on_demand_graph::ZonesByLimb;
use crate::language::own::{OwnPhrase, OwnWords};
use crate::language::pack::{ANSWER_RULE, EXAM_RULE, Language, Pack, PackError};
use crate::plain_file;
use crate::protocol::Protocols;
use crate::speech::dictionary::{DICTIONARY, default_model_dir, entries};
use crate::speech::neural::parts::Parts;

/// An own phrase differs from each phrase that means something else in more sounds than this.
const NEAR_SOUNDS: usize = 1;
/// A word of so many letters may be short for a longer one.
const SHORT_FORM_MIN: usize = 4;
/// Ways to say a phrase that are tried, where its words have variants.
const VARIANTS_MAX: usize = 8;

/// Reads the own words in `path`.
pub(crate) fn read(path: &Path) -> Result<OwnWords, PackError> {
    let text = plain_file::read_to_string(path)
        .map_err(|source| PackError::ReadOwn { path: path.to_owned(), source })?;
    OwnWords::of(path, &text).map_err(PackError::Own)
}

/// The pack and its language with the own words.
pub(crate) fn with_own(
    pack: &Pack,
    own: &OwnWords,
    zones: &ZonesByLimb,
    protocols: &Protocols,
) -> Result<(Pack, Language), PackError> {
    let words: BTreeSet<String> =
        pack.grammar.words(&[EXAM_RULE, ANSWER_RULE]).into_iter().map(|word| word.text).collect();
    let own_words = own.phrases.iter().flat_map(OwnPhrase::to_look_up).cloned();
    let known = dictionaries(pack, &words.iter().cloned().chain(own_words).collect());
    let sounds = own
        .pronunciations(&words, &|word| {
            known.get(word).into_iter().flatten().map(|phones| phones.join(" ")).collect()
        })
        .map_err(PackError::Own)?;
    let mut whole: Vec<OwnPhrase> = Vec::new();
    loop {
        let pack = pack.clone().with_own(own, sounds.clone(), &whole)?;
        let language = pack.for_zones(zones);
        let means = |words: &[String]| {
            let words: Vec<&str> = words.iter().map(String::as_str).collect();
            meaning(&words, &language, protocols)
        };
        let differs = |phrase: &&OwnPhrase| means(&phrase.said) != means(&phrase.means);
        let fault = |phrase: &OwnPhrase, why: String| Err(PackError::Own(own.fault(phrase.place, why)));
        if let Some(phrase) = own.phrases.iter().find(|phrase| is_known(&phrase.said, &language)) {
            return fault(
                phrase,
                format!("`{}` is a phrase of the language already; choose another one", phrase.said()),
            );
        }
        match own.phrases.iter().find(differs) {
            Some(phrase) if !whole.contains(phrase) => whole.push(phrase.clone()),
            Some(phrase) => {
                return fault(
                    phrase,
                    format!(
                        "`{}` cannot stand for `{}` here; choose another phrase",
                        phrase.said(),
                        phrase.means()
                    ),
                );
            }
            None => {
                let mut sounds = known.clone();
                for entry in &pack.pronunciations {
                    add(&mut sounds, &entry.word, &entry.phones);
                }
                Apart { own, words: &words, language: &language, sounds: &sounds, means: &means }
                    .check()
                    .map_err(PackError::Own)?;
                return Ok((pack, language));
            }
        }
    }
}

/// Whether the language says the words without an own phrase.
fn is_known(said: &[String], language: &Language) -> bool {
    let said: Vec<&str> = said.iter().map(String::as_str).collect();
    let readings = language.exam.read(&said);
    readings.iter().any(|tags| !tags.iter().any(|(tag, _)| tag == OWN))
}

/// How `wanted` words sound: as the pack has it, as the head of the neural ear was taught, and as the dictionary of
/// English has it, all in ARPAbet.
fn dictionaries(pack: &Pack, wanted: &BTreeSet<String>) -> Sounds {
    let files: [PathBuf; 2] =
        [Parts::find(None, &pack.language).head.join("lexicon.dict"), default_model_dir().join(DICTIONARY)];
    let mut sounds = BTreeMap::new();
    for entry in pack.pronunciations.iter().filter(|entry| wanted.contains(&entry.word)) {
        add(&mut sounds, &entry.word, &entry.phones);
    }
    for file in files {
        let text = std::fs::read(file).unwrap_or_default();
        for (_, word, phones) in
            entries(&String::from_utf8_lossy(&text)).filter(|(_, word, _)| wanted.contains(*word))
        {
            add(&mut sounds, word, phones);
        }
    }
    sounds
}

fn add(sounds: &mut Sounds, word: &str, phones: &str) {
    let phones: Vec<String> = phones.split_whitespace().map(str::to_owned).collect();
    let known = sounds.entry(word.to_owned()).or_default();
    if !known.contains(&phones) {
        known.push(phones);
    }
}

/// Whether `words` hold all of `part` in one piece.
fn holds(words: &[String], part: &[String]) -> bool {
    words.windows(part.len()).any(|piece| piece == part)
}

/// What the own phrases are told apart from.
struct Apart<'a> {
    own: &'a OwnWords,
    /// The words of the language without them.
    words: &'a BTreeSet<String>,
    language: &'a Language,
    sounds: &'a Sounds,
    means: &'a dyn Fn(&[String]) -> String,
}

impl Apart<'_> {
    fn check(&self) -> Result<(), Box<Fault>> {
        let guarded = self.language.grammar.kept_apart();
        for phrase in &self.own.phrases {
            // Inside a longer phrase it would be lost with the rest, and what it turns round would stand.
            if let Some(word) = phrase.said.iter().find(|word| guarded.contains(*word)) {
                let why = format!(
                    "`{}` holds `{word}`: no own phrase may hold a word that saves, takes back, denies, or names a side or a \
                     limb; choose a phrase without it",
                    phrase.said()
                );
                return Err(self.own.fault(phrase.place, why));
            }
            if let Some(other) = self.means_another(phrase) {
                let why = format!(
                    "`{}` holds or begins `{other}`, which means something else than `{}`; choose a phrase without it",
                    phrase.said(),
                    phrase.means()
                );
                return Err(self.own.fault(phrase.place, why));
            }
            if let Some(other) = self.too_near(phrase) {
                let why = format!(
                    "`{}` sounds too much like `{other}`, which means something else; choose a phrase that differs in more \
                     than {NEAR_SOUNDS} sound",
                    phrase.said()
                );
                return Err(self.own.fault(phrase.place, why));
            }
        }
        Ok(())
    }

    /// A word of the language that means something by itself, other than the phrase: one of its words, or one that begins
    /// with a word of it, as "hyperechoic" does with "hyper".
    fn means_another(&self, phrase: &OwnPhrase) -> Option<String> {
        let meant = (self.means)(&phrase.said);
        let new = phrase.said.iter().filter(|word| !phrase.means.iter().any(|own| own.starts_with(*word)));
        let other = |known: &&String| {
            let alone = std::slice::from_ref(*known);
            !phrase.means.contains(known) && is_known(alone, self.language) && (self.means)(alone) != meant
        };
        let is_short_for = |word: &str, known: &str| {
            word == known || (word.len() >= SHORT_FORM_MIN && known.starts_with(word))
        };
        let known = new.flat_map(|word| self.words.iter().filter(move |known| is_short_for(word, known)));
        known.into_iter().find(other).cloned()
    }

    /// A phrase that means something else, or a word that turns a meaning round or names a limb, within a few sounds.
    fn too_near(&self, phrase: &OwnPhrase) -> Option<String> {
        let meant = (self.means)(&phrase.said);
        let guarded = self.language.grammar.kept_apart();
        // A word of the language is told apart by what stands around it, as everywhere.
        let new = phrase.said.iter().filter(|word| !self.words.contains(*word));
        let apart = |word, other| sounds_apart(self.sounds, word, other).unwrap_or(usize::MAX);
        let nearest = new
            .flat_map(|word| guarded.iter().map(move |other| (apart(word, other), other)))
            .min_by_key(|(apart, _)| *apart);
        if let Some((_, other)) = nearest.filter(|(apart, _)| *apart <= NEAR_SOUNDS) {
            return Some(other.clone());
        }
        self.ways(phrase)
            .into_iter()
            .find_map(|wanted| {
                let found = near(&self.language.engine.graph, self.sounds, &wanted, NEAR_SOUNDS);
                found.into_iter().find(|other| !holds(other, &phrase.said) && (self.means)(other) != meant)
            })
            .map(|other| other.join(" "))
    }

    /// The ways to say a phrase, in phones.
    fn ways(&self, phrase: &OwnPhrase) -> Vec<Vec<&str>> {
        let mut ways: Vec<Vec<&str>> = vec![Vec::new()];
        for word in &phrase.said {
            let variants = self.sounds.get(word).map_or(&[] as &[Vec<String>], Vec::as_slice);
            let longer = ways.iter().flat_map(|way| {
                variants.iter().map(move |variant| {
                    way.iter().copied().chain(variant.iter().map(String::as_str)).collect::<Vec<&str>>()
                })
            });
            ways = longer.take(VARIANTS_MAX).collect();
        }
        ways
    }
}
