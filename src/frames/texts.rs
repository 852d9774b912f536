//! Texts of a DICOM object in the character sets that it declares.
//!
//! Takes: an object as the reader gives it, which uses the first of the declared sets only.
//! Gives: the same object with its texts as people write them: sets that are switched by an escape (ISO 2022; PS3.5, 6.1.2 and
//! PS3.3, C.12.1.1.2), and UTF-8 where no set is declared.
//! Never: changes a text that is in the one set that was declared, or guesses another than UTF-8.
//! Tested in: `tests/it/other_stills/names.rs`.

use dicom_core::value::{DataSetSequence, PrimitiveValue, Value};
use dicom_core::{DataElement, VR};
use dicom_dictionary_std::tags;
use dicom_encoding::text::{SpecificCharacterSet, TextCodec as _};
use dicom_object::InMemDicomObject;
use dicom_object::mem::InMemElement;

/// Value representations to which Specific Character Set applies (PS3.5, 6.1.2.2).
const TEXTS: [VR; 7] = [VR::LO, VR::LT, VR::PN, VR::SH, VR::ST, VR::UC, VR::UT];
/// Begins the names of sets that are switched.
const SWITCHED: &str = "ISO 2022 IR ";
/// Begins the switch to a set.
const ESCAPE: u8 = 0x1B;

/// How bytes without their highest bit are read.
#[derive(Clone, Copy, PartialEq)]
enum Lower {
    Ascii,
    /// JIS X 0201: as ASCII, with a yen sign and an overline.
    Romaji,
    /// Two bytes a character, behind this escape.
    Japanese(&'static [u8]),
}

/// How bytes with their highest bit are read.
#[derive(Clone, Copy, PartialEq)]
enum Upper {
    /// A set that the library has, by its name.
    Known(&'static str),
    /// Latin alphabet no. 5 or no. 9: no. 1 with other letters in a few places.
    Latin(&'static [(u8, char)]),
}

/// ISO 8859-9 where it differs from ISO 8859-1.
const LATIN_5: &[(u8, char)] =
    &[(0xD0, 'Ğ'), (0xDD, 'İ'), (0xDE, 'Ş'), (0xF0, 'ğ'), (0xFD, 'ı'), (0xFE, 'ş')];
/// ISO 8859-15 where it differs from ISO 8859-1.
const LATIN_9: &[(u8, char)] =
    &[(0xA4, '€'), (0xA6, 'Š'), (0xA8, 'š'), (0xB4, 'Ž'), (0xB8, 'ž'), (0xBC, 'Œ'), (0xBD, 'œ'), (0xBE, 'Ÿ')];

/// Sets of the upper half: number, what follows the escape, and the set (PS3.3, tables C.12-2 to C.12-4).
const UPPER: [(&str, &[u8], Upper); 15] = [
    ("100", b"-A", Upper::Known("ISO_IR 100")),
    ("101", b"-B", Upper::Known("ISO_IR 101")),
    ("109", b"-C", Upper::Known("ISO_IR 109")),
    ("110", b"-D", Upper::Known("ISO_IR 110")),
    ("144", b"-L", Upper::Known("ISO_IR 144")),
    ("127", b"-G", Upper::Known("ISO_IR 127")),
    ("126", b"-F", Upper::Known("ISO_IR 126")),
    ("138", b"-H", Upper::Known("ISO_IR 138")),
    ("148", b"-M", Upper::Latin(LATIN_5)),
    ("203", b"-b", Upper::Latin(LATIN_9)),
    ("166", b"-T", Upper::Known("ISO_IR 166")),
    ("13", b")I", Upper::Known("ISO_IR 13")),
    ("149", b"$)C", Upper::Known("ISO_IR 149")),
    ("58", b"$)A", Upper::Known("GBK")),
    ("6", b"", Upper::Known("ISO_IR 100")),
];
/// Sets of the lower half, each by what follows the escape.
const LOWER: [(&[u8], Lower); 4] = [
    (b"(B", Lower::Ascii),
    (b"(J", Lower::Romaji),
    (b"$B", Lower::Japanese(b"\x1B$B")),
    (b"$(D", Lower::Japanese(b"\x1B$(D")),
];

/// What an object says of its character sets.
#[derive(Clone, Copy)]
enum Declared {
    /// Nothing.
    Nothing,
    /// One that the reader knows: its texts are right.
    Known,
    /// Some that are switched, or one that the reader does not know; how it begins.
    Others { lower: Lower, upper: Upper, first: Option<&'static str> },
}

/// Reads all texts by the declared sets; true where none that is known is declared and some texts are UTF-8.
pub(crate) fn set_right(object: &mut InMemDicomObject) -> bool {
    within(object, Declared::Nothing)
}

fn within(object: &mut InMemDicomObject, outer: Declared) -> bool {
    let declared = declared(object).unwrap_or(outer);
    let mut changed: Vec<InMemElement> = Vec::new();
    let mut is_undeclared = false;
    for element in object.iter() {
        match element.value() {
            Value::Sequence(all) => {
                let mut items = all.items().to_vec();
                for item in &mut items {
                    is_undeclared |= within(item, declared);
                }
                if items == all.items() {
                    continue;
                }
                changed.push(DataElement::new(element.header().tag, VR::SQ, DataSetSequence::from(items)));
            }
            Value::Primitive(value) if TEXTS.contains(&element.vr()) => {
                let text = value.to_multi_str().join("\\");
                let Some(right) = right(&text, declared).filter(|right| *right != text) else { continue };
                is_undeclared |= matches!(declared, Declared::Nothing);
                let values = PrimitiveValue::Strs(right.split('\\').map(str::to_owned).collect());
                changed.push(DataElement::new(element.header().tag, element.vr(), values));
            }
            _ => {}
        }
    }
    for element in changed {
        object.put(element);
    }
    is_undeclared
}

/// None where the object leaves it to the one around it.
fn declared(object: &InMemDicomObject) -> Option<Declared> {
    let element = object.element_opt(tags::SPECIFIC_CHARACTER_SET).ok().flatten()?;
    let names = element.to_multi_str().ok()?;
    let names: Vec<&str> = names.iter().map(|name| name.trim_matches([' ', '\0'])).collect();
    match names.as_slice() {
        [] | [""] => Some(Declared::Nothing),
        [one] if !one.starts_with(SWITCHED) && SpecificCharacterSet::from_code(one).is_some() => {
            Some(Declared::Known)
        }
        [first, others @ ..] => {
            let number = first.trim_start_matches("ISO_IR ").trim_start_matches(SWITCHED);
            let set = UPPER.iter().find(|(known, ..)| *known == number);
            if set.is_none() && others.is_empty() && !first.starts_with(SWITCHED) {
                return Some(Declared::Nothing);
            }
            let upper = set.map_or(Upper::Known("ISO_IR 100"), |(.., upper)| *upper);
            let first = match upper {
                Upper::Known(name) if !first.is_empty() => Some(name),
                _ => None,
            };
            let lower = if number == "13" { Lower::Romaji } else { Lower::Ascii };
            Some(Declared::Others { lower, upper, first })
        }
    }
}

/// The text as it was meant; none where it stays.
fn right(text: &str, declared: Declared) -> Option<String> {
    match declared {
        Declared::Known => None,
        Declared::Nothing => String::from_utf8(bytes(text, None)?).ok(),
        Declared::Others { lower, upper, first } => Some(switched(&bytes(text, first)?, lower, upper)),
    }
}

/// The bytes of which the reader made this text, by the first declared set or Latin alphabet no. 1.
fn bytes(text: &str, first: Option<&str>) -> Option<Vec<u8>> {
    let by_first = first.and_then(SpecificCharacterSet::from_code).and_then(|set| set.encode(text).ok());
    by_first.or_else(|| text.chars().map(|sign| u8::try_from(u32::from(sign)).ok()).collect())
}

/// Reads bytes whose sets are switched by escapes; at the end of a part of a text or name the first sets count again.
fn switched(bytes: &[u8], first_lower: Lower, first_upper: Upper) -> String {
    let (mut lower, mut upper) = (first_lower, first_upper);
    let mut text = String::new();
    let mut rest = bytes;
    while let Some(&byte) = rest.first() {
        if let Some(after) = rest.strip_prefix(&[ESCAPE]) {
            if let Some((name, set)) = LOWER.iter().find(|(name, _)| after.starts_with(name)) {
                (lower, rest) = (*set, &after[name.len()..]);
                continue;
            }
            let named = UPPER.iter().find(|(_, name, _)| !name.is_empty() && after.starts_with(name));
            if let Some((_, name, set)) = named {
                (upper, rest) = (*set, &after[name.len()..]);
                continue;
            }
        }
        let is_upper = byte >= 0x80;
        let in_pairs = !is_upper && matches!(lower, Lower::Japanese(_));
        if !in_pairs && matches!(byte, b'\\' | b'^' | b'=' | b'\r' | b'\n' | b'\t' | 0x0C) {
            (lower, upper) = (first_lower, first_upper);
            text.push(char::from(byte));
            rest = &rest[1..];
            continue;
        }
        let ends = |next: &u8| (*next >= 0x80) != is_upper || *next == ESCAPE;
        let delimits = |next: &u8| !in_pairs && !is_upper && b"\\^=\r\n\t\x0C".contains(next);
        let length = 1 + rest[1..].iter().take_while(|next| !ends(next) && !delimits(next)).count();
        let (run, after) = rest.split_at(length);
        text.push_str(&if is_upper { read_upper(run, upper) } else { read_lower(run, lower) });
        rest = after;
    }
    text
}

fn read_lower(run: &[u8], lower: Lower) -> String {
    let plain = || run.iter().copied().map(char::from);
    match lower {
        Lower::Ascii => plain().collect(),
        Lower::Romaji => plain().map(|sign| if sign == '~' { '\u{203E}' } else { sign }).collect(),
        Lower::Japanese(escape) => by("ISO_IR 87", &[escape, run, b"\x1B(B"].concat()),
    }
}

fn read_upper(run: &[u8], upper: Upper) -> String {
    match upper {
        Upper::Known(name) => by(name, run),
        Upper::Latin(others) => {
            let letter =
                |byte: &u8| others.iter().find(|(place, _)| place == byte).map(|(_, letter)| *letter);
            run.iter().map(|byte| letter(byte).unwrap_or(char::from(*byte))).collect()
        }
    }
}

fn by(name: &str, bytes: &[u8]) -> String {
    let set = SpecificCharacterSet::from_code(name).unwrap_or(SpecificCharacterSet::ISO_IR_100);
    set.decode(bytes).unwrap_or_else(|_| String::from_utf8_lossy(bytes).into_owned())
}
