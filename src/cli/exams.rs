//! `zonecall listen --exams`: a box that waits, and makes an exam folder from each "start of exam" to its end.
//!
//! Takes: a microphone, and the folder that holds the exams.
//! Gives: exam folders named by their start; lines about the listening itself, for the log of the system.
//! Never: keeps or shows what is said between exams, or touches an exam that was interrupted.
//! Tested in: `tests/sound/exams.rs`.

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::{Context as _, ensure};
use chrono::{DateTime, Local, Utc};

use super::args::SubjectArgs;
use super::dialogue::{MICROPHONE, SWITCH};
use super::exam_folder::{self, SpokenLanguage};
use super::listen::ListenOptions;
use super::live::{Live, Tools, manner};
use super::microphone::{Given, Microphone, PAUSE, before_now, how_long, open};
use super::screen::{Display, Notice, Screen};
use super::session::{Began, Ear, Session, header, kept};
use super::switch::TalkSwitch;
use super::told;
use crate::clock::seconds;
use crate::exam::call::{Act, Command};
use crate::exam::journal::JOURNAL_FILE;
use crate::language::graph::Moment;
use crate::protocol::Protocols;
use crate::session::gate::Gate;
use crate::session::tone::Tone;
use crate::speech::endpoint::Endpointer;
use crate::speech::utterance::UtteranceAudio;

/// What goes from waiting into an exam and back.
struct Standby {
    ear: Ear,
    tools: Tools,
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

/// Waits for exams until it is told to stop.
pub(super) fn wait(
    folder: &Path,
    subject: &SubjectArgs,
    spoken: &SpokenLanguage,
    ear: Ear,
    mut ways: ListenOptions,
    stop: &Arc<AtomicBool>,
) -> anyhow::Result<ExitCode> {
    ensure!(
        spoken.language.grammar.has_tag("command=start_of_exam"),
        "nothing that can be said in `{}` opens an exam; give a phrase of its grammar the tags \
         `{{command=start_of_exam}} {{!command}}`, or use --into",
        spoken.pack.language
    );
    ways.show = Display::Log;
    let mut face = Screen::Log;
    std::fs::create_dir_all(folder).with_context(|| format!("cannot make `{}`", folder.display()))?;
    // That no exam can be kept is told now, not when the horse stands there.
    tempfile::tempfile_in(folder).with_context(|| format!("cannot write into `{}`", folder.display()))?;
    for line in interrupted(folder, &ear.protocols)? {
        face.tell(Notice::Notice, &line)?;
    }
    let switch = TalkSwitch::of(&ways)?;
    let opened = open(ways.device.as_deref())?;
    let microphone = Microphone::new(opened.capture, ways.device.as_deref());
    face.tell(Notice::Notice, &format!("hearing {}", microphone.name()))?;
    let mut hearing = Standby { ear, tools: Tools { microphone, manner: manner(&ways), switch } };
    while let Some(opening) = hearing.next_opening(&mut face, stop)? {
        hearing = hearing.exam(opening, folder, subject, spoken, &ways, stop)?;
    }
    Ok(ExitCode::SUCCESS)
}

impl Standby {
    /// Waits for the words that open an exam; none when it is told to stop.
    ///
    /// An utterance is held in memory until it is understood, and then forgotten.
    fn next_opening(&mut self, face: &mut Screen, stop: &AtomicBool) -> anyhow::Result<Option<Opening>> {
        self.ear.engine.follow(Moment::default());
        let (mut utterances, mut taken, mut gate) = (Endpointer::new(0)?, 0_u64, Gate::default());
        face.tell(Notice::Notice, "waiting for `start of exam`; until then nothing is kept")?;
        while !stop.load(Ordering::Relaxed) {
            let block = match self.tools.microphone.next()? {
                Given::Sound(block) => block,
                Given::Nothing => {
                    std::thread::sleep(PAUSE);
                    continue;
                }
                Given::Lost => {
                    self.tools.manner.device(face, MICROPHONE, true)?;
                    utterances = Endpointer::new(taken)?;
                    continue;
                }
                Given::Back(_) => {
                    self.tools.manner.device(face, MICROPHONE, false)?;
                    continue;
                }
            };
            if self.tools.microphone.overrun() || block.lost_before > 0 {
                utterances = Endpointer::new(taken)?;
            }
            let end_at = before_now(block.behind);
            let first = taken;
            taken += block.samples.len() as u64;
            let mut segments = Vec::new();
            if self.turns(&mut gate, first, taken + block.behind, face)? {
                let before = std::mem::replace(&mut utterances, Endpointer::new(first)?).finish();
                segments.extend(before.filter(|_| gate.is_open()));
                gate.turn();
            }
            let ended = utterances.take(&block.samples);
            if self.tools.switch.is_none() || gate.is_open() {
                segments.extend(ended);
            }
            for segment in segments {
                if self.opens(&segment, face)? {
                    let at = end_at - how_long(taken - segment.span.from);
                    let after = usize::try_from(segment.span.to.saturating_sub(first)).unwrap_or(0);
                    let rest = block.samples.get(after..).unwrap_or_default().to_vec();
                    return Ok(Some(Opening { segment, at, rest, behind: block.behind }));
                }
            }
        }
        Ok(None)
    }

    /// Whether the switch to talk by was turned before the sample `next`, while `now` is being recorded.
    fn turns(&mut self, gate: &mut Gate, next: u64, now: u64, face: &mut Screen) -> anyhow::Result<bool> {
        let Some(switch) = &mut self.tools.switch else { return Ok(false) };
        if let Some(is_gone) = switch.news() {
            self.tools.manner.device(face, SWITCH, is_gone)?;
        }
        Ok(gate.is_due(switch.is_on(), next, now))
    }

    /// Whether an utterance begins with the words that open an exam, surely heard.
    fn opens(&mut self, segment: &UtteranceAudio, face: &mut Screen) -> anyhow::Result<bool> {
        let (utterance, parsed) = self.ear.hear(segment)?;
        let opens = parsed.calls.first().is_some_and(|call| call.act == Act::Command(Command::StartOfExam));
        if opens && utterance.unsure && !utterance.rejected {
            self.tools.manner.sound(Tone::NotUnderstood);
            face.tell(Notice::Notice, "that may have been `start of exam`, but not surely: say it again")?;
        }
        // Half an utterance, cut because it was too long, is no clear word.
        Ok(opens && !utterance.rejected && !utterance.unsure && !segment.cut)
    }

    /// One exam, from the utterance that opened it to its end.
    fn exam(
        self,
        opening: Opening,
        folder: &Path,
        subject: &SubjectArgs,
        spoken: &SpokenLanguage,
        ways: &ListenOptions,
        stop: &Arc<AtomicBool>,
    ) -> anyhow::Result<Self> {
        let folder = new_folder(folder, opening.at);
        let mut face = Screen::Log;
        face.tell(Notice::Notice, &format!("exam `{}` begins", folder.display()))?;
        let header = header(subject, &self.ear, spoken, Began::live(opening.at));
        let mut session = Session::begin(&folder, header, self.ear)?;
        session.open_audio(self.tools.microphone.name().to_owned())?;
        let mut live = Live::new(session, self.tools, ways, Arc::clone(stop))?;
        let heard = live.opened_by(&opening.segment);
        let heard = heard.and_then(|()| live.listen(&opening.rest, opening.behind));
        let closed = live.close(heard)?;
        face.tell(Notice::Notice, &closed.summary)?;
        closed.heard?;
        Ok(Self { ear: closed.ear, tools: closed.tools })
    }
}

/// A folder that is not there yet, named by the local time at which the exam began.
fn new_folder(exams: &Path, began_at: DateTime<Utc>) -> PathBuf {
    let name = began_at.with_timezone(&Local).format("%Y-%m-%d-%H%M%S").to_string();
    let names = std::iter::once(name.clone()).chain((2..).map(|n: u32| format!("{name}-{n}")));
    let mut folders = names.map(|name| exams.join(name));
    folders.find(|folder| !folder.exists()).unwrap_or_else(|| exams.join(name))
}

/// A line for each exam in the folder that was never closed: the power failed, or the program did.
///
/// Such an exam stays as it is: each whole line of its journal can be read, and its sound to the last second.
fn interrupted(exams: &Path, protocols: &Protocols) -> anyhow::Result<Vec<String>> {
    let entries =
        std::fs::read_dir(exams).with_context(|| format!("cannot read the folder `{}`", exams.display()))?;
    let mut folders: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    folders.sort();
    let mut lines = Vec::new();
    for folder in folders.iter().filter(|folder| folder.join(JOURNAL_FILE).is_file()) {
        let shown = folder.display();
        let exam = match exam_folder::exam(folder, protocols) {
            Ok(exam) if exam.closed.is_some() => continue,
            Ok(exam) => exam,
            Err(error) => {
                lines.push(format!("exam `{shown}` cannot be read, and was left as it is: {}", told(&error)));
                continue;
            }
        };
        let sound = match kept(folder, &exam) {
            Ok(samples) => format!("{:.0} s of sound", seconds(samples)),
            Err(error) => format!("no sound that can be read ({})", told(&error)),
        };
        lines.push(format!(
            "exam `{shown}` was interrupted; kept are {} utterances, {} calls and {sound}; {}",
            exam.utterances.len(),
            exam.calls.len(),
            exam.source.way_out(),
        ));
    }
    Ok(lines)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn two_exams_that_begin_in_the_same_second_have_folders_of_their_own() {
        let exams = tempfile::tempdir().unwrap();
        let at = "2026-05-04T08:00:00.3Z".parse().unwrap();
        let first = new_folder(exams.path(), at);
        std::fs::create_dir(&first).unwrap();
        let second = new_folder(exams.path(), at);
        assert_eq!(second.to_string_lossy(), format!("{}-2", first.to_string_lossy()));
    }
}
