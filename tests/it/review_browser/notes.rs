//! Free notes at the desk: a draft says so until somebody has listened, and a dictated conclusion is offered, not taken.

use serde_json::Value;

use crate::notes::after;
use crate::review_browser::looks::no_faults;
use crate::review_browser::shared::{Opened, form_closed, form_open, run, write};

#[test]
fn a_draft_is_corrected_at_the_desk_and_a_conclusion_is_put_into_the_report_by_hand_only() {
    run(async {
        let folder = tempfile::tempdir().unwrap();
        after(folder.path(), &[]);
        let desk = Opened::of(folder, "Robin", &[]).await;
        let Opened { page, served, .. } = &desk;
        page.run(
            "[...document.querySelectorAll('#informing button')]
                .find((one) => one.textContent.includes('draft that nobody has read')).click()",
        )
        .await;
        page.until("document.querySelector('#note-text')?.value === 'odd words'").await;
        let standing = page.text("#note-standing").await;
        assert!(standing.starts_with("Draft, not yet read by anyone"), "{standing}");
        assert!(standing.ends_with("Not sure of “odd”. Its end is missing."), "{standing}");
        no_faults(page, "a draft").await;
        page.picture(&std::env::temp_dir().join("zonecall-note.png")).await;
        write(page, "#note-text", "sound words").await;
        page.click("#words-open").await;
        form_open(page, "Impression").await;
        let dictated = page.text("#form .note p").await;
        assert_eq!(dictated, "Dictated, a draft that nobody has read yet: odd words");
        let impression = "return document.querySelector('#f-impression').value";
        assert_eq!(page.run(impression).await, "", "nothing is taken by itself");
        page.click("#form .note button").await;
        assert_eq!(page.run(impression).await, "odd words");
        no_faults(page, "a dictated conclusion").await;
        page.picture(&std::env::temp_dir().join("zonecall-conclusion.png")).await;
        let exam = || served.exam()["record"].clone();
        assert_eq!(exam()["words"], Value::Null, "nothing is written before it is saved");
        page.click("#form button.main").await;
        form_closed(page).await;
        assert_eq!(exam()["words"][0]["text"], "odd words");
        page.until("document.querySelector('#note-text')?.value === 'sound words'").await;
        page.click("#note-confirm").await;
        page.until("document.querySelector('#said').textContent.includes('are confirmed')").await;
        let words = exam()["notes"][0]["words"].clone();
        assert_eq!(
            (&words["status"], &words["text"], &words["by"]),
            (&"read".into(), &"sound words".into(), &"Robin".into())
        );
        let (status, _) =
            served.change("Robin", 1, &serde_json::json!({"change": "note_text", "seq": 1, "text": "x"}));
        assert!((400..500).contains(&status), "line 1 begins no note: {status}");
    });
}
