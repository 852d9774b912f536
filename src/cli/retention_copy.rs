//! `zonecall retention copy`: everything that is kept of a horse, in one folder with a list of its files.
//!
//! Takes: exam folders, and what an archive keeps of the horse.
//! Gives: a copy of each, `files.csv` with their hashes, and `missing.txt` with what could not be copied, if anything.
//! Never: leaves something out in silence, writes over a file, or out of the folder that was named.
//! Tested in: `tests/it/retention.rs`.

use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, ensure};
use sha2::{Digest as _, Sha256};

use super::archive::FiledVersion;
use super::output::one_line;
use crate::exam::file_integrity::paired_file;
use crate::exam::fold::Exam;
use crate::exam_folder::ExamFolder;
use crate::file_name::spelled;
use crate::plain_file;
use crate::private;
use crate::protocol::Protocols;
use crate::report::words::count;
use crate::terminal::{self, ShownText as _};

/// Longest name of a copy, in letters.
const NAME_MAX: usize = 100;
/// The list of a copy.
const LIST: &str = "files.csv";
/// The list of what is not in it.
const MISSING: &str = "missing.txt";
/// Where records from the archive are in it.
const ARCHIVE: &str = "archive";
/// So much of a file is read at once, in bytes.
const PIECE: usize = 1 << 16;

/// A copy that is being made.
struct HorseCopy<'a> {
    into: &'a Path,
    /// Name, bytes and hash of each file.
    rows: Vec<[String; 3]>,
    /// What could not be copied, and why.
    missing: Vec<String>,
}

pub(super) fn copy(
    exams: &[PathBuf],
    protocols: &Protocols,
    horse: &str,
    (into, filed): (&Path, &[FiledVersion]),
) -> anyhow::Result<ExitCode> {
    ensure!(!into.exists(), "`{}` already exists; name a new folder", into.shown());
    let mut made = HorseCopy { into, rows: Vec::new(), missing: Vec::new() };
    let mut n_exams = 0;
    for path in exams {
        match ExamFolder::at(path).exam(protocols) {
            // Nothing is left to be copied.
            Err(error) if error.is_erased() => {}
            // Whose it is nobody can tell.
            Err(error) => made.missing.push(format!("{}: {}", path.shown(), one_line(&error.into()))),
            Ok(exam) if is_of(&exam, horse) => {
                n_exams += 1;
                made.exam(path, &exam)?;
            }
            Ok(_) => {}
        }
    }
    for version in filed {
        made.version(version)?;
    }
    let mut out = terminal::out();
    for missing in &made.missing {
        writeln!(out, "NOT COPIED: {missing}")?;
    }
    if n_exams == 0 && filed.is_empty() {
        writeln!(out, "none of the exams is of `{}`; nothing was copied", horse.shown())?;
        return Ok(ExitCode::from(1));
    }
    let (is_whole, n_files) = (made.missing.is_empty(), made.rows.len());
    made.lists()?;
    let records = if filed.is_empty() {
        String::new()
    } else {
        format!(", {} from the archive", count(filed.len(), "record"))
    };
    writeln!(out, "{}: {}{records}, {}", into.shown(), count(n_exams, "exam"), count(n_files, "file"))?;
    Ok(ExitCode::from(u8::from(!is_whole)))
}

fn is_of(exam: &Exam, horse: &str) -> bool {
    let (wanted, of) = (horse.trim().to_lowercase(), &exam.header.horse);
    [&of.name, &of.id].into_iter().flatten().any(|name| name.trim().to_lowercase() == wanted)
}

impl HorseCopy<'_> {
    /// All files of an exam's folder, and its stills that lie elsewhere.
    fn exam(&mut self, path: &Path, exam: &Exam) -> anyhow::Result<()> {
        let to = not_there(self.into, &plain_name(&exam.header.id), "");
        self.folder(path, &to)?;
        for still in exam.frames.iter().filter(|still| !exam.is_discarded(&still.file)) {
            let from = match paired_file(path, &still.file, &still.sha256) {
                Ok(from) => from,
                Err(fault) => {
                    self.missing.push(format!("{}: still {}: {fault}", path.shown(), still.id.shown()));
                    continue;
                }
            };
            // What is named from the folder was copied with it.
            if Path::new(&still.file).is_absolute() {
                let ending = from
                    .extension()
                    .map_or_else(String::new, |ending| format!(".{}", plain_name(&ending.to_string_lossy())));
                let named = not_there(&to.join("stills"), &plain_name(&still.id), &ending);
                self.file(&from, &named)?;
            }
        }
        Ok(())
    }

    /// A record as it was filed.
    fn version(&mut self, version: &FiledVersion) -> anyhow::Result<()> {
        let folder = self.into.join(ARCHIVE).join(plain_name(&version.exam_id));
        let to = not_there(&folder, &plain_name(&version.hash), ".json");
        let failed = || format!("cannot write `{}`", to.shown());
        private::make_folder(&folder).with_context(failed)?;
        let mut file = private::options().write(true).create_new(true).open(&to).with_context(failed)?;
        file.write_all(version.record.as_bytes()).with_context(failed)?;
        self.list(&to, version.record.len() as u64, &crate::hex(&Sha256::digest(&version.record)));
        Ok(())
    }

    /// Copies plain files and folders; links lead elsewhere and are left out.
    fn folder(&mut self, from: &Path, to: &Path) -> anyhow::Result<()> {
        let entries = std::fs::read_dir(from).and_then(Iterator::collect::<std::io::Result<Vec<_>>>);
        let mut entries = match entries {
            Ok(entries) => entries,
            Err(error) => {
                self.missing.push(format!("{}: {error}", from.shown()));
                return Ok(());
            }
        };
        entries.sort_by_key(std::fs::DirEntry::file_name);
        for entry in entries {
            let (path, kind) = (entry.path(), entry.file_type());
            match kind {
                Ok(kind) if kind.is_dir() && entry.file_name() != ".cache" => {
                    self.folder(&path, &to.join(entry.file_name()))?;
                }
                Ok(kind) if kind.is_file() => self.file(&path, &to.join(entry.file_name()))?,
                Ok(_) => {}
                Err(error) => self.missing.push(format!("{}: {error}", path.shown())),
            }
        }
        Ok(())
    }

    /// Copies a file; one that cannot be read to its end is listed as missing.
    ///
    /// # Errors
    /// When the copy cannot be written.
    fn file(&mut self, from: &Path, to: &Path) -> anyhow::Result<()> {
        let failed = || format!("cannot write `{}`", to.shown());
        let mut source = match plain_file::open(from) {
            Ok(source) => source,
            Err(error) => {
                self.missing.push(format!("{}: {error}", from.shown()));
                return Ok(());
            }
        };
        private::make_folder(to.parent().unwrap_or(self.into)).with_context(failed)?;
        let mut copy = private::options().write(true).create_new(true).open(to).with_context(failed)?;
        let (mut hash, mut bytes, mut piece) = (Sha256::new(), 0, vec![0_u8; PIECE]);
        loop {
            match source.read(&mut piece) {
                Ok(0) => break,
                Ok(n_read) => {
                    copy.write_all(&piece[..n_read]).with_context(failed)?;
                    hash.update(&piece[..n_read]);
                    bytes += n_read as u64;
                }
                Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
                Err(error) => {
                    // Half a file would pass for a whole one.
                    std::fs::remove_file(to).with_context(failed)?;
                    self.missing.push(format!("{}: {error}", from.shown()));
                    return Ok(());
                }
            }
        }
        self.list(to, bytes, &crate::hex(&hash.finalize()));
        Ok(())
    }

    fn list(&mut self, to: &Path, bytes: u64, sha256: &str) {
        let name = spelled(to.strip_prefix(self.into).unwrap_or(to));
        self.rows.push([name, bytes.to_string(), sha256.to_owned()]);
    }

    /// Writes what is in the copy, and what is not.
    fn lists(self) -> anyhow::Result<()> {
        let new = |name: &str| {
            let path = self.into.join(name);
            let file = private::options().write(true).create_new(true).open(&path);
            file.with_context(|| format!("cannot write `{}`", path.shown()))
        };
        let mut list = csv::Writer::from_writer(new(LIST)?);
        list.write_record(["file", "bytes", "sha256"])?;
        self.rows.iter().try_for_each(|row| list.write_record(row))?;
        list.flush()?;
        if !self.missing.is_empty() {
            writeln!(new(MISSING)?, "{}", self.missing.join("\n"))?;
        }
        Ok(())
    }
}

/// A name that leads nowhere else, whatever the journal says: it may come from a stranger.
fn plain_name(name: &str) -> String {
    let plain = |sign: char| if sign.is_ascii_alphanumeric() || sign == '.' { sign } else { '-' };
    let name: String = name.chars().map(plain).take(NAME_MAX).collect();
    if name.chars().all(|sign| sign == '.') { "unnamed".to_owned() } else { name }
}

/// A path in this folder that is not taken: two folders may hold the same exam, and neither copy goes over the other.
fn not_there(folder: &Path, name: &str, ending: &str) -> PathBuf {
    let names = std::iter::once(String::new()).chain((2..).map(|n: u32| format!("-{n}")));
    let mut paths = names.map(|more| folder.join(format!("{name}{more}{ending}")));
    paths.find(|path| !path.exists()).unwrap_or_else(|| folder.join(name))
}
