//! How many stills a second `zonecall receive` takes beside dcmtk's `storescp`, sent by dcmtk's `storescu` in the same
//! run and onto the same disk; and how long the exports of an exam of 400 stills take.
//! Run with `cargo bench --bench exchange`.
// A bench prints what it measured.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation)]

#[path = "../tests/support/mod.rs"]
mod support;

use std::io::{BufRead, BufReader};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use support::program::{demo_stills, zonecall};

/// Stills of one exam, and how often each receiver is measured.
const STILLS: usize = 400;
const ROUNDS: usize = 5;
const START: &str = "2026-05-04T10:00:00+02:00";

/// Seconds of the exam from one still to the next.
const EVERY_S: f64 = 10.0;

fn heard(folder: &Path) {
    let words = |idx: usize| match idx % 2 {
        0 => ["left fore zone two bravo transverse", "zone three alpha", "right fore zone one bravo"]
            [idx / 2 % 3],
        _ => "save",
    };
    let said = (0..STILLS * 2).map(|idx| {
        support::utterance(2.0 + f64::from(u32::try_from(idx).unwrap()) * EVERY_S / 2.0, words(idx))
    });
    drop(support::write_heard(folder, said));
}

/// Stills as the demo's scanner saves them, one for each saved view.
fn stills(folder: &Path) {
    let mut table = String::new();
    let head = std::fs::read_to_string(support::program::demo("fore-limbs.stills.csv")).unwrap();
    let rows: Vec<&str> = head.lines().skip(1).collect();
    table.push_str(head.lines().next().unwrap());
    table.push('\n');
    for idx in 0..STILLS {
        let row = rows[idx % rows.len()];
        let rest = row.split_once(',').unwrap().1;
        let saved_s = 7.0 + f64::from(u32::try_from(idx).unwrap()) * EVERY_S;
        table.push_str(&format!("{saved_s},{rest}\n"));
    }
    let csv = folder.join("stills.csv");
    std::fs::write(&csv, table).unwrap();
    assert!(demo_stills().arg(&csv).arg(folder.join("frames")).arg(START).status().unwrap().success());
}

fn free_port() -> u16 {
    std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

fn await_port(port: u16) {
    let until = Instant::now() + Duration::from_secs(30);
    while TcpStream::connect(("127.0.0.1", port)).is_err() {
        assert!(Instant::now() < until, "nothing listens on {port}");
        std::thread::sleep(Duration::from_millis(10));
    }
}

/// Sends the folder to a port; gives stills a second.
fn sent(frames: &Path, called: &str, port: u16) -> f64 {
    let began = Instant::now();
    let done = Command::new("storescu")
        .args(["-aec", called, "127.0.0.1", &port.to_string(), "+sd"])
        .arg(frames)
        .status()
        .expect("storescu is there: run `make setup`");
    assert!(done.success());
    f64::from(u32::try_from(STILLS).unwrap()) / began.elapsed().as_secs_f64()
}

fn end(mut child: Child) {
    let _ = child.kill();
    let _ = child.wait();
}

fn ours(frames: &Path) -> f64 {
    let into = tempfile::tempdir().unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .args(["receive", "--port", "0", "--into"])
        .arg(into.path())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stdout.take().unwrap());
    let mut first = String::new();
    lines.read_line(&mut first).unwrap();
    let port = first.split("127.0.0.1:").nth(1).unwrap().split(',').next().unwrap().parse().unwrap();
    std::thread::spawn(move || std::io::copy(&mut lines, &mut std::io::sink()));
    let rate = sent(frames, "ZONECALL", port);
    end(child);
    rate
}

fn theirs(frames: &Path) -> f64 {
    let into = tempfile::tempdir().unwrap();
    let port = free_port();
    let child = Command::new("storescp")
        .args(["+xa", "-aet", "ARCHIVE", "-od"])
        .arg(into.path())
        .arg(port.to_string())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("storescp is there: run `make setup`");
    await_port(port);
    let rate = sent(frames, "ARCHIVE", port);
    end(child);
    rate
}

fn median(mut all: Vec<f64>) -> f64 {
    all.sort_by(f64::total_cmp);
    all[all.len() / 2]
}

fn main() {
    let exam = tempfile::tempdir().unwrap();
    heard(exam.path());
    stills(exam.path());
    let frames = exam.path().join("frames");
    let (mut our, mut their) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        our.push(ours(&frames));
        their.push(theirs(&frames));
    }
    println!(
        "stills received a second, median of {ROUNDS} times {STILLS}: zonecall {:.0}, storescp {:.0}",
        median(our),
        median(their)
    );
    let path = exam.path().to_str().unwrap();
    let paired = zonecall(&["pair", path, "--frames", frames.to_str().unwrap()]);
    assert!(paired.status.code().is_some_and(|code| code < 2), "{}", String::from_utf8_lossy(&paired.stderr));
    for form in ["dicom", "labelled", "teaching", "fhir", "csv", "json"] {
        let out = exam.path().join("out").join(form);
        let out = out.to_str().unwrap();
        let began = Instant::now();
        let done = zonecall(&["export", path, "--as", form, "--out", out]);
        assert!(done.status.code().is_some_and(|code| code < 2), "{}", String::from_utf8_lossy(&done.stderr));
        println!("export of {STILLS} stills as {form}: {:.1} s", began.elapsed().as_secs_f64());
    }
}
