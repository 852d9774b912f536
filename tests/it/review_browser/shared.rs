//! What all tests with a browser share: the demo exam, heard once, and the desk opened on a copy of it.

use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use dicom_core::VR;
use dicom_dictionary_std::tags;
use fantoccini::Locator;

use crate::support::browser::{Driver, Page};
use crate::support::desk::Served;
use crate::support::program::{START, demo, demo_stills, zonecall};

/// The demo exam, heard once for all tests of this file; each test works on a copy.
static HEARD: LazyLock<tempfile::TempDir> = LazyLock::new(|| {
    let folder = heard(START);
    // A still that nobody called, under a hostile name: the save lies half-way between it and another, so it has two
    // readings.
    let stills = folder.path().join("exam/stills");
    let (one, off_ms) = first_saved(folder.path());
    let other = stills.join(HOSTILE_FILE);
    std::fs::copy(one, &other).unwrap();
    make_another(&other, -2 * off_ms);
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
    let args = ["hear", &audio, "--into", &exam, "--started-at", start, "--horse", "Juniper"];
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

/// The first still, and by how many milliseconds it follows the word that saved it.
fn first_saved(folder: &Path) -> (PathBuf, i64) {
    let tried = tempfile::tempdir().unwrap();
    let exam = tried.path().join("exam");
    copy(&folder.join("exam"), &exam);
    paired(tried.path());
    let record = tried.path().join("record.json");
    assert!(zonecall(&["export", &own(&exam), "--as", "json", "--out", &own(&record)]).status.success());
    let record: serde_json::Value = serde_json::from_slice(&std::fs::read(record).unwrap()).unwrap();
    let frame = &record["frames"][0];
    let mut calls = record["calls"].as_array().unwrap().iter();
    let call = calls.find(|call| call["seq"] == frame["call_seq"]).unwrap();
    let at = |instant: &serde_json::Value| instant.as_str().unwrap().parse::<DateTime<Utc>>().unwrap();
    let name = Path::new(frame["file"].as_str().unwrap()).file_name().unwrap();
    let off = at(&frame["saved_at_exam"]) - at(&call["said_at"]);
    (folder.join("exam/stills").join(name), off.num_milliseconds())
}

/// Gives a copied still another identity and time, as a scanner would.
fn make_another(path: &Path, later_ms: i64) {
    let mut file = dicom_object::open_file(path).unwrap();
    // With the same pixels it would be a second file of one still.
    let mut pixels = file.element(tags::PIXEL_DATA).unwrap().to_bytes().unwrap().into_owned();
    pixels[0] ^= 1;
    file.put(dicom_core::DataElement::new(
        tags::PIXEL_DATA,
        VR::OB,
        dicom_core::PrimitiveValue::from(pixels),
    ));
    let mut put = |tag, vr, text: &str| {
        file.put(dicom_core::DataElement::new(tag, vr, dicom_core::PrimitiveValue::from(text)));
    };
    put(tags::SOP_INSTANCE_UID, VR::UI, "2.25.424242");
    let saved = dicom_object::open_file(path).unwrap();
    let saved = saved.element(tags::ACQUISITION_DATE_TIME).unwrap().to_str().unwrap().into_owned();
    let saved = NaiveDateTime::parse_from_str(&saved, "%Y%m%d%H%M%S%.f").unwrap();
    let saved = saved + TimeDelta::milliseconds(later_ms);
    put(tags::CONTENT_TIME, VR::TM, &saved.format("%H%M%S%.3f").to_string());
    put(tags::ACQUISITION_DATE_TIME, VR::DT, &saved.format("%Y%m%d%H%M%S%.3f").to_string());
    file.write_to_file(path).unwrap();
}

/// Copies a folder with all that is in it.
pub fn copy(from: &Path, to: &Path) {
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

pub async fn desk_for(page: Page, served: &Served, who: &str) -> Page {
    page.open(&served.address).await;
    loaded(&page).await;
    page.find("#by").await.send_keys(who).await.unwrap();
    page.run("document.querySelector('#bench').focus()").await;
    page
}

/// The demo exam on a desk of its own, with a browser that has opened it.
pub struct Opened {
    pub page: Page,
    pub served: Served,
    pub driver: Driver,
    pub folder: tempfile::TempDir,
}

impl Opened {
    pub async fn by(who: &str) -> Opened {
        Opened::of(exam(), who, &[]).await
    }

    /// The desk of this exam folder, with more words on the command line.
    pub async fn of(folder: tempfile::TempDir, who: &str, more: &[&str]) -> Opened {
        let served = Served::start_with(folder.path(), 0, more);
        let driver = Driver::start();
        let page = desk_for(driver.browser().await, &served, who).await;
        Opened { page, served, driver, folder }
    }

    /// Started again after it was killed, and opened anew in the same tab: on the same port, as a person would.
    pub async fn again(&mut self) {
        self.served = Served::start(self.folder.path(), self.served.port());
        self.page.open(&self.served.address).await;
        loaded(&self.page).await;
    }

    pub fn journal(&self) -> Vec<u8> {
        std::fs::read(self.folder.path().join("exam.jsonl")).unwrap()
    }
}

/// The exam stands on the page, and something is on the bench.
pub async fn loaded(page: &Page) {
    page.until("document.querySelector('#questions li') && document.querySelector('#bench h2')").await;
}

/// Loads the page again, as a person does who pressed the wrong key.
pub async fn reload(page: &Page) {
    page.0.refresh().await.unwrap();
    loaded(page).await;
}

/// What opens the key of the tests' vet.
pub const PASSPHRASE: &str = "four words of my own";

/// What is typed to make the key of a practice's first vet and sign without an impression, from the first field on.
pub fn first_vet() -> String {
    ["Dr Example", "V-1", PASSPHRASE, PASSPHRASE, " "].join(TAB)
}

/// Opens the form and signs as the first vet of a practice.
pub async fn sign_as_first_vet(page: &Page) {
    page.click("#sign-open").await;
    form_open(page, "Sign the record").await;
    page.press(&format!("{}{ENTER}", first_vet())).await;
    page.until("document.querySelector('#status').textContent === 'Signed'").await;
}

pub const ENTER: &str = "\n";
pub const TAB: &str = "\t";
pub const BACK_TAB: &str = "\u{e008}\t\u{e000}";
pub const RIGHT: &str = "\u{e014}";
pub const LEFT: &str = "\u{e012}";
pub const UP: &str = "\u{e013}";
pub const DOWN: &str = "\u{e015}";
/// Takes hold of all that stands in a field, so that the next key replaces it.
pub const ALL: &str = "\u{e009}a\u{e000}";

/// Ten pixels a step, Shift held.
pub fn far(arrow: &str, steps: usize) -> String {
    format!("\u{e008}{}\u{e000}", arrow.repeat(steps))
}

async fn is_at(page: &Page, css: &str) -> bool {
    page.run(&format!("return document.activeElement.matches({css:?})")).await == true
}

/// Goes from where the focus is to something by this key alone.
async fn by_key(page: &Page, key: &str, css: &str, most: usize) {
    for _ in 0..most {
        if is_at(page, css).await {
            return;
        }
        page.press(key).await;
    }
    panic!("{css} cannot be reached: {}", page.told().await);
}

pub async fn tab_to(page: &Page, css: &str) {
    by_key(page, TAB, css, 80).await;
}

pub async fn back_to(page: &Page, css: &str) {
    by_key(page, BACK_TAB, css, 20).await;
}

/// Brings an utterance or still of the line onto the bench by keyboard alone: to the line by Tab, along it by arrow.
pub async fn from_the_line(page: &Page, css: &str) {
    page.run("document.querySelector('#strip').scrollLeft = 0; document.querySelector('#bench').focus()")
        .await;
    tab_to(page, "#marks .mark").await;
    for _ in 0..8 {
        page.press(&LEFT.repeat(20)).await;
    }
    by_key(page, RIGHT, css, 160).await;
    page.press(ENTER).await;
    page.until("document.querySelector('#bench .kicker')?.textContent === 'Selected'").await;
    page.run("document.querySelector('#bench').focus()").await;
}

/// Clicks on the button in a part of the page whose words begin so.
pub async fn click_on(page: &Page, part: &str, words: &str) {
    let path = format!("//*[@id='{part}']//button[starts-with(normalize-space(.), '{words}')]");
    let found = page.0.find(Locator::XPath(&path)).await.unwrap_or_else(|error| panic!("{words}: {error}"));
    page.0
        .execute(
            "arguments[0].scrollIntoView({ block: 'center' })",
            vec![serde_json::to_value(&found).unwrap()],
        )
        .await
        .unwrap();
    found.click().await.unwrap_or_else(|error| panic!("{words}: {error}"));
}

/// A form stands open, under a title that begins so.
pub async fn form_open(page: &Page, title: &str) {
    page.until(&format!("document.querySelector('#form[open] h2')?.textContent.startsWith({title:?})")).await;
}

/// Opens the form in which a value is added, of this term.
pub async fn add_value(page: &Page, term: &str) {
    page.click("#call-add").await;
    form_open(page, "Add a call").await;
    page.find("#f-kind").await.select_by_value("value").await.unwrap();
    page.until("document.querySelector('#f-number')").await;
    page.find("#f-term").await.select_by_value(term).await.unwrap();
}

pub async fn form_closed(page: &Page) {
    page.until("!document.querySelector('#form[open]')").await;
}

/// Sends the form that stands open without the mouse.
pub async fn send_form(page: &Page) {
    tab_to(page, "#form button.main").await;
    page.press(ENTER).await;
}

/// Loads the page again while a form is open: the page says that none of it was saved.
pub async fn reload_in_form(page: &Page) {
    reload(page).await;
    page.until("document.querySelector('#said')?.textContent.includes('none of it was saved')").await;
    form_closed(page).await;
}

/// The list of changes holds this many, those that were taken back among them.
pub async fn changes_shown(page: &Page, count: usize) {
    page.until(&format!("document.querySelectorAll('#changes-in tbody tr').length === {count}")).await;
}

/// The first call that fits.
pub fn call(served: &Served, fits: impl Fn(&serde_json::Value) -> bool) -> Option<serde_json::Value> {
    served.exam()["record"]["calls"].as_array().unwrap().iter().find(|call| fits(call)).cloned()
}

/// Puts text into a field in place of what stands there.
pub async fn write(page: &Page, field: &str, text: &str) {
    let found = page.find(field).await;
    found.clear().await.unwrap();
    found.send_keys(text).await.unwrap();
}

pub fn entries(served: &Served) -> Vec<serde_json::Value> {
    served.exam()["record"]["entries"].as_array().cloned().unwrap_or_default()
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

/// A script that says whether the form offers a structure that only hind limbs have.
pub fn hind_is_offered(served: &Served) -> String {
    let exam = served.exam();
    let structures = exam["codes"]["structures"].as_array().unwrap();
    let of_hind = structures.iter().find(|one| one["groups"] == serde_json::json!(["hind"])).unwrap();
    format!(
        "return [...document.querySelectorAll('#f-structure option')].some((one) => one.value === {})",
        of_hind["code"]
    )
}
