//! The command line as its users meet it: help, exit codes, errors with the way out, and Ctrl-C.
use crate::support;
use crate::support::program;

use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use program::zonecall;

const COMMANDS: [&str; 21] = [
    "hear",
    "journal",
    "pair",
    "check",
    "measure",
    "enter",
    "trace",
    "report",
    "export",
    "phrases",
    "manual",
    "completions",
    "listen",
    "resume",
    "review",
    "setup",
    "doctor",
    "file",
    "history",
    "find",
    "compare-ears",
];

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

fn demo(file: &str) -> String {
    program::demo(file).to_string_lossy().into_owned()
}

#[test]
fn help_names_every_command_and_shows_the_cautions() {
    let help = told(&zonecall(&["--help"]));
    for command in COMMANDS {
        assert!(help.contains(&format!("\n  {command}")), "{command} is not in the help");
        let own = zonecall(&[command, "--help"]);
        assert!(own.status.success());
        assert!(told(&own).contains("Usage: zonecall"), "{command}");
    }
    // Lines are wrapped to the terminal.
    let help = help.split_whitespace().collect::<Vec<_>>().join(" ");
    for caution in
        ["Not a diagnosis", "licensed vet", "Cut-offs are defaults", "Sedation and handling safety"]
    {
        assert!(help.contains(caution), "{caution}");
    }
}

#[test]
fn help_tells_the_exit_codes_and_how_a_command_is_called() {
    for command in ["hear", "pair", "check", "measure", "report", "resume", "journal", "review", "enter"] {
        let help = told(&zonecall(&[command, "--help"]));
        let codes = help.split_once("\nExit codes: 0 ").expect(command).1;
        let codes = codes.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(codes.contains("2 an error") && codes.ends_with('.'), "{command}: {codes}");
        assert!(help.contains(&format!("\n  zonecall {command} ")), "{command} has no example");
    }
}

#[test]
fn a_wrong_command_line_ends_with_2_and_names_the_help() {
    for args in [&["listne"][..], &["hear"], &["export", "x", "--as", "xml"], &[]] {
        let done = zonecall(args);
        assert_eq!(done.status.code(), Some(2), "{args:?}");
        assert!(told(&done).contains("--help") || told(&done).contains("Usage"), "{}", told(&done));
    }
}

#[test]
fn errors_name_the_file_and_the_way_out() {
    let folder = tempfile::tempdir().unwrap();
    let empty = folder.path().to_string_lossy().into_owned();
    for command in ["journal", "check", "report"] {
        let done = zonecall(&[command, &empty]);
        assert_eq!(done.status.code(), Some(2), "{command}");
        assert!(told(&done).contains("exam.jsonl"), "{}", told(&done));
    }
    let nothing = zonecall(&["hear", "no-such.wav", "--into", &empty]);
    assert_eq!(nothing.status.code(), Some(2));
    assert!(told(&nothing).contains("`no-such.wav`"), "{}", told(&nothing));
    assert!(told(&nothing).contains("; check its spelling and its folder"), "{}", told(&nothing));
    let scheme = zonecall(&["hear", &demo("hind-limb.flac"), "--into", &empty, "--scheme", "fifths"]);
    assert_eq!(scheme.status.code(), Some(2));
    assert!(told(&scheme).contains("the schemes are: "), "{}", told(&scheme));
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0, "an error left something behind");
}

#[test]
fn who_names_a_file_in_place_of_the_exam_folder_is_told_which_folder_to_name() {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &[(2.0, "left fore zone one alpha transverse")]);
    let journal = folder.path().join("exam.jsonl").to_string_lossy().into_owned();
    let before = std::fs::read(&journal).unwrap();
    let enter =
        ["--limb", "LF", "--zone", "2B", "--structure", "SDFT", "--term", "echo score", "--number", "1"];
    let enter = [&["enter", &journal][..], &enter, &["--by", "Ada"]].concat();
    for args in [&["journal", &journal][..], &["check", &journal], &["report", &journal], &enter] {
        let done = zonecall(args);
        assert_eq!(done.status.code(), Some(2), "{args:?}");
        let way = format!(
            "zonecall: `{journal}` is a file, not an exam folder; name the folder it is in: `{}`\n",
            folder.path().display()
        );
        assert_eq!(told(&done), way, "{args:?}");
    }
    assert_eq!(std::fs::read(&journal).unwrap(), before);
    let other = folder.path().join("notes.txt");
    std::fs::write(&other, "").unwrap();
    let done = told(&zonecall(&["check", &other.to_string_lossy()]));
    assert!(
        done.contains("notes.txt` is a file, not an exam folder; name an exam folder, as made by"),
        "{done}"
    );
}

#[test]
fn check_ends_with_1_while_something_needs_a_look() {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &[(2.0, "left fore zone one alpha transverse"), (6.0, "save")]);
    let done = zonecall(&["check", &folder.path().to_string_lossy()]);
    assert_eq!(done.status.code(), Some(1));
    assert!(told(&done).contains("view-missing"), "{}", told(&done));
}

#[test]
fn a_folder_without_stills_is_named_with_the_kinds_that_are_read() {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &[(2.0, "left fore zone one alpha transverse"), (6.0, "save")]);
    let empty = folder.path().join("scanner");
    std::fs::create_dir(&empty).unwrap();
    let pair = || zonecall(&["pair", &folder.path().to_string_lossy(), "--frames", &empty.to_string_lossy()]);
    let done = pair();
    assert_eq!(done.status.code(), Some(1));
    assert!(
        told(&done).contains("no still was found") && told(&done).contains("DICOM, PNG"),
        "{}",
        told(&done)
    );
    image::GrayImage::from_pixel(8, 8, image::Luma([7])).save(empty.join("a.png")).unwrap();
    let untied = told(&pair());
    assert!(!untied.contains("no still was found"), "{untied}");
    let way_out =
        "could not be matched to the exam: too few save calls agree with stills; pair with a folder";
    assert!(untied.contains(way_out) && untied.contains("`zonecall pair EXAM "), "{untied}");
}

#[test]
fn a_day_without_a_time_is_refused_with_an_example_that_works() {
    let folder = tempfile::tempdir().unwrap();
    let into = folder.path().join("exam").to_string_lossy().into_owned();
    let hear = |at: &str| {
        let script = folder.path().join("nothing.jsonl");
        std::fs::write(&script, "").unwrap();
        let (audio, script) = (demo("hind-limb.flac"), script.to_string_lossy().into_owned());
        let ear = ["--ear", "scripted", "--script", &script];
        zonecall(&[&["hear", &audio, "--into", &into, "--started-at", at], &ear[..]].concat())
    };
    let refused = told(&hear("2026-05-04"));
    let example =
        refused.split_whitespace().find(|word| word.starts_with("2026-05-04T")).expect("an example");
    assert!(hear(example).status.success(), "{refused}");
}

/// As the report shows them, so that a line of the one is found in the other.
#[test]
fn the_journal_shows_the_times_of_the_place_of_the_exam() {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &[(2.0, "left fore zone one alpha transverse"), (6.0, "save")]);
    let shown = told(&zonecall(&["journal", &folder.path().to_string_lossy()]));
    let file = std::fs::read_to_string(folder.path().join("exam.jsonl")).unwrap();
    assert!(file.contains("\"at\":\"2026-05-04T08:00:0"), "the file keeps UTC: {file}");
    assert!(
        shown.lines().all(|line| line.contains("  2026-05-04 10:00:0") && line.contains(" +02:00  ")),
        "{shown}"
    );
    assert!(shown.lines().next().unwrap().contains(", model "), "{shown}");
}

#[test]
fn a_changed_journal_fails_verification_and_names_the_line() {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &[(2.0, "left fore zone one alpha transverse"), (6.0, "save")]);
    let exam = folder.path().to_string_lossy().into_owned();
    assert!(zonecall(&["journal", &exam, "--verify"]).status.success());
    let path = folder.path().join("exam.jsonl");
    let changed = std::fs::read_to_string(&path).unwrap().replace("\"zone\":\"1A\"", "\"zone\":\"1B\"");
    std::fs::write(&path, changed).unwrap();
    let done = zonecall(&["journal", &exam, "--verify"]);
    assert!(!done.status.success());
    assert!(told(&done).contains("line"), "{}", told(&done));
}

#[test]
fn manual_and_completions_cover_every_command() {
    let folder = tempfile::tempdir().unwrap();
    assert!(zonecall(&["manual", "--into", &folder.path().to_string_lossy()]).status.success());
    for command in COMMANDS {
        assert!(folder.path().join(format!("zonecall-{command}.1")).is_file(), "{command}");
    }
    for shell in ["bash", "fish", "zsh"] {
        let text = told(&zonecall(&["completions", shell]));
        assert!(COMMANDS.iter().all(|command| text.contains(command)), "{shell}");
    }
}

#[test]
fn completions_into_a_pipe_that_is_closed_are_no_error() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .args(["completions", "zsh"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let done = child.wait_with_output().unwrap();
    assert!(done.status.success(), "{}", told(&done));
    assert_eq!(told(&done), "");
}

/// Raw samples of the demo, as a microphone's pipe would give them.
fn samples(file: &str) -> Vec<u8> {
    let mut recording = zonecall::speech::recording::open(Path::new(&demo(file))).unwrap();
    let mut bytes = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        bytes.extend(block.iter().flat_map(|sample| sample.to_le_bytes()));
    }
    bytes
}

#[test]
fn ctrl_c_ends_with_130_and_leaves_a_whole_journal_and_the_audio() {
    let folder = tempfile::tempdir().unwrap();
    let exam = folder.path().join("exam");
    let mut child = Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .args(["hear", "-", "--started-at", "2026-05-04T10:00:00+02:00", "--into"])
        .arg(&exam)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut pipe = child.stdin.take().unwrap();
    let sound = samples("fore-limbs.flac");
    let feeder = std::thread::spawn(move || {
        // Fed at its own pace; the pipe breaks when the program has ended.
        for piece in sound.chunks(32_000) {
            if pipe.write_all(piece).is_err() {
                return;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
    });
    let journal = exam.join("exam.jsonl");
    let begun = Instant::now();
    let calls = || std::fs::read_to_string(&journal).unwrap_or_default().matches("\"kind\":\"call\"").count();
    while calls() < 3 {
        assert!(begun.elapsed() < Duration::from_secs(120), "no calls were written");
        std::thread::sleep(Duration::from_millis(50));
    }
    let sent = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(sent.success());
    assert_eq!(child.wait().unwrap().code(), Some(130));
    feeder.join().unwrap();
    let name = exam.to_string_lossy().into_owned();
    assert!(zonecall(&["journal", &name, "--verify"]).status.success());
    let text = std::fs::read_to_string(&journal).unwrap();
    assert!(text.lines().last().unwrap().contains("\"interrupted\""), "the journal is not closed");
    let kept = hound::WavReader::open(exam.join("audio/0001.wav")).unwrap();
    let closed: serde_json::Value = serde_json::from_str(text.lines().last().unwrap()).unwrap();
    assert_eq!(u64::from(kept.duration()), closed["body"]["samples"].as_u64().unwrap());
}

/// The card for the wall has one page: there the words of the blanks are left to the text.
#[test]
fn the_phrases_as_text_end_with_what_stands_for_each_blank() {
    let folder = tempfile::tempdir().unwrap();
    let text = told(&zonecall(&["phrases"]));
    let last = text.split("THE WORDS FOR ‹ ›").nth(1).expect("the last section");
    assert!(
        last.lines().any(|line| line.split_whitespace().eq("‹degree› mild | moderate | severe".split(' '))),
        "{last}"
    );
    let card = folder.path().join("card.html").to_string_lossy().into_owned();
    assert!(zonecall(&["phrases", "--html", &card]).status.success());
    let card = std::fs::read_to_string(&card).unwrap();
    assert!(
        card.contains("`zonecall phrases` lists the words for each ‹ ›")
            && !card.contains("<dt>‹degree›</dt>")
    );
}

/// A slip in a path makes no folders, as with other tools; the exam's own folder for what is made from it comes by itself.
#[test]
fn a_folder_that_is_not_there_is_not_made_and_the_way_out_is_named() {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &[(2.0, "left fore zone one alpha transverse"), (6.0, "save")]);
    let exam = folder.path().to_string_lossy().into_owned();
    let into = folder.path().join("a/b").to_string_lossy().into_owned();
    for args in
        [&["report", &exam, "--out"][..], &["export", &exam, "--as", "csv", "--out"], &["phrases", "--html"]]
    {
        let done = zonecall(&[args, &[&format!("{into}/x.html")]].concat());
        assert_eq!(done.status.code(), Some(2), "{args:?}");
        assert!(told(&done).contains(&format!("mkdir -p \"{into}\"")), "{}", told(&done));
    }
    assert!(!folder.path().join("a").exists());
    assert!(zonecall(&["report", &exam]).status.success());
    assert!(folder.path().join("out/report.html").is_file());
}

/// As root, replacing `/dev/null` by a file would break the machine.
#[test]
fn a_pipe_is_written_into_and_not_replaced() {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &[(2.0, "left fore zone one alpha transverse"), (6.0, "save")]);
    let pipe = folder.path().join("pipe.json");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let reader = Command::new("cat").arg(&pipe).stdout(Stdio::piped()).spawn().unwrap();
    let (exam, out) = (folder.path().to_string_lossy().into_owned(), pipe.to_string_lossy().into_owned());
    assert!(zonecall(&["export", &exam, "--as", "json", "--out", &out]).status.success());
    let read = reader.wait_with_output().unwrap().stdout;
    assert!(read.starts_with(b"{") && read.ends_with(b"}\n"), "the record came through the pipe");
    let kind = std::fs::metadata(&pipe).unwrap().file_type();
    assert!(!kind.is_file(), "the pipe is still a pipe");
}

#[test]
fn a_recording_that_breaks_off_leaves_a_closed_exam_of_what_was_heard() {
    let folder = tempfile::tempdir().unwrap();
    let (cut, exam) = (folder.path().join("cut.flac"), folder.path().join("exam"));
    let whole = std::fs::read(demo("hind-limb.flac")).unwrap();
    std::fs::write(&cut, &whole[..whole.len() / 3]).unwrap();
    let script = folder.path().join("nothing.jsonl");
    std::fs::write(&script, "").unwrap();
    let text = |path: &Path| path.to_string_lossy().into_owned();
    let done = zonecall(&[
        "hear",
        &text(&cut),
        "--into",
        &text(&exam),
        "--ear",
        "scripted",
        "--script",
        &text(&script),
        "--started-at",
        program::START,
    ]);
    assert_eq!(done.status.code(), Some(2));
    assert!(told(&done).contains("everything heard before that is kept"), "{}", told(&done));
    let journal = std::fs::read_to_string(exam.join("exam.jsonl")).unwrap();
    let last = journal.lines().last().unwrap();
    assert!(last.contains("\"closed\"") && last.contains("fault: "), "{last}");
    assert_eq!(last.matches("unexpected end of file").count(), 1, "a cause is written once: {last}");
    let checked = told(&zonecall(&["check", &text(&exam)]));
    assert!(checked.contains("look  broken-off: ") && !checked.contains("sound-cut-short"), "{checked}");
    let way =
        format!("find a complete copy of `{}` and run `zonecall hear` on it into a new folder", text(&cut));
    assert!(checked.contains(&way) && !checked.contains("zonecall resume"), "{checked}");
    assert!(zonecall(&["journal", &text(&exam), "--verify"]).status.success());
}

#[test]
fn check_tells_of_sound_that_was_cut_off_and_of_a_dead_microphone() {
    let folder = tempfile::tempdir().unwrap();
    let text = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    std::fs::write(text("dead.raw"), vec![0_u8; 2 * 16_000 * 45]).unwrap();
    std::fs::write(text("nothing.jsonl"), "").unwrap();
    let heard = Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .args(["hear", "-", "--ear", "scripted", "--script", &text("nothing.jsonl"), "--into", &text("exam")])
        .stdin(std::fs::File::open(text("dead.raw")).unwrap())
        .output()
        .unwrap();
    assert_eq!(heard.status.code(), Some(1), "{}", told(&heard));
    let stderr = String::from_utf8_lossy(&heard.stderr).into_owned();
    assert!(
        stderr.starts_with("zonecall: no speech was found in 45 s of sound; ")
            && stderr.contains("`zonecall setup`")
    );
    assert_eq!(stderr.lines().count(), 1, "{stderr}");
    let check = || {
        let done = zonecall(&["check", &text("exam")]);
        assert_eq!(done.status.code(), Some(1));
        told(&done)
    };
    assert!(check().contains("look  sound-silent: 45 s of the sound is all zeros"), "{}", check());
    assert!(!check().contains("sound-cut-short"), "{}", check());
    let sound = std::fs::OpenOptions::new().write(true).open(text("exam/audio/0001.wav")).unwrap();
    sound.set_len(sound.metadata().unwrap().len() - 2 * 16_000 * 10).unwrap();
    assert!(check().contains("ERROR sound-cut-short: the kept sound `audio/0001.wav` lacks its last 10.0 s"));
    std::fs::remove_file(text("exam/audio/0001.wav")).unwrap();
    assert!(check().contains("ERROR sound-cut-short: the kept sound `audio/0001.wav` cannot be read"));
}

#[test]
fn a_name_that_a_terminal_would_obey_is_refused() {
    let done = zonecall(&["hear", "x.wav", "--into", "nowhere", "--horse", "\u{1b}[31mRed"]);
    assert_eq!(done.status.code(), Some(2));
    assert!(told(&done).contains("plain text"), "{}", told(&done));
}
