//! Asks back instead of acting on what may be wrong.
//!
//! Takes: an utterance with its likeliest readings, what is current, what was set for the exam, and the protocols.
//! Gives: a `SpokenQuestion` where one is due, and what an answer to it means.
//! Never: I/O; the words asked are the words heard, so they need no language of their own.
//! Tested in: `tests/it/ask.rs`.

use crate::exam::event::Header;

use crate::exam::call::{Act, Amount, Call, Command, FindingSaid, Problem, View, ViewStep};
use crate::exam::context::Context;
use crate::exam::parse::Parsed;
use crate::knowledge::step::Step;
use crate::language::closed_sets::AnswerWord;
use crate::protocol::Protocols;
use crate::protocol::rules::Weight;
use crate::session::exam_summary::counted;
use crate::speech::utterance::{Utterance, Word};

/// An answer must begin within this many seconds; then the question stays open for the reviewer.
pub const ANSWER_WAIT_S: u64 = 10;
/// A second reading that is behind by less may be what was said: natural logarithm of the odds, twenty to one. Our own
/// choice.
const RIVAL_NEAR: f64 = 3.0;
/// Opposites that sound alike are distinguished by so many of their first letters.
const SPELLED: usize = 4;
/// The rule about zones out of order; a practice that switches it off is not asked either.
const JUMP_RULE: &str = "zone-order-jump";

/// Something that the program asks.
#[derive(Debug, Clone, PartialEq)]
pub struct SpokenQuestion {
    /// Why it does not just act.
    pub doubt: Doubt,
    /// One reading to say yes to, or two to choose from.
    pub offers: Vec<Offer>,
}

/// A reading of the utterance.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// Its words.
    pub words: String,
    /// What it would do.
    pub calls: Vec<Call>,
}

/// Why something is asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Doubt {
    /// The engine is not sure of the words.
    Unsure,
    /// There is a word of the opposite meaning that sounds nearly the same.
    Opposite,
    /// A zone was called that is far from the current one.
    Jump {
        /// The current zone.
        from: String,
    },
    /// Another limb was called, and its word is not trusted enough.
    Limb {
        /// The name of the limb that was heard.
        name: String,
    },
    /// The side was named by the other pair of words than before.
    Sides {
        /// The name of the limb that was heard.
        name: String,
    },
    /// A number is far from what is usual.
    Odd {
        /// What is odd about it.
        message: String,
    },
    /// A correction that may be meant for now, or for what was said long before.
    Reach {
        /// What is right, in words.
        right: String,
        /// How far the correction would reach back, in words.
        back: String,
        /// What was said just before it was not acted on, and may be what is corrected.
        unheard: bool,
    },
    /// The name of the horse was spelled.
    Name {
        /// The name.
        name: String,
        /// How it is read back.
        aloud: String,
    },
    /// A horse of the list of the day was named by its number.
    Listed {
        /// How it is read back.
        aloud: String,
    },
    /// The exam was ended while views are missing.
    Unfinished {
        /// How many.
        missing: usize,
    },
}

/// What an utterance means while a question waits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum AnswerMeaning {
    /// The reading with this number was meant.
    Take(usize),
    /// None of them was meant.
    Nothing,
    /// The call was said again: it speaks for itself.
    Again,
    /// What was said last is taken back, and that is what is asked about.
    TakenBack,
    /// An answer, but to another question: ask once more.
    Unfit,
    /// No answer at all.
    Other,
}

/// Where an utterance is heard.
#[derive(Debug, Clone, Copy)]
pub struct AskContext<'a> {
    /// What is current.
    pub context: &'a Context,
    /// What was set for the exam.
    pub header: &'a Header,
    /// The protocols.
    pub protocols: &'a Protocols,
    /// The pair of words that named the sides so far, by its place among those of the practice.
    pub sides: Option<usize>,
}

/// The pair of words by which a call names the side, by its place among those of the practice.
#[must_use]
pub fn sides_of(words: &str, protocols: &Protocols) -> Option<usize> {
    let spoken = |word: &String| words.split_whitespace().any(|one| one == word);
    protocols.rules.habits.sides.iter().position(|pair| pair.iter().any(spoken))
}

/// The question that an utterance gives rise to, if any; `rival` is its second reading.
#[must_use]
pub fn question(
    utterance: &Utterance,
    parsed: &Parsed,
    rival: Option<&Parsed>,
    now: AskContext<'_>,
) -> Option<SpokenQuestion> {
    if utterance.rejected || !holds_calls(parsed) {
        return None;
    }
    let mut offers = vec![Offer { words: utterance.text(), calls: parsed.calls.clone() }];
    let doubt = if utterance.unsure {
        if let (Some(other), Some(meant)) =
            (utterance.rivals.first(), rival.filter(|rival| holds_calls(rival)))
        {
            offers.push(Offer { words: other.words.clone(), calls: meant.calls.clone() });
        }
        Doubt::Unsure
    } else {
        parsed
            .calls
            .iter()
            .find_map(|call| limb_doubt(call, utterance, now).or_else(|| doubt(&call.act, now)))?
    };
    offers.iter_mut().flat_map(|offer| &mut offer.calls).for_each(confirm);
    Some(SpokenQuestion { doubt, offers })
}

/// The question about calls that were heard together with the program's own voice.
#[must_use]
pub fn mixed(utterance: &Utterance, parsed: &Parsed) -> Option<SpokenQuestion> {
    let mut calls = parsed.calls.clone();
    calls.iter_mut().for_each(confirm);
    let offers = vec![Offer { words: utterance.text(), calls }];
    holds_calls(parsed).then_some(SpokenQuestion { doubt: Doubt::Unsure, offers })
}

/// The question that an end of the exam gives rise to while views are missing; these are counted only for an end.
#[must_use]
pub fn end_anyway(
    utterance: &Utterance,
    parsed: &Parsed,
    missing: impl FnOnce() -> usize,
) -> Option<SpokenQuestion> {
    let is_sure = !utterance.rejected && !utterance.unsure && holds_calls(parsed);
    if !is_sure || !parsed.calls.iter().any(ends) {
        return None;
    }
    let missing = missing();
    if missing == 0 {
        return None;
    }
    let offers = vec![Offer { words: utterance.text(), calls: parsed.calls.clone() }];
    Some(SpokenQuestion { doubt: Doubt::Unfinished { missing }, offers })
}

/// An answer and nothing else.
fn is_answer(parsed: &Parsed) -> bool {
    parsed.problems.is_empty() && matches!(parsed.calls.as_slice(), [Call { act: Act::Answer { .. }, .. }])
}

/// Whether the second reading is a call of its own, and near.
fn may_be_another(utterance: &Utterance, parsed: &Parsed, rival: Option<&Parsed>) -> bool {
    let acts = |parsed: &Parsed| parsed.calls.iter().map(|call| call.act.clone()).collect::<Vec<_>>();
    let is_near = utterance.rivals.first().is_some_and(|rival| rival.behind < RIVAL_NEAR);
    let is_call = |rival: &&Parsed| rival.problems.is_empty() && !rival.calls.is_empty();
    is_near && rival.filter(is_call).is_some_and(|rival| acts(rival) != acts(parsed))
}

/// Only "disregard", or the like: the last phrases are taken back.
fn takes_back(calls: &[Call]) -> bool {
    matches!(calls, [Call { act: Act::Command(Command::TakeBack { .. }), corrects: false, .. }])
}

fn ends(call: &Call) -> bool {
    call.act == Act::Command(Command::EndOfExam)
}

/// Calls that can be held back: notes and answers are not, for words follow them or nobody waits for them.
fn holds_calls(parsed: &Parsed) -> bool {
    let held = |call: &Call| !matches!(call.act, Act::Note { .. } | Act::Answer { .. });
    !parsed.calls.is_empty() && parsed.problems.is_empty() && parsed.calls.iter().all(held)
}

fn confirm(call: &mut Call) {
    if let Act::Finding(finding) = &mut call.act {
        finding.unconfirmed = false;
    }
}

/// Why one act is not simply believed.
fn doubt(act: &Act, now: AskContext<'_>) -> Option<Doubt> {
    match act {
        Act::Finding(FindingSaid { unconfirmed: true, .. }) => Some(Doubt::Opposite),
        Act::View(view) => jump(view, now),
        Act::Value(value) => {
            let kind = now.protocols.value(&value.term)?;
            if value.said.by.is_some() {
                return None;
            }
            let Amount { number, unit, unit_assumed } = &value.amount;
            let scale = value.said.scale.as_ref().or_else(|| now.header.scales.get(&value.term));
            if let Some(odd) = kind.odd_on(scale.map(String::as_str), *number, unit.as_deref()) {
                return Some(Doubt::Odd { message: odd.to_string() });
            }
            let unit = unit.as_deref().filter(|_| *unit_assumed)?;
            let other = kind.other_unit(*number, unit)?;
            Some(Doubt::Odd { message: format!("{} in {unit} or in {other}?", value.term) })
        }
        _ => None,
    }
}

/// The wrong limb is the worst error there is: another limb counts at once only if its words are trusted, and if the side
/// is named by the same pair of words as before.
fn limb_doubt(call: &Call, utterance: &Utterance, now: AskContext<'_>) -> Option<Doubt> {
    let AskContext { context, protocols, sides, .. } = now;
    let Act::View(view) = &call.act else { return None };
    let before = context.place.limb.as_ref();
    let is_other = view.step == Some(ViewStep::OtherLimb);
    let other = before.filter(|_| is_other).and_then(|limb| protocols.other_limb(limb, view.pair.as_deref()));
    let limb = view.limb.as_ref().or(other.map(|limb| &limb.code))?;
    let name = || protocols.limb_name(limb).to_owned();
    if let (Some(before), Some(heard)) = (sides, sides_of(&call.words, protocols))
        && before != heard
    {
        return Some(Doubt::Sides { name: name() });
    }
    let changes = before.is_some_and(|before| before != limb);
    let named = limb_trust(utterance, protocols).filter(|_| !is_other);
    let trust = named.unwrap_or(call.confidence);
    (changes && trust < protocols.rules.habits.limb_trust).then(|| Doubt::Limb { name: name() })
}

/// How sure the ear is of the words for a side and of the word after each, which names the pair; none where no side was said.
fn limb_trust(utterance: &Utterance, protocols: &Protocols) -> Option<f64> {
    let is_side = |word: &Word| sides_of(&word.text, protocols).is_some();
    let words = &utterance.words;
    let named = (0..words.len()).filter(|idx| is_side(&words[*idx]) || *idx > 0 && is_side(&words[*idx - 1]));
    named.map(|idx| words[idx].confidence).reduce(f64::min)
}

/// A zone on the current limb, further away than a practice passes over; a limb said with it makes it deliberate.
fn jump(view: &View, now: AskContext<'_>) -> Option<Doubt> {
    let AskContext { context, header, protocols, .. } = now;
    let off = protocols.rules.rule(JUMP_RULE).is_none_or(|rule| rule.severity == Weight::Off);
    if off || view.names_limb() {
        return None;
    }
    let limb = context.place.limb.as_deref()?;
    let (from, to) = (context.place.zone.as_deref()?, view.zone.as_deref()?);
    let step = Step::between(limb, from, to, &header.schemes, protocols)?;
    let far = step.zones() > protocols.rules.habits.jump_asked && !step.begins_anew();
    far.then(|| Doubt::Jump { from: from.to_owned() })
}

impl SpokenQuestion {
    /// What is said aloud.
    #[must_use]
    pub fn aloud(&self) -> String {
        if let Doubt::Reach { right, back, .. } = &self.doubt {
            return format!("{right} now, or {back}?");
        }
        if let Doubt::Name { aloud, .. } | Doubt::Listed { aloud } = &self.doubt {
            return aloud.clone();
        }
        match self.offers.as_slice() {
            [one, other, ..] => format!("{}, or {}?", one.words, other.words),
            [one] if self.doubt == Doubt::Opposite => format!("{}? {}", one.words, spelled(one)),
            [one] => match &self.doubt {
                Doubt::Sides { name } => format!("{}? {name}?", one.words),
                Doubt::Limb { name } => format!("{name}?"),
                Doubt::Unfinished { missing } => {
                    format!("{} missing, end anyway?", counted(*missing, "view"))
                }
                _ => format!("{}?", one.words),
            },
            [] => String::new(),
        }
    }

    /// How it can be answered, for the eye.
    #[must_use]
    pub fn answers(&self) -> &'static str {
        if self.counts_by_itself() {
            return "yes, no, or go on; without an answer it ends";
        }
        if self.offers.len() > 1 { "first, second, no, or say it again" } else { "yes, no, or say it again" }
    }

    /// What the journal holds with the utterance.
    #[must_use]
    pub fn problem(&self) -> Problem {
        let words: Vec<String> = self.offers.iter().map(|offer| format!("`{}`", offer.words)).collect();
        let words = words.join(" or ");
        let message = match &self.doubt {
            Doubt::Unsure => format!("read back: {words}"),
            Doubt::Opposite => format!("read back: {words}, because its opposite sounds nearly the same"),
            Doubt::Jump { from } => format!("read back: {words}, which is far from zone {from}"),
            Doubt::Limb { name } => format!("read back: {words}; it changes the limb to {name}"),
            Doubt::Sides { name } => {
                format!("read back: {words}; other words were used for the sides before, and this is {name}")
            }
            Doubt::Odd { message } => format!("read back: {words}; {message}"),
            Doubt::Name { name, .. } => format!("read back: the horse may be `{name}`, as it was spelled"),
            Doubt::Listed { aloud } => format!("read back: {words}; {aloud}"),
            Doubt::Reach { back, .. } => {
                let words = self.offers.first().map_or("", |offer| &offer.words);
                format!("read back: `{words}`; it may be meant for now, or {back}")
            }
            Doubt::Unfinished { missing } => {
                let missing = counted(*missing, "view");
                format!("read back: {words}, with {missing} missing")
            }
        };
        Problem { message, help: "listen to it; if it was a call, add it by hand".to_owned() }
    }

    /// What an utterance means as an answer to this question; `rival` is its second reading, where the engine is unsure.
    ///
    /// An answer is what is waited for: that the engine is unsure of it counts only where it may be another call.
    #[must_use]
    pub fn answered(&self, utterance: &Utterance, parsed: &Parsed, rival: Option<&Parsed>) -> AnswerMeaning {
        let is_unsure = utterance.unsure && (!is_answer(parsed) || may_be_another(utterance, parsed, rival));
        if utterance.rejected || is_unsure {
            return AnswerMeaning::Other;
        }
        let acts = |calls: &[Call]| {
            let mut calls = calls.to_vec();
            calls.iter_mut().for_each(confirm);
            calls.into_iter().map(|call| call.act).collect::<Vec<_>>()
        };
        match parsed.calls.as_slice() {
            [Call { act: Act::Answer { answer }, .. }] => self.chosen(*answer),
            [] => AnswerMeaning::Other,
            calls => match self.offers.iter().position(|offer| acts(&offer.calls) == acts(calls)) {
                // Who says such a thing twice means it.
                Some(offer)
                    if takes_back(calls)
                        || matches!(
                            self.doubt,
                            Doubt::Jump { .. }
                                | Doubt::Odd { .. }
                                | Doubt::Name { .. }
                                | Doubt::Listed { .. }
                                | Doubt::Unfinished { .. }
                        ) =>
                {
                    AnswerMeaning::Take(offer)
                }
                Some(_) => AnswerMeaning::Again,
                None if takes_back(calls) => AnswerMeaning::TakenBack,
                None => AnswerMeaning::Other,
            },
        }
    }

    /// Not even a recording, where nobody answers, may be acted on: a correction that may be meant for what was not understood
    /// just before it, or one that would move all that was said of one limb to another, as "no, the right fore" heard for
    /// "now the right fore" would.
    #[must_use]
    pub fn is_left_open(&self) -> bool {
        let Doubt::Reach { unheard, .. } = self.doubt else { return false };
        let mut calls = self.offers.iter().flat_map(|offer| &offer.calls);
        unheard || calls.any(|call| matches!(&call.act, Act::View(view) if view.limb.is_some()))
    }

    /// What was heard is sure, and counts where nobody answers: the person may have gone.
    #[must_use]
    pub fn counts_by_itself(&self) -> bool {
        matches!(self.doubt, Doubt::Unfinished { .. })
    }

    /// What was not asked about, and counts even after a no: a save said together with the end of the exam.
    #[must_use]
    pub fn kept_after_no(&self) -> Vec<Call> {
        let calls = self.offers.iter().filter(|_| self.counts_by_itself()).flat_map(|offer| &offer.calls);
        calls.filter(|call| !ends(call)).cloned().collect()
    }

    /// What `yes`, `no`, `first` or `second` means here.
    #[must_use]
    pub fn chosen(&self, answer: AnswerWord) -> AnswerMeaning {
        match (answer, self.offers.len()) {
            (AnswerWord::No, _) => AnswerMeaning::Nothing,
            (AnswerWord::Yes, 1) | (AnswerWord::First, _) => AnswerMeaning::Take(0),
            (AnswerWord::Second, 2) => AnswerMeaning::Take(1),
            _ => AnswerMeaning::Unfit,
        }
    }
}

/// The first letters of each word in doubt, one by one: "H Y P O" and "H Y P E" cannot be taken for each other.
fn spelled(offer: &Offer) -> String {
    let terms = offer.calls.iter().filter_map(|call| match &call.act {
        Act::Finding(finding) => Some(finding.term.as_str()),
        _ => None,
    });
    let letters = terms.flat_map(|term| term.chars().take(SPELLED));
    letters.map(|letter| letter.to_uppercase().to_string()).collect::<Vec<_>>().join(" ")
}
