//! `zonecall enrol`: the neural ear learns one person's voice, if that helps.
//!
//! Takes: a person who reads some phrases, or a recording of them.
//! Gives: how other phrases are heard before and after, and the voice kept where it is better.
//! Never: keeps the sound, or a voice that is not better.
//! Tested in: `tests/sound/enrol.rs`.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, bail, ensure};

use super::ear;
use super::options::{KnowledgeArgs, LanguageArgs, not_blank};
use super::settings::Settings;
use super::setup::{say, utterance};
use super::voices::{self, Enrolled, PhraseHeard};
use crate::clock::Sample;
use crate::evaluation::judge::{Fate, fate};
use crate::protocol::Protocols;
use crate::session::microphone::open;
use crate::session::spoken::SpokenLanguage;
use crate::speech::capture::Capture;
use crate::speech::endpoint::Endpointer;
use crate::speech::neural::Neural;
use crate::speech::neural::adapt::{Adaptation, STEPS};
use crate::speech::neural::parts::Parts;
use crate::speech::recognise::Recogniser as _;
use crate::speech::recording;
use crate::speech::utterance::UtteranceAudio;
use crate::terminal::ShownText as _;

/// A phrase is asked for so often before it is left out.
const TRIES: usize = 2;
/// Of the phrases to learn from, and of those to judge by, this share must have been read.
const READ_MIN: f64 = 0.75;

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  zonecall enrol --person Ada\n  zonecall enrol --person Ada --audio read-aloud.wav\n  \
    zonecall enrol --person Ada --undo\n\n\
    Exit codes: 0 done, whether the adapted model was kept or not, 2 an error, and nothing has changed."
)]
pub(crate) struct Enrol {
    /// Whose voice it is; exams with the same --person then use it. Without it, the person in the settings.
    #[arg(long, value_parser = not_blank)]
    person: Option<String>,
    /// The microphone, or part of its name; without it, the default one.
    #[arg(long, value_name = "NAME", env = "ZONECALL_DEVICE")]
    device: Option<String>,
    /// A recording of the phrases listed by `--script`, read in that order with a pause after each.
    #[arg(long, value_name = "FILE")]
    audio: Option<PathBuf>,
    /// List the phrases and stop.
    #[arg(long)]
    script: bool,
    /// Remove this person's last adaptation.
    #[arg(long, conflicts_with_all = ["audio", "script"])]
    undo: bool,
    /// Folder of the neural ear's head.
    #[arg(long, value_name = "FOLDER", env = "ZONECALL_EAR")]
    head: Option<PathBuf>,
    #[command(flatten)]
    language: LanguageArgs,
    #[command(flatten)]
    knowledge: KnowledgeArgs,
}

/// An utterance in which a phrase was read.
type ReadAloud = (UtteranceAudio, String);

pub(crate) fn enrol(args: &Enrol) -> anyhow::Result<ExitCode> {
    let settings = Settings::read()?;
    let protocols = args.knowledge.read()?;
    let spoken = args.language.read(&protocols)?;
    let script = &spoken.pack.enrol;
    ensure!(
        !script.learn.is_empty() && !script.judge.is_empty(),
        "the language `{}` has no phrases to enrol with; write enrol.txt next to its grammar: phrases to learn from, an \
         empty line, phrases to judge by",
        spoken.pack.language
    );
    if args.script {
        script.learn.iter().chain(&script.judge).try_for_each(|phrase| say(phrase))?;
        return Ok(ExitCode::SUCCESS);
    }
    let Some(person) = args.person.clone().or(settings.person) else {
        bail!("no person is named; say whose voice it is with --person");
    };
    if args.undo {
        let now = voices::undo(&person)?;
        say(&format!("`{person}`: {now}"))?;
        return Ok(ExitCode::SUCCESS);
    }
    let parts = Parts::find(args.head.as_deref(), &spoken.pack.language);
    let mut ear = ear::neural(&parts, &spoken.language, &protocols)
        .context("only the neural ear can adapt to a voice; `zonecall doctor` says what it is missing")?;
    ensure!(
        ear.learns(),
        "the head in `{}` cannot be adapted to a voice; leave out --head and ZONECALL_EAR, or take \
         a head from this release",
        parts.head.shown()
    );
    // A new voice must be better than the one in use.
    voices::bend(&mut ear, &person);
    let (learn, judge) = match &args.audio {
        Some(path) => from_recording(path, &script.learn, &script.judge)?,
        None => {
            let mut capture = open(args.device.as_deref().or(settings.device.as_deref()))?.capture;
            say(&format!("microphone: {}", capture.describe()))?;
            say("Read each phrase as you would say it at the horse, and pause after each.")?;
            let learn = read_aloud(&mut capture, &script.learn)?;
            (learn, read_aloud(&mut capture, &script.judge)?)
        }
    };
    for (read, wanted) in [(&learn, &script.learn), (&judge, &script.judge)] {
        #[allow(clippy::cast_precision_loss)] // a script has a few dozen phrases
        let share = read.len() as f64 / wanted.len() as f64;
        ensure!(
            share >= READ_MIN,
            "only {} of {} phrases were heard; try again in a quieter place",
            read.len(),
            wanted.len()
        );
    }
    let otherwise = heard_otherwise(&mut ear, learn.iter().chain(&judge), &spoken, &protocols)?;
    let enrolled = learned(&mut ear, &person, &learn, &judge, &spoken, &protocols)?;
    report(&enrolled, judge.len())?;
    if enrolled.after.is_better_than(enrolled.before) {
        let path = voices::keep(&enrolled)?;
        say(&format!(
            "Kept: exams of `{person}` now use it. `zonecall enrol --person \"{person}\" --undo` removes it."
        ))?;
        say(&format!("voice: {}", path.shown()))?;
    } else {
        say("Not kept: it is not better. Nothing has changed.")?;
        tell_otherwise(&otherwise)?;
    }
    Ok(ExitCode::SUCCESS)
}

/// Hears the one half of the phrases before and after learning from the other.
fn learned(
    ear: &mut Neural,
    person: &str,
    learn: &[ReadAloud],
    judge: &[ReadAloud],
    spoken: &SpokenLanguage,
    protocols: &Protocols,
) -> anyhow::Result<Enrolled> {
    let heard = |ear: &mut Neural| -> anyhow::Result<PhraseHeard> {
        let mut heard = PhraseHeard::default();
        for (segment, phrase) in judge {
            let utterance = ear.recognise(segment)?;
            match fate(phrase, &utterance, &spoken.language, protocols) {
                Fate::Right => heard.right += 1,
                Fate::AskedRight => heard.asked += 1,
                Fate::AskedWrong | Fate::Missed => heard.missed += 1,
                Fate::Wrong => heard.wrong += 1,
            }
        }
        Ok(heard)
    };
    let before = heard(ear)?;
    say("Learning ...")?;
    let cases = learn.iter().map(|(segment, phrase)| ear.read(segment, phrase));
    let cases = cases.collect::<Result<Vec<_>, _>>()?;
    let adaptation = Adaptation::fit(&cases, ear.lexicon(), STEPS);
    let head_sha256 = ear.head_sha256().to_owned();
    ear.adapt(person, adaptation.clone());
    let after = heard(ear)?;
    Ok(Enrolled { person: person.to_owned(), head_sha256, before, after, adaptation })
}

/// Phrases that were not heard as the ones asked for, each with what was heard instead.
fn heard_otherwise<'a>(
    ear: &mut Neural,
    read: impl Iterator<Item = &'a ReadAloud>,
    spoken: &SpokenLanguage,
    protocols: &Protocols,
) -> anyhow::Result<Vec<(&'a str, String)>> {
    let mut found = Vec::new();
    for (segment, phrase) in read {
        let utterance = ear.recognise(segment)?;
        let fate = fate(phrase, &utterance, &spoken.language, protocols);
        if !matches!(fate, Fate::Right | Fate::AskedRight) {
            found.push((phrase.as_str(), utterance.text()));
        }
    }
    Ok(found)
}

/// Where a voice was not kept: the phrases that may have been read otherwise, or in another order.
fn tell_otherwise(found: &[(&str, String)]) -> anyhow::Result<()> {
    if found.is_empty() {
        return Ok(());
    }
    say(&format!("{} phrases were heard as something else:", found.len()))?;
    for (asked, heard) in found {
        let heard = if heard.is_empty() { "no phrase".to_owned() } else { format!("`{heard}`") };
        say(&format!("  asked for `{asked}`, heard {heard}"))?;
    }
    if found.iter().any(|(_, heard)| found.iter().any(|(asked, _)| asked == heard)) {
        say(
            "Some were heard in another's place: read all of them, in the order of `zonecall enrol --script`.",
        )?;
    }
    Ok(())
}

fn report(enrolled: &Enrolled, n: usize) -> anyhow::Result<()> {
    say(&format!("Of {n} phrases that were not used for learning:"))?;
    for (when, heard) in [("before", enrolled.before), ("after", enrolled.after)] {
        say(&format!(
            "  {when:<7} {:>2} right at once, {:>2} asked about, {:>2} missed, {:>2} taken for something else",
            heard.right, heard.asked, heard.missed, heard.wrong
        ))?;
    }
    Ok(())
}

/// The phrases as they are read into the microphone; one that is not heard is asked for again, then left out.
fn read_aloud(capture: &mut Capture, phrases: &[String]) -> anyhow::Result<Vec<ReadAloud>> {
    let mut read = Vec::new();
    for (idx, phrase) in phrases.iter().enumerate() {
        for _ in 0..TRIES {
            say(&format!("Read:  {phrase}    ({} of {})", idx + 1, phrases.len()))?;
            if let Some(segment) = utterance(capture)? {
                read.push((segment, phrase.clone()));
                break;
            }
            say("      nothing was heard")?;
        }
    }
    Ok(read)
}

/// The utterances of a recording, which must be the phrases, one each.
fn from_recording(
    path: &Path,
    learn: &[String],
    judge: &[String],
) -> anyhow::Result<(Vec<ReadAloud>, Vec<ReadAloud>)> {
    let (mut recording, mut utterances) = (recording::open(path)?, Endpointer::new(Sample::FIRST));
    let mut segments = Vec::new();
    while let Some(block) = recording.next_block()? {
        segments.extend(utterances.take(&block));
    }
    segments.extend(utterances.finish());
    let wanted = learn.len() + judge.len();
    ensure!(
        segments.len() == wanted,
        "`{}` holds {} phrases, not the {wanted} of `zonecall enrol --script`, each with a pause of a second \
         after it and none within",
        path.shown(),
        segments.len()
    );
    let mut read = segments.into_iter().zip(learn.iter().chain(judge).cloned());
    let learned = read.by_ref().take(learn.len()).collect();
    Ok((learned, read.collect()))
}
