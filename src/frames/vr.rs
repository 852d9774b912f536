//! How many bytes say how long an element is, by its value representation.
//!
//! Takes: nothing.
//! Gives: the representations of each kind.
//! Never: reads a file.
//! Tested in: `tests/it/frames.rs`, `tests/it/other_stills/files.rs`.

/// Value representations with four bytes of length, DICOM PS3.5 7.1.2.
pub(crate) const LONG: [&[u8; 2]; 13] =
    [b"OB", b"OD", b"OF", b"OL", b"OV", b"OW", b"SQ", b"SV", b"UC", b"UN", b"UR", b"UT", b"UV"];
/// All others, with two.
pub(crate) const SHORT: [&[u8; 2]; 21] = [
    b"AE", b"AS", b"AT", b"CS", b"DA", b"DS", b"DT", b"FL", b"FD", b"IS", b"LO", b"LT", b"PN", b"SH", b"SL",
    b"SS", b"ST", b"TM", b"UI", b"UL", b"US",
];
