//! Going through the open questions, putting right, playing; crashes, strangers and two people at once.

use std::io::{Read, Write};

use chrono::Utc;
use zonecall::clock::Sample;
use zonecall::exam::event::Event;
use zonecall::exam::journal::Journal;

use crate::review_browser::shared::{
    HOSTILE_FILE, Opened, changes, changes_shown, desk_for, earlier, exam, open_questions, run, to_rivals,
};
use crate::support::browser::{Driver, Page};
use crate::support::desk::Served;

/// A name that would be a picture with a script if it were taken as markup.
const HOSTILE: &str = "Juniper <img src=x onerror=\"document.title='taken over'\">";

#[test]
fn a_question_is_settled_by_one_key_and_by_one_click_and_a_reload_keeps_the_place() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let open = open_questions(page).await;
        to_rivals(page).await;
        let title = page.text("#bench h2").await;
        page.0.refresh().await.unwrap();
        page.until("document.querySelector('.rivals button')").await;
        assert_eq!(page.text("#bench h2").await, title, "the reload comes back to the question at hand");
        page.press("1").await;
        page.until("document.querySelector('#changes-in tbody tr')").await;
        assert!(changes(served)[0]["what"].as_str().unwrap().starts_with("still paired with call"));
        let after = open_questions(page).await;
        assert!(after < open, "{after} of {open}");
        page.click("#do-a").await;
        page.until("document.querySelectorAll('#changes-in tbody tr').length === 2").await;
        assert!(changes(served)[1]["what"].as_str().unwrap().starts_with("accepted"));
        assert!(changes(served).iter().all(|change| change["by"] == "Robin"));
        page.press("z").await;
        page.until("document.querySelector('#changes-in .gone')").await;
        assert!(changes(served)[1]["taken_back_by"].is_u64());
    });
}

#[test]
fn a_call_is_put_right_and_withdrawn_in_the_form() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
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
        assert_eq!(changes(served)[0]["why"], "heard it again");
        page.until("document.querySelector('#bench .buttons')").await;
        page.press("w").await;
        page.until("document.querySelectorAll('#changes-in tbody tr').length === 2").await;
        assert_eq!(call(served.exam())["withdrawn"], true);
    });
}

#[test]
fn a_still_is_labelled_by_hand_and_left_out() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
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
        let mut desk = Opened::by("Robin").await;
        let page = desk.page.clone();
        page.press("a").await;
        changes_shown(&page, 1).await;
        desk.served.kill();
        page.press("a").await;
        page.until(
            "document.querySelector('#alarm').textContent.includes('everything you settled is saved')",
        )
        .await;
        desk.again().await;
        assert_eq!(changes(&desk.served).len(), 1);
        changes_shown(&page, 1).await;
        page.press("a").await;
        changes_shown(&page, 2).await;
    });
}

#[test]
fn the_second_browser_sees_what_the_first_one_settles_and_neither_loses_anything() {
    run(async {
        let folder = exam();
        let served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let one = desk_for(driver.browser().await, &served, "Robin").await;
        let two = desk_for(driver.browser().await, &served, "Kim").await;
        one.press("a").await;
        two.until("document.querySelector('#changes-in tbody tr')?.textContent.includes('Robin')").await;
        two.press("a").await;
        one.until("document.querySelector('#changes-in tbody tr')?.textContent.includes('Kim')").await;
        assert_eq!(changes(&served).len(), 2);
    });
}

#[test]
fn a_utterance_is_played_by_click_and_by_key_exactly_as_long_as_it_was() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        page.until("document.querySelector('.mark.utterance')").await;
        page.run("document.querySelector('#strip').scrollLeft = 0").await;
        page.until("document.querySelector('.mark.utterance[data-mark=\"0\"]')").await;
        page.click(".mark.utterance[data-mark=\"0\"]").await;
        page.until("performance.getEntriesByType('resource').some((one) => one.name.includes('/api/sound'))")
            .await;
        let asked = page.run("return performance.getEntriesByType('resource').map((one) => one.name).filter((name) => name.includes('/api/sound')).at(-1)").await;
        let span = served.exam()["utterances"][0]["span_s"].clone();
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
        let desk = Opened::of(folder, "<i>Robin</i>", &[]).await;
        let Opened { page, served, driver, .. } = &desk;
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
        // A page of another origin can neither read the exam nor write, though this browser was let in. One on another
        // port of this machine even sends the cookie.
        let before = std::fs::read(&journal).unwrap();
        let elsewhere = elsewhere();
        for origin in ["data:text/html,<p>elsewhere", &elsewhere] {
            page.open(origin).await;
            for ask in [
                "{credentials: 'include'}",
                "{credentials: 'include', method: 'POST', headers: {'content-type': 'application/json'}, body: BODY}",
                "{credentials: 'include', mode: 'no-cors', method: 'POST', body: BODY}",
            ] {
                let ask = ask.replace(
                    "BODY",
                    "JSON.stringify({by: 'X', seen: 99999, change: {change: 'clock', offset_s: 1}})",
                );
                let path = if ask.contains("POST") { "change" } else { "exam" };
                let script = format!(
                    "const done = arguments[0]; fetch('http://127.0.0.1:{port}/api/{path}', {ask}).then((answer) => done(answer.type === 'opaque' ? 'refused' : 'read ' + answer.status), () => done('refused'))"
                );
                assert_eq!(
                    page.0.execute_async(&script, Vec::new()).await.unwrap(),
                    "refused",
                    "{origin} {ask}"
                );
            }
        }
        assert_eq!(std::fs::read(&journal).unwrap(), before, "nothing was written");
    });
}

/// A page on another port of this machine, for one test.
fn elsewhere() -> String {
    let listener = std::net::TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let address = format!("http://{}/", listener.local_addr().unwrap());
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            let mut asked = [0; 4096];
            drop(stream.read(&mut asked));
            let answer = "HTTP/1.1 200 OK\r\nContent-Type: text/html\r\nContent-Length: 12\r\nConnection: close\r\n\r\n<p>elsewhere";
            drop(stream.write_all(answer.as_bytes()));
        }
    });
    address
}

#[test]
fn lost_sound_and_the_clock_stand_on_the_line_and_are_reached_by_key() {
    run(async {
        let folder = exam();
        let lost = Event::AudioLost { samples: 32_000 };
        Journal::open(folder.path()).unwrap().append(Utc::now(), Sample(16_000), &lost).unwrap();
        let desk = Opened::of(folder, "Robin", &[]).await;
        let Opened { page, .. } = &desk;
        page.run("document.querySelector('#strip').scrollLeft = 0").await;
        page.until("document.querySelector('#marks .gap')").await;
        assert_eq!(page.text("#marks .gap").await, "2.0 s of sound lost");
        assert!(
            page.run("return document.querySelectorAll('#marks .anchor').length").await.as_u64() > Some(0)
        );
        page.run("document.querySelector('#marks .mark.utterance').focus()").await;
        page.press("\u{E012}").await;
        let at_gap = page.run("return document.activeElement.matches('.mark.gap')").await;
        assert_eq!(at_gap, true, "the arrow reaches it");
        assert_eq!(page.text("#line-now").await, "2.0 s of sound lost, at 0:01.0");
        page.click("#marks .gap").await;
        assert_eq!(page.text("#line-now").await, "2.0 s of sound lost, at 0:01.0");
    });
}

#[test]
fn a_file_name_with_path_tricks_is_shown_as_text_and_never_asked_for() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, folder, .. } = &desk;
        let exam = served.exam();
        let frames = exam["record"]["frames"].as_array().unwrap();
        let number =
            frames.iter().position(|row| row["file"].as_str().unwrap().ends_with(HOSTILE_FILE)).unwrap();
        page.click(&format!("#stills-in li:nth-child({}) button", number + 1)).await;
        page.until(&format!(
            "document.querySelector('#bench img[data-still=\"{number}\"]')?.naturalWidth === 320"
        ))
        .await;
        let asked = page.run("return performance.getEntriesByType('resource').map((one) => one.name)").await;
        let asked: Vec<String> = serde_json::from_value(asked).unwrap();
        assert!(asked.iter().any(|name| name.contains("/api/still/")), "{asked:?}");
        assert!(
            asked
                .iter()
                .all(|name| !name.contains("2f") && !name.contains("..") && !name.contains("onclick")),
            "{asked:?}"
        );
        assert_eq!(page.run("return document.querySelectorAll('body b, [onclick]').length").await, 0);
        // A file that is gone is named, as text.
        std::fs::remove_file(folder.path().join("stills").join(HOSTILE_FILE)).unwrap();
        page.0.refresh().await.unwrap();
        page.until("document.querySelector('#bench .glass p')?.textContent.includes('onclick')").await;
        assert_eq!(page.run("return document.querySelectorAll('body b, [onclick]').length").await, 0);
    });
}

#[test]
fn the_same_view_of_the_last_exam_stands_beside_the_still() {
    run(async {
        let before = earlier().to_string_lossy().into_owned();
        let desk = Opened::of(exam(), "Robin", &["--earlier", &before]).await;
        let Opened { page, served, .. } = &desk;
        let exam = served.exam();
        let frames = exam["record"]["frames"].as_array().unwrap();
        let still = frames.iter().position(|row| row["zone"] == "2B" && row["plane"] == "T").unwrap();
        page.click(&format!("#stills-in li:nth-child({}) button", still + 1)).await;
        let image = "document.querySelector('#bench img[data-from=earlier]')";
        page.until(&format!("{image}?.naturalWidth === 320")).await;
        let number =
            page.run(&format!("return Number({image}.dataset.still)")).await.as_u64().unwrap() as usize;
        let beside = &exam["earlier"]["frames"][number];
        for part in ["limb", "zone", "plane"] {
            assert_eq!(beside[part], frames[still][part]);
        }
        assert!(page.text("#bench .two figure:last-child .over").await.contains("2 March 2026"));
    });
}

/// What the page says of each open question, in its order: how bad it is, and how much hangs on it.
async fn order(page: &Page) -> Vec<(String, u64)> {
    let mut told = Vec::new();
    for number in 1..=open_questions(page).await {
        page.until(&format!(
            "document.querySelector('#bench .kicker').textContent.startsWith('Question {number} of')"
        ))
        .await;
        let class = "return document.querySelector('#questions [aria-current]').className";
        let kicker = page.text("#bench .kicker").await;
        let settles = kicker
            .split("Concerns ")
            .nth(1)
            .map_or(1, |rest| rest.split(' ').next().unwrap().parse().unwrap());
        told.push((page.run(class).await.as_str().unwrap().to_owned(), settles));
        page.press("j").await;
    }
    told
}

#[test]
fn the_first_of_the_open_questions_settles_most_and_so_on_down_the_page() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let told = order(page).await;
        assert!(told.iter().any(|(_, settles)| *settles > 1), "{told:?}");
        let rank = |class: &str| ["error", "warn", "info"].iter().position(|known| *known == class).unwrap();
        let questions = served.exam()["questions"].as_array().unwrap().clone();
        // What may be a wrong label comes before what is missing.
        let ranked = told.iter().zip(&questions).map(|((class, settles), one)| {
            (rank(class), one["doubts_label"] != true, std::cmp::Reverse(*settles))
        });
        assert!(ranked.is_sorted(), "{told:?}");
        let asked: Vec<u64> = questions.iter().map(|one| one["concerns"].as_u64().unwrap()).collect();
        assert_eq!(told.iter().map(|(_, settles)| *settles).collect::<Vec<_>>(), asked);
        // The first one is settled: the second one takes its place, at the top and on the bench.
        page.click("#questions li:first-child button").await;
        let second = page.text("#questions li:nth-child(2) button span:last-child").await;
        page.press("a").await;
        page.until(&format!("document.querySelectorAll('#questions li').length === {}", told.len() - 1))
            .await;
        assert_eq!(page.text("#questions li:first-child button span:last-child").await, second);
        page.until("document.querySelector('#bench .kicker').textContent.startsWith('Question 1 of')").await;
    });
}
