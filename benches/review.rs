//! A measured session at the desk: eight exams of the demo, opened from the inbox one after the other, every open question
//! listened to and settled by a scripted person in a browser; seconds and keys an exam. Done twice in one run: each
//! question by itself at the speed it was said, then those that belong together by one act at one and a half times.
//! Run with `cargo bench --bench review`.
// A bench prints what it measured.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used)]

#[path = "../tests/support/browser.rs"]
mod browser;
#[path = "../tests/support/desk.rs"]
mod desk;
#[path = "../tests/support/program.rs"]
mod program;

use std::path::Path;
use std::time::{Duration, Instant};

use browser::{Driver, Page};
use desk::Served;
use program::{START, demo, demo_stills, zonecall};
use serde_json::{Value, json};

const EXAMS: usize = 8;
/// Open questions in all of them together.
const QUESTIONS: usize = 60;
/// What a person takes to look at a still and to make up their mind after the sound; a guess, the same for both.
const THINK: Duration = Duration::from_secs(2);
/// Nobody has so many.
const QUESTIONS_MAX: usize = 200;

fn heard(folder: &Path) {
    let exam = folder.join("exam");
    let (audio, path) = (demo("fore-limbs.flac"), exam.to_str().unwrap());
    let args = ["hear", audio.to_str().unwrap(), "--into", path, "--started-at", START, "--horse", "Juniper"];
    assert!(zonecall(&args).status.success());
    let stills = exam.join("stills");
    assert!(
        demo_stills().arg(demo("fore-limbs.stills.csv")).arg(&stills).arg(START).status().unwrap().success()
    );
    zonecall(&["pair", path, "--frames", stills.to_str().unwrap()]);
}

fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let path = entry.unwrap().path();
        let target = to.join(path.file_name().unwrap());
        if path.is_dir() { copy(&path, &target) } else { std::fs::copy(&path, target).map(|_| ()).unwrap() }
    }
}

/// How the scripted person works.
struct Way {
    name: &'static str,
    speed: &'static str,
    groups: bool,
}

/// What one session cost.
#[derive(Default)]
struct Cost {
    seconds: f64,
    keys: usize,
    questions: usize,
}

async fn number(page: &Page, script: &str) -> usize {
    usize::try_from(page.run(script).await.as_u64().unwrap()).unwrap()
}

const OPEN: &str = "return document.querySelectorAll('#questions li').length";

/// Settles everything that is open in the exam that is shown; gives the keys that were pressed.
async fn settle(page: &Page, way: &Way) -> usize {
    let mut keys = 0;
    // The page's own player, so that the person hears each stretch to its end.
    page.run("const play = HTMLMediaElement.prototype.play; HTMLMediaElement.prototype.play = function () { window.lastSound = this; return play.call(this); }").await;
    for _ in 0..QUESTIONS_MAX {
        let open = number(page, OPEN).await;
        if open == 0 {
            return keys;
        }
        page.run("window.lastSound = null; document.querySelector('#bench').focus()").await;
        if page.run("return Boolean(document.querySelector('.heard'))").await == true {
            page.run(&format!("const one = document.querySelector('#sound-speed'); one.value = '{}'; one.dispatchEvent(new Event('change'))", way.speed)).await;
            page.press(" ").await;
            keys += 1;
            page.until("window.lastSound && (window.lastSound.ended || window.lastSound.error)").await;
        }
        tokio::time::sleep(THINK).await;
        let has = |css: &'static str| async move {
            page.run(&format!("return Boolean(document.querySelector('{css}'))")).await == true
        };
        let key = if has(".rivals button").await {
            "1"
        } else if way.groups && has("#do-q").await {
            "q"
        } else {
            "a"
        };
        page.press(key).await;
        keys += 1;
        page.until(&format!("document.querySelectorAll('#questions li').length < {open} && document.querySelector('#said').textContent")).await;
    }
    panic!("it never ends: {}", page.told().await);
}

/// Settles beforehand what is more than the session is to have, the least important first.
fn leave_open(served: &Served) {
    for number in 0..EXAMS {
        let wanted = QUESTIONS / EXAMS + usize::from(number < QUESTIONS % EXAMS);
        let path = format!("/e/exam-{number}/api");
        let exam = || -> Value { serde_json::from_slice(&served.get(&format!("{path}/exam")).1).unwrap() };
        for _ in 0..QUESTIONS_MAX {
            let exam = exam();
            let questions = exam["questions"].as_array().unwrap();
            if questions.len() <= wanted {
                break;
            }
            let last = questions.last().unwrap();
            let findings = exam["record"]["findings"].as_array().unwrap();
            let found = findings
                .iter()
                .find(|found| found["rule"] == last["rule"] && found["message"] == last["text"])
                .unwrap();
            let mut change = json!({"change": "looked", "rule": last["rule"], "finding": last["text"]});
            for (from, to) in [("call_seq", "seq"), ("frame", "still"), ("place", "place")] {
                if let Some(value) = found.get(from).filter(|value| !value.is_null()) {
                    change[to] = value.clone();
                }
            }
            let body = json!({"by": "Kim", "seen": exam["version"], "change": change});
            let (status, told) = served.post(&format!("{path}/change"), &body);
            assert_eq!(status, 200, "{told}");
        }
    }
}

async fn session(heard: &Path, way: &Way) -> Cost {
    let house = tempfile::tempdir().unwrap();
    for number in 0..EXAMS {
        copy(&heard.join("exam"), &house.path().join(format!("exam-{number}")));
    }
    let served = Served::start(house.path(), 0);
    leave_open(&served);
    let driver = Driver::start();
    let page = driver.browser().await;
    page.open(&served.address).await;
    page.until(&format!("document.querySelectorAll('a.exam').length === {EXAMS}")).await;
    page.run("localStorage.setItem('by', 'Robin')").await;
    let began = Instant::now();
    let mut cost = Cost { keys: 1, ..Cost::default() };
    page.click("a.exam").await;
    for number_of in 0..EXAMS {
        page.until("document.querySelector('#bench h2') && document.querySelector('#by').value === 'Robin'")
            .await;
        cost.questions += number(&page, OPEN).await;
        cost.keys += settle(&page, way).await;
        if number_of + 1 < EXAMS {
            let here = page.run("return location.pathname").await;
            page.run("document.querySelector('#bench').focus()").await;
            page.press("e").await;
            cost.keys += 1;
            page.until(&format!("location.pathname !== {here}")).await;
        }
    }
    cost.seconds = began.elapsed().as_secs_f64();
    cost
}

fn main() {
    let folder = tempfile::tempdir().unwrap();
    heard(folder.path());
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    for way in [
        Way { name: "one by one, as it was said", speed: "1", groups: false },
        Way { name: "what belongs together at once, at one and a half times", speed: "1.5", groups: true },
    ] {
        let cost = runtime.block_on(session(folder.path(), &way));
        let each = f64::from(u32::try_from(EXAMS).unwrap());
        let keys = f64::from(u32::try_from(cost.keys).unwrap());
        println!(
            "{}: {} questions in {EXAMS} exams, {:.0} s and {:.1} keys an exam",
            way.name,
            cost.questions,
            cost.seconds / each,
            keys / each
        );
    }
}
