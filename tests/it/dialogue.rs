//! What the dialogue acts on, asks back, passes over and warns of: hundreds of dialogues without a sound.
use crate::support;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use proptest::prelude::*;
use support::{BUILT_IN, header, utterance};
use zonecall::exam::event::{Event, ExamEvent, Outcome};
use zonecall::exam::fold::fold;
use zonecall::exam::journal::Lines;
use zonecall::exam::parse::parse;
use zonecall::session::dialogue::{Dialogue, DialogueOptions, Listener, Speech};
use zonecall::session::effect::{AnswerExpected, Arrival, Effect, HeardUtterance, Input};
use zonecall::session::notice::{Device, Notice, Presence, ScreenChange};
use zonecall::session::tone::Tone;
use zonecall::speech::utterance::{Rival, Utterance};

const RATE_HZ: f64 = 16_000.0;

/// A dialogue, the lines that it wrote, and what it did besides since the last look.
struct Talk {
    dialogue: Dialogue,
    lines: Vec<ExamEvent>,
    done: Vec<Effect>,
    at_s: f64,
}

fn sample(seconds: f64) -> u64 {
    (seconds * RATE_HZ) as u64
}

impl Talk {
    fn new(options: DialogueOptions) -> Talk {
        let (mut dialogue, effects) = Dialogue::begin(header(), Arc::new(BUILT_IN.1.clone()));
        dialogue.set(options, 0);
        let mut this = Talk { dialogue, lines: Vec::new(), done: Vec::new(), at_s: 2.0 };
        this.take(effects);
        this
    }

    fn aloud() -> Talk {
        Self::new(person(Speech::Aloud))
    }

    fn silent() -> Talk {
        Self::new(person(Speech::Silent))
    }

    fn take(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            match effect {
                Effect::Write(line) => self.lines.push(*line),
                other => self.done.push(other),
            }
        }
    }

    fn step(&mut self, input: Input) {
        let effects = self.dialogue.step(input, sample(self.at_s));
        self.take(effects);
    }

    /// An utterance of these words, just now; the next one can begin two seconds after it.
    fn utter(&mut self, change: impl FnOnce(Utterance) -> Utterance, text: &str, arrival: Arrival) {
        let utterance = change(utterance(self.at_s, text));
        self.at_s = utterance.span.to as f64 / RATE_HZ;
        let (language, protocols) = &*BUILT_IN;
        let parsed = parse(&utterance, language, protocols);
        let rival = utterance.rivals.first().filter(|_| utterance.unsure);
        let rival = rival.map(|rival| parse(&support::utterance(0.0, &rival.words), language, protocols));
        self.step(Input::Utterance(Box::new(HeardUtterance { utterance, parsed, rival, arrival })));
        self.at_s += 2.0;
    }

    fn say(&mut self, text: &str) -> &mut Self {
        self.utter(|utterance| utterance, text, Arrival::Whole);
        self
    }

    fn unsure(&mut self, text: &str, rival: &str) -> &mut Self {
        let rivals = vec![Rival { words: rival.to_owned(), behind: 0.5 }];
        self.utter(|utterance| Utterance { unsure: true, rivals, ..utterance }, text, Arrival::Whole);
        self
    }

    /// The program's own voice is in the air for so long from now on.
    fn own_voice(&mut self, seconds: f64) -> &mut Self {
        let until = self.at_s + seconds;
        let mut at = self.at_s;
        while at < until {
            let effects = self.dialogue.step(Input::OwnVoice, sample(at));
            self.take(effects);
            at += 0.1;
        }
        self
    }

    /// The calls in the journal, by their words.
    fn calls(&self) -> Vec<&str> {
        let words = self.lines.iter().filter_map(|line| match &line.event {
            Event::Call(call) => Some(call.call.words.as_str()),
            _ => None,
        });
        words.collect()
    }

    fn outcomes(&self) -> Vec<Outcome> {
        let outcomes = self.lines.iter().filter_map(|line| match &line.event {
            Event::Utterance(heard) => Some(heard.outcome),
            _ => None,
        });
        outcomes.collect()
    }

    fn said(&self) -> Vec<&str> {
        let said = self.done.iter().filter_map(|effect| match effect {
            Effect::Say(text) => Some(text.as_str()),
            _ => None,
        });
        said.collect()
    }

    fn told(&self, wanted: Notice) -> Vec<&str> {
        let told = self.done.iter().filter_map(|effect| match effect {
            Effect::Show(ScreenChange::Line(notice, text)) if *notice == wanted => Some(text.as_str()),
            _ => None,
        });
        told.collect()
    }

    fn tones(&self) -> Vec<Tone> {
        let tones = self.done.iter().filter_map(|effect| match effect {
            Effect::Sound(tone) => Some(*tone),
            _ => None,
        });
        tones.collect()
    }

    fn question(&self) -> Option<&str> {
        let last = self.done.iter().rev().find_map(|effect| match effect {
            Effect::Show(ScreenChange::Question(question)) => Some(question.as_deref()),
            _ => None,
        });
        last.flatten()
    }
}

fn person(speech: Speech) -> DialogueOptions {
    DialogueOptions { listener: Listener::Person, speech, ..DialogueOptions::default() }
}

#[test]
fn what_is_sure_is_acted_on_and_sounded() {
    let mut talk = Talk::silent();
    talk.say("left fore zone two alpha transverse");
    assert_eq!(talk.calls(), ["left fore zone two alpha transverse"]);
    assert_eq!(talk.tones(), [Tone::Understood]);
    talk.say("nonsense of somebody");
    assert_eq!(talk.tones(), [Tone::Understood, Tone::NotUnderstood]);
    assert_eq!(talk.calls().len(), 1);
}

#[test]
fn what_is_doubtful_waits_for_an_answer_by_word_or_key() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").unsure("zone two bravo", "zone three bravo");
    assert_eq!(talk.said(), ["zone two bravo, or zone three bravo?"]);
    assert_eq!(talk.calls().len(), 1, "nothing is done before the answer");
    assert!(talk.question().is_some());
    let expects = |talk: &Talk| {
        talk.done.iter().rev().find_map(|effect| match effect {
            Effect::Expect(expected) => Some(expected.answer),
            _ => None,
        })
    };
    assert_eq!(expects(&talk), Some(AnswerExpected::Yes));
    talk.at_s += 3.0;
    talk.say("second");
    assert_eq!(talk.dialogue.exam().context.zone.as_deref(), Some("3B"));
    assert_eq!((talk.question(), expects(&talk)), (None, Some(AnswerExpected::No)));
    talk.unsure("zone two bravo", "good boy").step(Input::Key("yes"));
    assert_eq!(talk.dialogue.exam().context.zone.as_deref(), Some("2B"));
}

#[test]
fn a_question_that_nobody_answers_stays_open_for_the_reviewer() {
    let mut talk = Talk::silent();
    talk.say("left fore zone two alpha transverse").unsure("zone two bravo", "zone three bravo");
    talk.at_s += 20.0;
    talk.say("yes");
    assert_eq!(talk.told(Notice::Listening), ["no answer: left open for review"]);
    assert_eq!(talk.dialogue.exam().context.zone.as_deref(), Some("2A"));
    assert!(talk.dialogue.exam().utterances[1].is_open());
}

#[test]
fn its_own_voice_is_never_a_call() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").own_voice(2.0);
    talk.say("zone two bravo");
    assert_eq!(talk.calls().len(), 1);
    assert_eq!(talk.outcomes().last(), Some(&Outcome::Ignored));
    talk.say("zone two bravo");
    assert_eq!(talk.calls().len(), 2, "when it has died away a person is heard again");
}

#[test]
fn while_the_switch_is_off_nothing_counts() {
    let mut talk = Talk::silent();
    talk.utter(|utterance| utterance, "left fore", Arrival::SwitchedOff);
    assert_eq!((talk.calls().len(), talk.outcomes()), (0, vec![Outcome::Ignored]));
}

#[test]
fn half_a_phrase_is_asked_about() {
    let mut talk = Talk::silent();
    talk.utter(|utterance| utterance, "left fore zone two alpha", Arrival::Broken);
    assert_eq!((talk.calls().len(), talk.outcomes()), (0, vec![Outcome::Asked]));
}

#[test]
fn a_view_that_is_left_without_a_save_is_warned_of_once() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").say("zone two bravo");
    let warning = "left fore, zone 2A, transverse was left without a save";
    assert_eq!((talk.told(Notice::Forgotten), talk.said()), (vec![warning], vec![warning]));
    assert!(talk.tones().contains(&Tone::Alarm));
}

#[test]
fn with_the_scanners_folder_the_still_that_does_not_come_is_warned_of() {
    let options = DialogueOptions { export_delay: Some(sample(3.0)), ..person(Speech::Silent) };
    let mut talk = Talk::new(options);
    talk.say("left fore zone two alpha transverse").say("zone two bravo");
    talk.step(Input::Time);
    assert!(talk.told(Notice::Forgotten).is_empty(), "it may still be on its way");
    talk.at_s += 10.0;
    talk.step(Input::Time);
    assert_eq!(talk.told(Notice::Forgotten), ["left fore, zone 2A, transverse has no still"]);
    talk.step(Input::LastStills);
    assert_eq!(talk.told(Notice::Forgotten).len(), 1, "each is told once");
}

#[test]
fn a_microphone_that_goes_is_written_down_and_sounded() {
    let mut talk = Talk::silent();
    let name = "headset".to_owned();
    talk.step(Input::Device { device: Device::Microphone, presence: Presence::Lost, name });
    assert_eq!(talk.tones(), [Tone::Alarm]);
    assert_eq!(talk.told(Notice::Fault).len(), 1);
    assert!(matches!(&talk.lines.last().unwrap().event, Event::Microphone { state, .. } if state == "lost"));
}

#[test]
fn a_recording_is_never_asked_about() {
    let mut talk = Talk::new(DialogueOptions::default());
    talk.say("left fore zone two alpha transverse").unsure("zone two bravo", "zone three bravo");
    assert_eq!(talk.outcomes(), [Outcome::Calls, Outcome::NotUnderstood]);
    assert!(talk.said().is_empty());
}

/// What may happen, in any order.
#[derive(Debug, Clone)]
enum Happens {
    Said(&'static str),
    Unsure(&'static str, &'static str),
    Rejected(&'static str),
    Broken(&'static str),
    SwitchedOff(&'static str),
    OverOwnVoice(&'static str),
    Key(&'static str),
    Pause(f64),
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
        1 => prop::sample::select(&["yes", "no", "first", "second"][..]).prop_map(Happens::Key),
        1 => (0.0..15.0).prop_map(Happens::Pause),
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
        Happens::Key(given) => talk.step(Input::Key(given)),
        Happens::Pause(seconds) => {
            talk.at_s += seconds;
            talk.step(Input::Time);
        }
    }
    !matches!(what, Happens::Said(_) | Happens::Key(_) | Happens::Pause(_))
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
            let heard: Vec<u64> = talk.lines[before..].iter()
                .filter(|line| matches!(line.event, Event::Utterance(_))).map(|line| line.seq).collect();
            let is_said = !matches!(what, Happens::Key(_) | Happens::Pause(_));
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

/// Lines are numbered without gaps, give the exam in memory, and no call comes from what was doubtful and not settled.
fn check_lines(talk: &Talk, doubtful: &BTreeSet<u64>) -> Result<(), TestCaseError> {
    let mut outcomes: BTreeMap<u64, Outcome> = BTreeMap::new();
    let mut settled = BTreeSet::new();
    for (idx, line) in talk.lines.iter().enumerate() {
        prop_assert_eq!(line.seq, idx as u64 + 1);
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
