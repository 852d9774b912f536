//! From files of stills to labelled stills.

pub mod stamp;
pub(crate) mod vr;
pub mod lengths;
pub(crate) mod part10;
pub(crate) mod texts;
pub(crate) mod element;
mod scanner_name;
mod stated_site;
pub(crate) mod made_here;
pub mod dicom;
pub mod image;
pub(crate) mod beside;
pub mod folder;
pub mod watch;
pub mod elsewhere;
pub mod pairing;
pub mod assign;
pub mod theil_sen;
mod vote;
pub mod clock_fit;
pub mod known_clock;
pub(crate) mod stamps;
mod by_hand;
pub mod pair;
pub mod outside;
pub mod scale;
pub mod cine;
