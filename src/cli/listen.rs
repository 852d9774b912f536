//! `zonecall listen` and `resume`: the microphone becomes an exam folder, as it is spoken.
//!
//! Takes: a microphone, and the options of `Listen` or `Resume`.
//! Gives: the same folder that `hear` makes; lines on the terminal.
//! Never: ends without closing the journal, whatever signal or fault ends it.
//! Tested in: `tests/sound/listen.rs`.

use std::io::{IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::Context as _;

use super::archive::known_horses;
use super::ear;
use super::encrypt;
use super::notes::{between_exams, write_down};
use super::options::{KnowledgeArgs, LanguageArgs, Switch, WhichEar};
use super::own_words::OwnWordsArg;
use super::receiver_args::{ReceiverArgs, Receiving};
use super::screen_args::ScreenArgs;
use super::settings::{self, Settings};
use super::subject_args::SubjectArgs;
use super::switch::SwitchArgs;
use crate::exam_folder::ExamFolder;
use crate::frames::watch::is_there;
use crate::protocol::Protocols;
use crate::report::picture::lacking;
use crate::session::background_jobs::BackgroundJobs;
use crate::session::dialogue::Output;
use crate::session::ear::Ear;
use crate::session::exam_session::{Began, Session, header};
use crate::session::feedback::Feedback;
use crate::session::listen_loop::{ListenLoop, Tools};
use crate::session::microphone::{Microphone, Opened, open};
use crate::session::options::{Audible, ListenOptions};
use crate::session::remembered::RememberedScanner;
use crate::session::screen::Display;
use crate::session::spoken::SpokenLanguage;
use crate::session::talk_switch::TalkSwitch;
use crate::session::voice::{VoiceStyle, WORDS_A_MINUTE};
use crate::session::waiting::{self, Exams, OnlyListener};
use crate::terminal::{self, ShownText as _};

/// What is received goes here: in an exam, and beside the exams of a box.
const FRAMES: &str = "frames";
const RECEIVED: &str = "received";

/// Any pair of words for the sides counts, whichever is said first.
const ANY_SIDES: &str = "any";
/// What most scanners need to export a still, in seconds; our own guess.
const EXPORT_DELAY_S: f64 = 2.0;

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall listen --into exams/juniper --horse Juniper\n  \
    zonecall listen --into exams/juniper --device hw:CARD=Headset\n  \
    zonecall listen --exams exams\n\n\
    Exit codes: 0 ended with `end of exam` or Ctrl-C, 1 ended, but the folder was lost and another one has the exam, \
    2 an error; what was heard is kept.")]
pub(crate) struct Listen {
    /// The exam folder to create; it must not hold an exam yet.
    #[arg(long, value_name = "FOLDER", required_unless_present = "exams")]
    pub(crate) into: Option<PathBuf>,
    /// Wait for "start of exam", create a folder in this one for each exam, named by its start, and wait again after
    /// "end of exam". What is said between exams is neither kept nor shown.
    #[arg(long, value_name = "FOLDER", conflicts_with_all = ["into", "horse", "horse_id", "number"])]
    pub(crate) exams: Option<PathBuf>,
    /// Encrypt each closed exam while waiting for the next one, for this public key as age writes it (`age1...`), and
    /// remove its folder once the file was decrypted again and compared; can be given several times.
    #[arg(long, value_name = "KEY", requires = "exams", conflicts_with = "into")]
    pub(crate) encrypt_for: Vec<String>,
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
    Exit codes: 0 ended with `end of exam` or Ctrl-C, 1 ended, but the folder was lost and another one has the exam, \
    2 an error; what was heard is kept.")]
pub(crate) struct Resume {
    /// The exam folder.
    #[arg(value_name = "FOLDER")]
    pub(crate) folder: PathBuf,
    /// Folder of grammar files to use instead of the built-in English ones.
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_GRAMMAR")]
    pub(crate) grammar: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) own_words: OwnWordsArg,
    #[command(flatten)]
    pub(crate) live: LiveArgs,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

/// How to listen, for a new exam and for one that goes on; what is not given here is taken from the settings.
#[derive(Debug, clap::Args)]
pub(crate) struct LiveArgs {
    /// The microphone, or part of its name; without it, the default one.
    #[arg(long, value_name = "NAME", env = "ZONECALL_DEVICE")]
    pub(crate) device: Option<String>,
    /// Plain lines on the terminal instead of the screen.
    #[arg(long)]
    pub(crate) lines: bool,
    /// Tones that say whether each phrase was understood; on by default.
    #[arg(long, value_enum)]
    pub(crate) tones: Option<Switch>,
    /// A voice that asks, answers and warns; on by default; needs the program espeak-ng.
    #[arg(long, value_enum)]
    pub(crate) voice: Option<Switch>,
    /// How fast the voice speaks, in words a minute; 160 by default.
    #[arg(long, value_name = "WORDS", value_parser = clap::value_parser!(u16).range(80..=400))]
    pub(crate) voice_speed: Option<u16>,
    /// How loud the voice speaks, in percent of the usual; 100 by default.
    #[arg(long, value_name = "PERCENT", value_parser = clap::value_parser!(u8).range(1..=200))]
    pub(crate) voice_volume: Option<u8>,
    /// You hear the voice in an earpiece, which the microphone does not hear: what you say while the program speaks is
    /// acted on, and it stops speaking; off by default.
    #[arg(long, value_enum)]
    pub(crate) earpiece: Option<Switch>,
    /// The words you use for the sides: one of the pair, or `any`. Other words for them are read back first. By default
    /// the first pair of the protocols.
    #[arg(long, value_name = "WORD")]
    pub(crate) sides: Option<String>,
    /// Act only on phrases that begin with this word. The neural ear knows only the words of its language; `exam` is one
    /// that begins no other phrase.
    #[arg(long, value_name = "WORD")]
    pub(crate) call_word: Option<String>,
    /// The folder into which the scanner exports its stills: each is recorded as it arrives, and a view left without one
    /// is reported at once. Without it, your spoken saves decide.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) watch: Option<PathBuf>,
    /// Seconds from pressing the scanner's button to the file in that folder; 2 by default.
    #[arg(long, value_name = "SECONDS", value_parser = delay)]
    pub(crate) export_delay: Option<f64>,
    /// Take the stills that the scanner sends over the network meanwhile, into `frames` of the exam, or with --exams into
    /// `received` beside the exams. Each is handled as with --watch.
    #[arg(long, conflicts_with = "watch")]
    pub(crate) receive: bool,
    #[command(flatten)]
    pub(crate) receiver: ReceiverArgs,
    #[command(flatten)]
    pub(crate) screen: ScreenArgs,
    #[command(flatten)]
    pub(crate) switch: SwitchArgs,
    #[command(flatten)]
    pub(crate) ear: WhichEar,
}

impl LiveArgs {
    /// The receiver, if one was asked for; what it takes is followed like any folder of the scanner.
    fn receiving(&self, into: &Path, options: &mut ListenOptions) -> anyhow::Result<Option<Receiving>> {
        if !self.receive {
            return Ok(None);
        }
        let receiving = self.receiver.beside(into, !options.display.has_keys())?;
        writeln!(
            terminal::out(),
            "{} listens on {}, into {}",
            self.receiver.ae,
            receiving.here,
            into.shown()
        )?;
        (options.watch, options.received) = (Some(into.to_owned()), true);
        Ok(Some(receiving))
    }
}

/// What the options and the settings choose together.
struct Chosen {
    options: ListenOptions,
    call_word: Option<String>,
    ear: WhichEar,
}

impl LiveArgs {
    /// The folder that was asked for here must be there; one of the settings may be elsewhere today.
    fn must_have_stills(&self) -> anyhow::Result<()> {
        Ok(self.watch.as_deref().map_or(Ok(()), is_there)?)
    }

    /// The options, with the settings where none was given.
    fn with(&self, settings: &Settings, language: &str, protocols: &Protocols) -> anyhow::Result<Chosen> {
        let audible = |given: Option<Switch>, set: Option<bool>| match given {
            Some(Switch::On) => Audible::On,
            Some(Switch::Off) => Audible::Off,
            None if set.unwrap_or(true) => Audible::On,
            None => Audible::Off,
        };
        let has_lines = self.lines || settings.lines.unwrap_or(false);
        let options = ListenOptions {
            device: self.device.clone().or_else(|| settings.device.clone()),
            display: if has_lines { Display::Lines } else { Display::Screen },
            tones: audible(self.tones, settings.tones),
            voice: audible(self.voice, settings.voice),
            voice_style: VoiceStyle {
                words_a_minute: self.voice_speed.or(settings.voice_speed).unwrap_or(WORDS_A_MINUTE),
                volume_percent: self.voice_volume.or(settings.voice_volume).unwrap_or(100),
            },
            output: match audible(self.earpiece, Some(settings.earpiece.unwrap_or(false))) {
                Audible::On => Output::Earpiece,
                Audible::Off => Output::Room,
            },
            watch: self.watch.clone().or_else(|| settings.watch.clone()),
            received: false,
            picture_fault: lacking,
            export_delay_s: self.export_delay.or(settings.export_delay_s).unwrap_or(EXPORT_DELAY_S),
            sides: sides(self.sides.as_ref().or(settings.sides.as_ref()), protocols)?,
            day_list: Vec::new(),
            known_horses: known_horses(),
            switch: self.switch.with(settings)?,
            language: language.to_owned(),
            second_screen: None,
        };
        Ok(Chosen {
            options,
            call_word: self.call_word.clone().or_else(|| settings.call_word.clone()),
            ear: settings.ear_or(&self.ear),
        })
    }
}

impl Chosen {
    /// The language, with the call word where there is one.
    fn called(&self, spoken: SpokenLanguage) -> anyhow::Result<SpokenLanguage> {
        let Some(call) = &self.call_word else { return Ok(spoken) };
        Ok(spoken.called_by(call, &self.ear.dictionary())?)
    }

    /// The ear, for the voice of `person`.
    fn ear(
        &self,
        spoken: &SpokenLanguage,
        protocols: Protocols,
        person: Option<&str>,
    ) -> anyhow::Result<Ear> {
        let engine = ear::choose(&self.ear, &spoken.pack.language, &spoken.language, &protocols, person)?;
        Ok(Ear { engine, language: spoken.language.clone(), protocols: Arc::new(protocols) })
    }
}

/// The pair of words for the sides, by its place in the protocols.
pub(super) fn sides(word: Option<&String>, protocols: &Protocols) -> anyhow::Result<Option<usize>> {
    let pairs = &protocols.rules.habits.sides;
    let Some(word) = word else { return Ok((!pairs.is_empty()).then_some(0)) };
    if word == ANY_SIDES {
        return Ok(None);
    }
    let known = pairs.iter().position(|pair| pair.contains(word));
    let words = || pairs.iter().flatten().map(|word| format!("`{word}`")).collect::<Vec<_>>().join(", ");
    known.map(Some).with_context(|| {
        format!("`{word}` names no side; give one of {} for `sides`, or `{ANY_SIDES}`", words())
    })
}

fn delay(text: &str) -> Result<f64, String> {
    match text.parse() {
        Ok(seconds) if (0.0..=600.0).contains(&seconds) => Ok(seconds),
        _ => Err("give a number of seconds from 0 to 600".to_owned()),
    }
}

pub(crate) fn listen(args: &Listen) -> anyhow::Result<ExitCode> {
    let into = args.into.as_ref().map(ExamFolder::at);
    if let Some(into) = &into {
        into.must_be_new()?;
    }
    args.live.must_have_stills()?;
    let protocols = args.knowledge.read()?;
    // Before anything else is said of the exams in the folder: one of them may be heard just now.
    let only = args.exams.as_deref().map(OnlyListener::of).transpose()?;
    let settings = Settings::read()?;
    if args.exams.is_some() {
        settings::tell_missing();
    }
    let keys =
        if args.encrypt_for.is_empty() { settings.encrypt_for.as_ref() } else { Some(&args.encrypt_for) };
    let keys = keys.filter(|_| args.exams.is_some()).map_or(&[][..], Vec::as_slice);
    let encryption = encrypt::between_exams(keys, &args.knowledge)?;
    let spoken = args.language.read(&protocols)?;
    let chosen = args.live.with(&settings, &spoken.pack.language, &protocols)?;
    let spoken = chosen.called(spoken)?;
    let can_type = args.exams.is_none() && std::io::stdin().is_terminal();
    let scale = settings.score_scale.as_deref();
    let (subject, horses) = args.subject.read_for_listening(&protocols, scale, can_type)?;
    let subject = settings.added_to(subject);
    let ear = chosen.ear(&spoken, protocols, subject.person.as_deref())?;
    let stop = stop_switch()?;
    let second_screen = args.live.screen.begin(&settings)?;
    let mut options = ListenOptions { day_list: horses, second_screen, ..chosen.options };
    let Some(into) = into else {
        let (folder, only) = args.exams.as_deref().zip(only).context("name the folder of the exams")?;
        let _receiving = args.live.receiving(&folder.join(RECEIVED), &mut options)?;
        let notes = between_exams(&ear, &spoken.pack.language, &args.live.ear, &args.knowledge);
        let jobs = BackgroundJobs { notes, encryption };
        waiting::wait(Exams { folder, only, subject: &subject, spoken: &spoken, options, jobs }, ear, &stop)?;
        return Ok(ExitCode::SUCCESS);
    };
    let switch = TalkSwitch::of(options.switch.as_ref(), options.display)?;
    let opened = open(options.device.as_deref())?;
    let header = header(&subject, &ear, &spoken, Began::live(opened.began_at));
    let session = Session::begin(&into, header, ear)?;
    let _receiving = args.live.receiving(&into.path().join(FRAMES), &mut options)?;
    run(session, opened, switch, &options, stop, (&into, &args.live.ear))
}

pub(crate) fn resume(args: &Resume) -> anyhow::Result<ExitCode> {
    let folder = ExamFolder::at(&args.folder);
    folder.must_hold_exam()?;
    args.live.must_have_stills()?;
    let protocols = args.knowledge.read()?;
    let header = folder.exam(&protocols)?.header;
    let person = header.person.clone();
    let spoken = SpokenLanguage::read(args.grammar.as_deref(), header.schemes, &protocols)?;
    let spoken = args.own_words.added_to(spoken, args.grammar.as_deref(), &protocols)?;
    let mut settings = Settings::read()?;
    // The exam's own scanner takes precedence over the one in the settings.
    let mut received = false;
    if let Some(remembered) = RememberedScanner::of(folder.path()) {
        received = remembered.received && args.live.watch.is_none();
        if received && !args.live.receive {
            terminal::warn(
                "zonecall: before, the stills of this exam came by --receive, and without it none comes: give --receive again, \
                 with the same options",
            );
        }
        (settings.watch, settings.export_delay_s) = (Some(remembered.watch), Some(remembered.export_delay_s));
    }
    let chosen = args.live.with(&settings, &spoken.pack.language, &protocols)?;
    let spoken = chosen.called(spoken)?;
    let ear = chosen.ear(&spoken, protocols, person.as_deref())?;
    let stop = stop_switch()?;
    let second_screen = args.live.screen.begin(&settings)?;
    let mut options = ListenOptions { second_screen, received, ..chosen.options };
    let switch = TalkSwitch::of(options.switch.as_ref(), options.display)?;
    let opened = open(options.device.as_deref())?;
    let _receiving = args.live.receiving(&folder.path().join(FRAMES), &mut options)?;
    let session = Session::resume(&folder, ear, &spoken.pack.sha256, opened.began_at)?;
    run(session, opened, switch, &options, stop, (&folder, &args.live.ear))
}

/// Set by Ctrl-C, by a stop from the system, and when the terminal is closed.
fn stop_switch() -> anyhow::Result<Arc<AtomicBool>> {
    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    ctrlc::set_handler(move || asked.store(true, Ordering::Relaxed)).context("cannot listen for Ctrl-C")?;
    Ok(stop)
}

fn run(
    mut session: Session,
    opened: Opened,
    switch: Option<TalkSwitch>,
    options: &ListenOptions,
    stop: Arc<AtomicBool>,
    (folder, which): (&ExamFolder, &WhichEar),
) -> anyhow::Result<ExitCode> {
    session.open_audio(opened.capture.describe(), None)?;
    let microphone = Microphone::new(opened.capture, options.device.as_deref());
    // Before the screen: what the voice lacks is written to the terminal.
    let tools = Tools { microphone, feedback: Feedback::open(options), switch };
    let mut live = ListenLoop::new(session, tools, options, stop)?;
    live.announce(&opened.first.samples, opened.first.behind);
    let heard = live.listen(&opened.first.samples, opened.first.behind);
    // The journal is closed whatever happened, and it names the reason.
    let closed = live.close(heard)?;
    writeln!(terminal::out(), "{}", closed.summary)?;
    closed.heard?;
    // The microphone is given back before that: nobody is heard any more.
    drop(closed.tools);
    if !closed.has_moved {
        write_down(folder, &closed.ear, which);
    }
    Ok(if closed.has_moved { ExitCode::from(1) } else { ExitCode::SUCCESS })
}
