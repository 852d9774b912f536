//! The server is killed in the middle of a flow and started again: what was settled is there, what was not is told of
//! and can be done again.

use std::process::Command;

use crate::review_browser::shared::{
    ENTER, Opened, TAB, back_to, changes, changes_shown, entries, first_vet, form_closed, form_open, reload,
    run, send_form, to_rivals,
};
use crate::review_browser::tracing::{
    edge_px, on_screen, stated, stated_lesion, told, tool, tracing, within_a_pixel, within_one_percent,
};
use crate::support::browser::Page;

const GONE: &str = "everything you settled is saved";

async fn told_of_it(page: &Page, css: &str) {
    page.until(&format!("document.querySelector('{css}')?.textContent.includes('{GONE}')")).await;
}

/// The label is chosen by keyboard: the focus is on the limb.
async fn label_by_keys(page: &Page) {
    page.run("document.querySelector('#bench').focus()").await;
    page.press("l").await;
    form_open(page, "Label still 2").await;
    page.press("right f").await;
    page.until("document.querySelector('#f-limb').value === 'RF'").await;
    page.press(&format!("{TAB}3b")).await;
    page.until("document.querySelector('#f-zone').value === '3B'").await;
    page.press(&format!("{TAB}lo")).await;
    page.until("document.querySelector('#f-plane').value === 'L'").await;
}

#[test]
fn a_label_by_keyboard_outlives_a_server_killed_before_it_was_written_and_after() {
    run(async {
        let mut desk = Opened::by("Robin").await;
        let page = desk.page.clone();
        page.click("#stills-in li:nth-child(2) button").await;
        label_by_keys(&page).await;
        desk.served.kill();
        send_form(&page).await;
        told_of_it(&page, "#form .wrong").await;
        // What was entered is still in the form.
        page.until("document.querySelector('#f-zone').value === '3B'").await;
        desk.again().await;
        page.until("document.querySelector('#said').textContent.includes('none of it was saved')").await;
        assert!(changes(&desk.served).is_empty());
        assert_eq!(page.text("#bench h2").await, "Still 2", "it comes back to what was at hand");
        label_by_keys(&page).await;
        send_form(&page).await;
        form_closed(&page).await;
        changes_shown(&page, 1).await;
        desk.served.kill();
        desk.again().await;
        changes_shown(&page, 1).await;
        let frame = desk.served.exam()["record"]["frames"][1].clone();
        assert_eq!(
            (&frame["zone"], &frame["plane"], &frame["status"]),
            (&"3B".into(), &"L".into(), &"hand".into())
        );
    });
}

#[test]
fn a_trace_outlives_a_server_killed_before_it_was_written_and_after() {
    run(async {
        let mut desk = Opened::by("Robin").await;
        let page = desk.page.clone();
        let (_, area_mm2) = stated();
        tracing(&page, &desk.served).await;
        tool(&page, "ellipse").await;
        let edge = on_screen(&page, &edge_px(area_mm2, 4)).await;
        page.drag(&[edge[0], edge[2]]).await;
        page.drag(&[edge[1]]).await;
        within_one_percent(told(&page, "mm²").await, area_mm2, "before");
        desk.served.kill();
        page.click("#t-write").await;
        told_of_it(&page, ".tracing .wrong").await;
        desk.again().await;
        assert!(entries(&desk.served).is_empty());
        page.until("document.querySelector('#bench img')?.naturalWidth === 320").await;
        page.press("t").await;
        page.until("document.querySelectorAll('.corner').length === 3").await;
        within_one_percent(told(&page, "mm²").await, area_mm2, "what was drawn is still there");
        page.click("#t-write").await;
        page.until("!document.querySelector('.tracing')").await;
        let written = entries(&desk.served);
        desk.served.kill();
        desk.again().await;
        assert_eq!(entries(&desk.served), written);
        within_one_percent(written[0]["number"].as_f64().unwrap(), area_mm2, "after");
        // A lesion in it, begun before another cut of the power: its structure is there to be held against.
        page.until("document.querySelector('#bench img')?.naturalWidth === 320").await;
        page.press("t").await;
        page.click("#t-lesion").await;
        tool(&page, "ellipse").await;
        let edge = on_screen(&page, &edge_px(stated_lesion(), 4)).await;
        page.drag(&[edge[0], edge[2]]).await;
        page.drag(&[edge[1]]).await;
        within_a_pixel(&page, told(&page, "mm²").await, stated_lesion(), "the lesion").await;
        assert!(page.text(".tracing .preview").await.contains("grey inside against around 0.4"));
    });
}

#[test]
fn a_pairing_by_hand_outlives_a_server_killed_before_it_was_written_and_after() {
    run(async {
        let mut desk = Opened::by("Robin").await;
        let page = desk.page.clone();
        to_rivals(&page).await;
        let title = page.text("#bench h2").await;
        reload(&page).await;
        assert_eq!(page.text("#bench h2").await, title);
        desk.served.kill();
        page.click(".rivals button").await;
        told_of_it(&page, "#alarm").await;
        desk.again().await;
        assert_eq!(page.text("#bench h2").await, title);
        assert!(changes(&desk.served).is_empty());
        page.click(".rivals button").await;
        changes_shown(&page, 1).await;
        desk.served.kill();
        desk.again().await;
        changes_shown(&page, 1).await;
        assert!(changes(&desk.served)[0]["what"].as_str().unwrap().starts_with("still paired with call"));
        assert_ne!(page.text("#bench h2").await, title, "the question is settled");
    });
}

#[test]
fn a_signature_outlives_a_server_killed_before_it_was_written_and_after() {
    run(async {
        let mut desk = Opened::by("Dr Example").await;
        let page = desk.page.clone();
        let sign = async || {
            page.click("#sign-open").await;
            form_open(&page, "Sign the record").await;
            page.press(&first_vet()).await;
        };
        sign().await;
        desk.served.kill();
        page.press(ENTER).await;
        told_of_it(&page, "#form .wrong").await;
        // By keyboard back to the field, as after any refusal.
        back_to(&page, "#f-vet").await;
        desk.again().await;
        assert_eq!(page.text("#status").await, "Draft");
        sign().await;
        page.press(ENTER).await;
        page.until("document.querySelector('#status').textContent === 'Signed'").await;
        let journal = desk.journal();
        desk.served.kill();
        desk.again().await;
        assert_eq!(page.text("#status").await, "Signed");
        assert_eq!(desk.journal(), journal, "opening again writes nothing");
        let verify = ["journal", &desk.folder.path().to_string_lossy(), "--verify"].map(str::to_owned);
        let verified = Command::new(env!("CARGO_BIN_EXE_zonecall")).args(verify).output().unwrap();
        assert!(verified.status.success(), "{}", String::from_utf8_lossy(&verified.stdout));
    });
}
