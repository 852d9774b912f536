//! What holds of every dialogue, whatever happens in it: hundreds of them, without a sound.
use crate::support;

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;
use support::talk::{Talk, person};
use support::{BUILT_IN, utterance};
use zonecall::exam::call::Act;
use zonecall::exam::event::{Event, Outcome};
use zonecall::exam::fold::fold;
use zonecall::exam::journal::Lines;
use zonecall::exam::parse::parse;
use zonecall::exam::seq::Seq;
use zonecall::language::closed_sets::AnswerWord;
use zonecall::session::dialogue::Speech;
use zonecall::session::effect::{Arrival, Effect, Floor, Input};
use zonecall::speech::utterance::Utterance;

/// What may happen, in any order.
#[derive(Debug, Clone)]
enum Happens {
    Said(&'static str),
    Unsure(&'static str, &'static str),
    Rejected(&'static str),
    Broken(&'static str),
    SwitchedOff(&'static str),
    OverOwnVoice(&'static str),
    Key(AnswerWord),
    Pause(f64),
    Floor(Floor),
}

const PHRASES: &[&str] = &[
    "left fore zone two alpha transverse",
    "right fore zone one alpha",
    "zone three charlie",
    "zone two bravo",
    "longitudinal",
    "superficial flexor core lesion",
    "hypoechoic",
    "area one hundred and twelve square centimetres",
    "width one point two",
    "save",
    "note",
    "end note",
    "yes",
    "no",
    "first",
    "second",
    "where am i",
    "what is left",
    "disregard that",
    "correction",
    "correction right fore",
    "good boy",
    "end of exam",
];

fn happens() -> impl Strategy<Value = Happens> {
    let phrase = || prop::sample::select(PHRASES);
    prop_oneof![
        6 => phrase().prop_map(Happens::Said),
        2 => (phrase(), phrase()).prop_map(|(one, other)| Happens::Unsure(one, other)),
        1 => phrase().prop_map(Happens::Rejected),
        1 => phrase().prop_map(Happens::Broken),
        1 => phrase().prop_map(Happens::SwitchedOff),
        1 => phrase().prop_map(Happens::OverOwnVoice),
        1 => prop::sample::select(AnswerWord::ALL).prop_map(Happens::Key),
        1 => (0.0..15.0).prop_map(Happens::Pause),
        1 => prop::sample::select(&[Floor::Free, Floor::Taken][..]).prop_map(Happens::Floor),
    ]
}

/// Carries it out; gives the lines of utterances that must not be acted on without an answer.
fn happen(talk: &mut Talk, what: &Happens) -> bool {
    match what {
        Happens::Said(text) => talk.utter(|utterance| utterance, text, Arrival::Whole),
        Happens::Unsure(text, rival) => {
            talk.unsure(text, rival);
        }
        Happens::Rejected(text) => {
            talk.utter(|utterance| Utterance { rejected: true, ..utterance }, text, Arrival::Whole);
        }
        Happens::Broken(text) => talk.utter(|utterance| utterance, text, Arrival::Broken),
        Happens::SwitchedOff(text) => talk.utter(|utterance| utterance, text, Arrival::SwitchedOff),
        Happens::OverOwnVoice(text) => {
            talk.own_voice(0.4).utter(|utterance| utterance, text, Arrival::Whole);
        }
        Happens::Key(given) => talk.step(Input::Key(*given)),
        Happens::Pause(seconds) => {
            talk.at_s += seconds;
            talk.step(Input::Time);
        }
        Happens::Floor(floor) => talk.step(Input::Floor(*floor)),
    }
    match what {
        Happens::Said(_) | Happens::Key(_) | Happens::Pause(_) | Happens::Floor(_) => false,
        Happens::Unsure(text, rival) => !may_answer(text, rival),
        _ => true,
    }
}

/// While a question waits an answer counts unless the second reading is another call.
fn may_answer(text: &str, rival: &str) -> bool {
    let acts = |text: &str| {
        let parsed = parse(&utterance(0.0, text), &BUILT_IN.0, &BUILT_IN.1);
        parsed
            .calls
            .into_iter()
            .filter(|_| parsed.problems.is_empty())
            .map(|call| call.act)
            .collect::<Vec<_>>()
    };
    let (meant, other) = (acts(text), acts(rival));
    matches!(meant.as_slice(), [Act::Answer { .. }]) && (other.is_empty() || other == meant)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, ..ProptestConfig::default() })]
    #[test]
    fn whatever_happens_nothing_is_lost_and_nothing_doubtful_is_acted_on(
        all in prop::collection::vec(happens(), 1..40),
        aloud in any::<bool>(),
    ) {
        let mut talk = if aloud { Talk::aloud() } else { Talk::silent() };
        let mut doubtful = BTreeSet::new();
        let mut n_said = 0;
        for what in &all {
            let before = talk.lines.len();
            let is_doubtful = happen(&mut talk, what);
            let heard: Vec<Seq> = talk.lines[before..].iter()
                .filter(|line| matches!(line.event, Event::Utterance(_))).map(|line| line.seq).collect();
            let is_said = !matches!(what, Happens::Key(_) | Happens::Pause(_) | Happens::Floor(_));
            prop_assert_eq!(heard.len(), usize::from(is_said), "one line for each utterance: {:?}", what);
            n_said += usize::from(is_said);
            if is_doubtful {
                doubtful.extend(heard);
            }
        }
        prop_assert_eq!(talk.outcomes().len(), n_said);
        check_lines(&talk, &doubtful)?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, ..ProptestConfig::default() })]
    #[test]
    fn the_program_never_begins_to_speak_while_somebody_speaks(all in prop::collection::vec(happens(), 1..40)) {
        let mut talk = Talk::aloud();
        let mut floor = Floor::Free;
        for what in &all {
            let before = talk.done.len();
            happen(&mut talk, what);
            if let Happens::Floor(now) = what {
                floor = *now;
            }
            let speaks = talk.done[before..].iter().any(|effect| matches!(effect, Effect::Say(_)));
            prop_assert!(floor == Floor::Free || !speaks, "after {:?}", what);
        }
    }

    /// The question before the end is no trap: whatever is said or not said, silence ends the exam.
    #[test]
    fn after_an_end_that_was_asked_about_silence_ends_the_exam(all in prop::collection::vec(happens(), 1..20)) {
        let mut talk = Talk::silent();
        for what in &all {
            happen(&mut talk, what);
        }
        talk.say("left fore zone one alpha transverse").say("end of exam");
        if talk.question().is_some_and(|question| question.contains("end anyway?")) {
            prop_assert!(!talk.dialogue.has_ended());
            talk.at_s += 60.0;
            talk.step(Input::Time);
            prop_assert!(talk.dialogue.has_ended());
        }
    }
}

/// What leaves no note and no pause open: those end with the run of the program.
const CALLS: &[&str] = &[
    "left fore zone two alpha transverse",
    "zone two bravo",
    "save",
    "nonsense of somebody",
    "yes",
    "no",
    "second",
    "where am i",
    "disregard that",
    "disregard the last two",
    "correction right fore",
];

fn calls() -> impl Strategy<Value = Happens> {
    let phrase = || prop::sample::select(CALLS);
    prop_oneof![
        6 => phrase().prop_map(Happens::Said),
        3 => (phrase(), phrase()).prop_map(|(one, other)| Happens::Unsure(one, other)),
        1 => phrase().prop_map(Happens::Rejected),
        1 => (0.0..30.0).prop_map(Happens::Pause),
    ]
}

fn taken_back(talk: &Talk) -> BTreeSet<Seq> {
    let calls = talk.dialogue.exam().calls.iter().filter(|call| call.withdrawn_by.is_some());
    calls.map(|call| call.seq).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, ..ProptestConfig::default() })]
    #[test]
    fn disregard_takes_back_the_same_whether_the_program_was_started_anew_before_it_or_not(
        all in prop::collection::vec(calls(), 1..20),
    ) {
        let mut talk = Talk::aloud();
        for what in &all {
            happen(&mut talk, what);
        }
        talk.at_s += 60.0;
        talk.step(Input::Time);
        let mut resumed = Talk::resumed(&talk.lines, talk.at_s, person(Speech::Aloud));
        talk.say("disregard that");
        resumed.say("disregard that");
        prop_assert_eq!(taken_back(&talk), taken_back(&resumed));
    }
}

/// Lines are numbered without gaps, give the exam in memory, and no call comes from what was doubtful and not settled.
fn check_lines(talk: &Talk, doubtful: &BTreeSet<Seq>) -> Result<(), TestCaseError> {
    let mut outcomes: BTreeMap<Seq, Outcome> = BTreeMap::new();
    let mut settled = BTreeSet::new();
    for (idx, line) in talk.lines.iter().enumerate() {
        prop_assert_eq!(line.seq.0, idx as u64 + 1);
        match &line.event {
            Event::Utterance(heard) => {
                outcomes.insert(line.seq, heard.outcome);
            }
            Event::Settled(answer) => {
                prop_assert!(settled.insert(answer.heard_seq), "answered once: {:?}", line);
            }
            Event::Call(call) => {
                let is_settled = settled.contains(&call.heard_seq);
                let outcome = outcomes.get(&call.heard_seq).copied();
                let acted = matches!(outcome, Some(Outcome::Calls | Outcome::Note));
                prop_assert!(is_settled || acted, "{line:?}");
                prop_assert!(is_settled || !doubtful.contains(&call.heard_seq), "{line:?}");
            }
            _ => {}
        }
    }
    let mut lines = Lines::default();
    lines.events.clone_from(&talk.lines);
    prop_assert_eq!(talk.dialogue.exam(), &fold(&lines, &BUILT_IN.1).unwrap());
    Ok(())
}
