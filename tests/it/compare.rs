//! `compare-ears` on the demo: real engines, an engine that errs as told, and truths that cannot be used.
use crate::support::program;

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Output;

use program::{demo, zonecall};

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

fn compare(truth: &Path, more: &[&str]) -> Output {
    let (audio, truth) = (demo("hind-limb.flac"), truth.to_string_lossy().into_owned());
    let mut args = vec!["compare-ears", audio.to_str().unwrap(), "--truth", &truth, "--scheme", "hock"];
    args.extend(more);
    zonecall(&args)
}

/// `hind-limb.truth.jsonl` was worked out by `truth.py`, which knows nothing of the program's grammar.
#[test]
fn real_engines_hear_every_call_of_the_demo_and_an_absent_one_is_named() {
    let calls = std::fs::read_to_string(demo("hind-limb.truth.jsonl")).unwrap().lines().count();
    let done = compare(&demo("hind-limb.spoken.tsv"), &["--each"]);
    let text = told(&done);
    assert!(done.status.success(), "{text}");
    let head: Vec<&str> =
        text.lines().next().unwrap().split("  ").map(str::trim).filter(|h| !h.is_empty()).collect();
    assert_eq!(head[3..8], ["asked", "missed", "incomplete", "wrong", "false"], "{text}");
    assert_eq!(head[8..], ["real time", "memory", "wait"], "{text}");
    for ear in ["neural", "sphinx"] {
        let line =
            text.lines().find(|line| line.starts_with(ear)).unwrap_or_else(|| panic!("no {ear}: {text}"));
        let cells: Vec<&str> = line.split("  ").map(str::trim).filter(|cell| !cell.is_empty()).collect();
        assert_eq!(cells[2], format!("{calls} of {calls}"), "{text}");
        assert_eq!(cells[3..8], ["0"; 5], "asked, missed, incomplete, wrong, false: {text}");
        assert!(cells[10].contains(" s, "), "the wait stands last: {text}");
        let memory: f64 = cells[9].strip_suffix(" MiB").unwrap().parse().unwrap();
        assert!((20.0..1000.0).contains(&memory), "{text}");
    }
    assert!(text.contains("vosk could not hear: "), "no English model is set up: {text}");
}

/// A script from the truth in which one zone is misheard, one save is lost, and talk is taken for a call.
fn erring(folder: &Path) -> PathBuf {
    let mut script = String::new();
    let truth = std::fs::read_to_string(demo("hind-limb.spoken.tsv")).unwrap();
    for (idx, line) in truth.lines().skip(1).enumerate() {
        let cells: Vec<&str> = line.split('\t').collect();
        let sample = |cell: &str| (cell.parse::<f64>().unwrap() * 16_000.0) as u64;
        let words = match (idx, cells[2]) {
            (0, "left hind zone two alpha transverse") => "left hind zone two bravo transverse",
            (3, "save") => continue,
            (_, "") => "clock mark",
            (_, words) => words,
        };
        let span = serde_json::json!({ "from": sample(cells[0]), "to": sample(cells[1]) });
        let words: Vec<serde_json::Value> = words
            .split(' ')
            .map(|word| serde_json::json!({ "text": word, "span": span, "confidence": 1.0 }))
            .collect();
        let utterance = serde_json::json!({ "span": span, "words": words, "confidence": 1.0, "score": 0.0,
            "rejected": false, "level_dbfs": -20.0, "clipped": 0.0 });
        writeln!(script, "{utterance}").unwrap();
    }
    let path = folder.join("script.jsonl");
    std::fs::write(&path, script).unwrap();
    path
}

#[test]
fn a_misheard_zone_costs_the_calls_after_it_and_each_difference_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let script = erring(folder.path()).to_string_lossy().into_owned();
    let done = compare(&demo("hind-limb.spoken.tsv"), &["--json", "--ear", "scripted", "--script", &script]);
    let tried: serde_json::Value =
        serde_json::from_slice(&done.stdout).unwrap_or_else(|_| panic!("{}", told(&done)));
    let counts = &tried["counts"];
    // At 2A: the view, the structure, its lesion, its area, then the lost save, the other plane and its save: none is
    // right.
    let calls = std::fs::read_to_string(demo("hind-limb.truth.jsonl")).unwrap().lines().count();
    assert_eq!(counts["calls"], calls);
    assert_eq!(counts["right"], calls - 7, "{tried}");
    assert_eq!(counts["wrong"], 6, "{tried}");
    assert_eq!(counts["asked"], 0);
    assert_eq!(counts["false_calls"], 1, "{tried}");
    assert_eq!(counts["words_wrong"], 2, "one word misheard, one lost: {tried}");
    let each = compare(&demo("hind-limb.spoken.tsv"), &["--each", "--ear", "scripted", "--script", &script]);
    let text = told(&each);
    assert!(
        text.contains("said left hind zone two alpha transverse; heard left hind zone two bravo transverse"),
        "{text}"
    );
    assert!(text.contains("said save; heard nothing"), "{text}");
    assert!(text.contains("said nothing; heard clock mark"), "{text}");
}

#[test]
fn a_truth_that_cannot_be_used_is_refused_with_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("truth.tsv");
    for (text, wanted) in [
        ("start\tend\twords\n1\t2\tsave\n", "from_s"),
        ("from_s\tto_s\twords\n1\t2\tsave\nsoon\t3\tsave\n", "line: 3"),
        ("from_s\tto_s\twords\n1\t2\tsave\n3\t2.5\tsave\n", "line 3"),
        ("from_s\tto_s\twords\n1\t2\tsave\n1.5\t3\tsave\n", "begins before the line above has ended"),
        ("from_s\tto_s\twords\n1\t2\tsave\n3\t4\twhat a lovely pony\n", "line 3"),
        ("from_s\tto_s\twords\n1\t2\t\n", "no line with a call"),
    ] {
        std::fs::write(&path, text).unwrap();
        let done = compare(&path, &[]);
        assert_eq!(done.status.code(), Some(2), "{}", told(&done));
        let shown = told(&done);
        assert!(shown.contains(wanted) && shown.contains("truth.tsv"), "{shown}");
    }
}
