//! One exam being heard, from a recording or a microphone: the chain that both share.
//!
//! Takes: an exam folder and an ear, then blocks of audio in order.
//! Gives: kept audio, the journal's lines, and what else the dialogue needs done.
//! Never: recognises a sample before it is kept, or goes on before a line is on the disk.
//! Tested in: `tests/it/demo.rs`, `tests/sound/listen.rs`.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Instant;

use chrono::{DateTime, Local, Offset as _, Utc};
use sha2::{Digest, Sha256};

use crate::clock::{Anchor, SAMPLE_RATE_HZ, Sample, Span, WallQuality};
use crate::exam::event::{AudioFile, CloseReason, Event, ExamEvent, Header, Horse, JOURNAL_SCHEMA};
use crate::exam::file_integrity::file_hashes;
use crate::exam::fold::Exam;
use crate::exam::journal::{Journal, JournalError};
use crate::exam::parse::Parsed;
use crate::exam::utterance_segmenter::{Ending, UtteranceSegmenter};
use crate::exam_folder::{ExamFolder, FolderError};
use crate::language::pack::NUMBER_RULE;
use crate::session::dialogue::{Counts, Dialogue, DialogueOptions};
use crate::session::ear::Ear;
use crate::session::effect::{Arrival, Effect, HeardUtterance, Input};
use crate::session::error::SessionError;
use crate::session::exam_summary::counted;
use crate::session::notice::{Notice, ScreenChange};
use crate::session::options::Subject;
use crate::session::second_place::{copy_files, places};
use crate::session::spoken::SpokenLanguage;
use crate::session::tone::Tone;
use crate::speech::keep::{KeepError, Keeper};
use crate::speech::utterance::{Utterance, UtteranceAudio};
use crate::terminal::{self, ShownText as _};

/// When an exam began, and how well that is known.
#[derive(Debug, Clone, Copy)]
pub struct Began {
    /// When.
    pub at: DateTime<Utc>,
    /// How well it is known.
    pub wall: WallQuality,
    /// The local time's lead on UTC.
    pub utc_offset_s: i32,
}

impl Began {
    /// An exam that begins by this computer's clock, in the time zone of this place.
    #[must_use]
    pub fn live(at: DateTime<Utc>) -> Self {
        // A clock that was never set may begin in the middle of the first samples.
        let at = at.max(DateTime::UNIX_EPOCH);
        let utc_offset_s = at.with_timezone(&Local).offset().fix().local_minus_utc();
        Self { at, wall: WallQuality::Computer, utc_offset_s }
    }
}

/// An exam that is being heard.
pub struct Session {
    folder: ExamFolder,
    ear: Ear,
    dialogue: Dialogue,
    utc_offset_s: i32,
    journal: Journal,
    keeper: Option<Keeper>,
    segmenter: UtteranceSegmenter,
    next_sample: Sample,
    n_files: usize,
    /// Since when it is heard, by the monotonic clock.
    since: Instant,
    /// Lines that the disk refused; they are written before any other.
    unwritten: Vec<ExamEvent>,
    /// The folders that were lost while it was heard.
    lost: Vec<PathBuf>,
}

/// The header of a new exam.
#[must_use]
pub fn header(subject: &Subject, ear: &Ear, language: &SpokenLanguage, began: Began) -> Header {
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
        horse: subject.horse.clone(),
        order: subject.order.clone(),
        limb_lengths_cm: subject.limb_lengths_cm.clone(),
        save_first: subject.save_first.unwrap_or(false),
        context_s: subject.context_s,
        scales: subject.scales.clone(),
    }
}

/// A name that no other exam has: the start, and eight hexadecimal figures.
fn exam_id(started_at: DateTime<Utc>) -> String {
    let now = Utc::now().timestamp_nanos_opt().unwrap_or(0);
    let mixed = Sha256::digest(format!("{started_at} {now} {}", std::process::id()));
    format!("{}-{}", started_at.format("%Y%m%dT%H%M%SZ"), &crate::hex(&mixed)[..8])
}

impl Session {
    /// Begins an exam in `folder`.
    ///
    /// # Errors
    /// When there is one already, or the disk refuses.
    pub fn begin(folder: &ExamFolder, header: Header, ear: Ear) -> Result<Self, SessionError> {
        let utc_offset_s = header.utc_offset_s;
        let journal = folder.begin_journal()?;
        let (dialogue, effects) = Dialogue::begin(header, Arc::clone(&ear.protocols));
        let segmenter = UtteranceSegmenter::new(Sample::FIRST, Ending::AtPause, ear.engine.as_ref());
        let mut this = Self {
            folder: folder.clone(),
            ear,
            dialogue,
            utc_offset_s,
            journal,
            keeper: None,
            segmenter,
            next_sample: Sample::FIRST,
            n_files: 0,
            since: folder.machine().now().monotonic,
            unwritten: Vec::new(),
            lost: Vec::new(),
        };
        this.carry_out(effects)?;
        Ok(this)
    }

    /// Goes on with the exam in `folder` at `now`: the samples count on, and what was current is current again.
    ///
    /// # Errors
    /// When there is none, it cannot be read, or the disk refuses.
    pub fn resume(
        folder: &ExamFolder,
        ear: Ear,
        grammar_sha256: &str,
        now: DateTime<Utc>,
    ) -> Result<Self, SessionError> {
        let journal = folder.append_journal()?;
        let lines = folder.lines()?;
        let exam = folder.exam_of(&lines, &ear.protocols)?;
        let last = lines.events.iter().map(|line| line.sample).max().unwrap_or_default();
        let next_sample = last.max(folder.kept_samples(&exam));
        let engine = ear.engine.id();
        if engine != exam.header.engine {
            terminal::warn(format!(
                "zonecall: the exam began with the ear `{}` and continues with `{}`",
                exam.header.engine.name, engine.name
            ));
        }
        let anchor = Anchor { wall: now, monotonic_ns: 0, sample: next_sample };
        let resumed = Event::Resumed { engine, grammar_sha256: grammar_sha256.to_owned() };
        let failed = |source| FolderError::Fold { path: folder.journal_file(), source };
        let (dialogue, effects) =
            Dialogue::resume(lines, Arc::clone(&ear.protocols), anchor, resumed).map_err(failed)?;
        let segmenter = UtteranceSegmenter::new(next_sample, Ending::AtPause, ear.engine.as_ref());
        let mut this = Self {
            folder: folder.clone(),
            ear,
            dialogue,
            utc_offset_s: exam.header.utc_offset_s,
            journal,
            keeper: None,
            segmenter,
            next_sample,
            n_files: exam.audio.len(),
            since: folder.machine().now().monotonic,
            unwritten: Vec::new(),
            lost: Vec::new(),
        };
        this.carry_out(effects)?;
        Ok(this)
    }

    /// The exam folder.
    #[must_use]
    pub fn folder(&self) -> &ExamFolder {
        &self.folder
    }

    /// What the exam is heard with.
    #[must_use]
    pub fn ear(&self) -> &Ear {
        &self.ear
    }

    /// The ear, given back.
    #[must_use]
    pub fn into_ear(self) -> Ear {
        self.ear
    }

    /// The dialogue as it is now.
    #[must_use]
    pub fn dialogue(&self) -> &Dialogue {
        &self.dialogue
    }

    /// The exam as it is now.
    #[must_use]
    pub fn exam(&self) -> &Exam {
        self.dialogue.exam()
    }

    /// Number of the next sample.
    #[must_use]
    pub fn next_sample(&self) -> Sample {
        self.next_sample
    }

    /// The clocks just now, while `sample` was recorded.
    #[must_use]
    pub fn clocks_at(&self, sample: Sample) -> Anchor {
        let now = self.folder.machine().now();
        let heard = now.monotonic.saturating_duration_since(self.since);
        Anchor { wall: now.wall, monotonic_ns: u64::try_from(heard.as_nanos()).unwrap_or(u64::MAX), sample }
    }

    /// True where the exam goes on in another folder than it began in.
    #[must_use]
    pub fn has_moved(&self) -> bool {
        !self.lost.is_empty()
    }

    /// Begins the next audio file; `source` is a file or a device, and `at` when it began, if not where the sound before ended.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn open_audio(&mut self, source: String, at: Option<DateTime<Utc>>) -> Result<(), SessionError> {
        assert!(self.keeper.is_none(), "the audio file before was closed");
        let (file, n_files) = self.folder.next_audio_file(self.n_files)?;
        self.n_files = n_files;
        let first_sample = self.next_sample;
        let at = at.unwrap_or_else(|| self.dialogue.instant_of(first_sample));
        let audio = AudioFile { file, first_sample, source };
        let machine = Arc::clone(self.folder.machine());
        let path = self.folder.audio_file(&audio);
        self.keeper = Some(Keeper::create_on(machine, &path, at, self.utc_offset_s)?);
        self.step(Input::Line(Box::new(Event::Audio(audio))))?;
        self.hear_from(first_sample, self.segmenter.ending());
        Ok(())
    }

    /// Keeps a block of samples, then gives the utterances that ended in it.
    ///
    /// # Errors
    /// When the block cannot be kept.
    pub fn take(&mut self, block: &[i16]) -> Result<Vec<UtteranceAudio>, SessionError> {
        self.keep(block)?;
        Ok(self.segmenter.take(block, Ending::AtPause, self.ear.for_segmenter())?)
    }

    fn keep(&mut self, block: &[i16]) -> Result<(), SessionError> {
        if let Some(keeper) = &mut self.keeper {
            keeper.write(block)?;
        }
        self.next_sample += block.len() as u64;
        Ok(())
    }

    /// The same; once a person is answered, an utterance ends at a short pause where all of it was said surely.
    pub(super) fn take_early(&mut self, block: &[i16]) -> Result<Vec<UtteranceAudio>, SessionError> {
        self.keep(block)?;
        Ok(self.segmenter.take(block, Ending::Early, self.ear.for_segmenter())?)
    }

    /// From now on a person listens, and utterances can end early if the engine is quick enough.
    pub(super) fn answer_with(&mut self, options: DialogueOptions) -> Result<(), SessionError> {
        self.dialogue.set(options, self.next_sample);
        let numbers = self.ear.language.grammar.words(&[NUMBER_RULE]);
        self.dialogue.set_number_words(numbers.into_iter().map(|word| word.text).collect());
        self.hear_from(self.next_sample, Ending::Early);
        Ok(())
    }

    /// The words of the utterance that is going on, for the eye only; none where nobody speaks or the engine takes too
    /// long.
    pub(super) fn growing(&mut self) -> Result<Option<String>, SessionError> {
        let quick = self.segmenter.ending() == Ending::Early;
        let Some(segment) = self.segmenter.growing().filter(|_| quick) else { return Ok(None) };
        let utterance = self.ear.engine.recognise(&segment)?;
        Ok(Some(utterance.text()).filter(|words| !utterance.rejected && !words.is_empty()))
    }

    /// From now on one of these horses can be named by its number, and these are known by their names.
    pub(super) fn name_from(&mut self, horses: Vec<super::listed_horse::ListedHorse>, known: Vec<Horse>) {
        self.dialogue.set_day_list(horses);
        self.dialogue.set_known_horses(known);
    }

    /// What is being said just now, while the program itself speaks; none where the engine takes too long for that.
    pub(super) fn said_meanwhile(&mut self) -> Result<Option<(Utterance, Parsed)>, SessionError> {
        let quick = self.ear.engine.is_quick();
        let Some(segment) = self.segmenter.growing().filter(|_| quick) else { return Ok(None) };
        Ok(Some(self.ear.hear(&segment)?))
    }

    /// Somebody speaks just now.
    pub(super) fn is_spoken_to(&self) -> bool {
        self.segmenter.growing().is_some()
    }

    fn hear_from(&mut self, first: Sample, ending: Ending) {
        self.segmenter = self.segmenter.again(first, ending, self.ear.engine.as_ref());
    }

    /// Keeps an utterance that was cut out of the sound already; what is taken next follows it. Gives its place here.
    pub(super) fn take_utterance(
        &mut self,
        segment: &UtteranceAudio,
    ) -> Result<UtteranceAudio, SessionError> {
        let from = self.next_sample;
        self.keep(&segment.samples)?;
        self.hear_from(self.next_sample, self.segmenter.ending());
        Ok(UtteranceAudio { span: Span { from, to: self.next_sample }, ..segment.clone() })
    }

    /// Ends the utterance that is going on, if any: what follows begins a new one.
    pub(super) fn cut(&mut self) -> Result<Vec<UtteranceAudio>, SessionError> {
        let ended = self.segmenter.finish(self.ear.for_segmenter())?;
        self.hear_from(self.next_sample, self.segmenter.ending());
        Ok(ended)
    }

    /// Ends the audio file: whatever happened, what was heard up to here is whole on the disk.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn close_audio(&mut self) -> Result<Vec<UtteranceAudio>, SessionError> {
        if let Some(keeper) = self.keeper.take() {
            keeper.finalise()?;
        }
        Ok(self.segmenter.finish(self.ear.for_segmenter())?)
    }

    /// One utterance: recognised and understood, not yet written.
    ///
    /// # Errors
    /// When the engine fails.
    pub fn recognise(&mut self, segment: &UtteranceAudio) -> Result<(Utterance, Parsed), SessionError> {
        Ok(self.segmenter.recognise(segment, self.ear.for_segmenter())?)
    }

    /// What becomes of an utterance is decided and written; gives what else is to be done.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn attend(
        &mut self,
        utterance: Utterance,
        parsed: Parsed,
        arrival: Arrival,
    ) -> Result<Vec<Effect>, SessionError> {
        let rival = self.ear.understand_rival(&utterance);
        self.step(Input::Utterance(Box::new(HeardUtterance { utterance, parsed, rival, arrival })))
    }

    /// Something happens now; gives what is to be done besides writing.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn step(&mut self, input: Input) -> Result<Vec<Effect>, SessionError> {
        let effects = self.dialogue.step(input, self.next_sample);
        self.carry_out(effects)
    }

    /// Writes what is to be written and has the engine expect what can follow; gives the rest.
    fn carry_out(&mut self, effects: Vec<Effect>) -> Result<Vec<Effect>, SessionError> {
        let lines = effects.iter().filter_map(Effect::line).cloned();
        self.unwritten.extend(lines);
        let mut rest = self.write_or_move()?;
        for effect in effects {
            match effect {
                Effect::Write(_) => {}
                Effect::Expect(expected) => {
                    self.segmenter.expect_answer(expected.answer);
                    self.ear.expect(&expected);
                }
                other => rest.push(other),
            }
        }
        Ok(rest)
    }

    /// Makes sure that journal and sound are still where others would find them; where not, the exam goes on in a second
    /// place. Gives what is to be reported.
    ///
    /// # Errors
    /// When there is no second place.
    pub fn mind_folder(&mut self) -> Result<Vec<Effect>, SessionError> {
        let is_there = self.journal.still_there().is_ok()
            && self.keeper.as_ref().is_none_or(|keeper| keeper.still_there().is_ok());
        if is_there { Ok(Vec::new()) } else { self.move_on() }
    }

    fn write_or_move(&mut self) -> Result<Vec<Effect>, SessionError> {
        match self.write() {
            Ok(()) => Ok(Vec::new()),
            Err(SessionError::Journal(JournalError::Removed { .. })) => self.move_on(),
            Err(other) => Err(other),
        }
    }

    /// Goes on in a second place, with everything that was heard so far; gives what is to be reported.
    fn move_on(&mut self) -> Result<Vec<Effect>, SessionError> {
        let lost = self.folder.path().to_owned();
        let mut refused = None;
        let mut goes_on = |place: &PathBuf| {
            let tried = self.journal.go_on_in(place);
            tried.map_err(|error| refused = refused.take().or(Some(error))).is_ok()
        };
        let place = places(&lost).filter(|place| !place.exists()).find(|place| goes_on(place));
        let Some(place) = place else {
            return Err(refused.unwrap_or(JournalError::Removed { path: lost }).into());
        };
        let (mut text, from) = (
            format!(
                "the exam folder `{}` was removed or moved; the exam continues in `{}`, with everything said so far",
                lost.shown(),
                place.shown()
            ),
            lost.to_string_lossy().into_owned(),
        );
        self.folder = ExamFolder::on(Arc::clone(self.folder.machine()), place);
        self.move_sound()?;
        text += &copy_files(self.folder.machine().as_ref(), self.dialogue.exam(), &lost, self.folder.path());
        self.lost.push(lost);
        let effects = self.dialogue.step(Input::Line(Box::new(Event::Moved { from })), self.next_sample);
        self.unwritten.extend(effects.iter().filter_map(Effect::line).cloned());
        self.write()?;
        let say = Effect::Say("the exam folder was lost; the exam continues in another one".to_owned());
        Ok(vec![Effect::Sound(Tone::Alarm), say, Effect::Show(ScreenChange::Line(Notice::Fault, text))])
    }

    /// The sound that is being kept goes on under the name that it has in the journal.
    fn move_sound(&mut self) -> Result<(), SessionError> {
        let (Some(keeper), Some(audio)) = (&mut self.keeper, self.dialogue.exam().audio.last()) else {
            return Ok(());
        };
        let path = self.folder.audio_file(audio);
        let made = path.parent().map_or(Ok(()), |above| self.folder.machine().make_folder(above));
        made.map_err(|source| KeepError::Write { path: path.clone(), source })?;
        Ok(keeper.go_on_in(&path)?)
    }

    /// Writes the lines of one step: all of them or none, so that no utterance is there without its calls; and none
    /// before the sound that it speaks of. What is refused is kept for the next try.
    fn write(&mut self) -> Result<(), SessionError> {
        if self.unwritten.is_empty() {
            return Ok(());
        }
        if let Some(keeper) = &mut self.keeper {
            keeper.sync()?;
        }
        let events = self.unwritten.iter().map(|line| (line.at, line.sample, &line.event));
        let numbers = self.journal.append_lines(events)?;
        let expected = self.unwritten.iter().map(|line| line.seq);
        assert!(
            numbers.into_iter().eq(expected),
            "the journal and the exam in memory number their lines alike"
        );
        self.unwritten.clear();
        Ok(())
    }

    /// Ends the journal; gives a summary of the exam for people, and the ear.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn close(mut self, reason: CloseReason) -> Result<(String, Ear), SessionError> {
        self.mind_folder()?;
        let files = file_hashes(self.folder.path(), self.exam());
        self.step(Input::Line(Box::new(Event::Sealed { files })))?;
        self.step(Input::End { reason: reason.clone() })?;
        let Counts { utterances, calls, not_understood, .. } = self.dialogue.counts();
        let folder = self.folder.path().shown();
        let lost: String =
            self.lost.iter().map(|lost| format!("; `{}` was removed or moved", lost.shown())).collect();
        let summary = format!(
            "{folder}: {}, {}, {not_understood} not understood; {reason}{lost}",
            counted(utterances, "phrase"),
            counted(calls, "call"),
        );
        Ok((summary, self.ear))
    }
}
