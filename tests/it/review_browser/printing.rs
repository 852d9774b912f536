//! The report from the desk, and what becomes of a form when the page is loaded again.

use crate::review_browser::shared::{DOWN, ENTER, Opened, TAB, changes, changes_shown, earlier, exam, run};
use crate::support::browser::Page;

/// The link to a report that took longer than a browser lets a page open a tab by itself.
const LATE: &str = "document.querySelector('#f-made')";

async fn changes_of(page: &Page) -> u64 {
    page.run("return document.querySelectorAll('#changes-in tbody tr').length").await.as_u64().unwrap()
}

/// Goes over to the tab that was opened, once it has loaded.
async fn opened(page: &Page) {
    for _ in 0..900 {
        let windows = page.0.windows().await.unwrap();
        if let [_, second] = windows.as_slice() {
            page.0.switch_to_window(second.clone()).await.unwrap();
            if page.0.current_url().await.unwrap().as_str().contains("/api/report") {
                return;
            }
        }
        tokio::time::sleep(std::time::Duration::from_millis(100)).await;
    }
    panic!("no report was opened");
}

#[test]
fn the_owner_s_report_is_opened_as_a_page_by_keyboard_and_looks_as_it_should() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, .. } = &desk;
        page.press("p").await;
        page.until("document.querySelector('#form[open]')").await;
        page.press(&format!("{DOWN}{TAB}{DOWN}")).await;
        page.until("document.querySelector('#f-reader').value === 'owner' && document.querySelector('#f-form').value === 'html'").await;
        page.until("!document.querySelector('#f-paper').checkVisibility()").await;
        page.press(&format!("{TAB}{ENTER}")).await;
        page.until(&format!("!document.querySelector('#form[open]') || {LATE}")).await;
        // On a slow machine it was made too late to open by itself.
        if page.run(&format!("return Boolean({LATE})")).await == true {
            page.press(ENTER).await;
        }
        opened(page).await;
        page.until("document.querySelector('main')").await;
        assert!(page.text("body").await.contains("What was seen"));
        // The style inside the page is let through, or the head would stand in the browser's own type.
        assert_eq!(
            page.run("return [...document.styleSheets].some((one) => one.cssRules.length > 10)").await,
            true
        );
        assert_eq!(page.run("return [...document.images].every((one) => one.naturalWidth > 0) && document.images.length > 0").await, true);
    });
}

#[test]
fn the_vet_s_report_is_opened_as_a_pdf_by_mouse_and_says_what_was_just_put_right() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        page.press("a").await;
        page.until("document.querySelector('#changes-in tbody tr')").await;
        page.click("#print-open").await;
        page.until("document.querySelector('#form[open]')").await;
        page.find("#f-paper").await.select_by_value("letter").await.unwrap();
        page.find("#f-appendix").await.select_by_value("true").await.unwrap();
        // The address is caught before the browser's own viewer takes the file.
        page.run("window.open = (address, target, how) => { window.asked = [address, target, how]; }").await;
        page.click("#form button.main").await;
        page.until(&format!("window.asked || {LATE}")).await;
        let asked = format!(
            "const link = {LATE}; return link ? [link.getAttribute('href'), link.target, link.rel] : window.asked"
        );
        let asked = page.run(&asked).await;
        assert_eq!((&asked[1], &asked[2]), (&"_blank".into(), &"noopener".into()));
        let address = asked[0].as_str().unwrap();
        assert!(
            address.contains("reader=vet")
                && address.contains("form=pdf")
                && address.contains("paper=letter"),
            "{address}"
        );
        let (status, pdf) = served.get(&format!("/{address}"));
        assert!(status == 200 && pdf.starts_with(b"%PDF-"));
        let read = crate::support::pdf::Pdf::new(&pdf);
        assert!(read.property("Page size").contains("letter"));
        assert!(read.dense().contains("accepted:"), "the change is in it");
    });
}

#[test]
fn the_course_over_all_exams_is_made_from_the_same_form_and_without_an_earlier_one_the_page_says_why_not() {
    run(async {
        let before = earlier().to_string_lossy().into_owned();
        let desk = Opened::of(exam(), "Robin", &["--earlier", &before]).await;
        let Opened { page, served, .. } = &desk;
        let wanted = async |page: &Page| {
            page.press("p").await;
            page.until("document.querySelector('#form[open]')").await;
            page.find("#f-reader").await.select_by_value("course").await.unwrap();
            page.until("!document.querySelector('#f-appendix').checkVisibility()").await;
            page.run("window.open = (address) => { window.asked = address; }").await;
            page.click("#form button.main").await;
        };
        wanted(page).await;
        page.until(&format!("window.asked || {LATE}")).await;
        let address = page.run(&format!("return window.asked ?? {LATE}.getAttribute('href')")).await;
        let (status, pdf) = served.get(&format!("/{}", address.as_str().unwrap()));
        assert_eq!(status, 200, "{address}");
        let read = crate::support::pdf::Pdf::new(&pdf).dense();
        assert!(read.contains("Courseover2exams") && read.contains("needs3exams"), "{read}");
        let alone = Opened::by("Robin").await;
        wanted(&alone.page).await;
        let told =
            "document.querySelector('#form .wrong')?.textContent.includes('no earlier exam of this horse')";
        alone.page.until(told).await;
    });
}

/// The server is held still for a while: so long the page says what it waits for, and then that it is done.
#[test]
fn what_takes_long_is_told_in_a_calm_line_and_a_late_report_waits_to_be_opened() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        page.until("document.querySelector('#running-tasks').textContent === ''").await;
        let region = page.run("const one = document.querySelector('#running-tasks'); return [one.getAttribute('role'), one.textContent]").await;
        assert_eq!(region, serde_json::json!(["status", ""]), "a live region, and nothing to say");
        served.hold();
        page.press("a").await;
        page.until("document.querySelector('#running-tasks').textContent.includes('Writing the change')")
            .await;
        assert!(changes_of(page).await == 0, "not written yet");
        served.go_on();
        changes_shown(page, 1).await;
        page.until("document.querySelector('#running-tasks').textContent === ''").await;
        // As after a long wait: the browser opens no tab by itself any more.
        page.run("Object.defineProperty(navigator, 'userActivation', { value: { isActive: false } })").await;
        page.press("p").await;
        page.until("document.querySelector('#form[open]')").await;
        served.hold();
        page.click("#form button.main").await;
        page.until("document.querySelector('#form .under-way')?.textContent.includes('Making the report')")
            .await;
        served.go_on();
        page.until("document.activeElement.id === 'f-made'").await;
        page.press(ENTER).await;
        opened(page).await;
    });
}

/// Half of something is entered, the page is loaded again.
#[test]
fn a_form_that_was_open_when_the_page_was_loaded_again_is_told_to_be_gone_and_nothing_is_written() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, folder, .. } = &desk;
        let journal = std::fs::read(folder.path().join("exam.jsonl")).unwrap();
        let value = served.exam()["record"]["calls"]
            .as_array()
            .unwrap()
            .iter()
            .position(|call| call["kind"] == "value")
            .unwrap();
        let call = format!("#calls-in tbody tr:nth-child({}) button", value + 1);
        for (click, key, field, title) in [
            (call.as_str(), "c", "#f-number", "Correct call"),
            (&call, "m", "#f-time", "Move call"),
            ("#stills-in li:nth-child(2) button", "l", "#f-why", "Label still 2 by hand"),
            ("#stills-in li:nth-child(2) button", "n", "#f-time", "Add a call"),
            ("#stills-in li:nth-child(2) button", "p", "", "Report of the exam"),
        ] {
            page.go(click, key, "#form[open]").await;
            if !field.is_empty() {
                page.find(field).await.send_keys("7").await.unwrap();
            }
            page.0.refresh().await.unwrap();
            let said = "document.querySelector('#said')?.textContent";
            page.until(&format!("{said}?.includes({title:?}) && {said}.includes('none of it was saved')"))
                .await;
            assert!(
                !page.run("return Boolean(document.querySelector('#form[open]'))").await.as_bool().unwrap()
            );
        }
        // A form that was closed is not spoken of.
        page.go(&call, "c", "#form[open]").await;
        page.click("#form button[type=button]").await;
        page.0.refresh().await.unwrap();
        page.until("document.querySelector('#bench h2')?.textContent.startsWith('Call ')").await;
        assert_eq!(page.run("return sessionStorage.getItem('form')").await, serde_json::Value::Null);
        assert!(changes(served).is_empty());
        assert_eq!(std::fs::read(folder.path().join("exam.jsonl")).unwrap(), journal, "nothing was written");
    });
}
