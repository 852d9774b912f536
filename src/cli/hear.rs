//! `zonecall hear`: a recording becomes an exam folder with its journal and the kept audio.
//!
//! Takes: recordings and the options of `args::Hear`.
//! Gives: `exam.jsonl` and `audio/0001.wav`, `audio/0002.wav`, ... in the folder.
//! Never: recognises a sample before it is kept.
//! Tested in: `tests/demo.rs`.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::Context as _;
use chrono::{DateTime, Local, Offset, TimeDelta, TimeZone, Utc};
use indicatif::{ProgressBar, ProgressStyle};
use sha2::{Digest, Sha256};

use super::args;
use super::ear;
use super::exam_folder;
use crate::clock::{Anchor, SAMPLE_RATE_HZ, WallQuality};
use crate::exam::attend::Attention;
use crate::exam::call::{Act, Call, Command};
use crate::exam::event::{AudioFile, Event, Header, HeardCall, Horse, JOURNAL_SCHEMA, Outcome};
use crate::exam::journal::{JOURNAL_FILE, Journal, JournalError};
use crate::exam::parse::parse;
use crate::hear::decode::{self, Recording};
use crate::hear::endpoint::Breaths;
use crate::hear::keep::Keeper;
use crate::hear::recognise::Recogniser;
use crate::hear::utterance::Segment;
use crate::language::pack::Language;
use crate::protocol::Protocols;

/// A clock anchor is written at least this often.
const ANCHOR_SAMPLES: u64 = 60 * SAMPLE_RATE_HZ as u64;

pub(crate) fn hear(args: &args::Hear) -> anyhow::Result<ExitCode> {
    // Told before the engine is loaded; `Journal::create` makes sure of it.
    let path = args.into.join(JOURNAL_FILE);
    if path.exists() {
        return Err(JournalError::Exists { path }.into());
    }
    let protocols = exam_folder::protocols(&args.knowledge)?;
    let (pack, language, schemes) = exam_folder::language(&args.language, &protocols)?;
    let mut recordings = args.files.iter().map(|path| open(path)).collect::<anyhow::Result<Vec<_>>>()?;
    let engine = ear::choose(&args.ear, &pack.language, &language, &protocols)?;
    let (started_at, wall, utc_offset_s) = started(args, &recordings[0])?;
    let header = Header {
        schema: JOURNAL_SCHEMA.to_owned(),
        program: env!("CARGO_PKG_VERSION").to_owned(),
        id: exam_id(started_at),
        engine: engine.id(),
        grammar_sha256: pack.sha256,
        language: pack.language,
        protocols_sha256: protocols.sha256.clone(),
        schemes,
        sample_rate_hz: SAMPLE_RATE_HZ,
        started_at,
        wall,
        utc_offset_s,
        person: args.person.clone(),
        horse: Horse { name: args.horse.clone(), id: args.horse_id.clone() },
    };
    let anchor = Anchor { wall: started_at, monotonic_ns: 0, sample: 0 };
    let mut journal = Journal::create(&args.into)?;
    journal.append(started_at, 0, &Event::Exam(Box::new(header)))?;
    journal.append(started_at, 0, &Event::Anchor(anchor.clone()))?;
    let stop = Arc::new(AtomicBool::new(false));
    let asked = Arc::clone(&stop);
    ctrlc::set_handler(move || asked.store(true, Ordering::Relaxed)).context("cannot listen for Ctrl-C")?;
    let mut session = Session {
        folder: args.into.clone(),
        utc_offset_s,
        anchor,
        journal,
        engine,
        attention: Attention::default(),
        language,
        protocols,
        next_sample: 0,
        next_anchor: ANCHOR_SAMPLES,
        counts: Counts::default(),
        stop,
    };
    for (recording, path) in recordings.iter_mut().zip(&args.files) {
        session.listen(recording, path)?;
    }
    session.close()
}

fn open(path: &Path) -> anyhow::Result<Recording> {
    if path.as_os_str() == "-" {
        return Ok(decode::raw(path, Box::new(std::io::stdin())));
    }
    Ok(decode::open(path)?)
}

/// When the first sample was recorded, where that comes from, and the local time's lead on UTC.
fn started(args: &args::Hear, first: &Recording) -> anyhow::Result<(DateTime<Utc>, WallQuality, i32)> {
    if let Some(stated) = args.started_at {
        return Ok((stated.with_timezone(&Utc), WallQuality::Stated, stated.offset().local_minus_utc()));
    }
    let local = |at: DateTime<Utc>| at.with_timezone(&Local).offset().fix().local_minus_utc();
    if let Some(naive) = first.started_at()
        && let Some(here) = Local.from_local_datetime(&naive).earliest()
    {
        return Ok((here.with_timezone(&Utc), WallQuality::Recording, here.offset().fix().local_minus_utc()));
    }
    let path = &args.files[0];
    if path.as_os_str() == "-" {
        let now = Utc::now();
        return Ok((now, WallQuality::Computer, local(now)));
    }
    let changed = std::fs::metadata(path).and_then(|meta| meta.modified());
    let ended: DateTime<Utc> =
        changed.with_context(|| format!("cannot read the time of `{}`", path.display()))?.into();
    let millis = first.total_samples().unwrap_or(0) * 1000 / u64::from(SAMPLE_RATE_HZ);
    let began = ended - TimeDelta::milliseconds(i64::try_from(millis).unwrap_or(0));
    eprintln!(
        "zonecall: `{}` does not say when it was recorded; its file time is taken, which may be wrong by anything. \
         Give --started-at to be sure.",
        path.display()
    );
    Ok((began, WallQuality::FileTime, local(began)))
}

/// A name that no other exam has: the start, and eight hexadecimal figures.
fn exam_id(started_at: DateTime<Utc>) -> String {
    let now = Utc::now().timestamp_nanos_opt().unwrap_or(0);
    let mixed = Sha256::digest(format!("{started_at} {now} {}", std::process::id()));
    format!("{}-{}", started_at.format("%Y%m%dT%H%M%SZ"), &crate::hex(&mixed)[..8])
}

#[derive(Debug, Default)]
struct Counts {
    files: usize,
    breaths: usize,
    calls: usize,
    not_understood: usize,
}

struct Session {
    folder: PathBuf,
    utc_offset_s: i32,
    anchor: Anchor,
    journal: Journal,
    engine: Box<dyn Recogniser>,
    attention: Attention,
    language: Language,
    protocols: Protocols,
    next_sample: u64,
    next_anchor: u64,
    counts: Counts,
    stop: Arc<AtomicBool>,
}

impl Session {
    /// Hears one recording to its end, or until Ctrl-C.
    fn listen(&mut self, recording: &mut Recording, path: &Path) -> anyhow::Result<()> {
        if self.stop.load(Ordering::Relaxed) {
            return Ok(());
        }
        self.counts.files += 1;
        let file = format!("audio/{:04}.wav", self.counts.files);
        let first_sample = self.next_sample;
        let at = self.anchor.instant_of(first_sample);
        std::fs::create_dir_all(self.folder.join("audio"))
            .with_context(|| format!("cannot make `{}`", self.folder.join("audio").display()))?;
        let mut keeper = Keeper::create(&self.folder.join(&file), at, self.utc_offset_s)?;
        let audio = AudioFile { file, first_sample, source: path.display().to_string() };
        self.journal.append(at, first_sample, &Event::Audio(audio))?;
        let mut breaths = Breaths::new(first_sample)?;
        let bar = progress(recording.total_samples());
        let heard = self.blocks(recording, &mut keeper, &mut breaths, &bar);
        // Whatever happened, what was heard up to here is whole on the disk.
        keeper.finalise()?;
        heard?;
        if let Some(segment) = breaths.finish() {
            self.breath(&segment)?;
        }
        bar.finish_and_clear();
        Ok(())
    }

    fn blocks(
        &mut self,
        recording: &mut Recording,
        keeper: &mut Keeper,
        breaths: &mut Breaths,
        bar: &ProgressBar,
    ) -> anyhow::Result<()> {
        while let Some(block) = recording.next_block()? {
            keeper.write(&block)?;
            self.next_sample += block.len() as u64;
            for segment in breaths.take(&block) {
                self.breath(&segment)?;
            }
            self.anchor_when_due()?;
            bar.inc(block.len() as u64);
            bar.set_message(format!("{} calls", self.counts.calls));
            if self.stop.load(Ordering::Relaxed) {
                break;
            }
        }
        Ok(())
    }

    /// One breath: recognised, understood, written down.
    fn breath(&mut self, segment: &Segment) -> anyhow::Result<()> {
        let utterance = self.engine.recognise(segment)?;
        let parsed = parse(&utterance, &self.language, &self.protocols);
        let (heard, calls) = self.attention.attend(utterance, parsed);
        self.counts.breaths += 1;
        self.counts.calls += calls.len();
        self.counts.not_understood += usize::from(heard.outcome == Outcome::NotUnderstood);
        let sample = segment.span.to;
        let at = self.anchor.instant_of(sample);
        let heard_seq = self.journal.append(at, sample, &Event::Heard(heard))?;
        let moved = calls.iter().any(may_change_limb);
        for call in calls {
            self.journal.append(at, sample, &Event::Call(HeardCall { heard_seq, call }))?;
        }
        if moved {
            // Which limb is in force after taking back and putting right: one place knows that, and it is rare.
            let exam = exam_folder::exam(&self.folder, &self.protocols)?;
            self.engine.follow(exam.context.limb.as_deref());
        }
        Ok(())
    }

    /// In a recording the wall clock is the sample count, so an anchor only repeats it.
    fn anchor_when_due(&mut self) -> anyhow::Result<()> {
        while self.next_sample >= self.next_anchor {
            let sample = self.next_anchor;
            let wall = self.anchor.instant_of(sample);
            let monotonic_ns = sample * 1_000_000_000 / u64::from(SAMPLE_RATE_HZ);
            self.journal.append(wall, sample, &Event::Anchor(Anchor { wall, monotonic_ns, sample }))?;
            self.next_anchor += ANCHOR_SAMPLES;
        }
        Ok(())
    }

    fn close(mut self) -> anyhow::Result<ExitCode> {
        let interrupted = self.stop.load(Ordering::Relaxed);
        let reason = match (interrupted, self.attention.ended()) {
            (true, _) => "interrupted",
            (false, true) => "end of exam",
            (false, false) => "end of the recording",
        };
        let closed = Event::Closed { reason: reason.to_owned(), samples: self.next_sample };
        self.journal.append(self.anchor.instant_of(self.next_sample), self.next_sample, &closed)?;
        let Counts { breaths, calls, not_understood, .. } = self.counts;
        writeln!(
            std::io::stdout(),
            "{}: {breaths} breaths, {calls} calls, {not_understood} not understood; {reason}",
            self.folder.display()
        )?;
        Ok(if interrupted { ExitCode::from(130) } else { ExitCode::SUCCESS })
    }
}

fn may_change_limb(call: &Call) -> bool {
    match &call.act {
        Act::View(view) => view.limb.is_some() || call.corrects,
        Act::Command(Command::TakeBack { .. }) => true,
        _ => false,
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
