//! Where the program itself is in the sound that was heard last.
//!
//! Takes: the stretches in which the program could be heard, and what it said in them.
//! Gives: whether an utterance may be the program's own voice, or one of its tones.
//! Never: looks at the sound itself, or takes a stretch for shorter because nobody asked meanwhile.
//! Tested in: `tests/it/over_own_voice.rs`, `tests/it/dialogue.rs`; with sound in `tests/sound/listen.rs`.

use std::collections::{BTreeSet, VecDeque};

use crate::clock::{SAMPLE_RATE_HZ, Sample, Span};
use crate::exam::parse::Parsed;
use crate::session::effect::ProgramSound;
use crate::speech::utterance::Utterance;

/// The program's own voice lingers so long in a room and in the buffers of a sound system.
pub(super) const LINGERS: u64 = SAMPLE_RATE_HZ as u64 / 2;

/// A microphone that hears the program hears it from its first words on; what comes by itself so much later is a person's.
const FIRST_WORDS: u64 = SAMPLE_RATE_HZ as u64 * 3 / 2;

/// What comes by itself so much later counts without being read back, if no word of it can be the program's.
const FIRST_SURE: u64 = SAMPLE_RATE_HZ as u64 * 2;

/// An utterance begins so long before the first sound in it, and ends so long after the last, at least.
const QUIET_EDGE: u64 = SAMPLE_RATE_HZ as u64 / 2;

/// Sound of so long ago is not heard any more: more than the sound that can wait, a minute, and the longest utterance, 15 s.
const KEPT: u64 = 90 * SAMPLE_RATE_HZ as u64;

/// A spoken word lasts so long at least: of 112 by ten synthetic voices ("save", "no", "two" and others, up to 220 words a
/// minute) the shortest took 0.19 s.
const WORD_MIN: u64 = SAMPLE_RATE_HZ as u64 * 3 / 16;

/// A tone is heard as a word of the language with less confidence than this; a person's word, however garbled, mostly with
/// more. Our own choice.
const TONE_CONFIDENCE_MAX: f64 = 0.05;

/// The program itself, as the microphone hears it.
#[derive(Debug, Clone, Default)]
pub(super) struct OwnVoice {
    /// In the order of time.
    stretches: VecDeque<OwnStretch>,
    /// In the order of time.
    tones: VecDeque<Span>,
    /// In this exam something was heard right from the program's first words on: the microphone may hear the program.
    may_be_heard: bool,
    /// The words by which the language says numbers; where it has none of its own, any word may be one.
    numbers: BTreeSet<String>,
    /// The words that name the sides: none of them is part of a code.
    sides: BTreeSet<String>,
}

/// A stretch in which the program spoke.
#[derive(Debug, Clone)]
struct OwnStretch {
    span: Span,
    /// What it said.
    texts: Vec<String>,
    /// Something was heard in it already.
    was_heard: bool,
}

impl OwnStretch {
    fn words(&self) -> impl Iterator<Item = &str> {
        self.texts.iter().flat_map(|text| text.split(|c: char| !c.is_alphanumeric()))
    }

    fn says(&self, word: &str) -> bool {
        self.words().any(|own| own == word)
    }

    /// Whether it is the first that is heard in it, and comes too late to be it.
    fn is_beside(&self, utterance: &Utterance) -> bool {
        let begins = utterance.words.first().map(|word| word.span.from);
        !self.was_heard && begins.is_some_and(|at| at > self.span.from + FIRST_WORDS)
    }
}

impl OwnVoice {
    /// From now on these words say numbers, and these name the sides.
    pub(super) fn set_words(&mut self, numbers: BTreeSet<String>, sides: BTreeSet<String>) {
        (self.numbers, self.sides) = (numbers, sides);
    }

    /// The program could be heard in this stretch; of what goes on, each time from its beginning.
    pub(super) fn sound(&mut self, sound: ProgramSound, span: Span) {
        self.stretches.retain(|own| own.span.to + KEPT >= span.to);
        self.tones.retain(|tone| tone.to + KEPT >= span.to);
        let ProgramSound::Voice(text) = sound else { return self.tones.push_back(span) };
        let text = text.to_lowercase();
        match self.stretches.back_mut().filter(|own| span.from <= own.span.to + LINGERS) {
            Some(own) => {
                own.span = own.span.join(span);
                if own.texts.last() != Some(&text) {
                    own.texts.push(text);
                }
            }
            None => self.stretches.push_back(OwnStretch { span, texts: vec![text], was_heard: false }),
        }
    }

    /// Whether what was heard is what the program itself was saying: of four words at least three are among those.
    ///
    /// A code such as `2A` is read out: a word for its letter begins with that letter, one for its digit says a number. A
    /// save, an answer, a command or a side has neither: its words must have been said, and so must all of a correction.
    pub(super) fn said(&self, utterance: &Utterance, parsed: &Parsed) -> bool {
        let Some(own) = self.around(utterance) else { return false };
        let (known, n_words) = (self.known(&own, utterance, parsed), utterance.words.len());
        let corrects = parsed.calls.iter().any(|call| call.corrects) || parsed.correction_waits;
        let all_known = if corrects { known == n_words } else { closing(parsed).all(|word| own.says(word)) };
        !own.is_beside(utterance) && all_known && 4 * known >= 3 * n_words
    }

    /// Whether half of its words may be the program's own.
    pub(super) fn may_be_own(&self, utterance: &Utterance, parsed: &Parsed) -> bool {
        let known = self.around(utterance).map_or(0, |own| self.known(&own, utterance, parsed));
        2 * known >= utterance.words.len()
    }

    /// Whether a sound that is no phrase of the language can be the program's voice and nothing else: half of its words may
    /// be the program's, and it lasts no longer.
    pub(super) fn may_be_alone(&self, utterance: &Utterance, parsed: &Parsed) -> bool {
        let Some(own) = self.around(utterance) else { return false };
        let sound = sound_of(utterance);
        let is_within = sound.from + LINGERS >= own.span.from && sound.to <= own.span.to + LINGERS;
        is_within && self.may_be_own(utterance, parsed)
    }

    /// Whether no word was heard in it although it lasts as long as one: a person's word may lie under the program's.
    pub(super) fn may_hide_a_word(&self, utterance: &Utterance) -> bool {
        utterance.words.is_empty() && sound_of(utterance).samples() >= WORD_MIN
    }

    /// Whether it cannot be the program's own voice, nor be mixed with it: the microphone has not heard the program in this
    /// exam, nothing was heard in its first two seconds of this time, and no word of it is in what the program says.
    pub(super) fn is_apart(&self, utterance: &Utterance, parsed: &Parsed) -> bool {
        let Some(own) = self.around(utterance) else { return true };
        let begins = utterance.words.first().map_or(utterance.span.from, |word| word.span.from);
        let is_late =
            begins > own.span.from + FIRST_SURE && utterance.span.from > own.span.from + FIRST_WORDS;
        !self.may_be_heard && !own.was_heard && is_late && self.known(&own, utterance, parsed) == 0
    }

    /// How many of its words may be the program's own.
    fn known(&self, own: &OwnStretch, utterance: &Utterance, parsed: &Parsed) -> usize {
        let is_digit = |c: &char| c.is_ascii_digit();
        let in_codes: Vec<char> =
            own.words().filter(|word| word.contains(|c: char| is_digit(&c))).flat_map(str::chars).collect();
        let mut digits = in_codes.iter().filter(|c| is_digit(c)).count();
        let plain: Vec<&str> = closing(parsed).collect();
        let mut known = 0;
        for word in &utterance.words {
            let may_be_of_code = !plain.contains(&word.text.as_str()) && !self.sides.contains(&word.text);
            let may_be_digit = self.numbers.is_empty() || self.numbers.contains(&word.text);
            let begins = word.text.chars().next().filter(|_| may_be_of_code);
            let is_own = own.says(&word.text) || begins.is_some_and(|c| in_codes.contains(&c));
            if is_own || (may_be_of_code && may_be_digit && digits > 0) {
                known += 1;
                digits -= usize::from(!is_own);
            }
        }
        known
    }

    /// This was heard in it.
    pub(super) fn hear(&mut self, utterance: &Utterance) {
        self.may_be_heard |= self.around(utterance).is_some_and(|own| !own.is_beside(utterance));
        for own in self.stretches.iter_mut().filter(|own| meets(own.span, utterance)) {
            own.was_heard = true;
        }
    }

    /// True while it is heard at the sample `now`.
    pub(super) fn is_heard(&self, now: Sample) -> bool {
        self.stretches.iter().any(|own| own.span.from <= now && now < own.span.to + LINGERS)
    }

    /// True where an utterance overlaps it.
    pub(super) fn overlaps(&self, utterance: &Utterance) -> bool {
        self.stretches.iter().any(|own| meets(own.span, utterance))
    }

    /// Whether it is nothing but one of the program's tones: it is taken for no phrase, and lies in the tone.
    pub(super) fn is_tone(&self, utterance: &Utterance) -> bool {
        let sound = sound_of(utterance);
        let is_in = |tone: &Span| sound.from + LINGERS >= tone.from && sound.to <= tone.to + LINGERS;
        let is_nothing = utterance.rejected && utterance.confidence < TONE_CONFIDENCE_MAX;
        is_nothing && self.tones.iter().any(is_in)
    }

    /// What the program said while this was heard.
    fn around(&self, utterance: &Utterance) -> Option<OwnStretch> {
        let around = self.stretches.iter().filter(|own| meets(own.span, utterance)).cloned();
        around.reduce(|mut one, other| {
            one.span = one.span.join(other.span);
            one.was_heard |= other.was_heard;
            one.texts.extend(other.texts);
            one
        })
    }
}

/// An utterance begins before its words, with a little of the quiet there: only the words are looked at.
fn meets(own: Span, utterance: &Utterance) -> bool {
    let words = words_of(utterance).unwrap_or(utterance.span);
    words.from < own.to + LINGERS && own.from < words.to
}

/// From its first word to its last; none where no word was heard.
fn words_of(utterance: &Utterance) -> Option<Span> {
    utterance.words.iter().map(|word| word.span).reduce(Span::join)
}

/// Where the sound of an utterance lies in it.
fn sound_of(utterance: &Utterance) -> Span {
    words_of(utterance).unwrap_or_else(|| {
        let from = utterance.span.from + QUIET_EDGE;
        Span { from, to: utterance.span.to.back(QUIET_EDGE).max(from) }
    })
}

/// The words of saves, answers and commands.
fn closing(parsed: &Parsed) -> impl Iterator<Item = &str> {
    let closing = parsed.calls.iter().filter(|call| call.act.is_closing());
    closing.flat_map(|call| call.words.split_whitespace())
}
