//! Where the program's own voice is in the sound that was heard last.
//!
//! Takes: samples up to which the program speaks.
//! Gives: whether an utterance may be the program's own.
//! Never: looks at the sound itself.
//! Tested in: `tests/it/dialogue.rs`; with sound in `tests/sound/listen.rs`.

use std::collections::BTreeSet;

use crate::clock::{SAMPLE_RATE_HZ, Sample, Span};
use crate::exam::parse::Parsed;
use crate::speech::utterance::Utterance;

/// The program's own voice lingers so long in a room and in the buffers of a sound system.
pub(super) const LINGERS: u64 = SAMPLE_RATE_HZ as u64 / 2;

/// A microphone that hears the program hears it from its first words on; what comes by itself so much later is a person's.
const FIRST_WORDS: u64 = SAMPLE_RATE_HZ as u64 * 3 / 2;

/// What comes by itself so much later counts without being read back, if no word of it can be the program's.
const FIRST_SURE: u64 = SAMPLE_RATE_HZ as u64 * 2;

/// The program's own voice, as the microphone hears it.
#[derive(Debug, Clone, Default)]
pub(super) struct OwnVoice {
    last: Option<Span>,
    /// Something was heard in it already.
    was_heard: bool,
    /// What was said in it.
    texts: Vec<String>,
    /// In this exam something was heard right from the program's first words on: the microphone may hear the program.
    may_be_heard: bool,
    /// The words by which the language says numbers; where it has none of its own, any word may be one.
    numbers: BTreeSet<String>,
    /// The words that name the sides: none of them is part of a code.
    sides: BTreeSet<String>,
}

impl OwnVoice {
    /// From now on these words say numbers, and these name the sides.
    pub(super) fn set_words(&mut self, numbers: BTreeSet<String>, sides: BTreeSet<String>) {
        (self.numbers, self.sides) = (numbers, sides);
    }

    /// The program begins to say a text at the sample `now`.
    pub(super) fn say(&mut self, text: &str, now: Sample) {
        if self.last.is_none_or(|own| own.to + LINGERS < now) {
            self.texts.clear();
        }
        self.texts.push(text.to_lowercase());
        self.extend(now);
    }

    /// Whether what was heard is what the program itself was saying: of four words at least three are among those.
    ///
    /// A code such as `2A` is read out: a word for its letter begins with that letter, one for its digit says a number. A
    /// save, an answer, a command or a side has neither: its words must have been said, and so must all of a correction.
    pub(super) fn said(&self, utterance: &Utterance, parsed: &Parsed) -> bool {
        let (known, n_words) = (self.known(utterance, parsed), utterance.words.len());
        let corrects = parsed.calls.iter().any(|call| call.corrects) || parsed.correction_waits;
        let all_known = if corrects { known == n_words } else { closing(parsed).all(|word| self.says(word)) };
        !self.is_beside(utterance) && all_known && 4 * known >= 3 * n_words
    }

    /// Whether half of its words may be the program's own.
    pub(super) fn may_be_own(&self, utterance: &Utterance, parsed: &Parsed) -> bool {
        2 * self.known(utterance, parsed) >= utterance.words.len()
    }

    /// Whether it cannot be the program's own voice, nor be mixed with it: the microphone has not heard the program in this
    /// exam, nothing was heard in its first two seconds of this time, and no word of it is in what the program says.
    pub(super) fn is_apart(&self, utterance: &Utterance, parsed: &Parsed) -> bool {
        let Some(own) = self.last else { return true };
        let begins = utterance.words.first().map_or(utterance.span.from, |word| word.span.from);
        let is_late = begins > own.from + FIRST_SURE && utterance.span.from > own.from + FIRST_WORDS;
        !self.may_be_heard && !self.was_heard && is_late && self.known(utterance, parsed) == 0
    }

    /// How many of its words may be the program's own.
    fn known(&self, utterance: &Utterance, parsed: &Parsed) -> usize {
        let words = || self.texts.iter().flat_map(|text| text.split(|c: char| !c.is_alphanumeric()));
        let is_digit = |c: &char| c.is_ascii_digit();
        let in_codes: Vec<char> =
            words().filter(|word| word.contains(|c: char| is_digit(&c))).flat_map(str::chars).collect();
        let mut digits = in_codes.iter().filter(|c| is_digit(c)).count();
        let plain: Vec<&str> = closing(parsed).collect();
        let mut known = 0;
        for word in &utterance.words {
            let may_be_of_code = !plain.contains(&word.text.as_str()) && !self.sides.contains(&word.text);
            let may_be_digit = self.numbers.is_empty() || self.numbers.contains(&word.text);
            let begins = word.text.chars().next().filter(|_| may_be_of_code);
            let is_own = self.says(&word.text) || begins.is_some_and(|c| in_codes.contains(&c));
            if is_own || (may_be_of_code && may_be_digit && digits > 0) {
                known += 1;
                digits -= usize::from(!is_own);
            }
        }
        known
    }

    fn says(&self, word: &str) -> bool {
        let words = || self.texts.iter().flat_map(|text| text.split(|c: char| !c.is_alphanumeric()));
        words().any(|own| own == word)
    }

    /// Whether it is the first that is heard in it, and comes too late to be it.
    fn is_beside(&self, utterance: &Utterance) -> bool {
        let begins = utterance.words.first().map(|word| word.span.from);
        let late = |own: Span| begins.is_some_and(|at| at > own.from + FIRST_WORDS);
        !self.was_heard && self.last.is_some_and(late)
    }

    /// This was heard in it.
    pub(super) fn hear(&mut self, utterance: &Utterance) {
        self.may_be_heard |= !self.is_beside(utterance);
        self.was_heard = true;
    }

    /// The program speaks, up to the sample `now`.
    pub(super) fn extend(&mut self, now: Sample) {
        let goes_on = self.last.filter(|own| own.to + LINGERS >= now);
        self.was_heard &= goes_on.is_some();
        self.last = Some(Span { from: goes_on.map_or(now, |own| own.from), to: now });
    }

    /// True while it is heard, up to the sample `now`.
    pub(super) fn is_heard(&self, now: Sample) -> bool {
        self.last.is_some_and(|own| now < own.to + LINGERS)
    }

    /// True where an utterance overlaps it. An utterance begins before its words, with a little of the quiet there:
    /// only the words are looked at.
    pub(super) fn overlaps(&self, utterance: &Utterance) -> bool {
        let words = utterance.words.iter().map(|word| word.span).reduce(Span::join).unwrap_or(utterance.span);
        self.last.is_some_and(|own| words.from < own.to + LINGERS && own.from < words.to)
    }
}

/// The words of saves, answers and commands.
fn closing(parsed: &Parsed) -> impl Iterator<Item = &str> {
    let closing = parsed.calls.iter().filter(|call| call.act.is_closing());
    closing.flat_map(|call| call.words.split_whitespace())
}
