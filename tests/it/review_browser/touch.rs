//! The desk on a tablet in the barn, with a finger alone.

use crate::review_browser::shared::{
    PASSPHRASE, changes, changes_shown, desk_for, exam, form_closed, form_open, run,
};
use crate::review_browser::tracing::{edge_px, on_screen, row_on_screen, stated, told, within_one_percent};
use crate::support::browser::Driver;
use crate::support::desk::Served;

/// Settles a question, traces an edge freehand and signs: nothing but taps and strokes, and typing where words are asked.
#[test]
fn a_question_is_settled_an_area_traced_and_the_record_signed_with_a_finger() {
    run(async {
        let folder = exam();
        let (served, driver) = (Served::start(folder.path(), 0), Driver::start());
        let page = driver.tablet().await;
        let page = desk_for(page, &served, "Robin").await;
        assert_eq!(page.run("return [matchMedia('(pointer: coarse)').matches, innerWidth]").await[0], true);
        page.tap("#questions li:nth-child(2) button").await;
        page.until("document.querySelector('#questions li:nth-child(2) [aria-current]')").await;
        page.tap("#do-a").await;
        changes_shown(&page, 1).await;
        assert!(changes(&served)[0]["what"].as_str().unwrap().starts_with("accepted"));

        let (_, area_mm2) = stated();
        page.tap(&format!("#stills-in li:nth-child({}) button", row_on_screen(&served))).await;
        page.until("document.querySelector('#bench img')?.naturalWidth === 320").await;
        page.tap("#do-t").await;
        page.until("document.querySelector('.trace')").await;
        page.tap("label:has(#t-freehand)").await;
        page.until("document.querySelector('#t-freehand').checked").await;
        page.run("document.querySelector('.trace').scrollIntoView({ block: 'center' })").await;
        let before = page.run("return scrollY").await;
        page.finger(&on_screen(&page, &edge_px(area_mm2, 90)).await).await;
        within_one_percent(told(&page, "mm²").await, area_mm2, "freehand with a finger");
        assert_eq!(page.run("return scrollY").await, before, "a stroke draws, it does not scroll");
        page.tap("#t-write").await;
        page.until("!document.querySelector('.tracing')").await;
        within_one_percent(
            served.exam()["record"]["entries"][0]["number"].as_f64().unwrap(),
            area_mm2,
            "written",
        );

        page.tap("#sign-open").await;
        form_open(&page, "Sign the record").await;
        for (field, words) in [
            ("#f-vet", "Dr Example"),
            ("#f-licence", "V-1"),
            ("#f-passphrase", PASSPHRASE),
            ("#f-again", PASSPHRASE),
        ] {
            page.tap(field).await;
            page.press(words).await;
        }
        page.tap("#f-no-impression").await;
        page.tap("#form button.main").await;
        form_closed(&page).await;
        page.until("document.querySelector('#status').textContent === 'Signed'").await;
    });
}
