//! The microphone of a program that was built without sound: there is none.
//!
//! Takes: the name of a device.
//! Gives: an error.
//! Never: sound.
//! Tested in: here.

use crate::speech::capture_input::{CaptureError, CaptureInput};

pub(super) fn open(_: Option<&str>) -> Result<CaptureInput, CaptureError> {
    Err(CaptureError::LeftOut)
}

#[cfg(test)]
mod tests {
    use crate::speech::capture::Capture;

    #[test]
    fn there_is_no_microphone_and_it_says_why() {
        let error = Capture::open(None).err().unwrap().to_string();
        assert_eq!(error, "this program was built without sound; install or build one that has it");
    }
}
