//! Which horse it is, by its number on the list of the day or by its name, spelled.
//!
//! Takes: what was said of the horse, the list of the day, and the horses that are known already.
//! Gives: the question whether the name is right; the line that names the horse.
//! Never: names a horse that nobody confirmed, or takes less of the list than the command line does.
//! Tested in: `tests/it/horse_name.rs`.

use crate::clock::Sample;
use crate::exam::call::{Act, Call};
use crate::exam::event::{Event, Horse, NamedHorse, Order};
use crate::exam::parse::Parsed;
use crate::exam::spelled::joined;
use crate::language::closed_sets::HorseFact;
use crate::session::ask::{Doubt, Offer, SpokenQuestion};
use crate::session::dialogue_options::Listener;
use crate::session::dialogue_state::{Dialogue, Written};
use crate::session::listed_horse::ListedHorse;
use crate::session::notice::Notice;
use crate::session::tone::Tone;
use crate::speech::utterance::Utterance;

/// Who named a horse, where nobody said who speaks.
const VOICE: &str = "voice";
/// A name of so many letters may differ from a known one in a single sign, and be meant for it.
const NEAR_MIN: usize = 4;

impl Dialogue {
    /// From now on one of these horses can be named by its number.
    pub fn set_day_list(&mut self, horses: Vec<ListedHorse>) {
        self.day_list = horses;
    }

    /// From now on these horses are known from earlier exams.
    pub fn set_known_horses(&mut self, horses: Vec<Horse>) {
        self.known_horses = horses;
    }

    /// The question whether a spelled name is right: it is read back as a name.
    ///
    /// A name on the list of the day, or of an earlier exam, stands for that horse. Of two horses that have it a person
    /// chooses; more are told apart by their number. A name that differs from a known one in a sign may be meant for it.
    pub(super) fn name_question(&self, utterance: &Utterance, parsed: &Parsed) -> Option<SpokenQuestion> {
        let [call] = parsed.calls.as_slice() else { return None };
        let name = self.spelled_name(&call.act)?;
        if utterance.rejected || self.options.listener == Listener::Nobody {
            return None;
        }
        let new =
            |aloud: String| (aloud, Offer { words: call.words.clone(), calls: vec![with(call, &name)] });
        let is_same = |known: &str| plain(known) == plain(&name);
        let (listed, earlier) = (self.listed(call, &is_same), self.earlier(call, &is_same));
        let offers = match (listed.len(), earlier.len()) {
            (1 | 2, _) => listed,
            // A name alone may be that of another horse.
            (0, 1) => earlier.into_iter().chain([new(format!("another {name}"))]).collect(),
            (0, 2) => earlier,
            (0, 0) => {
                let is_near = |known: &str| is_near(known, &name);
                let near = [self.listed(call, &is_near), self.earlier(call, &is_near)].concat();
                std::iter::once(new(name.clone())).chain(near.into_iter().take(1)).collect()
            }
            _ => vec![new(name.clone())],
        };
        let (names, offers): (Vec<String>, Vec<Offer>) = offers.into_iter().unzip();
        let before = self.log.exam().header.horse.name.as_deref().filter(|before| !is_same(before));
        let aloud = asked(&names.join(", or "), before);
        Some(SpokenQuestion { doubt: Doubt::Name { name, aloud }, offers })
    }

    /// The question whether a horse of the list is meant: a number is easily misheard, and all that the list says of that
    /// horse comes with it.
    pub(super) fn number_question(&self, utterance: &Utterance, parsed: &Parsed) -> Option<SpokenQuestion> {
        let [call] = parsed.calls.as_slice() else { return None };
        if utterance.rejected || self.options.listener == Listener::Nobody {
            return None;
        }
        let listed = self.listed_as(&call.act)?;
        let header = &self.log.exam().header;
        if header.horse == listed.horse && header.order == listed.order {
            return None;
        }
        let before = header.horse.name.as_deref().or(header.horse.id.as_deref());
        let aloud = asked(&in_words(listed), before);
        let offer = Offer { words: call.words.clone(), calls: vec![call.clone()] };
        Some(SpokenQuestion { doubt: Doubt::Listed { aloud }, offers: vec![offer] })
    }

    /// The horse of the list whose number a call says.
    fn listed_as(&self, act: &Act) -> Option<&ListedHorse> {
        let Act::Identity { what, value } = act else { return None };
        self.day_list.iter().find(|listed| *what == HorseFact::Number && listed.number == *value)
    }

    /// The name that a call spells, or goes on with.
    fn spelled_name(&self, act: &Act) -> Option<String> {
        match act {
            Act::Identity { what: HorseFact::Name, value } => Some(value.clone()),
            Act::Identity { what: HorseFact::MoreOfName, value } => {
                Some(joined(self.spelled.as_ref()?, value))
            }
            _ => None,
        }
    }

    /// The horses of the list whose name fits, each as it is read back and as what a yes does.
    fn listed(&self, call: &Call, fits: &dyn Fn(&str) -> bool) -> Vec<(String, Offer)> {
        let offer = |listed: &ListedHorse| {
            listed.horse.name.as_deref().filter(|name| fits(name))?;
            let calls = vec![said_of(call, HorseFact::Number, &listed.number)];
            Some((in_words(listed), Offer { words: call.words.clone(), calls }))
        };
        self.day_list.iter().filter_map(offer).collect()
    }

    /// The same of the horses that are known from earlier exams by a number of the practice.
    fn earlier(&self, call: &Call, fits: &dyn Fn(&str) -> bool) -> Vec<(String, Offer)> {
        let offer = |horse: &Horse| {
            let name = horse.name.as_deref().filter(|name| fits(name))?;
            let id = horse.id.as_deref()?;
            let calls = vec![with(call, name), said_of(call, HorseFact::Id, id)];
            Some((format!("{name}, number {id}"), Offer { words: call.words.clone(), calls }))
        };
        self.known_horses.iter().filter_map(offer).collect()
    }

    /// A horse is named by its number on the list of the day or by its name, once what was read back was confirmed.
    pub(super) fn name_horse(&mut self, written: &Written, now: Sample) {
        let said = |wanted: HorseFact| {
            written.calls.iter().find_map(|call| match &call.act {
                Act::Identity { what, value } if *what == wanted => Some(value.clone()),
                _ => None,
            })
        };
        let (number, name) = (said(HorseFact::Number), said(HorseFact::Name));
        if let Some(number) = number.filter(|_| !self.day_list.is_empty()) {
            self.name_by_number(&number, now);
        } else if let Some(name) = name.filter(|_| self.options.listener == Listener::Person) {
            self.name_by_name(name, said(HorseFact::Id), now);
        } else if said(HorseFact::MoreOfName).is_some() {
            self.sound(Tone::Alarm);
            self.report(Notice::Incomplete, "no name was started: spell it from the first letter");
        }
    }

    fn name_by_number(&mut self, number: &str, now: Sample) {
        let Some(listed) = self.day_list.iter().find(|listed| listed.number == number).cloned() else {
            self.sound(Tone::Alarm);
            self.say(&format!("no horse {number} on the list"), now);
            return self.report(Notice::Incomplete, &format!("the list of the day has no horse {number}"));
        };
        let name = listed.name();
        // The order is as the list has it: that of the horse before would file the results under the wrong one.
        let loses_order = listed.order.is_none() && self.log.exam().header.order.is_some();
        let other = loses_order || self.is_other(&listed.horse);
        self.name_as(listed.horse, listed.order, other, now);
        self.say(&name, now);
        self.report(Notice::Answer, &format!("horse {number} of the list: {name}"));
    }

    fn name_by_name(&mut self, name: String, id: Option<String>, now: Sample) {
        let is_known = |horse: &&Horse| id.is_some() && horse.id == id;
        let known = self.known_horses.iter().find(is_known).cloned();
        let horse = known.unwrap_or_else(|| Horse { name: Some(name.clone()), ..Horse::default() });
        let number = id.map(|id| format!(", number {id}")).unwrap_or_default();
        let other = self.is_other(&horse);
        self.name_as(horse, None, other, now);
        self.report(Notice::Answer, &format!("the horse is {name}{number}"));
    }

    /// Whether this is not the horse that the exam has been of.
    fn is_other(&self, horse: &Horse) -> bool {
        let before = &self.log.exam().header.horse;
        let is_named = before.name.is_some() || before.id.is_some();
        let same_name = match (&before.name, &horse.name) {
            (Some(before), Some(name)) => plain(before) == plain(name),
            _ => false,
        };
        // A name that is given to a horse known by its number alone is that horse's.
        let may_be_other = before.is_same(horse).map_or(horse.name.is_none(), |is_same| !is_same);
        is_named && may_be_other && !(same_name && horse.id.is_none())
    }

    /// What was known of the horse before does not stay with an `other` one.
    fn name_as(&mut self, horse: Horse, order: Option<Order>, other: bool, now: Sample) {
        let by = self.log.exam().header.person.clone().unwrap_or_else(|| VOICE.to_owned());
        self.spelled = None;
        self.note(now, Event::Named(NamedHorse { by, horse, order, other }));
    }
}

/// The question, naming the horse that the exam has been of.
fn asked(names: &str, before: Option<&str>) -> String {
    let instead = before.map(|before| format!(" instead of {before}")).unwrap_or_default();
    format!("{names}{instead}?")
}

/// A horse of the list, as it is read back.
fn in_words(listed: &ListedHorse) -> String {
    match &listed.horse.name {
        Some(name) => format!("{name}, horse {}", listed.number),
        None => listed.name(),
    }
}

/// The call, saying the name.
fn with(call: &Call, name: &str) -> Call {
    said_of(call, HorseFact::Name, name)
}

fn said_of(call: &Call, what: HorseFact, value: &str) -> Call {
    Call { act: Act::Identity { what, value: value.to_owned() }, ..call.clone() }
}

/// Small letters, single spaces.
fn plain(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase()
}

/// Whether two names differ in one sign: another one, one more or one less.
fn is_near(one: &str, other: &str) -> bool {
    let (one, other) = (plain(one), plain(other));
    let (one, other): (Vec<char>, Vec<char>) = (one.chars().collect(), other.chars().collect());
    if one.len().min(other.len()) < NEAR_MIN || one == other {
        return false;
    }
    let alike = one.iter().zip(&other).take_while(|(a, b)| a == b).count();
    let rest = |name: &[char]| name[alike..].to_vec();
    let (one, other) = (rest(&one), rest(&other));
    let ends = one.iter().rev().zip(other.iter().rev()).take_while(|(a, b)| a == b).count();
    one.len() - ends <= 1 && other.len() - ends <= 1
}
