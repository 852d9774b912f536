//! The exam for other systems, made when somebody asks for it on the page.
//!
//! Takes: a form, and whose name goes onto it.
//! Gives: what `zonecall export` makes, in `out/` of the exam folder, and what it said.
//! Never: knows what is in a form: the program itself is asked for it, as on the command line.
//! Tested in: `tests/it/exchange/desk.rs`.

use std::ffi::OsString;
use std::path::PathBuf;
use std::process::{Command, ExitStatus, Stdio};

use serde::{Deserialize, Serialize};

use crate::exam::call::Problem;
use crate::review::desk::Desk;
use crate::review::refusal::{Refusal, wrong};
use crate::review::running_tasks::TaskKind;
use crate::terminal::ShownText as _;

/// The program that exports, and the options it always gets.
#[derive(Debug, Clone)]
pub struct ExportProgram {
    /// Its file.
    pub program: PathBuf,
    /// Where anatomy and zones come from, as the desk itself was given them.
    pub more: Vec<OsString>,
    /// The names of the peers that it sends to, as they are set now; else what is wrong with their list.
    pub peers: fn() -> Result<Vec<String>, String>,
}

/// What is wanted.
#[derive(Debug, Deserialize)]
pub(super) struct ExportRequest {
    form: ExportForm,
    #[serde(default)]
    identity: NameChoice,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
enum ExportForm {
    Dicom,
    Labelled,
    Teaching,
    Fhir,
    Json,
    Csv,
    Vtt,
    Audio,
}

/// Whose name goes onto it.
#[derive(Debug, Default, Clone, Copy, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum NameChoice {
    #[default]
    Agreed,
    Stills,
    Exam,
}

impl ExportForm {
    /// Its name on the command line, and the file that it is where it is one.
    const fn words(self) -> (&'static str, Option<&'static str>) {
        match self {
            ExportForm::Dicom => ("dicom", None),
            ExportForm::Labelled => ("labelled", None),
            ExportForm::Teaching => ("teaching", None),
            ExportForm::Audio => ("audio", None),
            ExportForm::Fhir => ("fhir", Some("bundle.json")),
            ExportForm::Json => ("json", Some("record.json")),
            ExportForm::Csv => ("csv", Some("table.csv")),
            ExportForm::Vtt => ("vtt", Some("captions.vtt")),
        }
    }
}

impl NameChoice {
    const fn word(self) -> &'static str {
        match self {
            NameChoice::Agreed => "agreed",
            NameChoice::Stills => "stills",
            NameChoice::Exam => "exam",
        }
    }
}

/// What was made.
#[derive(Debug, Serialize)]
pub(super) struct Exported {
    /// Where it lies, and what a person should look at, a line each.
    said: String,
}

/// Exports the exam as it is now.
pub(super) fn export(
    desk: &Desk,
    program: Option<&ExportProgram>,
    wanted: &ExportRequest,
) -> Result<Exported, Refusal> {
    let program = there(program)?;
    let _task = desk.running.begin(TaskKind::Export, "writing the files");
    let (form, file) = wanted.form.words();
    let out = desk.folder.out()?;
    let has_name = matches!(wanted.form, ExportForm::Dicom | ExportForm::Fhir);
    let mut command = command(program, desk, form, has_name.then_some(wanted.identity));
    let file = file.map(|file| out.join(file));
    if let Some(file) = &file {
        command.arg("--out").arg(file);
    }
    let done = command.output().or_else(|error| does_not_start(&error))?;
    let (printed, warned) = (text(&done.stdout), text(&done.stderr));
    if !is_done(done.status) {
        return failed(&warned, "nothing was exported");
    }
    let written = file.map(|file| format!("written: {}", file.shown()));
    let lines: Vec<String> = [Some(printed), written, Some(warned)]
        .into_iter()
        .flatten()
        .filter(|line| !line.is_empty())
        .collect();
    Ok(Exported { said: lines.join("\n") })
}

/// The program as it is called for this form; `name` only for one that has a name on it.
pub(super) fn command(program: &ExportProgram, desk: &Desk, form: &str, name: Option<NameChoice>) -> Command {
    let mut command = Command::new(&program.program);
    command.arg("export").arg(desk.folder.path()).args(["--as", form]).args(&program.more);
    command.args(name.iter().flat_map(|name| ["--identity", name.word()])).stdin(Stdio::null());
    command
}

/// The program, where the desk was started with one.
pub(super) fn there(program: Option<&ExportProgram>) -> Result<&ExportProgram, Refusal> {
    let Some(program) = program else {
        return wrong("this desk was started without a program that exports", "use `zonecall export`");
    };
    Ok(program)
}

pub(super) fn does_not_start<T>(error: &std::io::Error) -> Result<T, Refusal> {
    wrong(format!("the exporting program does not start: {error}"), "use `zonecall export`")
}

/// Whether it did what it was asked for, be it with something to look at.
pub(super) fn is_done(status: ExitStatus) -> bool {
    matches!(status.code(), Some(0 | 1))
}

/// What it said as it stopped, as a refusal.
pub(super) fn failed<T>(warned: &str, help: &str) -> Result<T, Refusal> {
    let message = warned.strip_prefix("zonecall: ").unwrap_or(warned).to_owned();
    Err(Refusal::Wrong(Problem { message, help: help.to_owned() }))
}

pub(super) fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).trim().to_owned()
}
