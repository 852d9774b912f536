//! The frame of every page that is written.
//!
//! Takes: a title, a style and a body that is already escaped.
//! Gives: a whole HTML document that may load nothing and run nothing.
//! Never: an address of another machine.
//! Tested in: `tests/it/report.rs`.

use maud::{DOCTYPE, Markup, PreEscaped, html};

/// What a browser may do with the page: show its own style and its own pictures, nothing else.
const POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'";

/// The parts of a page.
pub(crate) struct Document<'a> {
    pub(crate) title: &'a str,
    /// A style sheet of our own; not escaped.
    pub(crate) style: &'static str,
    pub(crate) body: &'a Markup,
}

/// The whole page.
pub(crate) fn page(document: &Document) -> String {
    let markup = html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                title { (document.title) }
                style { (PreEscaped(document.style)) }
            }
            body { (document.body) }
        }
    };
    markup.into_string() + "\n"
}
