//! Names of files as text that can be turned back into the name.
//!
//! Takes: paths, whatever bytes they hold, and what the journal holds of them.
//! Gives: the path as text, in which bytes that are no text are `\xff`; from that text, the path.
//! Never: changes a name that is text, unless it reads like such a byte.
//! Tested in: `tests/it/frames.rs`, `tests/it/moved.rs`.

use std::borrow::Cow;
use std::ffi::OsString;
use std::path::{Path, PathBuf};

/// What begins a byte that is no text.
const BYTE: &[u8] = b"\\x";
/// Figures of such a byte.
const FIGURES: usize = 2;

/// The path as text: bytes that are no text are `\xff`, and what reads like one is spelled with `\x5c` for its backslash.
#[must_use]
pub fn spelled(path: &Path) -> String {
    let mut text = String::new();
    for chunk in path.as_os_str().as_encoded_bytes().utf8_chunks() {
        let mut rest = chunk.valid();
        while let Some(at) = rest.find("\\x") {
            let (before, from) = rest.split_at(at);
            text.push_str(before);
            text.push_str(if byte_at(from.as_bytes()).is_some() { "\\x5c" } else { "\\" });
            rest = &from[1..];
        }
        text.push_str(rest);
        text.extend(chunk.invalid().iter().map(|byte| format!("\\x{byte:02x}")));
    }
    text
}

/// Where a kept file is: `name` is as the journal holds it, from `folder` or in full.
///
/// A name that only reads like a spelled one, as an earlier version wrote it, is itself where nothing else is found.
#[must_use]
pub fn kept_file(folder: &Path, name: &str) -> PathBuf {
    let as_it_is = folder.join(name);
    let Cow::Owned(bytes) = unspelled(name) else { return as_it_is };
    let path = path_of(bytes).map(|path| folder.join(path));
    path.filter(|path| path.exists() || !as_it_is.exists()).unwrap_or(as_it_is)
}

/// The bytes that were spelled; the same where none were.
fn unspelled(name: &str) -> Cow<'_, [u8]> {
    let bytes = name.as_bytes();
    let mut found = Cow::Borrowed(bytes);
    let mut at = 0;
    while at < bytes.len() {
        let byte = byte_at(&bytes[at..]);
        if byte.is_some() && matches!(found, Cow::Borrowed(_)) {
            found = Cow::Owned(bytes[..at].to_vec());
        }
        if let Cow::Owned(found) = &mut found {
            found.push(byte.unwrap_or(bytes[at]));
        }
        at += if byte.is_some() { BYTE.len() + FIGURES } else { 1 };
    }
    found
}

/// The byte that is spelled at the beginning: one that is no text by itself, or a backslash. Nothing else is ever spelled, so
/// that no name leads out of its folder when it is turned back.
fn byte_at(bytes: &[u8]) -> Option<u8> {
    let figures = bytes.strip_prefix(BYTE)?.get(..FIGURES)?;
    // `from_str_radix` takes a sign, too.
    let figures = std::str::from_utf8(figures).ok().filter(|text| !text.starts_with('+'))?;
    u8::from_str_radix(figures, 16).ok().filter(|byte| !byte.is_ascii() || *byte == b'\\')
}

#[cfg(unix)]
fn path_of(bytes: Vec<u8>) -> Option<OsString> {
    use std::os::unix::ffi::OsStringExt as _;
    Some(OsString::from_vec(bytes))
}

/// Elsewhere a name is text.
#[cfg(not(unix))]
fn path_of(bytes: Vec<u8>) -> Option<OsString> {
    String::from_utf8(bytes).ok().map(OsString::from)
}
