//! How many frames a still has, and how fast they follow each other.
//!
//! Takes: a file.
//! Gives: `Cine`; a picture that is no loop has one frame.
//! Never: reads the pixels.
//! Tested in: `tests/it/review_browser/cine.rs`.

use std::path::Path;

use dicom_core::Tag;
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;
use serde::Serialize;

use crate::frames::dicom::open;
use crate::frames::video::{VideoCoding, video};

/// Frames that a loop may have here; ten minutes of a fast scanner.
const FRAMES_MAX: u32 = 60_000;
/// Frames a second where the file names no rate; our own choice.
const PER_S: f64 = 25.0;
/// What a screen can show.
const PER_S_MAX: f64 = 60.0;

/// The frames of a still.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Cine {
    /// How many can be shown one by one; 1 where it is no loop, or one saved as a video.
    pub frames: u32,
    /// How many a second; the file's own rate where it names one.
    pub per_s: f64,
}

impl Cine {
    /// What the file at `path` says; one frame where it says nothing.
    #[must_use]
    pub fn of(path: &Path) -> Cine {
        let one = Cine { frames: 1, per_s: PER_S };
        let Ok(file) = open(path) else { return one };
        if video(file.meta().transfer_syntax()).is_some() {
            return one;
        }
        let stated = file.element_opt(tags::NUMBER_OF_FRAMES).ok().flatten();
        let frames = stated.and_then(|element| element.to_int::<u32>().ok()).unwrap_or(1);
        // How it is meant to be shown comes before how it was recorded (PS3.3 C.7.6.5).
        let rate = number(&file, tags::RECOMMENDED_DISPLAY_FRAME_RATE)
            .or_else(|| number(&file, tags::CINE_RATE))
            .or_else(|| number(&file, tags::FRAME_TIME).map(|ms| 1000.0 / ms));
        Cine { frames: frames.clamp(1, FRAMES_MAX), per_s: rate.unwrap_or(PER_S).min(PER_S_MAX) }
    }
}

/// What the loop in the file at `path` is compressed with, where it is a video; none where it is none, or no DICOM file.
#[must_use]
pub(crate) fn video_in(path: &Path) -> Option<VideoCoding> {
    video(open(path).ok()?.meta().transfer_syntax())
}

/// A number above nothing.
fn number(data: &InMemDicomObject, tag: Tag) -> Option<f64> {
    let number: f64 = data.element_opt(tag).ok().flatten()?.to_float64().ok()?;
    (number.is_finite() && number > 0.0).then_some(number)
}
