//! What was sent, in the journals of the exams that it is of, while it goes on.
//!
//! Takes: each object as the archive answers it.
//! Gives: a line for each batch, so that a kill in the middle leaves what was sent before it.
//! Never: names an object that the archive did not take; loses one because the journal was busy.
//! Tested in: `tests/it/exchange/send_exam.rs` and `tests/it/exchange/commitment.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use crate::clock::Sample;
use crate::exam::event::{Event, SentEvent};
use crate::exam_folder::ExamFolder;

/// Objects of one line, at most; and how long one may wait for its line.
const BATCH_MAX: usize = 25;
const BATCH_AGE_MAX: Duration = Duration::from_secs(5);

/// What is to be written.
#[derive(Debug, Default)]
struct ExamNotes {
    /// Not in the journal yet.
    objects: Vec<String>,
    refused: usize,
    /// In the journal.
    written: BTreeSet<String>,
}

fn append(exam: &Path, event: &Event) -> anyhow::Result<()> {
    let folder = ExamFolder::at(exam);
    let last = folder.lines()?.events.last().map_or(Sample::FIRST, |line| line.sample);
    folder.append_journal()?.append(chrono::Utc::now(), last, event)?;
    Ok(())
}

/// What was sent, by exam.
#[derive(Debug)]
pub(super) struct SentNotes {
    to: String,
    ae_title: String,
    by: Option<String>,
    exams: BTreeMap<PathBuf, ExamNotes>,
    since: Instant,
}

impl SentNotes {
    /// Of what goes to this address and AE title.
    pub(super) fn new((to, ae_title): (String, String), by: Option<String>) -> SentNotes {
        SentNotes { to, ae_title, by, exams: BTreeMap::new(), since: Instant::now() }
    }

    /// The archive has this object.
    pub(super) fn sent(&mut self, exam: Option<&Path>, instance: &str) {
        let Some(exam) = exam else { return };
        self.exams.entry(exam.to_owned()).or_default().objects.push(instance.to_owned());
        let count: usize = self.exams.values().map(|notes| notes.objects.len()).sum();
        // One that could not be written waits as long as any other: not each object waits for the journal.
        let is_full = count >= BATCH_MAX && count.is_multiple_of(BATCH_MAX);
        if is_full || self.since.elapsed() >= BATCH_AGE_MAX {
            // A journal that cannot be written now is tried again with the next batch, and at the end.
            let _ = self.write(&BTreeSet::new());
        }
    }

    /// The archive does not have one.
    pub(super) fn refused(&mut self, exam: Option<&Path>) {
        if let Some(exam) = exam {
            self.exams.entry(exam.to_owned()).or_default().refused += 1;
        }
    }

    /// Writes what is not written yet, and what the archive promised to keep.
    pub(super) fn end(mut self, kept: Vec<String>) -> anyhow::Result<()> {
        self.write(&kept.into_iter().collect())
    }

    fn write(&mut self, kept: &BTreeSet<String>) -> anyhow::Result<()> {
        self.since = Instant::now();
        let (to, ae_title, by) = (&self.to, &self.ae_title, &self.by);
        let mut failed = None;
        for (exam, notes) in &mut self.exams {
            // What is promised is named as sent, too, if that was in an earlier line.
            let before = notes.written.intersection(kept).filter(|name| !notes.objects.contains(name));
            let objects: Vec<String> = before.chain(&notes.objects).cloned().collect();
            if objects.is_empty() && (notes.refused == 0 || notes.written.is_empty()) {
                continue;
            }
            let committed = objects.iter().filter(|name| kept.contains(*name)).cloned().collect();
            let sent = SentEvent {
                to: to.clone(),
                ae_title: ae_title.clone(),
                objects,
                committed,
                refused: notes.refused,
                by: by.clone(),
            };
            // A journal that is busy or damaged keeps no other exam from its line.
            match append(exam, &Event::Sent(sent)) {
                Ok(()) => {
                    notes.written.extend(notes.objects.drain(..));
                    notes.refused = 0;
                }
                Err(error) => failed = failed.or(Some(error)),
            }
        }
        failed.map_or(Ok(()), Err)
    }
}
