//! What a person looks at is in view: the whole still, and the tools while something is traced, at every usual size.

use serde_json::json;

use crate::review_browser::shared::{Opened, exam, run};
use crate::support::browser::Page;
use crate::support::program::zonecall;

/// How far the picture at hand reaches out of what can be seen: above, and below the window's edge or the timeline.
const HIDDEN_PX: &str = "const box = document.querySelector('#bench .glass img').getBoundingClientRect();
    const line = document.querySelector('#line');
    const floor = getComputedStyle(line).position === 'fixed' ? line.getBoundingClientRect().top : innerHeight;
    return [Math.max(0, -box.top), Math.max(0, box.bottom - floor)]";

async fn is_whole(page: &Page, part: &str) {
    page.until("document.querySelector('#bench .glass img')?.naturalWidth > 0").await;
    let hidden: [f64; 2] = serde_json::from_value(page.run(HIDDEN_PX).await).unwrap();
    assert!(hidden[0] < 1.0 && hidden[1] < 1.0, "{part}: {hidden:?} pixels are hidden");
}

/// What hinders the picture at hand from being larger: nothing may be left both beside it and below it.
const FILLS: &str = "const box = document.querySelector('#bench .glass img').getBoundingClientRect();
    const column = parseFloat(getComputedStyle(document.querySelector('#bench .two')).gridTemplateColumns);
    const floor = document.querySelector('#line').getBoundingClientRect().top;
    const title = document.querySelector('#bench h2').getBoundingClientRect();
    return { beside: column - box.width, below: floor - box.bottom, title: title.top }";

/// A still of 320 by 240 pixels is enlarged as far as its place allows, and what was asked about it stays in view.
async fn is_large(page: &Page) {
    let fills = format!(
        "(() => {{ const left = (() => {{ {FILLS} }})(); return (left.beside < 3 || left.below < 40) && left.title >= 0; }})()"
    );
    page.until(&fills).await;
}

/// Stills chosen from the list, by key, and with their questions.
async fn stills_are_whole(width: u32, height: u32) {
    let desk = Opened::by("Robin").await;
    let Opened { page, .. } = &desk;
    page.size(width, height).await;
    for number in [1, 7, 20] {
        page.click(&format!("#stills-in li:nth-child({number}) button")).await;
        let part = format!("still {number} at {width} x {height}");
        is_whole(page, &part).await;
        is_large(page).await;
    }
    page.press("b").await;
    page.until("document.querySelector('#bench h2').textContent === 'Still 19'").await;
    is_whole(page, "the still before, by key").await;
    page.press("s").await;
    page.until("document.querySelector('#bench h2').textContent === 'Still 20'").await;
    for _ in 0..12 {
        page.press("j").await;
        if page.run("return Boolean(document.querySelector('#bench .glass img'))").await == true {
            is_whole(page, &page.text("#bench h2").await).await;
        }
    }
}

#[test]
fn no_still_is_covered_by_the_timeline_at_1440_by_900() {
    run(stills_are_whole(1440, 900));
}

#[test]
fn no_still_is_covered_by_the_timeline_at_1024_by_768() {
    run(stills_are_whole(1024, 768));
}

/// While something is traced, the picture and the button that writes are both in view, with nothing over them.
async fn tools_are_in_view(page: &Page, width: u32, height: u32) {
    page.size(width, height).await;
    page.click("#stills-in li:nth-child(7) button").await;
    page.until("document.querySelector('#bench img')?.naturalWidth === 320").await;
    page.press("t").await;
    page.until("document.activeElement.matches('.trace')").await;
    let hidden = "return ['#t-write', '#t-leave', 'label:has(#t-points)', '.trace'].filter((css) => {
        const box = document.querySelector(css).getBoundingClientRect();
        const [x, y] = [box.left + box.width / 2, box.top + box.height / 2];
        const seen = document.elementFromPoint(x, y);
        const one = document.querySelector(css);
        return box.top < -1 || box.left < -1 || box.bottom > innerHeight + 1 || box.right > innerWidth + 1 || !(seen === one || one.contains(seen));
    })";
    assert_eq!(page.run(hidden).await, json!([]), "hidden at {width} x {height}");
    page.press("\u{e00c}").await;
    page.until("!document.querySelector('.tracing')").await;
}

#[test]
fn the_picture_and_the_tools_are_in_view_while_tracing_at_every_usual_size() {
    run(async {
        let desk = Opened::by("Robin").await;
        for (width, height) in [(1440, 900), (1024, 768), (768, 1024), (390, 844)] {
            tools_are_in_view(&desk.page, width, height).await;
        }
    });
}

#[test]
fn a_drag_over_a_still_lights_it_and_a_short_one_does_not() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, .. } = &desk;
        page.click("#stills-in li:nth-child(7) button").await;
        page.until("document.querySelector('#bench img')?.naturalWidth === 320").await;
        let at = "const box = document.querySelector('#bench .glass').getBoundingClientRect(); return [box.left, box.top, box.width, box.height]";
        let [left, top, width, height]: [f64; 4] = serde_json::from_value(page.run(at).await).unwrap();
        let point = |x: f64, y: f64| ((left + x * width).round(), (top + y * height).round());
        let journal = desk.journal();
        page.drag(&[point(0.5, 0.5), point(0.5, 0.503)]).await;
        page.until("document.querySelector('#bench img').src.includes('low=0&high=255')").await;
        // Half the width to the right takes half of the greys from the window.
        page.drag(&[point(0.25, 0.5), point(0.5, 0.5), point(0.75, 0.5)]).await;
        let window = "const [, low, high] = /low=(\\d+)&high=(\\d+)/.exec(document.querySelector('#bench img').src); return [Number(low), Number(high)]";
        page.until("!document.querySelector('#bench img').src.includes('high=255')").await;
        page.until("document.querySelector('#bench img').complete").await;
        let [low, high]: [f64; 2] = serde_json::from_value(page.run(window).await).unwrap();
        assert!((high - low - 127.5).abs() < 8.0, "{low} to {high}");
        assert!(((high + low) / 2.0 - 127.5).abs() < 8.0, "{low} to {high}");
        // Upwards is brighter: the whole window lies lower.
        page.drag(&[point(0.5, 0.75), point(0.5, 0.6), point(0.5, 0.5)]).await;
        page.until(&format!(
            "Number(/high=(\\d+)/.exec(document.querySelector('#bench img').src)[1]) < {}",
            high - 20.0
        ))
        .await;
        assert!(journal == desk.journal(), "the light is nobody's change");
    });
}

#[test]
fn questions_about_one_call_are_listed_together_and_accepted_by_one_act() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let mut found = false;
        for _ in 0..60 {
            found = page.run("return Boolean(document.querySelector('#do-q'))").await == true;
            if found {
                break;
            }
            page.press("j").await;
        }
        assert!(found, "some question of the demo has company");
        let asked = page.run("return [document.querySelector('#bench h2').textContent, ...[...document.querySelectorAll('.also li')].map((one) => one.textContent)]").await;
        let asked: Vec<String> = serde_json::from_value(asked).unwrap();
        let before = served.exam()["questions"].as_array().unwrap().len();
        page.press("q").await;
        page.until("document.querySelector('#said').textContent.startsWith('Accepted:')").await;
        let after = served.exam();
        assert_eq!(after["questions"].as_array().unwrap().len(), before - asked.len(), "{asked:?}");
        assert_eq!(after["record"]["changes"].as_array().unwrap().len(), asked.len());
    });
}

#[test]
fn a_value_after_signing_asks_first_at_the_desk_and_on_the_command_line() {
    run(async {
        let desk = Opened::of(exam(), "Robin", &[]).await;
        let Opened { page, served, folder, .. } = &desk;
        crate::review_browser::shared::sign_as_first_vet(page).await;
        let signed = desk.journal();
        let exam = folder.path().to_str().unwrap();
        let typed = ["enter", exam, "--limb", "LF", "--zone", "2B", "--structure", "SDFT", "--term", "area"];
        let typed = [&typed[..], &["--number", "148", "--unit", "mm2", "--by", "Ada"]].concat();
        let refused = zonecall(&typed);
        let words = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(refused.status.code() == Some(2) && words.contains("--draft-again"), "{words}");
        let traced = ["trace", exam, "--still", "IM0007.dcm", "--by", "Ada", "--ellipse", "160,120,40,18,0"];
        assert_eq!(zonecall(&traced).status.code(), Some(2));
        let shown = served.exam();
        let mut rows = shown["record"]["frames"].as_array().unwrap().iter();
        let row = rows.find(|row| row["file"].as_str().unwrap().ends_with("IM0007.dcm")).unwrap();
        let outline =
            json!({"shape": "ellipse", "centre_px": [160, 120], "half_axes_px": [40, 18], "turned_deg": 0});
        let mut drawn = json!({"by": "Dr Example", "still": row["id"], "limb": row["limb"], "zone": row["zone"], "structure": "SDFT",
            "lesion": false, "write": true, "outline": outline});
        let (status, told) = served.post("/api/trace", &drawn);
        assert!(status == 409 && told["signed"] == true, "{told}");
        assert!(desk.journal() == signed, "nothing was written");
        drawn["draft_again"] = json!(true);
        // The first vet is a list of people, and Robin is not on it.
        drawn["by"] = json!("Robin");
        let (status, told) = served.post("/api/trace", &drawn);
        assert!(
            status == 422 && told["message"].as_str().unwrap().contains("not on the practice's list"),
            "{told}"
        );
        drawn["by"] = json!("Dr Example");
        let (status, told) = served.post("/api/trace", &drawn);
        assert_eq!(status, 200, "{told}");
        assert_eq!(served.exam()["record"]["exam"]["status"], "draft");
        assert_eq!(zonecall(&typed).status.code(), Some(0), "a draft takes it");
    });
}
