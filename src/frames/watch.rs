//! Follows the folder into which the scanner exports its stills.
//!
//! Takes: the folder, and the stills that are known already.
//! Gives: each new still once, when its file has come to rest, with the moment at which it first appeared.
//! Never: keeps the listener waiting, reads a file that is still being written, or trusts notices of changes alone:
//!   a network share may give none.
//! Tested in: `tests/it/watch.rs`, `tests/sound/listen.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, channel, sync_channel};
use std::time::{Duration, Instant, SystemTime};

use chrono::{DateTime, Utc};
use notify::event::{AccessKind, AccessMode};
use notify::{EventKind, Watcher as _};

use crate::exam::call::Problem;
use crate::exam::event::Frame;
use crate::exam::file_integrity::sha256;
use crate::frames::elsewhere::Elsewhere;
use crate::frames::folder::{files, one, same_name};
use crate::terminal::ShownText as _;

/// The folder is looked through at least this often.
const LOOK_EVERY: Duration = Duration::from_millis(500);
/// A file that has not changed for this long has come to rest.
const AT_REST: Duration = Duration::from_millis(400);
/// A file that is no still by then will not become one.
const GIVEN_UP_AFTER: Duration = Duration::from_secs(20);
/// Stills that can wait to be taken.
const WAITING_MAX: usize = 256;

/// The folder cannot be followed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "cannot follow the folder `{folder}`: {reason}; connect what holds it, or name the folder into which the scanner exports its stills",
        folder = .folder.shown()
)]
pub struct WatchError {
    /// The folder.
    pub folder: PathBuf,
    /// Why not.
    pub reason: String,
}

/// Whether the scanner's folder can be followed at this moment.
///
/// # Errors
/// When it cannot be read.
pub fn is_there(folder: &Path) -> Result<(), WatchError> {
    let refused = |error: std::io::Error| WatchError { folder: folder.to_owned(), reason: error.to_string() };
    std::fs::read_dir(folder).map(drop).map_err(refused)
}

/// Something that was found.
#[derive(Debug, Clone, PartialEq)]
pub enum Arrived {
    /// A new still.
    Still {
        /// The still.
        frame: Box<Frame>,
        /// When its file first appeared, by this computer's clock.
        at: DateTime<Utc>,
    },
    /// A file that is no still.
    Other {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        problem: Problem,
    },
    /// The folder cannot be read any more.
    FolderGone {
        /// Why not.
        error: WatchError,
    },
    /// It can be read again.
    FolderBack,
}

/// Why the file of a still holds no picture that can be shown, if so; asked by the thread that looks.
pub type PictureFault = fn(&Frame, &Path) -> Option<Problem>;

/// A folder that is being followed, until this is dropped.
#[derive(Debug)]
pub struct Watch {
    arrived: Receiver<Arrived>,
    looks: Arc<AtomicU64>,
}

impl Watch {
    /// Follows `folder`; what is in it already is left to `zonecall pair`.
    ///
    /// `exam_folder` and `utc_offset_s` as in `folder::read`; stills whose ids are `known`, each with its file, are not reported.
    /// `elsewhere` is read by the thread that looks: the exams beside may lie on a slow disk. A still with a `picture_fault` is
    /// given once nothing more of it is likely to come, with the fault among its problems.
    ///
    /// # Errors
    /// When the folder is not there.
    pub fn open(
        folder: &Path,
        exam_folder: &Path,
        utc_offset_s: i32,
        known: BTreeMap<String, String>,
        elsewhere: impl FnOnce() -> Elsewhere + Send + 'static,
        picture_fault: PictureFault,
    ) -> Result<Self, WatchError> {
        is_there(folder)?;
        let (noticed, notices) = channel();
        // Only wakes the look at the folder; without it the look comes a moment later.
        let watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
            if event.is_ok_and(|event| wakes(event.kind)) {
                let _ = noticed.send(());
            }
        });
        let watcher = watcher.ok().and_then(|mut watcher| {
            watcher.watch(folder, notify::RecursiveMode::Recursive).ok().map(|()| watcher)
        });
        let (found, arrived) = sync_channel(WAITING_MAX);
        let mut look = FolderLook {
            folder: folder.to_owned(),
            exam_folder: exam_folder.to_owned(),
            utc_offset_s,
            known,
            elsewhere: Elsewhere::default(),
            picture_fault,
            files: BTreeMap::new(),
            away: BTreeMap::new(),
            is_gone: false,
        };
        for path in files(folder).files {
            if let Ok(state) = seen(&path) {
                look.files.insert(path, FileState::Told(state));
            }
        }
        let looks = Arc::new(AtomicU64::new(0));
        let counted = Arc::clone(&looks);
        std::thread::spawn(move || {
            let _watcher = watcher;
            look.elsewhere = elsewhere();
            work(&mut look, &notices, &found, &counted);
        });
        Ok(Self { arrived, looks })
    }

    /// What has arrived since the last time.
    pub fn arrived(&self) -> impl Iterator<Item = Arrived> + '_ {
        self.arrived.try_iter()
    }

    /// How often the folder was looked through.
    #[must_use]
    pub fn looks(&self) -> u64 {
        self.looks.load(Ordering::Relaxed)
    }
}

/// Whether a notice is about a file that came, changed or was moved. Reading is none of these: a look through the folder
/// reads it, and would wake the next look without end.
fn wakes(kind: EventKind) -> bool {
    match kind {
        EventKind::Access(AccessKind::Close(AccessMode::Write)) => true,
        EventKind::Access(_) | EventKind::Other => false,
        EventKind::Any | EventKind::Create(_) | EventKind::Modify(_) | EventKind::Remove(_) => true,
    }
}

/// Looks until nobody takes what is found.
fn work(look: &mut FolderLook, notices: &Receiver<()>, found: &SyncSender<Arrived>, looks: &AtomicU64) {
    loop {
        looks.fetch_add(1, Ordering::Relaxed);
        for arrived in look.through(Instant::now()) {
            if found.send(arrived).is_err() {
                return;
            }
        }
        match notices.recv_timeout(LOOK_EVERY) {
            Ok(()) => while notices.try_recv().is_ok() {},
            // Without notices the time alone wakes.
            Err(RecvTimeoutError::Disconnected) => std::thread::sleep(LOOK_EVERY),
            Err(RecvTimeoutError::Timeout) => {}
        }
    }
}

/// Another still came in this file before.
fn name_used_again(file: &str) -> Problem {
    Problem::new(
        format!("an earlier still of this exam came as `{file}`, too, and this one took its place there"),
        "copy the earlier one again from the scanner into another folder, and run `zonecall pair` with it",
    )
}

/// Length of a file, and when it was written.
type FileSize = (u64, Option<SystemTime>);

fn seen(path: &Path) -> std::io::Result<FileSize> {
    path.metadata().map(|meta| (meta.len(), meta.modified().ok()))
}

/// What is known of a file.
#[derive(Debug, Clone, Copy)]
enum FileState {
    /// Told, or there from the beginning.
    Told(FileSize),
    /// It may still be being written; `is_part` of a still, once it was read at this size.
    Coming { first: Instant, first_at: DateTime<Utc>, size: FileSize, since: Instant, is_part: bool },
}

#[derive(Debug)]
struct FolderLook {
    folder: PathBuf,
    exam_folder: PathBuf,
    utc_offset_s: i32,
    /// The file that each still came in first, by its id.
    known: BTreeMap<String, String>,
    elsewhere: Elsewhere,
    picture_fault: PictureFault,
    files: BTreeMap<PathBuf, FileState>,
    /// Files that were told and are not there now: a stick that is plugged in again brings nothing new with them.
    away: BTreeMap<PathBuf, FileSize>,
    is_gone: bool,
}

impl FolderLook {
    /// Whether the folder itself has gone or come back since the last look.
    fn came_or_went(&mut self) -> Option<Arrived> {
        let found = is_there(&self.folder);
        let was_gone = std::mem::replace(&mut self.is_gone, found.is_err());
        match found {
            Err(error) if !was_gone => Some(Arrived::FolderGone { error }),
            Ok(()) if was_gone => Some(Arrived::FolderBack),
            _ => None,
        }
    }

    /// Files that are not there any more: one that was renamed is a new one under its new name, and its id shows that it is
    /// known.
    fn forget_but(&mut self, there: &[PathBuf]) {
        let present: BTreeSet<&PathBuf> = there.iter().collect();
        let away = &mut self.away;
        self.files.retain(|path, state| {
            let stays = present.contains(path);
            if let FileState::Told(size) = state
                && !stays
            {
                away.insert(path.clone(), *size);
            }
            stays
        });
    }

    /// One look through the folder.
    fn through(&mut self, now: Instant) -> Vec<Arrived> {
        let mut arrived: Vec<Arrived> = self.came_or_went().into_iter().collect();
        let there = files(&self.folder).files;
        self.forget_but(&there);
        for path in &there {
            let Ok(size) = seen(path) else { continue };
            let known = self.away.remove(path).filter(|before| *before == size).map(FileState::Told);
            let coming =
                FileState::Coming { first: now, first_at: Utc::now(), size, since: now, is_part: false };
            match *self.files.entry(path.clone()).or_insert(known.unwrap_or(coming)) {
                FileState::Told(before) if before == size => {}
                // The name may be that of another still now: a scanner begins its numbers anew on an emptied card.
                FileState::Told(_) => {
                    self.files.insert(path.clone(), coming);
                }
                FileState::Coming { first, first_at, size: before, .. } if before != size => {
                    let changed = FileState::Coming { first, first_at, size, since: now, is_part: false };
                    self.files.insert(path.clone(), changed);
                }
                FileState::Coming { since, .. } if now.duration_since(since) < AT_REST => {}
                FileState::Coming { first, is_part: true, .. }
                    if now.duration_since(first) < GIVEN_UP_AFTER => {}
                FileState::Coming { first, first_at, since, .. } => {
                    let is_final = now.duration_since(first) >= GIVEN_UP_AFTER;
                    // Of a file that cannot be read, or whose picture ends early, the rest may still be to come.
                    let Some(found) = self.at_rest(path, is_final) else {
                        let part = FileState::Coming { first, first_at, size, since, is_part: true };
                        self.files.insert(path.clone(), part);
                        continue;
                    };
                    self.files.insert(path.clone(), FileState::Told(size));
                    arrived.extend(match found {
                        Ok(frame) => self.told(path, frame, first_at),
                        Err(problem) => Some(Arrived::Other { file: path.clone(), problem }),
                    });
                }
            }
        }
        arrived
    }

    /// What a file at rest is; none where it is no whole still and its rest is waited for.
    fn at_rest(&self, path: &Path, is_final: bool) -> Option<Result<Frame, Problem>> {
        let mut found = one(path, &self.exam_folder, self.utc_offset_s);
        let is_new = |frame: &&mut Frame| !self.known.contains_key(&frame.id);
        if let Some(frame) = found.as_mut().ok().filter(is_new)
            && let Some(fault) = (self.picture_fault)(frame, path)
        {
            frame.problems.push(fault);
            return is_final.then_some(found);
        }
        (found.is_ok() || is_final).then_some(found)
    }

    /// A still that came in this file, unless it is known.
    fn told(&mut self, path: &Path, mut frame: Frame, at: DateTime<Utc>) -> Option<Arrived> {
        let first = self.known.get(&frame.id).filter(|first| **first != frame.file);
        // A file that was renamed is no second one.
        if let Some(first) = first.filter(|first| self.exam_folder.join(first).is_file()) {
            let hash = sha256(&self.exam_folder.join(first)).unwrap_or_default();
            let problem = same_name(&frame, first, &hash);
            return Some(Arrived::Other { file: path.to_owned(), problem });
        }
        if self.known.insert(frame.id.clone(), frame.file.clone()).is_some() {
            return None;
        }
        if self.known.iter().any(|(id, file)| *file == frame.file && *id != frame.id) {
            frame.problems.push(name_used_again(&frame.file));
        }
        frame.also_in = self.elsewhere.have(&frame);
        Some(Arrived::Still { frame: Box::new(frame), at })
    }
}
