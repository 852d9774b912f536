//! `zonecall setup`: tries the microphone with the person who will speak, reports on it, and writes the settings.
//!
//! Takes: quiet, then ten phrases, as it asks for them.
//! Gives: noise, level, clipping, echo and phrases understood, a verdict in plain words, and `zonecall.toml`.
//! Never: keeps the sound, or overwrites a file of settings without keeping the old one.
//! Tested in: `tests/sound/setup.rs`.

use std::io::Write as _;
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::{Duration, Instant};

use anyhow::{Context as _, bail, ensure};

use super::ear;
use super::options::{KnowledgeArgs, LanguageArgs, WhichEar};
use super::settings::Settings;
use super::settings_place::place;
use crate::clock::{SAMPLE_RATE_HZ, Sample};
use crate::exam::parse::meaning;
use crate::plain_file;
use crate::private;
use crate::session::earpiece::hears_tone;
use crate::session::microphone::{PAUSE, open};
use crate::session::speaker::Speaker;
use crate::session::tone::Tone;
use crate::speech::capture::Capture;
use crate::speech::endpoint::{Endpointer, level_dbfs};
use crate::speech::room::reverberation_s;
use crate::speech::utterance::UtteranceAudio;
use crate::terminal::{self, ShownText as _};

/// Seconds of quiet that are listened to.
const QUIET_S: u32 = 3;
/// A phrase must be said within this time.
const PHRASE_MAX: Duration = Duration::from_secs(10);
/// Samples of one look at the loudness: 50 ms.
const LOOK: usize = SAMPLE_RATE_HZ as usize / 20;
/// Speech so far above the noise of the place, in dB, is well understood; from the bench of the ears (benches/EAR.md).
const LIFT_GOOD_DB: f64 = 20.0;
/// And so far still fairly.
const LIFT_FAIR_DB: f64 = 10.0;
/// Speech quieter than this, in dB of full scale, loses itself in the steps of 16 bits and the noise of the device; from memory.
const LEVEL_LOW_DBFS: f64 = -45.0;
/// A larger share of samples at full scale spoils an utterance; from memory.
const CLIPPED_MAX: f64 = 0.001;
/// A room that sounds for longer than this blurs one word into the next; from memory, a furnished room has about half.
const ECHO_MAX_S: f64 = 0.8;
/// Of ten phrases so many must be understood.
const RIGHT_MIN: usize = 9;

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  zonecall setup --person Ada\n  zonecall setup --device headset --watch /media/scanner\n\n\
    Exit codes: 0 a good verdict, 1 a bad one, 2 an error; with either verdict the settings are written."
)]
pub(crate) struct Setup {
    /// The microphone, or part of its name; without it, the default one.
    #[arg(long, value_name = "NAME", env = "ZONECALL_DEVICE")]
    device: Option<String>,
    /// Who speaks; written into the settings.
    #[arg(long)]
    person: Option<String>,
    /// The folder into which the scanner exports its stills; written into the settings.
    #[arg(long, value_name = "FOLDER")]
    watch: Option<PathBuf>,
    /// You wear an earpiece: three tones are played, and the setting is written only if the microphone does not hear
    /// them.
    #[arg(long)]
    earpiece: bool,
    #[command(flatten)]
    ear: WhichEar,
    #[command(flatten)]
    language: LanguageArgs,
    #[command(flatten)]
    knowledge: KnowledgeArgs,
}

/// What was found.
#[derive(Debug, Clone, Default)]
struct MicrophoneTest {
    noise_dbfs: f64,
    levels_dbfs: Vec<f64>,
    clipped: f64,
    /// Reverberation time in seconds, where the ends of the phrases gave it.
    echo_s: Option<f64>,
    phrases: usize,
    right: usize,
}

/// A phrase that was asked for before and may still be said.
struct Late<'a> {
    phrase: &'a str,
    /// Nothing was heard in its place, so that it counts when it comes.
    counts: bool,
}

/// What was said when a phrase was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Reply {
    /// The phrase.
    Right,
    /// The phrase before: this one is asked for once more.
    Late,
    /// Something else.
    Other,
}

/// What was said after `asked`, and perhaps another phrase before it, was asked for; `is` tells whether it was a phrase.
fn reply(asked: &str, before: Option<&str>, is: impl Fn(&str) -> bool) -> Reply {
    match before {
        _ if is(asked) => Reply::Right,
        Some(before) if is(before) => Reply::Late,
        _ => Reply::Other,
    }
}

impl Reply {
    fn in_words(self) -> &'static str {
        match self {
            Reply::Right => "understood",
            Reply::Late => "that was the phrase before",
            Reply::Other => "NOT understood",
        }
    }
}

pub(crate) fn setup(args: &Setup) -> anyhow::Result<ExitCode> {
    let path = place().context("there is no folder for the settings; name a file in ZONECALL_SETTINGS")?;
    let mut settings = Settings::read()?;
    // Told before anybody has spoken ten phrases.
    if let Some(folder) = args.watch.as_ref().filter(|folder| folder.to_str().is_none()) {
        bail!(
            "the settings cannot hold the name of `{}`, which is not UTF-8; rename the folder, or give it to `zonecall listen \
             --watch`",
            folder.shown()
        );
    }
    let protocols = args.knowledge.read()?;
    let spoken = args.language.read(&protocols)?;
    ensure!(
        !spoken.pack.setup_phrases.is_empty(),
        "the language `{}` has no phrases to test with; write ten into setup.txt next to its grammar",
        spoken.pack.language
    );
    let person = args.person.as_deref().or(settings.person.as_deref());
    let mut engine = ear::choose(&args.ear, &spoken.pack.language, &spoken.language, &protocols, person)?;
    let mut capture = open(args.device.as_deref().or(settings.device.as_deref()))?.capture;
    say(&format!("microphone: {}", capture.describe()))?;
    say(&format!("Please be quiet for {QUIET_S} seconds."))?;
    let mut test = MicrophoneTest { noise_dbfs: noise_dbfs(&mut capture)?, ..MicrophoneTest::default() };
    say(&format!("background noise: {:.0} dB of full scale", test.noise_dbfs))?;
    if args.earpiece {
        settings.earpiece = Some(is_earpiece(&mut capture)?);
    }
    let key =
        |text: &str| meaning(&text.split_whitespace().collect::<Vec<_>>(), &spoken.language, &protocols);
    let mut utterances = Vec::new();
    let mut late = None;
    for phrase in &spoken.pack.setup_phrases {
        test.phrases += 1;
        loop {
            say(&format!("Say:  {phrase}"))?;
            let Some(segment) = utterance(&mut capture)? else {
                say("      nothing was heard")?;
                late = Some(Late { phrase, counts: true });
                break;
            };
            let utterance = engine.recognise(&segment)?;
            let heard = utterance.text();
            let is = |phrase: &str| !utterance.rejected && key(&heard) == key(phrase);
            let reply = reply(phrase, late.as_ref().map(|late| late.phrase), is);
            say(&format!("      {}: {heard} ({:.0} dB)", reply.in_words(), segment.level_dbfs))?;
            test.levels_dbfs.push(segment.level_dbfs);
            test.clipped = test.clipped.max(segment.clipped);
            utterances.push(segment.samples);
            let before = late.take();
            match reply {
                Reply::Right => test.right += 1,
                Reply::Other => late = Some(Late { phrase, counts: false }),
                Reply::Late => {
                    test.right += usize::from(before.is_some_and(|late| late.counts));
                    continue;
                }
            }
            break;
        }
    }
    test.echo_s = reverberation_s(utterances.iter().map(Vec::as_slice));
    let (lines, is_good) = test.verdict();
    lines.iter().try_for_each(|line| say(line))?;
    settings.device = args.device.clone().or(settings.device);
    settings.person = args.person.clone().or(settings.person);
    settings.watch = args.watch.clone().or(settings.watch);
    settings.ear = args.ear.ear.or(settings.ear);
    write(&path, &settings.text())?;
    Ok(if is_good { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

impl MicrophoneTest {
    /// The verdict in plain words, and whether it is a good one.
    fn verdict(&self) -> (Vec<String>, bool) {
        let mut sorted = self.levels_dbfs.clone();
        sorted.sort_by(f64::total_cmp);
        let level = sorted.get(sorted.len() / 2).copied();
        let mut advice = Vec::new();
        let Some(level) = level else {
            return (
                vec!["Nothing was heard. Is this the right microphone, and is it switched on?".to_owned()],
                false,
            );
        };
        let lift = level - self.noise_dbfs;
        if level < LEVEL_LOW_DBFS {
            advice.push(format!(
                "The speech is quiet ({level:.0} dB): move the microphone closer, or turn it up."
            ));
        }
        if self.clipped > CLIPPED_MAX {
            advice.push("The speech is clipped: turn the microphone down.".to_owned());
        }
        if lift < LIFT_FAIR_DB {
            advice.push(format!("The background is nearly as loud as the speech ({lift:.0} dB below it): use a headset, or find a quieter place."));
        } else if lift < LIFT_GOOD_DB {
            advice.push(format!(
                "The background is rather loud ({lift:.0} dB below the speech): a headset will help."
            ));
        }
        match self.echo_s {
            Some(echo) if echo > ECHO_MAX_S => advice.push(format!(
                "The room echoes ({echo:.1} s): speak close to the microphone, or use a headset."
            )),
            Some(_) => {}
            None => advice.push("The echo could not be measured: the background is too loud.".to_owned()),
        }
        let counted = format!("{} of {} phrases understood", self.right, self.phrases);
        let is_good = self.right >= RIGHT_MIN.min(self.phrases) && self.clipped <= CLIPPED_MAX;
        let verdict = if is_good {
            format!("Good: {counted}, speech {lift:.0} dB above the noise.")
        } else {
            format!("Not good enough: {counted}, speech {lift:.0} dB above the noise.")
        };
        advice.insert(0, verdict);
        (advice, is_good)
    }
}

/// The next seconds of sound.
fn sound_of(capture: &mut Capture, seconds: u32) -> anyhow::Result<Vec<i16>> {
    let mut samples = Vec::new();
    let since = Instant::now();
    while samples.len() < (seconds * SAMPLE_RATE_HZ) as usize && since.elapsed() < PHRASE_MAX {
        match capture.next_block()? {
            Some(block) => samples.extend(block.samples),
            None => std::thread::sleep(PAUSE),
        }
    }
    Ok(samples)
}

/// Plays three tones; true where the microphone does not hear them.
fn is_earpiece(capture: &mut Capture) -> anyhow::Result<bool> {
    say("You hear three tones now; please stay quiet.")?;
    let before = sound_of(capture, 1)?;
    let mut speaker = Speaker::open()?;
    let tone = Tone::Alarm.samples(speaker.rate_hz());
    speaker.play(&tone, || false);
    speaker.wait(|| false);
    let during = sound_of(capture, 2)?;
    let is_heard = hears_tone(&before, &during);
    say(if is_heard {
        "The microphone hears the tones: this is not an earpiece, and the setting stays off."
    } else {
        "The microphone does not hear the tones. If you did not hear them either, turn the earpiece up and run this again."
    })?;
    Ok(!is_heard)
}

/// The median loudness of a few seconds, in dB of full scale.
fn noise_dbfs(capture: &mut Capture) -> anyhow::Result<f64> {
    let samples = sound_of(capture, QUIET_S)?;
    let mut looks: Vec<f64> = samples.chunks_exact(LOOK).map(level_dbfs).collect();
    looks.sort_by(f64::total_cmp);
    looks.get(looks.len() / 2).copied().context("the microphone gives no sound; check that it is switched on")
}

/// The next utterance; none when nobody speaks.
pub(super) fn utterance(capture: &mut Capture) -> anyhow::Result<Option<UtteranceAudio>> {
    let mut utterances = Endpointer::new(Sample::FIRST);
    let since = Instant::now();
    while since.elapsed() < PHRASE_MAX {
        match capture.next_block()? {
            Some(block) => {
                if let Some(segment) = utterances.take(&block.samples).into_iter().next() {
                    return Ok(Some(segment));
                }
            }
            None => std::thread::sleep(PAUSE),
        }
    }
    Ok(None)
}

fn write(path: &std::path::Path, text: &str) -> anyhow::Result<()> {
    let failed = || format!("cannot write the settings `{}`", path.shown());
    if path.exists() {
        // Copied, not moved: without power in between, there would be no settings.
        let old = path.with_extension("toml.old");
        let kept = plain_file::read(path).and_then(|bytes| private::replace(&old, &bytes));
        kept.with_context(failed)?;
        say(&format!("the previous settings are kept in {}", old.shown()))?;
    }
    #[cfg(unix)]
    let before = std::fs::metadata(path).ok();
    private::replace(path, text.as_bytes()).with_context(failed)?;
    // Whom an administrator let read it, such as the service of a box, may read it as before.
    #[cfg(unix)]
    if let Some(before) = before {
        use std::os::unix::fs::MetadataExt as _;
        let owned = std::os::unix::fs::chown(path, Some(before.uid()), Some(before.gid()));
        owned.and_then(|()| std::fs::set_permissions(path, before.permissions())).with_context(failed)?;
    }
    say(&format!("settings: {}", path.shown()))
}

pub(super) fn say(text: &str) -> anyhow::Result<()> {
    let mut out = terminal::out();
    writeln!(out, "{text}")?;
    out.flush()?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(test: &MicrophoneTest) -> (String, bool) {
        let (lines, is_good) = test.verdict();
        (lines.join("\n"), is_good)
    }

    #[test]
    fn a_phrase_that_comes_late_is_known_as_the_one_before() {
        let reply = |asked, before, said| reply(asked, before, |phrase| phrase == said);
        assert_eq!(reply("save", Some("left fore"), "left fore"), Reply::Late);
        let twice = reply("save", Some("save"), "save");
        assert_eq!(twice, Reply::Right, "asked for twice in a row, it is the one asked for");
        assert_eq!(reply("save", Some("left fore"), "two b"), Reply::Other);
        assert_eq!(reply("save", None, "left fore"), Reply::Other);
    }

    #[test]
    fn the_verdict_names_what_to_do() {
        let good = MicrophoneTest {
            noise_dbfs: -60.0,
            levels_dbfs: vec![-25.0; 10],
            clipped: 0.0,
            echo_s: Some(0.3),
            phrases: 10,
            right: 10,
        };
        assert_eq!(
            verdict(&good),
            ("Good: 10 of 10 phrases understood, speech 35 dB above the noise.".to_owned(), true)
        );
        let (text, is_good) =
            verdict(&MicrophoneTest { levels_dbfs: vec![-50.0; 10], right: 6, ..good.clone() });
        assert!(
            !is_good && text.contains("move the microphone closer") && text.contains("6 of 10"),
            "{text}"
        );
        let loud = MicrophoneTest {
            noise_dbfs: -30.0,
            levels_dbfs: vec![-24.0; 10],
            clipped: 0.01,
            echo_s: None,
            ..good.clone()
        };
        let (text, is_good) = verdict(&loud);
        assert!(
            !is_good && text.contains("turn the microphone down") && text.contains("nearly as loud"),
            "{text}"
        );
        assert!(text.contains("could not be measured"), "{text}");
        let (text, is_good) = verdict(&MicrophoneTest { echo_s: Some(1.4), ..good });
        assert!(is_good && text.contains("The room echoes (1.4 s)"), "{text}");
        let (text, is_good) = verdict(&MicrophoneTest { phrases: 10, ..MicrophoneTest::default() });
        assert!(!is_good && text.contains("is it switched on"), "{text}");
    }
}
