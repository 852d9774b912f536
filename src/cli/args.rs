//! The command line: its words are the manual.
//!
//! Takes: the program's arguments.
//! Gives: `Args`; the manual pages and shell completions are made from it, too.
//! Never: does anything.
//! Tested in: `tests/it/demo.rs`.

use std::path::PathBuf;

pub(crate) use super::by_hand_args::{EnterArgs, TraceArgs};
use super::doctor::Doctor;
use super::groups;
use super::listen::{Listen, Resume};
use chrono::{DateTime, FixedOffset, NaiveDate};
use clap::{Parser, Subcommand, ValueEnum};

use crate::exam::review::is_plain;
use crate::exam_folder::ExamFolder;
use crate::knowledge::cautions::CAUTIONS;
use crate::protocol::Protocols;
use crate::session::options::Subject;
use crate::session::spoken::SpokenLanguage;

/// You call the zone, it keeps the record: a journal of a spoken tendon scan, and the saved stills labelled with it.
///
/// At the horse `listen` writes the journal of an exam; afterwards `pair` labels the saved stills with what was said,
/// `review` lets you check and correct, and `report` writes the report. No microphone? `hear` takes a recording.
#[derive(Debug, Parser)]
#[command(version, help_template = groups::TEMPLATE, before_help = groups::grouped(), after_help = CAUTIONS)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub(crate) task: Task,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Task {
    /// Hear a recorded exam and write its journal.
    ///
    /// Makes the same exam folder as `listen`. Nobody can answer questions in a recording, so a phrase of which the ear
    /// is unsure changes nothing: it is kept with its likeliest readings for you to listen to. Next: `pair`.
    Hear(HearArgs),
    /// Listen to the microphone, write the journal, answer questions.
    ///
    /// Say where you are, then what you see, then "save" as you press the scanner's button. Say "end of exam" or press
    /// Ctrl-C to close the journal. `phrases` lists what you can say; `setup` tests the microphone. Next: `pair`.
    Listen(Listen),
    /// Go on with an exam that was stopped.
    ///
    /// For an exam that a power cut or a crash interrupted: the new sound and the new lines are appended, and the gap is
    /// recorded.
    Resume(Resume),
    /// Show the journal, or verify that nothing in it was changed.
    ///
    /// Each line is one event, and each holds the hash of the line before. With `--verify` the hash of the last line is
    /// printed: note it elsewhere, for lines cut off at the end leave no other trace.
    Journal(JournalArgs),
    /// Label the saved stills with what was said.
    ///
    /// Estimates how far the scanner's clock is off and labels each still with the limb, zone, plane and structure called
    /// when it was saved. A still that fits two labels gets neither. Run it again with the new folder if stills have
    /// moved; no still is added twice. Next: `check` or `review`.
    Pair(PairArgs),
    /// List what is missing, doubtful or lost.
    ///
    /// Errors first, then warnings, then notes. `--explain RULE` says what a rule looks for and why. Next: `review`.
    Check(CheckArgs),
    /// Compute totals, percentages, scores, and compare them.
    ///
    /// Compares with the other limb always, and with an earlier exam or a reference set if you name one. What cannot be
    /// computed gives the reason. Cut-offs are in `protocols/measures.toml`, with their sources.
    Measure(MeasureArgs),
    /// Enter a value by hand; it takes the place of a spoken one.
    ///
    /// Both stay in the journal, with who entered the value. `--withdraw LINE` takes an entered value back.
    Enter(EnterArgs),
    /// Measure an outline on a still.
    ///
    /// Gives area, size and grey of an outline and adds them to the exam. The review desk does the same with the mouse.
    Trace(TraceArgs),
    /// Check, correct, measure and sign an exam in a browser.
    ///
    /// Opens the review desk on this machine: listen to a call, see its still, answer the open questions, trace and sign.
    /// Press `?` there for the keys. Next: `report`.
    Review(super::review::ReviewArgs),
    /// Add exams to the archive.
    File(super::archive::FileArgs),
    /// Show every exam of a horse and what changed between them.
    History(super::archive::HistoryArgs),
    /// Find exams by what was seen or measured.
    Find(super::archive::FindArgs),
    /// Verify the archive, or copy it.
    Archive(super::archive::KeepingArgs),
    /// Write the report for the vet or the owner, as HTML or PDF.
    ///
    /// The vet's report has every number with where it comes from; the owner's says in plain words what was seen. Both
    /// say draft until a vet has signed at the review desk.
    Report(ReportArgs),
    /// Write the exam for other programs.
    Export(super::exchange::ExportArgs),
    /// Receive stills from a scanner over the network.
    Receive(super::network::ReceiveArgs),
    /// Send stills and exports to an archive, or ask whether it answers.
    Send(super::network::SendArgs),
    /// List what you can say, or make the phrase card for the wall.
    ///
    /// The list comes from the grammar, so it is complete.
    Phrases(PhrasesArgs),
    /// Test the microphone with ten phrases and save the settings.
    ///
    /// Measures noise, level, clipping and echo where you will scan, asks you to say ten phrases, gives a verdict and
    /// writes `zonecall.toml`. The sound is not kept.
    Setup(super::setup::Setup),
    /// Adapt the neural ear to your voice, if that helps.
    ///
    /// You read 24 phrases to learn from and 16 to judge by. The adapted model is kept only if accuracy rises and no new
    /// error appears. The sound is not kept.
    Enrol(super::enrol::Enrol),
    /// Compare the ears on a recording whose words you know.
    CompareEars(super::compare_ears::CompareEars),
    /// Say what is missing on this machine and how to fix it.
    ///
    /// Tries every part: protocols, grammar, ears, microphone, loudspeaker, voice, switch, disk and clock. Exit codes: 0
    /// ready, 1 something is missing, 2 an error.
    Doctor(Doctor),
    /// Write the manual pages.
    Manual(ManualArgs),
    /// Print completions for your shell.
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
    /// Zone scheme to use instead of the default; give it once for each group of limbs.
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
    Exit codes: 0 heard, 1 no speech was found, 2 an error, 130 stopped with Ctrl-C; what was heard is kept.")]
pub(crate) struct HearArgs {
    /// Recordings in the order they were made: WAV or FLAC at any rate, or `-` for raw 16-bit mono at 16 kHz from a pipe.
    #[arg(required = true, value_name = "FILE")]
    pub(crate) files: Vec<PathBuf>,
    /// The exam folder to create; it must not hold an exam yet.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) into: PathBuf,
    #[command(flatten)]
    pub(crate) subject: SubjectArgs,
    /// When the recording began, such as 2026-05-04T10:00:00+02:00; without it, the file says or its date is used.
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
    text.parse().map_err(|_| "give day, time and offset from UTC, as in 2026-05-04T10:00:00+02:00".to_owned())
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
    /// Which ear listens; without it, the first that is installed for the language: `neural`, `vosk`, `sphinx`.
    #[arg(long, alias = "engine", value_enum)]
    pub(crate) ear: Option<Ear>,
    /// Folder of the neural ear's head: head.onnx, head.json, lexicon.dict, and optionally encoder and runtime.
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_EAR")]
    pub(crate) head: Option<PathBuf>,
    /// Folder of PocketSphinx's acoustic model.
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_MODEL")]
    pub(crate) model: Option<PathBuf>,
    /// Folder of a Vosk model that can take a grammar (it holds `graph/Gr.fst`).
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_VOSK_MODEL")]
    pub(crate) vosk_model: Option<PathBuf>,
    /// What the `scripted` ear hears: one utterance per line.
    #[arg(long, value_name = "FILE", required_if_eq("ear", "scripted"))]
    pub(crate) script: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Ear {
    /// Our own small network on a speech encoder: works in noise, asks when it is unsure.
    Neural,
    /// PocketSphinx: for quiet rooms only; check every call.
    Sphinx,
    /// A Vosk model, in any language that has one.
    Vosk,
    /// Plays back a file of words, for tests.
    Scripted,
}

/// A choice, as the command line writes it.
pub(crate) fn written(choice: &impl ValueEnum) -> String {
    choice.to_possible_value().map(|value| value.get_name().to_owned()).unwrap_or_default()
}

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  zonecall journal exams/juniper\n  zonecall journal exams/juniper --verify\n\n\
    Exit codes: 0 intact, 1 a line was changed, lost or cut short, 2 an error."
)]
pub(crate) struct JournalArgs {
    /// The exam folder.
    #[arg(value_name = "FOLDER")]
    pub(crate) folder: PathBuf,
    /// Verify lines, signature, kept sound and stills instead of showing the lines.
    #[arg(long)]
    pub(crate) verify: bool,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  zonecall pair exams/juniper --frames /media/scanner\n\n\
    Exit codes: 0 each still has one label, 1 a label is missing or in doubt, or a file was left out, 2 an error.")]
pub(crate) struct PairArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// Folder of stills: DICOM, PNG, JPEG, BMP or TIFF, in any subfolder.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) frames: PathBuf,
    /// Take the stills of this patient, too, by name or number as the files give it: you have checked that it is this
    /// exam's horse.
    #[arg(long, value_name = "PATIENT", requires = "by")]
    pub(crate) same_horse: Vec<String>,
    /// Who has checked it; kept in the journal.
    #[arg(long, value_name = "NAME", value_parser = not_blank)]
    pub(crate) by: Option<String>,
}

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  zonecall check exams/juniper\n  zonecall check --explain view-missing\n\n\
    Exit codes: 0 at most notes, 1 something to look at, 2 an error."
)]
pub(crate) struct CheckArgs {
    /// The exam folder.
    #[arg(value_name = "FOLDER", required_unless_present = "explain")]
    pub(crate) folder: Option<PathBuf>,
    /// Explain a rule: what it looks for, why, and its source; `all` explains every rule.
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

/// What an exam is compared with; nothing unless it is named.
#[derive(Debug, clap::Args)]
pub(crate) struct AgainstArgs {
    /// Folder of an earlier exam of the same horse; can be given several times.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) earlier: Vec<PathBuf>,
    /// Reference set: a built-in name, or a file as in `references/`.
    #[arg(long, value_name = "NAME")]
    pub(crate) reference: Option<String>,
    /// When a limb was injured, such as LF=2026-04-04; can be given for several limbs.
    #[arg(long, value_name = "LIMB=DAY", value_parser = injury)]
    pub(crate) injured: Vec<(String, NaiveDate)>,
}

fn injury(text: &str) -> Result<(String, NaiveDate), String> {
    let parts = text.split_once('=').and_then(|(limb, day)| Some((limb.to_owned(), day.parse().ok()?)));
    parts.ok_or_else(|| "give the code of a limb, `=` and a date, as in CODE=2026-04-04".to_owned())
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall measure exams/juniper\n  \
    zonecall measure exams/juniper-may --earlier exams/juniper-march --injured LF=2026-03-01 --as json\n\n\
    Exit codes: 0 computed, 1 a cut-off was exceeded, 2 an error.")]
pub(crate) struct MeasureArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    #[command(flatten)]
    pub(crate) against: AgainstArgs,
    /// Which form.
    #[arg(long = "as", value_enum, default_value_t = MeasureForm::Text)]
    pub(crate) form: MeasureForm,
    /// The file to write, in an existing folder; without it, standard output.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum MeasureForm {
    /// Tables for people.
    Text,
    /// For programs; described by `schema/measures.schema.json`.
    Json,
}

/// A name that says something.
pub(crate) fn not_blank(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("the name is blank; give a name or initials".to_owned()),
        name if !is_plain(name) => {
            Err("the name holds invisible characters; type it as plain text".to_owned())
        }
        name => Ok(name.to_owned()),
    }
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
    /// A page for a browser, or a document to print and send.
    #[arg(long, value_enum, default_value_t = ReportForm::Html)]
    pub(crate) format: ReportForm,
    /// Paper size of a PDF.
    #[arg(long, value_enum, default_value_t = PaperSize::A4)]
    pub(crate) paper: PaperSize,
    /// The file to write, in an existing folder; without it, `report.html` or `report.pdf` in `out/` of the exam folder, with `-owner` for the owner.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ReportReader {
    /// The vet: every number with where it comes from.
    Vet,
    /// The owner: plain words, no codes, no scores.
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
pub(crate) struct PhrasesArgs {
    /// Write the card as one printable page instead of text.
    #[arg(long, value_name = "FILE")]
    pub(crate) html: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) language: LanguageArgs,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

#[derive(Debug, clap::Args)]
pub(crate) struct ManualArgs {
    /// The folder for the pages.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) into: PathBuf,
}

#[derive(Debug, clap::Args)]
pub(crate) struct CompletionsArgs {
    /// Which shell.
    pub(crate) shell: clap_complete::Shell,
}
