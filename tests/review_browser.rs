//! Claims about the review desk in a real browser: each flow by key and by mouse, reloads, crashes, two people at once.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation)] // tests may panic

#[path = "support/browser.rs"]
mod browser;
#[path = "support/desk.rs"]
mod desk;
#[path = "support/program.rs"]
mod program;

use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use browser::{Driver, Page};
use desk::Served;
use program::{START, demo, demo_stills, zonecall};

/// A name that would be a picture with a script if it were taken as markup.
const HOSTILE: &str = "Juniper <img src=x onerror=\"document.title='taken over'\">";

/// The demo exam, heard once for all tests of this file; each test works on a copy.
static HEARD: LazyLock<tempfile::TempDir> = LazyLock::new(|| {
    let folder = tempfile::tempdir().unwrap();
    let own = |path: PathBuf| path.to_string_lossy().into_owned();
    let (audio, exam, stills) =
        (own(demo("fore-limbs.flac")), own(folder.path().join("exam")), folder.path().join("exam/stills"));
    let heard = zonecall(&[
        "hear",
        &audio,
        "--into",
        &exam,
        "--started-at",
        START,
        "--ear",
        "sphinx",
        "--horse",
        "Juniper",
    ]);
    assert!(heard.status.success(), "{}", String::from_utf8_lossy(&heard.stderr));
    let made = demo_stills().arg(demo("fore-limbs.stills.csv")).arg(&stills).arg(START).status();
    assert!(made.unwrap().success());
    // A still that nobody called, under a hostile name: saved at the very time of another, so it has two readings.
    let one = std::fs::read_dir(&stills).unwrap().next().unwrap().unwrap().path();
    let other = stills.join("<b onclick=alert(1)>&quot;.dcm");
    std::fs::copy(one, &other).unwrap();
    change_uid(&other);
    let paired = zonecall(&["pair", &exam, "--frames", &own(stills)]);
    assert!(paired.status.code().is_some_and(|code| code < 2), "{}", String::from_utf8_lossy(&paired.stderr));
    folder
});

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

fn exam() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    copy(&HEARD.path().join("exam"), folder.path());
    folder
}

/// Runs a test's steps on a thread of its own making.
fn run(steps: impl Future<Output = ()>) {
    tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap().block_on(steps);
}

async fn desk_for(driver: &Driver, served: &Served, who: &str) -> Page {
    let page = driver.browser().await;
    page.open(&served.address).await;
    page.until("document.querySelector('#questions li') && document.querySelector('#bench h2')").await;
    page.find("#by").await.send_keys(who).await.unwrap();
    page.run("document.querySelector('#bench').focus()").await;
    page
}

async fn open_questions(page: &Page) -> usize {
    page.run("return document.querySelectorAll('#questions li').length").await.as_u64().unwrap() as usize
}

/// Brings the question onto the bench that offers rival labels.
async fn to_rivals(page: &Page) {
    for _ in 0..60 {
        if page.run("return Boolean(document.querySelector('.rivals button'))").await.as_bool().unwrap() {
            return;
        }
        page.press("j").await;
    }
    panic!("no question has rivals: {}", page.told().await);
}

fn changes(served: &Served) -> Vec<serde_json::Value> {
    served.exam()["record"]["changes"].as_array().cloned().unwrap_or_default()
}

#[test]
fn a_question_is_settled_by_one_key_and_by_one_click_and_a_reload_keeps_the_place() {
    run(async {
        let folder = exam();
        let served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let page = desk_for(&driver, &served, "Robin").await;
        let open = open_questions(&page).await;
        to_rivals(&page).await;
        let title = page.text("#bench h2").await;
        page.0.refresh().await.unwrap();
        page.until("document.querySelector('.rivals button')").await;
        assert_eq!(page.text("#bench h2").await, title, "the reload comes back to the question at hand");
        page.press("1").await;
        page.until("document.querySelector('#changes-in tbody tr')").await;
        assert!(changes(&served)[0]["what"].as_str().unwrap().starts_with("still paired with call"));
        let after = open_questions(&page).await;
        assert!(after < open, "{after} of {open}");
        page.click("#bench .buttons .main").await;
        page.until("document.querySelectorAll('#changes-in tbody tr').length === 2").await;
        assert!(changes(&served)[1]["what"].as_str().unwrap().starts_with("looked at and left"));
        assert!(changes(&served).iter().all(|change| change["by"] == "Robin"));
        page.press("z").await;
        page.until("document.querySelector('#changes-in .gone')").await;
        assert!(changes(&served)[1]["taken_back_by"].is_u64());
    });
}

#[test]
fn a_call_is_put_right_and_withdrawn_in_the_form() {
    run(async {
        let folder = exam();
        let served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let page = desk_for(&driver, &served, "Robin").await;
        let exam = served.exam();
        let calls = exam["record"]["calls"].as_array().unwrap();
        let value = calls.iter().position(|call| call["kind"] == "value").unwrap();
        let seq = calls[value]["seq"].as_u64().unwrap();
        page.click(&format!("#calls-in tbody tr:nth-child({}) button", value + 1)).await;
        page.press("c").await;
        page.until("document.querySelector('#form[open]')").await;
        let number = page.find("#f-number").await;
        number.clear().await.unwrap();
        number.send_keys("1.25").await.unwrap();
        page.find("#f-why").await.send_keys("heard it again\n").await.unwrap();
        page.until("!document.querySelector('#form[open]')").await;
        let call = |exam: serde_json::Value| {
            let calls = exam["record"]["calls"].as_array().unwrap().clone();
            calls.into_iter().find(|call| call["seq"] == seq).unwrap()
        };
        assert_eq!(call(served.exam())["number"], 1.25);
        assert_eq!(changes(&served)[0]["why"], "heard it again");
        page.until("document.querySelector('#bench .buttons')").await;
        page.press("w").await;
        page.until("document.querySelectorAll('#changes-in tbody tr').length === 2").await;
        assert_eq!(call(served.exam())["withdrawn"], true);
    });
}

#[test]
fn a_still_is_labelled_by_hand_and_left_out() {
    run(async {
        let folder = exam();
        let served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let page = desk_for(&driver, &served, "Robin").await;
        page.click("#stills-in li:nth-child(2) button").await;
        page.press("l").await;
        page.until("document.querySelector('#form[open]')").await;
        for (part, code) in [("limb", "RF"), ("zone", "3B"), ("plane", "L")] {
            page.find(&format!("#f-{part}")).await.select_by_value(code).await.unwrap();
        }
        page.click("#form button.main").await;
        page.until("!document.querySelector('#form[open]')").await;
        let frame = || served.exam()["record"]["frames"][1].clone();
        assert_eq!((&frame()["zone"], &frame()["status"]), (&"3B".into(), &"hand".into()));
        page.press("x").await;
        page.until("document.querySelectorAll('#changes-in tbody tr').length === 2").await;
        assert_eq!(frame()["status"], "left_out");
    });
}

#[test]
fn nothing_is_lost_when_the_server_is_killed_and_started_again() {
    run(async {
        let folder = exam();
        let mut served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let page = desk_for(&driver, &served, "Robin").await;
        page.press("a").await;
        page.until("document.querySelector('#changes-in tbody tr')").await;
        served.kill();
        page.press("a").await;
        page.until(
            "document.querySelector('#alarm').textContent.includes('nothing that was settled is lost')",
        )
        .await;
        let again = Served::start(folder.path(), 0);
        assert_eq!(changes(&again).len(), 1);
        page.open(&again.address).await;
        page.until("document.querySelector('#changes-in tbody tr')").await;
        page.run("document.querySelector('#by').value = 'Robin'").await;
        page.press("a").await;
        page.until("document.querySelectorAll('#changes-in tbody tr').length === 2").await;
    });
}

#[test]
fn the_second_browser_sees_what_the_first_one_settles_and_neither_loses_anything() {
    run(async {
        let folder = exam();
        let served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let (one, two) = (desk_for(&driver, &served, "Robin").await, desk_for(&driver, &served, "Kim").await);
        one.press("a").await;
        two.until("document.querySelector('#changes-in tbody tr')?.textContent.includes('Robin')").await;
        two.press("a").await;
        one.until("document.querySelector('#changes-in tbody tr')?.textContent.includes('Kim')").await;
        assert_eq!(changes(&served).len(), 2);
    });
}

#[test]
fn a_breath_is_played_by_click_and_by_key_exactly_as_long_as_it_was() {
    run(async {
        let folder = exam();
        let served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let page = desk_for(&driver, &served, "Robin").await;
        page.until("document.querySelector('.mark.breath')").await;
        page.run("document.querySelector('#strip').scrollLeft = 0").await;
        page.until("document.querySelector('.mark.breath[data-mark=\"0\"]')").await;
        page.click(".mark.breath[data-mark=\"0\"]").await;
        page.until("performance.getEntriesByType('resource').some((one) => one.name.includes('/api/sound'))")
            .await;
        let asked = page.run("return performance.getEntriesByType('resource').map((one) => one.name).filter((name) => name.includes('/api/sound')).at(-1)").await;
        let span = served.exam()["breaths"][0]["span_s"].clone();
        let wanted = format!("from={:.3}&to={:.3}", span[0].as_f64().unwrap(), span[1].as_f64().unwrap());
        assert!(asked.as_str().unwrap().ends_with(&wanted), "{asked} {wanted}");
        page.run("document.querySelector('#bench').focus()").await;
        page.press(" ").await;
        page.press(" ").await;
        page.until("performance.getEntriesByType('resource').filter((one) => one.name.includes('/api/sound')).length >= 2").await;
    });
}

#[test]
fn hostile_names_are_shown_as_text_and_a_stranger_sees_nothing() {
    run(async {
        let folder = exam();
        // The journal's chain tells that its first line was changed; the desk shows it all the same.
        let journal = folder.path().join("exam.jsonl");
        let text = std::fs::read_to_string(&journal).unwrap();
        let hostile = serde_json::to_string(HOSTILE).unwrap();
        std::fs::write(&journal, text.replacen("\"Juniper\"", &hostile, 1)).unwrap();
        let served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let page = desk_for(&driver, &served, "<i>Robin</i>").await;
        assert_eq!(page.text("#horse").await, HOSTILE);
        page.press("a").await;
        page.until("document.querySelector('#changes-in tbody tr')").await;
        assert!(page.text("#changes-in tbody tr").await.contains("<i>Robin</i>"));
        assert!(page.run("return document.title").await.as_str().unwrap().starts_with("Juniper <img"));
        let made =
            page.run("return document.querySelectorAll('[onerror], [onclick], body i, body b').length").await;
        assert_eq!(made, 0);
        let stranger = driver.browser().await;
        let port = served.port();
        for address in [format!("http://127.0.0.1:{port}/"), format!("http://127.0.0.1:{port}/?token=guess")]
        {
            stranger.open(&address).await;
            assert!(stranger.text("body").await.contains("open the address"));
        }
        // A page of another origin cannot read the exam, though this browser was let in.
        page.open("data:text/html,<p>elsewhere").await;
        let read = page
            .0
            .execute_async(
                &format!("const done = arguments[0]; fetch('http://127.0.0.1:{port}/api/exam', {{credentials: 'include'}}).then((answer) => done('read ' + answer.status), () => done('refused'))"),
                Vec::new(),
            )
            .await
            .unwrap();
        assert_eq!(read, "refused");
    });
}

/// The demo's scanner states 0.125 mm a pixel both ways, so 80 by 40 pixels are 10 by 5 mm: 50 mm2.
#[test]
fn an_area_is_traced_by_keyboard_measured_at_once_and_counts_in_the_record() {
    run(async {
        let folder = exam();
        let served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let page = desk_for(&driver, &served, "Robin").await;
        let exam = served.exam();
        let frames = exam["record"]["frames"].as_array().unwrap();
        let still = frames.iter().position(|row| row["plane"] == "T" && row["structure"] == "SDFT").unwrap();
        page.click(&format!("#stills-in li:nth-child({}) button", still + 1)).await;
        page.until("document.querySelector('#bench img')?.naturalWidth === 320").await;
        if std::env::var_os("UPDATE_EXPECT").is_some() {
            page.until("[...document.querySelectorAll('#bench img')].every((image) => image.complete)").await;
            let sound = "performance.getEntriesByType('resource').some((one) => one.name.includes('/api/peaks') && one.responseEnd > 0)";
            page.until(sound).await;
            page.run("scrollTo(0, 0)").await;
            page.picture(&demo("review.png")).await;
        }
        page.press("t").await;
        page.until("document.activeElement.matches('.trace')").await;
        // Shift is held over the arrows: ten pixels a step.
        let (shift, release) = ("\u{e008}", "\u{e000}");
        for (arrow, steps) in [
            ("\u{e012}", 4),
            ("\u{e013}", 2),
            ("\n", 1),
            ("\u{e014}", 8),
            ("\n", 1),
            ("\u{e015}", 4),
            ("\n", 1),
            ("\u{e012}", 8),
            ("\n", 1),
        ] {
            page.press(&format!("{shift}{}{release}", arrow.repeat(steps))).await;
        }
        page.until("document.querySelector('.tracing .preview').textContent.startsWith('50.0 mm²')").await;
        page.click("#t-write").await;
        page.until("!document.querySelector('.tracing')").await;
        let entry = served.exam()["record"]["entries"][0].clone();
        assert_eq!(
            (&entry["number"], &entry["traced"], &entry["by"]),
            (&50.0.into(), &true.into(), &"Robin".into())
        );
    });
}
