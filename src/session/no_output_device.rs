//! The loudspeaker of a program that was built without sound: there is none.
//!
//! Takes: nothing.
//! Gives: an error.
//! Never: sound.
//! Tested in: here.

use crate::session::audio_output::{AudioOutput, SpeakerError};

pub(super) fn open() -> Result<AudioOutput, SpeakerError> {
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
