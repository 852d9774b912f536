//! The phrase card: what can be said, to hang up beside the scanner.
//!
//! Takes: `Card`, made by the caller from the grammar.
//! Gives: plain text for a terminal, and an HTML page for A4 landscape.
//! Never: a phrase of its own.
//! Tested in: `tests/tell.rs`.

use maud::{Markup, html};

use super::page::{Sheet, page};

const STYLE: &str = include_str!("card.css");

/// The card.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Card {
    /// Heading of the whole card.
    pub title: String,
    /// A sentence below it; may be empty.
    pub note: String,
    /// Its sections in order.
    pub sections: Vec<Section>,
}

/// One section of the card.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Section {
    /// What it is about.
    pub heading: String,
    /// A sentence below the heading; may be empty.
    pub note: String,
    /// What can be said.
    pub rows: Vec<Row>,
}

/// One phrase.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Row {
    /// What to say.
    pub say: String,
    /// What it does; may be empty.
    pub does: String,
}

/// Widest first column of the text card, in characters.
const SAY_WIDTH_MAX: usize = 60;
/// Columns of the printed card.
const COLUMNS: usize = 3;
/// Type sizes of the printed card in points, largest first: the largest that fits one page is taken.
const SIZES_PT: [usize; 7] = [16, 14, 12, 11, 10, 9, 8];
/// Width of a column and height of the page inside its margins, in tenths of a point: A4 landscape, 10 mm around,
/// 7 mm between columns and 22 mm for the title.
const COLUMN_DPT: (usize, usize) = (2485, 4760);
/// Mean width of a letter and height of a line in hundredths of the type size; measured on common sans-serif types by eye.
const LETTER_LINE: (usize, usize) = (54, 130);

/// The card as plain text; every line ends with a line feed.
#[must_use]
pub fn text(card: &Card) -> String {
    let mut out = format!("{}\n", card.title);
    if !card.note.is_empty() {
        out.push_str(&format!("{}\n", card.note));
    }
    for section in &card.sections {
        out.push_str(&format!("\n{}\n", section.heading.to_uppercase()));
        if !section.note.is_empty() {
            out.push_str(&format!("{}\n", section.note));
        }
        let widest = section.rows.iter().map(|row| row.say.chars().count()).max().unwrap_or(0);
        let width = widest.min(SAY_WIDTH_MAX);
        for row in &section.rows {
            out.push_str(format!("  {:<width$}  {}", row.say, row.does).trim_end());
            out.push('\n');
        }
    }
    out
}

/// The card as an HTML page of its own, made to be printed on A4 landscape.
///
/// The type is as large as one page allows; a card too long for one page in the smallest type goes on to a second.
#[must_use]
pub fn html(card: &Card) -> String {
    let size_pt =
        SIZES_PT.into_iter().find(|size_pt| fits(card, *size_pt)).unwrap_or(SIZES_PT[SIZES_PT.len() - 1]);
    let body = html! {
        main class={ "pt" (size_pt) } {
            header { h1 { (card.title) } @if !card.note.is_empty() { p { (card.note) } } }
            div.columns { @for section in &card.sections { (one_section(section)) } }
        }
    };
    page(&Sheet { title: &card.title, style: STYLE, body: &body })
}

fn one_section(section: &Section) -> Markup {
    html! {
        section {
            h2 { (section.heading) }
            @if !section.note.is_empty() { p.note { (section.note) } }
            dl { @for row in &section.rows {
                div { dt { (row.say) } @if !row.does.is_empty() { dd { (row.does) } } }
            } }
        }
    }
}

/// Whether the card fits one page in this type, by counting letters.
fn fits(card: &Card, size_pt: usize) -> bool {
    let (letter, line) = LETTER_LINE;
    let letters = (COLUMN_DPT.0 * 10 / (letter * size_pt)).max(1);
    let lines_a_column = COLUMN_DPT.1 * 10 / (line * size_pt);
    let lines = |text: &str| text.chars().count().div_ceil(letters);
    let of_row =
        |row: &Row| (row.say.chars().count() + row.does.chars().count() + 4).div_ceil(letters).max(1);
    let of_section = |section: &Section| {
        // Two lines for the heading with the space above it.
        2 + lines(&section.heading) + lines(&section.note) + section.rows.iter().map(of_row).sum::<usize>()
    };
    let total: usize = card.sections.iter().map(of_section).sum();
    // A tenth is kept free, for columns break between rows only.
    total <= lines_a_column * COLUMNS * 9 / 10
}
