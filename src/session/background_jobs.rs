//! What is done to closed exams while a box waits for the next one: each time by a program of its own.
//!
//! Takes: exam folders, one after the other, and the command for one of them.
//! Gives: what became of it, in a line for the log.
//! Never: works while an exam is heard, hears a word itself, or has anything that a fall of the power could lose: what was
//! broken off is begun again, and an exam that is still due is found at the next start.
//! Tested in: `tests/it/background_jobs.rs`, `tests/sound/exams.rs`.

use std::collections::VecDeque;
use std::ffi::OsString;
use std::io::Read as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use crate::session::notice::Notice;
use crate::terminal::ShownText as _;

/// Runs a program so that others come first; without it the program runs like any other.
const NICE: &str = "nice";
/// Behind everything else.
const NICE_MAX: &str = "19";
/// Of what a failed program says, so much is shown, in bytes.
const WORDS_MAX: u64 = 1024;
/// From this exit code on nothing was done.
const FAILED: i32 = 2;

/// The log lines about an exam folder.
#[derive(Debug, Clone, Copy)]
pub struct JobLines {
    /// That it is done.
    pub done: fn(&str) -> String,
    /// That it is not, and why.
    pub failed: fn(&str, &str) -> String,
}

/// Something that is done to one exam after the other.
#[derive(Debug)]
pub struct BackgroundJob {
    program: PathBuf,
    /// What comes before and after the folder.
    args: (Vec<OsString>, Vec<OsString>),
    lines: JobLines,
    waiting: VecDeque<PathBuf>,
    running: Option<(PathBuf, Child)>,
}

impl BackgroundJob {
    /// One that runs `program` with the arguments `before`, the folder, and `after`.
    #[must_use]
    pub fn new(program: PathBuf, before: Vec<OsString>, after: Vec<OsString>, lines: JobLines) -> Self {
        Self { program, args: (before, after), lines, waiting: VecDeque::new(), running: None }
    }

    /// It is done to this exam, too, when its turn comes.
    pub fn add(&mut self, folder: &Path) {
        self.waiting.push_back(folder.to_owned());
    }

    /// Goes on; gives what became of an exam that is done, if one is.
    pub fn go_on(&mut self) -> Option<(Notice, String)> {
        let Some((folder, mut child)) = self.running.take() else {
            let folder = self.waiting.pop_front()?;
            return match self.start(&folder) {
                Ok(child) => {
                    self.running = Some((folder, child));
                    None
                }
                Err(error) => Some(self.failed(&folder, &error.to_string())),
            };
        };
        match child.try_wait() {
            Ok(None) => {
                self.running = Some((folder, child));
                None
            }
            Ok(Some(status)) if status.code().is_some_and(|code| code < FAILED) => {
                let (line, more) = ((self.lines.done)(&folder.shown()), words(&mut child));
                let line = if more.is_empty() { line } else { format!("{line}; {more}") };
                Some((Notice::Listening, line))
            }
            Ok(Some(_)) => Some(self.failed(&folder, &words(&mut child))),
            Err(error) => Some(self.failed(&folder, &error.to_string())),
        }
    }

    fn failed(&self, folder: &Path, why: &str) -> (Notice, String) {
        (Notice::Fault, (self.lines.failed)(&folder.shown(), why))
    }

    fn is_done(&self) -> bool {
        self.running.is_none() && self.waiting.is_empty()
    }

    /// Breaks off: an exam begins. What was not done is done later.
    pub fn break_off(&mut self) {
        if let Some((folder, mut child)) = self.running.take() {
            // It may have ended by itself.
            let _ = child.kill();
            let _ = child.wait();
            self.waiting.push_front(folder);
        }
    }

    fn start(&self, folder: &Path) -> std::io::Result<Child> {
        let run = |mut command: Command| {
            let (before, after) = &self.args;
            command.args(before).arg(folder).args(after);
            // What was said is no matter for the log.
            command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped()).spawn()
        };
        let mut last = Command::new(NICE);
        last.args(["-n", NICE_MAX]).arg(&self.program);
        run(last).or_else(|_| run(Command::new(&self.program)))
    }
}

impl Drop for BackgroundJob {
    fn drop(&mut self) {
        self.break_off();
    }
}

/// All that is done to the exams of a box, one thing after the other.
#[derive(Debug, Default)]
pub struct BackgroundJobs {
    /// Free notes are written down; none where the parts for it are not there.
    pub notes: Option<BackgroundJob>,
    /// Closed exams are encrypted, and their folders removed; none where nobody is named who may read them.
    pub encryption: Option<BackgroundJob>,
}

impl BackgroundJobs {
    /// Goes on, and encrypts nothing before its notes are written down; gives what became of an exam that is done.
    pub fn go_on(&mut self) -> Option<(Notice, String)> {
        let notes = self.notes.as_mut().filter(|notes| !notes.is_done());
        notes.or(self.encryption.as_mut())?.go_on()
    }

    /// Breaks off: an exam begins.
    pub fn break_off(&mut self) {
        self.notes.iter_mut().chain(&mut self.encryption).for_each(BackgroundJob::break_off);
    }
}

/// What a program said before it ended, in one line.
fn words(child: &mut Child) -> String {
    let mut said = Vec::new();
    if let Some(errors) = child.stderr.take() {
        // What cannot be read is not shown.
        let _ = errors.take(WORDS_MAX).read_to_end(&mut said);
    }
    let said = String::from_utf8_lossy(&said).split_whitespace().collect::<Vec<_>>().join(" ");
    said.strip_prefix("zonecall: ").map(str::to_owned).unwrap_or(said)
}
