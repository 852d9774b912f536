//! The words of free notes, written down once the exam is over.
//!
//! Takes: an exam folder whose journal is closed, and what writes.
//! Gives: a draft in the journal for each note that has none.
//! Never: words that a person has read already, or a draft while somebody listens.
//! Tested in: `tests/it/notes.rs`.

use chrono::Utc;

use crate::clock::{SAMPLE_RATE_HZ, Span};
use crate::exam::call::NoteEdge;
use crate::exam::event::{Event, NoteDraft};
use crate::exam::fold::{Exam, Note};
use crate::exam::kept_sound::{KeptSoundError, stretch};
use crate::exam::utterance_outcome::{NOTE_PAUSE_S, note_s_max};
use crate::exam_folder::{ExamFolder, FolderError};
use crate::protocol::Protocols;
use crate::speech::neural::transcriber::{Transcriber, Transcript, voiced};
use crate::speech::recognise::EngineError;

/// Why a note could not be written down.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DraftError {
    /// The folder cannot be read or written.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The kept sound cannot be read.
    #[error(transparent)]
    Sound(#[from] KeptSoundError),
    /// What writes is missing or failed.
    #[error(transparent)]
    Engine(#[from] EngineError),
}

/// The notes that nobody and nothing has written down yet, and that are still kept as sound.
pub fn unwritten(exam: &Exam) -> impl Iterator<Item = &Note> {
    let is_kept = !exam.audio.is_empty() && exam.audio.iter().all(|audio| !exam.is_discarded(&audio.file));
    exam.notes
        .iter()
        .filter(move |note| is_kept && note.draft.is_none() && exam.note_text(note.seq).is_none())
}

/// Writes down every note that was not, and gives how many those were; `load` is called only where there is one.
///
/// # Errors
/// When the sound cannot be read, or what writes is missing or fails.
pub fn draft_notes(
    folder: &ExamFolder,
    protocols: &Protocols,
    load: impl FnOnce() -> Result<Transcriber, EngineError>,
) -> Result<usize, DraftError> {
    let exam = folder.exam(protocols)?;
    let notes: Vec<&Note> = unwritten(&exam).collect();
    if notes.is_empty() {
        return Ok(0);
    }
    let mut transcriber = load()?;
    for note in &notes {
        let draft = draft(folder, &exam, note, &mut transcriber)?;
        let event = Event::NoteDraft(Box::new(draft));
        let mut journal = folder.append_journal().map_err(FolderError::from)?;
        journal.append(Utc::now(), exam.last_sample(), &event).map_err(FolderError::from)?;
    }
    Ok(notes.len())
}

fn draft(
    folder: &ExamFolder,
    exam: &Exam,
    note: &Note,
    transcriber: &mut Transcriber,
) -> Result<NoteDraft, DraftError> {
    let whole = may_last(exam, note);
    let samples = stretch(folder.path(), &exam.audio, whole)?;
    let said = if ends_by_word(exam, whole) { samples.len() } else { until_pause(&samples) };
    let Transcript { text, confidence, unsure, cut } = transcriber.transcribe(&samples[..said])?;
    let span = Span { from: whole.from, to: whole.from + said as u64 };
    let id = transcriber.id();
    let (model, model_sha256) = (id.model.clone(), id.model_sha256.clone());
    Ok(NoteDraft { note: note.seq, span, text, confidence, unsure, cut, model, model_sha256 })
}

/// From the end of the phrase that opened the note to the next call, if that comes before a note must be over.
fn may_last(exam: &Exam, note: &Note) -> Span {
    let opening = exam.calls.iter().find(|call| call.seq == note.seq);
    let from = opening.map_or(note.span.from, |call| call.call.span.to);
    let most = from + note_s_max(note.conclusion) * u64::from(SAMPLE_RATE_HZ);
    let next = exam.calls.iter().filter(|call| !call.is_added() && call.seq != note.seq);
    let next = next.map(|call| call.call.span.from).filter(|at| *at >= from).min();
    let to = next.unwrap_or(most).min(most).min(exam.n_samples.max(exam.last_sample()));
    Span { from, to: to.max(from) }
}

/// The call after the note is the one that says that it ends.
fn ends_by_word(exam: &Exam, span: Span) -> bool {
    let ends = |call: &crate::exam::fold::LoggedCall| call.call.act.is_note_edge(NoteEdge::Ends);
    exam.calls.iter().any(|call| ends(call) && call.call.span.from == span.to)
}

/// Where a pause begins that ends a note; the end of the samples where none does.
fn until_pause(samples: &[i16]) -> usize {
    let pause = usize::try_from(NOTE_PAUSE_S * u64::from(SAMPLE_RATE_HZ)).unwrap_or(usize::MAX);
    let mut end = 0;
    for speech in voiced(samples) {
        if speech.start > end + pause {
            break;
        }
        end = speech.end;
    }
    // What follows the last word belongs to it.
    (end + pause / 10).min(samples.len())
}
