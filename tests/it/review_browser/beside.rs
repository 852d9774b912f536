//! Nothing covers the still that is at hand: neither a form about it, nor what the page says after an act.

use serde_json::Value;

use crate::review_browser::shared::{Opened, form_open, run, to_rivals};
use crate::support::browser::Page;

/// The still at hand, the form and the timeline, each as left, top, right and bottom; the height of the window.
const BOXES: &str = "const box = (css) => { const { left, top, right, bottom } = document.querySelector(css).getBoundingClientRect();
        return [left, top, right, bottom]; };
    return { still: box('#bench figure.still .glass'), form: box('#form'), line: box('#line'), height: innerHeight }";

fn edge(boxes: &Value, name: &str, idx: usize) -> f64 {
    boxes[name][idx].as_f64().unwrap()
}

/// Opens each form about the still or its call in a window of this size, and gives the boxes to `fits`.
async fn forms_in(width: u32, height: u32, fits: impl Fn(&Value)) {
    let desk = Opened::by("Robin").await;
    let Opened { page, .. } = &desk;
    page.size(width, height).await;
    page.click("#stills-in li:nth-child(4) button").await;
    for (key, title) in
        [("l", "Label still 4"), ("c", "Correct call"), ("m", "Move call"), ("n", "Add a call")]
    {
        page.until("document.querySelector('#bench img')?.naturalWidth > 0").await;
        page.run("document.querySelector('#bench').focus()").await;
        page.press(key).await;
        form_open(page, title).await;
        page.picture(&std::env::temp_dir().join(format!("zonecall-form-{key}-{width}x{height}.png"))).await;
        fits(&page.run(BOXES).await);
        let sideways = page.run("return [document.documentElement.scrollWidth, innerWidth]").await;
        assert!(sideways[0].as_u64() <= sideways[1].as_u64(), "{title}: {sideways}");
        page.press("\u{e00c}").await;
        page.until("!document.querySelector('#form[open]')").await;
    }
}

/// The whole still is in the window, and the form is to its right.
fn is_beside(boxes: &Value) {
    assert!(edge(boxes, "still", 2) <= edge(boxes, "form", 0), "{boxes}");
    assert!(edge(boxes, "still", 1) >= -1.0, "{boxes}");
    assert!(edge(boxes, "still", 3) <= edge(boxes, "line", 1).max(0.0), "{boxes}");
}

/// Most of the still is above the form.
fn is_below(boxes: &Value) {
    let (top, bottom) = (edge(boxes, "still", 1), edge(boxes, "still", 3));
    let seen = bottom.min(edge(boxes, "form", 1)) - top.max(0.0);
    assert!(seen >= 0.8 * (bottom - top), "{boxes}");
}

#[test]
fn on_a_wide_screen_a_form_is_beside_the_whole_still() {
    run(forms_in(1440, 900, is_beside));
}

#[test]
fn on_a_small_notebook_a_form_is_beside_the_whole_still() {
    run(forms_in(1024, 768, is_beside));
}

#[test]
fn on_a_tablet_held_upright_a_form_is_below_the_still() {
    run(forms_in(768, 1024, is_below));
}

#[test]
fn on_a_telephone_a_form_is_below_the_still() {
    run(forms_in(390, 844, is_below));
}

#[test]
fn at_twice_the_size_a_form_is_below_the_still() {
    run(forms_in(720, 565, is_below));
}

/// The boxes of all stills at hand that the box of what the page says overlaps.
async fn covered(page: &Page, id: &str) -> Value {
    let over = format!(
        "const said = document.querySelector('{id}').getBoundingClientRect();
        return [...document.querySelectorAll('#bench .glass')].map((one) => one.getBoundingClientRect())
            .filter((one) => said.left < one.right && one.left < said.right && said.top < one.bottom && one.top < said.bottom)
            .map((one) => [said.top, one.bottom])"
    );
    page.run(&over).await
}

#[test]
fn what_the_page_says_after_an_act_covers_no_still() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, .. } = &desk;
        for (width, height) in [(1024, 768), (1440, 900)] {
            page.size(width, height).await;
            to_rivals(page).await;
            page.until("document.querySelector('#bench img')?.naturalWidth > 0").await;
            page.press("r").await;
            page.until("document.querySelector('#alarm').textContent").await;
            page.picture(&std::env::temp_dir().join(format!("zonecall-alarm-{width}x{height}.png"))).await;
            assert_eq!(covered(page, "#alarm").await, serde_json::json!([]));
            page.click("#stills-in li:nth-child(4) button").await;
            page.until("document.querySelector('#bench img')?.naturalWidth > 0").await;
            page.press("r").await;
            page.until("document.querySelector('#said').textContent").await;
            page.picture(&std::env::temp_dir().join(format!("zonecall-said-{width}x{height}.png"))).await;
            assert_eq!(covered(page, "#said").await, serde_json::json!([]));
        }
    });
}
