//! The practice that a report comes from: its letterhead, and whom to call.
//!
//! Takes: the table `[practice]` of the list of people.
//! Gives: `Practice`, with its logo as bytes.
//! Never: a logo that is no picture; the report comes without one.
//! Tested in: `tests/it/first_page.rs`.

use std::io::Cursor;
use std::path::{Path, PathBuf};

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use image::ImageReader;
use serde::{Deserialize, Serialize};

use crate::plain_file;
use crate::report::apart::decode;
use crate::report::decode::Show;

/// Largest logo, in bytes.
const LOGO_BYTES_MAX: usize = 2 * 1024 * 1024;

/// Who sends the report.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Practice {
    /// Its name.
    pub name: String,
    /// Street and town, a line each.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub address: Vec<String>,
    /// The number that an owner calls.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub phone: String,
    /// Where to write.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub email: String,
    /// A picture, PNG or JPEG, in the folder of settings.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub logo: String,
    /// The picture, once it was read.
    #[serde(skip)]
    pub picture: Option<Logo>,
}

/// A logo that can be shown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Logo {
    /// The file.
    pub bytes: Vec<u8>,
    /// `png` or `jpg`.
    pub ending: &'static str,
}

impl Practice {
    /// The same with its logo, if the file in `folder` is a picture.
    #[must_use]
    pub fn with_logo(self, folder: &Path) -> Practice {
        let file = (!self.logo.is_empty()).then(|| folder.join(&self.logo));
        let shown = |file: &PathBuf| decode(file, Show::AsStored, 0).is_ok();
        let read = |file: PathBuf| plain_file::read(&file).ok().filter(|_| shown(&file));
        let picture = file.and_then(read).and_then(Logo::of);
        Practice { picture, ..self }
    }

    /// Address and numbers, a line each.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        let numbers = [&self.phone, &self.email].into_iter().filter(|line| !line.is_empty());
        self.address.iter().chain(numbers).cloned().collect()
    }
}

impl Logo {
    /// As an address inside a page.
    pub(super) fn data_uri(&self) -> String {
        let kind = if self.ending == "png" { "png" } else { "jpeg" };
        format!("data:image/{kind};base64,{}", BASE64_STANDARD.encode(&self.bytes))
    }

    /// A picture that both a page and a PDF show; nothing else.
    #[must_use]
    pub fn of(bytes: Vec<u8>) -> Option<Logo> {
        if bytes.len() > LOGO_BYTES_MAX {
            return None;
        }
        let ending = match image::guess_format(&bytes).ok()? {
            image::ImageFormat::Png => "png",
            image::ImageFormat::Jpeg => "jpg",
            _ => return None,
        };
        // Its head only: a program of its own has decoded the rest.
        let sides = ImageReader::new(Cursor::new(&bytes)).with_guessed_format().ok()?.into_dimensions();
        sides.ok().map(|_| Logo { bytes, ending })
    }
}
