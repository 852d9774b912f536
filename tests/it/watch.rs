//! The scanner's folder, followed while stills arrive.
use crate::support::program;

use std::collections::BTreeMap;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use program::{START, demo, demo_stills};
use zonecall::exam::call::Problem;
use zonecall::exam::event::Frame;
use zonecall::frames::elsewhere::Elsewhere;
use zonecall::frames::watch::{Arrived, Watch};

/// A still of the demo, by its number.
fn still(number: usize) -> PathBuf {
    static STILLS: LazyLock<tempfile::TempDir> = LazyLock::new(|| {
        let folder = tempfile::tempdir().unwrap();
        let made = demo_stills().arg(demo("fore-limbs.stills.csv")).arg(folder.path()).arg(START).status();
        assert!(made.unwrap().success());
        folder
    });
    STILLS.path().join(format!("IM{number:04}.dcm"))
}

fn no_fault(_: &Frame, _: &Path) -> Option<Problem> {
    None
}

fn follow(folder: &Path, known: &[&str]) -> Watch {
    let known = known.iter().map(|id| ((*id).to_owned(), "before.dcm".to_owned())).collect();
    Watch::open(folder, folder, 0, known, Elsewhere::default, no_fault).unwrap()
}

/// What arrives within a time that is long for a look through a small folder.
fn arrived(watch: &Watch, n: usize) -> Vec<Arrived> {
    let since = Instant::now();
    let mut found = Vec::new();
    while found.len() < n && since.elapsed() < Duration::from_secs(60) {
        found.extend(watch.arrived());
        std::thread::sleep(Duration::from_millis(20));
    }
    assert_eq!(found.len(), n, "{found:?}");
    found
}

fn frame(arrived: &Arrived) -> &Frame {
    match arrived {
        Arrived::Still { frame, .. } => frame,
        other => panic!("{other:?}"),
    }
}

/// A scanner that begins its numbers anew on an emptied card: the second still is one, and the first is not there any more.
#[test]
fn a_still_under_a_name_that_was_used_before_is_given_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("IM01.dcm");
    let watch = follow(folder.path(), &[]);
    fs::copy(still(1), &place).unwrap();
    let first = frame(&arrived(&watch, 1)[0]).clone();
    assert!(first.problems.is_empty(), "{:?}", first.problems);
    // The same still written once more is none.
    fs::copy(still(1), &place).unwrap();
    std::thread::sleep(Duration::from_secs(2));
    assert_eq!(watch.arrived().count(), 0);
    fs::copy(still(2), &place).unwrap();
    let second = frame(&arrived(&watch, 1)[0]).clone();
    assert_eq!((second.file.as_str(), second.id == first.id), ("IM01.dcm", false));
    assert!(second.problems[0].message.contains("took its place"), "{:?}", second.problems);
}

/// The exams beside may lie on a disk that takes its time: who listens does not wait for them.
#[test]
fn the_exams_beside_are_not_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let (done, wait) = std::sync::mpsc::channel::<()>();
    let slow = move || {
        let _ = wait.recv();
        Elsewhere::default()
    };
    let watch = Watch::open(folder.path(), folder.path(), 0, BTreeMap::new(), slow, no_fault).unwrap();
    fs::copy(still(1), folder.path().join("a.dcm")).unwrap();
    done.send(()).unwrap();
    assert_eq!(frame(&arrived(&watch, 1)[0]).file, "a.dcm");
}

/// A copy over a slow network may stop for a moment in the middle of the picture.
#[test]
fn a_still_whose_picture_ends_early_is_waited_for_and_then_given_with_its_fault() {
    static LOOKED_AT_NEVER: AtomicUsize = AtomicUsize::new(0);
    fn ends_early(_: &Frame, path: &Path) -> Option<Problem> {
        let is_never = path.ends_with("never.dcm");
        if is_never {
            LOOKED_AT_NEVER.fetch_add(1, Ordering::Relaxed);
        }
        let is_whole = fs::metadata(path).unwrap().len() == fs::metadata(still(2)).unwrap().len();
        (is_never || path.ends_with("late.dcm") && !is_whole)
            .then(|| Problem { message: "it ends early".to_owned(), help: "save it again".to_owned() })
    }
    let folder = tempfile::tempdir().unwrap();
    let watch = Watch::open(folder.path(), folder.path(), 0, BTreeMap::new(), Elsewhere::default, ends_early)
        .unwrap();
    for (idx, name) in [(1, "never.dcm"), (3, "whole.dcm")] {
        fs::copy(still(idx), folder.path().join(name)).unwrap();
    }
    let late = fs::read(still(2)).unwrap();
    let (start, rest) = late.split_at(late.len() - 100);
    fs::write(folder.path().join("late.dcm"), start).unwrap();
    assert_eq!(frame(&arrived(&watch, 1)[0]).file, "whole.dcm");
    fs::File::options().append(true).open(folder.path().join("late.dcm")).unwrap().write_all(rest).unwrap();
    let late = frame(&arrived(&watch, 1)[0]).clone();
    assert_eq!((late.file.as_str(), late.problems.len()), ("late.dcm", 0));
    let never = frame(&arrived(&watch, 1)[0]).clone();
    assert_eq!((never.file.as_str(), never.problems.len()), ("never.dcm", 1));
    assert_eq!(LOOKED_AT_NEVER.load(Ordering::Relaxed), 2, "looked at when it came to rest, and at the end");
}

#[test]
fn a_still_is_told_once_whatever_its_file_is_called_and_old_ones_are_not() {
    let folder = tempfile::tempdir().unwrap();
    let place = |name: &str| folder.path().join(name);
    fs::copy(still(1), place("old.dcm")).unwrap();
    let watch = follow(folder.path(), &[]);
    fs::create_dir(place("today")).unwrap();
    fs::copy(still(2), place("today/a.dcm")).unwrap();
    let first = frame(&arrived(&watch, 1)[0]).clone();
    assert_eq!(first.file, "today/a.dcm");
    // The same still by another name is nothing new; a copy of it is reported as one, and never as a still. Then another one.
    fs::rename(place("today/a.dcm"), place("today/b.dcm")).unwrap();
    fs::copy(place("today/b.dcm"), place("c.dcm")).unwrap();
    match &arrived(&watch, 1)[0] {
        Arrived::Other { problem, .. } => {
            assert!(problem.message.contains("the same still as"), "{problem:?}")
        }
        other => panic!("it counts twice: {other:?}"),
    }
    fs::copy(still(3), place("d.dcm")).unwrap();
    assert_eq!(frame(&arrived(&watch, 1)[0]).file, "d.dcm");
}

/// A scanner writes slowly: half a file is not read, and not taken for a broken still.
#[test]
fn a_file_that_is_being_written_is_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let watch = follow(folder.path(), &[]);
    let whole = fs::read(still(4)).unwrap();
    let path = folder.path().join("slow.dcm");
    for share in 1..=4 {
        fs::write(&path, &whole[..whole.len() * share / 5]).unwrap();
        std::thread::sleep(Duration::from_millis(250));
        assert_eq!(watch.arrived().count(), 0, "after {share} fifths");
    }
    fs::write(&path, &whole).unwrap();
    let wanted = sha2::Digest::finalize(<sha2::Sha256 as sha2::Digest>::new_with_prefix(&whole));
    let wanted: String = wanted.iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(frame(&arrived(&watch, 1)[0]).sha256, wanted, "the whole file was read");
}

#[test]
fn what_the_journal_knows_is_not_told_again_and_what_is_no_still_is_told_with_its_fault() {
    let folder = tempfile::tempdir().unwrap();
    let known = zonecall::frames::folder::one(&still(5), folder.path(), 0).unwrap();
    let watch = follow(folder.path(), &[&known.id]);
    fs::copy(still(5), folder.path().join("known.dcm")).unwrap();
    fs::write(folder.path().join("readme.txt"), "patient list").unwrap();
    let found = arrived(&watch, 1);
    let [Arrived::Other { file, problem }] = found.as_slice() else { panic!("{found:?}") };
    assert!(file.ends_with("readme.txt") && problem.message.contains("none of DICOM"), "{problem:?}");
}

#[test]
fn a_folder_that_is_not_there_is_refused_with_what_to_do() {
    let folder = tempfile::tempdir().unwrap();
    let error = Watch::open(
        &folder.path().join("none"),
        folder.path(),
        0,
        BTreeMap::new(),
        Elsewhere::default,
        no_fault,
    )
    .unwrap_err();
    assert!(error.to_string().contains("name the folder into which the scanner exports"), "{error}");
}

/// As when a stick is pulled out and plugged in again: what was on it before the exam is none of its stills.
#[test]
fn a_folder_that_goes_and_comes_back_is_told_and_brings_no_old_still_with_it() {
    let place = tempfile::tempdir().unwrap();
    let (folder, elsewhere) = (place.path().join("stick"), place.path().join("pulled"));
    fs::create_dir(&folder).unwrap();
    fs::copy(still(1), folder.join("IM0001.dcm")).unwrap();
    let watch = follow(&folder, &[]);
    fs::rename(&folder, &elsewhere).unwrap();
    let gone = arrived(&watch, 1);
    assert!(matches!(&gone[0], Arrived::FolderGone { error } if error.folder == folder), "{gone:?}");
    fs::copy(still(2), elsewhere.join("IM0002.dcm")).unwrap();
    fs::rename(&elsewhere, &folder).unwrap();
    let found = arrived(&watch, 2);
    assert!(matches!(found[0], Arrived::FolderBack), "{found:?}");
    assert_eq!(frame(&found[1]).file, "IM0002.dcm");
    std::thread::sleep(Duration::from_secs(2));
    assert_eq!(watch.arrived().count(), 0, "the old still is not told");
}

/// A look reads the folder, and reading gives a notice, too: it must not wake the next look.
#[test]
fn its_own_reading_does_not_wake_it() {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("today")).unwrap();
    let since = Instant::now();
    let watch = follow(folder.path(), &[]);
    std::thread::sleep(Duration::from_secs(2));
    // A busy machine lets this sleep for longer, and may not have let the other thread begin.
    while watch.looks() == 0 && since.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(20));
    }
    let looks = watch.looks();
    let most = (4.0 * since.elapsed().as_secs_f64()) as u64;
    assert!((1..=most).contains(&looks), "two looks a second are wanted: {looks} in {:?}", since.elapsed());
}
