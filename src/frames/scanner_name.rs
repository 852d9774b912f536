//! What a scanner is called, by what the files of its stills say.
//!
//! Takes: maker, model, and a number or name of its own.
//! Gives: one name; a mark on a name that two scanners may share.
//! Never: a name out of nothing.
//! Tested in: `tests/it/known_scanner.rs`.

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
