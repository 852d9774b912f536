//! What becomes of an utterance: calls, a note, talk, or nothing.
//!
//! Takes: utterances as heard, one after the other, and what they mean.
//! Gives: the journal's `heard` and `call` bodies.
//! Never: I/O, a clock or the record; it only knows whether a pause, a note or a correction is open.
//! Tested in: `tests/it/fold.rs`.

use crate::clock::{SAMPLE_RATE_HZ, Sample};
use crate::exam::call::{Act, Call, Command, FindingSaid, NoteEdge, Problem, Value};
use crate::exam::event::{Outcome, UtteranceEvent};
use crate::exam::joined::JoinedCalls;
use crate::exam::parse::Parsed;
use crate::exam::sizes::which_size;
use crate::language::closed_sets::Class;
use crate::speech::utterance::Utterance;

/// A pause of this many seconds ends a note.
pub const NOTE_PAUSE_S: u64 = 3;
/// A note is over after this many seconds,
const NOTE_S_MAX: u64 = 30;
/// and a conclusion, which says more, after so many.
const CONCLUSION_S_MAX: u64 = 90;
/// The right phrase must begin within this many seconds after a lone "correction".
const CORRECTION_WAIT_S: u64 = 5;

/// What is open while listening.
#[derive(Debug, Clone, Default)]
pub struct Attention {
    paused: bool,
    ended: bool,
    /// End of the last utterance of an open note.
    note_until: Option<Sample>,
    /// Where the open note began.
    note_from: Sample,
    /// The open note is a conclusion.
    is_conclusion: bool,
    /// What was said last.
    just_said: JustSaid,
    /// Which calls belong together when they are taken back.
    joined: JoinedCalls,
    /// End of an utterance that was only "correction".
    correction_until: Option<Sample>,
    /// End of the last utterance, where it was not understood.
    lost_until: Option<Sample>,
}

/// What was said last, as far as the next utterance can go on from it.
#[derive(Debug, Clone, Default)]
struct JustSaid {
    /// A finding: a position or a degree alone can belong to it.
    finding: Option<FindingSaid>,
    /// A number: another one can take its place.
    value: Option<Value>,
    /// The last finding at this place, whatever was measured since: a size alone may be its own.
    lesion: Option<String>,
}

impl JustSaid {
    fn follow(&mut self, act: &Act) {
        self.value = None;
        match act {
            Act::Finding(finding) if finding.class == Class::Quality => self.finding = None,
            Act::Finding(finding) if finding.class == Class::Detail => {
                if let (Some(said), Some(degree)) = (&mut self.finding, &finding.degree) {
                    said.degree = Some(degree.clone());
                }
            }
            // "Smaller than last time": its size may follow.
            Act::Finding(finding) if finding.class == Class::Comparison => {
                self.finding = Some(finding.clone())
            }
            Act::Finding(finding) => {
                self.lesion = (finding.class == Class::Lesion).then(|| finding.term.clone());
                self.finding = Some(finding.clone());
            }
            Act::Value(value) => (self.finding, self.value) = (None, Some(value.clone())),
            _ => *self = Self::default(),
        }
    }
}

impl Attention {
    /// True once "end of exam" was said.
    #[must_use]
    pub fn ended(&self) -> bool {
        self.ended
    }

    /// The exam goes on although "end of exam" was said.
    pub fn go_on(&mut self) {
        self.ended = false;
    }

    /// Decides what becomes of one utterance.
    pub fn decide(&mut self, utterance: Utterance, parsed: Parsed) -> (UtteranceEvent, Vec<Call>) {
        let (outcome, mut calls, problems) = self.outcome(&utterance, parsed);
        let is_lost = outcome == Outcome::NotUnderstood;
        self.lost_until = is_lost.then_some(utterance.span.to);
        if is_lost {
            // "Sorry, fifty one" may be said of the number that was lost, "lateral" of the finding.
            (self.just_said.finding, self.just_said.value) = (None, None);
        }
        self.count_joined(&mut calls);
        self.follow(&calls, utterance.span.to);
        (UtteranceEvent { utterance, outcome, problems }, calls)
    }

    /// True when calls in this utterance would count: no pause, no note, not after the end.
    #[must_use]
    pub fn takes_calls(&self, utterance: &Utterance) -> bool {
        let in_note = self.note_until.is_some_and(|until| within(until, utterance.span.from, NOTE_PAUSE_S));
        !self.ended && !self.paused && !in_note
    }

    /// True when this utterance would go on with an open note.
    #[must_use]
    pub fn is_in_note(&self, utterance: &Utterance) -> bool {
        let is_open = self.note_until.is_some_and(|until| within(until, utterance.span.from, NOTE_PAUSE_S));
        is_open && within(self.note_from, utterance.span.from, note_s_max(self.is_conclusion))
    }

    /// Calls that count now open and close notes, pauses and the exam; `until` is where they end.
    pub fn follow(&mut self, calls: &[Call], until: Sample) {
        for call in calls {
            self.just_said.follow(&call.act);
            self.joined.follow(call);
            match &call.act {
                Act::Note { open, conclusion } => {
                    self.note_until = open.then_some(until);
                    self.note_from = call.span.from;
                    self.is_conclusion = *conclusion;
                }
                Act::Command(Command::PauseJournal) => self.paused = true,
                Act::Command(Command::ResumeJournal) => self.paused = false,
                Act::Command(Command::EndOfExam) => self.ended = true,
                _ => {}
            }
        }
    }

    /// "Disregard" takes the last phrase back: all calls that came out of it.
    pub(crate) fn count_joined(&self, calls: &mut [Call]) {
        let mut joined = self.joined.clone();
        for call in calls {
            if let Act::Command(Command::TakeBack { count }) = &mut call.act {
                *count = joined.calls_in(*count);
            }
            joined.follow(call);
        }
    }

    /// True when the utterance before was only "correction": calls in this one correct earlier ones. That counts once.
    pub fn corrects(&mut self, utterance: &Utterance) -> bool {
        let corrects = self.awaits_right(utterance);
        self.correction_until = None;
        corrects
    }

    /// The same, without counting.
    #[must_use]
    pub fn awaits_right(&self, utterance: &Utterance) -> bool {
        self.correction_until.is_some_and(|until| within(until, utterance.span.from, CORRECTION_WAIT_S))
    }

    /// "The check isn't", not understood, and "enlarged" soon after: the rest of it, which may mean the opposite of what was
    /// said. A limb, a place, a structure, a save and the like say by themselves what they mean: they are the rest only where
    /// their words begin before what was not understood was over. An utterance begins in the quiet before its words.
    fn goes_on_from_lost(&self, utterance: &Utterance, calls: &[Call]) -> bool {
        let (Some(until), Some(first)) = (self.lost_until, calls.first()) else { return false };
        let says_what =
            matches!(first.act, Act::View(_) | Act::Save | Act::Clip | Act::Command(_) | Act::Setting { .. });
        let words = utterance.words.first().map_or(utterance.span.from, |word| word.span.from);
        (if says_what { words } else { utterance.span.from }) < until
    }

    fn outcome(&mut self, utterance: &Utterance, mut parsed: Parsed) -> (Outcome, Vec<Call>, Vec<Problem>) {
        if utterance.rejected || utterance.unsure {
            let may_end_note = utterance.unsure && !utterance.rejected && ends_note(&parsed);
            parsed.held = may_end_note.then(|| utterance.text());
            // Not even to end a pause or a note: a doubted utterance changes nothing.
            parsed.calls.clear();
        }
        if self.ended || self.paused {
            return self.while_closed(parsed);
        }
        if self.note_goes_on(utterance) && !ends_note(&parsed) {
            let held = held_in_note(parsed.held, &parsed.calls);
            let ends = parsed.calls.into_iter().filter(|call| call.act.is_note_edge(NoteEdge::Ends));
            return (Outcome::Note, ends.take(1).collect(), held.into_iter().collect());
        }
        if utterance.rejected {
            let problem = Problem::new("does not sound like a call", "if it was one, say it again");
            return (Outcome::NotUnderstood, Vec::new(), vec![problem]);
        }
        if utterance.unsure {
            return (Outcome::NotUnderstood, Vec::new(), vec![which(utterance)]);
        }
        if self.goes_on_from_lost(utterance, &parsed.calls) {
            return (Outcome::NotUnderstood, Vec::new(), vec![lost_beginning()]);
        }
        self.note_until = None;
        if let Some(problem) = self.lost_detail(&parsed.calls).or_else(|| self.lost_size(&parsed.size_of)) {
            return (Outcome::NotUnderstood, Vec::new(), vec![problem]);
        }
        let mut calls = parsed.calls;
        match parsed.instead.map(|instead| instead.corrects(self.just_said.value.as_ref())) {
            Some(Ok(call)) => calls.insert(0, call),
            Some(Err(problem)) => return (Outcome::NotUnderstood, Vec::new(), vec![problem]),
            None => {}
        }
        // An answer that nobody waits for is said to somebody else.
        let heard_answer = calls.iter().any(is_answer);
        calls.retain(|call| !is_answer(call));
        if self.corrects(utterance) {
            calls.iter_mut().for_each(|call| call.corrects = true);
        }
        if parsed.correction_waits {
            self.correction_until = Some(utterance.span.to);
        }
        let outcome = match calls.iter().position(|call| call.act.is_note_edge(NoteEdge::Begins)) {
            Some(opens) => {
                let rest = calls.split_off(opens + 1);
                parsed.problems.extend(held_in_note(parsed.held, &rest));
                calls.extend(rest.into_iter().filter(|call| call.act.is_note_edge(NoteEdge::Ends)).take(1));
                if opens == 0 { Outcome::Note } else { Outcome::Calls }
            }
            None if !calls.is_empty() || parsed.correction_waits => Outcome::Calls,
            None if (parsed.talk || heard_answer) && parsed.problems.is_empty() => Outcome::Talk,
            None => Outcome::NotUnderstood,
        };
        (outcome, calls, parsed.problems)
    }

    /// A position alone says something only of a finding just before it: "three o'clock" may be an appointment. So does a
    /// degree, of a finding that has none.
    fn lost_detail(&self, calls: &[Call]) -> Option<Problem> {
        let mut just_said = self.just_said.clone();
        for call in calls {
            if let Act::Finding(detail) = &call.act
                && detail.class == Class::Detail
            {
                let Some(of) = &just_said.finding else {
                    return Some(if detail.degree.is_some() { lost_degree() } else { lost_position() });
                };
                if detail.degree.is_some() && !call.corrects && !of.takes_degree() {
                    return Some(lost_degree());
                }
            }
            just_said.follow(&call.act);
        }
        None
    }

    /// "Eight millimetres wide", just after a lesion: the lesion, or what it is in?
    fn lost_size(&self, could_be_of: &[String]) -> Option<Problem> {
        let is_unclear = self.just_said.lesion.as_ref().is_some_and(|term| could_be_of.contains(term));
        is_unclear.then(which_size)
    }

    /// While paused only resuming the journal counts; after the end nothing does.
    fn while_closed(&self, parsed: Parsed) -> (Outcome, Vec<Call>, Vec<Problem>) {
        // An answer that nobody waits for is talk, too.
        let is_talk = !parsed.calls.is_empty() && parsed.calls.iter().all(is_answer)
            || parsed.talk && parsed.calls.is_empty();
        if self.ended && is_talk && parsed.problems.is_empty() {
            return (Outcome::Talk, Vec::new(), Vec::new());
        }
        let start = Act::Command(Command::ResumeJournal);
        let starts = parsed.calls.into_iter().filter(|call| !self.ended && call.act == start);
        let calls: Vec<Call> = starts.take(1).collect();
        let outcome = if calls.is_empty() { Outcome::Ignored } else { Outcome::Calls };
        (outcome, calls, Vec::new())
    }

    /// True when this utterance belongs to an open note; a long pause closes the note first.
    fn note_goes_on(&mut self, utterance: &Utterance) -> bool {
        let goes_on = self.is_in_note(utterance);
        self.note_until = goes_on.then_some(utterance.span.to);
        goes_on
    }
}

/// A note, or a conclusion, is over after this many seconds.
#[must_use]
pub const fn note_s_max(conclusion: bool) -> u64 {
    if conclusion { CONCLUSION_S_MAX } else { NOTE_S_MAX }
}

/// Nobody is there to answer while a recording is heard, so the two likeliest readings are kept to be listened for.
fn which(utterance: &Utterance) -> Problem {
    let message = match utterance.rivals.first() {
        Some(rival) => format!("may be `{}` or `{}`; neither was acted on", utterance.text(), rival.words),
        None => format!("may be `{}`, but it is unsure; not acted on", utterance.text()),
    };
    Problem { message, help: "listen to it; if it was a call, say it again".to_owned() }
}

fn lost_beginning() -> Problem {
    Problem::new("it continues words that were not understood; not acted on", "say the whole phrase again")
}

fn lost_position() -> Problem {
    Problem::new("a position without a finding just before it", "say the finding with its position")
}

fn lost_degree() -> Problem {
    Problem::new(
        "a degree without a lesion just before it that has none yet",
        "say the finding with its degree, or `make that` with the right degree",
    )
}

/// A surely heard save, limb, zone or end of exam ends a note and counts as itself. So does a plane, a structure or a level
/// that is all of the utterance: among other words it is spoken of.
fn ends_note(parsed: &Parsed) -> bool {
    let is_place = |call: &Call| matches!(&call.act, Act::View(view) if view.plane.is_some() || view.structure.is_some() || view.level_cm.is_some());
    let is_only_place = !parsed.talk && !parsed.calls.is_empty() && parsed.calls.iter().all(is_place);
    parsed.problems.is_empty() && (is_only_place || parsed.calls.iter().any(|call| call.act.ends_note()))
}

/// What was said within a note and may have been meant for the exam: it was not acted on.
fn held_in_note(held: Option<String>, calls: &[Call]) -> Option<Problem> {
    let is_meant = |call: &Call| call.act.ends_note() || matches!(call.act, Act::View(_));
    let said = || {
        let words: Vec<&str> = calls.iter().map(|call| call.words.as_str()).collect();
        calls.iter().any(is_meant).then(|| words.join(" "))
    };
    held.or_else(said).map(|words| {
        Problem::new(
            format!("it holds `{words}`, which was taken for a part of the note"),
            "listen; pause before a call, or say `end of note` first",
        )
    })
}

fn is_answer(call: &Call) -> bool {
    matches!(call.act, Act::Answer { .. })
}

fn within(until: Sample, from: Sample, seconds: u64) -> bool {
    from.since(until) < seconds * u64::from(SAMPLE_RATE_HZ)
}
