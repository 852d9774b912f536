//! What the dialogue says of itself: a part of the place that lacks, devices that go, what was heard over its own voice.
//!
//! Takes: what was written of an utterance, and the exam as it is now.
//! Gives: tones, lines and short texts.
//! Never: changes the exam.
//! Tested in: `tests/it/dialogue.rs`.

use crate::clock::{Sample, Span};
use crate::exam::call::{Act, Call, Command, Problem};
use crate::exam::closed_sets::Presence;
use crate::exam::event::{Event, Outcome, UtteranceEvent};
use crate::exam::parse::Parsed;
use crate::session::ask::{mixed, sides_of};
use crate::session::dialogue_options::{Listener, Output};
use crate::session::dialogue_state::{Dialogue, Written};
use crate::session::effect::{Arrival, ProgramSound};
use crate::session::notice::{Device, Notice};
use crate::session::tone::Tone;
use crate::speech::utterance::Utterance;

/// What lacks of the place that something was said of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lacking {
    /// A save without a limb.
    LimbOfSave,
    /// A zone without a limb.
    LimbOfZone,
    /// A save without a zone.
    ZoneOfSave,
}

impl Dialogue {
    /// The pair of words that the first limb was called with is the exam's own.
    pub(super) fn mind_sides(&mut self, calls: &[Call]) {
        let names_limb = |call: &&Call| matches!(&call.act, Act::View(view) if view.limb.is_some());
        if self.sides.is_none() {
            let mut limbs = calls.iter().filter(names_limb);
            self.sides = limbs.find_map(|call| sides_of(&call.words, self.log.protocols()));
        }
    }

    /// The program itself could be heard; in an earpiece the microphone does not hear it.
    pub(super) fn mind_own_sound(&mut self, sound: ProgramSound, span: Span) {
        if self.options.output == Output::Room {
            self.own_voice.sound(sound, span);
        }
    }

    /// Whether a person says something of the language while the program itself speaks: then it falls silent at once.
    #[must_use]
    pub fn is_interrupted_by(&self, utterance: &Utterance, parsed: &Parsed) -> bool {
        let is_clear = !utterance.rejected && !utterance.unsure && parsed.problems.is_empty();
        is_clear && !parsed.calls.is_empty() && !self.own_voice.said(utterance, parsed)
    }

    /// Something was heard while the program itself spoke: its own voice, or a person, whose words are mixed with it.
    ///
    /// What cannot be the program's voice nor be mixed with it counts as ever. Anything else that a person said is not acted
    /// on, but never lost in silence: a clear call is read back, anything else has a tone and a line, and either puts the
    /// next labels in doubt; so does a sound that is no phrase of the language, unless it can be the program's voice alone and
    /// words were heard in it, or it is shorter than a word: that much may be a person's word under the program's. It
    /// is read back once: the program does not talk to itself. A call over a question is read back, too, if the program says
    /// less than half of its words; the question waits, and is asked again where it was no call.
    pub(super) fn hear_over_own_voice(&mut self, utterance: Utterance, parsed: Parsed, now: Sample) {
        let help = "if it was a call, add it by hand; an earpiece keeps the two apart";
        let message = "heard while the program itself was speaking";
        let is_own = match utterance.rejected || utterance.words.is_empty() {
            true => self.own_voice.may_be_alone(&utterance, &parsed),
            false => self.own_voice.said(&utterance, &parsed),
        };
        let is_clear = self.is_interrupted_by(&utterance, &parsed);
        let is_apart = is_clear && self.own_voice.is_apart(&utterance, &parsed);
        let may_be_read_back = self.open.is_none() || !self.own_voice.may_be_own(&utterance, &parsed);
        self.own_voice.hear(&utterance);
        if is_apart {
            return self.hear_person(utterance, parsed, None, Arrival::Whole, now);
        }
        if is_own && !self.own_voice.may_hide_a_word(&utterance) {
            return self.pass_over(utterance, message, help);
        }
        if is_clear
            && may_be_read_back
            && self.options.listener == Listener::Person
            && self.attention.takes_calls(&utterance)
            && !self.asked_over_own_voice
            && let Some(question) = mixed(&utterance, &parsed)
        {
            self.asked_over_own_voice = true;
            let over = self.open.take().map(Box::new);
            return self.ask_over(over, utterance, question, now);
        }
        // A tone for what is most likely its own voice would answer nobody.
        if !is_own {
            self.sound(Tone::NotUnderstood);
        }
        let words = Some(utterance.text()).filter(|words| !words.is_empty());
        let words = words.unwrap_or_else(|| "a sound".to_owned());
        self.report(Notice::NotUnderstood, &format!("{words} (while I was speaking: say it again)"));
        let problem = Problem { message: message.to_owned(), help: help.to_owned() };
        let event = UtteranceEvent { utterance, outcome: Outcome::NotUnderstood, problems: vec![problem] };
        let before = self.unheard;
        self.write(event, Vec::new());
        if is_own {
            // "Disregard" said next is not about it: nobody knows of it.
            self.unheard = before;
        }
    }

    /// What lacks of the place that the calls are about.
    pub(super) fn lacks(&self, written: &Written) -> Option<Lacking> {
        let context = &self.log.exam().context;
        // Where the place is said after the save it is not lacking yet.
        let is_save =
            written.calls.iter().any(|call| call.act.is_save()) && !self.log.exam().header.save_first;
        let is_zone = |call: &Call| matches!(&call.act, Act::View(view) if view.zone.is_some());
        match (&context.place.limb, &context.place.zone) {
            (None, _) if is_save => Some(Lacking::LimbOfSave),
            (None, _) if written.calls.iter().any(is_zone) => Some(Lacking::LimbOfZone),
            (Some(_), None) if is_save => Some(Lacking::ZoneOfSave),
            _ => None,
        }
    }

    /// Asks for what lacks: for the limb of a zone once aloud, for a save each time.
    pub(super) fn ask_what_lacks(&mut self, written: &Written, now: Sample) {
        let Some(lacking) = self.lacks(written) else { return };
        let (text, aloud) = match lacking {
            Lacking::LimbOfSave => ("which limb? the still that was saved has none", true),
            Lacking::LimbOfZone => ("which limb? none has been called yet", !self.limb_was_asked),
            Lacking::ZoneOfSave => ("which zone? the still that was saved has none", true),
        };
        self.limb_was_asked |= lacking != Lacking::ZoneOfSave;
        if aloud {
            let question = text.split_inclusive('?').next().unwrap_or(text);
            self.say(question, now);
        }
        self.report(Notice::Incomplete, text);
    }

    /// A device went, or came back.
    pub(super) fn device(&mut self, device: Device, presence: Presence, name: String, now: Sample) {
        if device == Device::Microphone {
            self.note(now, Event::Microphone { state: presence, device: name });
        }
        match (device, presence) {
            (_, Presence::Lost | Presence::Moved) => self.sound(Tone::Alarm),
            // As at the start: it is listening.
            (Device::Microphone, Presence::Back) => self.sound(Tone::Understood),
            (Device::Switch, Presence::Back) => {}
        }
        let (notice, text) = device.line(presence);
        self.report(notice, text);
    }

    /// Heard, kept, and nothing more.
    pub(super) fn pass_over(&mut self, utterance: Utterance, message: &str, help: &str) {
        let problem = Problem { message: message.to_owned(), help: help.to_owned() };
        let event = UtteranceEvent { utterance, outcome: Outcome::Ignored, problems: vec![problem] };
        self.write(event, Vec::new());
    }
}

/// A call that corrects earlier ones or takes them back.
pub(super) fn reaches_back(call: &Call) -> bool {
    let takes_back = matches!(call.act, Act::Command(Command::TakeBack { .. } | Command::TakeBackSave));
    call.corrects || takes_back
}
