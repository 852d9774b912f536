//! Loops at the desk: frame by frame, played, and measured on the frame that is shown; it is named wherever the value goes.

use dicom_core::{DataElement, PrimitiveValue, VR};
use dicom_dictionary_std::tags;
use serde_json::json;

use crate::review_browser::shared::{Opened, entries, exam, loaded, run};
use crate::review_browser::tracing::{edge_px, on_screen, row_on_screen, stated, told, tool};
use crate::support::browser::Page;
use crate::support::program::zonecall;

const FILE: &str = "IM0007.dcm";
const FRAMES: usize = 12;

/// The demo exam with one of its stills made into a loop: the still itself, then frames of one grey each.
fn with_loop() -> tempfile::TempDir {
    let folder = exam();
    let path = folder.path().join("stills").join(FILE);
    let mut file = dicom_object::open_file(&path).unwrap();
    let first = file.element(tags::PIXEL_DATA).unwrap().to_bytes().unwrap().into_owned();
    let mut pixels = first.clone();
    for frame in 2..=FRAMES {
        pixels.extend(std::iter::repeat_n(grey_of(frame), first.len()));
    }
    file.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::from(pixels)));
    file.put(DataElement::new(tags::NUMBER_OF_FRAMES, VR::IS, PrimitiveValue::from(FRAMES.to_string())));
    file.put(DataElement::new(tags::FRAME_TIME, VR::DS, PrimitiveValue::from("40")));
    file.write_to_file(&path).unwrap();
    crate::support::as_paired(folder.path());
    folder
}

/// The demo exam with the same still as a loop that is a video; its stream is none, as nothing looks into it.
fn with_video() -> tempfile::TempDir {
    let folder = exam();
    let path = folder.path().join("stills").join(FILE);
    let mut file = dicom_object::open_file(&path).unwrap();
    let stream = dicom_core::value::PixelFragmentSequence::new(vec![], vec![vec![0xA5; 64]]);
    file.put(DataElement::new(tags::PIXEL_DATA, VR::OB, stream));
    file.put(DataElement::new(tags::NUMBER_OF_FRAMES, VR::IS, PrimitiveValue::from(FRAMES.to_string())));
    file.meta_mut().transfer_syntax = dicom_dictionary_std::uids::MPEG4HP41.to_owned();
    file.write_to_file(&path).unwrap();
    crate::support::as_paired(folder.path());
    folder
}

#[test]
fn a_loop_saved_as_a_video_is_said_not_to_be_shown_with_its_file_and_what_to_do() {
    run(async {
        let desk = Opened::of(with_video(), "Robin", &[]).await;
        let Opened { page, served, .. } = &desk;
        let row = row_on_screen(served);
        page.click(&format!("#stills-in li:nth-child({row}) button")).await;
        page.until("document.querySelector('#bench .glass')?.textContent.includes('saved as a video')").await;
        let told = page.text("#bench .glass").await;
        for part in
            ["MPEG-4, H.264", "watch it on the scanner or in a DICOM viewer", &format!("stills/{FILE}")]
        {
            assert!(told.contains(part), "{part}: {told}");
        }
        assert_eq!(page.run("return document.querySelector('#bench .loop').children.length").await, 0);
        page.run("document.querySelector('#stills').scrollIntoView()").await;
        page.until(&format!("document.querySelector('#stills-in li:nth-child({row}) .unshown')")).await;
    });
}

fn grey_of(frame: usize) -> u8 {
    u8::try_from(frame * 20).unwrap()
}

const IMAGE: &str = "document.querySelector('#bench img[data-from=still]')";

/// The grey in the middle of the picture, once this frame has come.
async fn grey_at(page: &Page, frame: usize) -> u64 {
    page.until(&format!(
        "{IMAGE}?.src.endsWith('&frame={frame}') && {IMAGE}.complete && {IMAGE}.naturalWidth === 320"
    ))
    .await;
    let grey = format!(
        "const canvas = document.createElement('canvas'); canvas.width = 320; canvas.height = 240;
        const pen = canvas.getContext('2d'); pen.drawImage({IMAGE}, 0, 0); return pen.getImageData(3, 3, 1, 1).data[0]"
    );
    page.run(&grey).await.as_u64().unwrap()
}

#[test]
fn a_loop_is_stepped_played_and_measured_on_the_frame_that_is_shown_and_the_record_names_it() {
    run(async {
        let desk = Opened::of(with_loop(), "Robin", &[]).await;
        let Opened { page, served, folder, .. } = &desk;
        page.click(&format!("#stills-in li:nth-child({}) button", row_on_screen(served))).await;
        page.until("document.querySelector('.loop-at')?.textContent === 'frame 1 of 12'").await;
        page.press(".").await;
        assert_eq!(grey_at(page, 2).await, u64::from(grey_of(2)));
        page.press(",,").await;
        page.until("document.querySelector('.loop-at').textContent === 'frame 1 of 12'").await;
        page.press("f").await;
        page.until("/frame ([4-9]|1.) of/.test(document.querySelector('.loop-at').textContent)").await;
        page.press("f").await;
        page.until("document.querySelector('.loop-play').textContent.startsWith('Play')").await;
        let slider = "const one = document.querySelector('.loop input'); one.value = 5; one.dispatchEvent(new Event('input'))";
        page.run(slider).await;
        assert_eq!(grey_at(page, 5).await, u64::from(grey_of(5)));

        page.run("document.querySelector('#bench').focus()").await;
        page.press("t").await;
        page.until("document.activeElement.matches('.trace')").await;
        assert_eq!(page.text(".tracing .place").await, "On frame 5 of the loop");
        let (_, area_mm2) = stated();
        tool(page, "ellipse").await;
        let edge = on_screen(page, &edge_px(area_mm2, 4)).await;
        page.drag(&[edge[0], edge[2]]).await;
        page.drag(&[edge[1]]).await;
        told(page, "mm²").await;
        page.click("#t-write").await;
        page.until("!document.querySelector('.tracing')").await;
        assert_eq!(entries(served)[0]["frame_number"], 5);
        // What was drawn lies over its own frame only.
        let drawn = "document.querySelector('#bench .drawn')";
        page.until(&format!("{drawn} && {drawn}.style.display === ''")).await;
        page.press(".").await;
        grey_at(page, 6).await;
        page.until(&format!("{drawn}.style.display === 'none'")).await;

        let exam = folder.path().to_str().unwrap();
        let record = zonecall(&["export", exam, "--as", "json"]);
        let record: serde_json::Value = serde_json::from_slice(&record.stdout).unwrap();
        assert_eq!(record["entries"][0]["frame_number"], 5);
        zonecall(&["report", exam, "--appendix", "yes"]);
        let report = std::fs::read_to_string(folder.path().join("out/report.html")).unwrap();
        assert!(report.contains("frame 5"), "the report names the frame");
        // A frame that is not there is refused, here and on the command line.
        let (status, refused) = served.post(
            "/api/distance",
            &json!({"still": entries(served)[0]["still"], "ends_px": [[0, 0], [9, 0]], "frame_number": 13}),
        );
        assert!(status == 422 && refused["message"].as_str().unwrap().contains("no frame 13"), "{refused}");
        let args =
            ["trace", exam, "--still", FILE, "--by", "Ada", "--ellipse", "160,120,40,18,0", "--frame", "13"];
        assert_eq!(zonecall(&args).status.code(), Some(2));
    });
}

#[test]
fn a_still_is_added_to_the_report_and_left_out_by_one_key_each_and_a_reload_keeps_it() {
    run(async {
        let desk = Opened::of(with_loop(), "Robin", &[]).await;
        let Opened { page, served, folder, .. } = &desk;
        let shown =
            |served: &crate::support::desk::Served| served.exam()["key_stills"].as_array().unwrap().clone();
        let row = row_on_screen(served);
        let before = shown(served);
        let is_in = before.contains(&json!(row - 1));
        page.click(&format!("#stills-in li:nth-child({row}) button")).await;
        page.until("document.querySelector('.loop-at')").await;
        if is_in {
            page.press("r").await;
            page.until("document.querySelector('#said').textContent.includes('left out of the report')")
                .await;
            assert!(!shown(served).contains(&json!(row - 1)));
        }
        page.press("...").await;
        page.press("r").await;
        page.until("document.querySelector('#said').textContent.includes('is in the report, frame 4')").await;
        assert!(shown(served).contains(&json!(row - 1)));
        assert!(page.text(&format!("#stills-in li:nth-child({row})")).await.contains("in the report"));
        page.0.refresh().await.unwrap();
        loaded(page).await;
        assert!(shown(served).contains(&json!(row - 1)));
        let exam = folder.path().to_str().unwrap();
        zonecall(&["report", exam]);
        let report = std::fs::read_to_string(folder.path().join("out/report.html")).unwrap();
        let (_, key) = report.split_once("Key pictures").unwrap();
        assert!(key.contains("frame 4"), "the frame that was chosen is shown and named");
        // Undone with one key, the choice before it counts again.
        page.run("document.querySelector('#bench').focus()").await;
        page.press("z").await;
        page.until("document.querySelector('#said').textContent.startsWith('Undone')").await;
        assert!(!shown(served).contains(&json!(row - 1)));
    });
}
