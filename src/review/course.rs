//! The earlier exams of one horse that the desk can open, for the course over all of them.
//!
//! Takes: `ServedExams` and the exam at hand.
//! Gives: what each of them measured, the first one first.
//! Never: an exam of another horse, or one whose horse is not known; what cannot be read is listed by the inbox.
//! Tested in: `tests/it/review_inbox.rs`.

use crate::exam_folder::FolderError;
use crate::knowledge::measure::Earlier;
use crate::review::desk::held_against;
use crate::review::exams::{ServedExam, ServedExams};
use crate::review::running_tasks::TaskKind;

/// Every exam of the same horse in the folder that began before this one, and the one that was named beside it.
pub(super) fn earlier_exams(exams: &ServedExams, served: &ServedExam) -> Result<Vec<Earlier>, FolderError> {
    let now = served.desk.seen()?;
    let now = &now.record.exam;
    let names = exams.names();
    let task = served.desk.running.begin(TaskKind::Report, "reading the earlier exams");
    let mut found = served.desk.against().earlier;
    for (idx, name) in names.iter().enumerate() {
        task.count("reading the earlier exams", idx, names.len());
        let Ok(other) = exams.served(Some(name)) else { continue };
        let Ok(seen) = other.desk.seen() else { continue };
        let then = &seen.record.exam;
        if then.started_at < now.started_at && then.horse.is_same(&now.horse) == Some(true) {
            found.push(held_against(&seen.record));
        }
    }
    found.sort_by_key(|exam| exam.at);
    // A copy of an exam, or the same recording heard again, counts once: as it was written last.
    found.dedup_by_key(|exam| exam.at);
    Ok(found)
}
