//! Speed and memory of `zonecall hear` beside the bare engine: the same audio, the same utterances, the same run.
//!
//! Each is a process of its own, so that peak memory can be told apart. Run with `cargo bench --bench hear`.
// A bench prints what it measured.
#![allow(clippy::print_stdout, clippy::unwrap_used)]

use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use zonecall::clock::{SAMPLE_RATE_HZ, Sample};
use zonecall::exam::parse::meaning;
use zonecall::language::pack::Pack;
use zonecall::protocol::Protocols;
use zonecall::speech::dictionary::default_model_dir;
use zonecall::speech::endpoint::Endpointer;
use zonecall::speech::neural::Neural;
use zonecall::speech::neural::parts::Parts;
use zonecall::speech::recognise::Recogniser;
use zonecall::speech::recording;
use zonecall::speech::sphinx::Sphinx;

/// Runs of each; the median counts.
const RUNS: usize = 5;
/// The ratio that `zonecall hear` should keep below.
const WANTED: f64 = 1.10;

/// The engine and nothing else: audio in, words out, nothing kept, nothing understood.
fn bare(ear: &str, audio: &Path) {
    let protocols = Protocols::built_in().unwrap();
    let schemes = [("fore", "thirds"), ("hind", "tarsometatarsal")];
    let schemes = schemes.map(|(group, name)| (group.to_owned(), name.to_owned())).into();
    let language = Pack::built_in().unwrap().for_zones(&protocols.zones_by_limb(&schemes));
    let mut engine: Box<dyn Recogniser> = if ear == "neural" {
        let (known, units) = (language.clone(), protocols.clone());
        let meaning = move |words: &[&str]| meaning(words, &known, &units);
        Box::new(Neural::load(&Parts::find(None, "en"), &language.engine, Box::new(meaning)).unwrap())
    } else {
        Box::new(Sphinx::load(&default_model_dir(), &language.engine).unwrap())
    };
    let mut recording = recording::open(audio).unwrap();
    let mut utterances = Endpointer::new(Sample::FIRST);
    let mut words = 0;
    while let Some(block) = recording.next_block().unwrap() {
        for segment in utterances.take(&block) {
            words += engine.recognise(&segment).unwrap().words.len();
        }
    }
    if let Some(segment) = utterances.finish() {
        words += engine.recognise(&segment).unwrap().words.len();
    }
    assert!(words > 0, "the engine heard nothing");
}

/// Seconds and peak memory (MiB) of one run of a program.
fn measure(command: &mut Command) -> (f64, f64) {
    let begun = Instant::now();
    let mut child = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut peak_kib = 0.0_f64;
    loop {
        // The kernel keeps the high-water mark, so the last look before the end is as good as any.
        if let Ok(text) = std::fs::read_to_string(&status) {
            let mark = text.lines().find_map(|line| line.strip_prefix("VmHWM:"));
            let kib = mark.and_then(|mark| mark.trim().trim_end_matches(" kB").parse::<f64>().ok());
            peak_kib = peak_kib.max(kib.unwrap_or(0.0));
        }
        if let Some(ended) = child.try_wait().unwrap() {
            assert!(ended.success(), "{command:?} failed");
            return (begun.elapsed().as_secs_f64(), peak_kib / 1024.0);
        }
        std::thread::sleep(Duration::from_millis(2));
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn main() {
    let mut args = std::env::args().skip(1);
    if args.next().as_deref() == Some("--bare") {
        bare(&args.next().unwrap(), &PathBuf::from(args.next().unwrap()));
        return;
    }
    let audio = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-audio/fore-limbs.flac");
    let samples =
        f64::from(u32::try_from(recording::open(&audio).unwrap().total_samples().unwrap()).unwrap());
    let audio_s = samples / f64::from(SAMPLE_RATE_HZ);
    println!("{audio_s:.0} s of audio, median of {RUNS} runs each");
    for ear in ["sphinx", "neural"] {
        compare(ear, &audio, audio_s);
    }
}

fn compare(ear: &str, audio: &Path, audio_s: f64) {
    let (mut engine, mut program) = (Vec::new(), Vec::new());
    for _ in 0..RUNS {
        // In turn, so that a slow moment of the machine meets both.
        let mut bare = Command::new(std::env::current_exe().unwrap());
        engine.push(measure(bare.args(["--bare", ear]).arg(audio)));
        let folder = tempfile::tempdir().unwrap();
        let mut hear = Command::new(env!("CARGO_BIN_EXE_zonecall"));
        hear.args(["hear", "--ear", ear]).arg(audio).arg("--into").arg(folder.path().join("exam"));
        program.push(measure(hear.args(["--started-at", "2026-05-04T10:00:00+02:00"])));
    }
    let of = |runs: &[(f64, f64)], part: fn(&(f64, f64)) -> f64| median(runs.iter().map(part).collect());
    let (engine_s, engine_mib) = (of(&engine, |run| run.0), of(&engine, |run| run.1));
    let (program_s, program_mib) = (of(&program, |run| run.0), of(&program, |run| run.1));
    let line = |what: &str, took_s: f64, peak_mib: f64| {
        println!(
            "{ear}, {what}: {took_s:.2} s, real-time factor {:.4}, peak {peak_mib:.0} MiB",
            took_s / audio_s
        );
    };
    line("bare engine", engine_s, engine_mib);
    line("zonecall hear", program_s, program_mib);
    let (time, memory) = (program_s / engine_s, program_mib / engine_mib);
    println!("{ear}, ratio: time {time:.3}, memory {memory:.3} (at most {WANTED} wanted)");
}
