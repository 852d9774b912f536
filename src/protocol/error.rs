//! Why protocols cannot be used.
//!
//! Takes: nothing; these are the errors of reading and checking them.
//! Gives: `ProtocolError`, always with the file and what to do.
//! Never: a problem of an exam.
//! Tested in: `tests/it/protocol.rs`.

use crate::terminal::ShownText as _;
use std::path::PathBuf;

/// Largest protocol file that is read, in bytes.
pub(super) const FILE_BYTES_MAX: u64 = 1_048_576;
/// Most protocol files that are read from one folder.
pub(super) const FILES_MAX: usize = 64;

/// Why the protocols cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ProtocolError {
    /// The folder or a file in it cannot be read.
    #[error("cannot read `{}`: {source}; name a readable folder of protocol files", path.shown())]
    Unreadable {
        /// The folder or file.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// A file is too large to be a protocol.
    #[error("`{}` has {bytes} bytes, more than {FILE_BYTES_MAX}; remove it from the protocol folder", path.shown())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its length.
        bytes: u64,
    },
    /// The folder holds too many files.
    #[error("`{}` holds more than {FILES_MAX} protocol files; remove those that are not used", path.shown())]
    TooMany {
        /// The folder.
        path: PathBuf,
    },
    /// A file that must be there is missing.
    #[error("`{}` holds no `{file}`; copy it from the protocols that come with the program", path.shown())]
    Missing {
        /// The folder.
        path: PathBuf,
        /// The file's name.
        file: &'static str,
    },
    /// A file is not the TOML that was wanted.
    #[error("cannot use `{}`; correct it at the place shown:\n{source}", path.shown())]
    Malformed {
        /// The file.
        path: PathBuf,
        /// What is wrong, with line and column.
        #[source]
        source: Box<toml::de::Error>,
    },
    /// A code is used that no file defines.
    #[error(transparent)]
    Unknown(Box<UnknownCode>),
    /// A code is defined twice.
    #[error("`{}`: the {kind} `{code}` appears twice; rename or remove one", path.shown())]
    Duplicate {
        /// The file.
        path: PathBuf,
        /// What sort of code.
        kind: &'static str,
        /// The code.
        code: String,
    },
    /// A list that must not be empty is.
    #[error("`{}`: {place} is empty; write at least one", path.shown())]
    Empty {
        /// The file.
        path: PathBuf,
        /// Which list.
        place: String,
    },
    /// Numbers that make no sense together.
    #[error("`{}`: {place}: {fault}", path.shown())]
    Numbers {
        /// The file.
        path: PathBuf,
        /// Where in the file.
        place: String,
        /// What is wrong and what to write.
        fault: NumberFault,
    },
}

/// What is wrong with numbers of a protocol file.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum NumberFault {
    /// Not a finite range from low to high.
    #[error("`{from}` to `{to}` is not a range; write the smaller number first")]
    Range {
        /// First number.
        from: f64,
        /// Second number.
        to: f64,
    },
    /// Centimetres of two zones overlap, or run against the order of the zones.
    #[error(
        "begins at `{from}` cm, before zone `{other}` ends at `{to}` cm; let each zone begin where the last one ends"
    )]
    Overlap {
        /// Where this zone begins.
        from: f64,
        /// The zone above it.
        other: String,
        /// Where that one ends.
        to: f64,
    },
    /// Centimetres without a source.
    #[error("has `cm`, but the scheme has no `cm_source`; write where the centimetres come from")]
    NoSource,
    /// A unit that cannot be converted to the unit of the bounds.
    #[error(
        "unit `{unit}` cannot be turned into `{bound_unit}`; use mm, cm, m, mm2, cm2 or %, all of one kind"
    )]
    Unit {
        /// The unit.
        unit: String,
        /// The unit of the bounds.
        bound_unit: String,
    },
    /// The default unit is not among the units.
    #[error("the default unit `{unit}` is not among `units`; add it there")]
    DefaultUnit {
        /// The unit.
        unit: String,
    },
    /// Units without a unit for the bounds.
    #[error("has units, but no `bound_unit`; write the unit of `min` and `max`")]
    NoBoundUnit,
}

/// A code that no file defines.
#[derive(Debug, thiserror::Error)]
#[error("`{}`: {place} names the {kind} `{code}`, which does not exist; write one of {known}, or add it to `{file}`",
    path.shown())]
pub struct UnknownCode {
    /// The file that uses it.
    pub path: PathBuf,
    /// Where in the file.
    pub place: String,
    /// What sort of code.
    pub kind: &'static str,
    /// The code.
    pub code: String,
    /// The codes there are.
    pub known: String,
    /// The file that defines such codes.
    pub file: &'static str,
}
