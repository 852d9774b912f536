//! The loudspeaker of a program that was built without sound: there is none.
//!
//! Takes: nothing.
//! Gives: an error.
//! Never: sound.
//! Tested in: here.

use std::convert::Infallible;

use crate::session::speaker::{Speaker, SpeakerError};

/// No system is asked, so none refuses.
pub(crate) type OutputError = Infallible;
/// Nothing plays.
pub(super) type OutputStream = Infallible;

pub(super) fn open() -> Result<Speaker, SpeakerError> {
    Err(SpeakerError::LeftOut)
}

#[cfg(test)]
mod tests {
    use crate::session::speaker::Speaker;

    #[test]
    fn there_is_no_loudspeaker_and_it_says_why() {
        let error = Speaker::open().err().unwrap().to_string();
        assert_eq!(error, "this program was built without sound; install or build one that has it");
    }
}
