//! `zonecall report`: the exam as a page for a browser or as a PDF, for the vet or the owner.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::bail;
use clap::ValueEnum;

use super::against::against;
use super::options::{AgainstArgs, FolderArgs};
use super::other_files::{tell_gone_files, tell_other_files};
use super::output::write_named;
use crate::exam_folder::record_against;
use crate::report::overlay::overlays;
use crate::report::signed::verified;
use crate::report::{self, ReportFrame, ReportInput};
use crate::signing::people::letterhead;
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall report exams/juniper\n  \
    zonecall report exams/juniper --format pdf --paper letter\n  zonecall report exams/juniper --for owner --format pdf\n  \
    zonecall report exams/juniper --for course --earlier exams/juniper-march --earlier exams/juniper-april\n\n\
    Exit codes: 0 written, 1 written, but the file of a still is gone or is not the one that was paired, 2 an error.")]
pub(crate) struct ReportArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    #[command(flatten)]
    pub(crate) against: AgainstArgs,
    /// Who reads it.
    #[arg(long = "for", value_enum, default_value_t = ReportReader::Vet)]
    pub(crate) reader: ReportReader,
    /// A page for a browser, or a document to print and send; by default what the ending of --out says, else a page.
    #[arg(long, value_enum)]
    pub(crate) format: Option<ReportForm>,
    /// Whether the vet's report includes coverage, points to check, all stills and all calls; by default an HTML page
    /// does and a PDF does not.
    #[arg(long, value_name = "WITH", value_enum)]
    pub(crate) appendix: Option<Appendix>,
    /// Paper size of a PDF.
    #[arg(long, value_enum, default_value_t = PaperSize::A4)]
    pub(crate) paper: PaperSize,
    /// The file to write, in an existing folder; without it, `report.html` or `report.pdf` in `out/` of the exam
    /// folder, with `-owner` or `-course` for those readers.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ReportReader {
    /// The vet: every number with where it comes from.
    Vet,
    /// The owner: plain words, no codes, no scores.
    Owner,
    /// Whoever follows the horse: every measure over this exam and those of --earlier, with its trend.
    Course,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ReportForm {
    /// One HTML file that holds everything.
    Html,
    /// A PDF with every font embedded.
    Pdf,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Appendix {
    /// Everything that the exam holds.
    Yes,
    /// What a referring vet reads.
    No,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum PaperSize {
    /// 210 by 297 mm.
    A4,
    /// 8.5 by 11 inches.
    Letter,
}

impl ReportArgs {
    /// What is written: a file whose ending says something else could not be opened.
    fn form(&self) -> anyhow::Result<ReportForm> {
        let ending = self.out.as_deref().and_then(Path::extension).unwrap_or_default().to_ascii_lowercase();
        let named = match ending.to_str() {
            Some("pdf") => Some(ReportForm::Pdf),
            Some("html" | "htm") => Some(ReportForm::Html),
            _ => None,
        };
        match (self.format, named) {
            (Some(format), Some(named)) if format != named => bail!(
                "`{}` ends otherwise than --format says; leave out --format, or name a file with the other ending",
                self.out.as_deref().unwrap_or(Path::new("")).shown()
            ),
            (format, named) => Ok(format.or(named).unwrap_or(ReportForm::Html)),
        }
    }
}

pub(crate) fn report(args: &ReportArgs) -> anyhow::Result<ExitCode> {
    let form = args.form()?;
    let folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let exam = verified(&folder, &protocols)?;
    let against = against(&args.against, &exam.header, &protocols)?;
    let record = record_against(&exam, &protocols, &against);
    let pictures = report::picture::pictures(&record, folder.path());
    let practice = letterhead()?;
    let drawn = overlays(&exam);
    let appendix = args.appendix.map_or(form == ReportForm::Html, |with| with == Appendix::Yes);
    let input = ReportInput {
        record: &record,
        earlier: &against.earlier,
        protocols: &protocols,
        pictures: &pictures,
        frame: ReportFrame { practice: practice.as_ref(), drawn: Some(&drawn), appendix },
    };
    let (bytes, ending) = match form {
        ReportForm::Html => (page(args.reader, &input).into_bytes(), "html"),
        ReportForm::Pdf => (printed(args, &input)?, "pdf"),
    };
    let for_whom = match args.reader {
        ReportReader::Vet => "",
        ReportReader::Owner => "-owner",
        ReportReader::Course => "-course",
    };
    let path = match &args.out {
        Some(path) => path.clone(),
        None => folder.out()?.join(format!("report{for_whom}.{ending}")),
    };
    write_named(&path, &bytes)?;
    writeln!(terminal::out(), "report: {}", path.shown())?;
    let not_shown = tell_other_files(&exam) + tell_gone_files(folder.path(), &exam, &record);
    Ok(if not_shown == 0 { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

fn page(reader: ReportReader, input: &ReportInput) -> String {
    match reader {
        ReportReader::Vet => report::vet::html(input),
        ReportReader::Owner => report::owner::html(input),
        ReportReader::Course => report::course::html(input),
    }
}

#[cfg(not(feature = "print"))]
fn printed(_: &ReportArgs, _: &ReportInput) -> anyhow::Result<Vec<u8>> {
    anyhow::bail!(
        "this program was built without reports as PDF; leave out --format, or install the whole package, \
         or build with the feature `print`"
    )
}

#[cfg(feature = "print")]
fn printed(args: &ReportArgs, input: &ReportInput) -> anyhow::Result<Vec<u8>> {
    use report::print::{Audience, PageSize, pdf};
    let reader = match args.reader {
        ReportReader::Vet => Audience::Vet,
        ReportReader::Owner => Audience::Owner,
        ReportReader::Course => Audience::Course,
    };
    let page_size = if args.paper == PaperSize::Letter { PageSize::Letter } else { PageSize::A4 };
    let printed = pdf(input, reader, page_size)?;
    if !printed.without_font.is_empty() {
        let letters: String = printed.without_font.iter().collect();
        terminal::warn(format!(
            "no font on this machine has `{letters}`; they are printed as numbers: install a font that has them"
        ));
    }
    Ok(printed.pdf)
}
