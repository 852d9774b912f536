//! What of the kept files a vet would sign without.
//!
//! Takes: an exam folder and its exam, with what was noted of its files.
//! Gives: in words, each recording and each still that is gone, cut short or another file than it was.
//! Never: what was deleted by a line of the journal, or a still that a person left out.
//! Tested in: `tests/it/people.rs`.

use std::path::Path;

use crate::clock::seconds;
use crate::exam::event::Frame;
use crate::exam::fold::{Exam, SoundFault};
use crate::exam::review::Change;
use crate::file_name::kept_file;

/// Files that are named; of more, how many.
const NAMED_MAX: usize = 3;

/// What lacks, in a few words; none where every kept file is there as it was.
pub(super) fn lacking(folder: &Path, exam: &Exam) -> Option<String> {
    let sound = exam.sound.iter().filter_map(|fault| match fault {
        SoundFault::Unreadable { file, why } => {
            Some(format!("the recording `{file}` cannot be read ({why})"))
        }
        SoundFault::Short { file, lacks, .. } => {
            Some(format!("the recording `{file}` lacks its last {:.1} s", seconds(*lacks)))
        }
        SoundFault::Silent(_) => None,
    });
    let is_left_out = |still: &Frame| {
        exam.said_of_still(&still.id)
            .is_some_and(|said| matches!(said.review.change, Change::LeaveOut { .. }))
    };
    let is_gone = |still: &&Frame| {
        !exam.is_discarded(&still.file) && !is_left_out(still) && !kept_file(folder, &still.file).is_file()
    };
    let stills =
        exam.frames.iter().filter(is_gone).map(|still| format!("the still `{}` is not there", still.file));
    let changed = exam.changed_files.iter().map(|change| {
        let what = if change.is_gone { "gone" } else { "not the file that it was" };
        format!("`{}` is {what}", change.file)
    });
    let all: Vec<String> = sound.chain(stills).chain(changed).collect();
    let more = all.len().saturating_sub(NAMED_MAX);
    let named = all.iter().take(NAMED_MAX).cloned().collect::<Vec<_>>().join(", ");
    match (all.len(), more) {
        (0, _) => None,
        (_, 0) => Some(named),
        _ => Some(format!("{named}, and {more} more")),
    }
}
