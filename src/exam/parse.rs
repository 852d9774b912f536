//! Words to calls.
//!
//! Takes: an `Utterance`, the exam's `Language`, and the protocols' default units.
//! Gives: `Parsed`: calls and problems; parsing never fails and never guesses.
//! Never: looks at what was said before; that is `utterance_outcome` and `fold`.
//! Tested in: `tests/it/language.rs`.

use crate::clock::{SAMPLE_RATE_HZ, Span};
use crate::exam::bind::bind;
use crate::exam::call::{Act, Amount, Call, NoteEdge, Problem, Value};
use crate::exam::item::Item;
use crate::exam::normal_in::narrow;
use crate::exam::normalise::normalised;
use crate::exam::number_correction::NumberInstead;
use crate::exam::phrase::{Hint, Phrase, Way};
use crate::exam::run_together::{area_of_structure, of_several, only_place_corrects, run_together};
use crate::exam::sizes::{first_size, which_size};
use crate::exam::unclear::{
    also_what, begins_like_a_question, corrects_which, how_far, like_talk, may_deny, normal_in_what,
    not_after_no, of_what, of_where, of_which, said_to_others, too_short, unclear,
};
use crate::language::automaton::Passed;
use crate::language::closed_sets::{Class, HorseFact};
use crate::language::pack::Language;
use crate::protocol::Protocols;
use crate::speech::utterance::{Utterance, Word};

/// A note is opened or closed by a phrase of at most this many words.
const NOTE_WORDS_MAX: usize = 6;
/// A call within a note is looked for in so many words at the most;
const HELD_WORDS_MAX: usize = 8;
/// it stands at the end, or before a pause of this many milliseconds, from memory a breath between two phrases.
const PAUSE_MS: u64 = 300;

/// What one utterance means.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Parsed {
    /// The calls in order; empty when anything in the utterance was not understood.
    pub calls: Vec<Call>,
    /// There was known talk in it.
    pub talk: bool,
    /// It ends in "correction", with the right phrase still to come.
    pub correction_waits: bool,
    /// It begins with a number that takes the place of the last one said before it.
    pub instead: Option<NumberInstead>,
    /// It begins with a size that may be the structure's or that of one of these findings, if one was said just before.
    pub size_of: Vec<String>,
    /// Words that are no phrase, but hold a save, a limb or a zone at their end or before a pause: in a note it would be lost.
    pub held: Option<String>,
    /// What stood in the way.
    pub problems: Vec<Problem>,
}

/// What the words of one utterance mean.
#[must_use]
pub fn parse(utterance: &Utterance, language: &Language, protocols: &Protocols) -> Parsed {
    let words: Vec<&str> = utterance.words.iter().map(|word| word.text.as_str()).collect();
    if words.is_empty() {
        return Parsed::default();
    }
    let mut readings = readings(&utterance.words, language, protocols);
    if readings.is_empty() {
        // Only where it is no phrase as it was said: a hesitation between two phrases is talk.
        let plain = normalised(&utterance.words, language);
        if plain != utterance.words {
            readings = self::readings(&plain, language, protocols);
        }
    }
    // A word that answers and could also begin a correction answers: whether one is waited for, others know.
    if let Some(answer) = readings.iter().position(is_answer) {
        readings = vec![readings.swap_remove(answer)];
    }
    if matches!(readings.as_slice(), [one] if one.problems.is_empty()) {
        let one = readings.remove(0);
        let unclear = one.calls.iter().find(|call| may_be_denied(call, language, protocols));
        let problems = unclear.map(|call| may_deny(&call.words)).into_iter().collect::<Vec<_>>();
        return if problems.is_empty() { one } else { Parsed { problems, ..Parsed::default() } };
    }
    let parsed = match (note_in(utterance, language, protocols), readings.len()) {
        (Some(note), 0) => note,
        // What is asked about elsewhere is a part of a note that was opened before it.
        (Some(note), _) if opens_note(&note) => note,
        (_, 1) => readings.remove(0),
        (_, 0) => trouble(
            format!("`{}` is not a complete phrase", words.join(" ")),
            "say it again in the words of the phrase card",
        ),
        (_, many) => trouble(
            format!("`{}` can mean {many} different things", words.join(" ")),
            "say it again with a pause between the parts",
        ),
    };
    // It is not acted on: a call in it is lost where it was said in a note.
    Parsed { held: held(&utterance.words, language, protocols), ..parsed }
}

/// "No lesion area one twelve": its beginning alone says that there is none, and the whole corrects a number.
fn may_be_denied(call: &Call, language: &Language, protocols: &Protocols) -> bool {
    let words: Vec<&str> = call.words.split(' ').collect();
    let denies = |parsed: &Parsed| {
        let is_negative = |call: &Call| call.act.class() == Some(&Class::Negative);
        parsed.problems.is_empty() && !parsed.calls.is_empty() && parsed.calls.iter().all(is_negative)
    };
    let is_value = matches!(call.act, Act::Value(_));
    call.corrects
        && is_value
        && (1..words.len())
            .any(|end| readings(&without_sound(&words[..end]), language, protocols).iter().any(denies))
}

/// What the words can mean, each meaning once.
fn readings(words: &[Word], language: &Language, protocols: &Protocols) -> Vec<Parsed> {
    let texts: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
    let mut readings: Vec<Parsed> = Vec::new();
    for tags in language.exam.read(&texts) {
        let parsed = calls_of(&tags, words, protocols);
        if !readings.contains(&parsed) {
            readings.push(parsed);
        }
    }
    readings
}

fn opens_note(parsed: &Parsed) -> bool {
    parsed.calls.first().is_some_and(|call| call.act.is_note_edge(NoteEdge::Begins))
}

fn is_answer(parsed: &Parsed) -> bool {
    matches!(parsed.calls.as_slice(), [Call { act: Act::Answer { .. }, .. }])
}

/// A text that is equal for words that mean the same, and the words themselves where they are no phrase.
///
/// Fillers, hesitations and optional words do not count, nor how a number is put ("point five", "nought point five") or whether a
/// unit was said that would have been assumed. An engine compares rival meanings with it.
#[must_use]
pub fn meaning(words: &[&str], language: &Language, protocols: &Protocols) -> String {
    let said = without_sound(words);
    let mut meanings: Vec<String> = Vec::new();
    for tags in language.exam.read(words) {
        let Parsed { calls, talk, correction_waits, instead, size_of: _, held: _, problems } =
            calls_of(&tags, &said, protocols);
        let acts: Vec<(Act, bool)> =
            calls.into_iter().map(|call| (unit_as_said(call.act), call.corrects)).collect();
        // A word to the horse or a hesitation beside a call changes nothing.
        let talk = talk && acts.is_empty();
        let instead = instead.map(|instead| (instead.number, instead.unit));
        meanings.push(format!("{acts:?} {talk} {correction_waits} {instead:?} {problems:?}"));
    }
    if meanings.is_empty() { words.join(" ") } else { meanings.join(" or ") }
}

/// The words as if they had been heard surely, at no time.
pub(crate) fn without_sound(words: &[&str]) -> Vec<Word> {
    let span = Span::default();
    words.iter().map(|text| Word { text: (*text).to_owned(), span, confidence: 1.0 }).collect()
}

/// The act as if its unit had been said: one that was assumed is as good.
#[must_use]
pub fn unit_as_said(act: Act) -> Act {
    match act {
        Act::Value(Value { term, amount, said }) => {
            Act::Value(Value { term, amount: Amount { unit_assumed: false, ..amount }, said })
        }
        other => other,
    }
}

/// An utterance that begins or ends a note, with free words that are no phrase.
fn note_in(utterance: &Utterance, language: &Language, protocols: &Protocols) -> Option<Parsed> {
    let words = &utterance.words;
    let read = |part: &[Word]| {
        let texts: Vec<&str> = part.iter().map(|word| word.text.as_str()).collect();
        let tags = language.exam.read(&texts).into_iter().next()?;
        Some(calls_of(&tags, part, protocols))
    };
    let note = |parsed: Parsed, edge: NoteEdge| {
        let call = parsed.calls.into_iter().next()?;
        call.act.is_note_edge(edge).then_some(call)
    };
    let most = NOTE_WORDS_MAX.min(words.len());
    // The longest beginning that is a phrase decides: "note the" is talk, and opens nothing.
    let mut opens = None;
    for parsed in (1..=most).rev().filter_map(|n| read(&words[..n])) {
        if parsed.talk && parsed.calls.is_empty() {
            break;
        }
        opens = note(parsed, NoteEdge::Begins);
        if opens.is_some() {
            break;
        }
    }
    let closes = (1..=most).rev().find_map(|n| note(read(&words[words.len() - n..])?, NoteEdge::Ends));
    let calls: Vec<Call> = opens.into_iter().chain(closes).collect();
    (!calls.is_empty()).then(|| Parsed { calls, ..Parsed::default() })
}

/// The save, limb or zone at the end of these words, or at the end of those before a pause.
fn held(words: &[Word], language: &Language, protocols: &Protocols) -> Option<String> {
    let goes_on =
        |a: &Word, b: &Word| b.span.from.since(a.span.to) < PAUSE_MS * u64::from(SAMPLE_RATE_HZ) / 1000;
    let ends = words.chunk_by(goes_on).flat_map(|piece| {
        let first = piece.len().saturating_sub(HELD_WORDS_MAX);
        (first..piece.len()).map(|from| &piece[from..])
    });
    let is_call = |end: &&[Word]| {
        let read = readings(end, language, protocols);
        read.iter().any(|parsed| parsed.calls.iter().any(|call| call.act.ends_note()))
    };
    let held = ends.into_iter().find(is_call)?;
    Some(held.iter().map(|word| word.text.as_str()).collect::<Vec<_>>().join(" "))
}

fn trouble(message: String, help: &str) -> Parsed {
    let problems = vec![Problem { message, help: help.to_owned() }];
    Parsed { problems, ..Parsed::default() }
}

/// The calls that a sequence of tags stands for; `words` are the utterance's words.
///
/// A tag `key=value` fills a field, `+n` and `.` build a number, `!kind` closes a phrase and `&kind` a part of it.
/// Views that follow each other are one call, unless they name the same thing twice.
#[must_use]
pub fn calls_of(tags: &[Passed], words: &[Word], protocols: &Protocols) -> Parsed {
    let mut parsed = Parsed::default();
    let mut phrases: Vec<Phrase> = Vec::new();
    let mut item = Item::default();
    let mut first_word = 0;
    let mut correcting: Option<Correcting> = None;
    let mut waits = None;
    // "Deep, okay": said of the deep one, or to the horse?
    let mut between: Option<String> = None;
    // What holds only with another phrase after it, or beside it.
    let (mut never_last, mut alone) = (false, None);
    for (tag, said) in tags {
        let Some(kind) = tag.strip_prefix(['!', '&']) else {
            item.take(tag);
            continue;
        };
        if let Some(how) = Correcting::named(kind) {
            // The call that follows keeps the word "correction" among its words.
            (correcting, waits) = (Some(how), Some(how));
            never_last = item.is_never_last();
            item = Item::default();
            continue;
        }
        if kind == "talk" {
            parsed.talk = true;
            between =
                item.say_instead().map(str::to_owned).filter(|_| phrases.last().is_some_and(names_structure));
        } else {
            let (way, joined, of_each, hint) = (item.way(), item.joined(), item.is_of_each(), item.hint());
            let after_negative = item.after() == Some("negative");
            let words = &words[first_word..*said];
            parsed.problems.extend(between.take().as_deref().map(unclear));
            parsed.problems.extend(lacks_before(&item, &phrases));
            parsed.problems.extend(is_out_of_place(&item, kind, words));
            if item.is_size_of_either() {
                size_of_either(&mut parsed, &phrases, &protocols.sized);
            }
            match item.close(kind, protocols) {
                _ if kind == "unclear" => {
                    parsed.problems.push(unclear(item.say_instead().unwrap_or_default()));
                }
                _ if kind == "number" => put_instead(&mut parsed, &mut phrases, &item, words),
                Ok(acts) if item.after() == Some("normal") => narrow(&mut phrases, acts, heard(words)),
                Ok(acts) => {
                    for act in acts {
                        if correcting == Some(Correcting::Place) && !can_follow_no(&act) {
                            parsed.problems.push(not_after_no());
                        }
                        let call = call(act, correcting, words, &phrases);
                        phrases.push(Phrase { call, way, joined, after_negative, of_each, hint });
                    }
                }
                Err(problem) => parsed.problems.push(problem),
            }
        }
        waits = None;
        alone = wrong_alone(&item, alone);
        item = Item::default();
        first_word = *said;
    }
    parsed.problems.extend(between.as_deref().map(unclear));
    parsed.problems.extend(alone.filter(|_| phrases.len() == 1));
    parsed.problems.extend((item.says_also() && repeats_finding(&phrases)).then(also_what));
    if let Some(how) = waits {
        wait_for_right(&mut parsed, how, never_last && !phrases.is_empty());
    }
    if let Err(problem) = join(phrases, &mut parsed, protocols) {
        parsed.problems.push(problem);
    }
    if !parsed.problems.is_empty() {
        parsed.calls.clear();
        parsed.instead = None;
    }
    parsed
}

/// A correction with nothing after it: the right phrase comes in the next utterance, or it was talk.
fn wait_for_right(parsed: &mut Parsed, how: Correcting, is_unclear: bool) {
    match how {
        Correcting::Any => parsed.correction_waits = true,
        Correcting::Within if is_unclear => parsed.problems.push(corrects_which()),
        Correcting::Within => parsed.talk = true,
        Correcting::Place => parsed.problems.push(not_after_no()),
    }
}

/// A size that a structure has as well as a lesion: whose it is, or that it is not clear.
fn size_of_either(parsed: &mut Parsed, phrases: &[Phrase], sized: &[String]) {
    parsed.problems.extend(after_lesion(phrases, sized).then(which_size));
    let is_here = !phrases.iter().any(|phrase| matches!(phrase.call.act, Act::View(_)));
    parsed.size_of = if is_here { sized.to_vec() } else { Vec::new() };
}

/// The calls of the phrases, each bound to its structure and its place.
fn join(mut phrases: Vec<Phrase>, parsed: &mut Parsed, protocols: &Protocols) -> Result<(), Problem> {
    if mixes_identity(&phrases) {
        return Err(Problem::new(
            "which horse it is must be said in a phrase of its own",
            "pause before and after it",
        ));
    }
    let is_short = |code: &str| protocols.structures.iter().any(|known| known.short.as_deref() == Some(code));
    area_of_structure(&mut phrases, protocols);
    only_place_corrects(&mut phrases);
    let unclear = phrases.windows(2).find_map(|two| run_together(&two[0], &two[1], protocols));
    if let Some(problem) = unclear.or_else(|| of_several(&phrases, protocols)) {
        return Err(problem);
    }
    parsed.calls = bind(phrases, &is_short)?;
    parsed.size_of.extend(first_size(&parsed.calls, protocols)?);
    Ok(())
}

fn names_structure(phrase: &Phrase) -> bool {
    matches!(&phrase.call.act, Act::View(view) if view.structure.is_some())
}

/// A structure, or a place on the limb: "two bravo clear". Of a limb alone "good" may be said to its owner.
fn says_where(phrase: &Phrase) -> bool {
    let Act::View(view) = &phrase.call.act else { return false };
    view.structure.is_some() || view.zone.is_some() || view.plane.is_some() || view.level_cm.is_some()
}

/// What the phrase needs before it in the utterance and does not have, or has and must not.
fn lacks_before(item: &Item, phrases: &[Phrase]) -> Option<Problem> {
    let after_structure = phrases.last().is_some_and(names_structure);
    let after_finding = phrases.last().is_some_and(|phrase| matches!(phrase.call.act, Act::Finding(_)));
    let after_value = phrases.last().is_some_and(|phrase| matches!(phrase.call.act, Act::Value(_)));
    match item.never_after() {
        Some("structure") if item.joined().is_none() && after_structure => return Some(of_which()),
        Some("finding") if after_finding => return Some(which_size()),
        Some("seen") if after_finding || after_value => return Some(how_far()),
        _ => {}
    }
    match item.after()? {
        "phrase" => phrases.is_empty().then(begins_like_a_question),
        "structure" => (!after_structure).then(of_what),
        "place" => (!phrases.last().is_some_and(says_where)).then(of_what),
        "normal" => {
            (!phrases.last().is_some_and(|before| before.call.act.is_all_normal())).then(normal_in_what)
        }
        // As the first of several it is clear, too.
        "view" => (!phrases.last().is_none_or(can_be_of_a_plane)).then(of_where),
        _ => None,
    }
}

/// "Two bravo long", "save long".
fn can_be_of_a_plane(phrase: &Phrase) -> bool {
    matches!(phrase.call.act, Act::View(_) | Act::Save | Act::Clip)
}

/// What is wrong where the phrase stays the only one of the utterance.
fn wrong_alone(item: &Item, before: Option<Problem>) -> Option<Problem> {
    if item.after() == Some("view") {
        return Some(of_where());
    }
    if item.is_never_alone() { Some(said_to_others(item.say_instead())) } else { before }
}

/// A lesion that has a size of its own was said since the last place.
fn after_lesion(phrases: &[Phrase], sized: &[String]) -> bool {
    let at_place = phrases.iter().rev().take_while(|phrase| !matches!(phrase.call.act, Act::View(_)));
    at_place
        .into_iter()
        .any(|phrase| matches!(&phrase.call.act, Act::Finding(finding) if sized.contains(&finding.term)))
}

/// "The suspensory is normal and the check", "superficial enlarged, deep", with "also" after it.
fn repeats_finding(phrases: &[Phrase]) -> bool {
    let Some((last, before)) = phrases.split_last() else { return false };
    let found = before.iter().any(|phrase| matches!(phrase.call.act, Act::Finding(_)));
    found && last.call.act.only_structure().is_some()
}

/// "We have saved" is no save, and a single short word no finding.
fn is_out_of_place(item: &Item, kind: &str, words: &[Word]) -> Option<Problem> {
    if item.only().is_some_and(|only| only != kind) {
        return Some(like_talk());
    }
    (item.needs_more() && words.len() == 1).then(too_short)
}

/// "Sorry, one twenty": the number before it in the utterance was another one, or the last of the one before.
fn put_instead(parsed: &mut Parsed, phrases: &mut Vec<Phrase>, item: &Item, words: &[Word]) {
    let (number, unit) = (item.number().unwrap_or_default(), item.unit());
    let (words, span, confidence) = heard(words);
    let instead = NumberInstead { number, unit, words, span, confidence };
    let Some(last) = phrases.last() else {
        parsed.instead = Some(instead);
        return;
    };
    let value = match &last.call.act {
        Act::Value(value) => Some(value),
        _ => None,
    };
    match instead.corrects(value) {
        Ok(call) => phrases.push(Phrase {
            call,
            way: Way::Bare,
            joined: None,
            after_negative: false,
            of_each: false,
            hint: Hint::Plain,
        }),
        Err(problem) => parsed.problems.push(problem),
    }
}

/// How a word of correction works.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Correcting {
    /// "Correction": the right phrase may come after a pause.
    Any,
    /// "Sorry": only with the right phrase in the same utterance; else it is talk.
    Within,
    /// "No": only with a place or a number in the same utterance.
    Place,
}

impl Correcting {
    fn named(kind: &str) -> Option<Correcting> {
        match kind {
            "correction" => Some(Correcting::Any),
            "sorry" => Some(Correcting::Within),
            "no" => Some(Correcting::Place),
            _ => None,
        }
    }
}

/// "Gelding scar" is neither a horse nor a finding; a spelled name is confirmed by itself.
fn mixes_identity(phrases: &[Phrase]) -> bool {
    let identities = phrases.iter().filter(|phrase| matches!(phrase.call.act, Act::Identity { .. })).count();
    // A name or a number of the list is another horse: it is asked about by itself.
    let is_name = |phrase: &Phrase| {
        matches!(&phrase.call.act, Act::Identity { what: HorseFact::Name | HorseFact::Number, .. })
    };
    identities > 0 && (identities < phrases.len() || (identities > 1 && phrases.iter().any(is_name)))
}

/// "No check ligament" may say that there is none, and "no more than ten" is a bound: neither corrects.
fn can_follow_no(act: &Act) -> bool {
    match act {
        Act::View(_) => act.only_structure().is_none(),
        Act::Value(value) => value.said.comparator.is_none(),
        _ => false,
    }
}

/// A call of these words; one without words of its own was said with the words of the one before it.
fn call(act: Act, correcting: Option<Correcting>, words: &[Word], before: &[Phrase]) -> Call {
    // A save is one, whatever was corrected before it.
    let corrects = correcting.is_some() && !act.is_save();
    if words.is_empty()
        && let Some(Phrase { call, .. }) = before.last()
    {
        return Call { act, corrects, ..call.clone() };
    }
    let (words, span, confidence) = heard(words);
    Call { act, corrects, reach: None, words, span, confidence }
}

/// The words as text, where they were heard, and how sure the least sure of them is.
fn heard(words: &[Word]) -> (String, Span, f64) {
    let text: Vec<&str> = words.iter().map(|word| word.text.as_str()).collect();
    let spans = words.iter().map(|word| word.span);
    let confidence = words.iter().map(|word| word.confidence).fold(1.0, f64::min);
    (text.join(" "), spans.reduce(Span::join).unwrap_or_default(), confidence)
}
