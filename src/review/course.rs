//! The earlier exams of one horse that the desk can open: the last one beside this one, and the course over all of them.
//!
//! Takes: `ServedExams` and the exam at hand.
//! Gives: the exam before this one; what each of them measured, the first one first.
//! Never: an exam of another horse, or one whose horse is not known; what cannot be read is listed by the inbox.
//! Tested in: `tests/it/review_inbox.rs`.

use std::sync::{Arc, PoisonError};

use crate::exam_folder::FolderError;
use crate::knowledge::measure::Earlier;
use crate::review::desk::{DeskSnapshot, EarlierExam, held_against};
use crate::review::exams::{KnownEarlier, ServedExam, ServedExams};
use crate::review::running_tasks::TaskKind;

/// The exam that was named beside this one, else the last one of the same horse in the folder that began before it.
pub(super) fn exam_before(
    exams: &ServedExams,
    served: &ServedExam,
) -> Result<Option<Arc<EarlierExam>>, FolderError> {
    if served.desk.earlier.is_some() || !exams.has_inbox() {
        return Ok(served.desk.earlier.clone());
    }
    let of = (exams.names(), served.desk.grown());
    let mut known = served.before.lock().unwrap_or_else(PoisonError::into_inner);
    if !known.as_ref().is_some_and(|known| known.holds(&of)) {
        let last = same_horse(exams, served)?.into_iter().max_by_key(|(_, seen)| seen.record.exam.started_at);
        let found = last.map(|(exam, seen)| {
            let (folder, record) = (exam.desk.folder.path().to_owned(), seen.record.clone());
            let grown = exam.desk.grown();
            (exam, grown, Arc::new(EarlierExam { folder, record }))
        });
        *known = Some(KnownEarlier { of, found });
    }
    let found = known.as_ref().and_then(|known| known.found.as_ref());
    Ok(found.map(|(.., earlier)| Arc::clone(earlier)))
}

/// Every exam of the same horse in the folder that began before this one, and the one that was named beside it.
pub(super) fn earlier_exams(exams: &ServedExams, served: &ServedExam) -> Result<Vec<Earlier>, FolderError> {
    let named = served.desk.earlier.iter().map(|earlier| held_against(&earlier.record));
    let others = same_horse(exams, served)?;
    let mut found: Vec<Earlier> =
        named.chain(others.iter().map(|(_, seen)| held_against(&seen.record))).collect();
    found.sort_by_key(|exam| exam.at);
    // A copy of an exam, or the same recording heard again, counts once: as it was written last.
    found.dedup_by_key(|exam| exam.at);
    Ok(found)
}

/// An exam, and what it is as its journal has it now.
type SeenExam = (Arc<ServedExam>, Arc<DeskSnapshot>);

/// The exams of the same horse in the folder that began before this one.
fn same_horse(exams: &ServedExams, served: &ServedExam) -> Result<Vec<SeenExam>, FolderError> {
    let now = served.desk.seen()?;
    let now = &now.record.exam;
    let names = exams.names();
    let task = served.desk.running.begin(TaskKind::Report, "reading the earlier exams");
    let mut found = Vec::new();
    for (idx, name) in names.iter().enumerate() {
        task.count("reading the earlier exams", idx, names.len());
        let Ok(other) = exams.served(Some(name)) else { continue };
        let Ok(seen) = other.desk.seen() else { continue };
        let then = &seen.record.exam;
        if then.started_at < now.started_at && then.horse.is_same(&now.horse) == Some(true) {
            found.push((other, seen));
        }
    }
    Ok(found)
}
