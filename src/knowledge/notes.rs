//! Free notes as rows of the record: what each is about, and its words as far as somebody or something wrote them down.
//!
//! Takes: `Exam`.
//! Gives: `NoteRow`, and what it says in a sentence.
//! Never: a machine's words without saying that they are a draft.
//! Tested in: `tests/it/notes.rs`.

use serde::{Deserialize, Serialize};

use crate::clock::Span;
use crate::exam::fold::{Exam, Note};
use crate::exam::seq::Seq;

/// Below this a machine's words are mostly guesses; our own choice.
const GUESSED: f64 = 0.6;

/// A free note: listen to its span.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NoteRow {
    /// The call that opened it.
    pub call_seq: Seq,
    /// From and to in the kept audio, in seconds.
    pub span_s: (f64, f64),
    /// What it is about: limb, zone, plane, structure, joined with spaces.
    pub about: String,
    /// It sums up what the exam means.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub conclusion: bool,
    /// Its words; absent where nobody and nothing wrote them down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub words: Option<NoteWords>,
}

/// The words of a note, and what they are worth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "status", rename_all = "snake_case")]
pub enum NoteWords {
    /// A machine wrote them; nobody has read them yet.
    Draft {
        /// The words; empty where it found none.
        text: String,
        /// How probable it finds them, 0 to 1.
        confidence: f64,
        /// Those of which it is not sure.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        unsure: Vec<String>,
        /// Its last words are left out, because it repeated itself.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        cut: bool,
    },
    /// A person listened, and confirmed or corrected them.
    Read {
        /// The words.
        text: String,
        /// Who.
        by: String,
    },
}

impl NoteWords {
    /// The words by themselves.
    #[must_use]
    pub fn text(&self) -> &str {
        match self {
            NoteWords::Draft { text, .. } | NoteWords::Read { text, .. } => text,
        }
    }

    /// The words with what they are worth.
    #[must_use]
    pub fn in_words(&self) -> String {
        match self {
            NoteWords::Draft { text, .. } if text.is_empty() => {
                "draft, not yet read by anyone: no words were found; listen".to_owned()
            }
            NoteWords::Draft { text, confidence, unsure, cut } => {
                let unsure: Vec<String> = unsure.iter().map(|word| format!("“{word}”")).collect();
                let doubt = match unsure.as_slice() {
                    _ if *confidence < GUESSED => "; most of it is a guess".to_owned(),
                    [] => String::new(),
                    words => format!("; not sure of {}", words.join(", ")),
                };
                let end = if *cut { "; its end is missing" } else { "" };
                format!("draft, not yet read by anyone: “{text}”{doubt}{end}")
            }
            NoteWords::Read { text, by } if text.is_empty() => format!("no words, says {by}"),
            NoteWords::Read { text, by } => format!("“{text}”, read by {by}"),
        }
    }
}

/// Every free note, with what it is about.
#[must_use]
pub fn note_rows(exam: &Exam) -> Vec<NoteRow> {
    let row = |note: &Note| NoteRow {
        call_seq: note.seq,
        // A draft says where the note really ended.
        span_s: note
            .draft
            .as_ref()
            .map_or(note.span, |draft| Span { to: draft.span.to, ..note.span })
            .seconds(),
        about: note.context.place.codes(),
        conclusion: note.conclusion,
        words: words(exam, note),
    };
    exam.notes.iter().map(row).collect()
}

fn words(exam: &Exam, note: &Note) -> Option<NoteWords> {
    if let Some((logged, text)) = exam.note_text(note.seq) {
        return Some(NoteWords::Read { text: text.to_owned(), by: logged.review.by.clone() });
    }
    let draft = note.draft.clone()?;
    Some(NoteWords::Draft {
        text: draft.text,
        confidence: draft.confidence,
        unsure: draft.unsure,
        cut: draft.cut,
    })
}
