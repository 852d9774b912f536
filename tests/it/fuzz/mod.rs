//! Damaged and made-up input for everything that is read: no panic, no hang, no more memory than is fair.
//!
//! Each target runs in a child process with an address space of `MEMORY_MIB`; a panic, a death or an input that takes more
//! than `hang_s()` fails the test, and the input is kept in `target/fuzz/`. What once failed belongs in the target's folder
//! in `tests/fuzz/`, whose files are tried first. `ZONECALL_FUZZ_S=300` tries each target for so long (`make fuzz`).
mod change;
mod seeds;
mod targets;

use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use crate::support::machine::Dice;
use change::changed;
use targets::{BROKEN, TARGETS, Target};

/// Time for each target, where the environment says nothing else.
const EACH_MS: u64 = 700;
/// Time for one input where nothing else runs, as in `make fuzz`.
const HANG_S: u64 = 5;
/// Among all tests others hold the machine meanwhile; the slowest input takes 1.6 s of processor time, in a program of its
/// own, and took 25 s on two cores that eight others were using.
const HANG_BESIDE_OTHERS_S: u64 = 120;
/// Time for the one input that hangs on purpose, and for those beside it, which do next to nothing.
const HANG_ON_PURPOSE_S: u64 = 20;
/// Time in which a child must be ready for its first input: the language is built first.
const START_S: u64 = 180;
/// Address space of a child.
const MEMORY_MIB: u64 = 512;
/// What a child is given: target, time in milliseconds, first seed.
const CHILD: &str = "ZONECALL_FUZZ_CHILD";
/// Where the child leaves the input that it tries.
const INPUT: &str = "input";

fn each() -> Duration {
    let seconds = std::env::var("ZONECALL_FUZZ_S").ok().map(|text| text.parse::<u64>().unwrap());
    seconds.map_or(Duration::from_millis(EACH_MS), Duration::from_secs)
}

fn hang_s() -> u64 {
    if std::env::var_os("ZONECALL_FUZZ_SEED").is_some() { HANG_S } else { HANG_BESIDE_OTHERS_S }
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

/// Inputs that were kept, in the order of their names.
fn corpus(name: &str) -> Vec<Vec<u8>> {
    let folder = root().join("tests/fuzz").join(name);
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths.into_iter().map(|path| std::fs::read(path).unwrap()).collect()
}

/// Runs by itself in the child.
#[test]
fn one_target_in_a_child() {
    let Some(what) = std::env::var_os(CHILD) else { return };
    let what = what.into_string().unwrap();
    let mut parts = what.split(' ');
    let mut next = || parts.next().unwrap();
    let (name, millis, seed) = (next(), next().parse().unwrap(), next().parse().unwrap());
    let folder = PathBuf::from(std::env::var_os("ZONECALL_FUZZ_FOLDER").unwrap());
    let (_, make, run) = TARGETS.iter().chain(BROKEN).find(|target| target.0 == name).unwrap();
    let kept = corpus(name);
    let seeds: Vec<Vec<u8>> = kept.iter().cloned().chain(make()).collect();
    assert!(!seeds.is_empty(), "there is something to begin with");
    let mut target = run(&folder);
    let mut tried = 0_u64;
    let mut try_one = |input: &[u8]| {
        std::fs::write(folder.join(INPUT), input).unwrap();
        target(input);
        tried += 1;
    };
    seeds.iter().for_each(|input| try_one(input));
    let (mut dice, end) = (Dice::new(seed), Instant::now() + Duration::from_millis(millis));
    while Instant::now() < end {
        try_one(&changed(&mut dice, &seeds));
    }
    println!("tried {tried}");
}

/// Waits for a child that shows by new inputs that it goes on; none where it does not.
fn outcome(child: &mut Child, folder: &Path, hang_s: u64) -> Option<ExitStatus> {
    let (mut seen, mut at, mut has_begun) = (None, Instant::now(), false);
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            return Some(status);
        }
        let written = std::fs::metadata(folder.join(INPUT)).and_then(|about| about.modified()).ok();
        if written != seen {
            (seen, at, has_begun) = (written, Instant::now(), true);
        }
        if at.elapsed() > Duration::from_secs(if has_begun { hang_s } else { START_S }) {
            child.kill().unwrap();
            child.wait().unwrap();
            return None;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn fuzz(target: &Target, seed: u64, hang_s: u64) -> Result<String, String> {
    let (name, ..) = target;
    let folder = tempfile::tempdir().unwrap();
    let limited = format!("ulimit -v {}; ulimit -c 0; exec \"$0\" \"$@\"", MEMORY_MIB * 1024);
    let (out, err) = (folder.path().join("out"), folder.path().join("err"));
    let mut child = Command::new("bash")
        .args(["-c", &limited])
        .arg(std::env::current_exe().unwrap())
        .args(["--exact", "fuzz::one_target_in_a_child", "--nocapture", "--test-threads", "1"])
        .env(CHILD, format!("{name} {} {seed}", each().as_millis()))
        .env("ZONECALL_FUZZ_FOLDER", folder.path())
        // Each arena of the allocator asks for 64 MiB of addresses at once.
        .env("MALLOC_ARENA_MAX", "1")
        .env("RUST_BACKTRACE", "0")
        .stdout(Stdio::from(std::fs::File::create(&out).unwrap()))
        .stderr(Stdio::from(std::fs::File::create(&err).unwrap()))
        .spawn()
        .unwrap();
    let ended = outcome(&mut child, folder.path(), hang_s);
    let words = String::from_utf8_lossy(&std::fs::read(&err).unwrap()).into_owned();
    let fault = match ended {
        Some(status) if status.success() && !words.contains("panicked at") => {
            let out = std::fs::read_to_string(&out).unwrap();
            let tried = out.lines().find_map(|line| Some(line.split_once("tried ")?.1.to_owned()));
            return Ok(format!("{name}: {} inputs", tried.expect("the child has counted")));
        }
        Some(status) => format!("{status}"),
        None => format!("no answer after {hang_s} s"),
    };
    let kept = root().join("target/fuzz");
    std::fs::create_dir_all(&kept).unwrap();
    let kept = kept.join(format!("{name}-{seed}"));
    std::fs::copy(folder.path().join(INPUT), &kept).unwrap();
    let last: Vec<&str> = words.lines().filter(|line| !line.trim().is_empty()).take(12).collect();
    let again = format!(
        "mkdir -p tests/fuzz/{name} && cp {} tests/fuzz/{name}/ && ZONECALL_FUZZ_ONLY={name} cargo test --release --test it \
         nothing_that_is_read",
        kept.display()
    );
    Err(format!("{name}: {fault}\nto repeat it: {again}\n{}", last.join("\n")))
}

#[test]
fn nothing_that_is_read_ends_the_program_holds_it_or_costs_more_than_is_fair() {
    let only = std::env::var("ZONECALL_FUZZ_ONLY").ok();
    let seed = std::env::var("ZONECALL_FUZZ_SEED").map_or(1, |seed| seed.parse().unwrap());
    let mut faults = Vec::new();
    for target in TARGETS.iter().filter(|target| only.as_deref().is_none_or(|only| only == target.0)) {
        match fuzz(target, seed, hang_s()) {
            Ok(tried) => println!("{tried}"),
            Err(fault) => faults.push(fault),
        }
    }
    assert!(faults.is_empty(), "{}", faults.join("\n\n"));
}

/// An input that once failed is tried in each run: its folder has the name of its target.
#[test]
fn every_input_that_was_kept_is_tried() {
    let folders = std::fs::read_dir(root().join("tests/fuzz")).unwrap();
    let mut names: Vec<String> =
        folders.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    assert!(!names.is_empty());
    for name in names {
        assert!(TARGETS.iter().any(|target| target.0 == name), "`{name}` is no target");
        assert!(!corpus(&name).is_empty(), "`{name}` holds nothing");
    }
}

/// A harness that sees nothing proves nothing.
#[test]
fn a_panic_a_hang_and_a_hunger_for_memory_are_each_seen() {
    for (target, wanted) in BROKEN.iter().zip(["panicked", "no answer", "memory allocation"]) {
        let fault = fuzz(target, 1, HANG_ON_PURPOSE_S).unwrap_err();
        assert!(fault.contains(wanted), "{fault}");
    }
}
