//! What was done is named before it is taken back, and everything that was done is listed in words.

use crate::review_browser::shared::{
    ENTER, Opened, PASSPHRASE, changes_shown, form_closed, form_open, run, sign_as_first_vet,
};

/// Waits until a button of the stack says this.
async fn says(page: &crate::support::browser::Page, id: &str, words: &str) {
    page.until(&format!("document.querySelector('{id}').textContent.includes({words:?})")).await;
}

#[test]
fn the_thing_is_named_before_it_is_taken_back_and_before_it_is_done_again() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        says(page, "#undo", "Nothing to undo").await;
        let exam = served.exam();
        let still = &exam["record"]["frames"][1];
        let place = |zone: &str, plane: &str| serde_json::json!({"limb": "LF", "zone": zone, "plane": plane});
        let label = |place| serde_json::json!({"change": "label", "still": still["id"], "place": place});
        served.change("Robin", exam["version"].as_u64().unwrap(), &label(place("2A", "T")));
        changes_shown(page, 1).await;
        let seen = served.exam()["version"].as_u64().unwrap();
        served.change("Robin", seen, &label(place("2A", "L")));
        changes_shown(page, 2).await;
        let words = "Still 2: LF 2A transverse → longitudinal";
        says(page, "#undo", &format!("Undo: {words}")).await;
        assert_eq!(page.run("return document.querySelector('#redo').hidden").await, true);
        page.press("z").await;
        changes_shown(page, 3).await;
        assert_eq!(served.exam()["record"]["frames"][1]["plane"], "T");
        says(page, "#redo", &format!("Redo: {words}")).await;
        page.click("#redo").await;
        changes_shown(page, 4).await;
        assert_eq!(served.exam()["record"]["frames"][1]["plane"], "L");
        says(page, "#undo", &format!("Undo: {words}")).await;
        let shown = page.text("#changes-in").await;
        for words in [format!("Redone: {words}"), format!("Undone: {words}"), "Robin".to_owned()] {
            assert!(shown.contains(&words), "{words}: {shown}");
        }
        // Another person has nothing to take back.
        page.run("const by = document.querySelector('#by'); by.value = 'Kim'; by.dispatchEvent(new Event('change'))").await;
        says(page, "#undo", "Nothing to undo").await;
    });
}

#[test]
fn a_signature_is_on_the_same_stack_and_goes_back_only_with_the_passphrase_of_a_vet() {
    run(async {
        let desk = Opened::by("Dr Example").await;
        let Opened { page, served, .. } = &desk;
        page.press("a").await;
        changes_shown(page, 1).await;
        sign_as_first_vet(page).await;
        says(page, "#undo", "Undo: Signed, licence V-1").await;
        // Without the passphrase nothing happens, whoever asks.
        let exam = served.exam();
        let back = serde_json::json!({"change": "take_back", "seq": exam["record"]["exam"]["signed"]["seq"]});
        assert_eq!(served.change("Kim", exam["version"].as_u64().unwrap(), &back).0, 422);
        page.run("document.querySelector('#bench').focus()").await;
        page.press("z").await;
        form_open(page, "Withdraw the signature").await;
        page.find("#f-vet").await.select_by_value("Dr Example").await.unwrap();
        page.find("#f-passphrase").await.send_keys(&format!("not the right words{ENTER}")).await.unwrap();
        page.until("document.querySelector('#form .wrong').textContent.includes('does not open the key')")
            .await;
        assert_eq!(page.text("#status").await, "Signed");
        page.find("#f-passphrase").await.clear().await.unwrap();
        page.find("#f-passphrase").await.send_keys(&format!("{PASSPHRASE}{ENTER}")).await.unwrap();
        form_closed(page).await;
        page.until("document.querySelector('#status').textContent === 'Draft'").await;
        assert!(page.text("#signed").await.contains("withdrawn"), "{}", page.text("#signed").await);
        // What was done before it is next; a signature is given anew, not done again.
        says(page, "#undo", "Undo: Accepted").await;
        assert_eq!(page.run("return document.querySelector('#redo').hidden").await, true);
        let shown = page.text("#changes-in").await;
        assert!(shown.contains("Undone: Signed, licence V-1"), "{shown}");
    });
}
