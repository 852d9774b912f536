//! A day's exams without a terminal: from the inbox into an exam, and on to the next by one key.

use crate::review_browser::shared::{ENTER, exam, loaded, run, sign_as_first_vet};
use crate::support::browser::Driver;
use crate::support::desk::Served;

#[test]
fn the_next_exam_that_waits_is_opened_by_one_key_and_a_signed_one_is_passed_by() {
    run(async {
        let folder = tempfile::tempdir().unwrap();
        for name in ["bramble", "juniper", "nettle"] {
            std::fs::rename(exam().keep(), folder.path().join(name)).unwrap();
        }
        let served = Served::start(folder.path(), 0);
        let driver = Driver::start();
        let page = driver.browser().await;
        page.open(&served.address).await;
        page.until("document.querySelectorAll('a.exam').length === 3").await;
        assert!(page.text("#count").await.starts_with("3 exams, 3 waiting"));
        page.press("e").await;
        page.until("location.pathname === '/e/bramble/'").await;
        loaded(&page).await;
        page.find("#by").await.send_keys("Robin").await.unwrap();
        page.run("document.querySelector('#bench').focus()").await;
        sign_as_first_vet(&page).await;
        page.run("document.querySelector('#bench').focus()").await;
        page.press("e").await;
        page.until("location.pathname === '/e/juniper/'").await;
        loaded(&page).await;
        page.run("document.querySelector('#bench').focus()").await;
        page.press("e").await;
        page.until("location.pathname === '/e/nettle/'").await;
        loaded(&page).await;
        page.press("e").await;
        page.until("location.pathname === '/e/juniper/'").await;
        loaded(&page).await;
        page.click("#to-inbox").await;
        page.until("document.querySelectorAll('a.exam').length === 3").await;
        assert!(page.text("#count").await.starts_with("3 exams, 2 waiting"));
        assert!(page.text("a[href='e/bramble/']").await.contains("signed by Dr Example"));
        page.find("#search").await.send_keys("nett").await.unwrap();
        page.until("document.querySelectorAll('a.exam').length === 1").await;
        page.press("\u{e015}").await;
        page.until("document.activeElement.matches('a.exam')").await;
        page.press(ENTER).await;
        page.until("location.pathname === '/e/nettle/'").await;
    });
}
