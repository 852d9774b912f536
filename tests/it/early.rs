//! An utterance that was wholly said is over at a short pause; one that may go on waits for a long one.
use crate::support;
use crate::support::speech;

use speech::{SECOND, room, spoken};
use zonecall::clock::Sample;
use zonecall::exam::parse::is_whole;
use zonecall::speech::endpoint::Endpointer;
use zonecall::speech::utterance::UtteranceAudio;

fn whole(words: &str) -> bool {
    let words: Vec<&str> = words.split(' ').collect();
    is_whole(&words, false, &support::BUILT_IN.0, &support::BUILT_IN.1)
}

#[test]
fn what_can_follow_decides_whether_a_phrase_is_over() {
    for words in [
        "save",               // "that" says nothing more
        "superficial flexor", // nor does "tendon"
        "area one point oh seven square centimetres",
        "left fore zone two alpha transverse",
        "zone three bravo",
        "normal",
        "echo score two",
        "take that back",
        "where am i",
        "end of exam",
        "steady",
    ] {
        assert!(whole(words), "{words}");
    }
    let may_go_on = [
        "area one",                     // "point two"
        "area one hundred",             // "and twelve"
        "area one point oh",            // "seven"
        "area one point oh seven five", // "square millimetres"
        "level twelve",                 // "and a half"
        "gain sixty",                   // "five"
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
fn an_answer_is_whole_only_while_one_is_waited_for() {
    let (language, protocols) = &*support::BUILT_IN;
    assert!(is_whole(&["yes"], true, language, protocols));
    assert!(!is_whole(&["yes"], false, language, protocols));
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
fn utterances(mut cutter: Endpointer, audio: &[i16], early: bool) -> Vec<(UtteranceAudio, usize)> {
    let mut found = Vec::new();
    for (idx, piece) in audio.chunks(160).enumerate() {
        let ended = cutter.take_asking(piece, |_| early);
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
