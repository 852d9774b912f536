//! Words to calls.
//!
//! Takes: an `Utterance`, the exam's `Language`, and the protocols' default units.
//! Gives: `Parsed`: calls and problems; parsing never fails and never guesses.
//! Never: looks at what was said before; that is `attend` and `fold`.
//! Tested in: `tests/it/language.rs`.

use std::collections::HashMap;

use crate::clock::Span;
use crate::exam::call::{Act, Amount, Call, Command, Finding, Problem, Setting, Value, View};
use crate::language::automaton::Passed;
use crate::language::graph::Moment;
use crate::language::pack::Language;
use crate::protocol::Protocols;
use crate::speech::utterance::{Utterance, Word};

/// A note is opened or closed by a phrase of at most this many words.
const NOTE_WORDS_MAX: usize = 3;

/// What one utterance means.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Parsed {
    /// The calls in order; empty when anything in the utterance was not understood.
    pub calls: Vec<Call>,
    /// There was known talk in it.
    pub talk: bool,
    /// It ends in "correction", with the right phrase still to come.
    pub correction_waits: bool,
    /// What stood in the way.
    pub problems: Vec<Problem>,
}

/// What the words of one utterance mean.
#[must_use]
pub fn parse(utterance: &Utterance, language: &Language, protocols: &Protocols) -> Parsed {
    let words: Vec<&str> = utterance.words.iter().map(|word| word.text.as_str()).collect();
    if words.is_empty() {
        return Parsed::default();
    }
    let mut readings: Vec<Parsed> = Vec::new();
    for tags in language.exam.read(&words) {
        let parsed = calls_of(&tags, &utterance.words, protocols);
        if !readings.contains(&parsed) {
            readings.push(parsed);
        }
    }
    match readings.len() {
        1 => readings.remove(0),
        0 => note_in(utterance, language, protocols).unwrap_or_else(|| {
            trouble(
                format!("`{}` is not a whole phrase of the language", words.join(" ")),
                "say it again, in the words of the phrase card",
            )
        }),
        _ => trouble(
            format!("`{}` can mean {} different things", words.join(" "), readings.len()),
            "say it again with a pause between the parts",
        ),
    }
}

/// A text that is equal for words that mean the same, and the words themselves where they are no phrase.
///
/// Fillers and optional words do not count, nor how a number is put ("point five", "nought point five") or whether a
/// unit was said that would have been assumed. An engine tells rival meanings apart with it.
#[must_use]
pub fn meaning(words: &[&str], language: &Language, protocols: &Protocols) -> String {
    let span = Span { from: 0, to: 0 };
    let said: Vec<Word> =
        words.iter().map(|text| Word { text: (*text).to_owned(), span, confidence: 1.0 }).collect();
    let mut meanings: Vec<String> = Vec::new();
    for tags in language.exam.read(words) {
        let Parsed { calls, talk, correction_waits, problems } = calls_of(&tags, &said, protocols);
        let acts: Vec<(Act, bool)> = calls.into_iter().map(|call| (told(call.act), call.corrects)).collect();
        meanings.push(format!("{acts:?} {talk} {correction_waits} {problems:?}"));
    }
    if meanings.is_empty() { words.join(" ") } else { meanings.join(" or ") }
}

/// True when the phrase that ends the words is over: whatever could still belong to it would leave its meaning alone.
///
/// "save" is whole, though "that" may follow; "area one" is not, for "point two" may.
#[must_use]
pub fn is_whole(words: &[&str], asked: bool, language: &Language, protocols: &Protocols) -> bool {
    let now = Moment { limb: None, asked };
    let Some(continuations) = language.engine.graph.continuations(now, words) else { return false };
    let meant = meaning(words, language, protocols);
    continuations.iter().all(|rest| meaning(&[words, rest].concat(), language, protocols) == meant)
}

/// The act as if its unit had been said: one that was assumed is as good.
#[must_use]
pub fn told(act: Act) -> Act {
    match act {
        Act::Value(Value { term, amount }) => {
            Act::Value(Value { term, amount: Amount { unit_assumed: false, ..amount } })
        }
        other => other,
    }
}

/// An utterance that begins or ends a note, with free words that are no phrase.
fn note_in(utterance: &Utterance, language: &Language, protocols: &Protocols) -> Option<Parsed> {
    let words = &utterance.words;
    let edge = |part: &[Word]| {
        let texts: Vec<&str> = part.iter().map(|word| word.text.as_str()).collect();
        let tags = language.exam.read(&texts).into_iter().next()?;
        let call = calls_of(&tags, part, protocols).calls.into_iter().next()?;
        matches!(call.act, Act::Note { .. }).then_some(call)
    };
    let most = NOTE_WORDS_MAX.min(words.len());
    let opens =
        (1..=most).find_map(|n| edge(&words[..n])).filter(|call| call.act == Act::Note { open: true });
    let closes = (1..=most)
        .rev()
        .find_map(|n| edge(&words[words.len() - n..]))
        .filter(|call| call.act == Act::Note { open: false });
    let calls: Vec<Call> = opens.into_iter().chain(closes).collect();
    (!calls.is_empty()).then(|| Parsed { calls, ..Parsed::default() })
}

fn trouble(message: String, help: &str) -> Parsed {
    let problems = vec![Problem { message, help: help.to_owned() }];
    Parsed { problems, ..Parsed::default() }
}

/// The calls that a sequence of tags stands for; `words` are the utterance's words.
///
/// A tag `key=value` fills a field, `+n` and `.` build a number, and `!kind` closes a call.
/// Views that follow each other are one call, unless they name the same thing twice.
#[must_use]
pub fn calls_of(tags: &[Passed], words: &[Word], protocols: &Protocols) -> Parsed {
    let mut parsed = Parsed::default();
    let mut item = Item::default();
    let mut first_word = 0;
    let mut corrects = false;
    for (tag, said) in tags {
        let Some(kind) = tag.strip_prefix('!') else {
            item.take(tag);
            continue;
        };
        match kind {
            "talk" => parsed.talk = true,
            "correction" => {
                // The call that follows keeps the word "correction" among its words.
                corrects = true;
                parsed.correction_waits = true;
                continue;
            }
            _ => match item.close(kind, protocols) {
                Ok(act) => push(&mut parsed.calls, call(act, corrects, &words[first_word..*said])),
                Err(problem) => parsed.problems.push(problem),
            },
        }
        parsed.correction_waits = false;
        item = Item::default();
        first_word = *said;
    }
    if !parsed.problems.is_empty() {
        parsed.calls.clear();
    }
    parsed
}

fn call(act: Act, corrects: bool, words: &[Word]) -> Call {
    let text: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
    let spans = words.iter().map(|word| word.span);
    let confidence = words.iter().map(|word| word.confidence).fold(1.0, f64::min);
    let span = spans.reduce(Span::join).unwrap_or(Span { from: 0, to: 0 });
    Call { act, corrects, words: text.join(" "), span, confidence }
}

/// Adds a call, or joins it to the view before it.
fn push(calls: &mut Vec<Call>, next: Call) {
    if let Some(last) = calls.last_mut()
        && let (Act::View(before), Act::View(more)) = (&mut last.act, &next.act)
        && last.corrects == next.corrects
        && join(before, more)
    {
        last.words = format!("{} {}", last.words, next.words);
        last.span = last.span.join(next.span);
        last.confidence = last.confidence.min(next.confidence);
        return;
    }
    calls.push(next);
}

/// Joins two views that name different things; false when they name the same thing.
fn join(before: &mut View, more: &View) -> bool {
    let zone = |view: &View| view.zone.is_some() || view.level_cm.is_some();
    let clash = (before.limb.is_some() && more.limb.is_some())
        || (zone(before) && zone(more))
        || (before.plane.is_some() && more.plane.is_some())
        || (before.structure.is_some() && more.structure.is_some());
    if clash {
        return false;
    }
    let View { limb, zone, level_cm, plane, structure } = more.clone();
    before.limb = before.limb.take().or(limb);
    before.zone = before.zone.take().or(zone);
    before.level_cm = before.level_cm.or(level_cm);
    before.plane = before.plane.take().or(plane);
    before.structure = before.structure.take().or(structure);
    true
}

/// The tags of one call, until it is closed.
#[derive(Debug, Default)]
struct Item {
    fields: HashMap<String, String>,
    position: Vec<String>,
    /// Whole part, then the figures after the point.
    whole: Option<u32>,
    figures: Option<String>,
}

impl Item {
    fn take(&mut self, tag: &str) {
        if let Some(number) = tag.strip_prefix('+') {
            match &mut self.figures {
                Some(figures) => figures.push_str(number),
                None => self.whole = Some(self.whole.unwrap_or(0) + number.parse::<u32>().unwrap_or(0)),
            }
        } else if tag == "." {
            self.figures = Some(String::new());
        } else if let Some((key, value)) = tag.split_once('=') {
            if key == "position" {
                self.position.push(value.to_owned());
            } else {
                self.fields.insert(key.to_owned(), value.to_owned());
            }
        }
    }

    fn number(&self) -> Option<f64> {
        let whole = self.whole.map(|whole| whole.to_string());
        match (&whole, &self.figures) {
            (None, None) => None,
            (whole, figures) => {
                let whole = whole.as_deref().unwrap_or("0");
                // Built as text so that 1.07 is the number a person would write, to the last bit.
                format!("{whole}.{}", figures.as_deref().unwrap_or("0")).parse().ok()
            }
        }
    }

    fn field(&mut self, key: &str) -> Option<String> {
        self.fields.remove(key)
    }

    fn need(&mut self, key: &str, kind: &str) -> Result<String, Problem> {
        self.field(key).ok_or_else(|| lacking(&format!("`{key}=`"), kind))
    }

    fn close(&mut self, kind: &str, protocols: &Protocols) -> Result<Act, Problem> {
        Ok(match kind {
            "view" => Act::View(View {
                level_cm: self.field("level").and_then(|_| self.number()),
                limb: self.field("limb"),
                zone: self.field("zone"),
                plane: self.field("plane"),
                structure: self.field("structure"),
            }),
            "setting" => {
                let unit = self.field("unit");
                let amount = self.number().map(|number| Amount { number, unit, unit_assumed: false });
                Act::Setting(Setting { slot: self.need("slot", kind)?, state: self.field("state"), amount })
            }
            "finding" => Act::Finding(Finding {
                class: self.need("class", kind)?,
                term: self.need("term", kind)?,
                degree: self.field("degree"),
                position: std::mem::take(&mut self.position),
                unconfirmed: self.field("confirm").is_some(),
            }),
            "value" => Act::Value(self.value(protocols)?),
            "save" => Act::Save,
            "note" => Act::Note { open: self.need("note", kind)? == "open" },
            "question" => Act::Question { ask: self.need("ask", kind)? },
            "answer" => Act::Answer { answer: self.need("answer", kind)? },
            "command" => Act::Command(self.command()?),
            other => return Err(lacking("a meaning for the program", other)),
        })
    }

    fn value(&mut self, protocols: &Protocols) -> Result<Value, Problem> {
        let term = self.need("term", "value")?;
        let number = self.number().ok_or_else(|| lacking("a number", &term))?;
        let said = self.field("unit");
        let default = protocols.value(&term).and_then(|kind| kind.unit.clone());
        let unit_assumed = said.is_none() && default.is_some();
        Ok(Value { term, amount: Amount { number, unit: said.or(default), unit_assumed } })
    }

    fn command(&mut self) -> Result<Command, Problem> {
        let name = self.need("command", "command")?;
        Ok(match name.as_str() {
            "take_back" => {
                let count = self.need("count", &name)?.parse().ok().filter(|count| *count > 0);
                Command::TakeBack { count: count.ok_or_else(|| lacking("`count=` with a number", &name))? }
            }
            "clock_mark" => Command::ClockMark,
            "stop_listening" => Command::StopListening,
            "start_listening" => Command::StartListening,
            "start_of_exam" => Command::StartOfExam,
            "end_of_exam" => Command::EndOfExam,
            other => return Err(lacking("a meaning for the program", other)),
        })
    }
}

/// The grammar file closes a call that lacks a tag.
fn lacking(what: &str, kind: &str) -> Problem {
    Problem {
        message: format!("the grammar's tag for `{kind}` lacks {what}"),
        help: "see grammars/README.md and mend exam.gram".to_owned(),
    }
}
