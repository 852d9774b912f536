//! The phrase card: what can be said, to hang up by the scanner.
//!
//! Takes: `Card`, made by the caller from the grammar.
//! Gives: plain text for a terminal, and an HTML page for A4 landscape.
//! Never: a phrase of its own.
//! Tested in: `tests/it/report.rs`.

use maud::{Markup, html};

use super::document::{Document, page};
use super::words::CAUTIONS;

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
    pub rows: Vec<CardRow>,
}

/// One phrase.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CardRow {
    /// What to say.
    pub say: String,
    /// What it does; may be empty.
    pub does: String,
}

/// Widest first column of the text card, in characters.
const SAY_WIDTH_MAX: usize = 60;
/// Type sizes of the printed card in points, largest first: the largest that fits one page is taken.
const SIZES_PT: [usize; 8] = [16, 14, 13, 12, 11, 10, 9, 8];
/// Columns of the printed card; fewer are preferred in the same type.
const COLUMNS: [usize; 3] = [2, 3, 4];
/// Width of A4 landscape inside 10 mm on each side, space between columns, and height between title and cautions, in points.
const PAGE_PT: (usize, usize, usize) = (785, 20, 448);
/// Mean width of a bold letter in hundredths of the type size; a wide sans-serif face came to about 49 on a print.
const LETTER: usize = 54;
/// Height of a heading with the space above it, as `card.css` sets it, in hundredths of the type size.
const HEADING: usize = 250;
/// Height of a line of a note, in hundredths of the type size.
const NOTE_LINE: usize = 111;
/// Height of a line of a row, in hundredths of the type size.
const ROW_LINE: usize = 130;
/// Space around a row, in hundredths of the type size.
const ROW_SPACE: usize = 12;
/// Share of the page that is filled, in hundredths, for columns break between rows only.
const FILLED: usize = 94;

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
    out.push_str(&format!("\n{CAUTIONS}\n"));
    out
}

/// The card as an HTML page of its own, made to be printed on A4 landscape.
///
/// The type is as large as one page allows; a card too long for one page in the smallest type goes on to a second.
#[must_use]
pub fn html(card: &Card) -> String {
    let layouts = SIZES_PT.into_iter().flat_map(|size_pt| COLUMNS.map(|columns| (size_pt, columns)));
    let smallest = (SIZES_PT[SIZES_PT.len() - 1], COLUMNS[COLUMNS.len() - 1]);
    let fitting = layouts.into_iter().find(|(size_pt, columns)| fits(card, *size_pt, *columns));
    let (size_pt, columns) = fitting.unwrap_or(smallest);
    let body = html! {
        main class={ "pt" (size_pt) " in" (columns) } {
            header { h1 { (card.title) } @if !card.note.is_empty() { p { (card.note) } } }
            div.columns { @for section in &card.sections { (one_section(section)) } }
            footer { (CAUTIONS) }
        }
    };
    page(&Document { title: &card.title, style: STYLE, body: &body })
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
fn fits(card: &Card, size_pt: usize, columns: usize) -> bool {
    let (page, gap, height) = PAGE_PT;
    let letters = ((page - gap * (columns - 1)) / columns * 100 / (LETTER * size_pt)).max(1);
    let lines = |text: &str| text.chars().count().div_ceil(letters);
    let of_row = |row: &CardRow| {
        let length = row.say.chars().count() + 1 + row.does.chars().count();
        length.div_ceil(letters).max(1) * ROW_LINE + ROW_SPACE
    };
    let of_section = |section: &Section| {
        let rows: usize = section.rows.iter().map(of_row).sum();
        HEADING * lines(&section.heading).max(1) + lines(&section.note) * NOTE_LINE + rows
    };
    let total: usize = card.sections.iter().map(of_section).sum();
    total * size_pt <= height * columns * FILLED
}
