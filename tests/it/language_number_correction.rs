//! A number that takes the place of the one just said, in one breath or in the next; our own wording throughout.
use crate::support::exam_of;

const PLACE: &str = "left fore two bravo transverse superficial flexor";

/// The numbers that count in the end, and what the last utterance was told.
fn numbers(said: &[&str]) -> (Vec<String>, Vec<String>) {
    let said: Vec<&str> = [PLACE].into_iter().chain(said.iter().copied()).collect();
    let exam = exam_of(&said);
    let counts =
        |call: &&zonecall::exam::fold::LoggedCall| !call.call.corrects && call.act.to_string().contains(' ');
    let shown = exam.calls.iter().skip(1).filter(counts).map(|call| call.act.to_string()).collect();
    let told =
        exam.utterances.last().unwrap().problems.iter().map(|problem| problem.message.clone()).collect();
    (shown, told)
}

#[test]
fn the_number_said_last_counts() {
    for said in [
        &["area one hundred sorry one twenty"][..],
        &["area one hundred", "sorry one twenty"],
        &["area one hundred", "no one twenty"],
        &["area one hundred", "no that's one twenty"],
        &["area one hundred", "make that one twenty"],
        &["area one hundred", "that should be one twenty"],
        &["area one hundred", "correction one twenty"],
        &["area one hundred", "actually one twenty"],
    ] {
        assert_eq!(numbers(said).0, ["area 120 mm2 (unit not said)"], "{said:?}");
    }
    assert_eq!(numbers(&["lesion twenty percent", "sorry thirty"]).0, ["lesion percent 30 %"]);
    assert_eq!(numbers(&["echo score two sorry three"]).0, ["echo score 3"]);
    assert_eq!(
        numbers(&["area one hundred square millimetres", "sorry one point two square centimetres"]).0,
        ["area 1.2 cm2"]
    );
    let taken = numbers(&["area of the deep one hundred sorry one twenty"]).0;
    assert_eq!(taken, ["area of DDFT 120 mm2 (unit not said)"]);
}

#[test]
fn what_was_said_stays_in_the_journal() {
    let exam = exam_of(&[PLACE, "area one hundred", "sorry one twenty"]);
    assert_eq!(exam.calls[1].call.words, "area one hundred");
    assert!(!exam.calls[1].corrected_by.is_empty() && exam.calls[2].call.corrects);
    assert_eq!(exam.calls[2].call.words, "sorry one twenty");
}

#[test]
fn a_number_or_a_unit_that_is_not_clear_is_asked() {
    for said in [
        // A unit that was assumed of a large number is not that of a small one.
        &["area one hundred", "sorry one point two"][..],
        &["area one hundred", "sorry one twenty millimetres"],
        &["lesion eight by six millimetres", "sorry nine"],
        &["lesion ten to twenty percent", "sorry thirty"],
        &["core lesion", "sorry one twenty"],
        &["area one hundred", "save", "sorry one twenty"],
    ] {
        let (_, told) = numbers(said);
        assert!(told.first().is_some_and(|told| !told.contains("complete phrase")), "{said:?}: {told:?}");
        let last = exam_of(&[&[PLACE], said].concat());
        let heard = last.utterances.last().unwrap().seq;
        assert!(last.calls.iter().all(|call| call.heard_seq != heard), "{said:?}");
    }
    // Said all day of other things.
    for talk in ["no one", "no two"] {
        assert_eq!(numbers(&["echo score three", talk]).0, ["echo score 3"], "{talk}");
    }
}
