//! Why a still has no picture, and the bounds that a picture is held to.
//!
//! Takes: nothing; these are the types between the decoders.
//! Gives: `PictureError`, and how large a picture may be and how long it may take.
//! Never: decodes anything.
//! Tested in: `tests/it/picture.rs`.

use crate::exam::file_integrity::StillFault;

/// Largest file that is read for a picture, in bytes.
pub const MAX_FILE_BYTES: u64 = 256 * 1024 * 1024;
/// Widest and highest picture that is decoded, in pixels.
pub const MAX_SIDE_PX: u32 = 8192;
/// Most memory that decoding one still may take, in MiB.
pub(super) const MAX_MIB: u64 = 1024;
/// Most time that decoding one still may take, in seconds.
pub(super) const MAX_S: u64 = 20;

/// Why a still has no picture. It never stops the report, so it ends as text in `Picture::NotShown`.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PictureError {
    /// The disk refused.
    #[error("the file cannot be read: {0}")]
    File(#[from] std::io::Error),
    /// Its file is not the one that was paired.
    #[error(transparent)]
    Still(#[from] StillFault),
    /// It is no file.
    #[error("this is not a file")]
    NoFile,
    /// It is a loop whose pictures are not whole by themselves.
    #[error(
        "a loop saved as a video ({0}), which this program does not show; watch it on the scanner or in a DICOM viewer that plays \
         videos"
    )]
    Video(&'static str),
    /// It is too large.
    #[error("the file has {got} bytes; a picture may have at most {MAX_FILE_BYTES}")]
    TooLarge {
        /// Its bytes.
        got: u64,
    },
    /// The picture is too wide or high.
    #[error("the picture has {columns} x {rows} pixels; at most {MAX_SIDE_PX} a side are shown")]
    TooWide {
        /// Its width.
        columns: u32,
        /// Its height.
        rows: u32,
    },
    /// The picture is damaged.
    #[error("the picture cannot be decoded: {0}")]
    Decode(#[from] image::ImageError),
    /// It is of no known kind.
    #[error("neither a picture nor a DICOM file: {0}")]
    Dicom(#[from] dicom_object::ReadError),
    /// It states no size.
    #[error("the DICOM file does not state the size of its picture")]
    NoSize,
    /// Its colours stand in a palette that is not there as a whole.
    #[error(
        "the palette of the DICOM picture is missing, cut short or malformed; export it again in plain colours"
    )]
    Palette,
    /// Its pixels are in JPEG-LS and cannot be decoded.
    #[error("the JPEG-LS picture cannot be decoded: {0}")]
    JpegLs(&'static str),
    /// Its pixels cannot be decoded.
    #[error("the DICOM picture cannot be decoded: {0}")]
    Pixels(#[from] dicom_pixeldata::Error),
    /// The program that decodes it said why not, or nothing.
    #[error("{0}")]
    Apart(String),
    /// The program that decodes it was stopped.
    #[error("decoding the picture takes more than {mib} MiB or {seconds} s")]
    TooMuch {
        /// Most memory, in MiB.
        mib: u64,
        /// Most time, in seconds.
        seconds: u64,
    },
}
