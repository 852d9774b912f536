//! A dialogue without sound: what is said goes in, what the program writes, says and shows comes out.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part
#![allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, clippy::cast_sign_loss)]

use std::sync::Arc;

use zonecall::clock::{Anchor, Sample, Span};
use zonecall::exam::event::{Event, ExamEvent, Header, Outcome};
use zonecall::exam::journal::Lines;
use zonecall::exam::parse::parse;
use zonecall::language::pack::NUMBER_RULE;
use zonecall::session::dialogue::{Dialogue, DialogueOptions, Listener, Speech};
use zonecall::session::effect::{Arrival, Effect, HeardUtterance, Input, ProgramSound};
use zonecall::session::notice::{Notice, ScreenChange};
use zonecall::session::tone::Tone;
use zonecall::speech::utterance::{Rival, Utterance};

use crate::support;
use crate::support::{BUILT_IN, header, utterance};

pub const RATE_HZ: f64 = 16_000.0;

/// A dialogue, the lines that it wrote, and what it did besides since the last look.
pub struct Talk {
    pub dialogue: Dialogue,
    pub lines: Vec<ExamEvent>,
    pub done: Vec<Effect>,
    pub at_s: f64,
    /// How much of what it said was heard by `own_voice`.
    pub voiced: usize,
}

pub fn sample(seconds: f64) -> Sample {
    Sample((seconds * RATE_HZ) as u64)
}

impl Talk {
    pub fn new(options: DialogueOptions) -> Talk {
        Self::of(header(), options)
    }

    pub fn of(header: Header, options: DialogueOptions) -> Talk {
        let (mut dialogue, effects) = Dialogue::begin(header, Arc::new(BUILT_IN.1.clone()));
        dialogue.set(options, Sample::FIRST);
        let numbers = BUILT_IN.0.grammar.words(&[NUMBER_RULE]);
        dialogue.set_number_words(numbers.into_iter().map(|word| word.text).collect());
        let mut this = Talk { dialogue, lines: Vec::new(), done: Vec::new(), at_s: 2.0, voiced: 0 };
        this.take(effects);
        this
    }

    pub fn aloud() -> Talk {
        Self::new(person(Speech::Aloud))
    }

    pub fn silent() -> Talk {
        Self::new(person(Speech::Silent))
    }

    /// The exam of these lines, as it goes on in a new run of the program.
    pub fn resumed(lines: &[ExamEvent], at_s: f64, options: DialogueOptions) -> Talk {
        let mut read = Lines::default();
        read.events.extend(lines.iter().cloned());
        let at = sample(at_s);
        let anchor = Anchor { wall: header().started_at, monotonic_ns: 0, sample: at };
        let engine = header().engine;
        let resumed = Event::Resumed { engine, grammar_sha256: header().grammar_sha256 };
        let (mut dialogue, effects) =
            Dialogue::resume(read, Arc::new(BUILT_IN.1.clone()), anchor, resumed).unwrap();
        dialogue.set(options, at);
        let mut this = Talk { dialogue, lines: lines.to_vec(), done: Vec::new(), at_s, voiced: 0 };
        this.take(effects);
        this
    }

    pub fn take(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            match effect {
                Effect::Write(line) => self.lines.push(*line),
                other => self.done.push(other),
            }
        }
    }

    pub fn step(&mut self, input: Input) {
        let effects = self.dialogue.step(input, sample(self.at_s));
        self.take(effects);
    }

    /// An utterance of these words, just now; the next one can begin two seconds after it.
    pub fn utter(&mut self, change: impl FnOnce(Utterance) -> Utterance, text: &str, arrival: Arrival) {
        let utterance = change(utterance(self.at_s, text));
        self.at_s = utterance.span.to.seconds();
        let (language, protocols) = &*BUILT_IN;
        let parsed = parse(&utterance, language, protocols);
        let rival = utterance.rivals.first().filter(|_| utterance.unsure);
        let from_s = utterance.span.seconds().0;
        let rival = rival.map(|rival| parse(&support::utterance(from_s, &rival.words), language, protocols));
        self.step(Input::Utterance(Box::new(HeardUtterance { utterance, parsed, rival, arrival })));
        self.at_s += 2.0;
    }

    pub fn say(&mut self, text: &str) -> &mut Self {
        self.utter(|utterance| utterance, text, Arrival::Whole);
        self
    }

    pub fn unsure(&mut self, text: &str, rival: &str) -> &mut Self {
        let rivals = vec![Rival { words: rival.to_owned(), behind: 0.5 }];
        self.utter(|utterance| Utterance { unsure: true, rivals, ..utterance }, text, Arrival::Whole);
        self
    }

    /// The program's own voice is heard for so long from now on, with what it has said since the last time.
    pub fn own_voice(&mut self, seconds: f64) -> &mut Self {
        if seconds > 0.0 {
            let said = self.said().len();
            let new = self.said().split_off(self.voiced.min(said.saturating_sub(1)));
            let text = new.join(" ");
            self.voiced = said;
            self.own_sound(ProgramSound::Voice(text), 0.0, seconds);
        }
        self
    }

    /// The program can be heard from so long before now until so long after it.
    pub fn own_sound(&mut self, sound: ProgramSound, before_s: f64, after_s: f64) {
        let span = Span { from: sample(self.at_s - before_s), to: sample(self.at_s + after_s) };
        self.step(Input::OwnSound(sound, span));
    }

    /// The calls in the journal, by their words.
    pub fn calls(&self) -> Vec<&str> {
        let words = self.lines.iter().filter_map(|line| match &line.event {
            Event::Call(call) => Some(call.call.words.as_str()),
            _ => None,
        });
        words.collect()
    }

    pub fn outcomes(&self) -> Vec<Outcome> {
        let outcomes = self.lines.iter().filter_map(|line| match &line.event {
            Event::Utterance(heard) => Some(heard.outcome),
            _ => None,
        });
        outcomes.collect()
    }

    pub fn said(&self) -> Vec<&str> {
        let said = self.done.iter().filter_map(|effect| match effect {
            Effect::Say(text) => Some(text.as_str()),
            _ => None,
        });
        said.collect()
    }

    pub fn told(&self, wanted: Notice) -> Vec<&str> {
        let told = self.done.iter().filter_map(|effect| match effect {
            Effect::Show(ScreenChange::Line(notice, text)) if *notice == wanted => Some(text.as_str()),
            _ => None,
        });
        told.collect()
    }

    pub fn tones(&self) -> Vec<Tone> {
        let tones = self.done.iter().filter_map(|effect| match effect {
            Effect::Sound(tone) => Some(*tone),
            _ => None,
        });
        tones.collect()
    }

    pub fn question(&self) -> Option<&str> {
        let last = self.done.iter().rev().find_map(|effect| match effect {
            Effect::Show(ScreenChange::Question(question)) => Some(question.as_deref()),
            _ => None,
        });
        last.flatten()
    }
}

pub fn person(speech: Speech) -> DialogueOptions {
    DialogueOptions { listener: Listener::Person, speech, ..DialogueOptions::default() }
}
