//! Loops that are compressed as videos, from one picture to the next.
//!
//! Takes: a transfer syntax.
//! Gives: the kind of video in plain words; none where each picture is whole by itself.
//! Never: decodes one: such a loop is kept and paired, and watched with another program.
//! Tested in: `tests/it/exchange/video.rs`.

use dicom_dictionary_std::uids;

use crate::exam::call::Problem;
use crate::frames::time_value::problem;

/// The videos of PS3.5, 8.2 and A.4, in one fragment or several; their UIDs are those of PS3.6, annex A.
pub(crate) const VIDEOS: [(&str, VideoCoding); 16] = [
    (uids::MPEG2MPML, VideoCoding::Mpeg2),
    (uids::MPEG2MPMLF, VideoCoding::Mpeg2),
    (uids::MPEG2MPHL, VideoCoding::Mpeg2),
    (uids::MPEG2MPHLF, VideoCoding::Mpeg2),
    (uids::MPEG4HP41, VideoCoding::H264),
    (uids::MPEG4HP41F, VideoCoding::H264),
    (uids::MPEG4HP41BD, VideoCoding::H264),
    (uids::MPEG4HP41BDF, VideoCoding::H264),
    (uids::MPEG4HP422D, VideoCoding::H264),
    (uids::MPEG4HP422DF, VideoCoding::H264),
    (uids::MPEG4HP423D, VideoCoding::H264),
    (uids::MPEG4HP423DF, VideoCoding::H264),
    (uids::MPEG4HP42STEREO, VideoCoding::H264),
    (uids::MPEG4HP42STEREOF, VideoCoding::H264),
    (uids::HEVCMP51, VideoCoding::H265),
    (uids::HEVCM10P51, VideoCoding::H265),
];

/// How a video is compressed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum VideoCoding {
    /// ISO/IEC 13818-2.
    Mpeg2,
    /// ISO/IEC 14496-10.
    H264,
    /// ISO/IEC 23008-2.
    H265,
}

impl VideoCoding {
    /// As a shop or a scanner calls it.
    pub(crate) fn name(self) -> &'static str {
        match self {
            VideoCoding::Mpeg2 => "MPEG-2",
            VideoCoding::H264 => "MPEG-4, H.264",
            VideoCoding::H265 => "HEVC, H.265",
        }
    }
}

/// What a transfer syntax compresses a loop with; none where that is no video.
#[must_use]
pub(crate) fn video(syntax: &str) -> Option<VideoCoding> {
    let syntax = syntax.trim_end_matches('\0');
    VIDEOS.iter().find(|(known, _)| *known == syntax).map(|(_, coding)| *coding)
}

/// What a person reads of such a loop.
pub(super) fn unseen(coding: VideoCoding) -> Problem {
    problem(
        format!("a loop saved as a video ({}), which this program keeps but does not show", coding.name()),
        "watch it on the scanner or in a DICOM viewer that plays videos; to see and measure loops here, set the scanner to save \
         them as JPEG or uncompressed",
    )
}
