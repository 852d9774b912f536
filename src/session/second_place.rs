//! Where an exam goes on whose folder is removed or moved while it is heard.
//!
//! Takes: the folder that is no longer there, and what belongs to the exam.
//! Gives: folders to try, and there the files that the old folder still has; which of them could not be copied.
//! Never: touches what is left of the old folder, or writes over a file.
//! Tested in: `tests/it/second_place.rs`.

use std::io::Result;
use std::path::{Path, PathBuf};

use crate::exam::fold::Exam;
use crate::file_name::kept_file;
use crate::machine::Machine;
use crate::terminal::ShownText as _;

/// Names that are tried beside the old folder.
const BESIDE_MAX: u32 = 9;

/// Folders to go on in, the best one first: beside the old one, and where the system keeps temporary files.
pub(super) fn places(lost: &Path) -> impl Iterator<Item = PathBuf> {
    let name = lost.file_name().map_or_else(|| "exam".into(), |name| name.to_string_lossy().into_owned());
    let beside = lost.parent().unwrap_or_else(|| Path::new("")).to_owned();
    let numbered = (2..=BESIDE_MAX).map(|number| format!("{name}-{number}")).collect::<Vec<_>>();
    let roots = [beside, std::env::temp_dir()];
    roots.into_iter().flat_map(move |root| numbered.clone().into_iter().map(move |name| root.join(name)))
}

/// Copies the sound and the stills that the old folder still has; what it lacks, a finding reports. Gives, in words, what
/// could not be copied whole; empty where all was.
pub(super) fn copy_files(machine: &dyn Machine, exam: &Exam, from: &Path, to: &Path) -> String {
    let mut refused = Vec::new();
    let sound = exam.audio.iter().map(|audio| &audio.file);
    let stills = exam.frames.iter().map(|still| &still.file).filter(|file| Path::new(file).is_relative());
    for (old, new) in sound.chain(stills).map(|file| (kept_file(from, file), kept_file(to, file))) {
        if !new.exists()
            && old.is_file()
            && let Err(error) = copy(machine, &old, &new)
        {
            refused.push(format!("`{}` ({error})", old.shown()));
        }
    }
    match refused.is_empty() {
        true => String::new(),
        false => format!("; not copied whole, so keep the old folder: {}", refused.join(", ")),
    }
}

/// Copies a file; a power cut leaves it there.
fn copy(machine: &dyn Machine, old: &Path, new: &Path) -> Result<()> {
    let folder = new.parent().unwrap_or(Path::new("."));
    machine.make_folder(folder)?;
    if let Err(error) = std::fs::copy(old, new) {
        // Half of a file would pass for all of it.
        let _ = std::fs::remove_file(new);
        return Err(error);
    }
    machine.sync(&machine.open(new)?, new)?;
    machine.sync_folder(folder)
}
