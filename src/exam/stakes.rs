//! What is at stake in words: which parts of their meaning cost much if they are wrong.
//!
//! Takes: words, the exam's `Language`, the protocols' default units.
//! Gives: `Stakes`, for the trust in a reading.
//! Never: decides what is done about it; that is `speech::neural`.
//! Tested in: `tests/it/stakes.rs`.

use crate::clock::Span;
use crate::exam::call::{Act, Amount, Call, Command, ViewStep};
use crate::exam::parse::calls_of;
use crate::language::pack::Language;
use crate::protocol::Protocols;
use crate::speech::stakes::{Stake, Stakes};
use crate::speech::utterance::Word;

/// What is at stake in `words`, in any of their readings.
#[must_use]
pub fn stakes(words: &[&str], language: &Language, protocols: &Protocols) -> Stakes {
    let span = Span::default();
    let said: Vec<Word> =
        words.iter().map(|text| Word { text: (*text).to_owned(), span, confidence: 1.0 }).collect();
    let readings = language.exam.read(words);
    let parsed = readings.iter().map(|tags| calls_of(tags, &said, protocols));
    parsed
        .flat_map(|parsed| {
            let waits = parsed.correction_waits.then(|| (Stake::Correction, String::new()));
            let own: Vec<(Stake, String)> = parsed.calls.iter().flat_map(of_call).chain(waits).collect();
            own
        })
        .collect()
}

fn of_call(call: &Call) -> Vec<(Stake, String)> {
    let mut found = Vec::new();
    if call.corrects {
        found.push((Stake::Correction, String::new()));
    }
    let number =
        |what: &str, amount: &Amount| (Stake::Number, format!("{what} {} {:?}", amount.number, amount.unit));
    match &call.act {
        Act::View(view) => {
            let other = || view.pair.as_deref().unwrap_or_default();
            let is_other = view.step == Some(ViewStep::OtherLimb);
            found.extend(is_other.then(|| (Stake::Limb, format!("other {}", other()))));
            found.extend(view.limb.iter().map(|limb| (Stake::Limb, limb.to_string())));
            found.extend(view.level_cm.iter().map(|level| (Stake::Number, format!("level {level}"))));
        }
        Act::Setting(setting) => {
            found.extend(setting.amount.iter().map(|amount| number(&setting.slot, amount)));
        }
        Act::Value(value) => found.push(number(&value.term, &value.amount)),
        Act::Finding(finding) => {
            found.push((Stake::Presence, format!("{} {}", finding.class.as_str(), finding.term)));
        }
        Act::Note { open, conclusion } => {
            found.push((Stake::Note, if *conclusion { "conclusion".to_owned() } else { open.to_string() }));
        }
        Act::Command(Command::TakeBack { count }) => found.push((Stake::TakeBack, count.to_string())),
        Act::Command(Command::TakeBackSave) => found.push((Stake::TakeBack, String::new())),
        Act::Command(Command::EndOfExam | Command::PauseJournal | Command::NewHorse) => {
            found.push((Stake::End, String::new()))
        }
        _ => {}
    }
    found
}
