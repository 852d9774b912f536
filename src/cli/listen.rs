//! `zonecall listen` and `resume`: the microphone becomes an exam folder, as it is spoken.
//!
//! Takes: a microphone, and the options of `Listen` or `Resume`.
//! Gives: the same folder that `hear` makes; lines on the terminal.
//! Never: ends without closing the journal, whatever signal or fault ends it.
//! Tested in: `tests/sound/listen.rs`.

use std::io::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::Context as _;

use super::args::{KnowledgeArgs, LanguageArgs, SubjectArgs, WhichEar};
use super::ear;
use super::exam_folder::{self, SpokenLanguage};
use super::exams;
use super::live::{Live, Tools, manner};
use super::microphone::{Microphone, Opened, open};
use super::screen::Display;
use super::session::{self, Began, Ear, Session, must_be_new};
use super::settings::Settings;
use super::switch::{SwitchArgs, SwitchChoice, TalkSwitch};
use crate::exam::journal::{JOURNAL_FILE, JournalError};
use crate::speech::sphinx::{DICTIONARY, default_model_dir};

/// What most scanners need to export a still, in seconds; our own guess.
const EXPORT_DELAY_S: f64 = 2.0;

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall listen --into exams/juniper --horse Juniper\n  \
    zonecall listen --into exams/juniper --device hw:CARD=Headset\n  \
    zonecall listen --exams exams")]
pub(crate) struct Listen {
    /// The exam folder to make; it must not hold an exam yet.
    #[arg(long, value_name = "FOLDER", required_unless_present = "exams")]
    pub(crate) into: Option<PathBuf>,
    /// Wait for the words "start of exam", and make a new exam folder inside this one for each exam, named by its
    /// start; go on waiting after "end of exam". What is said between exams is not kept, and no words are shown.
    #[arg(long, value_name = "FOLDER", conflicts_with_all = ["into", "horse", "horse_id"])]
    pub(crate) exams: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) subject: SubjectArgs,
    #[command(flatten)]
    pub(crate) live: LiveArgs,
    #[command(flatten)]
    pub(crate) language: LanguageArgs,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  zonecall resume exams/juniper\n\n\
    Exit codes: 0 ended by word or with Ctrl-C, 2 an error; what was heard is kept.")]
pub(crate) struct Resume {
    /// The exam folder.
    #[arg(value_name = "FOLDER")]
    pub(crate) folder: PathBuf,
    /// Folder of grammar files to use instead of the built-in English ones.
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_GRAMMAR")]
    pub(crate) grammar: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) live: LiveArgs,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

/// How to listen, for a new exam and for one that goes on; what is not given here is taken from the settings.
#[derive(Debug, clap::Args)]
pub(crate) struct LiveArgs {
    /// The microphone, or a part of its name; else the default one.
    #[arg(long, value_name = "NAME", env = "ZONECALL_DEVICE")]
    pub(crate) device: Option<String>,
    /// Plain lines on the terminal instead of the screen.
    #[arg(long)]
    pub(crate) lines: bool,
    /// Tones that tell what became of each utterance; else on.
    #[arg(long, value_enum)]
    pub(crate) tones: Option<Switch>,
    /// A voice that asks back, answers questions and warns; it needs the program espeak-ng; else on.
    #[arg(long, value_enum)]
    pub(crate) voice: Option<Switch>,
    /// Only phrases that begin with this word count; else all do. The neural ear knows the words of the language only:
    /// `exam` is one that begins no phrase.
    #[arg(long, value_name = "WORD")]
    pub(crate) call_word: Option<String>,
    /// The folder into which the scanner exports its stills: each is written down as it arrives, and a view that is
    /// left without one is told at once. Without it the spoken saves tell.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) watch: Option<PathBuf>,
    /// Seconds that the scanner takes from saving a still to its file in that folder; else 2.
    #[arg(long, value_name = "SECONDS", value_parser = delay)]
    pub(crate) export_delay: Option<f64>,
    #[command(flatten)]
    pub(crate) switch: SwitchArgs,
    #[command(flatten)]
    pub(crate) ear: WhichEar,
}

/// The options, with the settings where none was given.
pub(super) struct ListenOptions {
    pub(super) device: Option<String>,
    pub(super) show: Display,
    pub(super) tones: bool,
    pub(super) voice: bool,
    pub(super) call_word: Option<String>,
    pub(super) watch: Option<PathBuf>,
    pub(super) export_delay_s: f64,
    pub(super) switch: Option<SwitchChoice>,
    pub(super) ear: WhichEar,
    pub(super) language: String,
}

impl LiveArgs {
    fn with(&self, settings: &Settings, language: &str) -> anyhow::Result<ListenOptions> {
        let is_on = |given: Option<Switch>, set: Option<bool>| {
            given.map_or(set.unwrap_or(true), |way| way == Switch::On)
        };
        Ok(ListenOptions {
            device: self.device.clone().or_else(|| settings.device.clone()),
            show: if self.lines || settings.lines.unwrap_or(false) {
                Display::Lines
            } else {
                Display::Screen
            },
            tones: is_on(self.tones, settings.tones),
            voice: is_on(self.voice, settings.voice),
            call_word: self.call_word.clone().or_else(|| settings.call_word.clone()),
            watch: self.watch.clone().or_else(|| settings.watch.clone()),
            export_delay_s: self.export_delay.or(settings.export_delay_s).unwrap_or(EXPORT_DELAY_S),
            switch: self.switch.with(settings)?,
            ear: WhichEar { ear: self.ear.ear.or(settings.ear), ..self.ear.clone() },
            language: language.to_owned(),
        })
    }
}

fn delay(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(seconds) if (0.0..=600.0).contains(&seconds) => Ok(seconds),
        _ => Err("wanted is a number of seconds from 0 to 600".to_owned()),
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Switch {
    /// Let it be heard.
    On,
    /// Be silent.
    Off,
}

pub(crate) fn listen(args: &Listen) -> anyhow::Result<ExitCode> {
    if let Some(into) = &args.into {
        must_be_new(into)?;
    }
    let protocols = exam_folder::protocols(&args.knowledge)?;
    let settings = Settings::read()?;
    let spoken = exam_folder::language(&args.language, &protocols)?;
    let ways = args.live.with(&settings, &spoken.pack.language)?;
    let spoken = called(spoken, &ways);
    let person = args.subject.person.clone().or(settings.person);
    let engine =
        ear::choose(&ways.ear, &spoken.pack.language, &spoken.language, &protocols, person.as_deref())?;
    let ear = Ear { engine, language: spoken.language.clone(), protocols };
    let subject = SubjectArgs { person, ..args.subject.clone() };
    let stop = stop_switch()?;
    let Some(into) = &args.into else {
        let folder = args.exams.clone().unwrap_or_default();
        return exams::wait(&folder, &subject, &spoken, ear, ways, &stop);
    };
    let switch = TalkSwitch::of(&ways)?;
    let opened = open(ways.device.as_deref())?;
    let header = session::header(&subject, &ear, &spoken, Began::live(opened.began_at));
    let session = Session::begin(into, header, ear)?;
    run(session, opened, switch, &ways, stop)
}

pub(crate) fn resume(args: &Resume) -> anyhow::Result<ExitCode> {
    let path = args.folder.join(JOURNAL_FILE);
    if !path.exists() {
        return Err(JournalError::Missing { path }.into());
    }
    let protocols = exam_folder::protocols(&args.knowledge)?;
    let header = exam_folder::exam(&args.folder, &protocols)?.header;
    let person = header.person.clone();
    let spoken = exam_folder::language_with(args.grammar.as_deref(), header.schemes, &protocols)?;
    let ways = args.live.with(&Settings::read()?, &spoken.pack.language)?;
    let spoken = called(spoken, &ways);
    let engine =
        ear::choose(&ways.ear, &spoken.pack.language, &spoken.language, &protocols, person.as_deref())?;
    let ear = Ear { engine, language: spoken.language, protocols };
    let stop = stop_switch()?;
    let switch = TalkSwitch::of(&ways)?;
    let opened = open(ways.device.as_deref())?;
    let session = Session::resume(&args.folder, ear, &spoken.pack.sha256, opened.began_at)?;
    run(session, opened, switch, &ways, stop)
}

/// Set by Ctrl-C, by a stop from the system, and when the terminal is closed.
fn stop_switch() -> anyhow::Result<Arc<AtomicBool>> {
    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    ctrlc::set_handler(move || asked.store(true, Ordering::Relaxed)).context("cannot listen for Ctrl-C")?;
    Ok(stop)
}

/// The language, with the call word where there is one.
fn called(spoken: SpokenLanguage, ways: &ListenOptions) -> SpokenLanguage {
    let Some(call) = &ways.call_word else { return spoken };
    let model = ways.ear.model.clone().unwrap_or_else(default_model_dir);
    spoken.called_by(call, &model.join(DICTIONARY))
}

fn run(
    mut session: Session,
    opened: Opened,
    switch: Option<TalkSwitch>,
    ways: &ListenOptions,
    stop: Arc<AtomicBool>,
) -> anyhow::Result<ExitCode> {
    session.open_audio(opened.capture.describe())?;
    let microphone = Microphone::new(opened.capture, ways.device.as_deref());
    // Before the screen: what the mouth lacks is told on the terminal.
    let tools = Tools { microphone, manner: manner(ways), switch };
    let mut live = Live::new(session, tools, ways, stop)?;
    let heard = live.listen(&opened.first.samples, opened.first.behind);
    // The journal is closed whatever happened, and the reason stands in it.
    let closed = live.close(heard)?;
    writeln!(std::io::stdout(), "{}", closed.summary)?;
    closed.heard.map(|()| ExitCode::SUCCESS)
}
