//! The ear on whole recordings, as an exam is heard: what becomes of each call, judged by meaning.
//!
//! `cargo bench --bench stream -- FOLDER... [--out FILE] [--program PATH] [--only TEXT] [--each]`. Each folder is one of
//! `train/streamset.py`. The program itself hears, `zonecall hear`, so that everything counts that a person would meet.
// A bench prints its figures, and its numbers are small.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss)]
#![allow(clippy::too_many_lines, missing_docs, unreachable_pub)]

#[allow(dead_code)] // part of it is for `tools/stream_ear.rs`
mod judge;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Instant;

use judge::{Fate, Judge};
use zonecall::evaluation::truth;
use zonecall::exam::event::Event;
use zonecall::exam::journal;
use zonecall::exam::seq::Seq;
use zonecall::language::pack::Pack;
use zonecall::protocol::Protocols;

/// Where the part of the file that this bench writes ends.
const END: &str = "\n<!-- end of the stream -->\n";

#[derive(Default)]
struct Options {
    folders: Vec<PathBuf>,
    out: Option<PathBuf>,
    program: Option<PathBuf>,
    only: Option<String>,
    each: bool,
}

struct Stream {
    file: PathBuf,
    voice: String,
    kind: String,
    condition: String,
}

/// Counts of fates, and of calls while nothing was said.
#[derive(Default, Clone)]
struct Counts {
    fates: BTreeMap<Fate, usize>,
    nowhere: usize,
    seconds: f64,
    took_s: f64,
}

impl Counts {
    fn share(&self, fate: Fate) -> f64 {
        let all: usize = self.fates.values().sum();
        100.0 * self.fates.get(&fate).copied().unwrap_or(0) as f64 / all.max(1) as f64
    }

    fn add(&mut self, other: &Counts) {
        for (fate, n) in &other.fates {
            *self.fates.entry(*fate).or_default() += n;
        }
        self.nowhere += other.nowhere;
        self.seconds += other.seconds;
        self.took_s += other.took_s;
    }
}

fn options() -> Options {
    let mut args = std::env::args().skip(1).filter(|arg| arg != "--bench");
    let mut found = Options::default();
    while let Some(arg) = args.next() {
        match arg.as_str() {
            "--out" => found.out = args.next().map(PathBuf::from),
            "--program" => found.program = args.next().map(PathBuf::from),
            "--only" => found.only = args.next(),
            "--each" => found.each = true,
            _ => found.folders.push(arg.into()),
        }
    }
    found
}

fn streams(folder: &Path) -> Vec<Stream> {
    let text = std::fs::read_to_string(folder.join("streams.tsv")).expect("a folder of train/streamset.py");
    let rows = text.lines().skip(1).map(|line| line.split('\t').collect::<Vec<_>>());
    rows.map(|row| Stream {
        file: folder.join(row[0]),
        voice: row[1].to_owned(),
        kind: row[2].to_owned(),
        condition: row[3].to_owned(),
    })
    .collect()
}

fn hear(program: &Path, stream: &Stream, judge: &Judge<'_>, each: bool) -> Counts {
    let folder = tempfile::tempdir().unwrap();
    let exam = folder.path().join("exam");
    let began = Instant::now();
    let status = Command::new(program)
        .args(["hear", &stream.file.to_string_lossy(), "--into", &exam.to_string_lossy(), "--ear", "neural"])
        .args(["--started-at", "2026-05-04T10:00:00+02:00"])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .unwrap();
    let took_s = began.elapsed().as_secs_f64();
    assert!(status.code().is_some_and(|code| code < 2), "{}: {status}", stream.file.display());
    let said = truth::read(&stream.file.with_extension("tsv")).unwrap();
    let (judged, nowhere) = judge.judge(&said, &lines(&exam));
    let seconds = hound::WavReader::open(&stream.file).unwrap().duration() as f64 / 16_000.0;
    let mut counts = Counts { nowhere: nowhere.len(), seconds, took_s, ..Counts::default() };
    for (line, one) in said.iter().zip(&judged) {
        *counts.fates.entry(one.fate).or_default() += 1;
        if each && one.fate != Fate::Right {
            let name = stream.file.file_stem().unwrap().to_string_lossy();
            println!(
                "{name} {:.1} s: {:?}: said {}; heard {}",
                line.span.from.seconds(),
                one.fate,
                line.words,
                one.heard
            );
        }
    }
    nowhere.iter().filter(|_| each).for_each(|words| println!("nobody said: {words}"));
    counts
}

/// The journal's lines, each with its number.
fn lines(exam: &Path) -> Vec<(Seq, Event)> {
    journal::read(exam).unwrap().events.into_iter().map(|line| (line.seq, line.event)).collect()
}

fn row(text: &mut String, name: &str, counts: &Counts) {
    let all: usize = counts.fates.values().sum();
    let share = |fate| format!("{:.1}", counts.share(fate));
    let _ = writeln!(
        text,
        "| {name} | {all} | {} | {} | {} | {} | {} | {} |",
        share(Fate::Right),
        share(Fate::Asked),
        share(Fate::AskedOther),
        share(Fate::Missed),
        share(Fate::Wrong),
        counts.nowhere
    );
}

fn main() {
    let options = options();
    if options.folders.is_empty() {
        println!("usage: cargo bench --bench stream -- FOLDER...; train/streamset.py makes them");
        return;
    }
    let protocols = Protocols::built_in().unwrap();
    let schemes = protocols.schemes.iter().flat_map(|scheme| &scheme.zones);
    let zones = [("any".to_owned(), schemes.map(|zone| zone.code.to_string()).collect())].into();
    let language = Pack::built_in().unwrap().for_zones(&zones);
    let judge = Judge { language: &language, protocols: &protocols };
    let program = options.program.clone().unwrap_or_else(|| env!("CARGO_BIN_EXE_zonecall").into());
    let mut counts: BTreeMap<(String, String, String), Counts> = BTreeMap::new();
    for stream in options.folders.iter().flat_map(|folder| streams(folder)) {
        if options.only.as_ref().is_some_and(|only| !stream.file.to_string_lossy().contains(only.as_str())) {
            continue;
        }
        let heard = hear(&program, &stream, &judge, options.each);
        counts.entry((stream.kind, stream.condition, stream.voice)).or_default().add(&heard);
    }
    let heads = "calls | right at once | asked, right among two | asked, not so | missed | wrong and acted on | acted on in a gap |\n|---|---|---|---|---|---|---|---|\n";
    let mut text = format!("| recordings, noise | {heads}");
    let mut all: BTreeMap<(String, String), Counts> = BTreeMap::new();
    for ((kind, condition, _), one) in &counts {
        all.entry((kind.clone(), condition.clone())).or_default().add(one);
    }
    all.iter().for_each(|((kind, condition), one)| row(&mut text, &format!("{kind}, {condition}"), one));
    let _ = write!(text, "\nVoice by voice, the worst one first:\n\n| recordings, noise, voice | {heads}");
    for (kind, condition) in all.keys() {
        let own = counts.iter().filter(|((k, c, _), _)| k == kind && c == condition);
        let mut own: Vec<(&String, &Counts)> = own.map(|((_, _, voice), one)| (voice, one)).collect();
        own.sort_by(|a, b| a.1.share(Fate::Right).total_cmp(&b.1.share(Fate::Right)));
        own.iter().for_each(|(voice, one)| row(&mut text, &format!("{kind}, {condition}, {voice}"), one));
    }
    let (seconds, took): (f64, f64) =
        counts.values().fold((0.0, 0.0), |sum, one| (sum.0 + one.seconds, sum.1 + one.took_s));
    let _ = writeln!(
        text,
        "\n{:.0} minutes of sound; heard in {:.3} of real time, start of the program included.",
        seconds / 60.0,
        took / seconds
    );
    println!("{text}");
    if let Some(file) = &options.out {
        let before = std::fs::read_to_string(file).unwrap_or_default();
        let (head, rest) = before.split_once(END).unwrap_or(("", &before));
        let head = head.find("\n| recordings, noise |").map_or(head, |at| &head[..at]);
        std::fs::write(file, format!("{head}\n{text}{END}{rest}")).unwrap();
    }
}
