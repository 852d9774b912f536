//! Rules about what was said after "end of exam".

use crate::rules::{Cases, Rule};
use crate::support::case::{Case, said, timed};
use zonecall::exam::call::{Act, Command};
use zonecall::language::closed_sets::AnswerWord;

pub(crate) const CASES: &[Cases] = &[("unheard-after-end", unheard), ("exam-went-on", went_on)];

fn unheard(rule: &Rule) {
    let begin = [(2.0, "left fore two bravo transverse"), (6.0, "save"), (10.0, "end of exam")];
    let then = |more: &[(f64, &'static str)]| timed(&[&begin[..], more].concat());
    let case = then(&[(14.0, "right fore two bravo transverse"), (18.0, "save"), (20.0, "steady good boy")]);
    let found = rule.fires("2 phrases after `end of exam` at 10.0 s into the audio", &case);
    assert!(found.message.contains("from 14.0 s on"), "{}", found.message);
    assert_eq!(found.severity, zonecall::knowledge::record::Severity::Error);
    rule.fires("1 phrase after", &then(&[(14.0, "save")]));
    rule.fires("1 phrase after", &then(&[(14.0, "save")]).but(answered));
    rule.silent(&then(&[]));
    rule.silent(&then(&[(14.0, "yes")]));
    // Said while the log was paused, it is no loss.
    rule.silent(&said(&["left fore two bravo transverse", "pause the journal", "save"]));
}

fn went_on(rule: &Rule) {
    let goes_on = said(&["left fore two bravo transverse", "end of exam"]).but(|case| {
        let later = said(&["left fore two bravo transverse", "save", "zone two alpha", "save"]).exam.calls;
        let end = case.exam.calls.pop().unwrap();
        let seq = end.seq;
        case.exam.calls.push(end);
        case.exam.calls.extend(later.into_iter().skip(1));
        assert!(case.exam.calls.iter().any(|call| call.seq == seq));
    });
    rule.fires("3 calls after it count", &goes_on);
    let ended = || said(&["left fore two bravo transverse", "save", "end of exam"]);
    rule.silent(&ended());
    rule.silent(&ended().but(answered));
}

/// "Yes" to "end anyway?": it is written after the end, and is no call of the exam.
fn answered(case: &mut Case) {
    let mut answer = case.exam.calls.last().unwrap().clone();
    assert_eq!(answer.call.act, Act::Command(Command::EndOfExam));
    answer.call.act = Act::Answer { answer: AnswerWord::Yes };
    case.exam.calls.push(answer);
}
