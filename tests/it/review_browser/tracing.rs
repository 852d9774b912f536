//! Tracing on the demo's stills, whose areas are known.

use std::f64::consts::{PI, TAU};

use crate::review_browser::shared::{Opened, exam, run};
use crate::support::browser::Page;
use crate::support::desk::Served;
use crate::support::program::demo;

/// Row of `demo-audio/fore-limbs.stills.csv` whose still is traced, counted as the maker of the stills names files.
const FILE: &str = "IM0007.dcm";
/// Columns and rows of the demo's stills; the ellipse lies in their middle, as `tools/demo_stills.rs` draws it.
const SIZE_PX: (f64, f64) = (320.0, 240.0);
/// Width of that ellipse for each unit of its height, as drawn there.
const FLATNESS: f64 = 2.25;
/// Side of a pixel in millimetres, as stated in the stills.
const PIXEL_MM: f64 = 0.125;

/// What the table says of that still: label, and its area in square millimetres.
pub fn stated() -> (String, f64) {
    let row = row_of_the_table();
    (row[1].clone(), row[2].parse::<f64>().unwrap() * 100.0)
}

fn row_of_the_table() -> Vec<String> {
    let table = std::fs::read_to_string(demo("fore-limbs.stills.csv")).unwrap();
    let number: usize = FILE[2..6].parse().unwrap();
    table.lines().nth(number).unwrap().split(',').map(str::to_owned).collect()
}

/// Area in square millimetres of the lesion that was drawn in it.
pub fn stated_lesion() -> f64 {
    row_of_the_table()[3].parse::<f64>().unwrap() * 100.0
}

/// Half axes in pixels of the ellipse that was drawn with this area.
pub fn half_axes_px(area_mm2: f64) -> (f64, f64) {
    let b = (area_mm2 / (PIXEL_MM * PIXEL_MM) / (PI * FLATNESS)).sqrt();
    (b * FLATNESS, b)
}

/// Points along the edge of that ellipse, in pixels of the still.
pub fn edge_px(area_mm2: f64, points: u32) -> Vec<(f64, f64)> {
    let (a, b) = half_axes_px(area_mm2);
    let at = |idx: u32| {
        let (y, x) = (TAU * f64::from(idx) / f64::from(points)).sin_cos();
        (SIZE_PX.0 / 2.0 + a * x, SIZE_PX.1 / 2.0 + b * y)
    };
    (0..points).map(at).collect()
}

/// Where that still stands among the stills of the page, the first one being 1.
pub fn row_on_screen(served: &Served) -> usize {
    let exam = served.exam();
    let frames = exam["record"]["frames"].as_array().unwrap();
    1 + frames.iter().position(|row| row["file"].as_str().unwrap().ends_with(FILE)).unwrap()
}

/// Opens tracing on that still.
pub async fn tracing(page: &Page, served: &Served) {
    page.click(&format!("#stills-in li:nth-child({}) button", row_on_screen(served))).await;
    page.until("document.querySelector('#bench img')?.naturalWidth === 320").await;
    page.press("t").await;
    page.until("document.activeElement.matches('.trace')").await;
    page.run("document.querySelector('.trace').scrollIntoView({ block: 'center' })").await;
}

/// Pixels of the still as pixels of the window; a mouse points at whole ones.
pub async fn on_screen(page: &Page, points_px: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let frame = "const box = document.querySelector('.trace').getBoundingClientRect(); return [box.left, box.top, box.width, box.height]";
    let frame: Vec<f64> = serde_json::from_value(page.run(frame).await).unwrap();
    let place = |(x, y): &(f64, f64)| {
        ((frame[0] + x / SIZE_PX.0 * frame[2]).round(), (frame[1] + y / SIZE_PX.1 * frame[3]).round())
    };
    points_px.iter().map(place).collect()
}

/// The first number that the page tells of what was drawn, once it tells one.
pub async fn told(page: &Page, unit: &str) -> f64 {
    let text = "document.querySelector('.tracing .preview').textContent";
    page.until(&format!("/^[0-9.]+ {unit}/.test({text})")).await;
    let told = page.run(&format!("return parseFloat({text})")).await;
    told.as_f64().unwrap()
}

pub async fn tool(page: &Page, name: &str) {
    page.click(&format!("label:has(#t-{name})")).await;
    page.until(&format!("document.querySelector('#t-{name}').checked")).await;
    page.run("document.querySelector('.trace').scrollIntoView({ block: 'center' })").await;
}

pub fn within_one_percent(found: f64, wanted: f64, what: &str) {
    assert!((found / wanted - 1.0).abs() < 0.01, "{what}: {found} is not {wanted}");
}

/// The same for an ellipse so small that the whole pixels of the window tell: half a pixel at the end of either axis.
pub async fn within_a_pixel(page: &Page, found: f64, wanted: f64, what: &str) {
    let across = page.run("return document.querySelector('.trace').clientWidth").await.as_f64().unwrap();
    let (a, b) = half_axes_px(wanted);
    let shown = across / SIZE_PX.0;
    let most = 0.5 / (a * shown) + 0.5 / (b * shown) + 0.05 / wanted + 0.001;
    assert!(most < 0.02, "the picture is large enough to be traced: {most}");
    assert!((found / wanted - 1.0).abs() < most, "{what}: {found} is not {wanted} within {most}");
}

/// The demo's scanner states 0.125 mm a pixel both ways, so 80 by 40 pixels are 10 by 5 mm: 50 mm2.
#[test]
fn an_area_is_traced_by_keyboard_measured_at_once_and_counts_in_the_record() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
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

/// The true area is the one the still was drawn with, read from the demo's table.
#[test]
fn areas_traced_with_the_mouse_are_within_one_percent_of_what_was_drawn() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        let (label, area_mm2) = stated();
        assert!(label.ends_with('T') && area_mm2 > 0.0, "{label}");
        tracing(page, served).await;
        for point in on_screen(page, &edge_px(area_mm2, 36)).await {
            page.drag(&[point]).await;
        }
        page.until("document.querySelectorAll('.corner').length === 36").await;
        within_one_percent(told(page, "mm²").await, area_mm2, "points");
        tool(page, "freehand").await;
        page.drag(&on_screen(page, &edge_px(area_mm2, 90)).await).await;
        page.until("document.querySelectorAll('.corner').length < 36").await;
        within_one_percent(told(page, "mm²").await, area_mm2, "freehand");
        tool(page, "ellipse").await;
        let edge = on_screen(page, &edge_px(area_mm2, 4)).await;
        page.drag(&[edge[0], edge[2]]).await;
        page.drag(&[edge[1]]).await;
        page.until("document.querySelector('ellipse.edge')").await;
        within_one_percent(told(page, "mm²").await, area_mm2, "ellipse");
        if std::env::var_os("UPDATE_EXPECT").is_some() {
            page.run("document.querySelector('#bench').scrollIntoView()").await;
            page.picture(&demo("tracing.png")).await;
        }
        // One end of the axis is pulled in by half of it: a quarter of the axis and so of the area is gone.
        let (a, _) = half_axes_px(area_mm2);
        let outwards = on_screen(
            page,
            &[(SIZE_PX.0 / 2.0 + a, SIZE_PX.1 / 2.0), (SIZE_PX.0 / 2.0 + a / 2.0, SIZE_PX.1 / 2.0)],
        )
        .await;
        page.drag(&outwards).await;
        page.until(&format!(
            "parseFloat(document.querySelector('.tracing .preview').textContent) < {}",
            area_mm2 * 0.9
        ))
        .await;
        within_one_percent(told(page, "mm²").await, area_mm2 * 0.75, "the axis pulled in by a quarter");
        page.drag(&[outwards[1], outwards[0]]).await;
        page.until(&format!(
            "parseFloat(document.querySelector('.tracing .preview').textContent) > {}",
            area_mm2 * 0.9
        ))
        .await;
        page.click("#t-write").await;
        page.until("!document.querySelector('.tracing')").await;
        let entry = served.exam()["record"]["entries"][0].clone();
        within_one_percent(entry["number"].as_f64().unwrap(), area_mm2, "written");
        assert!(entry["scale_by_hand"].is_null(), "the still states its scale");
        // The limb's table tells it at once.
        page.until("[...document.querySelectorAll('.limb .sizes')].some((one) => one.textContent.includes('traced'))").await;
        // So does the drawing of the legs, with the area to its figure.
        page.until("document.querySelector('#legs-in img')?.naturalWidth > 0").await;
        let (status, drawn) = served.get("/api/leg/0");
        let figure = format!(">{}", entry["number"].as_f64().unwrap().round());
        assert_eq!(status, 200);
        assert!(String::from_utf8(drawn).unwrap().contains(&figure), "{figure}");
        assert_eq!(served.get("/api/leg/99").0, 404);
    });
}

/// The exam, with that still stating no scale.
pub fn without_scale() -> tempfile::TempDir {
    let folder = exam();
    let still = folder.path().join("stills").join(FILE);
    let mut file = dicom_object::open_file(&still).unwrap();
    file.remove_element(dicom_dictionary_std::tags::SEQUENCE_OF_ULTRASOUND_REGIONS);
    file.write_to_file(&still).unwrap();
    crate::support::as_paired(folder.path());
    folder
}

#[test]
fn a_still_without_a_scale_is_measured_on_one_set_by_hand_and_the_record_says_so() {
    run(async {
        let (_, area_mm2) = stated();
        let desk = Opened::of(without_scale(), "Robin", &[]).await;
        let Opened { page, served, folder, .. } = &desk;
        tracing(page, served).await;
        tool(page, "ellipse").await;
        let edge = on_screen(page, &edge_px(area_mm2, 4)).await;
        page.drag(&[edge[0], edge[2]]).await;
        page.drag(&[edge[1]]).await;
        page.until("document.querySelector('.tracing .wrong').textContent.includes('set the scale by hand')")
            .await;
        tool(page, "scale").await;
        // 160 pixels of 0.125 mm are 2 cm.
        page.drag(&on_screen(page, &[(20.0, 40.0), (20.0, 200.0)]).await).await;
        page.find("#t-apart").await.send_keys("2,0").await.unwrap();
        page.click("#t-write").await;
        page.until("document.querySelector('.tracing .preview').textContent.startsWith('The scale of this still is set')").await;
        tool(page, "ellipse").await;
        let edge = on_screen(page, &edge_px(area_mm2, 4)).await;
        page.drag(&[edge[0], edge[2]]).await;
        page.drag(&[edge[1]]).await;
        within_one_percent(told(page, "mm²").await, area_mm2, "on a scale set by hand");
        assert!(page.text(".tracing .preview").await.ends_with("on a scale set by hand"));
        page.click("#t-write").await;
        page.until("!document.querySelector('.tracing')").await;
        assert_eq!(served.exam()["record"]["entries"][0]["scale_by_hand"], true);
        let journal = std::fs::read_to_string(folder.path().join("exam.jsonl")).unwrap();
        assert!(journal.lines().last().unwrap().contains("scale_by_hand_mm"), "the journal says so, too");
    });
}
