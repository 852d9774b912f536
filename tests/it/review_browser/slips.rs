//! Slips of the hand: a key held down, a comma in a number, a structure that the limb does not have.

use crate::review_browser::shared::{
    Opened, add_value, call, changes, changes_shown, form_closed, form_open, open_questions, run, write,
};

#[test]
fn a_key_held_down_settles_no_more_than_a_key_pressed_once() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let open = open_questions(page).await;
        page.run(
            "for (let n = 0; n < 13; n += 1) document.body.dispatchEvent(new KeyboardEvent('keydown', { key: 'a', repeat: n > 0, bubbles: true }))",
        )
        .await;
        changes_shown(page, 1).await;
        assert_eq!((changes(served).len(), open_questions(page).await), (1, open - 1));
    });
}

#[test]
fn a_comma_stands_before_decimals_and_what_is_no_number_is_refused_in_the_form() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        add_value(page, "width").await;
        page.find("#f-unit").await.select_by_value("mm").await.unwrap();
        write(page, "#f-time", "0:30,5").await;
        write(page, "#f-number", "3,4,5").await;
        page.click("#form button.main").await;
        page.until("document.querySelector('#form .wrong').textContent.includes('is not a number')").await;
        assert!(changes(served).is_empty());
        write(page, "#f-number", "13,4").await;
        page.click("#form button.main").await;
        form_closed(page).await;
        let added = call(served, |call| call["added"] == true).expect("it is in the record");
        assert_eq!((&added["number"], &added["span_s"][0]), (&13.4.into(), &30.5.into()));
    });
}

#[test]
fn a_form_offers_only_the_structures_that_the_limb_has() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let exam = served.exam();
        let structures = exam["codes"]["structures"].as_array().unwrap();
        let of_hind = structures.iter().find(|one| one["groups"] == serde_json::json!(["hind"])).unwrap();
        let offered = format!(
            "return [...document.querySelectorAll('#f-structure option')].some((one) => one.value === {})",
            of_hind["code"]
        );
        page.click("#call-add").await;
        form_open(page, "Add a call").await;
        page.find("#f-limb").await.select_by_value("LH").await.unwrap();
        assert_eq!(page.run(&offered).await, true);
        page.find("#f-limb").await.select_by_value("LF").await.unwrap();
        assert_eq!(page.run(&offered).await, false);
    });
}

#[test]
fn what_was_done_last_is_taken_back_and_done_again_values_and_settlings_alike() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        page.click("#call-add").await;
        form_open(page, "Add a call").await;
        page.find("#f-kind").await.select_by_value("save").await.unwrap();
        write(page, "#f-time", "0:30").await;
        page.click("#form button.main").await;
        changes_shown(page, 1).await;
        let open = open_questions(page).await;
        page.run("document.querySelector('#bench').focus()").await;
        page.press("a").await;
        changes_shown(page, 2).await;
        assert_eq!(open_questions(page).await, open - 1);
        page.press("z").await;
        changes_shown(page, 3).await;
        assert_eq!(open_questions(page).await, open, "the settling was done last");
        page.press("y").await;
        changes_shown(page, 4).await;
        assert_eq!(open_questions(page).await, open - 1, "settled again");
        page.press("y").await;
        page.until("document.querySelector('#said').textContent.includes('nothing to do again')").await;
        assert!(call(served, |call| call["added"] == true).is_some(), "the call was not touched");
    });
}

#[test]
fn what_was_taken_back_counts_as_nothing_and_times_name_the_zone_of_the_place() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, .. } = &desk;
        let before = page.text("#open-count").await;
        page.run("document.querySelector('#bench').focus()").await;
        page.press("a").await;
        changes_shown(page, 1).await;
        assert!(page.text("#open-count").await.ends_with("1 corrected or settled"));
        assert!(page.text("#changes-in tbody td").await.contains("(UTC+"), "the exam names its zone");
        page.press("z").await;
        changes_shown(page, 2).await;
        assert_eq!(page.text("#open-count").await, before);
    });
}
