//! Fonts for every letter of a report.
//!
//! Takes: the report's data.
//! Gives: our own typeface, and fonts of the machine for letters that it lacks; letters that no font has, by number.
//! Never: a letter that is dropped, or one that steers the page: such are shown by number, too.
//! Tested in: `tests/it/print.rs`.

use std::collections::BTreeSet;
use std::sync::LazyLock;

use fontdb::Database;
use serde_json::Value;
use typst::foundations::Bytes;
use typst::text::{Font, FontInfo};

use crate::report::chart::alone;

/// Name of the typeface, as the templates and charts call it.
const FACE: &str = "Open Sans";

static OWN: LazyLock<Vec<Font>> = LazyLock::new(|| {
    let files: [&'static [u8]; 2] =
        [include_bytes!("fonts/OpenSans-Regular.ttf"), include_bytes!("fonts/OpenSans-Semibold.ttf")];
    files.into_iter().filter_map(|file| Font::new(Bytes::new(file), 0)).collect()
});

/// A chart as a file of its own, its letters those of the printed page.
pub(super) fn in_own_face(svg: &str) -> String {
    alone(svg, FACE).replace("font-weight=\"650\"", "font-weight=\"600\"")
}

/// The fonts that the texts need; a letter that none of them has is written as its number.
pub(super) fn for_texts(data: &mut Value) -> (Vec<Font>, Vec<char>) {
    let mut letters = BTreeSet::new();
    each_text(data, &mut |text| letters.extend(text.chars()));
    let steering: BTreeSet<char> = letters.iter().copied().filter(|letter| steers(*letter)).collect();
    let lacking: BTreeSet<char> =
        letters.into_iter().filter(|letter| !steers(*letter) && !has(&OWN, *letter)).collect();
    let mut fonts = OWN.clone();
    let without_font = if lacking.is_empty() { lacking } else { add_from_machine(&mut fonts, lacking) };
    let by_number = |letter: char| steering.contains(&letter) || without_font.contains(&letter);
    each_text(data, &mut |text| {
        if text.chars().any(by_number) {
            let shown = |letter: char| match letter {
                letter if by_number(letter) => format!("‹U+{:04X}›", u32::from(letter)),
                letter => letter.to_string(),
            };
            *text = text.chars().map(shown).collect();
        }
    });
    (fonts, without_font.into_iter().collect())
}

fn each_text(data: &mut Value, with: &mut impl FnMut(&mut String)) {
    match data {
        Value::String(text) => with(text),
        Value::Array(values) => values.iter_mut().for_each(|value| each_text(value, with)),
        Value::Object(values) => values.values_mut().for_each(|value| each_text(value, with)),
        _ => {}
    }
}

/// Letters that are not seen but change how others are: controls, and those that turn the direction or join. The end of
/// a line is what people type between two of them, and the templates make lines of it.
fn steers(letter: char) -> bool {
    letter.is_control() && letter != '\n'
        || matches!(letter, '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FEFF}')
}

fn has(fonts: &[Font], letter: char) -> bool {
    letter.is_whitespace() || fonts.iter().any(|font| font.info().coverage.contains(u32::from(letter)))
}

/// Adds fonts of the machine until no more letters are found; gives those that none has.
fn add_from_machine(fonts: &mut Vec<Font>, mut lacking: BTreeSet<char>) -> BTreeSet<char> {
    let mut machine = Database::new();
    machine.load_system_fonts();
    // Upright and of usual weight first; then by name, so that one machine always chooses the same.
    let mut faces: Vec<_> = machine.faces().collect();
    faces.sort_by_key(|face| {
        let plain = face.style == fontdb::Style::Normal && face.weight == fontdb::Weight::NORMAL;
        (!plain, face.post_script_name.clone(), face.index)
    });
    for face in faces {
        if lacking.is_empty() {
            break;
        }
        let font = machine.with_face_data(face.id, |data, index| {
            let info = FontInfo::new(data, index)?;
            let helps = lacking.iter().any(|letter| info.coverage.contains(u32::from(*letter)));
            if helps { Font::new(Bytes::new(data.to_vec()), index) } else { None }
        });
        if let Some(font) = font.flatten() {
            lacking.retain(|letter| !font.info().coverage.contains(u32::from(*letter)));
            fonts.push(font);
        }
    }
    lacking
}
