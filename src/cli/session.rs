//! One exam being heard, from a recording or a microphone: the chain that both share.
//!
//! Takes: an engine and a language, then blocks of audio in order.
//! Gives: kept audio, utterances, and the journal's lines about them.
//! Never: recognises a sample before it is kept.
//! Tested in: `tests/it/demo.rs`, `tests/sound/listen.rs`.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, ensure};
use chrono::{DateTime, Local, Offset as _, Utc};
use sha2::{Digest, Sha256};

use super::args::SubjectArgs;
use super::exam_folder;
use crate::clock::{Anchor, SAMPLE_RATE_HZ, Span, WallQuality};
use crate::exam::attend::Attention;
use crate::exam::call::{Act, Call, Command};
use crate::exam::event::{
    AudioFile, CallEvent, Event, Header, Horse, JOURNAL_SCHEMA, Outcome, Settled, UtteranceEvent,
};
use crate::exam::fold::Exam;
use crate::exam::journal::{self, JOURNAL_FILE, Journal, JournalError};
use crate::exam::parse::{Parsed, is_whole, parse};
use crate::language::graph::Moment;
use crate::language::pack::Language;
use crate::protocol::Protocols;
use crate::speech::endpoint::Endpointer;
use crate::speech::keep::Keeper;
use crate::speech::recognise::{EngineError, Recogniser};
use crate::speech::utterance::{Utterance, UtteranceAudio, Word};

/// What an exam is heard with.
pub(super) struct Ear {
    pub(super) engine: Box<dyn Recogniser>,
    pub(super) language: Language,
    pub(super) protocols: Protocols,
}

impl Ear {
    /// One utterance, recognised and understood.
    pub(super) fn hear(&mut self, segment: &UtteranceAudio) -> Result<(Utterance, Parsed), EngineError> {
        let utterance = self.engine.recognise(segment)?;
        let parsed = self.understand(&utterance);
        Ok((utterance, parsed))
    }

    /// The same at a short pause, and whether all of the utterance was said: surely heard, and nothing can belong to it that
    /// would change its meaning.
    fn hear_early(
        &mut self,
        segment: &UtteranceAudio,
        asked: bool,
    ) -> Result<(bool, (Utterance, Parsed)), EngineError> {
        let (utterance, parsed) = self.hear(segment)?;
        let words: Vec<&str> = utterance.words.iter().map(|word| word.text.as_str()).collect();
        let is_sure = !utterance.rejected && !utterance.unsure && parsed.problems.is_empty();
        let is_whole = is_sure && is_whole(&words, asked, &self.language, &self.protocols);
        Ok((is_whole, (utterance, parsed)))
    }

    /// What an utterance means by itself.
    pub(super) fn understand(&self, utterance: &Utterance) -> Parsed {
        parse(utterance, &self.language, &self.protocols)
    }
}

/// When an exam began, and how well that is known.
#[derive(Debug, Clone, Copy)]
pub(super) struct Began {
    pub(super) at: DateTime<Utc>,
    pub(super) wall: WallQuality,
    /// The local time's lead on UTC.
    pub(super) utc_offset_s: i32,
}

impl Began {
    /// An exam that begins by this computer's clock, in the time zone of this place.
    pub(super) fn live(at: DateTime<Utc>) -> Self {
        let utc_offset_s = at.with_timezone(&Local).offset().fix().local_minus_utc();
        Self { at, wall: WallQuality::Computer, utc_offset_s }
    }
}

#[derive(Debug, Default)]
pub(super) struct Counts {
    pub(super) utterances: usize,
    pub(super) calls: usize,
    pub(super) not_understood: usize,
}

/// What became of an utterance, as it stands in the journal.
#[derive(Debug, Clone)]
pub(super) struct Written {
    pub(super) heard_seq: u64,
    pub(super) outcome: Outcome,
    pub(super) calls: Vec<Call>,
}

pub(super) struct Session {
    pub(super) folder: PathBuf,
    pub(super) ear: Ear,
    pub(super) attention: Attention,
    pub(super) counts: Counts,
    utc_offset_s: i32,
    anchor: Anchor,
    journal: Journal,
    keeper: Option<Keeper>,
    utterances: Endpointer,
    /// An utterance is ended at a short pause where all of it was said surely.
    early: bool,
    /// The utterance that was heard last at a short pause.
    heard_early: Option<(Utterance, Parsed)>,
    next_sample: u64,
    n_files: usize,
    /// A question waits for an answer.
    asked: bool,
}

/// The header of a new exam.
pub(super) fn header(
    subject: &SubjectArgs,
    ear: &Ear,
    language: &exam_folder::SpokenLanguage,
    began: Began,
) -> Header {
    Header {
        schema: JOURNAL_SCHEMA.to_owned(),
        program: env!("CARGO_PKG_VERSION").to_owned(),
        id: exam_id(began.at),
        engine: ear.engine.id(),
        grammar_sha256: language.pack.sha256.clone(),
        language: language.pack.language.clone(),
        protocols_sha256: ear.protocols.sha256.clone(),
        schemes: language.schemes.clone(),
        sample_rate_hz: SAMPLE_RATE_HZ,
        started_at: began.at,
        wall: began.wall,
        utc_offset_s: began.utc_offset_s,
        person: subject.person.clone(),
        horse: Horse { name: subject.horse.clone(), id: subject.horse_id.clone() },
    }
}

/// A name that no other exam has: the start, and eight hexadecimal figures.
fn exam_id(started_at: DateTime<Utc>) -> String {
    let now = Utc::now().timestamp_nanos_opt().unwrap_or(0);
    let mixed = Sha256::digest(format!("{started_at} {now} {}", std::process::id()));
    format!("{}-{}", started_at.format("%Y%m%dT%H%M%SZ"), &crate::hex(&mixed)[..8])
}

/// Told before an engine is loaded; `Journal::create` makes sure of it.
pub(super) fn must_be_new(folder: &Path) -> Result<(), JournalError> {
    let path = folder.join(JOURNAL_FILE);
    if path.exists() { Err(JournalError::Exists { path }) } else { Ok(()) }
}

impl Session {
    /// Begins an exam in `folder`.
    pub(super) fn begin(folder: &Path, header: Header, ear: Ear) -> anyhow::Result<Self> {
        let (at, utc_offset_s) = (header.started_at, header.utc_offset_s);
        let anchor = Anchor { wall: at, monotonic_ns: 0, sample: 0 };
        let mut journal = Journal::create(folder)?;
        journal.append(at, 0, &Event::Exam(Box::new(header)))?;
        journal.append(at, 0, &Event::Anchor(anchor.clone()))?;
        Ok(Self {
            folder: folder.to_owned(),
            ear,
            attention: Attention::default(),
            counts: Counts::default(),
            utc_offset_s,
            anchor,
            journal,
            keeper: None,
            utterances: Endpointer::new(0)?,
            early: false,
            heard_early: None,
            next_sample: 0,
            n_files: 0,
            asked: false,
        })
    }

    /// Goes on with the exam in `folder` at `now`: the samples count on, what was in force is in force again.
    pub(super) fn resume(
        folder: &Path,
        mut ear: Ear,
        grammar_sha256: &str,
        now: DateTime<Utc>,
    ) -> anyhow::Result<Self> {
        let mut journal = Journal::open(folder)?;
        let lines = journal::read(folder)?;
        let exam = exam_folder::exam(folder, &ear.protocols)?;
        let next_sample =
            lines.events.iter().map(|line| line.sample).max().unwrap_or(0).max(kept(folder, &exam)?);
        let anchor = Anchor { wall: now, monotonic_ns: 0, sample: next_sample };
        ear.engine.follow(Moment { limb: exam.context.limb.as_deref(), asked: false });
        let engine = ear.engine.id();
        if engine != exam.header.engine {
            eprintln!(
                "zonecall: the exam was begun with the ear `{}`; it goes on with `{}`",
                exam.header.engine.name, engine.name
            );
        }
        journal.append(
            now,
            next_sample,
            &Event::Resumed { engine, grammar_sha256: grammar_sha256.to_owned() },
        )?;
        journal.append(now, next_sample, &Event::Anchor(anchor.clone()))?;
        Ok(Self {
            folder: folder.to_owned(),
            ear,
            attention: Attention::default(),
            counts: Counts::default(),
            utc_offset_s: exam.header.utc_offset_s,
            anchor,
            journal,
            keeper: None,
            utterances: Endpointer::new(next_sample)?,
            early: false,
            heard_early: None,
            next_sample,
            n_files: exam.audio.len(),
            asked: false,
        })
    }

    /// Number of the next sample.
    pub(super) fn next_sample(&self) -> u64 {
        self.next_sample
    }

    /// The instant of the next sample.
    pub(super) fn now(&self) -> DateTime<Utc> {
        self.anchor.instant_of(self.next_sample)
    }

    /// Begins the next audio file; `source` is a file or a device.
    pub(super) fn open_audio(&mut self, source: String) -> anyhow::Result<()> {
        ensure!(self.keeper.is_none(), "the audio file before was not closed");
        let at = self.now();
        let folder = self.folder.join("audio");
        std::fs::create_dir_all(&folder).with_context(|| format!("cannot make `{}`", folder.display()))?;
        // A crash may have left a file that no line speaks of: it is kept, too.
        let file = loop {
            self.n_files += 1;
            let file = format!("audio/{:04}.wav", self.n_files);
            if !self.folder.join(&file).exists() {
                break file;
            }
        };
        self.keeper = Some(Keeper::create(&self.folder.join(&file), at, self.utc_offset_s)?);
        let first_sample = self.next_sample;
        self.journal.append(at, first_sample, &Event::Audio(AudioFile { file, first_sample, source }))?;
        self.utterances = self.utterances_from(first_sample)?;
        Ok(())
    }

    /// Keeps a block of samples, then gives the utterances that ended in it.
    pub(super) fn take(&mut self, block: &[i16]) -> anyhow::Result<Vec<UtteranceAudio>> {
        self.keep(block)?;
        Ok(self.utterances.take(block))
    }

    fn keep(&mut self, block: &[i16]) -> anyhow::Result<()> {
        if let Some(keeper) = &mut self.keeper {
            keeper.write(block)?;
        }
        self.next_sample += block.len() as u64;
        Ok(())
    }

    /// The same; after `answer_early` an utterance ends at a short pause where all of it was said surely.
    pub(super) fn take_early(&mut self, block: &[i16]) -> anyhow::Result<Vec<UtteranceAudio>> {
        self.keep(block)?;
        let Self { utterances, ear, asked, heard_early, .. } = self;
        let mut fault = None;
        let ended = utterances.take_asking(block, |segment| match ear.hear_early(segment, *asked) {
            Ok((is_whole, heard)) => {
                *heard_early = Some(heard);
                is_whole
            }
            Err(error) => {
                fault = Some(error);
                false
            }
        });
        fault.map_or(Ok(ended), |error| Err(error.into()))
    }

    /// From now on utterances can end early, if the engine is quick enough.
    pub(super) fn answer_early(&mut self) -> anyhow::Result<()> {
        self.early = self.ear.engine.is_quick();
        self.utterances = self.utterances_from(self.next_sample)?;
        Ok(())
    }

    /// The words of the utterance that is going on, for the eye only; none where nobody speaks or the engine takes too long.
    pub(super) fn growing(&mut self) -> anyhow::Result<Option<String>> {
        let Some(segment) = self.utterances.growing().filter(|_| self.early) else { return Ok(None) };
        let utterance = self.ear.engine.recognise(&segment)?;
        Ok(Some(utterance.text()).filter(|words| !utterance.rejected && !words.is_empty()))
    }

    fn utterances_from(&self, first: u64) -> anyhow::Result<Endpointer> {
        Ok(if self.early { Endpointer::asking_early(first)? } else { Endpointer::new(first)? })
    }

    /// Keeps an utterance that was cut out of the sound already; what is taken next follows it. Gives its place here.
    pub(super) fn take_utterance(&mut self, segment: &UtteranceAudio) -> anyhow::Result<UtteranceAudio> {
        let from = self.next_sample;
        self.keep(&segment.samples)?;
        self.utterances = self.utterances_from(self.next_sample)?;
        Ok(UtteranceAudio { span: Span { from, to: self.next_sample }, ..segment.clone() })
    }

    /// Ends the utterance that is going on, if any: what follows begins a new one.
    pub(super) fn cut(&mut self) -> anyhow::Result<Option<UtteranceAudio>> {
        let ended = self.utterances.finish();
        self.utterances = self.utterances_from(self.next_sample)?;
        Ok(ended)
    }

    /// Ends the audio file: whatever happened, what was heard up to here is whole on the disk.
    pub(super) fn close_audio(&mut self) -> anyhow::Result<Option<UtteranceAudio>> {
        if let Some(keeper) = self.keeper.take() {
            keeper.finalise()?;
        }
        Ok(self.utterances.finish())
    }

    /// One utterance: recognised and understood, not yet written.
    pub(super) fn recognise(&mut self, segment: &UtteranceAudio) -> anyhow::Result<(Utterance, Parsed)> {
        match self.heard_early.take() {
            Some(heard) if heard.0.span == segment.span => Ok(heard),
            _ => self.ear.hear(segment).map_err(Into::into),
        }
    }

    /// What becomes of an utterance is decided and written down.
    pub(super) fn attend(&mut self, utterance: Utterance, parsed: Parsed) -> anyhow::Result<Written> {
        let (heard, calls) = self.attention.attend(utterance, parsed);
        self.write(heard, calls)
    }

    /// Writes an utterance and its calls.
    pub(super) fn write(&mut self, heard: UtteranceEvent, calls: Vec<Call>) -> anyhow::Result<Written> {
        let (sample, outcome) = (heard.utterance.span.to, heard.outcome);
        self.counts.utterances += 1;
        self.counts.not_understood += usize::from(outcome == Outcome::NotUnderstood);
        let heard_seq = self.note(sample, &Event::Utterance(heard))?;
        self.write_calls(heard_seq, sample, &calls)?;
        Ok(Written { heard_seq, outcome, calls })
    }

    /// The second reading of an utterance that the engine is unsure of, understood; none where it tells none.
    ///
    /// Where in the utterance its words lie is not known.
    pub(super) fn rival(&self, utterance: &Utterance) -> Option<Parsed> {
        let rival = utterance.rivals.first().filter(|_| utterance.unsure)?;
        let (span, confidence) = (utterance.span, utterance.confidence);
        let words = rival.words.split(' ').map(|text| Word { text: text.to_owned(), span, confidence });
        let reading = Utterance { words: words.collect(), ..utterance.clone() };
        Some(self.ear.understand(&reading))
    }

    /// From now on answers can be heard, or not any more.
    pub(super) fn expect_answer(&mut self, asked: bool) -> anyhow::Result<()> {
        self.asked = asked;
        self.follow()
    }

    fn follow(&mut self) -> anyhow::Result<()> {
        // Which limb is in force after taking back and putting right: one place knows that, and it is rare.
        let exam = self.exam()?;
        self.ear.engine.follow(Moment { limb: exam.context.limb.as_deref(), asked: self.asked });
        Ok(())
    }

    /// Writes how a question was answered, and the calls that were meant.
    pub(super) fn settle(&mut self, sample: u64, settled: Settled, calls: &[Call]) -> anyhow::Result<()> {
        let heard_seq = settled.heard_seq;
        self.note(sample, &Event::Settled(settled))?;
        self.attention.follow(calls, sample);
        self.write_calls(heard_seq, sample, calls)
    }

    /// Writes the calls of the utterance `heard_seq`, at `sample`.
    pub(super) fn write_calls(&mut self, heard_seq: u64, sample: u64, calls: &[Call]) -> anyhow::Result<()> {
        self.counts.calls += calls.len();
        for call in calls {
            self.note(sample, &Event::Call(CallEvent { heard_seq, call: call.clone() }))?;
        }
        if calls.iter().any(may_change_limb) {
            self.follow()?;
        }
        Ok(())
    }

    /// Writes any other line.
    pub(super) fn note(&mut self, sample: u64, event: &Event) -> anyhow::Result<u64> {
        Ok(self.journal.append(self.anchor.instant_of(sample), sample, event)?)
    }

    /// From now on instants are counted from `anchor`.
    pub(super) fn anchor(&mut self, anchor: Anchor) -> anyhow::Result<()> {
        self.journal.append(anchor.wall, anchor.sample, &Event::Anchor(anchor.clone()))?;
        self.anchor = anchor;
        Ok(())
    }

    /// The exam as it stands.
    pub(super) fn exam(&self) -> anyhow::Result<Exam> {
        exam_folder::exam(&self.folder, &self.ear.protocols)
    }

    /// Ends the journal; gives what is to be told of the exam, and the ear.
    pub(super) fn close(mut self, reason: &str) -> anyhow::Result<(String, Ear)> {
        let closed = Event::Closed { reason: reason.to_owned(), samples: self.next_sample };
        self.note(self.next_sample, &closed)?;
        let Counts { utterances, calls, not_understood } = self.counts;
        let folder = self.folder.display();
        let summary = format!(
            "{folder}: {utterances} utterances, {calls} calls, {not_understood} not understood; {reason}"
        );
        Ok((summary, self.ear))
    }
}

/// The sample after the last one that the exam's audio files hold; a crash may have come before any line said so.
pub(super) fn kept(folder: &Path, exam: &Exam) -> anyhow::Result<u64> {
    let Some(last) = exam.audio.last() else { return Ok(0) };
    let path = folder.join(&last.file);
    let reader =
        hound::WavReader::open(&path).with_context(|| format!("cannot read `{}`", path.display()))?;
    Ok(last.first_sample + u64::from(reader.duration()))
}

fn may_change_limb(call: &Call) -> bool {
    match &call.act {
        Act::View(view) => view.limb.is_some() || call.corrects,
        Act::Command(Command::TakeBack { .. }) => true,
        _ => false,
    }
}
