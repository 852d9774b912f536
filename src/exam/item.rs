//! The tags of one phrase, gathered until it is closed.
//!
//! Takes: tags in the order they were passed.
//! Gives: the act that they stand for, or what the grammar lacks.
//! Never: words, or what surrounds the phrase; that is `parse` and `bind`.
//! Tested in: `tests/it/language.rs`.

use std::collections::HashMap;

use crate::code::StructureCode;
use crate::exam::call::{
    Act, Amount, Certainty, Command, FindingSaid, Problem, Setting, Value, ValueSaid, View, ViewStep,
};
use crate::exam::comparator::Comparator;
use crate::exam::phrase::{Hint, Joint, Way};
use crate::exam::shown::is_adjective;
use crate::exam::spelled::{kept, spelled};
use crate::language::closed_sets::{AnswerWord, Ask, Class, CommandName, HorseFact};
use crate::protocol::{NumberSaid, Protocols, convert};

/// The tags of one phrase.
#[derive(Debug, Default)]
pub(crate) struct Item {
    fields: HashMap<String, String>,
    /// What may be said more than once in a phrase, in order.
    lists: HashMap<String, Vec<String>>,
    numbers: Vec<Number>,
    /// The doubt was said after what it is of; what comes then may be all that is doubted.
    doubted: bool,
    /// Two degrees, or a degree or a position of which only that may be doubted.
    mixed: bool,
    /// Dark and bright at once.
    clashes: bool,
}

/// A number as it is said.
#[derive(Debug, Clone, Default)]
struct Number {
    /// What joins it to the number before it: `to` or `by`.
    then: Option<String>,
    whole: Option<u32>,
    /// The figures after the point.
    figures: Option<String>,
    unit: Option<String>,
}

/// Keys that may occur more than once in a phrase.
const LISTED: [&str; 8] =
    ["position", "attribute", "against_limb", "zone", "structure", "place", "digit", "letter"];

impl Item {
    pub(crate) fn take(&mut self, tag: &str) {
        if let Some(number) = tag.strip_prefix('+') {
            let last = self.number_now();
            match &mut last.figures {
                Some(figures) => figures.push_str(number),
                None => last.whole = Some(last.whole.unwrap_or(0) + number.parse::<u32>().unwrap_or(0)),
            }
        } else if tag == "." {
            self.number_now().figures = Some(String::new());
        } else if let Some((key, value)) = tag.split_once('=') {
            if key == "then" {
                self.numbers.push(Number { then: Some(value.to_owned()), ..Number::default() });
            } else if key == "unit" {
                self.number_now().unit = Some(value.to_owned());
            } else if LISTED.contains(&key) {
                self.mixed |= key == "position" && self.doubted;
                self.lists.entry(key.to_owned()).or_default().push(value.to_owned());
            } else {
                let is_degree = key == "degree";
                self.doubted |= key == "certainty" && self.fields.contains_key("term");
                self.mixed |= is_degree && self.fields.get(key).is_some_and(|other| other != value);
                self.mixed |= is_degree && self.doubted;
                self.clashes |= key == "shade" && self.fields.get(key).is_some_and(|other| other != value);
                self.fields.insert(key.to_owned(), value.to_owned());
            }
        }
    }

    fn number_now(&mut self) -> &mut Number {
        if self.numbers.is_empty() {
            self.numbers.push(Number::default());
        }
        let last = self.numbers.len() - 1;
        &mut self.numbers[last]
    }

    pub(crate) fn number(&self) -> Option<f64> {
        self.numbers.first().and_then(Number::value)
    }

    /// The number joined to the first by `then`.
    fn second(&self, then: &str) -> Option<f64> {
        self.numbers.iter().find(|number| number.then.as_deref() == Some(then)).and_then(Number::value)
    }

    /// The unit that was said, of the last number where there are several.
    pub(crate) fn unit(&self) -> Option<String> {
        self.numbers.iter().rev().find_map(|number| number.unit.clone())
    }

    /// Two distances at right angles.
    fn pair(&self) -> Option<(&Number, &Number)> {
        let second = self.numbers.iter().find(|number| number.then.as_deref() == Some("by"))?;
        Some((self.numbers.first()?, second))
    }

    fn field(&mut self, key: &str) -> Option<String> {
        self.fields.remove(key)
    }

    fn list(&mut self, key: &str) -> Vec<String> {
        self.lists.remove(key).unwrap_or_default()
    }

    fn code<C: From<String>>(&mut self, key: &str) -> Option<C> {
        self.field(key).map(C::from)
    }

    fn codes<C: From<String>>(&mut self, key: &str) -> impl Iterator<Item = C> + use<C> {
        self.list(key).into_iter().map(C::from)
    }

    fn need(&mut self, key: &str, kind: &str) -> Result<String, Problem> {
        self.field(key).ok_or_else(|| lacking(&format!("`{key}=`"), kind))
    }

    /// The words on the way to the place or the structure of the phrase.
    pub(crate) fn way(&self) -> Way {
        match self.fields.get("own").map(String::as_str) {
            Some("yes") => Way::Within,
            Some(_) => Way::Onward,
            None => Way::Bare,
        }
    }

    /// What it only makes sense after: a finding of this class, or any `phrase`.
    pub(crate) fn after(&self) -> Option<&str> {
        self.fields.get("after").map(String::as_str)
    }

    /// Of several structures named before it, it is said of each.
    pub(crate) fn is_of_each(&self) -> bool {
        self.fields.contains_key("of_each")
    }

    /// Just after this it would be said of it: `structure`, `finding`, or `seen` for a finding or a number.
    pub(crate) fn never_after(&self) -> Option<&str> {
        self.fields.get("never_after").map(String::as_str)
    }

    /// What it may mean beside others: "linear" before a lesion, "eleven" after a thickness.
    pub(crate) fn hint(&self) -> Hint {
        match (self.fields.contains_key("never_before"), self.fields.contains_key("named")) {
            (true, _) => Hint::Describes,
            (_, true) => Hint::Unnamed,
            _ => Hint::Plain,
        }
    }

    /// The words before it go only with this kind of phrase.
    pub(crate) fn only(&self) -> Option<&str> {
        self.fields.get("only").map(String::as_str)
    }

    /// It is too short to be taken by itself.
    pub(crate) fn needs_more(&self) -> bool {
        self.fields.contains_key("bare")
    }

    /// It is also said to people who stand by: alone in an utterance it is asked about.
    pub(crate) fn is_never_alone(&self) -> bool {
        self.fields.contains_key("alone")
    }

    /// After the last phrase of an utterance: what was found before is said of it, too.
    pub(crate) fn says_also(&self) -> bool {
        self.fields.contains_key("also")
    }

    /// A size without a name: of the structure, or of a lesion that was just said.
    pub(crate) fn is_size_of_either(&self) -> bool {
        self.fields.get("of").is_some_and(|of| of == "either")
    }

    /// Words that correct what follows them; at the end of an utterance they may correct what is before them.
    pub(crate) fn is_never_last(&self) -> bool {
        self.fields.contains_key("last")
    }

    /// What joins it to the phrase before it.
    pub(crate) fn joined(&self) -> Option<Joint> {
        match self.fields.get("joined")?.as_str() {
            "and" => Some(Joint::And),
            "or" => Some(Joint::Or),
            "but" => Some(Joint::But),
            _ => Some(Joint::With),
        }
    }

    /// Of a phrase that could be taken for what it does not mean: how to say it instead.
    pub(crate) fn say_instead(&self) -> Option<&str> {
        self.fields.get("say").map(String::as_str)
    }

    /// The acts that the phrase stands for when it is closed: one, or one for each structure named together.
    pub(crate) fn close(&mut self, kind: &str, protocols: &Protocols) -> Result<Vec<Act>, Problem> {
        Ok(vec![match kind {
            "view" => return Ok(self.views()),
            "setting" => {
                let unit = self.unit();
                let amount = self.number().map(|number| Amount { number, unit, unit_assumed: false });
                Act::Setting(Setting { slot: self.need("slot", kind)?, state: self.field("state"), amount })
            }
            "finding" => return self.findings(protocols),
            "value" => Act::Value(self.value(protocols)?),
            "save" => Act::Save,
            "clip" => Act::Clip,
            "note" => {
                let note = self.need("note", kind)?;
                Act::Note { open: note != "close", conclusion: note == "conclusion" }
            }
            "question" => {
                let ask = self.need("ask", kind)?;
                Act::Question { ask: Ask::named(&ask).ok_or_else(|| lacking("a meaning", &ask))? }
            }
            "answer" => {
                let answer = self.need("answer", kind)?;
                Act::Answer {
                    answer: AnswerWord::named(&answer).ok_or_else(|| lacking("a meaning", &answer))?,
                }
            }
            "command" => Act::Command(self.command()?),
            "identity" => self.identity()?,
            other => return Err(lacking("a meaning for the program", other)),
        }])
    }

    fn views(&mut self) -> Vec<Act> {
        let mut zones = self.codes("zone");
        let place = self.list("place").join(" ");
        let mut structures = self.codes("structure");
        let step = match self.field("step").as_deref() {
            Some("other_limb") => Some(ViewStep::OtherLimb),
            Some("next_zone") => Some(ViewStep::NextZone),
            Some("previous_zone") => Some(ViewStep::PreviousZone),
            _ => None,
        };
        let first = View {
            level_cm: self.field("level").and_then(|_| self.number()),
            level_from: self.field("level_from"),
            limb: self.code("limb"),
            zone: zones.next(),
            to_zone: zones.next(),
            place: (!place.is_empty()).then_some(place),
            plane: self.code("plane"),
            offset: self.field("offset"),
            structure: structures.next(),
            step,
            pair: self.field("pair"),
            same_zone: self.field("same_zone").is_some(),
        };
        let more = structures.map(|structure| View { structure: Some(structure), ..View::default() });
        std::iter::once(first).chain(more).map(Act::View).collect()
    }

    /// One for each structure: an adhesion between two is said of both.
    fn findings(&mut self, protocols: &Protocols) -> Result<Vec<Act>, Problem> {
        let structures: Vec<StructureCode> = self.codes("structure").collect();
        let finding = self.finding(protocols)?;
        if structures.is_empty() {
            return Ok(vec![Act::Finding(finding)]);
        }
        let of = |structure| Act::Finding(FindingSaid { structure: Some(structure), ..finding.clone() });
        Ok(structures.into_iter().map(of).collect())
    }

    fn finding(&mut self, protocols: &Protocols) -> Result<FindingSaid, Problem> {
        if self.mixed {
            return Err(which_degree());
        }
        if self.clashes {
            return Err(two_at_once());
        }
        // "Small hypoechoic area": how large it is says nothing of how dark it is.
        let is_sized = self.fields.contains_key("sized");
        let is_area = |term: &String| is_adjective(term) && protocols.sized.contains(term);
        if is_sized && self.fields.get("term").is_some_and(is_area) {
            return Err(size_of_what());
        }
        let class = self.need("class", "finding")?;
        Ok(FindingSaid {
            class: Class::named(&class).ok_or_else(|| lacking("a class that the program knows", &class))?,
            term: self.need("term", "finding")?,
            degree: self.field("degree"),
            position: self.list("position"),
            unconfirmed: self.field("confirm").is_some(),
            structure: None,
            certainty: self.field("certainty").map(|_| Certainty::Possible),
            attributes: self.list("attribute"),
            against: self.field("against"),
            against_limb: self.list("against_limb"),
            than: self.field("than"),
            zones: self.codes("zone").collect(),
            copied: self.field("copied").is_some(),
            all_structures: self.field("all_structures").is_some(),
        })
    }

    fn value(&mut self, protocols: &Protocols) -> Result<Value, Problem> {
        let term = match self.field("term") {
            Some(term) => term,
            None if self.pair().is_some() => self.pair_term(),
            None => return Err(lacking("`term=`", "value")),
        };
        let number = self.number().ok_or_else(|| lacking("a number", &term))?;
        let default = |number: &Number| protocols.value(&term)?.unit_for(number.value()?, number.said());
        let (said, by) = match self.pair() {
            Some((first, second)) => {
                let (unit, by) = units_of_pair(first, second, &default)?;
                (unit, Some(by))
            }
            None => (self.unit(), None),
        };
        let default = self.numbers.first().and_then(default);
        let unit_assumed = said.is_none() && default.is_some();
        let comparator = self.field("comparator").as_deref().and_then(Comparator::of_sign);
        Ok(Value {
            term,
            amount: Amount { number, unit: said.or(default), unit_assumed },
            said: ValueSaid {
                structure: self.codes("structure").next(),
                approx: self.field("approx").is_some(),
                comparator,
                to: self.second("to"),
                by,
                scale: self.field("scale"),
            },
        })
    }

    /// Two distances at right angles are a value of their own: neither is the width.
    fn pair_term(&mut self) -> String {
        let of = self.field("of").map(|of| format!("{of} "));
        format!("{}caliper pair", of.unwrap_or_default())
    }

    fn command(&mut self) -> Result<Command, Problem> {
        let name = self.need("command", "command")?;
        let command = CommandName::named(&name).ok_or_else(|| lacking("a meaning for the program", &name))?;
        Ok(match command {
            CommandName::TakeBack => {
                let count = self.need("count", &name)?.parse().ok().filter(|count| *count > 0);
                Command::TakeBack { count: count.ok_or_else(|| lacking("`count=` with a number", &name))? }
            }
            CommandName::TakeBackSave => Command::TakeBackSave,
            CommandName::ClockMark => Command::ClockMark,
            CommandName::PauseJournal => Command::PauseJournal,
            CommandName::ResumeJournal => Command::ResumeJournal,
            CommandName::StartOfExam => Command::StartOfExam,
            CommandName::EndOfExam => Command::EndOfExam,
            CommandName::LimbDone => Command::LimbDone { limb: self.code("limb") },
            CommandName::NewHorse => Command::NewHorse,
        })
    }

    fn identity(&mut self) -> Result<Act, Problem> {
        let letters = self.list("letter");
        if !letters.is_empty() {
            let what = self.horse_fact()?;
            // The rest of a name may be one letter, and begin with a space.
            let rest =
                (what == HorseFact::MoreOfName).then(|| kept(&letters)).filter(|rest| !rest.is_empty());
            let value = rest.or_else(|| spelled(&letters)).ok_or_else(no_name)?;
            return Ok(Act::Identity { what, value });
        }
        let digits = self.list("digit").concat();
        let number = self.number().map(|number| number.to_string());
        let value = self.field("value").or(number).or((!digits.is_empty()).then_some(digits));
        let value = value.ok_or_else(|| lacking("a value", "identity"))?;
        Ok(Act::Identity { what: self.horse_fact()?, value })
    }

    fn horse_fact(&mut self) -> Result<HorseFact, Problem> {
        let name = self.need("what", "identity")?;
        HorseFact::named(&name).ok_or_else(|| lacking("a meaning for the program", &name))
    }
}

fn no_name() -> Problem {
    Problem::new(
        "what is left of the spelled name is less than two letters",
        "spell it again, such as `horse bravo echo lima lima`",
    )
}

impl Number {
    fn said(&self) -> NumberSaid {
        if self.figures.is_some() { NumberSaid::WithPoint } else { NumberSaid::Whole }
    }

    fn value(&self) -> Option<f64> {
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
}

/// The unit of the first of two distances where one was said, and the second in it. A unit after both is that of both; one
/// after the first is, too, unless the second would be taken for one of another unit.
fn units_of_pair(
    first: &Number,
    second: &Number,
    default: &dyn Fn(&Number) -> Option<String>,
) -> Result<(Option<String>, f64), Problem> {
    let by = second.value().ok_or_else(|| lacking("a number", "by"))?;
    let alike = |unit: Option<String>, other: &Number| default(other).is_none_or(|own| Some(own) == unit);
    match (&first.unit, &second.unit) {
        (Some(unit), Some(own)) if unit != own => {
            let by = convert(by, own, unit).ok_or_else(|| mixed_units(first, second))?;
            Ok((Some(unit.clone()), by))
        }
        (unit @ Some(_), None) if alike(unit.clone(), second) => Ok((unit.clone(), by)),
        (None, None) if alike(default(first), second) => Ok((None, by)),
        (unit, Some(own)) => Ok((unit.clone().or(Some(own.clone())), by)),
        _ => Err(mixed_units(first, second)),
    }
}

fn mixed_units(first: &Number, second: &Number) -> Problem {
    let text = |number: &Number| number.value().unwrap_or_default().to_string();
    Problem::new(
        format!("the units of `{} by {}` are not clear", text(first), text(second)),
        "say the unit of each of the two numbers",
    )
}

fn size_of_what() -> Problem {
    Problem::new(
        "it may be a small or large area, or a mild or severe change",
        "say `mildly` or `severely` of the change; say the size of a lesion in millimetres or percent",
    )
}

/// "Hypoechoic hyperechoic lesion".
fn two_at_once() -> Problem {
    Problem::new(
        "one finding cannot be both dark and bright",
        "say the two one after the other with `and` between them, or `heterogeneous`",
    )
}

/// "Mild core lesion possibly moderate", "core lesion maybe lateral".
fn which_degree() -> Problem {
    Problem::new(
        "two degrees, or a doubt that may be only of the degree or the position",
        "say one degree, such as `mild to moderate`; say `possible` before the finding where it is in doubt as a whole",
    )
}

/// The grammar file closes a phrase that lacks a tag.
fn lacking(what: &str, kind: &str) -> Problem {
    Problem::new(
        format!("the grammar's tag for `{kind}` lacks {what}"),
        "see grammars/README.md and correct exam.gram",
    )
}
