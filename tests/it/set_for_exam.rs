//! What is set for one exam: the scale of a score, and how long the limbs are.
use crate::support::program;
use crate::support::{BUILT_IN, exam_of, header, utterance, write_heard_by};

use std::ffi::OsStr;
use std::os::unix::ffi::OsStrExt as _;
use std::process::Command;

use program::hear;
use zonecall::exam::call::Act;
use zonecall::exam::event::Header;
use zonecall::exam::fold::{Exam, fold};
use zonecall::exam::journal;
use zonecall::exam::parse::parse;
use zonecall::session::ask::{AskContext, Doubt, question};

fn exam_by(header: Header, utterances: &[&str]) -> Exam {
    let folder = tempfile::tempdir().unwrap();
    let heard = utterances.iter().enumerate().map(|(idx, text)| utterance(2.0 + idx as f64 * 4.0, text));
    write_heard_by(folder.path(), header, heard);
    fold(&journal::read(folder.path()).unwrap(), &BUILT_IN.1).unwrap()
}

fn on_three_steps() -> Header {
    Header { scales: [("echo score".to_owned(), "0-3".to_owned())].into(), ..header() }
}

/// Both scales: Equine Clinical Medicine, Surgery and Reproduction, 2nd ed., p. 330.
#[test]
fn the_scale_that_was_set_is_kept_with_each_score_and_one_that_is_said_comes_first() {
    let scale = |header: Header, said: &str| {
        let exam = exam_by(header, &["left fore two bravo transverse superficial flexor", said]);
        match &exam.calls[1].act {
            Act::Value(value) => value.said.scale.clone(),
            other => panic!("{other}"),
        }
    };
    assert_eq!(scale(on_three_steps(), "echo score two").as_deref(), Some("0-3"));
    assert_eq!(scale(on_three_steps(), "type two").as_deref(), Some("0-4"));
    assert_eq!(scale(on_three_steps(), "fibre score two"), None);
    assert_eq!(scale(header(), "echo score two"), None, "an exam without one reads as before");
}

#[test]
fn a_four_is_asked_about_on_a_scale_that_ends_at_three() {
    let (language, protocols) = &*BUILT_IN;
    let exam = exam_of(&["left fore two bravo transverse superficial flexor"]);
    let doubt = |header: &Header, words: &str| {
        let said = utterance(20.0, words);
        let now = AskContext { context: &exam.context, header, protocols, sides: None };
        question(&said, &parse(&said, language, protocols), None, now).map(|question| question.doubt)
    };
    assert!(matches!(doubt(&on_three_steps(), "echo score four"), Some(Doubt::Odd { .. })));
    assert_eq!(doubt(&on_three_steps(), "type four"), None, "types are always counted from one to four");
    assert_eq!(doubt(&on_three_steps(), "echo score three"), None);
    assert_eq!(doubt(&header(), "echo score four"), None);
}

/// A pony with 15 cm from landmark to annular ligament has zones of 2.5 cm.
#[test]
fn a_level_is_scaled_by_the_length_that_was_said_or_set() {
    let zone = |header: Header, said: &[&str]| {
        exam_by(header, said).context.place.zone.as_ref().map(ToString::to_string)
    };
    let set = Header { limb_lengths_cm: [("fore".to_owned(), 15.0)].into(), ..header() };
    assert_eq!(zone(header(), &["left fore", "level nine"]).as_deref(), Some("2A"));
    assert_eq!(zone(set, &["left fore", "level nine"]).as_deref(), Some("2B"));
    assert_eq!(zone(header(), &["left fore", "limb length fifteen", "level nine"]).as_deref(), Some("2B"));
    assert_eq!(
        zone(header(), &["limb length is fifteen centimetres", "left fore level nine"]).as_deref(),
        Some("2B")
    );
}

#[test]
fn what_is_set_on_the_command_line_stands_in_the_journal_and_what_cannot_be_set_is_told() {
    let done = |more: &[&str]| {
        let folder = tempfile::tempdir().unwrap();
        let done = hear(folder.path(), "left fore", more);
        let journal = std::fs::read_to_string(folder.path().join("exam/exam.jsonl")).unwrap_or_default();
        (journal, String::from_utf8_lossy(&done.stderr).into_owned(), done.status.code())
    };
    let (journal, told, _) =
        done(&["--score-scale", "echo score=0-3", "--limb-length", "fore=17.5", "--context", "90"]);
    let first = journal.lines().next().unwrap_or_else(|| panic!("{told}"));
    assert!(first.contains("\"scales\":{\"echo score\":\"0-3\"}"), "{first}");
    assert!(first.contains("\"limb_lengths_cm\":{\"fore\":17.5}"), "{first}");
    assert!(first.contains("\"context_s\":90.0"), "{first}");
    for (option, text, why) in [
        ("--score-scale", "echo score=0-5", "`0-5` is not a scale of echo score; give 0-3 or 0-4"),
        ("--score-scale", "area=0-3", "`area` has no scale to choose"),
        ("--limb-length", "tail=20", "no limb is of the group `tail`"),
        ("--limb-length", "fore=long", "`long` is not a length"),
        ("--context", "601", "give a number of seconds from 0 to 600"),
        ("--limb-length", "fore", "is not of the form NAME=TEXT"),
    ] {
        let (_, told, code) = done(&[option, text]);
        assert!(code == Some(2) && told.contains(why), "{text}: {told}");
    }
}

#[test]
fn hear_reads_the_settings_as_listen_does_and_a_broken_file_stops_it() {
    let folder = tempfile::tempdir().unwrap();
    let settings = folder.path().join("zonecall.toml");
    std::fs::write(
        &settings,
        "context_s = 90\nsave_first = true\nperson = \"Ada\"\nscore_scale = \"echo score=0-3\"\n",
    )
    .unwrap();
    assert!(hear(folder.path(), "save", &[]).status.success());
    let header = |folder: &std::path::Path| {
        let lines = journal::read(&folder.join("exam")).unwrap();
        fold(&lines, &BUILT_IN.1).unwrap().header
    };
    let set = header(folder.path());
    assert_eq!((set.context_s, set.person.as_deref()), (Some(90.0), Some("Ada")));
    assert_eq!(set.scales, on_three_steps().scales);
    assert!(set.save_first);
    // An option comes first, as everywhere.
    std::fs::remove_dir_all(folder.path().join("exam")).unwrap();
    assert!(
        hear(folder.path(), "save", &["--context", "30", "--person", "Kim", "--save-first=off"])
            .status
            .success()
    );
    let set = header(folder.path());
    assert_eq!((set.context_s, set.person.as_deref()), (Some(30.0), Some("Kim")));
    assert!(!set.save_first);
    std::fs::remove_dir_all(folder.path().join("exam")).unwrap();
    std::fs::write(&settings, "context_s = 90\n\nperson = Ada\n").unwrap();
    let done = hear(folder.path(), "save", &[]);
    let told = String::from_utf8_lossy(&done.stderr).into_owned();
    assert_eq!(done.status.code(), Some(2), "{told}");
    assert!(told.contains("zonecall.toml` holds no valid settings") && told.contains("line 3"), "{told}");
    assert!(!folder.path().join("exam").exists(), "nothing was begun");
}

#[test]
fn a_folder_whose_name_the_settings_cannot_hold_is_refused_before_anybody_speaks() {
    let folder = tempfile::tempdir().unwrap();
    let scanner = folder.path().join(OsStr::from_bytes(b"scanner\xff"));
    std::fs::create_dir(&scanner).unwrap();
    let settings = folder.path().join("zonecall.toml");
    let mut setup = Command::new(env!("CARGO_BIN_EXE_zonecall"));
    setup.arg("setup").arg("--watch").arg(&scanner).env("ZONECALL_SETTINGS", &settings);
    let done = setup.output().unwrap();
    let told = String::from_utf8_lossy(&done.stderr).into_owned();
    assert_eq!(done.status.code(), Some(2), "{told}");
    assert!(told.contains("scanner\\xff`, which is not UTF-8; rename the folder"), "{told}");
    assert!(!settings.exists(), "nothing was written");
}
