//! What the status of an answer means, for the person who sends.
//!
//! Takes: a status, and the words that the other side put beside it.
//! Gives: what it means, what to do, and its number for the other side's support.
//! Never: a meaning that the standard does not give: then only the number is said.
//! Tested in: here and `tests/it/exchange/refusals.rs`.

/// From one status to another: what it means, and what to do.
type Meaning = (u16, u16, &'static str, &'static str);

/// A status that is no range.
const fn one(status: u16, means: &'static str, remedy: &'static str) -> Meaning {
    (status, status, means, remedy)
}

/// PS3.4, table B.2-1 for storage; PS3.7, annex C for all services; what to do is common practice, no source.
const MEANINGS: [Meaning; 17] = [
    (0xA700, 0xA7FF, "it has no room, or not now", "make room there, then send again"),
    (
        0xA900,
        0xA9FF,
        "the object does not fit its class: something that the archive asks for is missing or wrong",
        "look in its log for the attribute, then export again",
    ),
    one(
        0xC122,
        "it does not take pictures that are packed in this way",
        "let the scanner export uncompressed, or ask the archive's makers",
    ),
    (
        0xC000,
        0xCFFF,
        "it cannot understand the object",
        "look in its log for the reason; the file may be damaged: export it from the scanner again",
    ),
    one(0x0105, "an attribute that it does not know", "look in its log"),
    one(0x0106, "an attribute has a value that it does not take", "look in its log for which one"),
    one(0x0110, "it failed while it worked on the object", "look in its log, then send again"),
    one(
        0x0111,
        "it has an object of this name already, perhaps with other content",
        "compare the two there before you delete one",
    ),
    one(0x0112, "it has no such object", "send the object again"),
    one(0x0115, "it got an argument that it does not take", "look in its log"),
    one(0x0117, "the object's name is not a valid UID", "export the still from the scanner again"),
    one(0x0118, "it does not know this kind of object", "allow that kind of object there, or ask its makers"),
    one(0x0119, "name and kind of the object do not belong together", "look in its log"),
    one(0x0120, "an attribute that it asks for is missing", "look in its log for which one"),
    one(0x0122, "it does not take this kind of object", "allow that kind of object there, or ask its makers"),
    one(0x0124, "we may not do this there", "allow our AE title to store there"),
    one(0x0213, "it has no resources left for now", "wait, then send again"),
];

/// Statuses of objects that were stored all the same (PS3.4 B.2.3, PS3.7 C.4.2).
const WARNINGS: [Meaning; 4] = [
    one(0x0107, "it stored the object without some of its attributes", "compare the two copies"),
    one(0xB000, "it changed some values to its own", "compare name and number there"),
    one(0xB006, "it dropped some attributes", "compare the two copies if those attributes matter there"),
    one(0xB007, "the object does not quite fit its class", "look in its log"),
];

/// A refusal in words, such as "it has no room, or not now (status 0xA700); make room there, then send again".
pub(super) fn refusal(status: u16, comment: Option<&str>) -> String {
    in_words(status, comment, &MEANINGS, "it does not say why")
}

/// Whether the object was stored all the same.
pub(super) fn is_warning(status: u16) -> bool {
    meaning(status, &WARNINGS).is_some()
}

/// A warning in words; the object is there.
pub(crate) fn warning(status: u16) -> String {
    in_words(status, None, &WARNINGS, "it warns and does not say of what")
}

fn meaning(status: u16, known: &[Meaning]) -> Option<&Meaning> {
    known.iter().find(|(from, to, ..)| (*from..=*to).contains(&status))
}

fn in_words(status: u16, comment: Option<&str>, known: &[Meaning], none: &str) -> String {
    let found = meaning(status, known);
    let (means, remedy) = found.map_or((none, "look in its log"), |(.., means, remedy)| (*means, *remedy));
    let comment = comment.map(|comment| format!(": “{}”", comment.trim())).unwrap_or_default();
    format!("{means}{comment} (status 0x{status:04X}); {remedy}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_range_has_its_meaning_and_an_unknown_status_has_its_number() {
        for (status, means) in [
            (0xA700, "no room"),
            (0xA7FF, "no room"),
            (0xA900, "does not fit its class"),
            (0xC000, "cannot understand"),
            (0xCFFF, "cannot understand"),
            (0xC122, "packed"),
            (0x0122, "this kind of object"),
            (0x0124, "may not"),
        ] {
            let told = refusal(status, None);
            assert!(told.contains(means) && told.contains(&format!("(status 0x{status:04X})")), "{told}");
        }
        assert_eq!(refusal(0x1234, None), "it does not say why (status 0x1234); look in its log");
        assert!(refusal(0xA700, Some("Disk full ")).starts_with("it has no room, or not now: “Disk full” ("));
        assert!(warning(0xB000).contains("changed some values"));
    }
}
