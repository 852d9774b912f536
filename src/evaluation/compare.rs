//! A whole exam as heard, compared with the same exam as said.
//!
//! Takes: what was said and what was heard, each in stretches of time with their words and calls.
//! Gives: `EvaluationCounts`, and the `Difference`s behind them.
//! Never: hears; a call is right only if all of it is, the current place included.
//! Tested in: here, and in `tests/it/compare.rs` with real engines.

use std::ops::Range;

use serde::{Deserialize, Serialize};

use crate::clock::Span;
use crate::evaluation::words::{Spelling, wrong};
use crate::exam::call::Act;
use crate::exam::context::Context;
use crate::exam::fold::LoggedCall;
use crate::exam::parse::unit_as_said;
use crate::exam::place::Place;

/// What a call means where it was said.
#[derive(Debug, Clone, PartialEq)]
pub struct Meant {
    /// What it does; a move is known by the place it leads to, so that a place said twice is no error.
    act: Option<Act>,
    corrects: bool,
    /// The current limb, zone, plane and structure, where the call belongs to a place.
    place: Option<Place>,
}

impl Meant {
    /// What a call of an exam means.
    #[must_use]
    pub fn by(logged: &LoggedCall) -> Self {
        Self { corrects: logged.call.corrects, ..Self::new(&logged.call.act, &logged.context) }
    }

    /// The call `act`, which corrects nothing, with what is current just after it.
    #[must_use]
    pub fn new(act: &Act, context: &Context) -> Self {
        let moves = matches!(act, Act::View(_));
        let placed = moves || matches!(act, Act::Finding(_) | Act::Value(_) | Act::Save | Act::Clip);
        Self {
            act: (!moves).then(|| unit_as_said(act.clone())),
            corrects: false,
            place: placed.then(|| context.place.clone()),
        }
    }

    /// Whether it says nothing else than `wanted`, though parts of the place may be lacking.
    fn fits(&self, wanted: &Meant) -> bool {
        let own = self.place.iter().flat_map(Place::parts);
        let wanted_parts = wanted.place.iter().flat_map(Place::parts);
        self.act == wanted.act
            && self.corrects == wanted.corrects
            && own.zip(wanted_parts).all(|(own, wanted)| own.is_none() || own == wanted)
    }

    /// Whether it is a move that `next` goes on with, to a place within this one.
    fn halts_before(&self, next: &Meant) -> bool {
        self.act.is_none() && !next.corrects && self != next && self.fits(next)
    }
}

/// A stretch of speech: a line of the truth, or an utterance as heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Stretch {
    /// When.
    pub span: Span,
    /// Its words; for an utterance taken for talk there are none.
    pub words: String,
    /// What was said, or acted on.
    pub calls: Vec<Meant>,
    /// Heard, but not surely enough: asked about.
    pub asked: bool,
}

/// How far an ear was right.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct EvaluationCounts {
    /// Words in stretches with calls.
    pub words: usize,
    /// Of these, substituted, dropped or inserted.
    pub words_wrong: usize,
    /// Calls said.
    pub calls: usize,
    /// Acted on, and right in everything.
    pub right: usize,
    /// Not acted on, but asked about.
    pub asked: usize,
    /// Acted on as said, but with a part of the place lacking, as when the limb before it was not heard.
    pub incomplete: usize,
    /// Acted on while calls were said, but none of them.
    pub wrong: usize,
    /// Acted on while no call was said.
    pub false_calls: usize,
}

/// A stretch that was not heard as it was said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Difference {
    /// Its beginning, in seconds.
    pub at_s: f64,
    /// The words said.
    pub said: String,
    /// The words heard.
    pub heard: String,
}

/// Holds `heard` against `said`; both in order of time. Words count in their one `spelling`.
#[must_use]
pub fn compare(
    said: &[Stretch],
    heard: &[Stretch],
    spelling: &Spelling,
) -> (EvaluationCounts, Vec<Difference>) {
    let (mut counts, mut differences) = (EvaluationCounts::default(), Vec::new());
    for (rows, utterances) in together(said, heard) {
        let (rows, utterances) = (&said[rows], &heard[utterances]);
        let calls = |side: &[Stretch]| -> Vec<Meant> { side.iter().flat_map(|s| s.calls.clone()).collect() };
        let text = |side: &[Stretch]| {
            let texts: Vec<&str> = side.iter().map(|s| &*s.words).filter(|words| !words.is_empty()).collect();
            texts.join(" ")
        };
        let (said_words, heard_words) = (spelling.of(&text(rows)), spelling.of(&text(utterances)));
        let (wanted, acted) = (calls(rows), calls(utterances));
        let right = in_both(&wanted, &acted, |acted, wanted| acted == wanted);
        let fitting = in_both(&wanted, &acted, Meant::fits);
        // A move that a pause cut in two halts on its way: one call said, two heard, and it leads where it should.
        let halts = acted.windows(2).filter(|pair| pair[0].halts_before(&pair[1])).count();
        let halts = halts.min(acted.len().saturating_sub(wanted.len())).min(acted.len() - fitting);
        let asked = utterances.iter().any(|utterance| utterance.asked);
        counts.calls += wanted.len();
        counts.right += right;
        counts.asked += if asked { wanted.len() - fitting } else { 0 };
        if wanted.is_empty() {
            counts.false_calls += acted.len();
        } else {
            counts.incomplete += fitting - right;
            counts.wrong += acted.len() - fitting - halts;
            counts.words += said_words.len();
            counts.words_wrong += wrong(&said_words, &heard_words);
        }
        if right < wanted.len() || right < acted.len() - halts {
            let first =
                rows.iter().chain(utterances).map(|stretch| stretch.span.from).min().unwrap_or_default();
            differences.push(Difference { at_s: first.seconds(), said: text(rows), heard: text(utterances) });
        }
    }
    (counts, differences)
}

/// Which lines and which utterances belong together: an utterance may hold several lines, and a line several utterances.
fn together(said: &[Stretch], heard: &[Stretch]) -> Vec<(Range<usize>, Range<usize>)> {
    let mut groups = Vec::new();
    let (mut row, mut utterance) = (0, 0);
    while row < said.len() || utterance < heard.len() {
        let (first_row, first_utterance) = (row, utterance);
        let said_first = match (said.get(row), heard.get(utterance)) {
            (Some(said), Some(heard)) => said.span.from <= heard.span.from,
            (said, _) => said.is_some(),
        };
        if said_first {
            row += 1
        } else {
            utterance += 1
        }
        loop {
            let meets = |one: &Stretch, others: &[Stretch]| others.iter().any(|other| same_time(one, other));
            if heard.get(utterance).is_some_and(|next| meets(next, &said[first_row..row])) {
                utterance += 1;
            } else if said.get(row).is_some_and(|next| meets(next, &heard[first_utterance..utterance])) {
                row += 1;
            } else {
                break;
            }
        }
        groups.push((first_row..row, first_utterance..utterance));
    }
    groups
}

/// Whether half of the shorter one lies in the other.
fn same_time(one: &Stretch, other: &Stretch) -> bool {
    let (a, b) = (one.span, other.span);
    let both = a.to.min(b.to).since(a.from.max(b.from));
    2 * both >= a.samples().min(b.samples()).max(1)
}

/// Most calls that are in both by `same`, in the same order.
fn in_both(wanted: &[Meant], acted: &[Meant], same: impl Fn(&Meant, &Meant) -> bool) -> usize {
    let mut row = vec![0; acted.len() + 1];
    for call in wanted {
        let mut corner = 0;
        for (idx, other) in acted.iter().enumerate() {
            let matched = if same(other, call) { corner + 1 } else { 0 };
            corner = row[idx + 1];
            row[idx + 1] = matched.max(corner).max(row[idx]);
        }
    }
    row[acted.len()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Sample;

    fn stretch(from: u64, to: u64, words: &str, acts: &[Act]) -> Stretch {
        let calls = acts.iter().map(|act| Meant::new(act, &Context::default())).collect();
        Stretch {
            span: Span { from: Sample(from), to: Sample(to) },
            words: words.to_owned(),
            calls,
            asked: false,
        }
    }

    fn answer(text: &str) -> Act {
        Act::Answer { answer: crate::language::closed_sets::AnswerWord::named(text).unwrap() }
    }

    #[test]
    fn a_utterance_over_two_lines_and_a_line_in_two_utterances() {
        let said = [
            stretch(100, 200, "yes", &[answer("yes")]),
            stretch(230, 300, "no", &[answer("no")]),
            stretch(1000, 2000, "first second", &[answer("first"), answer("second")]),
        ];
        let heard = [
            stretch(90, 310, "yes no", &[answer("yes"), answer("no")]),
            stretch(950, 1400, "first", &[answer("first")]),
            stretch(1500, 2100, "second", &[answer("second")]),
        ];
        let (counts, differences) = compare(&said, &heard, &Spelling::default());
        assert_eq!((counts.calls, counts.right, counts.wrong, counts.words_wrong), (4, 4, 0, 0));
        assert_eq!(differences, []);
    }

    #[test]
    fn misheard_missed_asked_and_false_calls_are_told_apart() {
        let said = [
            stretch(100, 200, "yes", &[answer("yes")]),
            stretch(400, 500, "yes", &[answer("yes")]),
            stretch(700, 800, "yes", &[answer("yes")]),
            stretch(1000, 1100, "", &[]),
        ];
        let heard = [
            stretch(90, 210, "no", &[answer("no")]),
            Stretch { asked: true, ..stretch(690, 810, "yes", &[]) },
            stretch(990, 1110, "no", &[answer("no")]),
            stretch(1500, 1600, "no", &[answer("no")]),
        ];
        let (counts, differences) = compare(&said, &heard, &Spelling::default());
        let wanted = EvaluationCounts {
            words: 3,
            words_wrong: 2,
            calls: 3,
            asked: 1,
            wrong: 1,
            false_calls: 2,
            ..EvaluationCounts::default()
        };
        assert_eq!(counts, wanted);
        assert_eq!(differences.len(), 5);
    }

    #[test]
    fn a_call_that_lacks_its_place_is_incomplete_and_one_at_another_place_wrong() {
        let at = |zone: Option<&str>| Context {
            place: Place { zone: zone.map(Into::into), ..Place::default() },
            ..Context::default()
        };
        let save = |zone| Stretch {
            calls: vec![Meant::new(&Act::Save, &at(zone))],
            ..stretch(100, 200, "save", &[])
        };
        let of = |heard| {
            let (counts, _) = compare(&[save(Some("x"))], &[save(heard)], &Spelling::default());
            (counts.right, counts.incomplete, counts.wrong)
        };
        assert_eq!([of(Some("x")), of(None), of(Some("y"))], [(1, 0, 0), (0, 1, 0), (0, 0, 1)]);
    }

    #[test]
    fn a_move_that_a_pause_cuts_in_two_is_one_move_and_one_elsewhere_is_wrong() {
        let view = |limb: &str, zone: Option<&str>| Meant {
            act: None,
            corrects: false,
            place: Some(Place { limb: Some(limb.into()), zone: zone.map(Into::into), ..Place::default() }),
        };
        let of = |heard: Vec<Meant>| {
            let said = Stretch {
                calls: vec![view("LH", Some("2A"))],
                ..stretch(100, 200, "left hind two alpha", &[])
            };
            let heard = Stretch { calls: heard, ..stretch(100, 200, "left hind two alpha", &[]) };
            let (counts, differences) = compare(&[said], &[heard], &Spelling::default());
            (counts.right, counts.wrong, differences.len())
        };
        assert_eq!(of(vec![view("LH", None), view("LH", Some("2A"))]), (1, 0, 0));
        assert_eq!(of(vec![view("RH", None), view("LH", Some("2A"))]), (1, 1, 1));
        assert_eq!(of(vec![view("LH", Some("2A")), view("LH", Some("2B"))]), (1, 1, 1));
    }

    #[test]
    fn a_call_at_another_place_is_not_right() {
        let at = |zone: &str| Context {
            place: Place { zone: Some(zone.into()), ..Place::default() },
            ..Context::default()
        };
        assert_ne!(Meant::new(&Act::Save, &at("x")), Meant::new(&Act::Save, &at("y")));
        let answer = answer("yes");
        assert_eq!(Meant::new(&answer, &at("x")), Meant::new(&answer, &at("y")));
    }
}
