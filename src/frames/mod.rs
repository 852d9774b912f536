//! From files of stills to labelled stills.

pub mod pairing;
