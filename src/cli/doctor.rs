//! `zonecall doctor`: what is there and what is missing, each line with its remedy.
//!
//! Takes: the options that the work will be done with, and the machine.
//! Gives: a line for each part; 1 where something is missing that listening needs.
//! Never: repairs anything, or leaves anything behind.
//! Tested in: `tests/sound/doctor.rs`.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};

use super::doctor_line::{DoctorLine, PartState};
use super::doctor_settings;
use super::ear;
use super::options::{EarChoice, KnowledgeArgs, LanguageArgs, WhichEar};
use super::output::one_line;
use super::peers::{self, NamedPeer};
use super::scanners;
use super::settings::Settings;
use super::switch::SwitchArgs;
use crate::clock::SAMPLE_RATE_HZ;
use crate::language::pack::{Language, Pack};
use crate::protocol::Protocols;
use crate::session::speaker::Speaker;
use crate::session::spoken::SpokenLanguage;
use crate::session::voice::Voice;
use crate::speech::capture::Capture;
use crate::speech::installed::remedy;
use crate::speech::recognise::{EngineError, EngineId};
use crate::speech::vosk::IS_BUILT_IN;
use crate::terminal::{self, ShownText as _};

/// Bytes of kept audio in an hour: 16 bits a sample, one channel.
const HOUR_BYTES: u64 = 2 * SAMPLE_RATE_HZ as u64 * 3600;
/// With room for less than this many hours of audio an exam may not fit.
const NEEDED_HOURS: u64 = 2;

/// The part that is listened with.
const MICROPHONE: &str = "microphone";

/// What to look at.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall doctor\n  zonecall doctor --into /media/exams")]
pub(crate) struct Doctor {
    /// The folder into which exams will be written.
    #[arg(long, value_name = "FOLDER", default_value = ".")]
    into: PathBuf,
    /// The microphone to use, or part of its name; without it, the default one.
    #[arg(long, value_name = "NAME", env = "ZONECALL_DEVICE")]
    device: Option<String>,
    #[command(flatten)]
    switch: SwitchArgs,
    #[command(flatten)]
    ear: WhichEar,
    #[command(flatten)]
    language: LanguageArgs,
    #[command(flatten)]
    knowledge: KnowledgeArgs,
}

pub(crate) fn doctor(args: &Doctor) -> anyhow::Result<ExitCode> {
    let (settings, line) = doctor_settings::read();
    let mut lines: Vec<DoctorLine> = line.into_iter().collect();
    let protocols = args.knowledge.read();
    lines.push(match &protocols {
        Ok(known) => DoctorLine::there("protocols", format!("{} zone schemes", known.schemes.len())),
        Err(error) => DoctorLine::lacks(
            "protocols",
            PartState::Needed,
            one_line(error),
            "correct the file, or leave out --protocols and ZONECALL_PROTOCOLS",
        ),
    });
    if let Ok(protocols) = &protocols {
        lines.extend(doctor_settings::wrong(&settings, protocols));
        lines.extend(language(args, &settings, protocols));
    }
    lines.push(microphone(args.device.as_deref().or(settings.device.as_deref())));
    lines.push(loudspeaker());
    lines.extend(doctor_settings::switch(&args.switch, &settings));
    lines.extend(doctor_settings::watched(&settings));
    lines.extend(doctor_settings::screen(&settings));
    lines.extend(network());
    lines.extend(scanners_set());
    lines.push(folder(&args.into));
    lines.push(room(&args.into));
    lines.push(clock(&clock_state()));
    show(&lines)?;
    let lacking = lines.iter().any(|line| line.state == PartState::Needed);
    Ok(if lacking { ExitCode::from(1) } else { ExitCode::SUCCESS })
}

/// The grammar, the practice's own words, and what listens to them.
fn language(args: &Doctor, settings: &Settings, protocols: &Protocols) -> Vec<DoctorLine> {
    let LanguageArgs { grammar, own_words, schemes } = &args.language;
    let schemes = protocols.choose(schemes).map_err(anyhow::Error::from);
    let read = schemes.and_then(|schemes| Ok(SpokenLanguage::read(grammar.as_deref(), schemes, protocols)?));
    let spoken = match read {
        Ok(spoken) => spoken,
        Err(error) => {
            let remedy = "correct the file, or leave out --grammar and ZONECALL_GRAMMAR";
            return vec![DoctorLine::lacks("grammar", PartState::Needed, one_line(&error), remedy)];
        }
    };
    let words = spoken.language.engine.words.len();
    let mut lines = vec![DoctorLine::there("grammar", format!("`{}`, {words} words", spoken.pack.language))];
    lines.extend(sample(&spoken.pack));
    let with_own = own_words.file(grammar.as_deref()).map(|path| {
        let added = spoken.clone().with_own_words(&path, protocols);
        let line = match &added {
            Ok(spoken) => {
                let found = format!("{} in `{}`", spoken.pack.own.len(), path.shown());
                DoctorLine::there("own words", found)
            }
            Err(error) => DoctorLine::lacks(
                "own words",
                PartState::Needed,
                error.to_string(),
                "correct the line or put a # before it; without the file, zonecall listens as before",
            ),
        };
        lines.push(line);
        added
    });
    let mut spoken = with_own.and_then(Result::ok).unwrap_or(spoken);
    if let Some(call) = &settings.call_word {
        match spoken.clone().called_by(call, &args.ear.dictionary()) {
            Ok(called) => {
                lines.push(DoctorLine::there("call word", format!("`{call}`")));
                spoken = called;
            }
            Err(error) => {
                lines.push(DoctorLine::wrong("call word", &error.to_string(), "choose another word"))
            }
        }
    }
    let SpokenLanguage { pack, language, .. } = spoken;
    let which = settings.ear_or(&args.ear);
    lines.extend(ears(&which, &pack, &language, protocols));
    lines.push(voice(&pack.language));
    lines
}

/// A word about a grammar that nobody who speaks its language for a living has read.
fn sample(pack: &Pack) -> Option<DoctorLine> {
    pack.is_sample().then(|| {
        DoctorLine::lacks(
            "grammar",
            PartState::Better,
            format!("`{}` is a sample of how a grammar is written", pack.language),
            "have a vet who speaks the language read, correct and measure it before it is used with a horse",
        )
    })
}

fn show(lines: &[DoctorLine]) -> std::io::Result<()> {
    let mut out = terminal::out();
    for line in lines {
        let state = match line.state {
            PartState::There => "there",
            PartState::Needed => "MISSING",
            PartState::Better => "better with",
        };
        let under = format!("\n{:<27} ", "");
        writeln!(out, "{state:<12} {:<14} {}", line.part, line.found.replace('\n', &under))?;
        if !line.remedy.is_empty() {
            writeln!(out, "{:<27} -> {}", "", line.remedy)?;
        }
    }
    let count = |state| lines.iter().filter(|line| line.state == state).count();
    let deaf = lines.iter().any(|line| line.part == MICROPHONE && line.state != PartState::There);
    match (count(PartState::Needed), count(PartState::Better)) {
        (0, 0) => writeln!(out, "everything is in place"),
        (0, better) if deaf => writeln!(
            out,
            "ready, but there is no microphone: `zonecall hear` works with recordings; to listen, plug one in and run \
             `zonecall setup`; {better} could be better"
        ),
        (0, better) => writeln!(out, "ready to listen; {better} could be better"),
        (needed, _) => writeln!(out, "not ready: {needed} missing"),
    }
}

/// Each ear is loaded with the grammar. The one that was asked for is needed; without asking, the neural ear is, unless the
/// Vosk ear can listen in its place. PocketSphinx listens only where it is asked for.
fn ears(args: &WhichEar, pack: &Pack, language: &Language, protocols: &Protocols) -> Vec<DoctorLine> {
    let tried = |ear| match ear::tried(ear, args, &pack.language, language, protocols) {
        Err(EngineError::NoParts { path }) => Err(format!("`{}` does not exist", path.shown())),
        tried => tried.map_err(|error| error.to_string()),
    };
    let again = remedy();
    let tried = [
        (
            "neural ear",
            EarChoice::Neural,
            tried(EarChoice::Neural),
            format!("{again}, or name its folder with --head or ZONECALL_EAR"),
        ),
        ("vosk ear", EarChoice::Vosk, tried(EarChoice::Vosk), vosk_remedy(args.vosk_model.as_deref())),
        (
            "sphinx ear",
            EarChoice::Sphinx,
            tried(EarChoice::Sphinx),
            format!("{again}, or name the model with --model or ZONECALL_MODEL"),
        ),
    ];
    let any = tried.iter().any(|(_, which, ear, _)| *which != EarChoice::Sphinx && ear.is_ok());
    let line =
        |(part, which, ear, remedy): (&'static str, EarChoice, Result<EngineId, String>, String)| match ear {
            Ok(id) => DoctorLine::there(part, format!("{} {}, model `{}`", id.name, id.version, id.model)),
            Err(why) => {
                let needed = args.ear.map_or(which == EarChoice::Neural && !any, |asked| asked == which);
                let state = if needed { PartState::Needed } else { PartState::Better };
                DoctorLine::lacks(part, state, why, remedy)
            }
        };
    tried.into_iter().map(line).collect()
}

/// The models come from their makers.
fn vosk_remedy(named: Option<&Path>) -> String {
    if !IS_BUILT_IN {
        return "only if you want this ear: install a program that was built with it".to_owned();
    }
    let folder = if named.is_some() { "into a folder" } else { "of this language" };
    format!("unpack a model {folder}, and name its folder with --vosk-model or ZONECALL_VOSK_MODEL")
}

/// A recording can be heard without one, so it is needed only when it was named.
fn microphone(name: Option<&str>) -> DoctorLine {
    match Capture::open(name) {
        Ok(capture) => DoctorLine::there(MICROPHONE, format!("{} can be opened", capture.describe())),
        Err(error) => DoctorLine::lacks(
            MICROPHONE,
            if name.is_some() { PartState::Needed } else { PartState::Better },
            error.to_string(),
            "plug one in or name another with --device, then test it with `zonecall setup`; recordings can be heard \
             without one",
        ),
    }
}

fn loudspeaker() -> DoctorLine {
    match Speaker::open() {
        Ok(_) => DoctorLine::there("loudspeaker", "can be opened"),
        Err(error) => DoctorLine::lacks(
            "loudspeaker",
            PartState::Better,
            error.to_string(),
            "plug in an earpiece; without one there are no tones and no voice, only the screen",
        ),
    }
}

fn voice(language: &str) -> DoctorLine {
    match Voice::find(language) {
        Ok(_) => DoctorLine::there("voice", format!("espeak-ng speaks `{language}`")),
        Err(error) => DoctorLine::lacks(
            "voice",
            PartState::Better,
            error.to_string(),
            "install the program espeak-ng; without it, questions are shown but not asked aloud",
        ),
    }
}

/// Each peer of the practice, asked for an echo.
fn network() -> Vec<DoctorLine> {
    let lacks = |found: String, remedy: &str| DoctorLine::lacks("network", PartState::Better, found, remedy);
    let all = match peers::read() {
        Ok(all) => all,
        Err(error) => return vec![lacks(one_line(&error), "correct `peers.toml`")],
    };
    let asked = |named: &NamedPeer| {
        let whom = format!("`{}` ({} at {})", named.name, named.ae_title, named.address);
        let peer = match named.peer() {
            Ok(peer) => peer,
            Err(error) => {
                return lacks(format!("{whom}: {error}"), "correct the certificates in `peers.toml`");
            }
        };
        match peer.echo() {
            Ok(()) => DoctorLine::there("network", format!("{whom} answers")),
            Err(error) => {
                let fault = error.fault();
                lacks(format!("{whom}: {}", fault.in_words()), fault.remedy())
            }
        }
    };
    all.iter().map(asked).collect()
}

/// What is set for each scanner.
fn scanners_set() -> Vec<DoctorLine> {
    match scanners::read() {
        Ok(all) => {
            all.iter().map(|scanner| DoctorLine::there("scanner", scanners::in_words(scanner))).collect()
        }
        Err(error) => {
            let found = format!("{error:#}").trim_end().to_owned();
            vec![DoctorLine::lacks("scanner", PartState::Better, found, "correct `scanners.toml`")]
        }
    }
}

/// May exams be written here? Tried with a file that is gone again afterwards.
fn folder(path: &Path) -> DoctorLine {
    let tried = tempfile::NamedTempFile::new_in(path).and_then(|mut file| {
        file.write_all(b"zonecall")?;
        file.as_file().sync_all()
    });
    match tried {
        Ok(()) => DoctorLine::there("exam folder", format!("`{}` can be written", path.shown())),
        Err(error) => DoctorLine::lacks(
            "exam folder",
            PartState::Needed,
            format!("cannot write into `{}`: {error}", path.shown()),
            "create the folder, give yourself permission to write to it, or name another with --into",
        ),
    }
}

fn room(path: &Path) -> DoctorLine {
    match rustix::fs::statvfs(path) {
        Ok(disk) => room_of(disk.f_bavail.saturating_mul(disk.f_frsize)),
        Err(error) => DoctorLine::lacks(
            "disk space",
            PartState::Needed,
            format!("cannot tell for `{}`: {error}", path.shown()),
            "name an existing folder with --into",
        ),
    }
}

fn room_of(free_bytes: u64) -> DoctorLine {
    let hours = free_bytes / HOUR_BYTES;
    let found = format!("{} MB free, {hours} h of audio", free_bytes / 1_000_000);
    if hours < NEEDED_HOURS {
        let remedy = "free some space, or name a folder on another disk with --into";
        return DoctorLine::lacks("disk space", PartState::Needed, found, remedy);
    }
    DoctorLine::there("disk space", found)
}

/// What the system says of its clock: `yes`, `no`, or nothing where it cannot be asked.
fn clock_state() -> String {
    let asked = Command::new("timedatectl").args(["show", "--property=NTPSynchronized", "--value"]).output();
    asked.map(|answer| String::from_utf8_lossy(&answer.stdout).trim().to_owned()).unwrap_or_default()
}

/// A wrong clock makes no label wrong, for the scanner's offset is estimated; it makes dates and searching for it worse.
fn clock(answer: &str) -> DoctorLine {
    match answer {
        "yes" => DoctorLine::there("clock", "set by a time server"),
        "no" => DoctorLine::lacks(
            "clock",
            PartState::Better,
            "not set by a time server",
            "connect to a network once before your visits, or set it by hand with `timedatectl set-time`",
        ),
        _ => DoctorLine::lacks(
            "clock",
            PartState::Better,
            "the system does not say whether a time server sets it",
            "compare it with a good clock, and say `clock mark` while saving one still",
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn room_for_less_than_two_hours_is_missing_and_says_how_much_there_is() {
        let (short, enough) = (room_of(2 * HOUR_BYTES - 1), room_of(2 * HOUR_BYTES));
        assert_eq!((short.state, short.found.as_str()), (PartState::Needed, "230 MB free, 1 h of audio"));
        assert!(!short.remedy.is_empty());
        assert_eq!(enough.state, PartState::There);
    }

    #[test]
    fn a_clock_that_nobody_keeps_or_knows_of_stops_nothing_but_has_a_remedy() {
        assert_eq!(clock("yes").state, PartState::There);
        for answer in ["no", ""] {
            let line = clock(answer);
            assert_eq!(line.state, PartState::Better);
            assert!(!line.remedy.is_empty());
        }
    }
}
