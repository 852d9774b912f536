//! Stills that were moved, changed or taken away after they were paired.
use crate::support;
use crate::support::program;

use std::path::{Path, PathBuf};

use program::zonecall;

const SAID: [(f64, &str); 2] = [(2.0, "left fore zone one alpha transverse"), (6.0, "save")];

struct Scene {
    folder: tempfile::TempDir,
}

impl Scene {
    /// An exam, and one picture in `scanner/` that was paired with it.
    fn new() -> Scene {
        let scene = Scene { folder: tempfile::tempdir().unwrap() };
        support::write_journal(&scene.exam(), &SAID);
        std::fs::create_dir(scene.at("scanner")).unwrap();
        image::GrayImage::from_pixel(8, 8, image::Luma([7])).save(scene.at("scanner/a.png")).unwrap();
        scene.run(&["pair", "--frames", &scene.text("scanner")]);
        scene
    }

    fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn text(&self, name: &str) -> String {
        self.at(name).to_string_lossy().into_owned()
    }

    fn exam(&self) -> PathBuf {
        self.at("exam")
    }

    fn run(&self, args: &[&str]) -> String {
        let exam = self.text("exam");
        let done = zonecall(&[&args[..1], &[exam.as_str()], &args[1..]].concat());
        assert!(done.status.code().is_some_and(|code| code < 2), "{}", String::from_utf8_lossy(&done.stderr));
        String::from_utf8(done.stdout).unwrap()
    }

    fn frames(&self) -> Vec<serde_json::Value> {
        let record: serde_json::Value = serde_json::from_str(&self.run(&["export", "--as", "json"])).unwrap();
        record["frames"].as_array().unwrap().clone()
    }

    fn journal_lines(&self) -> usize {
        std::fs::read_to_string(self.exam().join("exam.jsonl")).unwrap().lines().count()
    }
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to.parent().unwrap()).unwrap();
    std::fs::copy(from, to).unwrap();
}

#[test]
fn a_still_that_went_away_is_a_finding_and_pairing_finds_it_again() {
    let scene = Scene::new();
    let before = scene.frames();
    assert!(!scene.run(&["check"]).contains("is no longer at"));
    copy(&scene.at("scanner/a.png"), &scene.at("archive/a.png"));
    std::fs::remove_file(scene.at("scanner/a.png")).unwrap();
    let findings = scene.run(&["check"]);
    assert!(findings.contains("still-file") && findings.contains("run `zonecall pair`"), "{findings}");

    let told = scene.run(&["pair", "--frames", &scene.text("archive")]);
    assert!(told.contains("1 stills, 0 of them new, 1 moved or changed"), "{told}");
    assert!(!scene.run(&["check"]).contains("is no longer at"));
    let after = scene.frames();
    assert!(after[0]["file"].as_str().unwrap().ends_with("archive/a.png"), "{after:?}");
    assert_eq!(after[0]["saved_at"], before[0]["saved_at"], "a copy's file time is not when it was saved");
    assert_eq!(after.len(), 1);
}

#[test]
fn a_copy_beside_a_still_that_is_known_changes_nothing() {
    let scene = Scene::new();
    copy(&scene.at("scanner/a.png"), &scene.at("copies/a.png"));
    let before = scene.journal_lines();
    scene.run(&["pair", "--frames", &scene.text("copies")]);
    assert_eq!(scene.journal_lines(), before);
    assert!(scene.frames()[0]["file"].as_str().unwrap().ends_with("scanner/a.png"));
    // Where the still itself was left out, nothing says that it is used.
    scene.run(&["pair", "--undo", "--by", "Ada"]);
    let told = scene.run(&["pair", "--frames", &scene.text("copies")]);
    assert!(told.contains("which the journal has; remove the copy") && !told.contains("is used"), "{told}");
}

/// On Linux a name is any bytes without a slash; one that looks like the spelling of such bytes is another file.
#[cfg(unix)]
#[test]
fn a_still_whose_name_is_no_text_is_opened_again_and_so_is_one_that_looks_like_it() {
    use std::os::unix::ffi::OsStrExt as _;
    let scene = Scene::new();
    let home = scene.exam().join("frames");
    std::fs::create_dir(&home).unwrap();
    for (grey, name) in [(1, &b"b\xfcndel.png"[..]), (2, b"b\\xfcndel.png")] {
        let path = home.join(std::ffi::OsStr::from_bytes(name));
        image::GrayImage::from_pixel(8, 8, image::Luma([grey])).save(path).unwrap();
    }
    let told = scene.run(&["pair", "--all", "--frames", &home.to_string_lossy()]);
    assert!(told.contains("3 stills, 2 of them new"), "{told}");
    let files: Vec<_> =
        scene.frames().iter().map(|frame| frame["file"].as_str().unwrap().to_owned()).collect();
    for file in ["frames/b\\xfcndel.png", "frames/b\\x5cxfcndel.png"] {
        assert!(files.iter().any(|known| known == file), "{files:?}");
    }
    // They are still there: nothing is reported, and nothing is taken for moved.
    let findings = scene.run(&["check"]);
    assert!(!findings.contains("is no longer at"), "{findings}");
    let told = scene.run(&["pair", "--all", "--frames", &home.to_string_lossy()]);
    assert!(told.contains("3 stills, 0 of them new\n"), "{told}");
    let out = scene.text("report.html");
    scene.run(&["report", "--out", &out]);
    assert!(!std::fs::read_to_string(out).unwrap().contains("file cannot be read"));
    // And one that is gone is missed.
    for name in [&b"b\xfcndel.png"[..], b"b\\xfcndel.png"] {
        std::fs::remove_file(home.join(std::ffi::OsStr::from_bytes(name))).unwrap();
    }
    assert!(scene.run(&["check"]).contains("is no longer at `frames/b\\xfcndel.png`"));
}

#[cfg(unix)]
#[test]
fn a_still_elsewhere_whose_name_is_no_text_is_copied_with_what_is_kept_of_its_horse() {
    use std::os::unix::ffi::OsStrExt as _;
    let scene = Scene::new();
    let named = std::ffi::OsStr::from_bytes(b"b\xfcndel.png");
    let still = scene.at("scanner").join(named);
    image::GrayImage::from_pixel(8, 8, image::Luma([9])).save(&still).unwrap();
    scene.run(&["pair", "--all", "--frames", &scene.text("scanner")]);
    let into = scene.text("copy");
    let done = zonecall(&["retention", "copy", "--horse", "Juniper", "--into", &into, &scene.text("exam")]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let mut list = std::fs::read_dir(&into).unwrap().map(|entry| entry.unwrap().path());
    let exam = list.find(|path| path.is_dir()).unwrap();
    let mut copied = std::fs::read_dir(exam.join("stills")).unwrap().map(|entry| entry.unwrap().path());
    let bytes = std::fs::read(&still).unwrap();
    assert!(copied.any(|path| std::fs::read(path).unwrap() == bytes), "the still is among them");
}

#[test]
fn the_ending_of_a_report_s_file_says_what_is_in_it() {
    let scene = Scene::new();
    let (pdf, page) = (scene.text("r.pdf"), scene.text("r.html"));
    scene.run(&["report", "--out", &pdf]);
    assert!(std::fs::read(&pdf).unwrap().starts_with(b"%PDF-"), "so a PDF begins (ISO 32000-1, 7.5.2)");
    scene.run(&["report", "--out", &page]);
    assert!(std::fs::read_to_string(&page).unwrap().starts_with("<!DOCTYPE html>"));
    let refused = zonecall(&["report", &scene.text("exam"), "--out", &pdf, "--format", "html"]);
    let told = String::from_utf8_lossy(&refused.stderr);
    assert!(refused.status.code() == Some(2) && told.contains("ends otherwise than --format says"), "{told}");
}
