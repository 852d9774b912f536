//! Protocol files read and checked against each other.
//!
//! Takes: a folder of TOML files, or the ones built into the program.
//! Gives: `Protocols`, in which every code that is used exists, once.
//! Never: guesses at a code; the first fault stops the reading and names file and remedy.
//! Tested in: `tests/it/protocol.rs`.

use std::fs;
use std::path::Path;

use serde::Deserialize;
use sha2::{Digest, Sha256};

use crate::plain_file;
use crate::protocol::error::{FILE_BYTES_MAX, FILES_MAX, ProtocolError};
use crate::protocol::model::{Limb, OnlyOf, Plane, Protocols, Scheme, StatedPart, Structure, ValueKind};
use crate::protocol::plain::Plain;
use crate::protocol::source::{SourceFile, parse};
use crate::protocol::verify::verify;

const LIMBS: &str = "limbs.toml";
const PLANES: &str = "planes.toml";
const STRUCTURES: &str = "structures.toml";
const VALUES: &str = "values.toml";
const MEASURES: &str = "measures.toml";
const RULES: &str = "rules.toml";
/// May be missing: then everything is called by its name.
const PLAIN: &str = "plain.toml";
/// The files that are no scheme.
const LISTS: [&str; 7] = [LIMBS, PLANES, STRUCTURES, VALUES, MEASURES, RULES, PLAIN];

/// The files built into the program, in the order of their names.
const BUILT_IN: [(&str, &str); 11] = [
    ("fore.toml", include_str!("../../protocols/fore.toml")),
    ("hind-hock.toml", include_str!("../../protocols/hind-hock.toml")),
    ("hind-tarsometatarsal.toml", include_str!("../../protocols/hind-tarsometatarsal.toml")),
    (LIMBS, include_str!("../../protocols/limbs.toml")),
    (MEASURES, include_str!("../../protocols/measures.toml")),
    ("pastern.toml", include_str!("../../protocols/pastern.toml")),
    (PLAIN, include_str!("../../protocols/plain.toml")),
    (PLANES, include_str!("../../protocols/planes.toml")),
    (RULES, include_str!("../../protocols/rules.toml")),
    (STRUCTURES, include_str!("../../protocols/structures.toml")),
    (VALUES, include_str!("../../protocols/values.toml")),
];

impl Protocols {
    /// The protocols that come with the program.
    ///
    /// # Errors
    /// As [`Protocols::from_files`]; a test keeps the built-in files free of faults.
    pub fn built_in() -> Result<Protocols, ProtocolError> {
        let files = BUILT_IN.map(|(name, text)| SourceFile { path: name.into(), text: text.to_owned() });
        Protocols::from_files(Path::new("built-in protocols"), &files)
    }

    /// The protocols of the TOML files in `folder`; files of other kinds are left alone.
    ///
    /// # Errors
    /// When the folder or a file cannot be read, or as [`Protocols::from_files`].
    pub fn read(folder: &Path) -> Result<Protocols, ProtocolError> {
        let unreadable = |path: &Path| {
            let path = path.to_owned();
            move |source| ProtocolError::Unreadable { path, source }
        };
        let mut paths = Vec::new();
        for entry in fs::read_dir(folder).map_err(unreadable(folder))? {
            let path = entry.map_err(unreadable(folder))?.path();
            if path.extension().is_some_and(|extension| extension == "toml") {
                paths.push(path);
            }
            if paths.len() > FILES_MAX {
                return Err(ProtocolError::TooMany { path: folder.to_owned() });
            }
        }
        paths.sort();
        let mut files = Vec::new();
        for path in paths {
            let bytes = fs::metadata(&path).map_err(unreadable(&path))?.len();
            if bytes > FILE_BYTES_MAX {
                return Err(ProtocolError::TooLarge { path, bytes });
            }
            let text = plain_file::read_to_string(&path).map_err(unreadable(&path))?;
            files.push(SourceFile { path, text });
        }
        Protocols::from_files(folder, &files)
    }

    /// The protocols that `files` hold; `folder` is named where a file is missing.
    ///
    /// # Errors
    /// When a file is missing or malformed, or uses a code that is not defined, or defines one twice.
    pub fn from_files(folder: &Path, files: &[SourceFile]) -> Result<Protocols, ProtocolError> {
        let list = |file: &'static str| {
            let found = files.iter().find(|source| name(source) == file);
            found.ok_or_else(|| ProtocolError::Missing { path: folder.to_owned(), file })
        };
        let [limbs, planes, structures, values, measures] =
            [list(LIMBS)?, list(PLANES)?, list(STRUCTURES)?, list(VALUES)?, list(MEASURES)?];
        let plain = files.iter().find(|source| name(source) == PLAIN);
        let Values { directed, sized, value: kinds } = parse(values)?;
        let Structures { structure, only_of } = parse(structures)?;
        let Limbs { limb, stated_part } = parse(limbs)?;
        let mut sources = Vec::new();
        let mut protocols = Protocols {
            limbs: limb,
            stated_parts: stated_part,
            planes: parse::<Planes>(planes)?.plane,
            structures: structure,
            only_of,
            values: kinds,
            directed,
            sized,
            measuring: parse(measures)?,
            rules: parse(list(RULES)?)?,
            plain: plain.map_or_else(|| Ok(Plain::default()), parse)?,
            schemes: Vec::new(),
            sha256: sha256(files),
        };
        for source in files.iter().filter(|source| !LISTS.contains(&name(source))) {
            let mut scheme: Scheme = parse(source)?;
            name(source).clone_into(&mut scheme.file);
            protocols.schemes.push(scheme);
            sources.push(source.path.as_path());
        }
        // Without a file of plain words there is nothing in it to find fault with.
        let lists = [limbs, planes, structures, values, measures, plain.unwrap_or(limbs)];
        let lists = lists.map(|source| source.path.as_path());
        verify(&protocols, lists, &sources)?;
        Ok(protocols)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Limbs {
    limb: Vec<Limb>,
    #[serde(default)]
    stated_part: Vec<StatedPart>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Planes {
    plane: Vec<Plane>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Structures {
    structure: Vec<Structure>,
    #[serde(default)]
    only_of: Vec<OnlyOf>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Values {
    #[serde(default)]
    directed: Vec<String>,
    #[serde(default)]
    sized: Vec<String>,
    value: Vec<ValueKind>,
}

fn name(source: &SourceFile) -> &str {
    source.path.file_name().and_then(|name| name.to_str()).unwrap_or_default()
}

/// Over names and texts in the order of the names, so that a folder and its copy have the same hash.
fn sha256(files: &[SourceFile]) -> String {
    let mut sorted: Vec<&SourceFile> = files.iter().collect();
    sorted.sort_by_key(|source| name(source));
    let mut hash = Sha256::new();
    for source in sorted {
        for part in [name(source), source.text.as_str()] {
            hash.update((part.len() as u64).to_be_bytes());
            hash.update(part.as_bytes());
        }
    }
    hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}
