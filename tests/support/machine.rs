//! A machine whose disk and clocks fail as a test tells them to.
//!
//! What is written goes to real files, so that the program reads them as ever. What was not synced is remembered: when the
//! power fails, any part of it may be gone.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{Error, ErrorKind, Result, Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};
use zonecall::machine::{Clocks, Machine};

/// Bytes that a disk writes whole or not at all.
const SECTOR: usize = 512;

/// A row of numbers that is the same for the same seed (SplitMix64, from memory).
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Dice {
        Dice(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A number below `end`.
    pub fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }

    /// True once in so many times.
    pub fn one_in(&mut self, times: u64) -> bool {
        self.below(times) == 0
    }

    pub fn pick<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[usize::try_from(self.below(of.len() as u64)).unwrap()]
    }
}

#[derive(Debug, Clone)]
enum Change {
    Write(u64, Vec<u8>),
    Cut(u64),
}

fn apply(bytes: &mut Vec<u8>, change: &Change) {
    match change {
        Change::Write(at, new) => {
            let at = usize::try_from(*at).unwrap();
            bytes.resize(bytes.len().max(at + new.len()), 0);
            bytes[at..at + new.len()].copy_from_slice(new);
        }
        Change::Cut(length) => bytes.truncate(usize::try_from(*length).unwrap()),
    }
}

#[derive(Debug, Default)]
struct Kept {
    /// What the disk has for sure.
    synced: Vec<u8>,
    /// What it may have.
    since: Vec<Change>,
}

#[derive(Debug)]
struct State {
    dice: Dice,
    files: BTreeMap<PathBuf, Kept>,
    /// New names that the disk may not have.
    names: BTreeSet<PathBuf>,
    /// What was replaced, oldest first.
    replaced: BTreeMap<PathBuf, Vec<Vec<u8>>>,
    /// How often the disk was asked for something.
    asked: u64,
    fails_at: Option<u64>,
    room: Option<u64>,
    reads_fail: u32,
    /// Time since the machine began, which no clock of it need show.
    passed: Duration,
    wall: DateTime<Utc>,
    /// Seconds that the wall clock gains on each second.
    gains: f64,
    monotonic: Instant,
}

/// The machine.
#[derive(Debug)]
pub struct Simulated(Mutex<State>);

impl Simulated {
    pub fn new(seed: u64, wall: DateTime<Utc>) -> Arc<Simulated> {
        Arc::new(Simulated(Mutex::new(State {
            dice: Dice::new(seed),
            files: BTreeMap::new(),
            names: BTreeSet::new(),
            replaced: BTreeMap::new(),
            asked: 0,
            fails_at: None,
            room: None,
            reads_fail: 0,
            passed: Duration::ZERO,
            wall,
            gains: 0.0,
            monotonic: Instant::now(),
        })))
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap()
    }

    /// The power fails when the disk is asked for something so many times more.
    pub fn fail_power_after(&self, asked: u64) {
        let mut state = self.state();
        state.fails_at = Some(state.asked + asked);
    }

    pub fn has_power(&self) -> bool {
        let state = self.state();
        state.fails_at.is_none_or(|fails_at| state.asked < fails_at)
    }

    /// The disk takes so many bytes more; `None`: any number.
    pub fn leave_room(&self, bytes: Option<u64>) {
        self.state().room = bytes;
    }

    /// So many files cannot be read from now on.
    pub fn fail_reading(&self, times: u32) {
        self.state().reads_fail = times;
    }

    pub fn pass(&self, time: Duration) {
        let mut state = self.state();
        state.passed += time;
        state.monotonic += time;
        let shown = time.as_secs_f64() * (1.0 + state.gains);
        state.wall += TimeDelta::nanoseconds((shown * 1e9) as i64);
    }

    /// Somebody sets the wall clock.
    pub fn step(&self, by: TimeDelta) {
        self.state().wall += by;
    }

    /// The wall clock is slewed, or stands still with -1.
    pub fn slew(&self, gains: f64) {
        self.state().gains = gains;
    }

    /// The power is back: the files are what the disk had of them.
    pub fn settle(&self) {
        let state = &mut *self.state();
        for (path, kept) in std::mem::take(&mut state.files) {
            let mut bytes = kept.synced;
            for change in survivors(&mut state.dice, kept.since) {
                apply(&mut bytes, &change);
            }
            std::fs::write(&path, bytes).unwrap();
        }
        for (path, versions) in std::mem::take(&mut state.replaced) {
            let mut left = state.dice.pick(&versions).clone();
            if state.dice.one_in(3) {
                left.truncate(usize::try_from(state.dice.below(left.len() as u64 + 1)).unwrap());
            }
            std::fs::write(&path, left).unwrap();
        }
        for path in std::mem::take(&mut state.names) {
            if state.dice.one_in(2) {
                std::fs::remove_file(path).unwrap();
            }
        }
        state.fails_at = None;
        state.room = None;
    }
}

/// What a disk may have of changes that nobody waited for: all, none, the first ones, or any of them, each perhaps in part.
fn survivors(dice: &mut Dice, changes: Vec<Change>) -> Vec<Change> {
    let n_kept = match dice.below(3) {
        0 => changes.len() as u64,
        _ => dice.below(changes.len() as u64 + 1),
    };
    let in_order = dice.one_in(2);
    let mut left = Vec::new();
    for (change, number) in changes.into_iter().zip(0..) {
        let is_kept = if in_order { number < n_kept } else { dice.one_in(2) };
        match change {
            _ if !is_kept => {}
            Change::Write(at, bytes) if dice.one_in(3) => {
                let cut = usize::try_from(dice.below(bytes.len() as u64 + 1)).unwrap();
                let cut = if dice.one_in(2) { cut } else { cut / SECTOR * SECTOR };
                left.push(Change::Write(at, bytes[..cut].to_vec()));
            }
            whole => left.push(whole),
        }
    }
    left
}

impl State {
    /// Counts a request; an error where the power is gone.
    fn ask(&mut self) -> Result<()> {
        self.asked += 1;
        match self.fails_at {
            Some(fails_at) if self.asked >= fails_at => Err(Error::other("no power")),
            _ => Ok(()),
        }
    }
}

impl Machine for Simulated {
    fn create(&self, path: &Path) -> Result<File> {
        let mut state = self.state();
        state.ask()?;
        let file = File::options().read(true).write(true).create_new(true).open(path)?;
        state.files.insert(path.to_owned(), Kept::default());
        state.names.insert(path.to_owned());
        Ok(file)
    }

    fn open(&self, path: &Path) -> Result<File> {
        let mut state = self.state();
        state.ask()?;
        let file = File::options().read(true).write(true).open(path)?;
        let synced = std::fs::read(path)?;
        state.files.insert(path.to_owned(), Kept { synced, since: Vec::new() });
        Ok(file)
    }

    fn write(&self, mut file: &File, path: &Path, at: u64, bytes: &[u8]) -> Result<()> {
        let mut state = self.state();
        let powered = state.ask();
        // Where the power fails in the middle of it, any part of it may be there.
        let room = state.room.map_or(bytes.len(), |room| usize::try_from(room).unwrap().min(bytes.len()));
        let taken = &bytes[..room];
        file.seek(SeekFrom::Start(at))?;
        file.write_all(taken)?;
        let kept = state.files.entry(path.to_owned()).or_default();
        kept.since.push(Change::Write(at, taken.to_vec()));
        state.room = state.room.map(|left| left - room as u64);
        powered?;
        if room < bytes.len() { Err(ErrorKind::StorageFull.into()) } else { Ok(()) }
    }

    fn cut(&self, file: &File, path: &Path, bytes: u64) -> Result<()> {
        let mut state = self.state();
        state.ask()?;
        file.set_len(bytes)?;
        state.files.entry(path.to_owned()).or_default().since.push(Change::Cut(bytes));
        Ok(())
    }

    fn sync(&self, _file: &File, path: &Path) -> Result<()> {
        let mut state = self.state();
        state.ask()?;
        let kept = state.files.entry(path.to_owned()).or_default();
        for change in std::mem::take(&mut kept.since) {
            apply(&mut kept.synced, &change);
        }
        Ok(())
    }

    fn sync_folder(&self, path: &Path) -> Result<()> {
        let mut state = self.state();
        state.ask()?;
        state.names.retain(|name| name.parent() != Some(path));
        Ok(())
    }

    fn replace(&self, _new: &Path, path: &Path, bytes: &[u8]) -> Result<()> {
        let mut state = self.state();
        state.ask()?;
        if let Ok(before) = std::fs::read(path) {
            state.replaced.entry(path.to_owned()).or_insert_with(|| vec![before]);
        }
        state.replaced.entry(path.to_owned()).or_default().push(bytes.to_vec());
        std::fs::write(path, bytes)
    }

    fn read(&self, path: &Path) -> Result<Vec<u8>> {
        let mut state = self.state();
        state.ask()?;
        if state.reads_fail > 0 {
            state.reads_fail -= 1;
            return Err(Error::other("input/output error"));
        }
        std::fs::read(path)
    }

    fn now(&self) -> Clocks {
        let state = self.state();
        Clocks { wall: state.wall, monotonic: state.monotonic }
    }
}
