//! "Normal in size": what is normal in one way only.
//!
//! Takes: the phrases before it in the utterance, and what it names: size, shape, fibre pattern.
//! Gives: the normal just before it, narrowed to what was named.
//! Never: a phrase of its own; without `normal` before it, it means nothing.
//! Tested in: `tests/it/language_degrees.rs`.

use crate::clock::Span;
use crate::exam::call::Act;
use crate::exam::phrase::Phrase;

/// What was called normal as a whole is so in this alone. To the grammar it is a phrase of its own, for after "normal", which
/// is taken at once, it must not wait for more.
pub(crate) fn narrow(phrases: &mut [Phrase], said: Vec<Act>, (words, span, confidence): (String, Span, f64)) {
    let Some(Phrase { call, .. }) = phrases.last_mut() else { return };
    call.words = format!("{} {words}", call.words);
    (call.span, call.confidence) = (call.span.join(span), call.confidence.min(confidence));
    for said in said {
        if let (Act::Finding(normal), Act::Finding(said)) = (&mut call.act, said) {
            normal.attributes.extend(said.attributes);
        }
    }
}
