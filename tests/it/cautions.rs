//! One text of cautions goes with everything that people read.
use crate::support::sample;
use crate::support::sample::WHOLE;

use ratatui::Terminal;
use ratatui::backend::TestBackend;
use zonecall::knowledge::cautions::CAUTIONS;
use zonecall::report::card::{self, Card};
use zonecall::report::picture::Pictures;
use zonecall::report::{ReportInput, export, measure_table, owner, vet};
use zonecall::session::screen_view::ScreenView;

/// Every caution, so that none is cut off.
const EACH: [&str; 5] = [
    "Not a diagnosis.",
    "licensed vet",
    "Cut-offs are defaults",
    "local rules and licensed practice",
    "Sedation and handling safety",
];

fn dense(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").replace("&#39;", "'")
}

#[test]
fn what_people_read_carries_the_cautions_word_for_word() {
    assert!(EACH.iter().all(|caution| CAUTIONS.contains(caution)));
    let (record, protocols) = (sample::record(), &crate::support::BUILT_IN.1);
    let input = ReportInput {
        record: &record,
        earlier: &[],
        protocols,
        pictures: &Pictures::default(),
        frame: WHOLE,
    };
    let card = Card { title: "What you can say".to_owned(), ..Card::default() };
    for (what, text) in [
        ("vet's report", vet::html(&input)),
        ("owner's report", owner::html(&input)),
        ("phrase card, page", card::html(&card)),
        ("phrase card, text", card::text(&card)),
        ("measures", measure_table::text(&record, protocols)),
        ("captions", export::vtt(&record)),
    ] {
        assert!(dense(&text).contains(CAUTIONS), "{what}: {text}");
    }
}

#[test]
fn the_record_holds_the_cautions_and_an_old_one_without_them_is_read() {
    let exam = crate::support::exam_of(&["left fore two bravo transverse"]);
    let record =
        zonecall::knowledge::assemble::record(&exam, &Default::default(), &crate::support::BUILT_IN.1);
    assert_eq!(record.cautions, CAUTIONS);
    let mut json: serde_json::Value = serde_json::from_str(&export::json(&record)).unwrap();
    json.as_object_mut().unwrap().remove("cautions");
    let old: zonecall::knowledge::record::Record = serde_json::from_value(json).unwrap();
    assert!(old.cautions.is_empty() && !export::json(&old).contains("cautions"));
}

#[test]
fn the_screen_at_the_horse_shows_them_all_or_on_a_small_one_the_first() {
    let shown = |width, height| {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
        let view = ScreenView { level_dbfs: -20.0, ..ScreenView::default() };
        terminal.draw(|frame| view.draw(frame)).unwrap();
        let buffer = terminal.backend().buffer();
        dense(&(0..height).flat_map(|y| (0..width).map(move |x| buffer[(x, y)].symbol())).collect::<String>())
    };
    for (width, height) in [(64, 24), (80, 30), (120, 40), (200, 60)] {
        assert!(EACH.iter().all(|caution| shown(width, height).contains(caution)), "{width} by {height}");
    }
    assert!(shown(40, 12).contains("Not a diagnosis."));
}

/// The desk has no wording of its own: it shows that of the record.
#[test]
fn the_desk_shows_the_cautions_of_the_record() {
    let page = include_str!("../../src/review/page/desk.html");
    let script = include_str!("../../src/review/page/desk.js");
    assert!(
        page.contains("id=\"cautions\"") && script.contains("find(\"cautions\").textContent = exam.cautions")
    );
    assert!(!page.contains("licensed vet"));
}
