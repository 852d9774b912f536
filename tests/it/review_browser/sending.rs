//! Export and Send: what goes to other systems, asked for on the page.

use crate::exchange::desk_send::{peer, set_peers};
use crate::exchange::peers::Archive;
use crate::review_browser::shared::{Opened, run};

#[test]
fn the_exam_is_exported_and_sent_by_mouse_and_the_page_says_what_became_of_it() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, folder, .. } = &desk;
        page.click("#send-open").await;
        page.until("document.querySelector('#alarm').textContent.includes('peers.toml')").await;
        let archive = Archive::start(&[]);
        set_peers(folder.path(), &peer("archive", &archive.to()));
        page.click("#export-open").await;
        page.until("document.querySelector('#form[open]')").await;
        page.picture(&std::env::temp_dir().join("zonecall-export-form.png")).await;
        page.find("#f-form").await.select_by_value("csv").await.unwrap();
        page.click("#form button.main").await;
        page.until("document.querySelector('#f-exported')").await;
        assert!(page.text("#form").await.contains("table.csv"));
        page.click("#f-exported").await;
        page.click("#send-open").await;
        page.until("document.querySelector('#form[open] #f-peer')").await;
        page.picture(&std::env::temp_dir().join("zonecall-send-form.png")).await;
        page.find("#f-what").await.select_by_value("stills").await.unwrap();
        page.until("!document.querySelector('#f-identity').checkVisibility()").await;
        page.click("#form button.main").await;
        page.until("document.querySelector('#f-sent')").await;
        let told = page.text("#form").await;
        // One still of this exam names another object in its head than in its data: the archive does not take it.
        assert!(
            told.contains("Not all of it was taken") && told.contains("23 of 24 sent to ARCHIVE"),
            "{told}"
        );
        assert!(told.contains("REFUSED") && told.contains("<b onclick"), "{told}");
        page.picture(&std::env::temp_dir().join("zonecall-sent.png")).await;
        assert!(std::fs::read_dir(archive.folder.path()).unwrap().count() > 20);
    });
}
