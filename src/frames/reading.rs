//! The stills of an exam as one clock reads them: each with its call, or with what it could be.
//!
//! Takes: the exam, the moments at which stills were said to be saved, the stills, and a clock.
//! Gives: for each still its call by that clock, how sure that is, and what else it could be.
//! Never: chooses between two labels that do about as well.
//! Tested in: `tests/it/pair.rs`.

use chrono::{DateTime, Utc};

use crate::exam::call::{Act, Command};
use crate::exam::fold::Exam;
use crate::exam::place::Place;
use crate::frames::assign::{Edge, assign};
use crate::frames::clock_fit::{Candidate, Saved, exam_s};
use crate::frames::pairing::{PairedFrame, Tie};

// The limits of pairing are our own choices; none has a source.

/// Stills this long before the start or after the end of the exam still belong to it, in seconds.
const GRACE_S: f64 = 30.0;
/// A still without a call lies between two calls without a still where neither is further than this, in seconds.
const BETWEEN_S: f64 = 15.0;
/// A call is in the middle between two stills where its distances to them differ by no more than this, in seconds.
const EVEN_S: f64 = 0.15;
/// Two readings are about as likely when neither is more than this many times likelier than the other.
const ABOUT: f64 = 3.0;
/// Weight of "it is none of these" against a perfect fit.
const CHANCE: f64 = 0.05;
/// How far a context can be trusted at its best: nobody said that a still was saved.
const CONTEXT_MOST: f64 = 0.7;

/// A moment at which a still was said to be saved: a save call or a clock mark.
pub(super) struct PairMoment {
    pub(super) at_s: f64,
    pub(super) call: usize,
    pub(super) save: bool,
    pub(super) mark: bool,
}

/// A still with its place in the caller's list.
#[derive(Clone)]
pub(super) struct NumberedStill {
    pub(super) frame: usize,
    pub(super) saved: Saved,
    /// What a person said of it.
    pub(super) hand: Option<Tie>,
}

pub(super) fn since_start_s(exam: &Exam, at: DateTime<Utc>) -> f64 {
    (at - exam.header.started_at).as_seconds_f64()
}

pub(super) fn label(exam: &Exam, call: usize) -> Place {
    exam.calls[call].context.place.clone()
}

/// A still that a person placed leaves the calls to the others; a call that a person gave away goes to no other.
fn free(stills: &[NumberedStill], still: usize, call: usize) -> bool {
    match stills[still].hand {
        Some(hand) => hand == Tie::Hand(call),
        None => stills.iter().all(|other| other.hand != Some(Tie::Hand(call))),
    }
}

/// The stills read by one clock.
pub(super) struct PairReading<'a> {
    exam: &'a Exam,
    moments: &'a [PairMoment],
    /// Calls that set the place, by the second they were said.
    calls: Vec<(f64, usize)>,
    /// When each still was saved, in exam seconds.
    pub(super) at_s: Vec<f64>,
    /// Spread of a still about its call, in seconds.
    spread_s: Vec<f64>,
    /// The moment of each still.
    pub(super) moment_of: Vec<Option<usize>>,
    /// The still of each moment.
    still_of: Vec<Option<usize>>,
    /// Start and end of the exam, in seconds.
    bounds_s: (f64, f64),
}

impl<'a> PairReading<'a> {
    pub(super) fn new(
        exam: &'a Exam,
        moments: &'a [PairMoment],
        stills: &[NumberedStill],
        by: &Candidate,
    ) -> Self {
        let at_s: Vec<f64> = stills.iter().map(|still| exam_s(&by.clock, still.saved.at_s)).collect();
        let spread_s: Vec<f64> = stills
            .iter()
            // A step of the clock spreads evenly: its standard deviation is a twelfth's root.
            .map(|still| by.spread_s.max(still.saved.resolution_s / 12.0_f64.sqrt()).clamp(0.25, 1.0))
            .collect();
        let mut edges = Vec::new();
        for (column, (still_s, spread_s)) in at_s.iter().zip(&spread_s).enumerate() {
            let reach_s = (4.0 * spread_s).clamp(1.5, 3.0);
            let first = moments.partition_point(|moment| moment.at_s < still_s - reach_s);
            let near = moments[first..].iter().take_while(|moment| moment.at_s <= still_s + reach_s);
            for (idx, moment) in near.enumerate().filter(|(_, moment)| free(stills, column, moment.call)) {
                let off = (moment.at_s - still_s) / reach_s;
                edges.push(Edge { row: first + idx, column, worth: 1.0 - off * off });
            }
        }
        let (mut moment_of, mut still_of) = (vec![None; stills.len()], vec![None; moments.len()]);
        for (moment, still) in assign(edges) {
            moment_of[still] = Some(moment);
            still_of[moment] = Some(still);
        }
        let calls = calls_s(exam);
        let bounds_s = (-GRACE_S, end_s(exam, &calls) + GRACE_S);
        Self { exam, moments, calls, at_s, spread_s, moment_of, still_of, bounds_s }
    }

    pub(super) fn frames(&self, sure: f64) -> Vec<PairedFrame> {
        let mut frames: Vec<PairedFrame> = (0..self.at_s.len()).map(|still| self.frame(still)).collect();
        for frame in &mut frames {
            frame.confidence *= sure;
        }
        frames
    }

    /// How well a still fits a moment, 1 at best.
    fn likely(&self, still: usize, moment: usize) -> f64 {
        let off = (self.at_s[still] - self.moments[moment].at_s) / self.spread_s[still];
        (-0.5 * off * off).exp()
    }

    fn frame(&self, still: usize) -> PairedFrame {
        match self.moment_of[still] {
            Some(moment) => self.called(still, moment),
            None => self.uncalled(still),
        }
    }

    fn answer(
        &self,
        still: usize,
        tie: Tie,
        confidence: f64,
        rivals: Vec<(usize, f64, String)>,
    ) -> PairedFrame {
        PairedFrame { exam_s: Some(self.at_s[still]), tie, confidence, rivals }
    }

    /// A still that has a moment of its own.
    fn called(&self, still: usize, moment: usize) -> PairedFrame {
        let own = self.likely(still, moment);
        let call = self.moments[moment].call;
        let mut others = CHANCE;
        let mut rivals: Vec<(usize, f64, String)> = Vec::new();
        let mut twin = None;
        for near in [moment.checked_sub(1), Some(moment + 1)].into_iter().flatten() {
            if self.still_of.get(near).is_some_and(Option::is_none) {
                let likely = self.likely(still, near);
                others += likely;
                if likely * ABOUT >= own && self.differ(call, self.moments[near].call) {
                    rivals.push((
                        self.moments[near].call,
                        likely,
                        "about as near, and without a still".to_owned(),
                    ));
                }
            }
        }
        for near in [still.checked_sub(1), Some(still + 1)].into_iter().flatten() {
            if self.moment_of.get(near).is_some_and(Option::is_none) {
                let likely = self.likely(near, moment);
                others += likely;
                let other = self.in_force(self.at_s[still]).unwrap_or(call);
                let open = self.differ(call, other) || self.is_half_way(moment, still, near);
                if likely * ABOUT >= own && open {
                    let why = "another still is about as near to the save call".to_owned();
                    twin = Some((other, likely, why));
                }
            }
        }
        // A call in the middle is given to neither still, even where both would get the same label from it.
        rivals.extend(twin);
        let sure = own / (own + others);
        if !rivals.is_empty() {
            rivals.insert(0, (call, own, "the nearest save call".to_owned()));
            return self.open(still, rivals);
        }
        self.answer(still, Tie::Save(call), sure, rivals)
    }

    /// A still that no moment was left for.
    fn uncalled(&self, still: usize) -> PairedFrame {
        let at_s = self.at_s[still];
        if at_s < self.bounds_s.0 || at_s > self.bounds_s.1 {
            return self.answer(still, Tie::Nothing, 0.0, Vec::new());
        }
        let rivals = self.between(still);
        if !rivals.is_empty() {
            return self.open(still, rivals);
        }
        let Some(call) = self.in_force(at_s).filter(|_| self.was_called_just_before(at_s)) else {
            return self.answer(still, Tie::Nothing, 0.0, Vec::new());
        };
        // Near a change of the label, the still may belong to either side of it.
        let slack_s = 2.0 * self.spread_s[still];
        let mut rivals: Vec<(usize, f64, String)> = Vec::new();
        for other in [self.in_force(at_s - slack_s), self.in_force(at_s + slack_s)].into_iter().flatten() {
            if self.differ(call, other) {
                rivals.push((other, 0.5, "said within the spread of the clock".to_owned()));
            }
        }
        let sure = if rivals.is_empty() { CONTEXT_MOST } else { CONTEXT_MOST / 2.0 };
        self.answer(still, Tie::Context(call), sure, rivals)
    }

    /// Two readings of a still that has no moment: about half-way between two moments that have no still,
    /// or about as near to a moment as the still that took it.
    fn between(&self, still: usize) -> Vec<(usize, f64, String)> {
        let at_s = self.at_s[still];
        let after = self.moments.partition_point(|moment| moment.at_s < at_s);
        let near: Vec<usize> = [after.checked_sub(1), Some(after).filter(|idx| *idx < self.moments.len())]
            .into_iter()
            .flatten()
            .collect();
        if let [before, after] = near[..] {
            let (left_s, right_s) = (at_s - self.moments[before].at_s, self.moments[after].at_s - at_s);
            let free = self.still_of[before].is_none() && self.still_of[after].is_none();
            let even = (left_s - right_s).abs() <= 2.0 * self.spread_s[still];
            let (first, second) = (self.moments[before].call, self.moments[after].call);
            if free && even && left_s.max(right_s) <= BETWEEN_S && self.differ(first, second) {
                let why = || "half-way between two save calls without a still".to_owned();
                return vec![(first, 0.5, why()), (second, 0.5, why())];
            }
        }
        for moment in near {
            let Some(owner) = self.still_of[moment] else {
                continue;
            };
            let (mine, theirs) = (self.likely(still, moment), self.likely(owner, moment));
            let call = self.moments[moment].call;
            let other = self.in_force(at_s).unwrap_or(call);
            let open = self.differ(call, other) || self.is_half_way(moment, still, owner);
            if mine * ABOUT >= theirs && open {
                let why = "another still is about as near to the save call".to_owned();
                return vec![
                    (other, theirs, "the place last called when it was saved".to_owned()),
                    (call, mine, why),
                ];
            }
        }
        Vec::new()
    }

    /// The moment lies in the middle between two stills: nothing says which of them was meant.
    fn is_half_way(&self, moment: usize, one: usize, other: usize) -> bool {
        let off = |still: usize| self.at_s[still] - self.moments[moment].at_s;
        off(one) * off(other) < 0.0 && (off(one) + off(other)).abs() <= EVEN_S
    }

    fn open(&self, still: usize, mut rivals: Vec<(usize, f64, String)>) -> PairedFrame {
        let total: f64 = rivals.iter().map(|rival| rival.1).sum();
        for rival in &mut rivals {
            rival.1 /= total.max(f64::MIN_POSITIVE);
        }
        let most = rivals.iter().map(|rival| rival.1).fold(0.0, f64::max);
        self.answer(still, Tie::Open, most, rivals)
    }

    fn differ(&self, one: usize, other: usize) -> bool {
        label(self.exam, one) != label(self.exam, other)
    }

    fn placed(&self, call: usize) -> bool {
        let context = &self.exam.calls[call].context;
        context.place.limb.is_some() && context.place.zone.is_some()
    }

    /// Something was called not long before this second: after that nobody knows where the probe is.
    fn was_called_just_before(&self, at_s: f64) -> bool {
        let after = self.calls.partition_point(|(said_s, _)| *said_s <= at_s);
        after.checked_sub(1).is_some_and(|last| at_s - self.calls[last].0 <= self.exam.header.context_s())
    }

    /// The last call before this second, where limb and zone were current; after the end nobody says what is scanned.
    fn in_force(&self, at_s: f64) -> Option<usize> {
        let after = self.calls.partition_point(|(said_s, _)| *said_s <= at_s);
        let call = last_change(self.exam, &self.calls[..after])?.1;
        (self.placed(call) && !is_end(self.exam, call)).then_some(call)
    }
}

/// The calls that count, by the second they were said.
fn calls_s(exam: &Exam) -> Vec<(f64, usize)> {
    let mut calls: Vec<(f64, usize)> = (exam.calls.iter().enumerate())
        .filter(|(_, call)| call.withdrawn_by.is_none())
        .map(|(idx, call)| (since_start_s(exam, call.said_at), idx))
        .collect();
    calls.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    calls
}

/// Beginning and end of the exam, in seconds since its start.
pub(super) fn bounds_s(exam: &Exam) -> (f64, f64) {
    (0.0, end_s(exam, &calls_s(exam)))
}

fn is_end(exam: &Exam, call: usize) -> bool {
    exam.calls[call].act == Act::Command(Command::EndOfExam)
}

/// The last call that says something of the exam: the answer to "end anyway?" comes after the end.
fn last_change(exam: &Exam, calls: &[(f64, usize)]) -> Option<(f64, usize)> {
    calls.iter().rev().find(|(_, call)| exam.calls[*call].act.changes_exam()).copied()
}

/// When the exam ended, in seconds: said so, or the end of listening, or the last that was heard. An end that other calls
/// follow was none.
fn end_s(exam: &Exam, calls: &[(f64, usize)]) -> f64 {
    let said = last_change(exam, calls).filter(|(_, call)| is_end(exam, *call));
    let heard = || {
        let last = exam.utterances.iter().map(|utterance| since_start_s(exam, utterance.said_at));
        last.chain(calls.iter().map(|call| call.0)).fold(0.0, f64::max)
    };
    let closed = || exam.closed.as_ref().map(|(at, _)| since_start_s(exam, *at));
    said.map(|call| call.0).or_else(closed).unwrap_or_else(heard)
}

pub(super) fn call_of(tie: Tie) -> Option<usize> {
    match tie {
        Tie::Save(call) | Tie::Context(call) | Tie::Hand(call) => Some(call),
        Tie::Label(_) | Tie::LeftOut | Tie::Open | Tie::Nothing => None,
    }
}
