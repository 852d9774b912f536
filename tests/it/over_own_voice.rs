//! What a person says while the program speaks: never lost, and no word of the program's own becomes a call.
use crate::support;

use proptest::prelude::*;
use support::talk::{Talk, sample};
use zonecall::clock::Span;
use zonecall::exam::closed_sets::SettledAs;
use zonecall::exam::event::{Event, Outcome};
use zonecall::session::effect::{Arrival, Effect, ProgramSound};
use zonecall::session::notice::Notice;
use zonecall::session::tone::Tone;
use zonecall::speech::utterance::Utterance;

/// The program asks about a zone that is far away, for `seconds`; the talk stands at the moment when it begins to speak.
fn asked(seconds: f64) -> Talk {
    let mut talk = Talk::aloud();
    talk.say("left fore zone one alpha transverse").say("save").unsure("zone two bravo", "zone three bravo");
    assert_eq!(talk.said().last(), Some(&"zone two bravo, or zone three bravo?"));
    talk.at_s -= 2.0;
    let began_s = talk.at_s;
    talk.own_voice(seconds).at_s = began_s;
    talk
}

/// Words so many seconds after the program began to speak.
fn over<'a>(talk: &'a mut Talk, after_s: f64, text: &str) -> &'a mut Talk {
    talk.at_s += after_s;
    talk.say(text)
}

#[test]
fn a_take_back_over_a_question_is_read_back_and_settles_it() {
    let mut talk = asked(3.0);
    over(&mut talk, 1.0, "disregard that");
    assert_eq!(talk.outcomes().last(), Some(&Outcome::Asked), "it is not lost");
    assert_eq!(talk.said().last(), Some(&"disregard that?"));
    assert_eq!(talk.calls().len(), 2, "nor acted on, for two voices may be mixed");
    talk.at_s += 2.0;
    talk.say("yes");
    // What was said last is what was asked about: the save before it stands.
    assert_eq!(talk.calls(), ["left fore zone one alpha transverse", "save", "yes"]);
    let exam = talk.dialogue.exam();
    assert!(exam.calls.iter().all(|call| call.withdrawn_by.is_none()), "{:?}", exam.calls);
    assert!(exam.utterances.iter().all(|heard| !heard.is_open()), "no label is in doubt");
    assert_eq!(talk.question(), None);
}

#[test]
fn a_question_that_was_broken_into_by_no_call_is_asked_again() {
    let mut talk = asked(3.0);
    over(&mut talk, 1.0, "save").at_s += 2.0;
    talk.say("no");
    assert_eq!(talk.said().last(), Some(&"zone two bravo, or zone three bravo?"));
    talk.at_s += 4.0;
    talk.say("second");
    assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("3B"));
    assert!(talk.dialogue.exam().utterances.iter().all(|heard| !heard.is_open()));
}

#[test]
fn a_call_over_the_question_before_the_end_goes_on_with_the_exam() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone one alpha transverse").say("save").say("end of exam");
    talk.at_s -= 2.0;
    let began_s = talk.at_s;
    talk.own_voice(3.0).at_s = began_s + 1.0;
    talk.say("zone one bravo");
    assert_eq!(talk.said().last(), Some(&"zone one bravo?"));
    talk.at_s += 2.0;
    talk.say("yes");
    talk.at_s += 60.0;
    talk.step(zonecall::session::effect::Input::Time);
    assert!(!talk.dialogue.has_ended());
    assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("1B"));
}

/// A microphone that hears the program hears its first words; nothing was heard of them, and no word is the program's.
#[test]
fn what_cannot_be_the_programs_own_voice_counts_at_once() {
    let mut talk = asked(4.0);
    over(&mut talk, 2.2, "disregard that");
    assert_eq!((talk.question(), talk.outcomes().last()), (None, Some(&Outcome::Calls)));
    assert_eq!(talk.told(Notice::Settled).last(), Some(&"taken back before it was acted on"));
    assert_eq!(talk.calls(), ["left fore zone one alpha transverse", "save"]);
    let mut talk = asked(4.0);
    over(&mut talk, 2.2, "not saved");
    assert_eq!(talk.calls().last(), Some(&"not saved"));
    assert!(talk.dialogue.exam().calls[1].withdrawn_by.is_some(), "the save is taken back");
    let mut talk = asked(4.0);
    over(&mut talk, 2.2, "second");
    assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("3B"), "an answer, too");
    // Where the microphone was shown to hear the program, it is read back instead.
    let mut talk = asked(4.0);
    over(&mut talk, 0.3, "zone two bravo").at_s -= 0.5;
    talk.say("disregard that");
    assert_eq!(talk.said().last(), Some(&"disregard that?"));
}

#[test]
fn disregard_while_a_question_waits_is_about_what_is_asked() {
    let mut talk = asked(0.0);
    talk.at_s += 4.0;
    talk.say("disregard that");
    assert_eq!(talk.question(), None);
    let withdrawn =
        |talk: &Talk| talk.dialogue.exam().calls.iter().filter(|call| call.withdrawn_by.is_some()).count();
    assert_eq!((withdrawn(&talk), talk.calls().len()), (0, 2), "the save before it stands");
    let settled = talk.lines.iter().rev().find_map(|line| match &line.event {
        Event::Settled(settled) => Some(settled.answer),
        _ => None,
    });
    assert_eq!(settled, Some(SettledAs::TakenBack));
    let mut talk = asked(0.0);
    talk.at_s += 4.0;
    talk.say("disregard last two");
    assert_eq!(withdrawn(&talk), 1, "the question, and the save before it");
    talk.say("end of exam").say("disregard that");
    assert!(!talk.dialogue.has_ended());
}

/// "Superficial and deep normal" is two calls of one phrase.
#[test]
fn a_take_back_that_was_asked_about_takes_the_whole_phrase_back() {
    let mut talk = Talk::silent();
    talk.say("left fore zone one alpha transverse").say("superficial and deep normal");
    talk.unsure("disregard that", "good boy").say("yes");
    let left = talk.dialogue.exam().calls.iter().filter(|call| call.withdrawn_by.is_none());
    let left: Vec<String> = left.map(|call| call.call.words.clone()).collect();
    assert!(!left.iter().any(|words| words.contains("normal")), "{left:?}");
}

/// What a person does so that the program says something.
const EVOKED: &[&[&str]] = &[
    &["where am i"],
    &["zone two bravo"],
    &["right fore"],
    &["save", "zone three charlie"],
    &["end of exam"],
    &["correction right fore"],
    &["what is left"],
    &["horse nine"],
];

/// What an ear makes of a text that is read out, codes letter by letter.
fn read_out(text: &str) -> Vec<String> {
    let digits = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
    let letters = [('a', "alpha"), ('b', "bravo"), ('c', "charlie")];
    let spelled = |word: &str| -> Vec<String> {
        let of = |c: char| match c.to_digit(10) {
            Some(digit) => digits[digit as usize].to_owned(),
            None => letters
                .iter()
                .find(|(letter, _)| *letter == c)
                .map_or(c.to_string(), |(_, word)| (*word).to_owned()),
        };
        if word.contains(|c: char| c.is_ascii_digit()) {
            word.chars().map(of).collect()
        } else {
            vec![word.to_owned()]
        }
    };
    let text = text.to_lowercase();
    text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).flat_map(spelled).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, ..ProptestConfig::default() })]

    /// Whatever piece an ear hears of the program's own voice, however late: nothing of it is acted on, and it answers
    /// nothing.
    #[test]
    fn no_word_of_the_program_becomes_a_call(
        evoked in prop::sample::select(EVOKED),
        pieces in prop::collection::vec((any::<prop::sample::Index>(), 1..6_usize, 0.0..4.0), 1..6),
    ) {
        let mut talk = Talk::aloud();
        talk.dialogue.set_day_list(vec![zonecall::session::listed_horse::ListedHorse { number: "1".to_owned(), ..Default::default() }]);
        talk.say("left fore zone two alpha transverse");
        for words in evoked {
            talk.at_s += 8.0;
            talk.say(words);
        }
        talk.at_s -= 2.0;
        let Some(text) = talk.said().last().map(|text| (*text).to_owned()) else { return Ok(()) };
        let words = read_out(&text);
        let (before, waits) = (talk.calls().len(), talk.question().map(str::to_owned));
        let began_s = talk.at_s;
        talk.own_voice(6.0);
        // A microphone that hears it hears it from its first words on.
        let mut heard = vec![(words.join(" "), 0.2_f64)];
        heard.extend(pieces.iter().map(|(first, length, after_s)| {
            let first = first.index(words.len());
            (words[first..(first + length).min(words.len())].join(" "), *after_s)
        }));
        heard.sort_by(|one, other| one.1.total_cmp(&other.1));
        for (words, after_s) in heard {
            talk.at_s = began_s + after_s.max(0.2);
            talk.say(&words);
        }
        prop_assert_eq!(talk.calls().len(), before, "`{}`: {:?}", text, talk.calls());
        prop_assert_eq!(talk.question().map(str::to_owned), waits, "`{}`", text);
    }

    /// Whatever is heard from the program's first words on may be mixed with them: it never counts without an answer.
    #[test]
    fn nothing_that_may_be_mixed_with_its_voice_counts_without_an_answer(
        words in prop::sample::select(&["save", "disregard that", "yes", "no", "second", "zone three charlie", "end of exam",
            "not saved", "correction zone two bravo", "right fore", "zone two bravo save"][..]),
        after_s in 0.0..1.4,
        is_asked in any::<bool>(),
    ) {
        let mut talk = asked(0.0);
        if !is_asked {
            talk.at_s += 4.0;
            talk.say("no").at_s += 4.0;
            talk.say("where am i").at_s -= 2.0;
        }
        let began_s = talk.at_s;
        talk.own_voice(3.0).at_s = began_s + after_s;
        let before = talk.calls().len();
        talk.utter(|utterance| utterance, words, Arrival::Whole);
        prop_assert_eq!(talk.calls().len(), before);
        let utterances = &talk.dialogue.exam().utterances;
        let is_told = talk.done.iter().rev().take(8).any(|effect| matches!(effect, Effect::Sound(_) | Effect::Say(_)));
        prop_assert!(utterances.last().unwrap().is_open() && is_told, "nor is it lost in silence");
    }

    /// Wherever the program cannot be what was heard, each call of a person counts as it would without the program's voice.
    #[test]
    fn what_is_apart_from_its_voice_counts_as_without_it(
        words in prop::sample::select(&["save", "disregard that", "not saved", "second", "right hind", "end of exam"][..]),
        after_s in 2.1..5.0,
    ) {
        let heard = |own_s: f64| {
            let mut talk = asked(own_s);
            over(&mut talk, after_s, words);
            (talk.calls().join(", "), talk.dialogue.exam().context.clone(), talk.question().map(str::to_owned))
        };
        prop_assert_eq!(heard(6.0), heard(0.0));
    }
}

/// Half a second of echo is no phrase of the language; a person's save in it must not be lost either.
#[test]
fn a_sound_over_its_voice_that_is_not_its_own_has_a_tone_a_line_and_a_doubt() {
    let rejected = |utterance| Utterance { rejected: true, confidence: 0.0, ..utterance };
    let mut talk = asked(3.0);
    talk.at_s += 1.0;
    let tones = talk.tones().len();
    talk.utter(rejected, "save", Arrival::Whole);
    assert_eq!(talk.outcomes().last(), Some(&Outcome::NotUnderstood));
    assert_eq!(talk.tones()[tones..], [Tone::NotUnderstood]);
    assert_eq!(talk.told(Notice::NotUnderstood), ["save (while I was speaking: say it again)"]);
    assert!(talk.dialogue.exam().utterances.last().unwrap().is_open(), "it puts the next labels in doubt");
    assert!(talk.question().is_some(), "the question still waits");
    // Its own words, garbled; then a sound without words that is no longer than its voice, and one that is.
    let mut talk = asked(3.0);
    talk.at_s += 0.5;
    talk.utter(rejected, "zone two meg", Arrival::Whole);
    assert_eq!(talk.outcomes().last(), Some(&Outcome::Ignored));
    let wordless = |seconds: f64| {
        move |utterance: Utterance| {
            let to = utterance.span.from + sample(seconds).0;
            let span = Span { to, ..utterance.span };
            Utterance { span, words: Vec::new(), rejected: true, confidence: 0.0, ..utterance }
        }
    };
    let mut talk = asked(1.0);
    talk.utter(wordless(1.15), "", Arrival::Whole);
    assert_eq!(talk.outcomes().last(), Some(&Outcome::Ignored), "no word is so short");
    // One that lasts as long as a word may be a person's under the program's: a doubt, but no tone, for nobody may have spoken.
    let mut talk = asked(1.0);
    let tones = talk.tones().len();
    talk.utter(wordless(1.9), "", Arrival::Whole);
    assert_eq!(talk.outcomes().last(), Some(&Outcome::NotUnderstood));
    assert!(talk.dialogue.exam().utterances.last().unwrap().is_open(), "it puts the next labels in doubt");
    assert_eq!((talk.tones().len(), talk.told(Notice::NotUnderstood).len()), (tones, 1));
    assert!(talk.question().is_some(), "the question still waits");
    let mut talk = asked(1.0);
    talk.utter(wordless(2.6), "", Arrival::Whole);
    assert_eq!(talk.outcomes().last(), Some(&Outcome::NotUnderstood));
    assert_eq!(talk.told(Notice::NotUnderstood), ["a sound (while I was speaking: say it again)"]);
}

/// The thread that hears was late: it learns of what the program said only when all of it has died away.
#[test]
fn its_own_voice_is_known_however_seldom_it_is_looked_for() {
    let mut talk = Talk::aloud();
    talk.say("left fore").say("off fore");
    assert_eq!(talk.said(), ["off fore? right fore?"]);
    let text = ProgramSound::Voice("off fore? right fore?".to_owned());
    let began_s = talk.at_s;
    talk.own_sound(text.clone(), 0.0, 0.1);
    talk.at_s = began_s + 2.5;
    // 2.4 s later, before what was recorded meanwhile is listened to.
    let waits = talk.question().map(str::to_owned);
    talk.own_sound(text, 2.5, -0.2);
    talk.at_s = began_s + 0.2;
    talk.say("off fore").at_s = began_s + 1.2;
    talk.say("right fore");
    assert_eq!(talk.outcomes()[2..], [Outcome::Ignored, Outcome::Ignored], "neither an answer nor a call");
    assert_eq!((talk.question().map(str::to_owned), talk.calls().len()), (waits, 1));
    assert_eq!(talk.dialogue.exam().context.place.limb.as_deref(), Some("LF"));
    // Something else that it said later does not hide what it said before.
    let mut talk = Talk::aloud();
    talk.say("left fore").say("off fore");
    let began_s = talk.at_s;
    talk.own_sound(ProgramSound::Voice("off fore? right fore?".to_owned()), 0.0, 2.3);
    talk.at_s = began_s + 6.0;
    talk.own_sound(ProgramSound::Voice("no still".to_owned()), 0.0, 1.0);
    talk.at_s = began_s + 1.2;
    talk.say("right fore");
    assert_eq!(talk.outcomes().last(), Some(&Outcome::Ignored));
}

#[test]
fn its_own_tone_is_no_phrase_and_hides_none() {
    let toned = || {
        let mut talk = Talk::silent();
        talk.say("left fore zone two alpha transverse").at_s -= 1.5;
        talk.own_sound(ProgramSound::Tone, 0.0, 0.12);
        talk.at_s += 0.1;
        talk
    };
    let heard_as = |confidence| move |utterance| Utterance { rejected: true, confidence, ..utterance };
    let mut talk = toned();
    let tones = talk.tones().len();
    talk.utter(heard_as(0.002), "no", Arrival::Whole);
    assert_eq!((talk.outcomes().last(), talk.tones().len()), (Some(&Outcome::Ignored), tones));
    assert_eq!((talk.told(Notice::NotUnderstood).len(), talk.dialogue.counts().not_understood), (0, 0));
    // A person's words there: clear ones count, and garbled ones are not lost in silence.
    let mut talk = toned();
    talk.say("save");
    assert_eq!(talk.calls().last(), Some(&"save"));
    let mut talk = toned();
    talk.utter(heard_as(0.39), "save", Arrival::Whole);
    assert_eq!(talk.outcomes().last(), Some(&Outcome::NotUnderstood));
    let mut talk = toned();
    talk.at_s += 0.8;
    talk.utter(heard_as(0.002), "no", Arrival::Whole);
    assert_eq!(talk.outcomes().last(), Some(&Outcome::NotUnderstood), "the tone has died away");
}
