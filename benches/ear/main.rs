//! The ears on the same recordings in the same run: what becomes of each breath, and what it costs.
//!
//! `cargo bench --bench ear -- FOLDER... [--every N] [--slow N] [--only EAR] [--head FOLDER] [--rows FILE] [--out FILE]`.
//! Each folder holds WAV files and `truth.tsv`; each file is one breath. `--every` takes one breath of N, `--slow` one
//! of N for PocketSphinx. `make bench-ear` says where the folders come from.
// A bench prints its figures, and its numbers are small.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss)]
#![allow(clippy::cast_possible_truncation)]
#![allow(missing_docs, unreachable_pub, dead_code)]

mod sclite;
mod set;
mod tables;

use std::path::PathBuf;

use set::{Row, Truth};
use zonecall::exam::parse::meaning;
use zonecall::hear::neural::Neural;
use zonecall::hear::neural::parts::Parts;
use zonecall::hear::recognise::{EngineId, Recogniser};
use zonecall::hear::sphinx::{Sphinx, default_model_dir};
use zonecall::hear::vosk::VoskParts;

pub struct Options {
    pub folders: Vec<PathBuf>,
    pub every: usize,
    pub slow: usize,
    head: Option<PathBuf>,
    out: Option<PathBuf>,
    rows: Option<PathBuf>,
    only: Option<String>,
}

fn options() -> Option<Options> {
    let mut args = std::env::args().skip(1).filter(|arg| arg != "--bench");
    let mut found =
        Options { folders: Vec::new(), every: 1, slow: 1, head: None, out: None, rows: None, only: None };
    while let Some(arg) = args.next() {
        match arg.as_str() {
            "--every" => found.every = args.next()?.parse().ok()?,
            "--slow" => found.slow = args.next()?.parse().ok()?,
            "--head" => found.head = Some(args.next()?.into()),
            "--out" => found.out = Some(args.next()?.into()),
            "--rows" => found.rows = Some(args.next()?.into()),
            "--only" => found.only = Some(args.next()?),
            _ => found.folders.push(arg.into()),
        }
    }
    let whole = found.folders.iter().all(|folder| folder.join("truth.tsv").is_file());
    (whole && !found.folders.is_empty()).then_some(found)
}

/// Most memory the process has had, in MB (Linux).
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap_or("0");
    let kilobytes: f64 = line.split_whitespace().next().and_then(|n| n.parse().ok()).unwrap_or(0.0);
    kilobytes / 1024.0
}

pub struct Heard {
    pub id: EngineId,
    pub rows: Vec<Row>,
    pub loaded_s: f64,
    pub peak_mb: f64,
}

fn main() {
    let Some(options) = options() else {
        println!("usage: cargo bench --bench ear -- FOLDER...; each holds WAV files and truth.tsv");
        return;
    };
    let (language, protocols) = set::language();
    let truths: Vec<Truth> = options.folders.iter().flat_map(|folder| set::truths(folder)).collect();
    let mut all = Vec::new();
    for name in
        ["neural", "sphinx"].into_iter().filter(|name| options.only.as_ref().is_none_or(|only| only == name))
    {
        let began = std::time::Instant::now();
        let mut engine: Box<dyn Recogniser> = if name == "neural" {
            let (known, units) = (language.clone(), protocols.clone());
            let parts = Parts::find(options.head.as_deref(), "en");
            let key = Box::new(move |words: &[&str]| meaning(words, &known, &units));
            Box::new(Neural::load(&parts, &language.engine, key).expect("the neural ear loads"))
        } else {
            Box::new(Sphinx::load(&default_model_dir(), &language.engine).expect("PocketSphinx loads"))
        };
        let loaded_s = began.elapsed().as_secs_f64();
        let every = if name == "neural" { options.every } else { options.slow.max(options.every) };
        let rows = set::hear(&truths, every, &language, &protocols, &mut |segment| {
            engine.recognise(segment).unwrap()
        });
        all.push(Heard { id: engine.id(), rows, loaded_s, peak_mb: peak_mb() });
    }
    let lexicon = Parts::find(options.head.as_deref(), "en").head.join("lexicon.dict");
    let mut text = tables::all(&options, &all, &sclite::Judge::new(&lexicon));
    text.push_str(match VoskParts::find(None, "en").missing() {
        None => "\nA Vosk model for English is here; `zonecall compare-ears` shows what it hears.\n",
        Some(_) => "\nVosk: there is no English model on this machine, so it has no figure.\n",
    });
    println!("{text}");
    if let Some(file) = &options.rows {
        let lines = all.iter().flat_map(|heard| heard.rows.iter().map(move |row| line(heard, row)));
        std::fs::write(file, lines.collect::<String>()).unwrap();
    }
    if let Some(file) = &options.out {
        std::fs::write(file, text).unwrap();
    }
}

/// One breath, for a look at what went wrong.
fn line(heard: &Heard, row: &Row) -> String {
    let sign = if row.heard.rejected {
        "- "
    } else if row.heard.unsure {
        "? "
    } else {
        ""
    };
    let rivals: Vec<&str> = row.heard.rivals.iter().map(|rival| &*rival.words).collect();
    format!(
        "{}\t{}\t{}\t{}\t{}\t{:?}\t{}\t{sign}{}\t{}\n",
        heard.id.name,
        row.truth.file.file_name().unwrap_or_default().to_string_lossy(),
        row.truth.voice,
        row.truth.condition,
        row.truth.words,
        row.fate,
        row.heard.confidence,
        row.heard.text(),
        rivals.join(" | ")
    )
}
