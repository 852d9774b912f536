//! What becomes of a phrase as text, said after others.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use crate::support::exam_of;

/// Each call of the last utterance.
pub fn shown(before: &[&str], phrase: &str) -> String {
    let said: Vec<&str> = before.iter().copied().chain([phrase]).collect();
    let exam = exam_of(&said);
    let last = exam.utterances.last().unwrap().seq;
    let calls = exam.calls.iter().filter(|call| call.heard_seq == last);
    let one = |call: &zonecall::exam::fold::LoggedCall| {
        let corrects = if call.call.corrects { "right: " } else { "" };
        format!("{corrects}{}", call.act)
    };
    calls.map(one).collect::<Vec<_>>().join("; ")
}

/// Each phrase of a table, said after `before`, becomes what stands beside it.
#[track_caller]
pub fn all(before: &[&str], cases: &[(&str, &str)]) {
    let wrong = cases.iter().filter_map(|(phrase, wanted)| {
        let shown = shown(before, phrase);
        (shown != *wanted).then(|| format!("{phrase}: {shown}, not {wanted}"))
    });
    assert_eq!(wrong.collect::<Vec<_>>(), [""; 0]);
}

/// Nothing is written, and it says how to put it.
#[track_caller]
pub fn asked(before: &[&str], phrase: &str) {
    asked_with(before, phrase, "");
}

/// The same, with these words in what it says.
pub fn asked_with(before: &[&str], phrase: &str, words: &str) {
    let said: Vec<&str> = before.iter().copied().chain([phrase]).collect();
    let exam = exam_of(&said);
    let utterance = exam.utterances.last().unwrap();
    assert_eq!(shown(before, phrase), "", "{phrase}");
    let told: Vec<&str> = utterance.problems.iter().map(|problem| problem.message.as_str()).collect();
    let plain =
        |message: &&str| !message.contains("complete phrase") && !message.contains("different things");
    assert!(told.first().is_some_and(plain), "{phrase}: {told:?}");
    let all: String =
        utterance.problems.iter().map(|problem| problem.message.clone() + &problem.help).collect();
    assert!(all.contains(words), "{phrase}: {all}");
}
