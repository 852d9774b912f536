//! Both ears on the same recordings in the same run: what becomes of each breath, and what it costs.
//!
//! `cargo bench --bench ear -- FOLDER [--every N] [--head FOLDER] [--out benches/EAR.md] [--rows FILE] [--only EAR]`.
//! The folder holds WAV files and `truth.tsv`; each file is one breath. `make bench-ear` makes the folder first.
// A bench prints its figures, and its numbers are small.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss)]
#![allow(clippy::cast_possible_truncation, clippy::needless_range_loop)]
#![allow(missing_docs, unreachable_pub, dead_code)]

mod judge;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::PathBuf;

use judge::{Fate, Row};
use zonecall::exam::parse::meaning;
use zonecall::hear::neural::Neural;
use zonecall::hear::neural::parts::Parts;
use zonecall::hear::recognise::{EngineId, Recogniser};
use zonecall::hear::sphinx::{Sphinx, default_model_dir};

struct Options {
    folder: PathBuf,
    every: usize,
    head: Option<PathBuf>,
    out: Option<PathBuf>,
    rows: Option<PathBuf>,
    only: Option<String>,
}

fn options() -> Option<Options> {
    let mut args = std::env::args().skip(1).filter(|arg| arg != "--bench");
    let mut found =
        Options { folder: PathBuf::new(), every: 1, head: None, out: None, rows: None, only: None };
    while let Some(arg) = args.next() {
        match arg.as_str() {
            "--every" => found.every = args.next()?.parse().ok()?,
            "--head" => found.head = Some(args.next()?.into()),
            "--out" => found.out = Some(args.next()?.into()),
            "--rows" => found.rows = Some(args.next()?.into()),
            "--only" => found.only = Some(args.next()?),
            _ => found.folder = arg.into(),
        }
    }
    found.folder.join("truth.tsv").is_file().then_some(found)
}

/// Most memory the process has had, in MB (Linux).
fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap_or("0");
    let kilobytes: f64 = line.split_whitespace().next().and_then(|n| n.parse().ok()).unwrap_or(0.0);
    kilobytes / 1024.0
}

struct Heard {
    id: EngineId,
    rows: Vec<Row>,
    loaded_s: f64,
    peak_mb: f64,
}

fn main() {
    let Some(options) = options() else {
        println!("usage: cargo bench --bench ear -- FOLDER; it holds WAV files and truth.tsv");
        return;
    };
    let (language, protocols) = judge::language();
    let truths = judge::truths(&options.folder, options.every);
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
        let rows =
            judge::hear(&truths, &language, &protocols, &mut |segment| engine.recognise(segment).unwrap());
        all.push(Heard { id: engine.id(), rows, loaded_s, peak_mb: peak_mb() });
    }
    let text = tables(&options, &all);
    println!("{text}");
    if let Some(file) = &options.rows {
        let line = |heard: &Heard, row: &Row| {
            let Row { truth, fate, heard: text, confidence, .. } = row;
            format!(
                "{}\t{}\t{}\t{fate:?}\t{confidence}\t{}\t{text}\n",
                heard.id.name, truth.voice, truth.condition, truth.words
            )
        };
        let lines = all.iter().flat_map(|heard| heard.rows.iter().map(move |row| line(heard, row)));
        std::fs::write(file, lines.collect::<String>()).unwrap();
    }
    if let Some(file) = &options.out {
        std::fs::write(file, text).unwrap();
    }
}

fn tables(options: &Options, all: &[Heard]) -> String {
    let mut text = String::from("# What each ear makes of the same recordings\n\n");
    let date = chrono::Utc::now().format("%Y-%m-%d");
    let version = env!("CARGO_PKG_VERSION");
    let _ = writeln!(
        text,
        "Written by `make bench-ear` on {date}, zonecall {version}, every {}. breath of the set.",
        options.every
    );
    text.push_str(
        "All speech is synthetic. A breath is right only if all its calls are exactly right in meaning.\n",
    );
    text.push_str("Each file is one breath: the endpointer is not part of this.\n");
    for heard in all {
        let _ = writeln!(text, "\n## {} {} ({})\n", heard.id.name, heard.id.version, heard.id.model);
        by(&mut text, "condition", &heard.rows, |row| row.truth.condition.clone());
        text.push('\n');
        by(&mut text, "voice", &heard.rows, |row| row.truth.voice.clone());
        talk(&mut text, heard);
        reliability(&mut text, heard);
        cost(&mut text, heard);
    }
    text
}

/// A line for each value of `key`, calls only.
fn by(text: &mut String, title: &str, rows: &[Row], key: impl Fn(&Row) -> String) {
    let mut groups: BTreeMap<String, Vec<Fate>> = BTreeMap::new();
    for row in rows.iter().filter(|row| !row.truth.words.is_empty()) {
        groups.entry(key(row)).or_default().push(row.fate);
    }
    let _ = writeln!(
        text,
        "| {title} | breaths | right at once | asked, right among two | asked, not among them | missed | wrong and acted on |\n|---|---|---|---|---|---|---|"
    );
    for (name, fates) in groups {
        let n = fates.len() as f64;
        let share = |fate: Fate| 100.0 * fates.iter().filter(|found| **found == fate).count() as f64 / n;
        let _ = writeln!(
            text,
            "| {name} | {} | {:.1} % | {:.1} % | {:.1} % | {:.1} % | {:.1} % |",
            fates.len(),
            share(Fate::Right),
            share(Fate::AskedRight),
            share(Fate::AskedWrong),
            share(Fate::Missed),
            share(Fate::Wrong)
        );
    }
}

/// Speech that is none of the language.
fn talk(text: &mut String, heard: &Heard) {
    let rows: Vec<&Row> = heard.rows.iter().filter(|row| row.truth.words.is_empty()).collect();
    if rows.is_empty() {
        return;
    }
    let minutes = rows.iter().map(|row| row.audio_s).sum::<f64>() / 60.0;
    let count = |fate: Fate| rows.iter().filter(|row| row.fate == fate).count();
    let (acted, asked) = (count(Fate::Wrong), count(Fate::AskedWrong));
    let _ = writeln!(
        text,
        "\nTalk: {} pieces, {minutes:.1} min; acted on {acted}, asked about {asked}.",
        rows.len()
    );
}

/// Of what was said to be right with a probability, how much was: acted on or asked about.
fn reliability(text: &mut String, heard: &Heard) {
    let _ = writeln!(text, "\n| confidence | breaths | first reading right |\n|---|---|---|");
    for (low, high) in
        [(0.0, 0.5), (0.5, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.98), (0.98, 0.99), (0.99, 1.01)]
    {
        let inside: Vec<&Row> = heard
            .rows
            .iter()
            .filter(|row| !row.heard.starts_with('-') && (low..high).contains(&row.confidence))
            .collect();
        let (language, protocols) = judge::language();
        let right = inside
            .iter()
            .filter(|row| {
                let acts = |words: &str| judge::acts(words, &language, &protocols);
                !row.truth.words.is_empty()
                    && acts(row.heard.trim_start_matches("? ")) == acts(&row.truth.words)
            })
            .count();
        let share = 100.0 * right as f64 / inside.len().max(1) as f64;
        let _ = writeln!(text, "| {low:.2} to {:.2} | {} | {share:.1} % |", high.min(1.0_f64), inside.len());
    }
}

fn cost(text: &mut String, heard: &Heard) {
    let mut took: Vec<f64> = heard.rows.iter().map(|row| row.took_s * 1000.0).collect();
    took.sort_by(f64::total_cmp);
    let at = |share: f64| took.get(((took.len() as f64 - 1.0) * share) as usize).copied().unwrap_or(0.0);
    let audio: f64 = heard.rows.iter().map(|row| row.audio_s).sum();
    let factor = took.iter().sum::<f64>() / 1000.0 / audio.max(0.001);
    let _ = writeln!(
        text,
        "\nReal-time factor {factor:.3}; end of breath to words: median {:.0} ms, 95th percentile {:.0} ms; \
         loaded in {:.2} s; peak memory so far {:.0} MB.",
        at(0.5),
        at(0.95),
        heard.loaded_s,
        heard.peak_mb
    );
}
