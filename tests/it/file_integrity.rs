//! What is compared besides the journal's own chain: the kept sound, the stills, and the record that was signed.
use crate::support::program::{START, demo_stills, zonecall};
use crate::support::{self, BUILT_IN};

use std::path::Path;

use ed25519_dalek::SigningKey;
use sha2::{Digest as _, Sha256};
use zonecall::clock::Sample;
use zonecall::exam::event::{AudioFile, Event, Frame};
use zonecall::exam::file_integrity::{file_hashes, note_files};
use zonecall::exam::fold::{Exam, RecordDiffers, fold};
use zonecall::exam::journal::{self, Journal};
use zonecall::exam::sign::{Signable, Signed};
use zonecall::exam::sound::note_sound;
use zonecall::exam_folder::ExamFolder;
use zonecall::frames::folder::note_missing;
use zonecall::frames::pair::pair;
use zonecall::knowledge::assemble::record;
use zonecall::protocol::rules::Weight;
use zonecall::report::export::json;
use zonecall::report::signed::{keep, other_record, verified};
use zonecall::speech::keep::Keeper;

const SOUND: &str = "audio/0001.wav";
const STILL: &str = "stills/1.png";

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn exam(folder: &Path) -> Exam {
    let mut exam = fold(&journal::read(folder).unwrap(), &BUILT_IN.1).unwrap();
    note_missing(folder, &mut exam.frames);
    note_sound(folder, &mut exam);
    exam
}

/// An exam with a second of sound and a still, closed and sealed.
fn closed() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let at = support::header().started_at;
    support::write_journal(folder.path(), &[(0.1, "left fore zone two bravo transverse")]);
    for kept in [SOUND, STILL] {
        std::fs::create_dir_all(folder.path().join(kept).parent().unwrap()).unwrap();
    }
    let mut keeper = Keeper::create(&folder.path().join(SOUND), at, 0).unwrap();
    keeper.write(&[7; 48_000]).unwrap();
    keeper.finalise().unwrap();
    let still: Vec<u8> = (0..=255).collect();
    std::fs::write(folder.path().join(STILL), &still).unwrap();
    let mut journal = Journal::open(folder.path()).unwrap();
    let (file, source) = (SOUND.to_owned(), "default".to_owned());
    journal
        .append(at, Sample::FIRST, &Event::Audio(AudioFile { file, first_sample: Sample::FIRST, source }))
        .unwrap();
    let frame = Frame {
        id: "2.25.1".to_owned(),
        file: STILL.to_owned(),
        sha256: hex(&Sha256::digest(&still)),
        saved_at: at,
        time_source: "AcquisitionDateTime".to_owned(),
        size_px: None,
        ..support::still::frame("")
    };
    journal.append(at, Sample::FIRST, &Event::Frame(Box::new(frame))).unwrap();
    let files = file_hashes(folder.path(), &exam(folder.path()));
    let reason = "end of exam".to_owned().into();
    let lines = [Event::Sealed { files }, Event::Closed { reason, samples: 48_000 }];
    journal.append_all(at, Sample(48_000), &lines).unwrap();
    folder
}

fn sign(folder: &Path) {
    sign_as(folder, true, |record| record);
}

/// Signs as a version did that makes the record `as_then`; `kept` says whether that version kept it.
fn sign_as(folder: &Path, kept: bool, as_then: impl FnOnce(String) -> String) {
    let seen = exam(folder);
    let made = as_then(json(&record(&seen, &pair(&seen, &seen.frames), &BUILT_IN.1)));
    if kept {
        keep(&ExamFolder::at(folder), &made).unwrap();
    }
    sign_record(folder, &seen, &made);
}

fn sign_record(folder: &Path, seen: &Exam, made: &str) {
    let mut journal = Journal::open(folder).unwrap();
    let what = Signable {
        by: "Dr Example".to_owned(),
        licence: "V-1".to_owned(),
        at: support::header().started_at,
        journal_sha256: journal.last_hash().to_owned(),
        record_sha256: hex(&Sha256::digest(made.as_bytes())),
        files: file_hashes(folder, seen),
    };
    let signed = Signed::new(what, &SigningKey::from_bytes(&[7; 32]));
    journal.append(support::header().started_at, Sample(48_000), &Event::Signed(Box::new(signed))).unwrap();
}

/// The files that are reported to be other ones, each with whether that was signed.
fn changed(folder: &Path) -> Vec<(String, bool)> {
    let mut exam = exam(folder);
    note_files(folder, &mut exam);
    exam.changed_files.into_iter().map(|change| (change.file, change.was_signed)).collect()
}

/// Changes the last byte of a file, which no header covers.
fn harm(path: &Path) {
    let mut bytes = std::fs::read(path).unwrap();
    *bytes.last_mut().unwrap() ^= 1;
    std::fs::write(path, bytes).unwrap();
}

#[test]
fn a_sound_or_a_still_that_is_another_one_is_told_before_and_after_signing() {
    for is_signed in [false, true] {
        for kept in [SOUND, STILL] {
            let folder = closed();
            if is_signed {
                sign(folder.path());
            }
            assert_eq!(changed(folder.path()), []);
            harm(&folder.path().join(kept));
            assert_eq!(changed(folder.path()), [(kept.to_owned(), is_signed)]);
            let mut exam = exam(folder.path());
            note_files(folder.path(), &mut exam);
            assert!(!exam.is_signed, "what was signed is not there any more");
        }
    }
}

/// A card that was emptied during the exam: the name was used again, for another still of the same exam.
#[test]
fn a_still_whose_name_another_still_took_is_told_however_the_exam_was_closed() {
    let folder = closed();
    let mut journal = Journal::open(folder.path()).unwrap();
    let second: Vec<u8> = (0..=99).collect();
    let frame = Frame {
        id: "2.25.2".to_owned(),
        file: STILL.to_owned(),
        sha256: hex(&Sha256::digest(&second)),
        ..support::still::frame("")
    };
    journal.append(support::header().started_at, Sample(48_000), &Event::Frame(Box::new(frame))).unwrap();
    std::fs::write(folder.path().join(STILL), &second).unwrap();
    // Sealed with what has the name now.
    let files = file_hashes(folder.path(), &exam(folder.path()));
    journal.append(support::header().started_at, Sample(48_000), &Event::Sealed { files }).unwrap();
    assert_eq!(changed(folder.path()), [(STILL.to_owned(), false)]);
}

#[test]
fn verify_names_a_kept_file_that_is_not_there() {
    let folder = closed();
    let (code, told) = verify(folder.path());
    assert!(code == Some(0) && !told.contains("cannot be compared"), "{told}");
    let sound = std::fs::read_dir(folder.path().join("audio")).unwrap().next().unwrap().unwrap().path();
    std::fs::remove_file(&sound).unwrap();
    let (_, told) = verify(folder.path());
    assert!(told.contains("1 file that the journal names, `audio/"), "{told}");
}

#[test]
fn verify_check_and_reports_name_what_was_changed() {
    let folder = closed();
    sign(folder.path());
    let path = folder.path().to_string_lossy().into_owned();
    let said = |args: &[&str]| {
        let output = zonecall(args);
        (output.status.code(), String::from_utf8_lossy(&output.stdout).into_owned())
    };
    let (code, text) = said(&["journal", &path, "--verify"]);
    assert!(code == Some(0) && text.contains("covers every line before it"), "{text}");
    harm(&folder.path().join(STILL));
    for command in [vec!["journal", &path, "--verify"], vec!["check", &path]] {
        let (code, text) = said(&command);
        assert_eq!(code, Some(1), "{text}");
        assert!(text.contains("`stills/1.png` has changed since it was signed"), "{text}");
    }
    let (code, text) = said(&["export", &path, "--as", "json"]);
    assert_eq!(code, Some(0));
    assert!(text.contains("file-changed") && text.contains("\"status\": \"draft\""), "{text}");
    std::fs::write(folder.path().join(journal::JOURNAL_FILE), "").unwrap();
    let (code, text) = said(&["journal", &path, "--verify"]);
    assert!(code == Some(1) && text.contains("holds no line"), "{text}");
}

#[test]
fn a_line_taken_out_of_a_signed_journal_is_named_and_the_report_says_that_it_was_changed() {
    let folder = closed();
    sign(folder.path());
    let path = folder.path().to_string_lossy().into_owned();
    let file = folder.path().join(journal::JOURNAL_FILE);
    let text = std::fs::read_to_string(&file).unwrap();
    let kept: Vec<&str> =
        text.lines().enumerate().filter(|(idx, _)| *idx != 2).map(|(_, line)| line).collect();
    std::fs::write(&file, kept.join("\n") + "\n").unwrap();
    let verified = zonecall(&["journal", &path, "--verify"]);
    let told = String::from_utf8_lossy(&verified.stdout).into_owned();
    assert_eq!(verified.status.code(), Some(1), "{told}{}", String::from_utf8_lossy(&verified.stderr));
    assert!(!told.contains("covers every line"), "{told}");
    let out = folder.path().join("report.html");
    zonecall(&["report", &path, "--out", &out.to_string_lossy()]);
    let report = std::fs::read_to_string(out).unwrap();
    assert!(report.contains("no longer matches what was recorded"), "{report}");
}

/// Whoever takes a signature out and makes the chain anew leaves the record that was signed.
#[test]
fn a_signature_that_was_taken_out_is_named_by_the_record_it_was_for() {
    let folder = closed();
    let (journal, head) = (folder.path().join(journal::JOURNAL_FILE), folder.path().join("exam.head"));
    let unsigned = [std::fs::read(&journal).unwrap(), std::fs::read(&head).unwrap()];
    sign(folder.path());
    let (code, told) = verify(folder.path());
    assert_eq!((code, told.contains("no line of the journal signs it")), (Some(0), false), "{told}");
    std::fs::write(&journal, &unsigned[0]).unwrap();
    std::fs::write(&head, &unsigned[1]).unwrap();
    let (code, told) = verify(folder.path());
    assert_eq!(code, Some(1), "{told}");
    assert!(
        told.contains(".json` is a record as it was signed, and no line of the journal signs it"),
        "{told}"
    );
    // People read the findings and the report; few verify a journal.
    std::fs::remove_file(&head).unwrap();
    let path = folder.path().to_string_lossy().into_owned();
    let checked = String::from_utf8(zonecall(&["check", &path]).stdout).unwrap();
    let out = folder.path().join("report.html");
    zonecall(&["report", &path, "--out", &out.to_string_lossy()]);
    let report = std::fs::read_to_string(out).unwrap();
    for told in [checked, report] {
        assert!(told.contains("no line of the journal signs it"), "{told}");
        assert!(told.contains("exam.head") && told.contains("is gone: nothing shows whether"), "{told}");
    }
}

#[test]
fn naming_the_horse_of_a_signed_record_asks_first() {
    let folder = closed();
    sign(folder.path());
    let path = folder.path().to_string_lossy().into_owned();
    let before = std::fs::read(folder.path().join(journal::JOURNAL_FILE)).unwrap();
    let refused = zonecall(&["name", &path, "--horse", "Bramble", "--by", "Kim"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("--draft-again"));
    assert_eq!(std::fs::read(folder.path().join(journal::JOURNAL_FILE)).unwrap(), before);
    let named = zonecall(&["name", &path, "--horse", "Bramble", "--by", "Kim", "--draft-again"]);
    assert!(named.status.success(), "{}", String::from_utf8_lossy(&named.stderr));
}

#[test]
fn no_still_is_added_to_a_signed_record_or_left_out_of_it_unasked() {
    let folder = closed();
    sign(folder.path());
    let path = folder.path().to_string_lossy().into_owned();
    let scanner = tempfile::tempdir().unwrap();
    let table = scanner.path().join("stills.csv");
    std::fs::write(&table, "exam_s,label,area_cm2,lesion_cm2,horse\n1,LF 2B T,,,\n").unwrap();
    let stills = scanner.path().join("stills").to_string_lossy().into_owned();
    let made = demo_stills().arg(&table).args([&stills, START, "0", "0"]).status();
    assert!(made.unwrap().success());
    let lines = || std::fs::read(folder.path().join(journal::JOURNAL_FILE)).unwrap();
    let before = lines();
    let with_all = ["pair", &path, "--frames", &stills, "--all"];
    for asked in [&with_all[..], &["pair", &path, "--undo", "--by", "Kim"]] {
        let refused = zonecall(asked);
        let told = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(refused.status.code() == Some(2) && told.contains("--draft-again"), "{asked:?}: {told}");
        assert!(lines() == before, "{asked:?} wrote to the journal");
    }
    let added = zonecall(&[&with_all[..], &["--draft-again"]].concat());
    assert!(lines().len() > before.len(), "{}", String::from_utf8_lossy(&added.stderr));
}

/// What an exam is made of is never in the way of a slip in `--out`.
#[test]
fn no_output_takes_the_place_of_a_journal_a_recording_or_a_still() {
    let folder = closed();
    let path = folder.path().to_string_lossy().into_owned();
    let nameless =
        folder.path().with_file_name(format!("{}-still", folder.path().file_name().unwrap().display()));
    let dicom = [&[0; 128], &b"DICM and more"[..]].concat();
    std::fs::write(&nameless, &dicom).unwrap();
    let kept = [
        folder.path().join(journal::JOURNAL_FILE),
        folder.path().join("exam.head"),
        folder.path().join(SOUND),
        folder.path().join(STILL),
        nameless.clone(),
    ];
    let before = kept.clone().map(|file| std::fs::read(file).unwrap());
    let commands: [&[&str]; 5] = [
        &["export", &path, "--as", "json", "--out"],
        &["export", &path, "--as", "vtt", "--out"],
        &["report", &path, "--out"],
        &["measure", &path, "--out"],
        &["phrases", "--html"],
    ];
    for (file, was) in kept.iter().zip(&before) {
        for command in commands {
            let refused = zonecall(&[command, &[&file.to_string_lossy()]].concat());
            let told = String::from_utf8_lossy(&refused.stderr).into_owned();
            assert!(
                refused.status.code() == Some(2) && told.contains("another file")
                    || told.contains("name a file in"),
                "{told}"
            );
            assert!(&std::fs::read(file).unwrap() == was, "{command:?} wrote over {}", file.display());
        }
    }
    for among in ["audio", "stills"] {
        let into = folder.path().join(among);
        let refused = zonecall(&["export", &path, "--as", "audio", "--out", &into.to_string_lossy()]);
        assert_eq!(refused.status.code(), Some(2), "{}", String::from_utf8_lossy(&refused.stderr));
    }
    assert!(kept.iter().zip(before).all(|(file, was)| std::fs::read(file).unwrap() == was));
    let beside = folder.path().join("exam.json");
    for _ in 0..2 {
        let written = zonecall(&["export", &path, "--as", "json", "--out", &beside.to_string_lossy()]);
        assert!(written.status.success(), "{}", String::from_utf8_lossy(&written.stderr));
    }
    std::fs::remove_file(nameless).unwrap();
}

#[test]
fn other_cut_offs_make_another_record_than_the_one_that_was_signed() {
    let folder = closed();
    sign(folder.path());
    let lines = journal::read(folder.path()).unwrap();
    let exam = ExamFolder::at(folder.path());
    assert_eq!(other_record(&exam, &lines, &BUILT_IN.1), None);
    let mut other = BUILT_IN.1.clone();
    for rule in &mut other.rules.rule {
        rule.severity = Weight::Off;
    }
    let told = other_record(&exam, &lines, &other).unwrap();
    assert_eq!(
        (told.by.as_str(), told.how),
        ("Dr Example", RecordDiffers::Worded),
        "rules are words: {:?}",
        told.what
    );
    assert_eq!(lines.events.last().unwrap().seq, told.seq);
}

/// What another version of the program would have written, in place of a piece of today's record.
fn worded(record: &str) -> String {
    let mut value: serde_json::Value = serde_json::from_str(record).unwrap();
    value["findings"][0]["message"] = "as an earlier version put it".into();
    value["findings"].as_array_mut().unwrap().pop();
    serde_json::to_string_pretty(&value).unwrap() + "\n"
}

fn status(folder: &Path) -> (RecordDiffers, bool, String) {
    let exam = verified(&ExamFolder::at(folder), &BUILT_IN.1).unwrap();
    let other = exam.other_record.unwrap();
    (other.how, exam.is_signed, other.what.join("; "))
}

fn verify(folder: &Path) -> (Option<i32>, String) {
    let output = zonecall(&["journal", &folder.to_string_lossy(), "--verify"]);
    (output.status.code(), String::from_utf8_lossy(&output.stdout).into_owned())
}

#[test]
fn a_record_that_a_later_version_words_differently_stays_signed_and_the_difference_is_told() {
    let folder = closed();
    sign_as(folder.path(), true, |record| worded(&record));
    let (how, is_signed, what) = status(folder.path());
    assert_eq!((how, is_signed), (RecordDiffers::Worded, true), "{what}");
    assert!(what.contains("findings.message was `as an earlier version put it`, and is now `"), "{what}");
    let (code, told) = verify(folder.path());
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("is the same, but reads differently now"), "{told}");
    assert!(told.contains("covers every line before it") && !told.contains("cannot be made"), "{told}");
    let exported = zonecall(&["export", &folder.path().to_string_lossy(), "--as", "json"]);
    assert!(String::from_utf8_lossy(&exported.stdout).contains("\"status\": \"signed\""));
    // What is signed is still told apart from what was changed.
    harm(&folder.path().join(STILL));
    let (code, told) = verify(folder.path());
    assert_eq!(code, Some(1), "{told}");
    assert!(told.contains("`stills/1.png` has changed since it was signed"), "{told}");
}

#[test]
fn a_record_that_is_computed_differently_is_a_draft_and_names_what_differs_and_its_signature_holds() {
    let folder = closed();
    let other = |record: String| record.replacen("\"plane\": \"T\"", "\"plane\": \"L\"", 1);
    sign_as(folder.path(), true, other);
    let (how, is_signed, what) = status(folder.path());
    assert_eq!((how, is_signed), (RecordDiffers::Computed, false), "{what}");
    assert!(what.contains("plane was `L`, and is now `T`"), "{what}");
    let (code, told) = verify(folder.path());
    assert_eq!(code, Some(0), "nothing was changed: {told}");
    assert!(told.contains("the signature of Dr Example (line 9) holds"), "{told}");
}

/// Versions that knew no finding which says that nothing is wrong wrote all of them as lesions.
#[test]
fn what_was_signed_as_a_lesion_and_says_that_nothing_is_wrong_stays_signed() {
    let mut older = BUILT_IN.1.clone();
    older.rules.habits.no_lesion.clear();
    for (said, wanted) in [
        ("bone surface smooth", (RecordDiffers::Worded, true)),
        // Another finding in its place is another finding.
        ("core lesion", (RecordDiffers::Computed, false)),
    ] {
        let folder = tempfile::tempdir().unwrap();
        support::write_journal(folder.path(), &[(0.1, "left fore three bravo transverse"), (4.0, said)]);
        let seen = fold(&journal::read(folder.path()).unwrap(), &older).unwrap();
        let made = json(&record(&seen, &pair(&seen, &seen.frames), &older));
        let made = made.replace("core lesion", "bone smooth");
        assert!(made.contains("\"class\": \"lesion\""), "{made}");
        keep(&ExamFolder::at(folder.path()), &made).unwrap();
        sign_record(folder.path(), &seen, &made);
        let (how, is_signed, what) = status(folder.path());
        assert_eq!((how, is_signed), wanted, "{said}: {what}");
        let (code, told) = verify(folder.path());
        assert_eq!(code, Some(0), "{told}");
        let is_same = told.contains("is the same, but reads differently now");
        assert_eq!(is_same, is_signed, "{told}");
    }
}

/// Folders that were signed before records were kept.
#[test]
fn a_signature_whose_record_was_not_kept_still_verifies() {
    let folder = closed();
    sign_as(folder.path(), false, |record| record);
    let (code, told) = verify(folder.path());
    assert!(code == Some(0) && told.contains("covers every line before it"), "{told}");
    let folder = closed();
    sign_as(folder.path(), false, |record| worded(&record));
    assert_eq!(status(folder.path()).0, RecordDiffers::Unknown);
    let (code, told) = verify(folder.path());
    assert_eq!(code, Some(0), "{told}");
    assert!(
        told.contains("holds for the journal, the sound and the stills") && told.contains("was not kept"),
        "{told}"
    );
}

#[test]
fn a_kept_record_that_was_changed_is_named_and_leaves_nothing_signed() {
    let folder = closed();
    sign(folder.path());
    let kept = std::fs::read_dir(folder.path().join("signed")).unwrap().next().unwrap().unwrap();
    harm(&kept.path());
    assert!(!verified(&ExamFolder::at(folder.path()), &BUILT_IN.1).unwrap().is_signed);
    let (code, told) = verify(folder.path());
    assert_eq!(code, Some(1), "{told}");
    assert!(told.contains("`signed/") && told.contains("has changed since it was signed"), "{told}");
}

#[test]
fn a_value_that_is_new_in_the_record_is_computed_whether_as_a_key_or_as_a_row() {
    type Without = fn(&mut serde_json::Value);
    let cases: [(Without, &str); 2] = [
        (
            |record| drop(record["calls"][0].as_object_mut().unwrap().remove("limb")),
            "calls.limb is new: `LF`",
        ),
        (|record| drop(record["coverage"].as_array_mut().unwrap().pop()), "coverage now has `"),
    ];
    for (without, named) in cases {
        let folder = closed();
        sign_as(folder.path(), true, |record| {
            let mut then: serde_json::Value = serde_json::from_str(&record).unwrap();
            without(&mut then);
            serde_json::to_string_pretty(&then).unwrap() + "\n"
        });
        let (how, is_signed, what) = status(folder.path());
        assert_eq!((how, is_signed), (RecordDiffers::Computed, false), "{what}");
        assert!(what.contains(named), "{what}");
    }
    // In the program's own words a new key changes nothing of what was signed.
    let folder = closed();
    sign_as(folder.path(), true, |record| {
        let mut then: serde_json::Value = serde_json::from_str(&record).unwrap();
        then["findings"][0].as_object_mut().unwrap().remove("message");
        serde_json::to_string_pretty(&then).unwrap() + "\n"
    });
    let (how, is_signed, what) = status(folder.path());
    assert_eq!((how, is_signed), (RecordDiffers::Worded, true), "{what}");
}
