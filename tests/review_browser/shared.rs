//! What all tests with a browser share: the demo exam, heard once, and the desk opened on a copy of it.

use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use crate::browser::{Driver, Page};
use crate::desk::Served;
use crate::program::{START, demo, demo_stills, zonecall};

/// The demo exam, heard once for all tests of this file; each test works on a copy.
static HEARD: LazyLock<tempfile::TempDir> = LazyLock::new(|| {
    let folder = heard(START);
    // A still that nobody called, under a hostile name: saved at the very time of another, so it has two readings.
    let stills = folder.path().join("exam/stills");
    let one = std::fs::read_dir(&stills).unwrap().next().unwrap().unwrap().path();
    let other = stills.join(HOSTILE_FILE);
    std::fs::copy(one, &other).unwrap();
    change_uid(&other);
    paired(folder.path());
    folder
});

/// An earlier exam of the same horse.
static EARLIER: LazyLock<tempfile::TempDir> = LazyLock::new(|| {
    let folder = heard("2026-03-02T10:00:00+01:00");
    paired(folder.path());
    folder
});

/// A file name that holds a way up when it is decoded, and an element when it is taken as markup.
pub const HOSTILE_FILE: &str = "<b onclick=alert(1)>..%2f..%2f&quot;.dcm";

fn own(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}

fn heard(start: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let (audio, exam) = (own(&demo("fore-limbs.flac")), own(&folder.path().join("exam")));
    let args =
        ["hear", &audio, "--into", &exam, "--started-at", start, "--ear", "sphinx", "--horse", "Juniper"];
    let heard = zonecall(&args);
    assert!(heard.status.success(), "{}", String::from_utf8_lossy(&heard.stderr));
    let stills = folder.path().join("exam/stills");
    let made = demo_stills().arg(demo("fore-limbs.stills.csv")).arg(stills).arg(start).status();
    assert!(made.unwrap().success());
    folder
}

fn paired(folder: &Path) {
    let exam = folder.join("exam");
    let paired = zonecall(&["pair", &own(&exam), "--frames", &own(&exam.join("stills"))]);
    assert!(paired.status.code().is_some_and(|code| code < 2), "{}", String::from_utf8_lossy(&paired.stderr));
}

/// The folder of the earlier exam; it is only read.
pub fn earlier() -> PathBuf {
    EARLIER.path().join("exam")
}

/// Gives a copied still another identity, as a scanner would.
fn change_uid(path: &Path) {
    let mut file = dicom_object::open_file(path).unwrap();
    let uid = dicom_core::PrimitiveValue::from("2.25.424242");
    file.put(dicom_core::DataElement::new(
        dicom_dictionary_std::tags::SOP_INSTANCE_UID,
        dicom_core::VR::UI,
        uid,
    ));
    file.write_to_file(path).unwrap();
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &target)
        } else {
            std::fs::copy(entry.path(), target).map(|_| ()).unwrap()
        }
    }
}

pub fn exam() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    copy(&HEARD.path().join("exam"), folder.path());
    folder
}

/// Runs a test's steps on a thread of its own making.
pub fn run(steps: impl Future<Output = ()>) {
    tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap().block_on(steps);
}

pub async fn desk_for(driver: &Driver, served: &Served, who: &str) -> Page {
    let page = driver.browser().await;
    page.open(&served.address).await;
    page.until("document.querySelector('#questions li') && document.querySelector('#bench h2')").await;
    page.find("#by").await.send_keys(who).await.unwrap();
    page.run("document.querySelector('#bench').focus()").await;
    page
}

pub async fn open_questions(page: &Page) -> usize {
    page.run("return document.querySelectorAll('#questions li').length").await.as_u64().unwrap() as usize
}

/// Brings the question onto the bench that offers rival labels.
pub async fn to_rivals(page: &Page) {
    for _ in 0..60 {
        if page.run("return Boolean(document.querySelector('.rivals button'))").await.as_bool().unwrap() {
            return;
        }
        page.press("j").await;
    }
    panic!("no question has rivals: {}", page.told().await);
}

pub fn changes(served: &Served) -> Vec<serde_json::Value> {
    served.exam()["record"]["changes"].as_array().cloned().unwrap_or_default()
}
