//! What a scanner is called, by what the files of its stills say.
//!
//! Takes: maker, model, and a number or name of its own; or stills with the names that their files gave.
//! Gives: one name; a mark on a name that two scanners may share; the stills of each scanner.
//! Never: a name out of nothing.
//! Tested in: `tests/it/known_scanner.rs`.

use std::collections::BTreeMap;

use crate::exam::event::Frame;

/// Ends the name of a scanner that states nothing of its own: another of the same model has the same.
const NO_NUMBER: &str = " (no serial number)";

/// Model and what is its own; without that, maker and model.
pub(super) fn scanner_name(
    maker: Option<String>,
    model: Option<String>,
    own: Option<String>,
) -> Option<String> {
    match own {
        Some(own) => Some(model.map_or_else(|| own.clone(), |model| format!("{model} {own}"))),
        None => {
            let model = model?;
            // Some write the maker into the model, too.
            let maker = maker.filter(|maker| !model.to_lowercase().starts_with(&maker.to_lowercase()));
            let known: Vec<String> = maker.into_iter().chain([model]).collect();
            Some(format!("{}{NO_NUMBER}", known.join(" ")))
        }
    }
}

/// Whether two scanners may have this name.
pub(super) fn may_be_shared(name: &str) -> bool {
    name.ends_with(NO_NUMBER)
}

/// The places of the stills of each scanner in the list, most stills first: each scanner has a clock of its own.
///
/// All are of one scanner where at most one is named; a still that names none is of nobody knows which where several are.
pub(crate) fn by_scanner(frames: &[Frame]) -> Vec<Vec<usize>> {
    let mut groups: BTreeMap<Option<&str>, Vec<usize>> = BTreeMap::new();
    for (idx, frame) in frames.iter().enumerate() {
        groups.entry(frame.scanner.as_deref()).or_default().push(idx);
    }
    if groups.keys().flatten().count() <= 1 {
        return vec![(0..frames.len()).collect()];
    }
    let mut groups: Vec<Vec<usize>> = groups.into_values().collect();
    groups.sort_by_key(|group| std::cmp::Reverse(group.len()));
    groups
}
