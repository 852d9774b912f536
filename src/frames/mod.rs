//! From files of stills to labelled stills.

mod dicom;
pub mod folder;
pub mod clock_fit;
pub mod assign;
pub mod pairing;
pub mod pair;
