//! The light on a still, by mouse and by keyboard: what is shown changes, what is stored does not.

use crate::review_browser::shared::{Opened, TAB, click_on, reload, run, tab_to};
use crate::support::browser::Page;

const SLIDERS: &str = "document.querySelectorAll('.lamp input')";

/// Mean grey of the still on the bench as it is shown, once it has come with this light.
async fn shown(page: &Page, light: &str) -> f64 {
    let image = "document.querySelector('#bench img[data-from=still]')";
    page.until(&format!(
        "{image}?.src.includes('{light}') && {image}.complete && {image}.naturalWidth === 320"
    ))
    .await;
    let mean = format!("const image = {image}; const canvas = document.createElement('canvas');
        canvas.width = image.naturalWidth; canvas.height = image.naturalHeight;
        const pen = canvas.getContext('2d'); pen.drawImage(image, 0, 0);
        const grey = pen.getImageData(0, 0, canvas.width, canvas.height).data.filter((_, idx) => idx % 4 === 0);
        return grey.reduce((sum, one) => sum + one, 0) / grey.length");
    page.run(&mean).await.as_f64().unwrap()
}

/// Drags the handle of a slider from where it is to this share of its length.
async fn slide(page: &Page, number: usize, to: f64) {
    let place = format!(
        "const one = {SLIDERS}[{number}]; one.scrollIntoView({{ block: 'center' }});
        const box = one.getBoundingClientRect(); const share = (one.value - one.min) / (one.max - one.min);
        return [box.left, box.width, box.top + box.height / 2, share]"
    );
    let [left, width, y, share]: [f64; 4] = serde_json::from_value(page.run(&place).await).unwrap();
    // The handle is 16 pixels wide and stays within the slider.
    let x = |share: f64| left + 8.0 + share * (width - 16.0);
    page.drag(&[(x(share), y), (x(to), y)]).await;
}

#[test]
fn window_and_gain_are_set_by_mouse_and_by_keyboard_and_change_only_what_is_shown() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, folder, .. } = &desk;
        page.click("#stills-in li:nth-child(7) button").await;
        let stored = shown(page, "low=0&high=255&gain=1").await;
        let journal = desk.journal();
        slide(page, 0, 0.3).await;
        let dark = shown(page, "low=6").await;
        assert!(dark < stored - 5.0, "black at a higher grey is darker: {dark}, {stored}");
        slide(page, 2, 0.7).await;
        let bright = shown(page, "gain=2.").await;
        assert!(bright > dark + 5.0, "more gain is brighter: {bright}, {dark}");
        // A reload keeps the light, for the stills that come next, too.
        reload(page).await;
        assert!((shown(page, "low=6").await - bright).abs() < 0.5);
        click_on(page, "bench", "As stored").await;
        assert!((shown(page, "low=0&high=255&gain=1").await - stored).abs() < 0.5);
        page.run("document.querySelector('#bench').focus()").await;
        tab_to(page, ".lamp input").await;
        page.press(&format!("{TAB}{}", "\u{e012}".repeat(55))).await;
        let white = shown(page, "high=200").await;
        assert!(white > stored + 5.0, "white at a lower grey is brighter: {white}, {stored}");
        page.press(&format!("{TAB}{}", "\u{e012}".repeat(8))).await;
        let less = shown(page, "low=0&high=200&gain=0.6").await;
        assert!(less < white - 5.0, "less gain is darker: {less}, {white}");
        tab_to(page, ".lamp button").await;
        page.press("\n").await;
        assert!((shown(page, "low=0&high=255&gain=1").await - stored).abs() < 0.5);
        assert_eq!(desk.journal(), journal, "looking writes nothing");
        assert!(folder.path().join("stills").exists());
    });
}

#[test]
fn both_stills_are_looked_at_from_as_near_and_move_in_step() {
    run(async {
        let desk = Opened::by("Robin").await;
        let page = &desk.page;
        page.click("#stills-in li:nth-child(1) button").await;
        page.until("document.querySelectorAll('.stills-at-hand .glass img').length === 2").await;
        let shown = "return [...document.querySelectorAll('.stills-at-hand .glass img')].map((one) => one.style.transform)";
        let ways = page.run(shown).await;
        assert_eq!(ways, serde_json::json!(["", ""]));
        click_on(page, "bench", "Larger").await;
        let ways = page.run(shown).await;
        assert_eq!(ways[0], ways[1]);
        assert!(ways[0].as_str().unwrap().starts_with("scale(1.5)"), "{ways}");
        page.click("#bench [aria-label='Move left']").await;
        let moved = page.run(shown).await;
        assert_eq!(moved[0], moved[1]);
        assert_ne!(moved[0], ways[0]);
        // No further than the edge of the picture.
        for _ in 0..9 {
            page.click("#bench [aria-label='Move left']").await;
        }
        assert!(
            page.run(shown).await[0].as_str().unwrap().contains("translate(16.6667%"),
            "{}",
            page.run(shown).await
        );
        click_on(page, "bench", "Whole").await;
        assert_eq!(page.run(shown).await, serde_json::json!(["", ""]));
    });
}
