//! The forms by keyboard alone, and the same by mouse where only the keyboard was tried: calls corrected, moved, added
//! and withdrawn, the clock, the signature; each with a reload in the middle.

use serde_json::Value;

use crate::review_browser::shared::{
    ALL, BACK_TAB, ENTER, Opened, TAB, call, changes, changes_shown, click_on, first_vet, form_closed,
    form_open, from_the_line, reload, reload_in_form, run, send_form, tab_to, write,
};
use crate::support::browser::Page;
use crate::support::desk::Served;

/// The first area that was said: its line, and its place in the table of the calls.
fn area(served: &Served) -> (u64, usize) {
    let exam = served.exam();
    let calls = exam["record"]["calls"].as_array().unwrap();
    let place = calls.iter().position(|call| call["kind"] == "value" && call["term"] == "area").unwrap();
    (calls[place]["seq"].as_u64().unwrap(), place)
}

fn of(served: &Served, seq: u64) -> Value {
    call(served, |call| call["seq"] == seq).unwrap()
}

/// Brings the call of an utterance onto the bench without the mouse.
async fn call_by_keys(page: &Page, served: &Served, seq: u64) {
    let exam = served.exam();
    let at = |span: &Value, idx: usize| span[idx].as_f64().unwrap();
    let call = of(served, seq);
    let around = |utterance: &&Value| {
        at(&utterance["span_s"], 0) <= at(&call["span_s"], 0)
            && at(&utterance["span_s"], 1) >= at(&call["span_s"], 1)
    };
    let utterance =
        exam["utterances"].as_array().unwrap().iter().find(around).expect("it was said in an utterance");
    from_the_line(page, &format!("[data-seq='{}']", utterance["seq"])).await;
    page.until("document.querySelector('#bench h2').textContent.startsWith('Call ')").await;
}

/// The focus is in the form, on what was measured.
async fn width_in_millimetres(page: &Page) {
    page.press("c").await;
    form_open(page, "Correct call").await;
    page.press("wid").await;
    page.until("document.querySelector('#f-unit').value === 'cm'").await;
    tab_to(page, "#f-unit").await;
    page.press("m").await;
    page.until("document.querySelector('#f-unit').value === 'mm'").await;
}

#[test]
fn the_term_and_the_unit_of_a_call_are_changed_by_keyboard_alone() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let (seq, _) = area(served);
        call_by_keys(page, served, seq).await;
        width_in_millimetres(page).await;
        reload_in_form(page).await;
        assert!(changes(served).is_empty());
        call_by_keys(page, served, seq).await;
        width_in_millimetres(page).await;
        page.press(BACK_TAB).await;
        page.press(&format!("{ALL}21")).await;
        send_form(page).await;
        form_closed(page).await;
        changes_shown(page, 1).await;
        let right = of(served, seq);
        assert_eq!(
            (&right["term"], &right["number"], &right["unit"]),
            (&"width".into(), &21.0.into(), &"mm".into())
        );
        assert!(page.text("#calls-in").await.contains("corrected: value width 21 mm"));
    });
}

/// 1.5 cm2 with another unit is a slip; with the number that belongs to it, it is the same area.
#[test]
fn the_unit_and_the_term_of_a_call_are_changed_by_mouse_and_a_slip_is_refused_in_the_form() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let (seq, place) = area(served);
        let before = of(served, seq)["number"].as_f64().unwrap();
        let row = format!("#calls-in tbody tr:nth-child({}) button", place + 1);
        page.click(&row).await;
        click_on(page, "bench", "Correct the call").await;
        form_open(page, "Correct call").await;
        page.find("#f-unit").await.select_by_value("mm2").await.unwrap();
        page.click("#form button.main").await;
        page.until("document.querySelector('#form .wrong').textContent.length > 0").await;
        assert!(changes(served).is_empty(), "{before} mm2 is not written");
        reload_in_form(page).await;
        click_on(page, "bench", "Correct the call").await;
        form_open(page, "Correct call").await;
        page.find("#f-unit").await.select_by_value("mm2").await.unwrap();
        write(page, "#f-number", &format!("{:.0}", before * 100.0)).await;
        page.click("#form button.main").await;
        form_closed(page).await;
        let right = of(served, seq);
        assert_eq!((&right["number"], &right["unit"]), (&(before * 100.0).round().into(), &"mm2".into()));
        click_on(page, "bench", "Correct the call").await;
        form_open(page, "Correct call").await;
        page.find("#f-term").await.select_by_value("lesion area").await.unwrap();
        page.until("document.querySelector('#f-unit').value === 'cm2'").await;
        write(page, "#f-number", "0.5").await;
        page.click("#form button.main").await;
        form_closed(page).await;
        changes_shown(page, 2).await;
        assert_eq!(of(served, seq)["term"], "lesion area");
    });
}

#[test]
fn a_call_is_withdrawn_moved_and_added_by_keyboard_alone_with_a_reload_in_each() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let (seq, _) = area(served);
        let said = of(served, seq)["said_at"].clone();
        for written in [false, true] {
            call_by_keys(page, served, seq).await;
            page.press("m").await;
            form_open(page, "Move call").await;
            page.press(&format!("{ALL}0:45.5")).await;
            if written {
                page.press(ENTER).await;
                form_closed(page).await;
            } else {
                reload_in_form(page).await;
            }
            changes_shown(page, usize::from(written)).await;
        }
        assert_ne!(of(served, seq)["said_at"], said);
        for written in [false, true] {
            page.run("document.querySelector('#bench').focus()").await;
            page.press("n").await;
            form_open(page, "Add a call").await;
            page.press("a st").await;
            page.until("document.querySelector('#f-kind').value === 'save'").await;
            page.press(&format!("{TAB}{ALL}0:30.0")).await;
            if written {
                page.press(ENTER).await;
                form_closed(page).await;
            } else {
                reload_in_form(page).await;
            }
            changes_shown(page, 1 + usize::from(written)).await;
        }
        let added = call(served, |call| call["added"] == true).expect("it is in the record");
        assert_eq!((&added["kind"], &added["span_s"][0]), (&"save".into(), &30.0.into()));
        // Chosen, then loaded again: it is still at hand, and still stands.
        call_by_keys(page, served, seq).await;
        reload(page).await;
        assert_eq!(page.text("#bench h2").await, format!("Call {seq}"));
        assert_eq!(of(served, seq)["withdrawn"], false);
        page.press("w").await;
        changes_shown(page, 3).await;
        assert_eq!(of(served, seq)["withdrawn"], true);
        // Each is taken back by one key, the last one first.
        for taken in 1..=3 {
            page.press("z").await;
            page.until(&format!("document.querySelectorAll('#changes-in .gone').length === {taken}")).await;
        }
        let back = of(served, seq);
        assert_eq!((&back["withdrawn"], &back["said_at"]), (&false.into(), &said));
        assert!(call(served, |call| call["added"] == true).is_none());
    });
}

#[test]
fn a_call_is_moved_and_withdrawn_and_a_still_left_out_and_each_taken_back_by_mouse_alone() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let (seq, place) = area(served);
        let said = of(served, seq)["said_at"].clone();
        page.click(&format!("#calls-in tbody tr:nth-child({}) button", place + 1)).await;
        click_on(page, "bench", "Move it in time").await;
        form_open(page, "Move call").await;
        reload_in_form(page).await;
        click_on(page, "bench", "Move it in time").await;
        form_open(page, "Move call").await;
        write(page, "#f-time", "0:45.5").await;
        page.click("#form button.main").await;
        changes_shown(page, 1).await;
        assert_ne!(of(served, seq)["said_at"], said);
        click_on(page, "bench", "Withdraw the call").await;
        changes_shown(page, 2).await;
        assert_eq!(of(served, seq)["withdrawn"], true);
        reload(page).await;
        changes_shown(page, 2).await;
        page.click("#stills-in li:nth-child(2) button").await;
        reload(page).await;
        assert_eq!(page.text("#bench h2").await, "Still 2");
        click_on(page, "bench", "Not part of the exam").await;
        changes_shown(page, 3).await;
        let status = || served.exam()["record"]["frames"][1]["status"].clone();
        assert_eq!(status(), "left_out");
        for what in ["Still 2: not part", "Call", "Call"] {
            let button = format!("#changes-in tr:not(.gone) button[aria-label^='Undo: {what}']");
            let left = page.run(&format!("return document.querySelectorAll({button:?}).length")).await;
            page.click(&button).await;
            page.until(&format!("document.querySelectorAll({button:?}).length < {left}")).await;
        }
        assert_ne!(status(), "left_out");
        assert_eq!(of(served, seq)["said_at"], said);
        assert!(changes(served)[..3].iter().all(|change| change["taken_back_by"].is_u64()));
    });
}

#[test]
fn the_clock_is_set_and_the_record_signed_by_keyboard_alone_with_a_reload_in_each() {
    run(async {
        let desk = Opened::by("Dr Example").await;
        let Opened { page, served, .. } = &desk;
        let offset = served.exam()["record"]["clock"]["offset_s"].as_f64().unwrap();
        for written in [false, true] {
            page.run("document.querySelector('#bench').focus()").await;
            tab_to(page, "#clock-open").await;
            page.press(ENTER).await;
            form_open(page, "The scanner").await;
            page.press(&format!("{ALL}{:.1}", offset + 3600.0)).await;
            page.until("document.querySelector('#form .preview').textContent.includes('becomes no label')")
                .await;
            if written {
                page.press(ENTER).await;
                form_closed(page).await;
            } else {
                reload_in_form(page).await;
            }
            changes_shown(page, usize::from(written)).await;
        }
        assert_eq!(
            served.exam()["record"]["clock"]["offset_s"].as_f64().unwrap().round(),
            (offset + 3600.0).round()
        );
        for written in [false, true] {
            // After a reload the focus is at the top of the page.
            reload(page).await;
            tab_to(page, "#sign-open").await;
            page.press(ENTER).await;
            form_open(page, "Sign the record").await;
            page.until("document.activeElement.id === 'f-vet'").await;
            page.press(&first_vet()).await;
            if written {
                page.press(ENTER).await;
                form_closed(page).await;
            } else {
                reload_in_form(page).await;
                assert_eq!(page.text("#status").await, "Draft");
            }
        }
        page.until("document.querySelector('#status').textContent === 'Signed'").await;
        assert!(page.text("#signed").await.contains("Dr Example, licence V-1"));
        reload(page).await;
        assert_eq!(page.text("#status").await, "Signed");
    });
}
