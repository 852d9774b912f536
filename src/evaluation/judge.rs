//! How what an ear made of an utterance is judged: by meaning, never by the look of the words.
//!
//! Takes: the words that were said, and an `Utterance`.
//! Gives: a `Fate`, and the place of the right reading among those that the ear gave.
//! Never: lets an utterance count as right unless every call in it is exactly right.
//! Tested in: `tests/it/evaluation.rs`.

use crate::clock::Span;
use crate::exam::call::Act;
use crate::exam::parse::{parse, unit_as_said};
use crate::language::pack::Language;
use crate::protocol::Protocols;
use crate::speech::utterance::{Utterance, Word};

/// What became of an utterance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// Every call right, and acted on; for talk: nothing was done.
    Right,
    /// Asked about, the right reading among the two that a question offers.
    AskedRight,
    /// Asked about, the right reading not among the two.
    AskedWrong,
    /// Nothing was done.
    Missed,
    /// Something else than what was said was acted on.
    Wrong,
}

/// What the words do, each with whether it puts an earlier call right; none where they are no phrase.
///
/// A unit that was assumed is as good as the same one said.
#[must_use]
pub fn acts(words: &str, language: &Language, protocols: &Protocols) -> Option<Vec<(Act, bool)>> {
    let parsed = parse(&said(words, Span::default()), language, protocols);
    let calls = parsed.calls.into_iter().map(|call| (unit_as_said(call.act), call.corrects));
    parsed.problems.is_empty().then(|| calls.collect())
}

/// `words` as an ear would give them that heard them for certain, all of them over the whole of `span`.
#[must_use]
pub fn said(words: &str, span: Span) -> Utterance {
    let word = |text: &str| Word { text: text.to_owned(), span, confidence: 1.0 };
    Utterance {
        span,
        words: words.split_whitespace().map(word).collect(),
        confidence: 1.0,
        score: 0.0,
        rejected: false,
        unsure: false,
        rivals: Vec::new(),
        level_dbfs: 0.0,
        clipped: 0.0,
    }
}

/// What became of an utterance in which `words` were said; no words stand for speech that is none of the language.
#[must_use]
pub fn fate(words: &str, heard: &Utterance, language: &Language, protocols: &Protocols) -> Fate {
    let of = |words: &str| acts(words, language, protocols).unwrap_or_default();
    if heard.unsure {
        let among = rank(words, heard, language, protocols).is_some_and(|place| place < 2);
        return if among { Fate::AskedRight } else { Fate::AskedWrong };
    }
    let done = if heard.rejected { Vec::new() } else { of(&heard.text()) };
    match (done == of(words), done.is_empty()) {
        (true, _) => Fate::Right,
        (false, true) => Fate::Missed,
        (false, false) => Fate::Wrong,
    }
}

/// Which of the ear's readings means what `words` mean: 0 for the first; none where no reading does, or for talk.
#[must_use]
pub fn rank(words: &str, heard: &Utterance, language: &Language, protocols: &Protocols) -> Option<usize> {
    let wanted = acts(words, language, protocols).filter(|_| !words.is_empty())?;
    let first = heard.text();
    let readings = std::iter::once(first.as_str()).chain(heard.rivals.iter().map(|rival| &*rival.words));
    readings.into_iter().position(|reading| {
        !reading.is_empty() && acts(reading, language, protocols).as_ref() == Some(&wanted)
    })
}
