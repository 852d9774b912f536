//! An utterance that was wholly said is over at a short pause; one that may go on waits for a long one.
use crate::support;
use crate::support::speech;

use speech::{SECOND, room, spoken};
use std::collections::VecDeque;
use zonecall::clock::Sample;

use zonecall::exam::call::{Act, Call, View};
use zonecall::exam::parse::parse;
use zonecall::exam::phrase_end::{AnswerExpected, is_whole, stands_apart, tells_of_another};
use zonecall::language::graph::WordGraph;
use zonecall::language::word_states::Moment;
use zonecall::speech::endpoint::Endpointer;
use zonecall::speech::utterance::UtteranceAudio;

fn whole(words: &str) -> bool {
    let words: Vec<&str> = words.split(' ').collect();
    is_whole(&words, AnswerExpected::No, &support::BUILT_IN.0, &support::BUILT_IN.1)
}

#[test]
fn what_can_follow_decides_whether_a_phrase_is_over() {
    let is_over = [
        "save",               // "that" says nothing more
        "superficial flexor", // nor does "tendon"
        "area one point oh seven square centimetres",
        "left fore zone two alpha transverse",
        "zone three bravo",
        "normal",
        "echo score two",
        "take that back",
        "save",
        "transverse",
        "no core lesion",
        "tendon sheath", // "distended" is said of it
        "where am i",
        "end of exam",
        "steady",
    ];
    let waits: Vec<&str> = is_over.into_iter().filter(|words| !whole(words)).collect();
    assert!(waits.is_empty(), "{waits:?}");
    let may_go_on = [
        "area one",                     // "point two"
        "area one hundred",             // "and twelve"
        "area one point oh",            // "seven"
        "area one point oh seven five", // "square millimetres"
        "level twelve",                 // "and a half"
        "gain sixty",                   // "five"
        "suspensory",                   // "origin"
        "left fore two bravo s l",      // "body"
        "longitudinal",                 // "split"
        "abnormal",                     // "area"
        "box eighty",                   // "one"
        "lateral branch",               // "of the superficial"
        "oblique sesamoidean ligament", // "medial"
        "core lesion",                  // "central"
        "core lesion palmar",           // "medial"
        "zone two",                     // no phrase yet
        "disregard the last two",       // "alpha": the last is taken back, and a zone begins
        "good morning",
    ];
    let taken: Vec<&str> = may_go_on.into_iter().filter(|words| whole(words)).collect();
    assert!(taken.is_empty(), "{taken:?}");
}

#[test]
fn what_was_found_before_a_pause_is_not_given_to_the_structure_named_after_it() {
    let another = |first: &str, rest: &str| {
        let (first, rest): (Vec<&str>, Vec<&str>) = (first.split(' ').collect(), rest.split(' ').collect());
        tells_of_another(&first, &rest, &support::BUILT_IN.0, &support::BUILT_IN.1)
    };
    for (first, rest) in [
        ("normal area one hundred", "deep flexor echo score two"),
        ("no abnormality detected area one hundred", "longitudinal check ligament echo score four"),
        ("core lesion", "suspensory body normal"),
    ] {
        assert!(another(first, rest), "{first} | {rest}");
    }
    for (first, rest) in [
        ("superficial flexor", "normal"),      // a place, and what was found there
        ("core lesion", "superficial flexor"), // a finding, and where it was
        ("superficial flexor core lesion", "save that"), // nothing changes its owner
        ("core lesion", "central"),            // one phrase
        ("superficial flexor normal", "deep flexor core lesion"),
    ] {
        assert!(!another(first, rest), "{first} | {rest}");
    }
}

#[test]
fn what_makes_one_call_with_what_was_said_before_a_pause_does_not_stand_apart() {
    let apart = |first: &str, rest: &str| {
        let (first, rest): (Vec<&str>, Vec<&str>) = (first.split(' ').collect(), rest.split(' ').collect());
        stands_apart(&first, &rest, &support::BUILT_IN.0, &support::BUILT_IN.1)
    };
    assert!(!apart("right hind", "longitudinal") && !apart("zone two bravo", "transverse"));
    assert!(!apart("medial", "branch normal"));
    assert!(apart("area one", "save") && apart("longitudinal", "area one"));
}

/// For each way in which a phrase can stand there whole, the fewest words that lead to it.
fn shortest_phrases(graph: &WordGraph) -> Vec<(usize, Vec<&str>)> {
    let start = graph.starts.of(Moment::default());
    let mut lead: Vec<Option<Vec<&str>>> = vec![None; graph.arcs.len()];
    lead[start] = Some(Vec::new());
    let mut open = VecDeque::from([start]);
    while let Some(state) = open.pop_front() {
        let words = lead[state].clone().unwrap();
        for (word, to) in &graph.arcs[state] {
            if lead[*to].is_none() {
                lead[*to] = Some([words.as_slice(), &[word.as_str()]].concat());
                open.push_back(*to);
            }
        }
    }
    graph.ends.iter().filter_map(|end| Some((*end, lead[*end].clone()?))).collect()
}

fn calls_of(words: &[&str]) -> Vec<Call> {
    parse(&support::utterance(0.0, &words.join(" ")), &support::BUILT_IN.0, &support::BUILT_IN.1).calls
}

/// Where a call is undone by the word that was still to come: the structure, the number or the term is another one.
fn is_undone(call: &Call, longer: &[Call]) -> bool {
    let says = |act: &Act, structure: &str| match act {
        Act::View(View { structure: Some(code), .. }) => code.as_str() == structure,
        Act::Finding(finding) => finding.structure.as_ref().is_some_and(|code| code.as_str() == structure),
        Act::Value(value) => value.said.structure.as_ref().is_some_and(|code| code.as_str() == structure),
        _ => false,
    };
    let kept = |other: &Call| match (&call.act, &other.act) {
        (Act::View(View { structure: Some(code), .. }), act) => says(act, code.as_str()),
        (Act::View(one), Act::View(other)) => one.plane.is_none() || one.plane == other.plane,
        (Act::Finding(one), Act::Finding(other)) => one.term == other.term && one.class == other.class,
        (Act::Value(one), Act::Value(other)) => one.amount.number == other.amount.number,
        (Act::Identity { value, .. }, Act::Identity { value: other, .. }) => value == other,
        (one, other) => std::mem::discriminant(one) == std::mem::discriminant(other),
    };
    !longer.iter().any(kept)
}

#[test]
fn no_pause_acts_on_half_a_phrase_whatever_its_last_word() {
    let language = &support::BUILT_IN.0;
    let graph = &WordGraph::new(&language.engine.graph);
    let (mut undone, mut tried) = (Vec::new(), 0);
    for (end, words) in shortest_phrases(graph) {
        let calls = calls_of(&words);
        // A save is taken at once: "save the clip" is said in one go.
        if calls.last().is_none_or(|call| call.act.is_closing()) || !whole(&words.join(" ")) {
            continue;
        }
        let ends = graph.arcs[end].iter().filter(|(_, to)| graph.ends.contains(to));
        for longer in ends.map(|(word, _)| [words.as_slice(), &[word.as_str()]].concat()) {
            tried += 1;
            let then = calls_of(&longer);
            if calls.iter().any(|call| is_undone(call, &then)) {
                undone.push(longer.join(" "));
            }
        }
    }
    assert!(tried > 500, "{tried}");
    assert!(undone.is_empty(), "{} of {tried}: {:?}", undone.len(), &undone[..undone.len().min(60)]);
}

#[test]
fn an_answer_is_whole_only_while_one_is_waited_for() {
    let (language, protocols) = &*support::BUILT_IN;
    assert!(is_whole(&["yes"], AnswerExpected::Yes, language, protocols));
    assert!(!is_whole(&["yes"], AnswerExpected::No, language, protocols));
}

/// A quiet room, and in it a voice: `save` with `gap` seconds before `normal`.
fn said(gap: f64) -> (Vec<i16>, [std::ops::Range<usize>; 2]) {
    let (first, second) = (word("save"), word("normal"));
    let before = [room(1.0), first].concat();
    let between = room(gap);
    let from = before.len() + between.len();
    let spans = [SECOND..before.len(), from..from + second.len()];
    ([before, between, second, room(1.5)].concat(), spans)
}

/// A word without the quiet around it.
fn word(text: &str) -> Vec<i16> {
    let samples = spoken(text);
    let loud = |sample: &i16| sample.unsigned_abs() > 300;
    let (from, to) = (samples.iter().position(loud).unwrap(), samples.iter().rposition(loud).unwrap());
    samples[from..to].to_vec()
}

/// The utterances, each with the number of samples that had been taken when it ended.
fn utterances(mut endpointer: Endpointer, audio: &[i16], early: bool) -> Vec<(UtteranceAudio, usize)> {
    let mut found = Vec::new();
    for (idx, piece) in audio.chunks(160).enumerate() {
        let ended = endpointer.take_asking(piece, |_| early);
        found.extend(ended.into_iter().map(|segment| (segment, (idx + 1) * 160)));
    }
    found
}

#[test]
fn a_whole_utterance_ends_a_quarter_of_a_second_sooner_with_all_its_sound() {
    let (audio, [first, second]) = said(1.5);
    let late = utterances(Endpointer::new(Sample::FIRST), &audio, true);
    let early = utterances(Endpointer::asking_early(Sample::FIRST), &audio, true);
    let unsure = utterances(Endpointer::asking_early(Sample::FIRST), &audio, false);
    assert_eq!((late.len(), early.len()), (2, 2));
    for (idx, said) in [first, second].into_iter().enumerate() {
        let (segment, at) = &early[idx];
        assert!(at + SECOND / 4 <= late[idx].1, "{at} instead of {}", late[idx].1);
        assert!(segment.span.from.0 as usize <= said.start && said.end <= segment.span.to.0 as usize);
        assert_eq!(segment.samples, audio[segment.span.from.0 as usize..segment.span.to.0 as usize]);
    }
    assert_eq!(unsure, late, "an utterance that may go on waits for the long pause");
}

#[test]
fn what_follows_at_once_is_a_utterance_of_its_own_and_nothing_between_is_lost() {
    let (audio, [first, second]) = said(0.25);
    let found = utterances(Endpointer::asking_early(Sample::FIRST), &audio, true);
    assert_eq!(found.len(), 2, "{:?}", found.iter().map(|(segment, _)| segment.span).collect::<Vec<_>>());
    let [(one, _), (two, _)] = &found[..] else { unreachable!() };
    assert!(first.end <= one.span.to.0 as usize && one.span.to.0 as usize <= second.start);
    assert!(two.span.from.0 as usize <= second.start && second.end <= two.span.to.0 as usize);
    assert_eq!(
        utterances(Endpointer::new(Sample::FIRST), &audio, true).len(),
        1,
        "without asking they are one utterance"
    );
}
