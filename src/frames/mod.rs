//! From files of stills to labelled stills.

pub mod stamp;
pub mod lengths;
pub mod dicom;
pub mod image;
pub mod folder;
pub mod watch;
pub mod elsewhere;
pub mod pairing;
pub mod assign;
pub mod theil_sen;
pub mod clock_fit;
pub mod pair;
pub mod scale;
pub mod cine;
