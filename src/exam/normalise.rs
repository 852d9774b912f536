//! Words as they would have been said without a hesitation and unshortened.
//!
//! Takes: the words of an utterance that is no phrase as it was said, and the exam's `Language`.
//! Gives: the words with hesitations left out and short endings put as words of their own.
//! Never: joins what was whole before a hesitation to what comes after it.
//! Tested in: `tests/it/language_normalise.rs`.

use crate::language::pack::Language;
use crate::speech::utterance::Word;

/// "Area, um, ninety eight" without the hesitation, and "width's" as "width is".
///
/// What is whole before a hesitation is not joined to what follows: "area one, um, twelve" may be a change of mind.
pub(crate) fn normalised(words: &[Word], language: &Language) -> Vec<Word> {
    let mut plain: Vec<Word> = Vec::new();
    for word in words {
        let short = |(end, full): &'_ (String, String)| Some((word.text.strip_suffix(end)?, full.clone()));
        if let Some((stem, full)) = language.endings.iter().find_map(short) {
            plain.extend([stem.to_owned(), full].map(|text| Word { text, ..word.clone() }));
        } else if !language.hesitations.contains(&word.text) || is_phrase(&plain, language) {
            plain.push(word.clone());
        }
    }
    plain
}

fn is_phrase(words: &[Word], language: &Language) -> bool {
    let texts: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
    !texts.is_empty() && !language.exam.read(&texts).is_empty()
}
