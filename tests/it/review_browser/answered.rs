//! Each act is answered by a message, is one thing to undo, and offers what there is to choose.

use crate::review_browser::shared::{
    Opened, add_value, changes, changes_shown, form_closed, form_open, hind_is_offered, open_questions, run,
    write,
};
use crate::support::browser::Page;

/// Sends the form that is open and waits until the page says this.
async fn sent(page: &Page, words: &str) {
    page.run("document.querySelector('#said').textContent = ''").await;
    page.click("#form button.main").await;
    form_closed(page).await;
    page.until(&format!("document.querySelector('#said').textContent.startsWith({words:?})")).await;
    let said = page.text("#said").await;
    assert!(said.contains("open"), "what is left is named: {said}");
}

#[test]
fn every_form_is_answered_by_a_message() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, .. } = &desk;
        page.click("#stills-in li:nth-child(2) button").await;
        page.press("l").await;
        form_open(page, "Label still 2").await;
        for (part, code) in [("limb", "RF"), ("zone", "3B"), ("plane", "L")] {
            page.find(&format!("#f-{part}")).await.select_by_value(code).await.unwrap();
        }
        sent(page, "Still 2 is labelled: right fore, zone 3B, longitudinal").await;
        // The same again is no change.
        page.press("l").await;
        form_open(page, "Label still 2").await;
        page.click("#form button.main").await;
        page.until("document.querySelector('#form .wrong').textContent.includes('has this label already')")
            .await;
        page.click("#form button[type=button]").await;
        form_closed(page).await;
        add_value(page, "width").await;
        page.find("#f-unit").await.select_by_value("mm").await.unwrap();
        write(page, "#f-time", "0:30").await;
        write(page, "#f-number", "13.4").await;
        sent(page, "The call is added at 0:30.0.").await;
        let row = "[...document.querySelectorAll('#calls-in .words')].find((one) => one.textContent === 'added by hand')";
        page.run(&format!("{row}.click()")).await;
        page.until("document.querySelector('#bench h2').textContent.startsWith('Call ')").await;
        page.press("m").await;
        form_open(page, "Move call").await;
        write(page, "#f-time", "0:45.5").await;
        sent(page, "Call ").await;
        assert!(page.text("#said").await.contains("is moved to 0:45.5"));
        page.press("c").await;
        form_open(page, "Correct call").await;
        write(page, "#f-number", "14").await;
        sent(page, "Call ").await;
        assert!(page.text("#said").await.contains("is corrected"));
        page.click("#clock-open").await;
        form_open(page, "The scanner").await;
        write(page, "#f-offset", "2.5").await;
        sent(page, "The scanner's clock is set to 2.5 s ahead.").await;
        page.click("#words-open").await;
        form_open(page, "Impression").await;
        write(page, "#f-impression", "Healing.").await;
        sent(page, "Saved: impression.").await;
    });
}

#[test]
fn what_was_accepted_by_one_act_is_undone_and_redone_by_one() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        for _ in 0..60 {
            if page.run("return Boolean(document.querySelector('#do-q'))").await == true {
                break;
            }
            page.press("j").await;
        }
        let open = open_questions(page).await;
        page.press("q").await;
        page.until("document.querySelector('#said').textContent.startsWith('Accepted:')").await;
        let accepted = changes(served).len();
        assert!(accepted > 1 && open_questions(page).await == open - accepted);
        let named = page.text("#undo").await;
        assert!(named.contains(&format!(", and {} more", accepted - 1)), "{named}");
        page.press("z").await;
        changes_shown(page, 2 * accepted).await;
        assert_eq!(open_questions(page).await, open);
        page.press("y").await;
        changes_shown(page, 3 * accepted).await;
        assert_eq!(open_questions(page).await, open - accepted);
    });
}

#[test]
fn a_question_about_a_call_offers_to_label_the_still_that_it_shows() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let questions = served.exam()["questions"].as_array().unwrap().clone();
        let mut shown = 0;
        for question in &questions {
            let still =
                page.run("return Boolean(document.querySelector('#bench .stills-at-hand'))").await == true;
            let offered = page.run("return Boolean(document.querySelector('#do-l'))").await == true;
            assert_eq!(offered, still, "{question}");
            shown += usize::from(still && question["still"].is_null());
            page.press("j").await;
        }
        assert!(shown > 0, "some question about a call shows its still");
    });
}

#[test]
fn a_call_is_added_with_the_structures_of_the_limb_then_and_an_unknown_finding_is_asked_about() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let offered = hind_is_offered(served);
        page.click("#call-add").await;
        form_open(page, "Add a call").await;
        write(page, "#f-time", "0:00").await;
        assert_eq!(page.run(&offered).await, true, "no limb was named yet");
        write(page, "#f-time", "1:24.5").await;
        assert_eq!(page.run(&offered).await, false, "the horse's fore limb was scanned then");
        page.find("#f-kind").await.select_by_value("finding").await.unwrap();
        page.until("document.querySelector('#f-finding')").await;
        assert_eq!(page.run(&offered).await, false);
        let known = "return [...document.querySelectorAll('#f-findings option')].some((one) => one.value === 'core lesion')";
        assert_eq!(page.run(known).await, true);
        write(page, "#f-finding", "qwertz 12").await;
        page.click("#form button.main").await;
        page.until("document.querySelector('#form .wrong').textContent.includes('not a known finding')")
            .await;
        assert!(changes(served).is_empty());
        assert_eq!(page.text("#form button.main").await, "Add anyway");
        page.click("#form button.main").await;
        form_closed(page).await;
        changes_shown(page, 1).await;
    });
}

#[test]
fn an_unusual_value_is_saved_once_it_is_confirmed() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        add_value(page, "width").await;
        page.find("#f-unit").await.select_by_value("mm").await.unwrap();
        write(page, "#f-number", "900").await;
        page.click("#form button.main").await;
        page.until(
            "document.querySelector('#form .wrong').textContent.includes('save it only if it is right')",
        )
        .await;
        assert!(changes(served).is_empty() && !page.text("#form .wrong").await.contains("zonecall"));
        page.click("#form button.main").await;
        form_closed(page).await;
        changes_shown(page, 1).await;
    });
}
