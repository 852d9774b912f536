//! The forms: a call added, a call moved in time, the clock set, the record signed; each by mouse or by keyboard.

use std::process::Command;

use crate::review_browser::shared::{
    ENTER, Opened, PASSPHRASE, add_value, call, changes, changes_shown, form_closed, form_open,
    open_questions, run, write,
};
use crate::support::browser::Page;

#[test]
fn a_call_that_was_not_heard_is_added_by_mouse_and_counts_where_it_belongs() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        add_value(page, "area").await;
        write(page, "#f-time", "1:24.5").await;
        write(page, "#f-number", "140").await;
        page.find("#f-unit").await.select_by_value("mm2").await.unwrap();
        page.click("#form button.main").await;
        page.until("!document.querySelector('#form[open]')").await;
        let added = call(served, |call| call["added"] == true).expect("it is in the record");
        assert_eq!((&added["number"], &added["span_s"][0]), (&140.0.into(), &84.5.into()));
        let before = call(served, |call| call["span_s"][0].as_f64().unwrap() > 83.0).unwrap();
        assert_eq!(
            (&added["limb"], &added["zone"]),
            (&before["limb"], &before["zone"]),
            "in force at that time"
        );
        page.press("z").await;
        page.until("document.querySelector('#changes-in .gone')").await;
        assert!(call(served, |call| call["added"] == true).is_none(), "taken back");
    });
}

#[test]
fn a_call_is_added_and_moved_in_time_by_keyboard_alone() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        page.press("n").await;
        page.until("document.querySelector('#form[open]')").await;
        // The focus is on the kind of the call; its last one is that a still was saved.
        page.press("\u{e010}").await;
        page.press("\t").await;
        page.press("\u{e009}a\u{e000}0:30.0").await;
        page.press(ENTER).await;
        page.until("!document.querySelector('#form[open]')").await;
        changes_shown(page, 1).await;
        let added = call(served, |call| call["added"] == true).expect("it is in the record");
        assert_eq!((&added["kind"], &added["span_s"][0]), (&"save".into(), &30.0.into()));
        let row = "[...document.querySelectorAll('#calls-in .words')].find((one) => one.textContent === 'added by hand')";
        page.run(&format!("{row}.focus()")).await;
        page.press(ENTER).await;
        page.until("document.querySelector('#bench h2').textContent.startsWith('Call ')").await;
        page.press("m").await;
        page.until("document.querySelector('#form[open]')").await;
        page.press("\u{e009}a\u{e000}0:45.5").await;
        page.press(ENTER).await;
        page.until("!document.querySelector('#form[open]')").await;
        changes_shown(page, 2).await;
        let moved = call(served, |call| call["added"] == true).unwrap();
        let exam = served.exam();
        let start: chrono::DateTime<chrono::Utc> =
            exam["record"]["exam"]["started_at"].as_str().unwrap().parse().unwrap();
        let said: chrono::DateTime<chrono::Utc> = moved["said_at"].as_str().unwrap().parse().unwrap();
        assert!(((said - start).as_seconds_f64() - 45.5).abs() < 0.001, "{moved}");
        page.press("z").await;
        page.until("document.querySelector('#changes-in .gone')").await;
        let back = call(served, |call| call["added"] == true).unwrap();
        assert_eq!(back["said_at"], added["said_at"], "the move is taken back, the call stays");
    });
}

#[test]
fn the_clock_is_set_after_a_look_at_what_it_changes_and_a_reload_before_that_writes_nothing() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let offset = served.exam()["record"]["clock"]["offset_s"].as_f64().unwrap();
        let look = async |offset_s: f64| {
            page.click("#clock-open").await;
            page.until("document.querySelector('#form[open] .preview')?.textContent").await;
            write(page, "#f-offset", &format!("{offset_s:.1}")).await;
        };
        look(offset + 3600.0).await;
        page.until("document.querySelector('#form .preview').textContent.includes('becomes no label')").await;
        page.0.refresh().await.unwrap();
        page.until("document.querySelector('#questions li')").await;
        assert!(changes(served).is_empty(), "nothing was written");
        look(offset).await;
        page.until("document.querySelector('#form .preview').textContent.startsWith('Changes the label of no still')").await;
        write(page, "#f-offset", &format!("{:.1}", offset + 3600.0)).await;
        page.until("document.querySelector('#form .preview').textContent.includes('becomes no label')").await;
        page.find("#f-why").await.send_keys("tried").await.unwrap();
        page.press(ENTER).await;
        page.until("!document.querySelector('#form[open]')").await;
        changes_shown(page, 1).await;
        let exam = served.exam();
        assert_eq!(exam["record"]["clock"]["offset_s"].as_f64().unwrap().round(), (offset + 3600.0).round());
        page.press("z").await;
        page.until("document.querySelector('#changes-in .gone')").await;
        assert_eq!(served.exam()["record"]["clock"]["offset_s"], offset);
    });
}

#[test]
fn the_record_is_signed_after_a_look_at_what_is_open_and_a_change_makes_a_draft_again() {
    run(async {
        let desk = Opened::by("Dr Example").await;
        let Opened { page, served, folder, .. } = &desk;
        let open = served.exam()["questions"].as_array().unwrap().len();
        page.click("#sign-open").await;
        page.until("document.querySelector('#form[open]')").await;
        assert_eq!(page.run("return document.querySelectorAll('.still-open li').length").await, open);
        let shown = page.text("#form").await;
        assert!(!shown.contains('`'), "{shown}");
        // A reload in the middle signs nothing.
        page.find("#f-licence").await.send_keys("V-1").await.unwrap();
        page.0.refresh().await.unwrap();
        page.until("document.querySelector('#questions li')").await;
        assert_eq!(page.text("#status").await, "Draft");
        page.click("#sign-open").await;
        page.until("document.querySelector('#form[open]')").await;
        // Whoever reviews is often not the vet: the name is entered, not taken over.
        assert_eq!(page.find("#f-vet").await.prop("value").await.unwrap().as_deref(), Some(""));
        page.find("#f-vet").await.send_keys("Dr Example").await.unwrap();
        page.find("#f-licence").await.send_keys("V-1").await.unwrap();
        page.find("#f-passphrase").await.send_keys(PASSPHRASE).await.unwrap();
        page.find("#f-again").await.send_keys("four other words here\n").await.unwrap();
        // The impression is missing, too: the browser asks for the tick before anything is sent.
        assert_eq!(page.run("return document.querySelector('#f-no-impression').validity.valid").await, false);
        page.click("#f-no-impression").await;
        write(page, "#f-again", "four other words here\n").await;
        page.until("document.querySelector('#form .wrong').textContent.includes('passphrases differ')").await;
        write(page, "#f-again", &format!("{PASSPHRASE}\n")).await;
        page.until("document.querySelector('#status').textContent === 'Signed'").await;
        assert!(page.text("#signed").await.contains("Dr Example, licence V-1"));
        let verified = Command::new(env!("CARGO_BIN_EXE_zonecall"))
            .arg("journal")
            .arg(folder.path())
            .arg("--verify")
            .output()
            .unwrap();
        assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stdout));
        page.run("document.querySelector('#bench').focus()").await;
        page.press("a").await;
        page.until("document.querySelector('#signed-ask[open]')").await;
        page.click("#signed-ask button").await;
        page.until("!document.querySelector('#signed-ask')").await;
        assert_eq!(page.text("#status").await, "Signed", "left as it is");
        page.run("document.querySelector('#bench').focus()").await;
        page.press("a").await;
        page.until("document.querySelector('#signed-ask[open]')").await;
        page.click("#signed-ask button.main").await;
        page.until("document.querySelector('#status').textContent === 'Draft'").await;
        assert!(page.text("#signed").await.contains("1 change since"));
    });
}

#[test]
fn impression_and_recommendation_are_written_at_the_desk_taken_back_and_printed() {
    run(async {
        let desk = Opened::by("Dr Example").await;
        let Opened { page, served, .. } = &desk;
        page.run("document.querySelector('#bench').focus()").await;
        page.press("i").await;
        form_open(page, "Impression and recommendation").await;
        page.find("#f-impression").await.send_keys("Healing core lesion.").await.unwrap();
        page.find("#f-recommendation").await.send_keys("Walk in hand.").await.unwrap();
        page.click("#form button.main").await;
        form_closed(page).await;
        changes_shown(page, 2).await;
        let report = || {
            let (status, body) = served.get("/api/report?reader=vet&form=html");
            assert_eq!(status, 200);
            String::from_utf8(body).unwrap()
        };
        let told = report();
        assert!(told.contains("Healing core lesion.") && told.contains("Walk in hand."), "{told}");
        assert!(!told.contains("id=\"calls\""), "the appendix comes only when it is asked for");
        page.run("document.querySelector('#bench').focus()").await;
        page.press("z").await;
        changes_shown(page, 4).await;
        assert!(
            !report().contains("Walk in hand.") && !report().contains("Healing core"),
            "one save, one undo"
        );
    });
}

/// What the button that stands out says.
async fn next_step(page: &Page) -> String {
    page.until("document.querySelector('#bench h2').textContent === 'Nothing is open'").await;
    page.text("#bench button.main").await
}

#[test]
fn when_nothing_is_open_a_missing_impression_is_named_and_is_the_next_step_before_signing() {
    run(async {
        let desk = Opened::by("Dr Example").await;
        let Opened { page, .. } = &desk;
        let mut done = 0;
        while open_questions(page).await > 0 {
            page.run("document.querySelector('#bench').focus()").await;
            page.press("a").await;
            done += 1;
            changes_shown(page, done).await;
        }
        assert_eq!(next_step(page).await, "Write the impression");
        assert!(page.text("#bench").await.contains("the report has no impression yet"));
        page.click("#bench button.main").await;
        form_open(page, "Impression and recommendation").await;
        assert_eq!(page.run("return document.activeElement.id").await, "f-impression");
        page.find("#f-impression").await.send_keys("Healing core lesion.").await.unwrap();
        page.click("#form button.main").await;
        form_closed(page).await;
        page.until("document.querySelector('#bench button.main').textContent === 'Sign'").await;
        assert_eq!(next_step(page).await, "Sign");
        assert!(page.text("#bench .buttons").await.contains("Send"), "what is signed goes to the archive");
        assert!(!page.text("#bench").await.contains("no impression"));
    });
}
