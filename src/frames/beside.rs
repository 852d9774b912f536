//! Files and folders that scanners and computers keep for themselves beside stills.
//!
//! Takes: names.
//! Gives: whether such a name is that of a list, a cache or a bin, so that nobody is asked to export it again.
//! Never: opens a file; a still of any name but these is looked at.
//! Tested in: `tests/it/other_stills/media.rs`.

use std::path::Path;

/// The directory of a DICOM medium (PS3.10, 8.6).
const DIRECTORY: &str = "dicomdir";
/// Files, in any case of letters; all but the first belong to operating systems (common practice, no source).
const FILES: [&str; 7] =
    [DIRECTORY, "thumbs.db", "ehthumbs.db", "desktop.ini", "autorun.inf", ".ds_store", "icon\r"];
/// Folders, in any case of letters: bins, in which a still was thrown away, and indexes (common practice, no source).
const FOLDERS: [&str; 5] =
    ["$recycle.bin", "recycler", "system volume information", "__macosx", "lost+found"];
/// What the name of a file's other half begins with on a medium that knows only one (RFC 1740 calls it `AppleDouble`).
const OTHER_HALF: &str = "._";

/// Whether a file of this name is no still, but something that a scanner or a computer keeps there for itself.
pub(crate) fn is_own_file(path: &Path) -> bool {
    let name = lower(path);
    // Some file systems of discs put a dot behind a name without an ending.
    FILES.contains(&name.trim_end_matches('.')) || name.starts_with(OTHER_HALF)
}

/// Whether a folder of this name holds nothing but what a computer keeps for itself.
pub(crate) fn is_own_folder(path: &Path) -> bool {
    FOLDERS.contains(&lower(path).as_str())
}

/// The folder that a path stands for: of a medium's directory the one that it lies in, else the path itself.
pub(crate) fn medium(path: &Path) -> &Path {
    if lower(path).trim_end_matches('.') != DIRECTORY || !path.is_file() {
        return path;
    }
    path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

fn lower(path: &Path) -> String {
    path.file_name().unwrap_or_default().to_string_lossy().to_lowercase()
}
