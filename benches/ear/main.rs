//! The ears on the same recordings in the same run: what becomes of each utterance, and what it costs.
//!
//! `cargo bench --bench ear -- FOLDER... [--every N] [--slow N] [--only EAR] [--head FOLDER] [--takes FILE] [--out FILE]`.
//! Each folder holds WAV files and `truth.tsv`; each file is one utterance. `--every` takes one utterance of N, `--slow` one
//! of N for PocketSphinx. `--takes` keeps what was heard; FOLDER may be such a file, which is judged and not heard again.
//! `make bench-ear` says where the folders come from.
// A bench prints its figures, and its numbers are small.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss)]
#![allow(clippy::cast_possible_truncation)]
#![allow(missing_docs, unreachable_pub, dead_code)]

mod sclite;
mod set;
mod tables;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use set::{Row, Take, Truth};
use zonecall::exam::parse::meaning;
use zonecall::language::pack::Language;
use zonecall::protocol::Protocols;
use zonecall::speech::dictionary::default_model_dir;
use zonecall::speech::neural::Neural;
use zonecall::speech::neural::parts::Parts;
use zonecall::speech::recognise::{EngineId, Recogniser};
use zonecall::speech::sphinx::Sphinx;
use zonecall::speech::vosk::VoskParts;

/// Where the remarks of a person begin in the file that is written.
const REMARKS: &str = "\n## Remarks\n";
/// Where the part ends that the bench of whole recordings writes.
const STREAM_END: &str = "<!-- end of the stream -->\n";

pub struct Options {
    pub folders: Vec<PathBuf>,
    pub every: usize,
    pub slow: usize,
    head: Option<PathBuf>,
    out: Option<PathBuf>,
    takes: Option<PathBuf>,
    only: Option<String>,
}

fn options() -> Option<Options> {
    let mut args = std::env::args().skip(1).filter(|arg| arg != "--bench");
    let mut found =
        Options { folders: Vec::new(), every: 1, slow: 1, head: None, out: None, takes: None, only: None };
    while let Some(arg) = args.next() {
        match arg.as_str() {
            "--every" => found.every = args.next()?.parse().ok()?,
            "--slow" => found.slow = args.next()?.parse().ok()?,
            "--head" => found.head = Some(args.next()?.into()),
            "--out" => found.out = Some(args.next()?.into()),
            "--takes" => found.takes = Some(args.next()?.into()),
            "--only" => found.only = Some(args.next()?),
            _ => found.folders.push(arg.into()),
        }
    }
    let whole = found.folders.iter().all(|path| path.is_file() || path.join("truth.tsv").is_file());
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
    /// Utterances left out, for their truth is no phrase that means one thing.
    pub left_out: usize,
}

fn main() {
    let Some(options) = options() else {
        println!("usage: cargo bench --bench ear -- FOLDER...; each holds WAV files and truth.tsv");
        return;
    };
    let (files, folders): (Vec<_>, Vec<_>) = options.folders.iter().partition(|path| path.is_file());
    let (language, protocols) = set::language();
    let truths: Vec<Truth> = folders.iter().flat_map(|folder| set::truths(folder)).collect();
    let mut takes: Vec<Take> = files.iter().flat_map(|file| kept(file)).collect();
    let (mut all, mut loads) = (Vec::new(), String::new());
    for name in ["neural", "sphinx"] {
        if !truths.is_empty() && options.only.as_ref().is_none_or(|only| only == name) {
            let began = std::time::Instant::now();
            let mut engine = load(name, &options, &language, &protocols);
            let loaded_s = began.elapsed().as_secs_f64();
            let every = if name == "neural" { options.every } else { options.slow.max(options.every) };
            let id = engine.id();
            takes.extend(set::hear(&truths, every, &id, &mut |segment| engine.recognise(segment).unwrap()));
            let _ = write!(
                loads,
                "\n{name}: loaded in {loaded_s:.2} s, peak memory so far {:.0} MB.\n",
                peak_mb()
            );
        }
        let own: Vec<&Take> = takes.iter().filter(|take| take.engine.name == name).collect();
        let Some(id) = own.first().map(|take| take.engine.clone()) else { continue };
        assert!(own.iter().all(|take| take.engine == id), "takes of different engines called {name}");
        let rows: Vec<Row> =
            own.iter().filter_map(|take| set::judged((*take).clone(), &language, &protocols)).collect();
        all.push(Heard { id, left_out: own.len() - rows.len(), rows });
    }
    if let Some(file) = &options.takes {
        let lines = takes.iter().map(|take| serde_json::to_string(take).unwrap() + "\n");
        std::fs::write(file, lines.collect::<String>()).unwrap();
    }
    let lexicon = Parts::find(options.head.as_deref(), "en").head.join("lexicon.dict");
    let mut text = tables::all(&all, &sclite::Judge::new(&lexicon));
    text.push_str(&loads);
    text.push_str(match VoskParts::find(None, "en").missing() {
        None => "\nA Vosk model for English is here; `zonecall compare-ears` shows what it hears.\n",
        Some(_) => "\nVosk: there is no English model on this machine, so it has no figure.\n",
    });
    println!("{text}");
    if let Some(file) = &options.out {
        // What a person wrote below the tables stays.
        let before = std::fs::read_to_string(file).unwrap_or_default();
        let remarks = before.find(REMARKS).map_or("", |at| &before[at..]);
        let stream = before.find(STREAM_END).map_or("", |at| &before[..at + STREAM_END.len()]);
        std::fs::write(file, format!("{stream}{text}{remarks}")).unwrap();
    }
}

fn kept(file: &Path) -> Vec<Take> {
    let text = std::fs::read_to_string(file).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn load(name: &str, options: &Options, language: &Language, protocols: &Protocols) -> Box<dyn Recogniser> {
    if name == "neural" {
        let (known, units) = (language.clone(), protocols.clone());
        let parts = Parts::find(options.head.as_deref(), "en");
        let key = Box::new(move |words: &[&str]| meaning(words, &known, &units));
        Box::new(Neural::load(&parts, &language.engine, key).expect("the neural ear loads"))
    } else {
        Box::new(Sphinx::load(&default_model_dir(), &language.engine).expect("PocketSphinx loads"))
    }
}
