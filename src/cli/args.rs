//! The command line: its words are the manual.
//!
//! Takes: the program's arguments.
//! Gives: `Args`; the manual pages and shell completions are made from it, too.
//! Never: does anything.
//! Tested in: `tests/it/demo.rs`.

use std::path::PathBuf;

use super::doctor::Doctor;
use super::listen::{Listen, Resume};
use chrono::{DateTime, FixedOffset, NaiveDate};
use clap::{Parser, Subcommand, ValueEnum};

use crate::exam::review::is_plain;
use crate::exam_folder::ExamFolder;
use crate::protocol::Protocols;
use crate::session::options::Subject;
use crate::session::spoken::SpokenLanguage;

const CAUTIONS: &str = "Not a diagnosis. Everything zonecall writes is a draft until a licensed vet has signed it. \
Cut-offs are defaults with their sources; local rules and licensed practice come first. \
Sedation and handling safety are the practice's own business.";

/// You call the zone, it keeps the record: a journal of a spoken tendon scan, and the saved stills labelled with it.
///
/// First `hear` a recording into an exam folder, then `pair` the saved stills with it, then `check` and `report`.
#[derive(Debug, Parser)]
#[command(version, after_help = CAUTIONS, after_long_help = CAUTIONS)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub(crate) task: Task,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Task {
    /// Hear a recorded exam and write its journal.
    Hear(HearArgs),
    /// Listen at the horse: hear the microphone, write the journal, answer.
    Listen(Listen),
    /// Go on listening to an exam that was stopped.
    Resume(Resume),
    /// Show the journal of an exam, or check that nothing in it was changed.
    Journal(JournalArgs),
    /// Find the saved stills and pair them with what was said.
    Pair(PairArgs),
    /// List what is missing, doubtful or lost.
    Check(CheckArgs),
    /// Compute what the numbers say: totals, percentages, scores, the other limb, the last exam.
    Measure(MeasureArgs),
    /// Type in a value that was read or measured; it counts before a spoken one.
    Enter(EnterArgs),
    /// Measure an outline on a still and add it to the exam.
    Trace(TraceArgs),
    /// Go through the exam in a browser on this machine: hear, see, settle what is open, put right.
    Review(super::review::ReviewArgs),
    /// Put exams into the archive, which keeps them over the years.
    File(super::archive::FileArgs),
    /// Show all exams of a horse, and what changed from one to the next.
    History(super::archive::HistoryArgs),
    /// Find exams by what was seen or measured in them.
    Find(super::archive::FindArgs),
    /// Look whether the archive is whole, or copy it.
    Archive(super::archive::KeepingArgs),
    /// Write the report: one HTML file that needs nothing else.
    Report(ReportArgs),
    /// Write the exam for other programs.
    Export(ExportArgs),
    /// Show what can be said, or write the card for the wall.
    Phrases(PhrasesArgs),
    /// Try the microphone with ten phrases, and write the settings of `listen`.
    Setup(super::setup::Setup),
    /// Let the neural ear learn your voice, if that helps.
    Enrol(super::enrol::Enrol),
    /// Compare the engines on a recording whose words are known.
    CompareEars(super::compare_ears::CompareEars),
    /// Tell what is there and what is missing, each with its remedy.
    Doctor(Doctor),
    /// Write the manual pages.
    Manual(ManualArgs),
    /// Print the completions for a shell.
    Completions(CompletionsArgs),
}

/// Where anatomy and zones come from.
#[derive(Debug, clap::Args)]
pub(crate) struct KnowledgeArgs {
    /// Folder of protocol files to use instead of the built-in ones.
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_PROTOCOLS")]
    pub(crate) protocols: Option<PathBuf>,
}

impl KnowledgeArgs {
    /// The protocols asked for, or the built-in ones.
    pub(crate) fn read(&self) -> anyhow::Result<Protocols> {
        Ok(match &self.protocols {
            Some(folder) => Protocols::read(folder)?,
            None => Protocols::built_in()?,
        })
    }
}

#[derive(Debug, clap::Args)]
pub(crate) struct LanguageArgs {
    /// Folder of grammar files to use instead of the built-in English ones.
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_GRAMMAR")]
    pub(crate) grammar: Option<PathBuf>,
    /// Zone scheme to use in place of a default one; may be given for each group of limbs.
    #[arg(long = "scheme", value_name = "SCHEME")]
    pub(crate) schemes: Vec<String>,
}

impl LanguageArgs {
    /// The grammar pack and the schemes asked for.
    pub(crate) fn read(&self, protocols: &Protocols) -> anyhow::Result<SpokenLanguage> {
        Ok(SpokenLanguage::read(self.grammar.as_deref(), protocols.choose(&self.schemes)?, protocols)?)
    }
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall hear scan.wav --into exams/juniper --horse Juniper\n  \
    arecord -f S16_LE -r 16000 | zonecall hear - --into exams/today\n\n\
    Exit codes: 0 heard, 1 nobody was heard in it, 2 an error, 130 stopped with Ctrl-C; what was heard is kept.")]
pub(crate) struct HearArgs {
    /// Recordings in the order they were made: WAV or FLAC, any rate; `-` is raw 16-bit mono at 16 kHz from a pipe.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// The exam folder to make; it must not hold an exam yet.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) into: PathBuf,
    #[command(flatten)]
    pub(crate) subject: SubjectArgs,
    /// When the recording began, such as 2026-05-04T10:00:00+02:00; else from the file.
    #[arg(long, value_name = "INSTANT", value_parser = instant)]
    pub(crate) started_at: Option<DateTime<FixedOffset>>,
    #[command(flatten)]
    pub(crate) ear: WhichEar,
    #[command(flatten)]
    pub(crate) language: LanguageArgs,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

fn instant(text: &str) -> Result<DateTime<FixedOffset>, String> {
    text.parse().map_err(|_| {
        "wanted are day, time and the place's lead on UTC, as in 2026-05-04T10:00:00+02:00".to_owned()
    })
}

/// Who is examined, and by whom.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct SubjectArgs {
    /// Name of the horse.
    #[arg(long, value_parser = not_blank)]
    pub(crate) horse: Option<String>,
    /// The practice's number for the horse.
    #[arg(long, value_parser = not_blank)]
    pub(crate) horse_id: Option<String>,
    /// Who speaks.
    #[arg(long, value_parser = not_blank)]
    pub(crate) person: Option<String>,
}

impl From<&SubjectArgs> for Subject {
    fn from(args: &SubjectArgs) -> Subject {
        let SubjectArgs { horse, horse_id, person } = args.clone();
        Subject { horse, horse_id, person }
    }
}

/// What listens.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct WhichEar {
    /// Which engine listens; without it the first whose parts are there for the language: `neural`, `vosk`, `sphinx`.
    #[arg(long, alias = "engine", value_enum)]
    pub(crate) ear: Option<Ear>,
    /// Folder of the neural ear's head: head.onnx, head.json, lexicon.dict; it may hold encoder and runtime, too.
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_EAR")]
    pub(crate) head: Option<PathBuf>,
    /// Folder of PocketSphinx' acoustic model.
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_MODEL")]
    pub(crate) model: Option<PathBuf>,
    /// Folder of a Vosk model that can take a grammar (it holds `graph/Gr.fst`).
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_VOSK_MODEL")]
    pub(crate) vosk_model: Option<PathBuf>,
    /// What the `scripted` engine says it heard: one utterance a line.
    #[arg(long, value_name = "FILE", required_if_eq("ear", "scripted"))]
    pub(crate) script: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Ear {
    /// Our own small neural network behind a speech encoder: holds in noise, asks rather than guesses.
    Neural,
    /// PocketSphinx: small, quiet rooms.
    Sphinx,
    /// A Vosk model, in any language that has one.
    Vosk,
    /// Plays back a file of recorded words; for tests.
    Scripted,
}

/// A choice, as the command line writes it.
pub(crate) fn written(choice: &impl ValueEnum) -> String {
    choice.to_possible_value().map(|value| value.get_name().to_owned()).unwrap_or_default()
}

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  zonecall journal exams/juniper\n  zonecall journal exams/juniper --verify\n\n\
    Exit codes: 0 whole, 1 a line was changed, lost or cut short, 2 an error."
)]
pub(crate) struct JournalArgs {
    /// The exam folder.
    #[arg(value_name = "FOLDER")]
    pub(crate) folder: PathBuf,
    /// Check that no line, no kept sound and no still was changed, instead of showing the lines.
    #[arg(long)]
    pub(crate) verify: bool,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  zonecall pair exams/juniper --frames /media/scanner\n\n\
    Exit codes: 0 each still has one label, 1 a label is missing, open or in doubt, or a file was left out, 2 an error.")]
pub(crate) struct PairArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// Folder of stills: DICOM, PNG, JPEG, BMP or TIFF, in any subfolders.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) frames: PathBuf,
}

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  zonecall check exams/juniper\n  zonecall check --explain view-missing\n\n\
    Exit codes: 0 nothing but notes, 1 something to look at, 2 an error."
)]
pub(crate) struct CheckArgs {
    /// The exam folder.
    #[arg(value_name = "FOLDER", required_unless_present = "explain")]
    pub(crate) folder: Option<PathBuf>,
    /// Tell what a rule looks for, why, and where it comes from; `all` for every rule.
    #[arg(long, value_name = "RULE")]
    pub(crate) explain: Option<String>,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

#[derive(Debug, clap::Args)]
pub(crate) struct FolderArgs {
    /// The exam folder.
    #[arg(value_name = "FOLDER")]
    pub(crate) folder: PathBuf,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

impl FolderArgs {
    /// The folder that was named.
    pub(crate) fn open(&self) -> ExamFolder {
        ExamFolder::at(&self.folder)
    }
}

/// What an exam is held against; nothing unless it is named.
#[derive(Debug, clap::Args)]
pub(crate) struct AgainstArgs {
    /// Folder of an earlier exam of the same horse; may be given several times.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) earlier: Vec<PathBuf>,
    /// Reference set: a built-in name, or a file as in `references/`.
    #[arg(long, value_name = "NAME")]
    pub(crate) reference: Option<String>,
    /// When a limb was injured, such as LF=2026-04-04; may be given for several limbs.
    #[arg(long, value_name = "LIMB=DAY", value_parser = injury)]
    pub(crate) injured: Vec<(String, NaiveDate)>,
}

fn injury(text: &str) -> Result<(String, NaiveDate), String> {
    let parts = text.split_once('=').and_then(|(limb, day)| Some((limb.to_owned(), day.parse().ok()?)));
    parts.ok_or_else(|| "wanted is the code of a limb, `=` and a day, as in CODE=2026-04-04".to_owned())
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall measure exams/juniper\n  \
    zonecall measure exams/juniper-may --earlier exams/juniper-march --injured LF=2026-03-01 --as json\n\n\
    Exit codes: 0 computed, 1 a threshold was passed, 2 an error.")]
pub(crate) struct MeasureArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    #[command(flatten)]
    pub(crate) against: AgainstArgs,
    /// Which form.
    #[arg(long = "as", value_enum, default_value_t = MeasureForm::Text)]
    pub(crate) form: MeasureForm,
    /// Where to write it, in a folder that is there; else standard output.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum MeasureForm {
    /// Tables for people.
    Text,
    /// For programs; `schema/measures.schema.json` describes it.
    Json,
}

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  zonecall enter exams/juniper --limb LF --zone 2B --structure SDFT --term area \
    --number 148 --unit mm2 --by Ada\n\n\
    Exit codes: 0 written, 2 an error, and nothing was written."
)]
pub(crate) struct EnterArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// Limb.
    #[arg(long, value_name = "CODE", required_unless_present = "withdraw")]
    pub(crate) limb: Option<String>,
    /// Zone in the scheme of the exam.
    #[arg(long, value_name = "CODE", required_unless_present = "withdraw")]
    pub(crate) zone: Option<String>,
    /// Structure.
    #[arg(long, value_name = "CODE", required_unless_present = "withdraw")]
    pub(crate) structure: Option<String>,
    /// What was measured or scored, as `protocols/values.toml` names it.
    #[arg(long, value_name = "TERM", required_unless_present = "withdraw")]
    pub(crate) term: Option<String>,
    /// How much.
    #[arg(long, required_unless_present = "withdraw")]
    pub(crate) number: Option<f64>,
    /// Unit; none for scores.
    #[arg(long)]
    pub(crate) unit: Option<String>,
    /// Write it although it lies outside the usual bounds of its term.
    #[arg(long)]
    pub(crate) unusual: bool,
    /// Take a typed or traced value back instead: its line in the journal. It stays there and does not count.
    #[arg(long, value_name = "LINE", conflicts_with_all = ["limb", "zone", "structure", "term", "number", "unit"])]
    pub(crate) withdraw: Option<u64>,
    /// Who enters it.
    #[arg(long, value_name = "PERSON", value_parser = not_blank)]
    pub(crate) by: String,
}

/// A name that says something.
pub(crate) fn not_blank(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("it is blank; give a name or initials".to_owned()),
        name if !is_plain(name) => {
            Err("it holds signs that cannot be seen; type it in plain text".to_owned())
        }
        name => Ok(name.to_owned()),
    }
}

#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("outline").required(true).args(["points", "ellipse", "click"]))]
#[command(
    after_help = "Examples:\n  zonecall trace exams/juniper --still IM0007.dcm --structure SDFT --by Ada --click 160,120\n  \
    zonecall trace exams/juniper --still IM0007.dcm --structure SDFT --lesion --by Ada --ellipse 160,120,40,18,0"
)]
pub(crate) struct TraceArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// The still: its file name or its id.
    #[arg(long, value_name = "STILL")]
    pub(crate) still: String,
    /// Who traces.
    #[arg(long, value_name = "PERSON", value_parser = not_blank)]
    pub(crate) by: String,
    /// Corners in pixels from the upper left corner, such as "100,80 140,82 130,120".
    #[arg(long, value_name = "X,Y ...")]
    pub(crate) points: Option<String>,
    /// An ellipse: middle, half axes, and degrees that the first one is turned clockwise.
    #[arg(long, value_name = "X,Y,A,B,DEG")]
    pub(crate) ellipse: Option<String>,
    /// A point inside the structure: an outline is suggested, and written only with --confirm. Not for a lesion: its
    /// edge is too faint to be found from a point.
    #[arg(long, value_name = "X,Y", conflicts_with = "lesion")]
    pub(crate) click: Option<String>,
    /// Write the suggested outline; say so only after looking at it on the still.
    #[arg(long, requires = "click")]
    pub(crate) confirm: bool,
    /// The outline is that of the lesion, not of the whole structure.
    #[arg(long)]
    pub(crate) lesion: bool,
    /// Structure, where the still's label names none or another.
    #[arg(long, value_name = "CODE")]
    pub(crate) structure: Option<String>,
    /// Limb, where the still's label names none or another.
    #[arg(long, value_name = "CODE")]
    pub(crate) limb: Option<String>,
    /// Zone, where the still's label names none or another.
    #[arg(long, value_name = "CODE")]
    pub(crate) zone: Option<String>,
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall report exams/juniper\n  \
    zonecall report exams/juniper --format pdf --paper letter\n  zonecall report exams/juniper --for owner --format pdf\n\n\
    Exit codes: 0 written, 2 an error.")]
pub(crate) struct ReportArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    #[command(flatten)]
    pub(crate) against: AgainstArgs,
    /// Who reads it.
    #[arg(long = "for", value_enum, default_value_t = ReportReader::Vet)]
    pub(crate) reader: ReportReader,
    /// A page for a browser, or one to be printed and sent.
    #[arg(long, value_enum, default_value_t = ReportForm::Html)]
    pub(crate) format: ReportForm,
    /// Size of a printed sheet.
    #[arg(long, value_enum, default_value_t = PaperSize::A4)]
    pub(crate) paper: PaperSize,
    /// Where to write it, in a folder that is there; else in `out/` of the exam folder, as `report.html` or `report.pdf`, with `-owner` for the owner.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ReportReader {
    /// A vet: all numbers, each with where it came from.
    Vet,
    /// The owner of the horse: plain words.
    Owner,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ReportForm {
    /// One HTML file that holds everything.
    Html,
    /// A PDF with every font embedded.
    Pdf,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum PaperSize {
    /// 210 by 297 mm.
    A4,
    /// 8.5 by 11 inches.
    Letter,
}

#[derive(Debug, clap::Args)]
pub(crate) struct ExportArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// Which form.
    #[arg(long = "as", value_enum)]
    pub(crate) form: ExportFormat,
    /// Where to write it, in a folder that is there; else standard output.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ExportFormat {
    /// The whole record; `schema/record.schema.json` describes it.
    Json,
    /// A table of stills and calls.
    Csv,
    /// What was heard, as captions for the kept audio (WebVTT).
    Vtt,
}

#[derive(Debug, clap::Args)]
pub(crate) struct PhrasesArgs {
    /// Write the card as one page to be printed, instead of text.
    #[arg(long, value_name = "FILE")]
    pub(crate) html: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) language: LanguageArgs,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

#[derive(Debug, clap::Args)]
pub(crate) struct ManualArgs {
    /// Folder to write the pages into.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) into: PathBuf,
}

#[derive(Debug, clap::Args)]
pub(crate) struct CompletionsArgs {
    /// Which shell.
    pub(crate) shell: clap_complete::Shell,
}
