//! `zonecall phrases`: what can be said, as a list or as a card for the wall.

use std::path::PathBuf;
use std::process::ExitCode;

use super::options::{KnowledgeArgs, LanguageArgs};
use super::output::write_named;
use crate::language::phrases::{blanks, phrases as headings};
use crate::report;
use crate::report::card::{Card, CardRow, Section};
use crate::terminal;

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall phrases\n  zonecall phrases --html card.html\n\n\
    Exit codes: 0 written, 2 an error.")]
pub(crate) struct PhrasesArgs {
    /// Write the card as one printable page instead of text.
    #[arg(long, value_name = "FILE")]
    pub(crate) html: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) language: LanguageArgs,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

pub(crate) fn phrases(args: &PhrasesArgs) -> anyhow::Result<ExitCode> {
    let protocols = args.knowledge.read()?;
    let spoken = args.language.read(&protocols)?;
    // More is heard than is meant to be said: zones of other schemes, so that they can be distinguished.
    let own = spoken.pack.for_zones(&protocols.zones_by_limb(&spoken.schemes));
    let sections = headings(&own.grammar).into_iter().map(|heading| Section {
        heading: heading.title,
        note: heading.note,
        rows: heading.patterns.into_iter().map(|(say, does)| CardRow { say, does }).collect(),
    });
    let own_words = (!spoken.pack.own.is_empty()).then(|| Section {
        heading: "Your own words".to_owned(),
        note: String::new(),
        rows: spoken.pack.own.iter().map(|own| CardRow { say: own.said(), does: own.means() }).collect(),
    });
    let sections = sections.chain(own_words);
    let note = "Words in brackets are optional; a bar separates alternatives.";
    let title = "What you can say".to_owned();
    match &args.html {
        Some(path) => {
            // One page for the wall has no room for the words of the blanks.
            let note = format!("{note} `zonecall phrases` lists the words for each ‹ ›.");
            let card = Card { title, note, sections: sections.collect() };
            write_named(path, report::card::html(&card).as_bytes())?;
        }
        None => {
            let rows =
                blanks(&own.grammar).into_iter().map(|(blank, words)| CardRow { say: blank, does: words });
            let heading = "The words for ‹ ›".to_owned();
            let last = Section { heading, note: String::new(), rows: rows.collect() };
            let card = Card { title, note: note.to_owned(), sections: sections.chain([last]).collect() };
            terminal::data(report::card::text(&card).as_bytes())?;
        }
    }
    Ok(ExitCode::SUCCESS)
}
