//! `zonecall doctor`: what is missing is named with its remedy, and only what is needed ends with 1.
use crate::support::sound;

use std::process::Command;

use sound::Sound;
use zonecall::speech::vosk::VoskParts;

/// The lines printed, and the exit code.
fn doctor(args: &[&str], vars: &[(&str, &str)]) -> (Vec<String>, i32) {
    let mut run = Command::new(env!("CARGO_BIN_EXE_zonecall"));
    run.arg("doctor").args(args);
    for name in ["ZONECALL_EAR", "ZONECALL_MODEL", "ZONECALL_GRAMMAR", "ZONECALL_PROTOCOLS"] {
        run.env_remove(name);
    }
    let output = run.envs(vars.iter().copied()).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    (text.lines().map(str::to_owned).collect(), output.status.code().unwrap())
}

/// The state of a part, and the remedy that stands under it.
fn part(lines: &[String], name: &str) -> (String, Option<String>) {
    let at = lines.iter().position(|line| line.get(13..).is_some_and(|rest| rest.starts_with(name)));
    let at = at.unwrap_or_else(|| panic!("no line for `{name}` in {lines:#?}"));
    let mut under = lines[at + 1..].iter().take_while(|line| line.starts_with(' '));
    let remedy = under.find_map(|line| Some(line.trim().strip_prefix("-> ")?.to_owned()));
    (lines[at][..12].trim().to_owned(), remedy)
}

#[test]
fn a_machine_that_was_set_up_is_ready() {
    let folder = tempfile::tempdir().unwrap();
    let (lines, code) = doctor(&["--into", folder.path().to_str().unwrap()], &[]);
    assert_eq!(code, 0, "{lines:#?}");
    // There may be a microphone or none: either is reported in the last line, and never by the system's sound library.
    let without = part(&lines, "microphone").0 != "there";
    assert_eq!(lines.last().unwrap().starts_with("ready, but there is no microphone"), without, "{lines:#?}");
    for name in ["protocols", "grammar", "neural ear", "sphinx ear", "exam folder", "disk space"] {
        assert_eq!(part(&lines, name), ("there".to_owned(), None), "{name}");
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0, "the test file is gone");
}

#[test]
fn a_machine_without_a_microphone_says_so_once_and_the_sound_library_says_nothing() {
    let home = tempfile::tempdir().unwrap();
    let silent = home.path().join("asound.conf");
    std::fs::write(&silent, "pcm.!default { type hw card 99 }\n").unwrap();
    let mut run = Command::new(env!("CARGO_BIN_EXE_zonecall"));
    run.arg("doctor").env("ALSA_CONFIG_PATH", &silent).env("XDG_RUNTIME_DIR", home.path());
    let said = run.output().unwrap();
    let (text, errors) = (String::from_utf8_lossy(&said.stdout), String::from_utf8_lossy(&said.stderr));
    assert!(text.lines().last().unwrap().starts_with("ready, but there is no microphone: "), "{text}");
    assert!(!text.contains("ready to listen"), "{text}");
    assert_eq!(errors, "", "the library's own lines");
}

/// What is set and would not work is reported under its own name, with the way out; the rest is looked at all the same.
#[test]
fn settings_that_cannot_be_read_or_name_what_is_not_there_are_missing_each_with_the_way_out() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("zonecall.toml");
    let set = |text: &str| {
        std::fs::write(&file, text).unwrap();
        doctor(&["--into", folder.path().to_str().unwrap()], &[("ZONECALL_SETTINGS", file.to_str().unwrap())])
    };
    let (lines, code) = set("person = \"Ada\"\n");
    assert_eq!((code, part(&lines, "settings")), (0, ("there".to_owned(), None)), "{lines:#?}");
    let (lines, code) = set("tones = \"perhaps\"\n");
    let (state, remedy) = part(&lines, "settings");
    assert_eq!((code, state.as_str()), (1, "MISSING"), "{lines:#?}");
    assert!(remedy.unwrap().contains("`zonecall setup`"), "{lines:#?}");
    assert!(lines.iter().any(|line| line.contains("zonecall.toml") && line.contains("line 1")), "{lines:#?}");
    assert!(!lines.iter().any(|line| line.contains("MISSING      switch")), "{lines:#?}");
    let wrong = [
        ("watch = \"/nowhere/scanner\"", "stills", "name the folder into which the scanner"),
        ("call_word = \"save\"", "call word", "choose one that is not"),
        ("sides = \"upper\"", "sides", "give one of"),
        ("score_scale = \"echo score\"", "score scale", "correct the settings"),
        ("screen = true\nscreen_at = \"scan.practice.example\"", "second screen", "set all three"),
        ("device = \"nowhere at all\"", "microphone", "--device"),
        ("switch_device = \"/dev/input/event0\"", "switch", "--switch"),
    ];
    for (text, name, way_out) in wrong {
        let (lines, code) = set(text);
        let found = lines.iter().position(|line| line.starts_with(&format!("MISSING      {name}")));
        let found = found.unwrap_or_else(|| panic!("{text}: {lines:#?}"));
        let told =
            lines[found..].iter().take_while(|line| !line.starts_with("there")).cloned().collect::<Vec<_>>();
        assert!(code == 1 && told.iter().any(|line| line.contains(way_out)), "{text}: {lines:#?}");
    }
    let (lines, code) = set("call_word = \"exam\"\nscreen = true\nwatch = \"/tmp\"\n");
    assert_eq!(code, 0, "{lines:#?}");
    for name in ["call word", "second screen", "stills", "settings"] {
        assert_eq!(part(&lines, name), ("there".to_owned(), None), "{name}");
    }
}

#[test]
fn one_ear_is_enough_only_if_it_was_asked_for() {
    let gone = [("ZONECALL_EAR", "/nowhere")];
    let (lines, code) = doctor(&["--ear", "sphinx"], &gone);
    let (state, remedy) = part(&lines, "neural ear");
    assert_eq!((code, state.as_str()), (0, "better with"), "{lines:#?}");
    assert!(remedy.unwrap().contains("make setup"));
    for asked in [&["--ear", "neural"][..], &[]] {
        let (lines, code) = doctor(asked, &gone);
        let neural = part(&lines, "neural ear").0;
        assert_eq!((code, neural.as_str()), (1, "MISSING"), "PocketSphinx must be asked for: {lines:#?}");
    }
}

/// As `/usr/bin/zonecall` and `/usr/share/zonecall/` lie: beside an installed program nothing of this machine counts.
#[test]
fn an_installed_program_looks_only_at_its_own_parts_and_names_its_package() {
    let root = tempfile::tempdir().unwrap();
    let (bin, share) = (root.path().join("bin"), root.path().join("share/zonecall"));
    for folder in [&bin, &share] {
        std::fs::create_dir_all(folder).unwrap();
    }
    std::fs::copy(env!("CARGO_BIN_EXE_zonecall"), bin.join("zonecall")).unwrap();
    // The library of the Vosk ear comes in `lib/zonecall/`, as `/usr/lib/zonecall/`.
    std::fs::create_dir(root.path().join("lib")).unwrap();
    let vosk = VoskParts::find(None, "ko").model;
    std::os::unix::fs::symlink(vosk.parent().unwrap(), root.path().join("lib/zonecall")).unwrap();
    let doctor = || {
        let mut run = Command::new(bin.join("zonecall"));
        for name in ["ZONECALL_EAR", "ZONECALL_MODEL", "ZONECALL_VOSK_MODEL", "LD_LIBRARY_PATH"] {
            run.env_remove(name);
        }
        run.arg("doctor").output().unwrap()
    };
    // The archive of a user may lie there, beside a program that was built and copied: that is no package.
    std::fs::write(share.join("archive.sqlite"), "").unwrap();
    assert_eq!(doctor().status.code(), Some(0), "it has the ears of this machine");
    std::fs::create_dir(share.join("models")).unwrap();
    let said = doctor();
    assert_eq!(said.status.code(), Some(1), "it has no ear");
    let said = String::from_utf8(said.stdout).unwrap();
    assert!(!said.contains("make setup") && !said.contains(env!("CARGO_MANIFEST_DIR")), "{said}");
    let lines: Vec<String> = said.lines().map(str::to_owned).collect();
    for (name, wanted) in [("neural ear", "MISSING"), ("sphinx ear", "better with")] {
        let (state, remedy) = part(&lines, name);
        assert_eq!(state, wanted, "{said}");
        assert!(remedy.unwrap().starts_with("install the package again, or name"), "{said}");
    }
    let (_, remedy) = part(&lines, "vosk ear");
    assert!(remedy.unwrap().contains("--vosk-model"), "{said}");
}

#[test]
fn without_any_ear_nothing_can_be_heard() {
    let (lines, code) = doctor(&[], &[("ZONECALL_EAR", "/nowhere"), ("ZONECALL_MODEL", "/nowhere")]);
    assert_eq!(code, 1);
    for (name, wanted) in [("neural ear", "MISSING"), ("sphinx ear", "better with")] {
        let (state, remedy) = part(&lines, name);
        assert_eq!(state, wanted, "PocketSphinx must be asked for: {lines:#?}");
        assert!(remedy.unwrap().contains("ZONECALL_"));
    }
}

#[test]
fn a_folder_that_cannot_be_written_and_a_broken_grammar_are_missing_with_a_remedy() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("exam.gram"), "#JSGF V1.0;\ngrammar exam;\npublic <exam> = [a;\n")
        .unwrap();
    std::fs::write(folder.path().join("words.dict"), "").unwrap();
    let grammar = folder.path().to_str().unwrap();
    let (lines, code) = doctor(&["--into", "/proc/nowhere", "--grammar", grammar], &[]);
    assert_eq!(code, 1);
    for name in ["grammar", "exam folder", "disk space"] {
        let (state, remedy) = part(&lines, name);
        assert_eq!(state, "MISSING", "{name}: {lines:#?}");
        assert!(remedy.is_some_and(|remedy| !remedy.is_empty()), "{name}");
    }
}

#[test]
fn a_microphone_is_named_and_only_one_that_was_asked_for_must_be_there() {
    let sound = Sound::start();
    let runtime = sound.path().to_string_lossy().into_owned();
    let (lines, code) = doctor(&[], &[("XDG_RUNTIME_DIR", &runtime), ("HOME", &runtime)]);
    assert_eq!(code, 0, "{lines:#?}");
    for name in ["microphone", "loudspeaker", "voice"] {
        assert_eq!(part(&lines, name), ("there".to_owned(), None), "{name}");
    }
    let vars = [("XDG_RUNTIME_DIR", runtime.as_str()), ("HOME", &runtime)];
    let (lines, code) = doctor(&["--device", "nowhere at all"], &vars);
    let (state, remedy) = part(&lines, "microphone");
    assert_eq!((code, state.as_str()), (1, "MISSING"), "{lines:#?}");
    assert!(remedy.unwrap().contains("--device"));
}
