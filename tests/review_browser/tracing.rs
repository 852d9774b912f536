//! Tracing on the demo's stills, whose areas are known.

use crate::browser::Driver;
use crate::desk::Served;
use crate::program::demo;
use crate::shared::{desk_for, exam, run};

/// The demo's scanner states 0.125 mm a pixel both ways, so 80 by 40 pixels are 10 by 5 mm: 50 mm2.
#[test]
fn an_area_is_traced_by_keyboard_measured_at_once_and_counts_in_the_record() {
    run(async {
        let folder = exam();
        let served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let page = desk_for(&driver, &served, "Robin").await;
        let exam = served.exam();
        let frames = exam["record"]["frames"].as_array().unwrap();
        let still = frames.iter().position(|row| row["plane"] == "T" && row["structure"] == "SDFT").unwrap();
        page.click(&format!("#stills-in li:nth-child({}) button", still + 1)).await;
        page.until("document.querySelector('#bench img')?.naturalWidth === 320").await;
        if std::env::var_os("UPDATE_EXPECT").is_some() {
            page.until("[...document.querySelectorAll('#bench img')].every((image) => image.complete)").await;
            let sound = "performance.getEntriesByType('resource').some((one) => one.name.includes('/api/peaks') && one.responseEnd > 0)";
            page.until(sound).await;
            page.run("scrollTo(0, 0)").await;
            page.picture(&demo("review.png")).await;
        }
        page.press("t").await;
        page.until("document.activeElement.matches('.trace')").await;
        // Shift is held over the arrows: ten pixels a step.
        let (shift, release) = ("\u{e008}", "\u{e000}");
        for (arrow, steps) in [
            ("\u{e012}", 4),
            ("\u{e013}", 2),
            ("\n", 1),
            ("\u{e014}", 8),
            ("\n", 1),
            ("\u{e015}", 4),
            ("\n", 1),
            ("\u{e012}", 8),
            ("\n", 1),
        ] {
            page.press(&format!("{shift}{}{release}", arrow.repeat(steps))).await;
        }
        page.until("document.querySelector('.tracing .preview').textContent.startsWith('50.0 mm²')").await;
        page.click("#t-write").await;
        page.until("!document.querySelector('.tracing')").await;
        let entry = served.exam()["record"]["entries"][0].clone();
        assert_eq!(
            (&entry["number"], &entry["traced"], &entry["by"]),
            (&50.0.into(), &true.into(), &"Robin".into())
        );
    });
}
