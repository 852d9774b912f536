//! From files of stills to labelled stills.

pub mod stamp;
pub mod dicom;
pub mod image;
pub mod folder;
pub mod pairing;
