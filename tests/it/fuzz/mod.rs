//! Damaged and made-up input for everything that is read: no panic, no hang, no more memory than is fair.
//!
//! Each target runs in a child process with an address space of `MEMORY_MIB`; a panic, a death or an input that takes more
//! than `HANG_S` of processor time, or `WAIT_S` of waiting, fails the test, and the input is kept in `target/fuzz/`.
//! What once failed belongs in the target's folder in `tests/fuzz/`, whose files are tried first. `ZONECALL_FUZZ_S=300`
//! tries each target for so long (`make fuzz`).
mod change;
mod seeds;
mod targets;

use std::os::unix::process::CommandExt as _;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use crate::support::machine::Dice;
use change::changed;
use targets::{BROKEN, TARGETS, Target};

/// Time for each target, where the environment says nothing else.
const EACH_MS: u64 = 700;
/// Processor time for one input, with the programs it starts: whatever else the machine does meanwhile.
const HANG_S: f64 = 5.0;
/// Time for one input that waits, on a machine that others hold meanwhile: the slowest took 25 s on two cores that eight
/// others were using.
const WAIT_S: u64 = 120;
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

/// Processor time of a process and of all that it started, in seconds.
fn processor_s(process: u32) -> f64 {
    /// The unit of the times in `stat`, see proc(5); 100 on every Linux that Rust knows.
    const TICKS_A_S: f64 = 100.0;
    let read = |file: &str| std::fs::read_to_string(format!("/proc/{process}/{file}")).unwrap_or_default();
    // The name of the program stands in brackets and may hold anything.
    let stat = read("stat");
    let fields = stat.rsplit(')').next().unwrap_or_default().split_whitespace();
    // Its own time and that of children that have ended, each as user and as system.
    let own: f64 = fields.skip(11).take(4).filter_map(|ticks| ticks.parse::<f64>().ok()).sum();
    let tasks = std::fs::read_dir(format!("/proc/{process}/task")).into_iter().flatten().flatten();
    let children: Vec<String> =
        tasks.map(|task| std::fs::read_to_string(task.path().join("children")).unwrap_or_default()).collect();
    let children = children.iter().flat_map(|all| all.split_whitespace());
    own / TICKS_A_S + children.filter_map(|child| child.parse().ok()).map(processor_s).sum::<f64>()
}

/// Waits for a child that shows by new inputs that it goes on; which bound it exceeded, where it does not.
fn outcome(child: &mut Child, folder: &Path, wait_s: u64) -> Result<ExitStatus, String> {
    let (mut seen, mut at, mut has_begun, mut before_s) = (None, Instant::now(), false, 0.0);
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            return Ok(status);
        }
        let written = std::fs::metadata(folder.join(INPUT)).and_then(|about| about.modified()).ok();
        let spent_s = processor_s(child.id());
        if written != seen {
            (seen, at, has_begun, before_s) = (written, Instant::now(), true, spent_s);
        }
        let wait_s = if has_begun { wait_s } else { START_S };
        let fault = if has_begun && spent_s - before_s > HANG_S {
            Some(format!("no answer after {HANG_S} s of processor time"))
        } else {
            let is_over = at.elapsed() > Duration::from_secs(wait_s);
            is_over.then(|| format!("no answer after {wait_s} s of waiting"))
        };
        if let Some(fault) = fault {
            // With all that it started.
            let group = format!("-{}", child.id());
            assert!(Command::new("kill").args(["-KILL", "--", &group]).status().unwrap().success());
            child.wait().unwrap();
            return Err(fault);
        }
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn fuzz(target: &Target, seed: u64, wait_s: u64) -> Result<String, String> {
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
        .process_group(0)
        .stdout(Stdio::from(std::fs::File::create(&out).unwrap()))
        .stderr(Stdio::from(std::fs::File::create(&err).unwrap()))
        .spawn()
        .unwrap();
    let ended = outcome(&mut child, folder.path(), wait_s);
    let words = String::from_utf8_lossy(&std::fs::read(&err).unwrap()).into_owned();
    let fault = match ended {
        Ok(status) if status.success() && !words.contains("panicked at") => {
            let out = std::fs::read_to_string(&out).unwrap();
            let tried = out.lines().find_map(|line| Some(line.split_once("tried ")?.1.to_owned()));
            return Ok(format!("{name}: {} inputs", tried.expect("the child has counted")));
        }
        Ok(status) => format!("{status}"),
        Err(fault) => fault,
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
        match fuzz(target, seed, WAIT_S) {
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
    let wanted = ["panicked", "s of waiting", "s of processor time", "memory allocation"];
    for (target, wanted) in BROKEN.iter().zip(wanted) {
        let fault = fuzz(target, 1, HANG_ON_PURPOSE_S).unwrap_err();
        assert!(fault.contains(wanted), "{fault}");
    }
}
