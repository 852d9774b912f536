//! What differs between a record as it was signed and as this version makes it.
//!
//! Takes: both as JSON, and which findings say that nothing is wrong.
//! Gives: whether only the program's own words differ, and each difference in words.
//! Never: says that a signature is broken: the journal, the sound and the stills have hashes of their own.
//! Tested in: `tests/it/file_integrity.rs`.

use serde_json::{Map, Value};

use crate::exam::fold::RecordDiffers;
use crate::language::closed_sets::Class;

/// Keys of a record under which the program speaks in its own words, or marks what follows from values that are compared
/// themselves; everything else was said, saved, typed or computed.
const OWN_WORDS: [&str; 10] = [
    "findings",
    "cautions",
    "doubt",
    "why_not",
    "source",
    "reason",
    "method",
    "refused",
    "replaced_by",
    "contradicted_by",
];
/// The one of them whose presence is a fact: a still that is refused has no label.
const REFUSED: &str = "refused";
/// Key of the class of a finding.
const CLASS: &str = "class";
/// Differences that are named; of the rest only the number is given.
const NAMED_MAX: usize = 3;
/// Letters of a value that are shown.
const SHOWN_MAX: usize = 160;

/// How the record `now` differs from the one that was signed; none where both are the same.
#[must_use]
pub(super) fn differs(
    then: &Value,
    now: &Value,
    is_no_lesion: &dyn Fn(&str) -> bool,
) -> Option<(RecordDiffers, Vec<String>)> {
    let mut found = Found { is_no_lesion, computed: Vec::new(), worded: Vec::new() };
    found.compare(then, now, "", Part::Facts);
    let how = if found.computed.is_empty() { RecordDiffers::Worded } else { RecordDiffers::Computed };
    let all = [found.computed, found.worded].concat();
    let more = all.len().saturating_sub(NAMED_MAX);
    let mut named: Vec<String> = all.into_iter().take(NAMED_MAX).collect();
    if more > 0 {
        named.push(format!("and {more} more"));
    }
    (!named.is_empty()).then_some((how, named))
}

/// A part of a record.
#[derive(Clone, Copy)]
enum Part {
    /// What was said, saved, typed or computed.
    Facts,
    /// What the program says in its own words.
    OwnWords,
}

impl Part {
    /// What lies under this key of it.
    fn within(self, key: &str) -> Part {
        if OWN_WORDS.contains(&key) { Part::OwnWords } else { self }
    }

    /// The same for a key that is there on one side only.
    fn presence(self, key: &str) -> Part {
        if key == REFUSED { Part::Facts } else { self }
    }
}

/// What differs: in what was said, saved, typed or computed, and in the program's own words.
struct Found<'a> {
    is_no_lesion: &'a dyn Fn(&str) -> bool,
    computed: Vec<String>,
    worded: Vec<String>,
}

impl Found<'_> {
    fn compare(&mut self, then: &Value, now: &Value, path: &str, part: Part) {
        match (then, now) {
            _ if then == now => {}
            (Value::Object(then), Value::Object(now)) => self.objects(then, now, path, part),
            (Value::Array(then), Value::Array(now)) => self.arrays(then, now, path, part),
            _ => self.add(part, format!("{path} was {}, and is now {}", shown(then), shown(now))),
        }
    }

    fn objects(&mut self, then: &Map<String, Value>, now: &Map<String, Value>, path: &str, part: Part) {
        let says_nothing_wrong = self.says_nothing_wrong(then, now);
        for (key, then) in then {
            let part = if key == CLASS && says_nothing_wrong { Part::OwnWords } else { part.within(key) };
            let path = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
            match now.get(key) {
                Some(now) => self.compare(then, now, &path, part),
                None => self.add(part.presence(key), format!("{path} was {}, and is gone now", shown(then))),
            }
        }
        // What was empty is left out of a record: a key that is new may be a value that the vet never saw.
        for (key, now) in now.iter().filter(|(key, _)| !then.contains_key(*key)) {
            let part = part.within(key);
            self.add(part.presence(key), format!("{path}.{key} is new: {}", shown(now)));
        }
    }

    /// Versions before this one called it a lesion that a surface is as it should be; what was said is the same.
    fn says_nothing_wrong(&self, then: &Map<String, Value>, now: &Map<String, Value>) -> bool {
        let is = |row: &Map<String, Value>, class: Class| {
            row.get(CLASS).and_then(Value::as_str) == Some(class.as_str())
        };
        let term = now.get("term").and_then(Value::as_str);
        is(then, Class::Lesion)
            && is(now, Class::Unremarkable)
            && then.get("term") == now.get("term")
            && term.is_some_and(self.is_no_lesion)
    }

    /// Rows that are the same are left out, wherever they stand; the others are held against each other in order.
    fn arrays(&mut self, then: &[Value], now: &[Value], path: &str, part: Part) {
        let mut new: Vec<&Value> = now.iter().collect();
        let mut gone: Vec<&Value> = Vec::new();
        for row in then {
            match new.iter().position(|other| *other == row) {
                Some(idx) => drop(new.remove(idx)),
                None => gone.push(row),
            }
        }
        for (then, now) in gone.iter().zip(&new) {
            self.compare(then, now, path, part);
        }
        for row in gone.iter().skip(new.len()) {
            self.add(part, format!("{path} had {}, which is gone now", shown(row)));
        }
        for row in new.iter().skip(gone.len()) {
            self.add(part, format!("{path} now has {}", shown(row)));
        }
        if gone.is_empty() && new.is_empty() {
            self.add(part, format!("{path} is in another order now"));
        }
    }

    fn add(&mut self, part: Part, text: String) {
        match part {
            Part::OwnWords => self.worded.push(text),
            Part::Facts => self.computed.push(text),
        }
    }
}

/// A value in a few words: the message of a finding, or the value itself.
fn shown(value: &Value) -> String {
    let text = match value.get("message").unwrap_or(value) {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    };
    let short: String = text.chars().take(SHOWN_MAX).collect();
    if short.len() < text.len() { format!("`{short}…`") } else { format!("`{short}`") }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn how(then: Value, now: Value) -> Option<RecordDiffers> {
        differs(&then, &now, &|_| false).map(|(how, _)| how)
    }

    #[test]
    fn why_a_still_was_refused_may_be_worded_anew_but_not_whether_it_was() {
        let still = |why: &str| json!({"frames": [{"id": "2.25.1", "refused": why}]});
        let accepted = || json!({"frames": [{"id": "2.25.1"}]});
        assert_eq!(how(still("it is of another"), still("it shows another")), Some(RecordDiffers::Worded));
        assert_eq!(how(still("it shows another"), accepted()), Some(RecordDiffers::Computed));
        assert_eq!(how(accepted(), still("it shows another")), Some(RecordDiffers::Computed));
    }

    #[test]
    fn how_a_clock_was_found_may_be_worded_anew_but_not_what_was_found() {
        let clock = |offset_s: f64, method: &str| json!({"clock": {"offset_s": offset_s, "method": method}});
        assert_eq!(how(clock(1.5, "by votes"), clock(1.5, "by counting")), Some(RecordDiffers::Worded));
        assert_eq!(how(clock(1.5, "by votes"), clock(2.5, "by votes")), Some(RecordDiffers::Computed));
    }
}
