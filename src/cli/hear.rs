//! `zonecall hear`: a recording becomes an exam folder with its journal and the kept audio.
//!
//! Takes: recordings, the options of `HearArgs`, and of the settings the ear, the person, the scale and `context_s`.
//! Gives: `exam.jsonl` and `audio/0001.wav`, `audio/0002.wav`, ... in the folder.
//! Never: recognises a sample before it is kept.
//! Tested in: `tests/it/demo.rs`, `tests/it/set_for_exam.rs`.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::{Context as _, bail};
use chrono::{DateTime, Datelike as _, FixedOffset, Local, Offset, TimeDelta, TimeZone, Utc};
use indicatif::{ProgressBar, ProgressStyle};

use super::ear;
use super::notes::write_down;
use super::options::{KnowledgeArgs, LanguageArgs, WhichEar};
use super::output::one_line;
use super::settings::{self, Settings};
use super::subject_args::SubjectArgs;
use crate::clock::{Anchor, SAMPLE_RATE_HZ, Sample, WallQuality};
use crate::exam::bounds::{START_YEARS, UTC_OFFSET_HOURS_MAX, is_dated};
use crate::exam::event::CloseReason;
use crate::exam_folder::ExamFolder;
use crate::session::ear::Ear;
use crate::session::effect::{Arrival, Effect, Input};
use crate::session::exam_session::{Began, Session, header};
use crate::session::notice::ScreenChange;
use crate::speech::recording::{self, Recording};
use crate::speech::utterance::UtteranceAudio;
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall hear scan.wav --into exams/juniper --horse Juniper\n  \
    arecord -f S16_LE -r 16000 | zonecall hear - --into exams/today\n\n\
    Exit codes: 0 heard, 1 no speech was found, phrases after `end of exam` were not acted on, or the folder was lost and another one has the exam, 2 an error, 130 stopped with Ctrl-C; what was heard is kept.")]
pub(crate) struct HearArgs {
    /// Recordings in the order they were made: WAV or FLAC at any rate, or `-` for raw 16-bit mono at 16 kHz from a pipe.
    /// A further one begins when it says so; where it does not, labels after it are in doubt until saves confirm the clock.
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
    let as_in = "as in 2026-05-04T10:00:00+02:00";
    let at: DateTime<FixedOffset> =
        text.parse().map_err(|_| format!("give day, time and offset from UTC, {as_in}"))?;
    let (year, (first, last)) = (at.with_timezone(&Utc).year(), (START_YEARS.start(), START_YEARS.end()));
    if !START_YEARS.contains(&year) {
        return Err(format!("an exam can begin in the years {first} to {last}, {as_in}"));
    }
    if at.offset().local_minus_utc().abs() > UTC_OFFSET_HOURS_MAX * 3600 {
        return Err(format!("the offset from UTC is at most {UTC_OFFSET_HOURS_MAX} hours, {as_in}"));
    }
    Ok(at)
}

/// A clock anchor is written at least this often.
const ANCHOR_SAMPLES: u64 = 60 * SAMPLE_RATE_HZ as u64;

pub(crate) fn hear(args: &HearArgs) -> anyhow::Result<ExitCode> {
    let folder = ExamFolder::at(&args.into);
    folder.must_be_new()?;
    let protocols = args.knowledge.read()?;
    let spoken = args.language.read(&protocols)?;
    let settings = Settings::read()?;
    settings::tell_missing();
    let subject = settings.added_to(args.subject.read(&protocols, settings.score_scale.as_deref())?);
    let which = settings.ear_or(&args.ear);
    let mut recordings = args.files.iter().map(|path| open(path)).collect::<anyhow::Result<Vec<_>>>()?;
    let engine =
        ear::choose(&which, &spoken.pack.language, &spoken.language, &protocols, subject.person.as_deref())?;
    let began = started(args, &recordings[0])?;
    let begins = begins(args, &recordings, &began)?;
    let start = Anchor { wall: began.at, monotonic_ns: 0, sample: Sample::FIRST };
    let ear = Ear { engine, language: spoken.language.clone(), protocols: Arc::new(protocols) };
    let header = header(&subject, &ear, &spoken, began);
    let session = Session::begin(&folder, header, ear)?;
    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    ctrlc::set_handler(move || asked.store(true, Ordering::Relaxed)).context("cannot listen for Ctrl-C")?;
    let mut hearing = Hearing { session, start, next_anchor: Sample(ANCHOR_SAMPLES), stop };
    let mut files = recordings.iter_mut().zip(&args.files).zip(begins);
    let heard = files.try_for_each(|((recording, path), begins)| hearing.listen(recording, path, begins));
    // The journal is closed whatever happened: what was heard up to a fault is a whole exam.
    hearing.close(heard, args, &folder)
}

fn open(path: &Path) -> anyhow::Result<Recording> {
    if path.as_os_str() == "-" {
        return Ok(recording::raw(path, Box::new(std::io::stdin())));
    }
    let recording = recording::open(path)?;
    if recording.is_unfinished() {
        terminal::warn(format!(
            "zonecall: the head of `{}` does not state its length, or states less than the file holds, as after a \
             power cut or when it was written to a pipe; it is heard to the end of the file",
            path.shown()
        ));
    }
    Ok(recording)
}

/// When a recording was made, as its recorder says, in the time of this place.
fn recorded_at(recording: &Recording) -> Option<DateTime<Local>> {
    recording.started_at().and_then(|naive| Local.from_local_datetime(&naive).earliest())
}

/// When the first sample was recorded, where that comes from, and the local time's lead on UTC.
fn started(args: &HearArgs, first: &Recording) -> anyhow::Result<Began> {
    let began = |at, wall, utc_offset_s| Ok(Began { at, wall, utc_offset_s });
    if let Some(stated) = args.started_at {
        return began(stated.with_timezone(&Utc), WallQuality::Stated, stated.offset().local_minus_utc());
    }
    let local = |at: DateTime<Utc>| at.with_timezone(&Local).offset().fix().local_minus_utc();
    let path = &args.files[0];
    if let Some(here) = recorded_at(first) {
        let at = here.with_timezone(&Utc);
        if is_dated(at) {
            return began(at, WallQuality::Recording, here.offset().fix().local_minus_utc());
        }
        terminal::warn(format!(
            "zonecall: `{}` says that it was recorded on {}, which is impossible, so that is not used",
            path.shown(),
            here.date_naive()
        ));
    }
    if path.as_os_str() == "-" {
        let now = Utc::now();
        return began(now, WallQuality::Computer, local(now));
    }
    let changed = std::fs::metadata(path).and_then(|meta| meta.modified());
    let changed = changed.with_context(|| format!("cannot read the time of `{}`", path.shown()))?;
    // A time before 1970, or too far ahead for a date, is as impossible as any other.
    let since = changed.duration_since(std::time::UNIX_EPOCH).unwrap_or_default();
    let seconds = i64::try_from(since.as_secs()).ok();
    let ended = seconds.and_then(|seconds| DateTime::from_timestamp(seconds, since.subsec_nanos()));
    let millis = first.total_samples().unwrap_or(0) * 1000 / u64::from(SAMPLE_RATE_HZ);
    let length = TimeDelta::milliseconds(i64::try_from(millis).unwrap_or(0));
    let at = ended.and_then(|ended| ended.checked_sub_signed(length));
    let Some(at) = at.filter(|at| is_dated(*at)) else {
        bail!(
            "`{}` does not say when it was recorded, and its file date is impossible; give its start, as in \
             --started-at 2026-05-04T10:00:00+02:00",
            path.shown()
        );
    };
    let why = if first.started_at().is_some() { "" } else { " does not say when it was recorded;" };
    terminal::warn(format!(
        "zonecall: `{}`{why} its file date is used, which may be wrong. \
         To be sure, give its start, as in --started-at 2026-05-04T10:00:00+02:00",
        path.shown()
    ));
    began(at, WallQuality::FileTime, local(at))
}

/// How a recording follows the one before it.
#[derive(Debug, Clone, Copy)]
enum Begins {
    /// It is the first, or its clock is this computer's.
    Here,
    /// At this instant, as its recorder says.
    At(DateTime<Utc>),
    /// It does not say when; nobody knows how long the break before it was.
    Unknown,
}

/// How each recording begins.
fn begins(args: &HearArgs, recordings: &[Recording], began: &Began) -> anyhow::Result<Vec<Begins>> {
    let own = |recording: &Recording| {
        recorded_at(recording).map(|here| here.with_timezone(&Utc)).filter(|at| is_dated(*at))
    };
    // What was stated of the first sets the recorder's clock right for the others, too.
    let ahead = recordings.first().and_then(own).map(|first| began.at - first);
    let mut found = Vec::new();
    let mut ended: Option<(DateTime<Utc>, &Path)> = None;
    for (recording, path) in recordings.iter().zip(&args.files) {
        let at = own(recording).zip(ahead).map(|(at, ahead)| at + ahead);
        if let (Some(at), Some((end, before))) = (at, ended)
            && at + TimeDelta::seconds(1) < end
        {
            bail!(
                "`{}` began before `{}` ended; give the recordings in the order in which they were made",
                path.shown(),
                before.shown()
            );
        }
        let millis = recording.total_samples().map(|samples| samples * 1000 / u64::from(SAMPLE_RATE_HZ));
        let length = millis.and_then(|millis| i64::try_from(millis).ok()).map(TimeDelta::milliseconds);
        ended = at.zip(length).map(|(at, length)| (at + length, path.as_path()));
        found.push(match at {
            _ if found.is_empty() || began.wall == WallQuality::Computer => Begins::Here,
            Some(at) => Begins::At(at),
            None => Begins::Unknown,
        });
    }
    Ok(found)
}

/// In a recording the sample count is the only clock.
fn monotonic_ns(sample: Sample) -> u64 {
    sample.0 * 1_000_000_000 / u64::from(SAMPLE_RATE_HZ)
}

struct Hearing {
    session: Session,
    start: Anchor,
    next_anchor: Sample,
    stop: Arc<AtomicBool>,
}

impl Hearing {
    /// Hears one recording to its end, or until Ctrl-C.
    fn listen(&mut self, recording: &mut Recording, path: &Path, begins: Begins) -> anyhow::Result<()> {
        if self.stop.load(Ordering::Relaxed) {
            return Ok(());
        }
        self.open(path, begins)?;
        let bar = progress(recording.total_samples());
        let heard = self.blocks(recording, &bar);
        let last = self.session.close_audio()?;
        for segment in last {
            self.utterance(&segment)?;
        }
        bar.finish_and_clear();
        heard
    }

    /// Opens the kept sound of a recording; a further one begins a part of the exam that has a clock of its own.
    fn open(&mut self, path: &Path, begins: Begins) -> anyhow::Result<()> {
        let (sample, source) = (self.session.next_sample(), path.to_string_lossy().into_owned());
        let wall = match begins {
            Begins::Here => return Ok(self.session.open_audio(source, None)?),
            Begins::At(at) => at,
            Begins::Unknown => {
                terminal::warn(format!(
                    "zonecall: `{}` does not say when it was recorded, so it is taken to follow the one before it at once; labels \
                     after that are in doubt until saves confirm it",
                    path.shown()
                ));
                self.start.instant_of(sample)
            }
        };
        self.session.open_audio(source, Some(wall))?;
        self.start = Anchor { wall, monotonic_ns: monotonic_ns(sample), sample };
        self.next_anchor = sample + ANCHOR_SAMPLES;
        self.session.step(Input::Anchor(self.start.clone()))?;
        Ok(())
    }

    fn blocks(&mut self, recording: &mut Recording, bar: &ProgressBar) -> anyhow::Result<()> {
        while let Some(block) = recording.next_block()? {
            for effect in self.session.mind_folder()? {
                if let Effect::Show(ScreenChange::Line(_, text)) = effect {
                    bar.suspend(|| terminal::warn(format!("zonecall: {text}")));
                }
            }
            for segment in self.session.take(&block)? {
                self.utterance(&segment)?;
            }
            self.anchor_when_due()?;
            bar.inc(block.len() as u64);
            bar.set_message(format!("{} calls", self.session.dialogue().counts().calls));
            if self.stop.load(Ordering::Relaxed) {
                break;
            }
        }
        Ok(())
    }

    /// One utterance: recognised, understood, written down.
    fn utterance(&mut self, segment: &UtteranceAudio) -> anyhow::Result<()> {
        let (utterance, parsed) = self.session.recognise(segment)?;
        self.session.attend(utterance, parsed, Arrival::Whole)?;
        Ok(())
    }

    /// In a recording the wall clock is the sample count, so an anchor only repeats it.
    fn anchor_when_due(&mut self) -> anyhow::Result<()> {
        while self.session.next_sample() >= self.next_anchor {
            let sample = self.next_anchor;
            let wall = self.start.instant_of(sample);
            let monotonic_ns = monotonic_ns(sample);
            self.session.step(Input::Anchor(Anchor { wall, monotonic_ns, sample }))?;
            self.next_anchor += ANCHOR_SAMPLES;
        }
        Ok(())
    }

    fn close(
        self,
        heard: anyhow::Result<()>,
        args: &HearArgs,
        folder: &ExamFolder,
    ) -> anyhow::Result<ExitCode> {
        let interrupted = self.stop.load(Ordering::Relaxed);
        let reason = match (&heard, interrupted, self.session.dialogue().has_ended()) {
            (Err(error), ..) => CloseReason::Fault(one_line(error)),
            (Ok(()), true, _) => CloseReason::Interrupted,
            (Ok(()), false, true) => CloseReason::EndOfExam,
            (Ok(()), false, false) => CloseReason::EndOfRecording,
        };
        let has_moved = self.session.has_moved();
        let (counts, kept_s) = (self.session.dialogue().counts(), self.session.next_sample().seconds());
        let (summary, ear) = self.session.close(reason)?;
        writeln!(terminal::out(), "{summary}")?;
        heard.context("everything heard before that is kept, and the exam is closed")?;
        if interrupted {
            return Ok(ExitCode::from(130));
        }
        if !has_moved {
            write_down(folder, &ear, &args.ear);
        }
        if counts.after_end > 0 {
            terminal::warn(format!(
                "zonecall: phrases after `end of exam` that changed nothing: {}; `zonecall check` says when they begin: \
                 listen, and add what was meant at the desk",
                counts.after_end
            ));
        }
        if counts.utterances > 0 {
            return Ok(ExitCode::from(u8::from(has_moved || counts.after_end > 0)));
        }
        terminal::warn(format!(
            "zonecall: no speech was found in {kept_s:.0} s of sound; listen to the recording: was the microphone muted, \
             unplugged or the wrong one? `zonecall setup` tests it"
        ));
        Ok(ExitCode::from(1))
    }
}

fn progress(total: Option<u64>) -> ProgressBar {
    let style = |template: &str| {
        ProgressStyle::with_template(template).unwrap_or_else(|_| ProgressStyle::default_bar())
    };
    match total {
        Some(total) => {
            ProgressBar::new(total).with_style(style("hearing {bar:30} {percent:>3} %, {eta} left, {msg}"))
        }
        None => ProgressBar::new_spinner().with_style(style("hearing {spinner} {elapsed}, {msg}")),
    }
}
