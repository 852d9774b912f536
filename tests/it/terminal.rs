//! Names that a terminal would obey reach it as text, whatever command shows them.
use crate::support;
use crate::support::program::{demo, zonecall};

use std::path::Path;
use std::process::{Command, Output};

use zonecall::terminal::{ShownText as _, is_plain};

/// A name that would set the title of a window, begin a line of its own and turn the rest round: ESC and BEL are obeyed
/// (ECMA-48, sections 5.4 and 8.3.89), U+202E by the bidirectional algorithm (UAX 9), U+009B by terminals that take C1.
const NAME: &str = "a\u{1b}]0;title\u{7}\u{9b}2J\nFORGED \u{202e}gnp";
/// The same, as it may be shown.
const SHOWN: &str = "a\\u{1b}]0;title\\u{7}\\u{9b}2J\\nFORGED \\u{202e}gnp";

/// What a command wrote, which must hold no raw sign of the name.
fn said(args: &[&str]) -> String {
    clean(&zonecall(args), args)
}

fn clean(done: &Output, args: &[&str]) -> String {
    let text = [done.stdout.as_slice(), done.stderr.as_slice()].concat();
    let text = String::from_utf8(text).unwrap();
    let raw = text.chars().find(|sign| *sign != '\n' && (sign.is_control() || *sign == '\u{202e}'));
    assert_eq!(raw, None, "{args:?}: {text:?}");
    assert!(!text.lines().any(|line| line.starts_with("FORGED")), "{args:?}: {text:?}");
    text
}

fn text(path: &Path) -> String {
    path.to_str().unwrap().to_owned()
}

/// An exam in a folder of such a name, and a still of such a name for it.
fn scene() -> (tempfile::TempDir, String, String) {
    let home = tempfile::tempdir().unwrap();
    let (exam, scanner) = (home.path().join(NAME), home.path().join("scanner"));
    support::write_journal(&exam, &[(2.0, "left fore zone one alpha transverse"), (6.0, "save")]);
    std::fs::create_dir(&scanner).unwrap();
    image::GrayImage::from_pixel(8, 8, image::Luma([7])).save(scanner.join(format!("{NAME}.png"))).unwrap();
    std::fs::write(scanner.join(format!("{NAME}.dcm")), "no still").unwrap();
    let (exam, scanner) = (text(&exam), text(&scanner));
    (home, exam, scanner)
}

#[test]
fn a_still_whose_name_a_terminal_would_obey_is_shown_as_text_everywhere() {
    let (home, exam, scanner) = scene();
    let paired = said(&["pair", &exam, "--frames", &scanner, "--all"]);
    assert!(paired.contains(&format!("{SHOWN}.png")), "taken: {paired}");
    assert!(paired.contains("left out ") && paired.contains(&format!("{SHOWN}.dcm: ")), "{paired}");
    assert!(paired.contains(&format!("zonecall check {}/{SHOWN}", home.path().display())), "{paired}");
    assert!(said(&["journal", &exam]).contains(&format!("{SHOWN}.png saved")));
    said(&["check", &exam]);
    std::fs::rename(&scanner, home.path().join("gone")).unwrap();
    assert!(said(&["check", &exam]).contains(&format!("no longer at `{scanner}/{SHOWN}.png`")));
    said(&["journal", &exam, "--verify"]);
    for form in ["labelled", "teaching", "dicom", "audio"] {
        said(&["export", &exam, "--as", form, "--out", &text(&home.path().join("made"))]);
    }
    // Data that goes to a program stays as it is.
    let record = zonecall(&["export", &exam, "--as", "json"]).stdout;
    let record: serde_json::Value = serde_json::from_slice(&record).unwrap();
    assert_eq!(record["frames"][0]["file"], format!("{scanner}/{NAME}.png"));
}

#[test]
fn errors_reports_and_the_archive_show_such_a_folder_as_text() {
    let (home, exam, _scanner) = scene();
    let at = |name: &str| text(&home.path().join(name));
    let archive = at("archive.db");
    for args in [
        &["file", &exam, "--archive", &archive][..],
        &["find", "--archive", &archive],
        &["report", &exam],
        &["measure", &exam],
        &["retention", "sound", "--days", "1", &exam],
        &["retention", "copy", "--horse", "Juniper", "--into", &at(&format!("{NAME}-copy")), &exam],
        &["archive", "backup", &at(&format!("{NAME}.db")), "--archive", &archive],
    ] {
        assert!(!said(args).is_empty(), "{args:?}");
    }
    let missing = at(&format!("{NAME}-missing"));
    for args in [
        &["check", &missing][..],
        &["pair", &exam, "--frames", &missing],
        &["export", &exam, "--as", "json", "--out", &format!("{missing}/x")],
        &["report", &exam, "--out", &format!("{missing}/x.html")],
        &["send", "--to", "127.0.0.1:1", "--called", "X", &missing],
        &["hear", &missing, "--into", &at("new")],
        &["hear", &text(&demo("hind-limb.flac")), "--into", &exam],
        &["journal", &exam, "--protocols", &missing, "--verify"],
        &["hear", "x.wav", "--into", &at("new"), "--grammar", &missing],
        &["review", &missing],
        &["doctor", "--into", &missing],
        &["find", "--archive", &missing],
        &["check", &exam, &format!("--{NAME}")],
    ] {
        let told = said(args);
        assert!(told.contains(SHOWN), "{args:?}: {told}");
    }
}

/// Where a person reads data on a terminal, it is text, too; `script` (util-linux) gives the program a terminal.
#[test]
fn data_that_a_terminal_shows_is_text() {
    let (home, exam, scanner) = scene();
    said(&["pair", &exam, "--frames", &scanner, "--all"]);
    let link = home.path().join("exam");
    std::os::unix::fs::symlink(&exam, &link).unwrap();
    let line = format!("'{}' export '{}' --as csv", env!("CARGO_BIN_EXE_zonecall"), text(&link));
    let shown = Command::new("script").args(["-qec", &line, "/dev/null"]).output().unwrap();
    let shown = String::from_utf8(shown.stdout).unwrap();
    assert!(
        shown.contains("\\u{1b}]0;title") && !shown.contains(['\u{1b}', '\u{202e}', '\u{9b}']),
        "{shown:?}"
    );
}

/// Soft hyphen, Mongolian vowel separator, marks of annotation and tag characters: by their general category Cf in the
/// Unicode Character Database they are drawn as nothing.
#[test]
fn letters_that_are_drawn_as_nothing_are_shown_and_no_name_holds_them() {
    for hidden in
        ['\u{AD}', '\u{180E}', '\u{FFF9}', '\u{FFFA}', '\u{FFFB}', '\u{E0001}', '\u{E0041}', '\u{E007F}']
    {
        let name = format!("Juni{hidden}per");
        assert_eq!(name.shown(), format!("Juni\\u{{{:x}}}per", u32::from(hidden)));
        assert!(!is_plain(&name), "{}", name.shown());
    }
    assert!(is_plain("Jüniper \u{200D}\u{1F434}"), "what joins signs stays");
}
