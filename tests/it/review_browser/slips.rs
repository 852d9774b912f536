//! Slips of the hand: a key held down, a comma in a number, a structure that the limb does not have.

use crate::review_browser::shared::{
    Opened, add_value, call, changes, changes_shown, form_closed, form_open, hind_is_offered, open_questions,
    run, sign_as_first_vet, write,
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
fn escape_asks_once_before_it_drops_what_was_typed() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let escape = "\u{e00c}";
        add_value(page, "width").await;
        write(page, "#f-number", "13").await;
        page.press(escape).await;
        page.until("document.querySelector('#form .wrong').textContent.includes('Press Escape once more')")
            .await;
        // What is typed after that is another wish, and asked about anew.
        write(page, "#f-number", "14").await;
        page.press(escape).await;
        page.until(
            "document.querySelector('#form[open] .wrong').textContent.includes('Press Escape once more')",
        )
        .await;
        page.press(escape).await;
        form_closed(page).await;
        assert!(changes(served).is_empty());
        // Where nothing was typed, it closes at once.
        page.press("n").await;
        form_open(page, "Add a call").await;
        page.press(escape).await;
        form_closed(page).await;
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
        let offered = hind_is_offered(served);
        page.click("#call-add").await;
        form_open(page, "Add a call").await;
        page.find("#f-limb").await.select_by_value("LH").await.unwrap();
        assert_eq!(page.run(&offered).await, true);
        page.find("#f-limb").await.select_by_value("LF").await.unwrap();
        assert_eq!(page.run(&offered).await, false);
    });
}

#[test]
fn a_finding_where_normal_was_called_is_shown_and_saved_only_when_it_is_confirmed() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let normal =
            call(served, |call| call["class"] == "normal" && call["zone"].is_string()).expect("one is said");
        let part = |name: &str| normal[name].as_str().unwrap_or_default().to_owned();
        page.click("#call-add").await;
        form_open(page, "Add a call").await;
        page.find("#f-kind").await.select_by_value("finding").await.unwrap();
        page.until("document.querySelector('#f-finding')").await;
        write(page, "#f-time", "0:01").await;
        write(page, "#f-finding", "core lesion").await;
        for name in ["limb", "zone", "structure"] {
            page.find(&format!("#f-{name}")).await.select_by_value(&part(name)).await.unwrap();
        }
        page.click("#form button.main").await;
        page.until("document.querySelector('#form .wrong').textContent.includes('contradicts')").await;
        let told = page.text("#form .wrong").await;
        assert!(told.contains("core lesion") && told.contains(&format!("call {}", normal["seq"])), "{told}");
        assert!(changes(served).is_empty(), "nothing is saved before it is confirmed");
        assert_eq!(page.text("#form button.main").await, "Add anyway");
        // What is entered after that is asked about again.
        write(page, "#f-finding", "split").await;
        assert_eq!(page.text("#form button.main").await, "Add");
        page.click("#form button.main").await;
        page.until("document.querySelector('#form button.main').textContent === 'Add anyway'").await;
        page.click("#form button.main").await;
        form_closed(page).await;
        changes_shown(page, 2).await;
        let asked = served.exam();
        let questions = asked["questions"].as_array().unwrap();
        assert!(
            questions.iter().any(|question| question["rule"] == "normal-and-lesion"),
            "it stays a question"
        );
    });
}

#[test]
fn while_a_time_is_typed_the_place_and_the_calls_around_it_are_shown() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let save = call(served, |call| call["kind"] == "save").expect("one is said");
        let at = save["span_s"][0].as_f64().unwrap() + 0.01;
        page.click("#call-add").await;
        form_open(page, "Add a call").await;
        write(page, "#f-time", &format!("{at:.2}")).await;
        let shown = page.text("#form .around").await;
        assert!(shown.contains("Place then: left fore, zone"), "{shown}");
        assert!(shown.contains(&format!("Before it: “{}”", save["words"].as_str().unwrap())), "{shown}");
        assert!(shown.contains("After it: “"), "{shown}");
        write(page, "#f-time", "soon").await;
        assert!(page.text("#form .around").await.contains("minutes and seconds"));
        write(page, "#f-time", "59:00").await;
        assert!(page.text("#form .around").await.contains("The recording ends at"));
        assert!(changes(served).is_empty());
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
        page.until("document.querySelector('#said').textContent.includes('nothing to redo')").await;
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

#[test]
fn what_the_page_says_agrees_with_what_is_so_after_signing_and_when_a_mistake_is_mended() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let exam = served.exam();
        let calls = exam["record"]["calls"].as_array().unwrap();
        let standing =
            calls.iter().filter(|call| call["withdrawn"] != true && call["kind"] != "unknown").count();
        assert!(standing < calls.len(), "something was not understood");
        assert!(
            page.text("#facts").await.ends_with(&format!(", {standing} calls")),
            "{}",
            page.text("#facts").await
        );
        add_value(page, "width").await;
        write(page, "#f-number", "3,4,5").await;
        page.click("#form button.main").await;
        page.until("document.querySelector('#form .wrong').textContent.includes('is not a number')").await;
        write(page, "#f-number", "13,4").await;
        assert_eq!(page.text("#form .wrong").await, "", "its cause is gone");
        page.click("#form button[type=button]").await;
        form_closed(page).await;
        assert!(page.text("#cautions").await.contains("A draft until"));
        sign_as_first_vet(page).await;
        assert!(!page.text("#cautions").await.to_lowercase().contains("draft"), "it is signed");
    });
}
