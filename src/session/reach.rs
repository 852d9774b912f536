//! How far a spoken correction reaches back: it belongs to what was said just before it.
//!
//! Takes: calls that correct earlier ones, what they would correct, and what was not acted on just before.
//! Gives: the question whether now is meant or what was said long ago; how far a correction reached, in words.
//! Never: lets a correction that is meant for something unheard change what was said before that.
//! Tested in: `tests/it/dialogue_reach.rs`.

use crate::clock::{SAMPLE_RATE_HZ, Sample};
use crate::exam::call::{Act, Call};
use crate::exam::closed_sets::SettledAs;
use crate::exam::correct::is_of_a_kind;
use crate::exam::event::{Event, ExamEvent, Outcome, UtteranceEvent};
use crate::exam::logged::LoggedCall;
use crate::exam::parse::Parsed;
use crate::exam::place::Place;
use crate::session::ask::{Doubt, Offer, SpokenQuestion};
use crate::session::dialogue_state::{Dialogue, OpenQuestion, Unheard, Written};
use crate::session::notice::Notice;
use crate::session::tone::Tone;
use crate::speech::utterance::Utterance;

/// What does not even sound like a call may be what is corrected only where the correction follows within so many
/// samples: after that it was talk.
const AT_ONCE: u64 = 5 * SAMPLE_RATE_HZ as u64;

impl Unheard {
    /// What begins at `from` may be meant for it.
    pub(super) fn is_just_before(&self, from: Sample) -> bool {
        !self.rejected || from.since(self.to) < AT_ONCE
    }

    /// The one at the end of an exam that is resumed, if nothing was acted on or taken back since.
    ///
    /// What did not even sound like a call is too long ago by then. That no reading was a save is not in the journal.
    pub(super) fn at_end(lines: &[ExamEvent]) -> Option<Self> {
        let mut last = None;
        for (idx, line) in lines.iter().enumerate() {
            let call_follows = || lines.get(idx + 1).is_some_and(is_call);
            match &line.event {
                Event::Utterance(heard) => match heard.outcome {
                    Outcome::Asked | Outcome::NotUnderstood if !heard.utterance.rejected => {
                        let to = heard.utterance.span.to;
                        last = Some(Self { heard_seq: line.seq, to, rejected: false, is_no_save: false });
                    }
                    // Understood, and no call follows: it took back what was not acted on.
                    Outcome::Calls if !call_follows() => last = None,
                    _ => {}
                },
                Event::Call(call) if call.call.act.changes_exam() => last = None,
                Event::Settled(settled) if settled.answer == SettledAs::TakenBack => last = None,
                Event::Settled(settled) if settled.taken.is_some() && !call_follows() => last = None,
                _ => {}
            }
        }
        last
    }
}

fn is_call(line: &ExamEvent) -> bool {
    matches!(line.event, Event::Call(_))
}

impl Dialogue {
    /// Keeps in mind what was not acted on; its line is the next one.
    pub(super) fn mind_unheard(&mut self, event: &UtteranceEvent) {
        let Utterance { span, rejected, .. } = event.utterance;
        if matches!(event.outcome, Outcome::Asked | Outcome::NotUnderstood)
            && !(rejected && self.unheard.is_some())
        {
            self.unheard =
                Some(Unheard { heard_seq: self.log.next_seq(), to: span.to, rejected, is_no_save: false });
        }
    }

    fn follows_unheard(&self, from: Sample) -> bool {
        self.unheard.is_some_and(|unheard| unheard.is_just_before(from))
    }

    /// A correction that puts right what is being asked about.
    pub(super) fn is_correction(&self, open: &OpenQuestion, utterance: &Utterance, parsed: &Parsed) -> bool {
        if utterance.rejected || utterance.unsure || matches!(open.question.doubt, Doubt::Reach { .. }) {
            return false;
        }
        let corrects =
            parsed.calls.iter().any(|call| call.corrects) || self.attention.awaits_right(utterance);
        let mut asked = open.question.offers.iter().flat_map(|offer| &offer.calls);
        corrects && asked.any(|asked| parsed.calls.iter().any(|right| is_of_a_kind(&asked.act, &right.act)))
    }

    /// The question that a correction gives rise to which would change what was said long ago, or which may be meant for
    /// what was not acted on just before.
    pub(super) fn reach_question(&self, calls: &[Call]) -> Option<SpokenQuestion> {
        let reached = calls.iter().filter(|call| call.corrects);
        let earliest =
            reached.filter_map(|call| self.log.corrected_by(call)).min_by_key(|earliest| earliest.seq)?;
        let from = calls.first()?.span.from;
        let unheard = self.follows_unheard(from);
        let habits = &self.log.protocols().rules.habits;
        if !unheard && from.since(earliest.sample) <= samples(habits.correction_reach_s) {
            return None;
        }
        let words = calls.first()?.words.clone();
        let doubt =
            Doubt::Reach { right: self.right_in_words(calls), back: self.back_in_words(earliest), unheard };
        let now = calls.iter().map(|call| Call { corrects: false, ..call.clone() }).collect();
        let offer = |calls| Offer { words: words.clone(), calls };
        Some(SpokenQuestion { doubt, offers: vec![offer(now), offer(calls.to_vec())] })
    }

    /// Nobody can be asked what a correction is meant for: neither reading counts.
    pub(super) fn leave_open(&mut self, utterance: Utterance, question: &SpokenQuestion) {
        let words = utterance.text();
        let event =
            UtteranceEvent { utterance, outcome: Outcome::NotUnderstood, problems: vec![question.problem()] };
        self.write(event, Vec::new());
        self.sound(Tone::NotUnderstood);
        self.report(Notice::NotUnderstood, &words);
    }

    /// Says how far a correction reached that changed more than the call that it replaced.
    pub(super) fn tell_reach(&mut self, written: &Written, now: Sample) {
        let Some(reach) = written.calls.iter().filter_map(|call| call.reach).min() else { return };
        let exam = self.log.exam();
        let Some(earliest) = exam.calls.iter().find(|call| call.seq == reach) else { return };
        let is_between = |call: &&LoggedCall| {
            call.seq > reach && call.heard_seq < written.heard_seq && !call.call.corrects
        };
        let moved = exam.calls.iter().filter(is_between).filter(|call| call.withdrawn_by.is_none()).count();
        if moved == 0 {
            return;
        }
        let text = format!("{} {}", self.right_in_words(&written.calls), self.back_in_words(earliest));
        self.say(&text, now);
        self.report(Notice::Answer, &format!("{text}: {moved} calls after it moved with it"));
    }

    /// What the calls say, in as few words as can be.
    fn right_in_words(&self, calls: &[Call]) -> String {
        let protocols = self.log.protocols();
        let words = calls.iter().map(|call| match &call.act {
            Act::View(view) => {
                let (limb, zone) = (view.limb.clone(), view.zone.clone());
                let place =
                    Place { limb, zone, plane: view.plane.clone(), structure: view.structure.clone() };
                Some(place.in_words(protocols)).filter(|words| !words.is_empty())
            }
            act => Some(act.to_string()),
        });
        let words: Vec<String> = words.flatten().collect();
        if words.is_empty() {
            calls.first().map_or_else(String::new, |call| call.words.clone())
        } else {
            words.join(", ")
        }
    }

    /// From where on the call counted that is corrected.
    fn back_in_words(&self, earliest: &LoggedCall) -> String {
        let Act::View(_) = earliest.act else { return format!("instead of {}", earliest.act) };
        let calls = &self.log.exam().calls;
        let zone = calls
            .iter()
            .filter(|call| call.sample >= earliest.sample)
            .find_map(|call| call.context.place.zone.clone());
        zone.map_or_else(|| format!("since {}", earliest.call.words), |zone| format!("from {zone} on"))
    }
}

/// So many seconds as samples; a practice's own file says how many.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a cast saturates
fn samples(seconds: f64) -> u64 {
    (seconds * f64::from(SAMPLE_RATE_HZ)) as u64
}
