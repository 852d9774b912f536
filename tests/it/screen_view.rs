//! The picture at the horse, drawn into terminals that exist only here.
use crate::support;

use ratatui::Terminal;
use ratatui::backend::TestBackend;
use support::{BUILT_IN, exam_of};
use zonecall::knowledge::progress::Progress;
use zonecall::session::screen_view::{ScreenView, Switched, ViewState};

fn view(said: &[&str]) -> ScreenView {
    let mut view = ScreenView {
        title: "zonecall  exams/juniper".to_owned(),
        level_dbfs: -20.0,
        ..ScreenView::default()
    };
    let exam = exam_of(said);
    view.take(&exam, &Progress::of(&exam), &BUILT_IN.1);
    view
}

/// The picture as lines of text.
fn drawn(view: &ScreenView, width: u16, height: u16) -> Vec<String> {
    let mut terminal = Terminal::new(TestBackend::new(width, height)).unwrap();
    terminal.draw(|frame| view.draw(frame)).unwrap();
    let buffer = terminal.backend().buffer();
    let row = |y| (0..width).map(|x| buffer[(x, y)].symbol()).collect::<String>().trim_end().to_owned();
    (0..height).map(row).collect()
}

const SAID: &[&str] = &[
    "left fore zone one alpha transverse",
    "save",
    "longitudinal",
    "not scanned",
    "one bravo transverse",
    "s d f t",
];

/// "Leg lifted" changes what every number after it is worth.
#[test]
fn what_was_set_and_goes_on_is_shown_beside_the_place() {
    let said = ["left fore two bravo transverse", "leg lifted", "standoff on"];
    let lines = drawn(&view(&said), 80, 30).join("\n");
    assert!(lines.contains("stance leg lifted") && lines.contains("standoff on"), "{lines}");
    let lines = drawn(&view(&[&said[..], &["right fore"]].concat()), 80, 30).join("\n");
    assert!(!lines.contains("stance") && lines.contains("standoff on"), "{lines}");
}

#[test]
fn the_views_of_the_limb_stand_in_a_grid_with_a_sign_for_each_state() {
    let view = view(SAID);
    let lines = drawn(&view, 80, 30);
    let head =
        lines.iter().position(|line| line.trim_start().starts_with("1A")).expect("the zones stand in a row");
    assert_eq!(
        lines[head].split_whitespace().collect::<Vec<_>>(),
        ["1A", "1B", "2A", "2B", "3A", "3B", "3C"]
    );
    assert_eq!(
        lines[head + 1].split_whitespace().collect::<Vec<_>>(),
        ["T", "●", "◐", "○", "○", "○", "○", "○"]
    );
    assert_eq!(
        lines[head + 2].split_whitespace().collect::<Vec<_>>(),
        ["L", "–", "○", "○", "○", "○", "○", "○"]
    );
    assert_eq!(view.views.iter().filter(|seen| seen.state == ViewState::Open).count(), 11);
    let mut with_still = view.clone();
    with_still.still_of(&exam_of(SAID).context.place);
    let exam = exam_of(SAID);
    with_still.take(&exam, &Progress::of(&exam), &BUILT_IN.1);
    let lines = drawn(&with_still, 80, 30);
    assert_eq!(lines[head + 1].split_whitespace().nth(2), Some("●"), "a still from the scanner counts, too");
    assert!(
        lines.iter().any(|line| line.contains("left fore, zone 1B, transverse, superficial")),
        "{lines:#?}"
    );
    assert!(lines.iter().any(|line| line.contains("1 save called") && !line.contains("seen")));
}

#[test]
fn the_place_is_large_where_there_is_room_and_small_where_there_is_none() {
    let view = view(SAID);
    let large = drawn(&view, 80, 30);
    assert!(
        large[1..5].iter().all(|line| line.chars().any(|sign| ('▀'..='▟').contains(&sign))),
        "{large:#?}"
    );
    let small = drawn(&view, 40, 16);
    assert_eq!(small[1], "LF 1B T", "what is typed on the scanner");
    for (width, height) in [(1, 1), (20, 5), (200, 60)] {
        drawn(&view, width, height);
    }
}

#[test]
fn saved_a_question_and_an_alarm_are_as_large_as_the_label() {
    let is_drawn = |view: &ScreenView| {
        let lines = drawn(view, 80, 34);
        lines[6..10].iter().all(|line| line.chars().any(|sign| ('▀'..='▟').contains(&sign)))
    };
    let saved = view(&["left fore zone one alpha transverse", "save"]);
    assert!(saved.saved && is_drawn(&saved), "{:#?}", drawn(&saved, 80, 34));
    let mut nothing = view(SAID);
    nothing.saved = false;
    assert!(!is_drawn(&nothing));
    assert!(is_drawn(&ScreenView { question: Some("two bravo?".to_owned()), ..nothing.clone() }));
    assert!(is_drawn(&ScreenView { alarm: Some("no still".to_owned()), ..nothing }));
}

#[test]
fn a_question_comes_before_an_alarm_and_both_have_a_sign() {
    let mut view = view(SAID);
    view.alarm = Some("left fore, zone 1A, transverse has no still".to_owned());
    let has = |view: &ScreenView, text: &str| drawn(view, 80, 30).iter().any(|line| line.contains(text));
    assert!(has(&view, "! left fore, zone 1A, transverse has no still"));
    view.question = Some("zone three bravo? (yes, no, or say it again)".to_owned());
    assert!(has(&view, "? zone three bravo?") && !has(&view, "has no still"));
}

#[test]
fn the_meter_shows_level_and_clipping_in_words() {
    let mut view = view(&[]);
    view.stills = Some(3);
    view.level_dbfs = 0.0;
    view.is_clipped = true;
    let line =
        |view: &ScreenView| drawn(view, 80, 30).into_iter().find(|line| line.starts_with("level")).unwrap();
    let loud = line(&view);
    assert!(loud.contains("CLIPPED") && loud.contains("3 stills seen") && !loud.contains('░'), "{loud}");
    (view.level_dbfs, view.is_clipped) = (-90.0, false);
    let quiet = line(&view);
    assert!(!quiet.contains("CLIPPED") && !quiet.contains('█'), "{quiet}");
    assert!(drawn(&view, 80, 30).iter().any(|line| line == "no limb has been called yet"));
}

#[test]
fn what_is_being_said_stands_in_place_of_the_last_call_until_it_is_over() {
    let mut view = view(SAID);
    view.last = "s d f t".to_owned();
    view.growing = Some("area one point".to_owned());
    let lines = drawn(&view, 80, 30).join("\n");
    assert!(lines.contains("… area one point …") && !lines.contains("s d f t"), "{lines}");
    view.growing = None;
    assert!(drawn(&view, 80, 30).contains(&"s d f t".to_owned()));
}

#[test]
fn a_switch_that_is_off_is_told_and_gives_way_to_what_is_loud() {
    let mut view = view(SAID);
    let shows = |view: &ScreenView, text: &str| drawn(view, 80, 30).iter().any(|line| line.contains(text));
    assert!(!shows(&view, "switch"));
    view.switch = Some(Switched { is_on: false, key: Some("KEY_SPACE".to_owned()) });
    assert!(shows(&view, "the switch is off") && shows(&view, "KEY_SPACE switch"));
    view.alarm = Some("no still".to_owned());
    assert!(shows(&view, "! no still") && !shows(&view, "the switch is off"));
    view.alarm = None;
    view.switch = Some(Switched { is_on: true, key: None });
    assert!(!shows(&view, "switch"));
}
