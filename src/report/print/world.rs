//! All that the typesetting library may see: our templates, the report's data, its pictures and its fonts.
//!
//! Takes: files by name, and fonts.
//! Gives: `World`.
//! Never: the disk, the network, a package, or the time.
//! Tested in: `tests/it/print.rs`.

use std::collections::BTreeMap;

use typst::diag::{FileError, FileResult};
use typst::foundations::{Bytes, Datetime, Duration};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt as _};

/// A file of the report.
pub(super) struct VirtualFile {
    name: String,
    bytes: Vec<u8>,
}

impl VirtualFile {
    pub(super) fn new(name: &str, bytes: Vec<u8>) -> VirtualFile {
        VirtualFile { name: name.to_owned(), bytes }
    }
}

/// The files and fonts of one report.
pub(super) struct World {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
    main: FileId,
    files: BTreeMap<String, Bytes>,
}

impl World {
    pub(super) fn new(main: &str, files: Vec<VirtualFile>, fonts: Vec<Font>) -> World {
        World {
            library: LazyHash::new(Library::default()),
            book: LazyHash::new(FontBook::from_fonts(&fonts)),
            fonts,
            main: id(main),
            files: files.into_iter().map(|file| (file.name, Bytes::new(file.bytes))).collect(),
        }
    }
}

/// Names of ours hold nothing that a path could not.
fn id(name: &str) -> FileId {
    let path = VirtualPath::new(name).unwrap_or_else(|_| unreachable!("`{name}` is a plain name"));
    RootedPath::new(VirtualRoot::Project, path).intern()
}

impl typst::World for World {
    fn library(&self) -> &LazyHash<Library> {
        &self.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.book
    }

    fn main(&self) -> FileId {
        self.main
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        let bytes = self.file(id)?;
        let text = bytes.as_str().map_err(|_| FileError::InvalidUtf8)?;
        Ok(Source::new(id, text.to_owned()))
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        let path = id.get();
        let name = path.vpath().get_without_slash();
        let known = self.files.get(name).filter(|_| *path.root() == VirtualRoot::Project);
        known.cloned().ok_or_else(|| FileError::NotFound(name.into()))
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.fonts.get(index).cloned()
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}
