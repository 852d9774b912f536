//! `zonecall notes`: the words of free notes, written down as drafts, then confirmed or corrected by a person.
//!
//! Takes: an exam folder, and what a person says of one note.
//! Gives: drafts and words of a person in the journal, and the list of notes.
//! Never: takes a draft for a person's words.
//! Tested in: `tests/it/notes.rs`.

use std::ffi::OsString;
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context as _, ensure};
use chrono::Utc;

use super::options::{DraftAgain, FolderArgs, KnowledgeArgs, WhichEar, listed_name};
use crate::exam::event::Event;
use crate::exam::fold::Exam;
use crate::exam::review::{Change, Review, WORDS_MAX};
use crate::exam::seq::Seq;
use crate::exam_folder::ExamFolder;
use crate::knowledge::notes::{NoteRow, NoteWords, note_rows};
use crate::protocol::Protocols;
use crate::session::background_jobs::{BackgroundJob, JobLines};
use crate::session::ear::Ear;
use crate::session::note_drafts::{draft_notes, unwritten};
use crate::speech::neural::parts::Parts;
use crate::speech::neural::transcriber::Transcriber;
use crate::terminal::is_plain;
use crate::terminal::{self, ShownText as _};

/// The engine whose parts can write notes down.
const NEURAL: &str = "neural";

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall notes exams/juniper\n  \
    zonecall notes exams/juniper --confirm 41 --by Ada\n  \
    zonecall notes exams/juniper --confirm 41 --by Ada --text \"Slight swelling over the joint.\"\n\n\
    Each note has the number of its line in the journal. A draft is what the speech model wrote down: it mishears, above all \
    names, numbers and terms. Listen before you confirm it; the desk (`zonecall review`) plays the sound beside the words.\n\n\
    Exit codes: 0 no draft is unread, 1 there are drafts that nobody has read, 2 an error.")]
pub(crate) struct NotesArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// You have listened to the note with this line: its draft is right, or `--text` is.
    #[arg(long, value_name = "LINE", requires = "by")]
    pub(crate) confirm: Option<u64>,
    /// What was said, in place of the draft; empty where nothing was.
    #[arg(long, requires = "confirm")]
    pub(crate) text: Option<String>,
    /// Who listened; kept in the journal.
    #[arg(long, value_name = "NAME", value_parser = listed_name, requires = "confirm")]
    pub(crate) by: Option<String>,
    /// Folder of another head of the neural ear; encoder, decoder and runtime are taken from it, too, where it holds them.
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_EAR")]
    pub(crate) head: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) again: DraftAgain,
}

pub(crate) fn notes(args: &NotesArgs) -> anyhow::Result<ExitCode> {
    let folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let exam = folder.exam(&protocols)?;
    if let (Some(line), Some(by)) = (args.confirm, &args.by) {
        args.again.may_change(&exam)?;
        let read = Event::Review(Box::new(read_by(by, Seq(line), args.text.as_deref(), &exam)?));
        folder.append_journal()?.append(Utc::now(), exam.last_sample(), &read)?;
    } else if unwritten(&exam).next().is_some() {
        ensure!(
            exam.closed.is_some(),
            "the exam in `{}` was never closed: somebody may still be listening; wait for its end, or close it with \
             `zonecall resume`",
            folder.path().shown()
        );
        args.again.may_change(&exam)?;
        let parts = Parts::find(args.head.as_deref(), &exam.header.language);
        draft_notes(&folder, &protocols, || Transcriber::load(&parts))?;
    }
    let rows = note_rows(&folder.exam(&protocols)?);
    list(&rows)?;
    let is_unread = |row: &NoteRow| matches!(row.words, Some(NoteWords::Draft { .. }));
    Ok(ExitCode::from(u8::from(rows.iter().any(is_unread))))
}

/// What a person says of a note that they have listened to.
fn read_by(by: &str, seq: Seq, text: Option<&str>, exam: &Exam) -> anyhow::Result<Review> {
    let note = exam.notes.iter().find(|note| note.seq == seq).with_context(|| {
        let lines: Vec<String> = exam.notes.iter().map(|note| note.seq.to_string()).collect();
        let lines = if lines.is_empty() { "none".to_owned() } else { lines.join(", ") };
        format!("line {seq} begins no free note; those that do: {lines}")
    })?;
    let draft = note.draft.as_ref().map(|draft| draft.text.clone());
    let was = exam.note_text(seq).map(|(_, text)| text.to_owned()).or_else(|| draft.clone());
    let text = match text {
        Some(text) => text.trim().to_owned(),
        None => draft.with_context(|| format!("note {seq} has no draft; give what was said with --text"))?,
    };
    ensure!(
        text.chars().count() <= WORDS_MAX && text.lines().all(is_plain),
        "the text is longer than {WORDS_MAX} characters or holds invisible ones; shorten it, or type it as plain text"
    );
    let (by, why, was) = (by.to_owned(), String::new(), was.unwrap_or_default());
    Ok(Review { by, why, was, change: Change::NoteText { seq, text } })
}

fn list(rows: &[NoteRow]) -> anyhow::Result<()> {
    let mut out = terminal::out();
    if rows.is_empty() {
        writeln!(out, "no free notes")?;
    }
    for row in rows {
        let what = if row.conclusion { "conclusion" } else { "note" };
        let about = if row.about.is_empty() { String::new() } else { format!(", about {}", row.about) };
        let words = row.words.as_ref().map_or_else(|| "kept as sound only".to_owned(), NoteWords::in_words);
        writeln!(
            out,
            "{what} {}, {:.1} to {:.1} s{}: {}",
            row.call_seq,
            row.span_s.0,
            row.span_s.1,
            about.shown(),
            words.shown()
        )?;
    }
    Ok(())
}

/// What writes notes down between the exams of a box: this program, once for each exam. None where the ear is another one,
/// or the parts for it are not there.
pub(super) fn between_exams(
    ear: &Ear,
    language: &str,
    which: &WhichEar,
    knowledge: &KnowledgeArgs,
) -> Option<BackgroundJob> {
    let can_write =
        ear.engine.id().name == NEURAL && Parts::find(which.head.as_deref(), language).can_write();
    let program = std::env::current_exe().ok().filter(|_| can_write)?;
    let options = [("--head", &which.head), ("--protocols", &knowledge.protocols)];
    let given = options.into_iter().filter_map(|(name, path)| Some((name, path.as_ref()?)));
    let after = given.flat_map(|(name, path)| [OsString::from(name), path.into()]).collect();
    let lines = JobLines {
        done: |folder| {
            format!("the free notes of `{folder}` are written down as drafts; nobody has read them yet")
        },
        failed: |folder, why| {
            format!(
                "the free notes of `{folder}` could not be written down: {why}; `zonecall notes {folder}` tries again"
            )
        },
    };
    Some(BackgroundJob::new(program, vec!["notes".into()], after, lines))
}

/// After an exam: writes its notes down where the neural ear heard it, for its parts are there. What goes wrong is reported and
/// spoils nothing: the sound is kept.
pub(super) fn write_down(folder: &ExamFolder, ear: &Ear, which: &WhichEar) {
    if ear.engine.id().name == NEURAL
        && let Err(error) = write_and_list(folder, &ear.protocols, which)
    {
        terminal::warn(format!(
            "zonecall: the free notes could not be written down: {error:#}; `zonecall notes {}` tries again",
            folder.path().shown()
        ));
    }
}

fn write_and_list(folder: &ExamFolder, protocols: &Protocols, which: &WhichEar) -> anyhow::Result<()> {
    let language = folder.exam(protocols)?.header.language;
    let parts = Parts::find(which.head.as_deref(), &language);
    if draft_notes(folder, protocols, || Transcriber::load(&parts))? > 0 {
        list(&note_rows(&folder.exam(protocols)?))?;
    }
    Ok(())
}
