//! What an event costs in the journal beside a bare write and sync of the same bytes, in the same run and folder.
//!
//! Run alone: `cargo bench --bench append`. The folder is the system's for temporary files; `ZONECALL_BENCH_FOLDER` names
//! another one, on the disk that is asked about.
// A bench prints what it measured.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used)]

use std::fs::File;
use std::io::Write as _;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use zonecall::clock::Sample;
use zonecall::exam::event::{CloseReason, Event};
use zonecall::exam::journal::{JOURNAL_FILE, Journal};

const EVENTS: usize = 400;

fn median(mut took: Vec<Duration>) -> (Duration, Duration) {
    took.sort();
    (took[took.len() / 2], took[took.len() * 95 / 100])
}

fn main() {
    let folder = std::env::var_os("ZONECALL_BENCH_FOLDER").map_or_else(std::env::temp_dir, PathBuf::from);
    let home = tempfile::tempdir_in(folder).unwrap();
    let at = "2026-05-04T08:00:00Z".parse().unwrap();
    let event = Event::Closed {
        reason: CloseReason::Other("a line as long as most of a call is ".repeat(8)),
        samples: 1,
    };
    let mut journal = Journal::create(home.path()).unwrap();
    journal.append(at, Sample::FIRST, &event).unwrap();
    let line = std::fs::read(home.path().join(JOURNAL_FILE)).unwrap();
    let mut bare = File::create(home.path().join("bare")).unwrap();
    let (mut with, mut without) = (Vec::new(), Vec::new());
    // In turns, so that whatever else the disk does meets both.
    for _ in 0..EVENTS {
        let since = Instant::now();
        journal.append(at, Sample::FIRST, &event).unwrap();
        with.push(since.elapsed());
        let since = Instant::now();
        bare.write_all(&line).unwrap();
        bare.sync_data().unwrap();
        without.push(since.elapsed());
    }
    for (name, took) in [("an event appended", with), ("the same bytes written and synced", without)] {
        let (half, most) = median(took);
        println!("{name}: {half:.0?} (median), {most:.0?} (95th percentile), {} bytes", line.len());
    }
}
