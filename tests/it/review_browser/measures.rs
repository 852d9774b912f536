//! Outlines and distances by keyboard, points moved, and reloads in the middle of drawing; all on a still of known scale.

use serde_json::Value;

use crate::review_browser::shared::{
    BACK_TAB, DOWN, ENTER, LEFT, Opened, RIGHT, TAB, UP, earlier, entries, exam, far, run,
};
use crate::review_browser::tracing::{edge_px, on_screen, stated, told, tool, tracing, within_one_percent};
use crate::support::browser::Page;

/// Chooses a tool from the still and comes back to it, without the mouse; tools stand in this order.
pub async fn tool_by_keys(page: &Page, steps: usize, name: &str) {
    page.press(TAB).await;
    for _ in 0..steps {
        page.press(RIGHT).await;
    }
    page.until(&format!("document.querySelector('#t-{name}').checked")).await;
    page.press(BACK_TAB).await;
    page.until("document.activeElement.matches('.trace')").await;
}

pub async fn told_begins(page: &Page, words: &str) {
    page.until(&format!("document.querySelector('.tracing .preview').textContent.startsWith('{words}')"))
        .await;
}

/// From the still over tools and structure to the button that writes.
pub async fn write_by_keys(page: &Page) {
    page.press(TAB).await;
    for _ in 0..9 {
        if page.run("return document.activeElement.id === 't-write'").await == true {
            page.press(ENTER).await;
            page.until("!document.querySelector('.tracing')").await;
            return;
        }
        page.press(TAB).await;
    }
    panic!("the button cannot be reached: {}", page.told().await);
}

/// 0.125 mm a pixel: half axes of 40 and 20 pixels are 5 and 2.5 mm, 39.3 mm2; of 40 and 40 pixels 78.5 mm2.
#[test]
fn an_ellipse_is_drawn_and_a_point_of_it_moved_by_keyboard_alone() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        tracing(page, served).await;
        tool_by_keys(page, 2, "ellipse").await;
        page.press(&format!("{}{ENTER}{}{ENTER}", far(RIGHT, 4), far(LEFT, 8))).await;
        page.press(&format!("{}{}{ENTER}", far(RIGHT, 4), far(UP, 2))).await;
        told_begins(page, "39.3 mm²").await;
        page.press(" ").await;
        page.until("document.querySelector('.corner.held')").await;
        page.press(&far(UP, 2)).await;
        told_begins(page, "78.5 mm²").await;
        page.press(" ").await;
        page.until("!document.querySelector('.corner.held')").await;
        page.press(&far(DOWN, 3)).await;
        told_begins(page, "78.5 mm²").await;
        write_by_keys(page).await;
        assert_eq!((entries(served).len(), entries(served)[0]["by"].clone()), (1, "Robin".into()));
        within_one_percent(entries(served)[0]["number"].as_f64().unwrap(), 78.54, "written");
    });
}

/// Drawn around 80 by 40 pixels, which are 10 by 5 mm; then the last point is pulled out of the corner.
#[test]
fn freehand_is_drawn_with_the_arrow_keys_and_corrected_with_them() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        tracing(page, served).await;
        tool_by_keys(page, 1, "freehand").await;
        page.press(ENTER).await;
        told_begins(page, "The pen is down").await;
        for (arrow, steps) in [(RIGHT, 8), (DOWN, 4), (LEFT, 8), (UP, 3)] {
            page.press(&far(arrow, steps)).await;
        }
        page.press(ENTER).await;
        told_begins(page, "50.0 mm²").await;
        // Lifted, the pen draws no more.
        page.press(&far(RIGHT, 2)).await;
        told_begins(page, "50.0 mm²").await;
        page.press(&far(LEFT, 2)).await;
        page.press(&format!(" {} ", far(LEFT, 4))).await;
        page.until("parseFloat(document.querySelector('.tracing .preview').textContent) > 51").await;
        let shown = told(page, "mm²").await;
        write_by_keys(page).await;
        assert!((entries(served)[0]["number"].as_f64().unwrap() - shown).abs() < 0.06);
    });
}

/// 160 by 120 pixels are 20 by 15 mm: 25 mm, by Pythagoras.
#[test]
fn a_distance_is_told_at_once_and_written_by_mouse_as_what_it_is() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        tracing(page, served).await;
        tool(page, "distance").await;
        let ends = on_screen(page, &[(80.0, 60.0), (240.0, 180.0)]).await;
        page.drag(&ends).await;
        within_one_percent(told(page, "mm").await, 25.0, "by mouse");
        page.click("#t-write").await;
        page.until(
            "document.querySelector('.tracing .wrong').textContent.startsWith('Choose what the two points')",
        )
        .await;
        assert!(entries(served).is_empty(), "a number of nothing is not written");
        page.find("#t-term").await.select_by_value("width").await.unwrap();
        page.click("#t-write").await;
        page.until("!document.querySelector('.tracing')").await;
        let entry = entries(served)[0].clone();
        assert_eq!(
            (&entry["term"], &entry["by"], &entry["unit"]),
            (&"width".into(), &"Robin".into(), &"mm".into())
        );
        within_one_percent(entry["number"].as_f64().unwrap(), 25.0, "written");
        // It stands in the drawing of the limb, with who.
        page.until("[...document.querySelectorAll('.limb .sizes')].some((one) => /width 25(\\.\\d)?\\smm.*traced by Robin/.test(one.textContent))").await;
    });
}

#[test]
fn a_distance_is_set_corrected_and_written_by_keyboard_alone() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        tracing(page, served).await;
        tool_by_keys(page, 3, "distance").await;
        page.press(&format!("{ENTER}{}{ENTER}", far(LEFT, 8))).await;
        told_begins(page, "10.0 mm ").await;
        page.press(&format!(" {} ", far(LEFT, 2))).await;
        told_begins(page, "12.5 mm ").await;
        // Tools, structure, what lies between.
        page.press(&format!("{TAB}{TAB}{TAB}")).await;
        page.until("document.activeElement.id === 't-term'").await;
        page.press("d").await;
        page.press(&format!("{TAB}{ENTER}")).await;
        page.until("!document.querySelector('.tracing')").await;
        let entry = entries(served)[0].clone();
        assert_eq!((&entry["term"], &entry["number"]), (&"depth".into(), &12.5.into()));
    });
}

/// Each tool: what is drawn before the reload, how many points there are, and what is reported after it.
#[test]
fn what_was_drawn_with_any_tool_outlives_a_reload_and_nothing_of_it_is_written() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let (_, area_mm2) = stated();
        tracing(page, served).await;
        for name in ["points", "freehand", "ellipse", "distance", "scale"] {
            tool(page, name).await;
            let count = match name {
                "points" => {
                    for point in on_screen(page, &edge_px(area_mm2, 12)).await {
                        page.drag(&[point]).await;
                    }
                    12
                }
                "freehand" => {
                    page.drag(&on_screen(page, &edge_px(area_mm2, 90)).await).await;
                    page.run("return document.querySelectorAll('.corner').length").await.as_u64().unwrap()
                }
                _ => {
                    let edge = on_screen(page, &edge_px(area_mm2, 4)).await;
                    page.drag(&[edge[0], edge[2]]).await;
                    if name == "ellipse" {
                        page.drag(&[edge[1]]).await;
                    }
                    if name == "ellipse" { 3 } else { 2 }
                }
            };
            if name == "distance" {
                page.find("#t-term").await.select_by_value("depth").await.unwrap();
            }
            if name == "scale" {
                page.find("#t-apart").await.send_keys("2.5").await.unwrap();
            }
            let shown = "document.querySelector('.tracing .preview').textContent";
            page.until(&format!(
                "document.querySelectorAll('.corner').length === {count} && /\\d/.test({shown})"
            ))
            .await;
            let before = page.run(&format!("return {shown}")).await;
            page.0.refresh().await.unwrap();
            page.until("document.querySelector('#bench img')?.naturalWidth === 320").await;
            assert!(entries(served).is_empty(), "{name}");
            page.press("t").await;
            page.until(&format!("document.querySelector('#t-{name}').checked")).await;
            page.until(&format!("document.querySelectorAll('.corner').length === {count}")).await;
            page.until(&format!("{shown} === {before}")).await;
            let field = |id: &str| format!("return document.querySelector('#{id}').value");
            assert_eq!(
                page.run(&field("t-term")).await,
                if matches!(name, "distance" | "scale") { "depth" } else { "" }
            );
            assert_eq!(page.run(&field("t-apart")).await, if name == "scale" { "2.5" } else { "" });
        }
    });
}

/// 50 mm2 are traced where the earlier exam has an area that was said; the change is the page's only if it is the program's.
#[test]
fn the_values_of_the_last_exam_stand_beside_those_of_this_one_with_the_change_in_words() {
    run(async {
        let before = earlier().to_string_lossy().into_owned();
        let desk = Opened::of(exam(), "Robin", &["--earlier", &before]).await;
        let Opened { page, served, .. } = &desk;
        let shown = served.exam();
        let area = |rows: &Value, limb: &str, zone: &str| {
            let fits = |row: &&Value| {
                row["name"] == "area"
                    && row["limb"] == limb
                    && row["zone"] == zone
                    && row["structure"] == "SDFT"
            };
            rows.as_array().unwrap().iter().find(fits).and_then(|row| row["value"].as_f64())
        };
        let frames = shown["record"]["frames"].as_array().unwrap();
        let place = |row: &Value| {
            (
                row["limb"].as_str().unwrap_or_default().to_owned(),
                row["zone"].as_str().unwrap_or_default().to_owned(),
            )
        };
        let still = frames
            .iter()
            .position(|row| {
                let (limb, zone) = place(row);
                row["plane"] == "T"
                    && row["structure"] == "SDFT"
                    && area(&shown["earlier"]["measures"], &limb, &zone).is_some()
            })
            .expect("a still of a view that was measured both times");
        let (limb, zone) = place(&frames[still]);
        let then = area(&shown["earlier"]["measures"], &limb, &zone).unwrap();
        page.click(&format!("#stills-in li:nth-child({}) button", still + 1)).await;
        page.until("document.querySelector('#bench .since:not(.values)')").await;
        let text = page.text("#bench .since:not(.values)").await;
        assert!(
            text.contains("Since 2 March 2026") && text.contains(": unchanged"),
            "the same words were said: {text}"
        );
        page.until("document.querySelector('#bench img')?.naturalWidth === 320").await;
        page.press("t").await;
        page.until("document.activeElement.matches('.trace')").await;
        let square = format!(
            "{}{ENTER}{}{ENTER}{}{ENTER}{}{ENTER}",
            far(LEFT, 4),
            far(RIGHT, 8),
            far(DOWN, 4),
            far(LEFT, 8)
        );
        page.press(&square).await;
        told_begins(page, "50.0 mm²").await;
        page.click("#t-write").await;
        let percent = (50.0 / then - 1.0) * 100.0;
        let words = format!(
            "area {then}\u{a0}mm² then, 50\u{a0}mm² now: {:.1} % {}",
            percent.abs(),
            if percent < 0.0 { "smaller" } else { "larger" }
        );
        page.until(&format!(
            "document.querySelector('#bench .since:not(.values)')?.textContent.includes({words:?})"
        ))
        .await;
        assert!(
            page.text("#bench .since:not(.values)").await.contains("caution: measured by another person"),
            "said then, traced now"
        );
    });
}
