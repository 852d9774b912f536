//! A practice's own words: other names for phrases of the language, from one plain file.
//!
//! Takes: lines `phrase = phrase of the language`, with what it sounds like after a second `=` where no dictionary knows it.
//! Gives: `OwnWords`, and a grammar that says them, too.
//! Never: changes what a phrase of the language means; whether one sounds too much like another, `near` finds out.
//! Tested in: `tests/it/own_words.rs`.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::language::automaton::OWN;
use crate::language::engine::Pronunciation;
use crate::language::fault::{Fault, FilePlace};
use crate::language::grammar::{Grammar, GrammarNode, used};

/// The name of the file in the folder of the settings.
pub const OWN_WORDS_FILE: &str = "own.txt";

/// The rule whose alternatives are the phrases; what an own phrase is another name for is looked for from here on.
const PHRASE_RULE: &str = "item";
/// Closings of phrases that act on the exam itself, which have no other name.
const ACTING: [&str; 8] =
    ["!save", "!clip", "!note", "!command", "!question", "!answer", "!identity", "!talk"];
/// Closings that change what another phrase means.
const CORRECTING: [&str; 4] = ["!correction", "!sorry", "&sorry", "!no"];
/// Begins English words in place of sounds.
const LIKE: &str = "like ";
const LIKE_EXAMPLE: &str = "`sehne = phrase of the language = like zany`";
/// The sounds of English in ARPAbet, as the CMU Pronouncing Dictionary writes them, without its marks of stress.
const PHONES: [&str; 39] = [
    "AA", "AE", "AH", "AO", "AW", "AY", "B", "CH", "D", "DH", "EH", "ER", "EY", "F", "G", "HH", "IH", "IY",
    "JH", "K", "L", "M", "N", "NG", "OW", "OY", "P", "R", "S", "SH", "T", "TH", "UH", "UW", "V", "W", "Y",
    "Z", "ZH",
];

/// The file, read.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct OwnWords {
    /// The file.
    pub file: PathBuf,
    /// Its text.
    pub text: String,
    /// Its phrases, in order.
    pub phrases: Vec<OwnPhrase>,
}

/// One line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnPhrase {
    /// What is said, in lower case.
    pub said: Vec<String>,
    /// The phrase of the language that it stands for.
    pub means: Vec<String>,
    /// How each word sounds; empty where that was not written.
    pub sounds: Vec<OwnSound>,
    /// Where it stands.
    pub place: FilePlace,
}

/// How a word sounds, as the practice wrote it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OwnSound {
    /// In ARPAbet.
    Phones(String),
    /// As these words of English do, one after the other.
    Like(Vec<String>),
}

impl OwnWords {
    /// Reads the text of `file`.
    ///
    /// # Errors
    /// The first line that is none.
    pub fn of(file: &Path, text: &str) -> Result<Self, Box<Fault>> {
        let mut this = Self { file: file.to_owned(), text: text.to_owned(), phrases: Vec::new() };
        for (idx, line) in text.lines().enumerate() {
            let place = FilePlace { line: idx + 1, column: 1 };
            let said = line.split('#').next().unwrap_or("");
            if said.trim().is_empty() {
                continue;
            }
            let phrase = OwnPhrase::of(said, place).map_err(|why| this.fault(place, why))?;
            if let Some(other) = this.phrases.iter().find(|other| other.said == phrase.said) {
                let why = format!("`{}` stands in line {} already", phrase.said(), other.place.line);
                return Err(this.fault(place, why));
            }
            this.phrases.push(phrase);
        }
        Ok(this)
    }

    /// A fault in one of its lines.
    #[must_use]
    pub fn fault(&self, place: FilePlace, message: impl Into<String>) -> Box<Fault> {
        Box::new(Fault::new(&self.file, &self.text, place, message))
    }

    /// How the words sound that the language lacks; `known` are other sources.
    ///
    /// # Errors
    /// The first line with a word that has no sound.
    pub fn pronunciations(
        &self,
        language: &BTreeSet<String>,
        known: &dyn Fn(&str) -> Vec<String>,
    ) -> Result<Vec<Pronunciation>, Box<Fault>> {
        let mut found = Vec::new();
        for phrase in &self.phrases {
            for (idx, word) in phrase.said.iter().enumerate().filter(|(_, word)| !language.contains(*word)) {
                let sounds = match phrase.sounds.get(idx) {
                    None => known(word),
                    Some(OwnSound::Phones(phones)) => vec![phones.clone()],
                    Some(OwnSound::Like(words)) => {
                        vec![like(words, known).map_err(|why| self.fault(phrase.place, why))?]
                    }
                };
                if sounds.is_empty() {
                    return Err(self.fault(phrase.place, silent(phrase, word)));
                }
                let (file, line) = (&self.file, phrase.place.line);
                found.extend(sounds.into_iter().map(|phones| Pronunciation {
                    word: word.clone(),
                    phones,
                    file: file.clone(),
                    line,
                }));
            }
        }
        Ok(found)
    }
}

fn silent(phrase: &OwnPhrase, word: &str) -> String {
    format!(
        "no dictionary says how `{word}` sounds; write after a second `=` which English words it sounds like, with a comma \
         between the words of `{}`: {LIKE_EXAMPLE}; or its sounds in ARPAbet, which docs/language.md lists",
        phrase.said()
    )
}

/// The sounds of these words, one after the other.
fn like(words: &[String], known: &dyn Fn(&str) -> Vec<String>) -> Result<String, String> {
    let one = |word: &String| {
        known(word).into_iter().next().ok_or_else(|| {
            format!(
                "no dictionary says how `{word}` sounds, either; take common English words: {LIKE_EXAMPLE}"
            )
        })
    };
    Ok(words.iter().map(one).collect::<Result<Vec<_>, _>>()?.join(" "))
}

impl OwnPhrase {
    fn of(line: &str, place: FilePlace) -> Result<Self, String> {
        let parts: Vec<&str> = line.split('=').collect();
        let (said, means, sounds) = match parts.as_slice() {
            [said, means] => (said, means, None),
            [said, means, sounds] => (said, means, Some(sounds)),
            _ => {
                return Err(
                    "this is not `phrase = phrase of the language`; write one such phrase a line".to_owned()
                );
            }
        };
        let (said, means) = (words(said)?, words(means)?);
        let sounds = sounds.map(|sounds| sounds_of(sounds)).transpose()?.unwrap_or_default();
        if !sounds.is_empty() && sounds.len() != said.len() {
            return Err(format!(
                "{} words and {} sounds; write the sounds of each word, with a comma between words",
                said.len(),
                sounds.len()
            ));
        }
        Ok(Self { said, means, sounds, place })
    }

    /// The words whose sound a dictionary may have to tell: its own, and those that they sound like.
    pub fn to_look_up(&self) -> impl Iterator<Item = &String> {
        let like = self.sounds.iter().flat_map(|sound| match sound {
            OwnSound::Phones(_) => &[] as &[String],
            OwnSound::Like(words) => words,
        });
        self.said.iter().chain(like)
    }

    /// What is said, as a text.
    #[must_use]
    pub fn said(&self) -> String {
        self.said.join(" ")
    }

    /// What it stands for, as a text.
    #[must_use]
    pub fn means(&self) -> String {
        self.means.join(" ")
    }
}

fn words(text: &str) -> Result<Vec<String>, String> {
    let found: Vec<String> = text.split_whitespace().map(str::to_lowercase).collect();
    if found.is_empty() {
        return Err("a side of `=` is empty; write `phrase = phrase of the language`".to_owned());
    }
    let is_word = |word: &String| word.chars().all(|sign| sign.is_alphabetic() || sign == '\'');
    match found.iter().find(|word| !is_word(word)) {
        Some(word) => Err(format!("`{word}` is not a word; write words in letters, as they are said")),
        None => Ok(found),
    }
}

/// What is written of the sound of each word.
fn sounds_of(text: &str) -> Result<Vec<OwnSound>, String> {
    match text.trim().strip_prefix(LIKE) {
        Some(like) => like.split(',').map(|part| words(part).map(OwnSound::Like)).collect(),
        None => Ok(phones(text)?.into_iter().map(OwnSound::Phones).collect()),
    }
}

/// The sounds of each word, without marks of stress.
fn phones(text: &str) -> Result<Vec<String>, String> {
    let one = |word: &str| {
        let phones: Vec<&str> = word
            .split_whitespace()
            .map(|phone| phone.trim_end_matches(|sign: char| sign.is_ascii_digit()))
            .collect();
        match phones.iter().find(|phone| !PHONES.contains(*phone)) {
            Some(phone) => {
                Err(format!("`{phone}` is not a sound of ARPAbet; those are: {}", PHONES.join(" ")))
            }
            None if phones.is_empty() => {
                Err("a word has no sounds; write them, with a comma between words".to_owned())
            }
            None => Ok(phones.join(" ")),
        }
    };
    text.split(',').map(one).collect()
}

/// The grammar with the own phrases in it, each wherever the phrase it stands for is said; those in `whole` only by
/// themselves.
///
/// # Errors
/// The first line whose right side is no phrase of the language, or is one that acts on the exam itself.
pub(crate) fn added(grammar: &Grammar, own: &OwnWords, whole: &[OwnPhrase]) -> Result<Grammar, Box<Fault>> {
    let mut longer = grammar.clone();
    for phrase in &own.phrases {
        let means: Vec<&str> = phrase.means.iter().map(String::as_str).collect();
        let fault = |why: &str| own.fault(phrase.place, format!("`{}` {why}", phrase.means()));
        let (mut rule, mut tags) = (PHRASE_RULE.to_owned(), one_reading(grammar, PHRASE_RULE, &means));
        let all = tags.clone().ok_or_else(|| {
            fault("is not one phrase of the language; look it up with `zonecall phrases` or in docs/language.md")
        })?;
        if all.iter().any(|tag| ACTING.contains(&tag.as_str()) || CORRECTING.contains(&tag.as_str())) {
            return Err(fault(
                "acts on the exam itself, and such phrases have no other name; leave the line out",
            ));
        }
        // The smallest rule that says it is used wherever it is said: "core lesion in the sausage".
        let inside = !whole.contains(phrase);
        while let Some((name, found)) = inside.then(|| smaller(grammar, &rule, &means)).flatten() {
            (rule, tags) = (name, Some(found));
        }
        let mut parts = vec![GrammarNode::Tag(OWN.to_owned(), phrase.place)];
        parts.extend(phrase.said.iter().map(|word| GrammarNode::Word(word.clone(), phrase.place)));
        parts.extend(tags.unwrap_or(all).into_iter().map(|tag| GrammarNode::Tag(tag, phrase.place)));
        if let Some(known) = longer.rules.iter_mut().find(|known| known.name == rule) {
            let before = std::mem::replace(&mut known.body, GrammarNode::Sequence(Vec::new()));
            known.body = GrammarNode::Choice(vec![before, GrammarNode::Sequence(parts)]);
        }
    }
    Ok(longer)
}

/// A rule inside `rule` that says all of the words, with its tags.
fn smaller(grammar: &Grammar, rule: &str, words: &[&str]) -> Option<(String, Vec<String>)> {
    let inside = grammar.rule(rule).map(|rule| used(&rule.body)).unwrap_or_default();
    inside.into_iter().find_map(|(name, _)| {
        let tags = one_reading(grammar, &name, words)?;
        Some((name, tags))
    })
}

/// The tags of the words in a rule; none where it does not say just them, or means different things by them.
fn one_reading(grammar: &Grammar, rule: &str, words: &[&str]) -> Option<Vec<String>> {
    let readings = walked(grammar, &grammar.rule(rule)?.body, words, 0);
    let fewest = |tags: &[String]| {
        let count = |is: fn(&str) -> bool| tags.iter().filter(|tag| is(tag)).count();
        (count(|tag| tag.starts_with('!')), count(|tag| tag == "rare"))
    };
    let whole: BTreeSet<Vec<String>> =
        readings.into_iter().filter(|(to, _)| *to == words.len()).map(|(_, tags)| tags).collect();
    let least = whole.iter().map(|tags| fewest(tags)).min()?;
    let mut best = whole.into_iter().filter(|tags| fewest(tags) == least);
    match (best.next(), best.next()) {
        (Some(tags), None) => Some(tags),
        _ => None,
    }
}

/// How far each way through `node` gets from word `from` on, with the tags passed.
fn walked(
    grammar: &Grammar,
    node: &GrammarNode,
    words: &[&str],
    from: usize,
) -> BTreeSet<(usize, Vec<String>)> {
    let after =
        |node: &GrammarNode, ways: &BTreeSet<(usize, Vec<String>)>| -> BTreeSet<(usize, Vec<String>)> {
            let on = ways.iter().flat_map(|(at, tags)| {
                let more = walked(grammar, node, words, *at);
                more.into_iter().map(|(to, new)| (to, [tags.as_slice(), &new].concat()))
            });
            on.collect()
        };
    let here = BTreeSet::from([(from, Vec::new())]);
    match node {
        GrammarNode::Word(word, _) => {
            words.get(from).filter(|said| *said == word).map(|_| (from + 1, Vec::new())).into_iter().collect()
        }
        GrammarNode::Tag(tag, _) => BTreeSet::from([(from, vec![tag.clone()])]),
        GrammarNode::Rule(name, _) => {
            grammar.rule(name).map(|rule| walked(grammar, &rule.body, words, from)).unwrap_or_default()
        }
        GrammarNode::Sequence(parts) => parts.iter().fold(here, |ways, part| after(part, &ways)),
        GrammarNode::Choice(parts) => {
            parts.iter().flat_map(|part| walked(grammar, part, words, from)).collect()
        }
        GrammarNode::Optional(inner) => {
            let mut ways = walked(grammar, inner, words, from);
            ways.extend(here);
            ways
        }
        GrammarNode::Repeat(inner) => {
            let (mut ways, mut new) = (BTreeSet::new(), after(inner, &here));
            while !new.is_empty() {
                // A turn without a word would never end.
                let longer = new.iter().filter(|(to, _)| *to > from).cloned().collect();
                let next = after(inner, &longer);
                ways.append(&mut new);
                new = next.difference(&ways).cloned().collect();
            }
            ways
        }
    }
}
