//! The options that several commands share.
//!
//! Takes: the program's arguments.
//! Gives: `FolderArgs`, `KnowledgeArgs`, `LanguageArgs`, `WhichEar`, `DraftAgain` and `AgainstArgs`.
//! Never: an option of one command only; those are next to their command.
//! Tested in: `tests/it/cli.rs`, `tests/it/demo.rs`.

use std::path::PathBuf;

use chrono::NaiveDate;
use clap::ValueEnum;

use super::own_words::OwnWordsArg;
use crate::exam::fold::Exam;
use crate::exam_folder::ExamFolder;
use crate::protocol::Protocols;
use crate::session::spoken::SpokenLanguage;
use crate::signing::people::{People, settings_folder};
use crate::speech::dictionary::{DICTIONARY, default_model_dir};
use crate::terminal::is_plain;

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

/// Whether a signed record may become a draft again.
#[derive(Debug, clap::Args)]
pub(crate) struct DraftAgain {
    /// Change a signed record anyway: it becomes a draft, and a vet has to sign it again.
    #[arg(long)]
    pub(crate) draft_again: bool,
}

impl DraftAgain {
    /// Refuses to write into a signed record, unless that was asked for.
    pub(crate) fn may_change(&self, exam: &Exam) -> anyhow::Result<()> {
        match exam.signed.as_ref().filter(|_| exam.is_signed && !self.draft_again) {
            Some(logged) => anyhow::bail!(
                "this record is signed by {}, and a change makes it a draft again; nothing was written; to change \
                 it, add --draft-again and have it signed again",
                logged.signed.by
            ),
            None => Ok(()),
        }
    }
}

/// What an exam is compared with; nothing unless it is named.
#[derive(Debug, Default, clap::Args)]
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
    #[command(flatten)]
    pub(crate) own_words: OwnWordsArg,
    /// Zone scheme to use instead of the default; give it once for each group of limbs.
    #[arg(long = "scheme", value_name = "SCHEME")]
    pub(crate) schemes: Vec<String>,
}

impl LanguageArgs {
    /// The grammar pack and the schemes asked for.
    pub(crate) fn read(&self, protocols: &Protocols) -> anyhow::Result<SpokenLanguage> {
        let spoken =
            SpokenLanguage::read(self.grammar.as_deref(), protocols.choose(&self.schemes)?, protocols)?;
        self.own_words.added_to(spoken, self.grammar.as_deref(), protocols)
    }
}

/// Whether something is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Switch {
    /// Turn it on.
    On,
    /// Turn it off.
    Off,
}

/// What listens.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct WhichEar {
    /// Which ear listens; without it, `neural`, or `vosk` where the neural ear is not installed. `sphinx` is used only if you ask for it.
    #[arg(long, alias = "engine", value_enum)]
    pub(crate) ear: Option<EarChoice>,
    /// Folder of the neural ear's head: ear.onnx (or head.onnx and an encoder), head.json, lexicon.dict, and optionally
    /// the runtime.
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

impl WhichEar {
    /// The dictionary that says how a call word sounds.
    pub(super) fn dictionary(&self) -> PathBuf {
        self.model.clone().unwrap_or_else(default_model_dir).join(DICTIONARY)
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum EarChoice {
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

/// A name that says something, and is on the practice's list of people where there is one: a misspelled name would be one more
/// person.
pub(crate) fn listed_name(text: &str) -> Result<String, String> {
    let name = not_blank(text)?;
    // Without a folder of settings there is no list.
    let Ok(folder) = settings_folder() else { return Ok(name) };
    let people = People::read(&folder).map_err(|error| error.to_string())?;
    if people.all().is_empty() {
        return Ok(name);
    }
    people.find(&name).map(|person| person.name.clone()).map_err(|error| error.to_string())
}

/// How the key of a switch works.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum SwitchWay {
    /// On while it is held.
    Hold,
    /// Press for on, press again for off.
    Toggle,
}
