//! Exams that name no horse, where stills of several horses are to be shared out.
//!
//! Takes: the exams of a day, and the stills of a folder.
//! Gives: which exams get none of them, and what to do about it.
//! Never: lets the time alone decide whose leg a still shows.
//! Tested in: `tests/it/pair_folder.rs`.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::Path;

use crate::exam::event::Frame;
use crate::exam::fold::Exam;
use crate::exam::patient::Patient;
use crate::terminal::ShownText as _;

/// Whom the stills name, where they name more than one horse; nobody otherwise.
pub(super) fn several_horses(stills: &[Frame]) -> BTreeSet<&Patient> {
    let named: BTreeSet<&Patient> = stills.iter().filter_map(|still| still.patient.as_ref()).collect();
    let are_several = named.iter().any(|one| named.iter().any(|other| one.is_other_than(other)));
    if are_several { named } else { BTreeSet::new() }
}

/// Whether an exam gets none of these stills before somebody says which horse it is of.
pub(super) fn waits_for_name(exam: &Exam, stills: &[Frame]) -> bool {
    let horse = &exam.header.horse;
    horse.name.is_none() && horse.id.is_none() && !several_horses(stills).is_empty()
}

/// What to do about it.
pub(super) fn show_nameless(out: &mut impl Write, exam: &Path, stills: &[Frame]) -> std::io::Result<()> {
    let names: Vec<String> =
        several_horses(stills).into_iter().map(|patient| format!("`{}`", patient.in_words())).collect();
    writeln!(
        out,
        "the exam names no horse, and the stills are of {}: it gets none of them; \
         `zonecall name {} --horse NAME --by YOUR-NAME`, then pair again",
        names.join(", ").shown(),
        exam.shown()
    )
}
