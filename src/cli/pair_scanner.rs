//! Scanners whose stills do not say what they are called.
//!
//! Takes: stills, and the name that a person gives their scanner.
//! Gives: the stills with that name; else a line that their clock is not remembered.
//! Never: another name than the one that a file states.
//! Tested in: `tests/it/known_scanner.rs`.

use std::io::Write;

use crate::exam::event::Frame;
use crate::exam::fold::Exam;
use crate::frames::known_clock::PAIRS_MIN;
use crate::frames::pair::pair;

/// Names the scanner of stills that do not name it.
pub(super) fn name_scanner(stills: &mut [Frame], name: Option<&str>) {
    for still in stills.iter_mut().filter(|still| still.scanner.is_none()) {
        still.scanner = name.map(str::to_owned);
    }
}

/// Says that the clock which was found is not remembered, and what to do.
pub(super) fn show_nameless_scanner(out: &mut impl Write, exam: &Exam) -> std::io::Result<()> {
    let is_nameless = !exam.frames.is_empty() && exam.frames.iter().all(|still| still.scanner.is_none());
    let found = || pair(exam, &exam.frames).clock.filter(|clock| clock.pairs >= PAIRS_MIN);
    if !is_nameless || found().is_none() {
        return Ok(());
    }
    writeln!(
        out,
        "the stills name no scanner, so its clock is not remembered for the next exam: give it a name with --scanner NAME, or \
         enter a station name on it"
    )
}
