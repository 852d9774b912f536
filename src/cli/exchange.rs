//! `export` in the forms of other systems: DICOM, labelled copies, FHIR, teaching, marked sound.
//!
//! Takes: an exam folder.
//! Gives: one call of `exchange` for each form, and its files on the disk.
//! Never: knows what is in them.
//! Tested in: `tests/it/exchange/`.

use std::collections::BTreeSet;
use std::io::{Cursor, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, ensure};
use chrono::{Datelike as _, NaiveDateTime, Timelike as _};
use clap::ValueEnum;
use zip::CompressionMethod;
use zip::write::SimpleFileOptions;

use super::options::{FolderArgs, not_blank};
use super::other_files::{is_other, tell_other_files, tell_refused};
use super::output::{write_file, write_named};
use super::scanners;
use crate::exam::fold::Exam;
use crate::exam_folder::record_against;
use crate::exchange::black_out::{BlackOut, Rectangle};
use crate::exchange::dicom::{self, DICOM_FOLDER};
use crate::exchange::input::ExportInput;
use crate::exchange::still::{self, Still};
use crate::exchange::{Codes, fhir, labelled, marks, subject, teaching};
use crate::frames::folder::{LABELLED_ARCHIVE, TEACHING_ARCHIVE};
use crate::knowledge::measure::Against;
use crate::knowledge::record::{FrameRow, Record};
use crate::plain_file;
use crate::private;
use crate::protocol::Protocols;
use crate::report::export;
#[cfg(feature = "print")]
use crate::report::print::{Audience, PageSize, pdf};
use crate::report::signed::verified;
use crate::report::words::{CAUTIONS, local};
#[cfg(feature = "print")]
use crate::report::{ReportFrame, ReportInput, overlay::overlays, picture};
use crate::signing::people::letterhead;
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall export exams/juniper --as json --out record.json\n  \
    zonecall export exams/juniper --as dicom\n  \
    zonecall export exams/juniper --as teaching --black-out 0,0,800,60\n\n\
    Exit codes: 0 written, 1 written without a still that could not be used, 2 an error.")]
pub(crate) struct ExportArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// Which form.
    #[arg(long = "as", value_enum)]
    pub(crate) form: ExportFormat,
    /// Where to write it: a file in an existing folder, by default standard output; for `dicom`, `labelled`, `teaching`
    /// and `audio` a folder, by default one in `out/` of the exam folder.
    #[arg(long, value_name = "PATH")]
    pub(crate) out: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) exchange: ExchangeArgs,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ExportFormat {
    /// The whole record; described by `schema/record.schema.json`.
    Json,
    /// A table of stills and calls.
    Csv,
    /// Captions for the kept audio (WebVTT).
    Vtt,
    /// For an image archive: structured report, labels and outlines, selection, report; the stills stay as they are.
    Dicom,
    /// Copies for people, named by what they show, with the label below the picture; with index, table and zip.
    Labelled,
    /// For record systems: a FHIR R4 bundle.
    Fhir,
    /// Labelled copies that do not say whose they are.
    Teaching,
    /// Copies of the kept sound in which each call is marked.
    Audio,
}

/// What only some forms of an export need.
#[derive(Debug, clap::Args)]
pub(crate) struct ExchangeArgs {
    /// Whose name goes onto `dicom` and `fhir`.
    #[arg(long, value_enum, default_value_t = IdentityArgs::Agreed)]
    pub(crate) identity: IdentityArgs,
    /// The practice that the signing vet answers to, for `dicom`; without it the one of the letterhead.
    #[arg(long, value_name = "NAME", value_parser = not_blank)]
    pub(crate) organisation: Option<String>,
    /// Codes to use instead of the built-in ones; see `codes/dicom.toml`.
    #[arg(long, value_name = "FILE")]
    pub(crate) codes: Option<PathBuf>,
    /// Where the scanner writes names into its pictures: this is blackened in `teaching`, in pixels; it takes the place
    /// of what `scanners.toml` says.
    #[arg(long, value_name = "LEFT,TOP,WIDTH,HEIGHT", value_parser = scanners::rectangle)]
    pub(crate) black_out: Option<Rectangle>,
}

/// Whose name goes onto an export.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum IdentityArgs {
    /// That of the stills; where the exam names another animal, nothing is written.
    Agreed,
    /// That of the stills.
    Stills,
    /// That of the exam.
    Exam,
}

impl From<IdentityArgs> for subject::Identity {
    fn from(identity: IdentityArgs) -> subject::Identity {
        match identity {
            IdentityArgs::Agreed => subject::Identity::Agreed,
            IdentityArgs::Stills => subject::Identity::Stills,
            IdentityArgs::Exam => subject::Identity::Exam,
        }
    }
}

pub(crate) fn export(args: &ExportArgs) -> anyhow::Result<ExitCode> {
    let written: fn(&Record) -> String = match args.form {
        ExportFormat::Json => export::json,
        ExportFormat::Csv => export::csv,
        ExportFormat::Vtt => export::vtt,
        ExportFormat::Dicom => return for_image_archive(args),
        ExportFormat::Labelled => return labelled_copies(args),
        ExportFormat::Fhir => return for_record_system(args),
        ExportFormat::Teaching => return teaching_copies(args),
        ExportFormat::Audio => return marked_audio(args),
    };
    let protocols = args.folder.knowledge.read()?;
    let exam = verified(&args.folder.open(), &protocols)?;
    let text = written(&record_against(&exam, &protocols, &Against::default()));
    match &args.out {
        Some(path) => write_named(path, text.as_bytes())?,
        None => terminal::data(text.as_bytes())?,
    }
    Ok(ExitCode::SUCCESS)
}

/// An exam with all that an export speaks of.
struct ExamToExport {
    protocols: Protocols,
    exam: Exam,
    record: Record,
    codes: Codes,
    stills: Vec<Still>,
    /// Something about the stills that a person should look at.
    problems: usize,
}

fn open(args: &ExportArgs) -> anyhow::Result<ExamToExport> {
    let folder = &args.folder.folder;
    let protocols = args.folder.knowledge.read()?;
    let exam = verified(&args.folder.open(), &protocols)?;
    let record = record_against(&exam, &protocols, &Against::default());
    let codes = match &args.exchange.codes {
        Some(path) => {
            let text =
                std::fs::read_to_string(path).with_context(|| format!("cannot read `{}`", path.shown()))?;
            Codes::parse(&text).with_context(|| format!("`{}`", path.shown()))?
        }
        None => Codes::built_in()?,
    };
    let (mut stills, mut problems) = (Vec::new(), tell_other_files(&exam) + tell_refused(&record));
    // A still of another animal, or of nobody knows whom, goes nowhere before a person has said whose it is.
    let is_own = |frame: &&FrameRow| frame.refused.is_none() && !is_other(&exam, &frame.file);
    for frame in record.frames.iter().filter(is_own) {
        match still::read(frame, folder) {
            Ok(Some(still)) => stills.push(still),
            Ok(None) => {}
            Err(problem) => {
                terminal::warn(format!("{}: {}", problem.message.shown(), problem.help.shown()));
                problems += 1;
            }
        }
    }
    Ok(ExamToExport { protocols, exam, record, codes, stills, problems })
}

impl ExamToExport {
    fn input(&self) -> ExportInput<'_> {
        ExportInput {
            record: &self.record,
            exam: &self.exam,
            protocols: &self.protocols,
            codes: &self.codes,
            organisation: None,
            cautions: CAUTIONS,
        }
    }

    #[cfg(not(feature = "print"))]
    fn printed(&self, _: &Path) -> anyhow::Result<Vec<u8>> {
        anyhow::bail!(
            "this zonecall was built without the feature `print`, so there is no report to export; use one with it"
        )
    }

    #[cfg(feature = "print")]
    fn printed(&self, folder: &Path) -> anyhow::Result<Vec<u8>> {
        let pictures = picture::pictures(&self.record, folder);
        let drawn = overlays(&self.exam);
        let practice = letterhead()?;
        let report = ReportInput {
            record: &self.record,
            earlier: &[],
            protocols: &self.protocols,
            pictures: &pictures,
            frame: ReportFrame {
                practice: practice.as_ref(),
                drawn: Some(&drawn),
                // What is kept in an archive is whole.
                appendix: true,
            },
        };
        Ok(pdf(&report, Audience::Vet, PageSize::A4)?.pdf)
    }

    fn done(&self, made: usize, into: &Path, problems: usize) -> anyhow::Result<ExitCode> {
        writeln!(terminal::out(), "{made} files: {}", into.shown())?;
        Ok(if self.problems + problems == 0 { ExitCode::SUCCESS } else { ExitCode::from(1) })
    }
}

/// The folder that an export goes into: the one that was named, or one in `out/` of the exam.
fn into(args: &ExportArgs, name: &str) -> anyhow::Result<PathBuf> {
    let into = match &args.out {
        Some(path) => path.clone(),
        None => args.folder.open().out()?.join(name),
    };
    private::make_folder(&into).with_context(|| format!("cannot make the folder `{}`", into.shown()))?;
    Ok(into)
}

fn for_image_archive(args: &ExportArgs) -> anyhow::Result<ExitCode> {
    let opened = open(args)?;
    let folder = into(args, DICOM_FOLDER)?;
    let before = dicom::earlier(&folder, &opened.record.exam.id);
    let printed = opened.printed(&args.folder.folder)?;
    let organisation = match &args.exchange.organisation {
        Some(named) => Some(named.clone()),
        None => letterhead()?.map(|practice| practice.name),
    };
    let input = ExportInput { organisation: organisation.as_deref(), ..opened.input() };
    let made = dicom::export(&input, &opened.stills, args.exchange.identity.into(), &before, &printed)?;
    for file in &made {
        write_file(&folder.join(&file.name), &file.bytes)?;
    }
    dicom::outdated(&folder, &made).iter().try_for_each(|path| remove(path))?;
    opened.done(made.len(), &folder, 0)
}

fn for_record_system(args: &ExportArgs) -> anyhow::Result<ExitCode> {
    let opened = open(args)?;
    let printed = opened.printed(&args.folder.folder)?;
    let text = fhir::bundle(&opened.input(), &opened.stills, args.exchange.identity.into(), Some(&printed))?;
    match &args.out {
        Some(path) => write_named(path, text.as_bytes())?,
        None => terminal::data(text.as_bytes())?,
    }
    Ok(if opened.problems == 0 { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

fn labelled_copies(args: &ExportArgs) -> anyhow::Result<ExitCode> {
    let opened = open(args)?;
    let folder = into(args, "labelled")?;
    must_be_own(args, &folder, LABELLED_ARCHIVE)?;
    let copies = labelled::copies(&opened.input(), &opened.stills, &args.folder.folder);
    let exam = &opened.record.exam;
    let day = archive_date(local(exam.started_at, exam.utc_offset_s).naive_local());
    write_copies(&folder, &copies, LABELLED_ARCHIVE, day)?;
    opened.done(copies.files.len() + 1, &folder, copies.problems.len())
}

fn teaching_copies(args: &ExportArgs) -> anyhow::Result<ExitCode> {
    let opened = open(args)?;
    let folder = into(args, "teaching")?;
    must_be_own(args, &folder, TEACHING_ARCHIVE)?;
    let mut salt = [0; 16];
    getrandom::fill(&mut salt)
        .map_err(|error| anyhow::anyhow!("the system gives no random bytes: {error}"))?;
    let black_out = BlackOut { everywhere: args.exchange.black_out, scanners: scanners::read()? };
    let copies = teaching::copies(
        &opened.input(),
        &opened.stills,
        &args.folder.folder,
        &black_out,
        &crate::hex(&salt),
    );
    if !copies.bare.is_empty() {
        let name = |scanner: &String| match scanner.as_str() {
            "" => "stills that name no scanner".to_owned(),
            scanner => format!("`{}`", scanner.shown()),
        };
        let of: Vec<String> = copies.bare.iter().map(name).collect();
        terminal::warn(format!(
            "text that the scanner put into its pictures is still in those of {}: look at each before you show it; \
             black out a rectangle in all with --black-out LEFT,TOP,WIDTH,HEIGHT, or set it once for a scanner in \
             `scanners.toml`",
            of.join(", ")
        ));
    }
    // These say nothing of a day: the archive's own first one stands for none.
    write_copies(&folder, &copies, TEACHING_ARCHIVE, zip::DateTime::default())?;
    opened.done(copies.files.len() + 1, &folder, copies.problems.len())
}

/// Takes away what an earlier export wrote.
fn remove(path: &Path) -> anyhow::Result<()> {
    std::fs::remove_file(path).with_context(|| format!("cannot remove `{}`", path.shown()))
}

/// The names of the copies that an earlier export of this kind wrote into the folder, as its archive lists them.
fn written_before(folder: &Path, archive: &str) -> BTreeSet<String> {
    let listed = || {
        let zip = zip::ZipArchive::new(std::fs::File::open(folder.join(archive)).ok()?).ok()?;
        Some(zip.file_names().map(str::to_owned).collect::<BTreeSet<String>>())
    };
    let is_plain = |name: &String| Path::new(name).file_name().is_some_and(|plain| plain == name.as_str());
    listed().unwrap_or_default().into_iter().filter(is_plain).collect()
}

/// Makes sure that nothing else is in a folder that was named: among other files, copies would be taken for stills.
fn must_be_own(args: &ExportArgs, folder: &Path, archive: &str) -> anyhow::Result<()> {
    if args.out.is_none() {
        return Ok(());
    }
    let own = written_before(folder, archive);
    let entries = std::fs::read_dir(folder).with_context(|| format!("cannot read `{}`", folder.shown()))?;
    for entry in entries {
        let name = entry?.file_name();
        let is_own = name == archive || name.to_str().is_some_and(|name| own.contains(name));
        ensure!(
            is_own,
            "`{}` holds other files, such as `{}`, so nothing was written; name an empty folder or a new one with --out",
            folder.shown(),
            Path::new(&name).shown()
        );
    }
    Ok(())
}

/// A time as an archive can hold it: none before 1980 or after 2107.
fn archive_date(at: NaiveDateTime) -> zip::DateTime {
    let part = |number: u32| u8::try_from(number).ok();
    let date = || {
        let (year, month, day) = (u16::try_from(at.year()).ok()?, part(at.month())?, part(at.day())?);
        let (hour, minute, second) = (part(at.hour())?, part(at.minute())?, part(at.second())?);
        zip::DateTime::from_date_and_time(year, month, day, hour, minute, second).ok()
    };
    date().unwrap_or_default()
}

fn write_copies(
    folder: &Path,
    copies: &labelled::Copies,
    archive: &str,
    at: zip::DateTime,
) -> anyhow::Result<()> {
    // A copy of before may have a label that is none any more.
    for name in written_before(folder, archive) {
        let path = folder.join(&name);
        if copies.files.iter().all(|file| file.name != name) && path.is_file() {
            remove(&path)?;
        }
    }
    for (still, why) in &copies.problems {
        terminal::warn(format!("`{}`: {}", still.shown(), why.shown()));
    }
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().compression_method(CompressionMethod::Deflated);
    let options = options.last_modified_time(at);
    for file in &copies.files {
        write_file(&folder.join(&file.name), &file.bytes)?;
        zip.start_file(&file.name, options)?;
        zip.write_all(&file.bytes)?;
    }
    let bytes = zip.finish()?.into_inner();
    write_file(&folder.join(archive), &bytes)
}

fn marked_audio(args: &ExportArgs) -> anyhow::Result<ExitCode> {
    let folder = &args.folder.folder;
    let protocols = args.folder.knowledge.read()?;
    let exam = verified(&args.folder.open(), &protocols)?;
    let record = record_against(&exam, &protocols, &Against::default());
    ensure!(!exam.audio.is_empty(), "no sound was kept of this exam, so there is nothing to mark");
    let into = into(args, "audio")?;
    let mut out = terminal::out();
    for file in &exam.audio {
        let path = folder.join(&file.file);
        let wav = plain_file::read(&path).with_context(|| format!("cannot read `{}`", path.shown()))?;
        let in_file = || format!("`{}`", path.shown());
        let samples = marks::n_samples(&wav).with_context(in_file)?;
        let found = marks::marks(&record, file.first_sample, samples);
        let marked = marks::marked(&wav, &found).with_context(in_file)?;
        let name = path.file_name().context("the kept sound has no file name")?;
        write_file(&into.join(name), &marked)?;
        writeln!(out, "{} marks: {}", found.len(), into.join(name).shown())?;
    }
    Ok(ExitCode::SUCCESS)
}
