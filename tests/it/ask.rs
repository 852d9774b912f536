//! What is read back instead of being acted on, and what an answer does.
use crate::support;

use support::{BUILT_IN, exam_of, utterance};
use zonecall::exam::call::{Act, Call};
use zonecall::exam::parse::{Parsed, parse};
use zonecall::protocol::Protocols;
use zonecall::session::ask::{AnswerMeaning, AskContext, Doubt, SpokenQuestion, question, sides_of};
use zonecall::speech::utterance::{Rival, Utterance};

fn said(text: &str) -> Utterance {
    utterance(60.0, text)
}

/// Two readings between which the engine does not dare to choose.
fn unsure(text: &str, rival: &str) -> Utterance {
    Utterance { unsure: true, rivals: vec![Rival { words: rival.to_owned(), behind: 0.5 }], ..said(text) }
}

fn asked(before: &[&str], utterance: &Utterance) -> Option<SpokenQuestion> {
    let (language, protocols) = &*BUILT_IN;
    let parsed = parse(utterance, language, protocols);
    let rival = utterance.rivals.first().map(|rival| parse(&said(&rival.words), language, protocols));
    ask(before, utterance, &parsed, rival.as_ref(), protocols)
}

fn ask(
    before: &[&str],
    utterance: &Utterance,
    parsed: &Parsed,
    rival: Option<&Parsed>,
    protocols: &Protocols,
) -> Option<SpokenQuestion> {
    let exam = exam_of(before);
    let sides = exam.calls.iter().find_map(|call| sides_of(&call.call.words, protocols));
    let now = AskContext { context: &exam.context, header: &exam.header, protocols, sides };
    question(utterance, parsed, rival, now)
}

fn answered(question: &SpokenQuestion, text: &str) -> AnswerMeaning {
    let utterance = said(text);
    question.answered(&utterance, &parse(&utterance, &BUILT_IN.0, &BUILT_IN.1), None)
}

const PLACE: &[&str] = &["left fore zone two alpha transverse", "s d f t"];

#[test]
fn two_likely_readings_are_offered_and_one_word_chooses() {
    let question = asked(PLACE, &unsure("zone two bravo", "zone three bravo")).unwrap();
    assert_eq!(question.doubt, Doubt::Unsure);
    assert_eq!(question.aloud(), "zone two bravo, or zone three bravo?");
    for (text, wanted) in [
        ("first", AnswerMeaning::Take(0)),
        ("second", AnswerMeaning::Take(1)),
        ("no", AnswerMeaning::Nothing),
        ("yes", AnswerMeaning::Unfit),
        ("zone three bravo", AnswerMeaning::Again),
        ("three bravo", AnswerMeaning::Again),
        ("zone three alpha", AnswerMeaning::Other),
        ("good boy", AnswerMeaning::Other),
    ] {
        assert_eq!(answered(&question, text), wanted, "{text}");
    }
}

#[test]
fn a_reading_without_a_rival_that_is_a_call_wants_yes_or_no() {
    let question = asked(PLACE, &unsure("zone two bravo", "good boy")).unwrap();
    assert_eq!(question.aloud(), "zone two bravo?");
    assert_eq!(answered(&question, "yes"), AnswerMeaning::Take(0));
    assert_eq!(answered(&question, "second"), AnswerMeaning::Unfit);
    assert_eq!(
        asked(PLACE, &unsure("good boy", "zone two bravo")),
        None,
        "what is likeliest no call is not asked about"
    );
}

/// The two differ by one sound: said back as words they could not be told apart, so their letters are said, too.
#[test]
fn opposites_are_spelled_and_count_only_after_a_yes() {
    let low = asked(PLACE, &said("hypoechoic")).unwrap();
    let high = asked(PLACE, &said("hyperechoic")).unwrap();
    assert_eq!((&low.doubt, low.aloud().as_str()), (&Doubt::Opposite, "hypoechoic? H Y P O"));
    assert_eq!(high.aloud(), "hyperechoic? H Y P E");
    let Call { act: Act::Finding(finding), .. } = &low.offers[0].calls[0] else { panic!("{low:?}") };
    assert!(!finding.unconfirmed, "after a yes it is confirmed");
    // Misheard once, it may be misheard again: only a yes counts.
    assert_eq!(answered(&low, "hypoechoic"), AnswerMeaning::Again);
    assert_eq!(asked(PLACE, &said("echo score two")), None, "the score is the preferred form");
}

#[test]
fn a_zone_far_from_the_one_in_force_is_read_back_unless_the_limb_is_said_with_it() {
    let question = asked(PLACE, &said("zone three charlie")).unwrap();
    assert_eq!(question.doubt, Doubt::Jump { from: "2A".to_owned() });
    assert_eq!(
        answered(&question, "zone three charlie"),
        AnswerMeaning::Take(0),
        "who says it twice means it"
    );
    for silent in ["zone two bravo", "zone three alpha", "zone one alpha", "left fore zone three charlie"] {
        assert_eq!(asked(PLACE, &said(silent)), None, "{silent}");
    }
    let mut relaxed = BUILT_IN.1.clone();
    relaxed.rules.habits.jump_asked = 6;
    let utterance = said("zone three charlie");
    let parsed = parse(&utterance, &BUILT_IN.0, &relaxed);
    assert_eq!(ask(PLACE, &utterance, &parsed, None, &relaxed), None, "a practice sets how far is far");
}

/// A slip of the unit makes an area a hundred times too large or too small.
#[test]
fn a_number_far_from_what_is_usual_is_read_back() {
    let question = asked(PLACE, &said("area one hundred and twelve square centimetres")).unwrap();
    assert!(matches!(&question.doubt, Doubt::Odd { .. }), "{question:?}");
    assert_eq!(asked(PLACE, &said("area one hundred and twelve square millimetres")), None);
}

#[test]
fn notes_talk_and_what_was_not_heard_are_never_asked_about() {
    for utterance in [
        unsure("note", "no"),
        unsure("good boy", "good girl"),
        Utterance { rejected: true, ..unsure("zone two bravo", "zone three bravo") },
    ] {
        assert_eq!(asked(PLACE, &utterance), None, "{}", utterance.text());
    }
}

/// 1.2 and 12 mm are both usual widths; 12 cm is none.
#[test]
fn a_number_whose_unit_was_not_said_is_read_back_where_two_units_are_as_usual() {
    let question = asked(PLACE, &said("width one point two")).unwrap();
    assert_eq!(question.doubt, Doubt::Odd { message: "width in mm or in cm?".to_owned() });
    for clear in ["width twelve", "width one point two centimetres", "area one point two"] {
        assert_eq!(asked(PLACE, &said(clear)), None, "{clear}");
    }
}

/// Cut at its beginning, "left" sounds like "off", which is the other side: an exam keeps to one pair of words.
#[test]
fn the_other_pair_of_side_words_is_read_back_with_the_limb_that_it_means() {
    let question = asked(PLACE, &said("off fore")).unwrap();
    assert!(matches!(&question.doubt, Doubt::Sides { .. }), "{question:?}");
    assert_eq!(question.aloud(), "off fore? right fore?");
    assert_eq!(answered(&question, "yes"), AnswerMeaning::Take(0));
    assert_eq!(
        answered(&question, "off fore"),
        AnswerMeaning::Again,
        "misheard once, it may be misheard again"
    );
    assert_eq!(asked(&[], &said("off fore")), None, "the first pair that is used is the exam's own");
    assert_eq!(asked(&["near fore zone two alpha"], &said("off fore")), None);
}

#[test]
fn a_change_of_limb_is_read_back_unless_its_word_is_trusted() {
    let mut doubtful = said("right fore");
    doubtful.words[0].confidence = 0.6;
    let question = asked(PLACE, &doubtful).unwrap();
    assert_eq!(
        (question.aloud().as_str(), answered(&question, "no")),
        ("right fore?", AnswerMeaning::Nothing)
    );
    assert_eq!(asked(PLACE, &said("right fore")), None, "a trusted word counts at once");
    // The pair is half of what names a limb, and "other leg" names one that is not spoken.
    for (text, word, name) in [
        ("left hind", 1, "left hind?"),
        ("other leg", 0, "right fore?"),
        ("same zone other leg", 2, "right fore?"),
        ("other hind", 1, "right hind?"),
        ("other leg standoff off", 0, "right fore?"),
    ] {
        let mut doubtful = said(text);
        doubtful.words[word].confidence = 0.6;
        assert_eq!(asked(PLACE, &doubtful).unwrap().aloud(), name, "{text}");
        assert_eq!(asked(PLACE, &said(text)), None, "{text}");
    }
    let mut same = said("left fore");
    same.words[0].confidence = 0.6;
    assert_eq!(asked(PLACE, &same), None, "the limb does not change");
}
