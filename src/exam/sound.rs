//! Whether the kept sound is what the journal says it is.
//!
//! Takes: an exam folder and its `Exam`.
//! Gives: the exam with the faults of its sound noted.
//! Never: changes a file, or reads more of it than it needs.
//! Tested in: `tests/it/journal.rs`, `tests/it/rules/journal.rs`.

use std::path::Path;

use crate::clock::{SAMPLE_RATE_HZ, Span};
use crate::exam::fold::{Exam, SoundFault};
use crate::speech::silence::look;

/// A crash may cost the last second of a file; only what is shorter by more than this was cut.
const TOLERANCE: u64 = 2 * SAMPLE_RATE_HZ as u64;

/// Looks at the kept sound and notes what is wrong with it.
pub fn note_sound(folder: &Path, exam: &mut Exam) {
    exam.sound = faults(folder, exam);
}

fn faults(folder: &Path, exam: &Exam) -> Vec<SoundFault> {
    let mut found = Vec::new();
    for (idx, audio) in exam.audio.iter().enumerate() {
        if exam.is_discarded(&audio.file) {
            continue;
        }
        let (file, first) = (audio.file.clone(), audio.first_sample);
        // Samples count on from one file to the next; what the last one must hold the journal's last line says.
        let end = exam.audio.get(idx + 1).map_or(exam.n_samples, |next| next.first_sample);
        match look(&folder.join(&file)) {
            Err(error) => found.push(SoundFault::Unreadable { file, why: error.to_string() }),
            Ok(kept) => {
                let from = first + kept.n_samples;
                if end > from + TOLERANCE {
                    found.push(SoundFault::Short { file, lacks: end.since(from), from });
                }
                let silent = |span: &Span| Span { from: first + span.from.0, to: first + span.to.0 };
                found.extend(kept.silences.iter().map(|span| SoundFault::Silent(silent(span))));
            }
        }
    }
    found
}
