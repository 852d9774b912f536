//! A box that waits, and makes an exam folder from each "start of exam" to its end.
//!
//! Takes: a microphone, and the folder that holds the exams.
//! Gives: exam folders named by their start; lines about the listening itself, for the log of the system.
//! Never: keeps or shows what is said between exams, or touches an exam that was interrupted.
//! Tested in: `tests/sound/exams.rs`.

use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use chrono::{DateTime, Local, Utc};

use crate::clock::{SAMPLE_RATE_HZ, Sample};
use crate::exam::call::{Act, Command};
use crate::exam::closed_sets::Presence;
use crate::exam::utterance_segmenter::{Ending, Heard, UtteranceSegmenter};
use crate::exam_folder::{ENCRYPTED, ExamFolder, REMOVING, with_ending};
use crate::language::word_states::Moment;
use crate::private;
use crate::protocol::Protocols;
use crate::session::background_jobs::{BackgroundJob, BackgroundJobs};
use crate::session::ear::Ear;
use crate::session::error::{SessionError, in_one_line};
use crate::session::exam_session::{Began, Session, header};
use crate::session::exam_summary::counted;
use crate::session::feedback::Feedback;
use crate::session::listen_loop::{ListenLoop, Tools};
use crate::session::microphone::{Given, Microphone, PAUSE, before_now, how_long, open};
use crate::session::note_drafts::unwritten;
use crate::session::notice::{Device, Notice};
use crate::session::options::{ListenOptions, Subject};
use crate::session::screen::{Display, Screen};
use crate::session::spoken::SpokenLanguage;
use crate::session::talk_gate::Gate;
use crate::session::talk_switch::TalkSwitch;
use crate::session::tone::Tone;
use crate::speech::utterance::UtteranceAudio;
use crate::terminal::ShownText as _;

/// Hidden, and empty: locked by who listens for exams in its folder.
const LISTENING: &str = ".listening";

/// What exams are made from.
pub struct Exams<'a> {
    /// The folder that holds them; nobody else listens in it.
    pub folder: &'a Path,
    /// Kept as long as this listens.
    pub only: OnlyListener,
    /// Who speaks; the horse is not known.
    pub subject: &'a Subject,
    /// What can be said.
    pub spoken: &'a SpokenLanguage,
    /// How to listen.
    pub options: ListenOptions,
    /// What is done to closed exams between them.
    pub jobs: BackgroundJobs,
}

/// What goes from waiting into an exam and back.
struct Standby {
    ear: Ear,
    tools: Tools,
    jobs: BackgroundJobs,
}

/// Sound kept while waiting: an utterance is known to be over at most this long after its end.
const KEPT: usize = 3 * SAMPLE_RATE_HZ as usize;

/// The sound that came last; what came before it is forgotten.
struct LastSound {
    samples: Vec<i16>,
    /// The number of the sample after it.
    end: Sample,
}

impl LastSound {
    fn take(&mut self, block: &[i16]) {
        self.samples.extend_from_slice(block);
        self.samples.drain(..self.samples.len().saturating_sub(KEPT));
        self.end += block.len() as u64;
    }

    /// What came from sample `from` on.
    fn since(&self, from: Sample) -> &[i16] {
        let n = usize::try_from(self.end.since(from)).unwrap_or(usize::MAX);
        &self.samples[self.samples.len().saturating_sub(n)..]
    }
}

/// The utterance that opens an exam.
struct Opening {
    segment: UtteranceAudio,
    /// When it began.
    at: DateTime<Utc>,
    /// The sound after it that has come already.
    rest: Vec<i16>,
    /// Samples that wait behind that.
    behind: u64,
}

/// Marks a folder of exams as listened to by this program, as long as this is kept.
#[derive(Debug)]
pub struct OnlyListener {
    /// Locked; the system lets it go with the program, however that ends.
    _lock: File,
}

impl OnlyListener {
    /// Makes the folder, and makes sure that nobody else listens for exams in it: two would make each exam twice.
    ///
    /// # Errors
    /// When another program does, or the folder cannot be used.
    pub fn of(folder: &Path) -> Result<OnlyListener, SessionError> {
        let failed =
            |doing| move |source| SessionError::Folders { doing, path: folder.to_path_buf(), source };
        private::make_folder(folder).map_err(failed("make"))?;
        let mut options = private::options();
        options.read(true).write(true).create(true).truncate(false);
        let lock = options.open(folder.join(LISTENING)).map_err(failed("write into"))?;
        match lock.try_lock() {
            Ok(()) => Ok(OnlyListener { _lock: lock }),
            Err(TryLockError::WouldBlock) => Err(SessionError::TwoListeners { path: folder.to_path_buf() }),
            Err(TryLockError::Error(source)) => Err(failed("lock")(source)),
        }
    }
}

/// Waits for exams until `stop` is set.
///
/// # Errors
/// When the folder or the microphone cannot be used, or an exam could not go on.
pub fn wait(mut exams: Exams<'_>, ear: Ear, stop: &Arc<AtomicBool>) -> Result<(), SessionError> {
    let mut jobs = std::mem::take(&mut exams.jobs);
    let Exams { folder, spoken, options, .. } = &mut exams;
    if !spoken.language.grammar.has_tag("command=start_of_exam") {
        return Err(SessionError::NoOpening { language: spoken.pack.language.clone() });
    }
    options.display = Display::Log;
    let mut screen = Screen::log();
    let failed = |doing, source| SessionError::Folders { doing, path: folder.to_path_buf(), source };
    // That no exam can be kept is reported now, not when the horse stands there.
    tempfile::tempfile_in(*folder).map_err(|source| failed("write into", source))?;
    for found in left_behind(folder, &ear.protocols)? {
        if let Some(line) = found.given_to(&mut jobs) {
            screen.report(Notice::Listening, &line)?;
        }
    }
    let switch = TalkSwitch::of(options.switch.as_ref(), options.display)?;
    let opened = open(options.device.as_deref())?;
    let microphone = Microphone::new(opened.capture, options.device.as_deref());
    screen.report(Notice::Listening, &format!("listening to {}", microphone.name()))?;
    let feedback = Feedback::open(options);
    let mut standby = Standby { ear, tools: Tools { microphone, feedback, switch }, jobs };
    while let Some(opening) = standby.next_opening(&mut screen, stop)? {
        standby = standby.exam(&opening, &exams, stop)?;
    }
    Ok(())
}

impl Standby {
    /// Waits for the words that open an exam; none when `stop` is set.
    ///
    /// An utterance is held in memory until it is understood, and then forgotten.
    fn next_opening(
        &mut self,
        screen: &mut Screen,
        stop: &AtomicBool,
    ) -> Result<Option<Opening>, SessionError> {
        self.ear.engine.follow(Moment::default());
        let mut segmenter = UtteranceSegmenter::new(Sample::FIRST, Ending::Early, self.ear.engine.as_ref());
        let mut last = LastSound { samples: Vec::new(), end: Sample::FIRST };
        let mut gate = Gate::default();
        screen.report(Notice::Listening, "waiting for `start of exam`; nothing is kept until then")?;
        while !stop.load(Ordering::Relaxed) {
            if let Some((notice, line)) = self.jobs.go_on() {
                screen.report(notice, &line)?;
            }
            let block = match self.tools.microphone.listen()? {
                Given::Sound(block) => block,
                Given::Nothing => {
                    std::thread::sleep(PAUSE);
                    continue;
                }
                Given::Lost => {
                    self.device(screen, Device::Microphone, Presence::Lost)?;
                    segmenter = segmenter.again(last.end, Ending::Early, self.ear.engine.as_ref());
                    continue;
                }
                Given::Back(_) => {
                    self.device(screen, Device::Microphone, Presence::Back)?;
                    continue;
                }
            };
            if self.tools.microphone.overrun() || block.lost_before > 0 {
                segmenter = segmenter.again(last.end, Ending::Early, self.ear.engine.as_ref());
            }
            let end_at = before_now(block.behind);
            let first = last.end;
            last.take(&block.samples);
            let mut segments = Vec::new();
            if self.turns(&mut gate, first, last.end + block.behind, screen)? {
                let before = segmenter.finish(self.ear.for_segmenter())?;
                segments.extend(before.into_iter().filter(|_| gate.is_open()));
                segmenter = segmenter.again(first, Ending::Early, self.ear.engine.as_ref());
                gate.turn();
            }
            let ended = segmenter.take(&block.samples, Ending::Early, self.ear.for_segmenter())?;
            if self.tools.switch.is_none() || gate.is_open() {
                segments.extend(ended);
            }
            for segment in segments {
                let heard = segmenter.recognise(&segment, self.ear.for_segmenter())?;
                if self.opens(&segment, &heard, screen)? {
                    let at = end_at - how_long(last.end.since(segment.span.from));
                    let rest = last.since(segment.span.to).to_vec();
                    return Ok(Some(Opening { segment, at, rest, behind: block.behind }));
                }
            }
        }
        Ok(None)
    }

    /// Tells that a device is gone, with a sound, or that it is back.
    fn device(&self, screen: &mut Screen, device: Device, presence: Presence) -> Result<(), SessionError> {
        if presence == Presence::Lost {
            self.tools.feedback.sound(Tone::Alarm);
        }
        let (notice, text) = device.line(presence);
        Ok(screen.report(notice, text)?)
    }

    /// Whether the switch to talk by was turned before the sample `next`, while `now` is being recorded.
    fn turns(
        &mut self,
        gate: &mut Gate,
        next: Sample,
        now: Sample,
        screen: &mut Screen,
    ) -> Result<bool, SessionError> {
        let Some(switch) = &mut self.tools.switch else { return Ok(false) };
        let (news, is_on) = (switch.news(), switch.is_on());
        if let Some(presence) = news {
            self.device(screen, Device::Switch, presence)?;
        }
        Ok(gate.is_due(is_on, next, now))
    }

    /// Whether an utterance begins with the words that open an exam, surely heard.
    fn opens(
        &self,
        segment: &UtteranceAudio,
        (utterance, parsed): &Heard,
        screen: &mut Screen,
    ) -> Result<bool, SessionError> {
        let opens = parsed.calls.first().is_some_and(|call| call.act == Act::Command(Command::StartOfExam));
        if opens && utterance.unsure && !utterance.rejected {
            self.tools.feedback.sound(Tone::NotUnderstood);
            let line = "that may have been `start of exam`: please say it again";
            screen.report(Notice::Listening, line)?;
        }
        // Half an utterance, cut because it was too long, is no clear word.
        Ok(opens && !utterance.rejected && !utterance.unsure && !segment.cut)
    }

    /// One exam, from the utterance that opened it to its end.
    fn exam(
        mut self,
        opening: &Opening,
        exams: &Exams<'_>,
        stop: &Arc<AtomicBool>,
    ) -> Result<Self, SessionError> {
        // From here on the machine is the exam's alone.
        self.jobs.break_off();
        let folder = ExamFolder::at(new_folder(exams.folder, opening.at));
        let mut screen = Screen::log();
        screen.report(Notice::Listening, &format!("exam `{}` begins", folder.path().shown()))?;
        let header = header(exams.subject, &self.ear, exams.spoken, Began::live(opening.at));
        let mut session = Session::begin(&folder, header, self.ear)?;
        session.open_audio(self.tools.microphone.name().to_owned(), None)?;
        let mut live = ListenLoop::new(session, self.tools, &exams.options, Arc::clone(stop))?;
        let heard = live.opened_by(&opening.segment);
        let heard = heard.and_then(|()| live.listen(&opening.rest, opening.behind));
        let closed = live.close(heard)?;
        screen.report(Notice::Listening, &closed.summary)?;
        closed.heard?;
        if !closed.has_moved
            && let Some(line) =
                left_in(&folder, &closed.ear.protocols).and_then(|one| one.given_to(&mut self.jobs))
        {
            screen.report(Notice::Listening, &line)?;
        }
        Ok(Self { ear: closed.ear, tools: closed.tools, jobs: self.jobs })
    }
}

/// A folder that is not there yet, encrypted or not, named by the local time at which the exam began.
///
/// That comes twice where a clock is set back, as at the end of summer time.
fn new_folder(exams: &Path, began_at: DateTime<Utc>) -> PathBuf {
    let name = began_at.with_timezone(&Local).format("%Y-%m-%d-%H%M%S").to_string();
    let names = std::iter::once(name.clone()).chain((2..).map(|n: u32| format!("{name}-{n}")));
    let mut folders = names.map(|name| exams.join(name));
    let is_free = |folder: &PathBuf| {
        ["", ENCRYPTED, REMOVING].iter().all(|ending| !with_ending(folder, ending).exists())
    };
    folders.find(is_free).unwrap_or_else(|| exams.join(name))
}

/// What there is to do or to tell about an exam from before this start.
enum LeftBehind {
    /// A line about one that was never closed, or cannot be read.
    Reported(String),
    /// The folder of one that is closed.
    Closed {
        folder: PathBuf,
        /// It has free notes which nothing and nobody has written down.
        has_notes: bool,
        /// It was heard to its end.
        is_whole: bool,
    },
    /// One whose encrypted file is whole, and that was not wholly removed, by its folder's own name.
    Going(PathBuf),
}

impl LeftBehind {
    /// Has done what is due; gives what there is to tell.
    fn given_to(self, jobs: &mut BackgroundJobs) -> Option<String> {
        let add =
            |job: &mut Option<BackgroundJob>, folder: &Path| job.iter_mut().for_each(|one| one.add(folder));
        match self {
            LeftBehind::Reported(line) => Some(line),
            LeftBehind::Going(folder) if jobs.encryption.is_none() => Some(format!(
                "exam `{0}` is encrypted, but its folder is not completely removed; `zonecall encrypt {0} \
                 --remove-plain` with a key removes it",
                folder.shown()
            )),
            LeftBehind::Going(folder) => {
                add(&mut jobs.encryption, &folder);
                None
            }
            LeftBehind::Closed { folder, has_notes, is_whole } => {
                if has_notes {
                    add(&mut jobs.notes, &folder);
                }
                if is_whole {
                    add(&mut jobs.encryption, &folder);
                    return None;
                }
                // Whoever goes on with it needs its folder.
                jobs.encryption.as_ref().map(|_| {
                    format!(
                        "exam `{0}` was not heard to its end, so it is not encrypted: continue it with `zonecall \
                         resume {0}`",
                        folder.shown()
                    )
                })
            }
        }
    }
}

/// The exams in the folder that were never closed, for the power failed, or the program did; and those to which something
/// may be due.
///
/// An interrupted exam stays as it is: each whole line of its journal can be read, and its sound to the last second.
fn left_behind(exams: &Path, protocols: &Protocols) -> Result<Vec<LeftBehind>, SessionError> {
    let failed = |source| SessionError::Folders { doing: "read the folder", path: exams.to_owned(), source };
    let entries = std::fs::read_dir(exams).map_err(failed)?;
    let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    paths.sort();
    let found = paths.into_iter().filter_map(|path| {
        let name = path.file_name()?.to_str().and_then(|name| name.strip_suffix(REMOVING));
        if let Some(name) = name.filter(|_| path.is_dir()) {
            return Some(LeftBehind::Going(path.with_file_name(name)));
        }
        let folder = ExamFolder::at(path);
        if folder.journal_file().is_file() { left_in(&folder, protocols) } else { None }
    });
    Ok(found.collect())
}

/// None where it was erased.
fn left_in(folder: &ExamFolder, protocols: &Protocols) -> Option<LeftBehind> {
    let shown = folder.path().shown();
    let exam = match folder.exam(protocols) {
        Ok(exam) => exam,
        Err(error) if error.is_erased() => return None,
        Err(error) => {
            let why = in_one_line(&error);
            return Some(LeftBehind::Reported(format!(
                "exam `{shown}` cannot be read and was left as it is: {why}"
            )));
        }
    };
    if let Some((_, reason)) = &exam.closed {
        // Whoever signed has read what there is.
        let has_notes = !exam.is_signed && unwritten(&exam).next().is_some();
        let is_whole = !reason.breaks_off();
        return Some(LeftBehind::Closed { folder: folder.path().to_owned(), has_notes, is_whole });
    }
    let sound = format!("{:.0} s of sound", folder.kept_samples(&exam).seconds());
    Some(LeftBehind::Reported(format!(
        "exam `{shown}` was interrupted; {}, {} and {sound} are kept; {}",
        counted(exam.utterances.len(), "phrase"),
        counted(exam.calls.len(), "call"),
        exam.source.way_out(),
    )))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;
    use crate::exam::event::{CloseReason, Event};
    use crate::exam::journal::Journal;
    use crate::session::background_jobs::JobLines;

    #[test]
    fn what_came_after_the_words_that_open_an_exam_is_kept_though_they_were_known_to_be_over_later() {
        let mut last = LastSound { samples: Vec::new(), end: Sample::FIRST };
        let sound: Vec<i16> = (0..i16::MAX).cycle().take(4 * KEPT).collect();
        sound.chunks(1_000).for_each(|block| last.take(block));
        let from = 4 * KEPT - 20_000;
        assert_eq!(last.since(Sample(from as u64)), &sound[from..]);
        assert_eq!(last.since(Sample::FIRST).len(), KEPT, "what is older is forgotten");
        assert!(last.since(last.end).is_empty());
    }

    #[test]
    fn two_exams_that_begin_in_the_same_second_have_folders_of_their_own() {
        let exams = tempfile::tempdir().unwrap();
        let at = "2026-05-04T08:00:00.3Z".parse().unwrap();
        let first = new_folder(exams.path(), at);
        std::fs::create_dir(&first).unwrap();
        let second = new_folder(exams.path(), at);
        assert_eq!(second.to_string_lossy(), format!("{}-2", first.to_string_lossy()));
        // One that was encrypted meanwhile, or is being removed, has its name still.
        std::fs::remove_dir(&first).unwrap();
        std::fs::write(with_ending(&first, ENCRYPTED), "").unwrap();
        std::fs::create_dir(with_ending(&second, REMOVING)).unwrap();
        let third = new_folder(exams.path(), at);
        assert_eq!(third.to_string_lossy(), format!("{}-3", first.to_string_lossy()));
    }

    /// An exam folder whose journal has these lines after its first one.
    fn exam(folder: &Path, lines: &[Event]) {
        let mut journal = Journal::create(folder).unwrap();
        let at = "2026-05-04T08:00:00Z".parse().unwrap();
        let case = include_str!("../../tests/cases/001_two_zones_in_both_planes/journal.jsonl");
        let first: serde_json::Value = serde_json::from_str(case.lines().next().unwrap()).unwrap();
        let header = serde_json::from_value(first["body"].clone()).unwrap();
        let header = [Event::Exam(Box::new(header))];
        header.iter().chain(lines).for_each(|event| {
            journal.append(at, Sample::FIRST, event).unwrap();
        });
    }

    #[test]
    fn only_what_is_closed_and_was_heard_to_its_end_is_encrypted() {
        let exams = tempfile::tempdir().unwrap();
        let closed = |reason| Event::Closed { reason, samples: 0 };
        exam(&exams.path().join("a-whole"), &[closed(CloseReason::EndOfExam)]);
        exam(&exams.path().join("b-stopped"), &[closed(CloseReason::Stopped)]);
        exam(&exams.path().join("c-open"), &[]);
        exam(&exams.path().join("d-fault"), &[closed(CloseReason::Fault("the disk is full".to_owned()))]);
        exam(&exams.path().join("e-going.removing"), &[closed(CloseReason::EndOfExam)]);
        let echo = |folder: &str| folder.to_owned();
        let lines = JobLines { done: echo, failed: |folder, why| format!("{folder}: {why}") };
        let program = || BackgroundJob::new("/bin/true".into(), Vec::new(), Vec::new(), lines);
        let mut jobs = BackgroundJobs { notes: None, encryption: Some(program()) };
        let protocols = Protocols::built_in().unwrap();
        let found = left_behind(exams.path(), &protocols).unwrap();
        let lines: Vec<String> = found.into_iter().filter_map(|one| one.given_to(&mut jobs)).collect();
        assert_eq!(lines.len(), 2, "{lines:?}");
        assert!(lines[0].contains("c-open") && lines[0].contains("interrupted"), "{lines:?}");
        assert!(lines[1].contains("d-fault") && lines[1].contains("is not encrypted"), "{lines:?}");
        let mut done = Vec::new();
        while done.len() < 3 {
            done.extend(jobs.go_on().map(|(_, line)| line));
        }
        let names = ["a-whole", "b-stopped", "e-going"];
        assert_eq!(done, names.map(|name| exams.path().join(name).shown()));
    }
}
