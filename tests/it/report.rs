//! What people and other programs get, read back by strict readers of our own and of others.
use crate::support::sample;
use crate::support::sample::WHOLE;

use std::collections::{BTreeMap, BTreeSet};

use zonecall::exam::seq::Seq;
use zonecall::knowledge::record::Record;
use zonecall::protocol::Protocols;
use zonecall::report::card::{self, Card, CardRow, Section};
use zonecall::report::export;
use zonecall::report::picture::{Picture, Pictures};
use zonecall::report::{ReportInput, vet};

const HOSTILE: &str = "</td><script>alert(1)</script><img src=x onerror=alert(1)>\"'&--> =1+1";

fn page(record: &Record) -> String {
    page_with(record, &Pictures::new())
}

fn page_with(record: &Record, pictures: &Pictures) -> String {
    vet::html(&ReportInput {
        record,
        earlier: &[],
        protocols: &Protocols::built_in().unwrap(),
        pictures,
        frame: WHOLE,
    })
}

/// The sample with hostile text wherever text comes from a person, a file or an engine.
fn hostile_record() -> Record {
    let mut record = sample::record();
    let bad = || HOSTILE.to_owned();
    record.exam.horse.name = Some(bad());
    record.exam.horse.id = Some(bad());
    record.exam.person = Some(bad());
    record.exam.id = bad();
    record.exam.engine = bad();
    record.exam.schemes.insert(bad(), bad());
    for call in &mut record.calls {
        call.words = bad();
        call.place.structure = Some(HOSTILE.into());
        call.term = Some(bad());
    }
    for frame in &mut record.frames {
        frame.id.push_str(HOSTILE);
        frame.file = bad();
        frame.place.zone = Some(HOSTILE.into());
    }
    record.frames[3].rivals[0].reason = bad();
    for finding in &mut record.findings {
        finding.message = bad();
        finding.frame = Some(bad());
    }
    record.notes[0].about = bad();
    record.coverage[0].zone = HOSTILE.into();
    if let Some(clock) = &mut record.clock {
        clock.method = bad();
    }
    record
}

// ---- JSON

#[test]
fn json_reads_back_as_the_same_record_and_equal_input_gives_equal_bytes() {
    let record = sample::record();
    let text = export::json(&record);
    assert_eq!(serde_json::from_str::<Record>(&text).unwrap(), record);
    assert_eq!(text, export::json(&record.clone()));
    assert!(text.ends_with("}\n"));
}

// ---- CSV

fn rows(text: &str) -> Vec<BTreeMap<String, String>> {
    csv::Reader::from_reader(text.as_bytes()).deserialize().map(Result::unwrap).collect()
}

#[test]
fn the_table_holds_every_still_and_every_call_once() {
    let record = sample::record();
    let rows = rows(&export::csv(&record));
    let of = |kind: &str| rows.iter().filter(|row| row["row"] == kind).count();
    let (calls, entries) = (record.calls.len(), record.entries.len());
    assert!(entries > 0, "the sample has none to show");
    assert_eq!((of("still"), of("call"), of("entered")), (6, calls, entries));
    assert_eq!(rows.len(), 6 + calls + entries);
    assert!(export::csv(&record).starts_with("row,limb,zone,plane,structure,"));
}

#[test]
fn a_still_in_the_table_carries_its_save_call_and_what_stands_in_its_view() {
    let rows = rows(&export::csv(&sample::record()));
    let still = rows.iter().find(|row| row["still_id"] == "2.25.90002").unwrap();
    assert_eq!((still["limb"].as_str(), still["zone"].as_str(), still["plane"].as_str()), ("LF", "2A", "T"));
    assert_eq!((still["call_seq"].as_str(), still["words"].as_str()), ("12", "save"));
    assert_eq!(
        still["said_in_view"],
        "SDFT: mild core lesion, lateral; SDFT: area 1.07 cm2 (unit assumed); SDFT: echo score 2 on the scale 0 to 4",
        "without the moderate lesion, which was taken back"
    );
    let other = rows.iter().find(|row| row["still_id"] == "2.25.90006").unwrap();
    assert_eq!(other["said_in_view"], "SDFT: area 0.91 cm2", "a value that was put right is there once");
    let open = rows.iter().find(|row| row["still_id"] == "2.25.90004").unwrap();
    assert!(open["other_readings"].starts_with("LF 2A T SDFT (0.48, 0.4 s"), "{}", open["other_readings"]);
    assert_eq!((open["limb"].as_str(), open["said_in_view"].as_str()), ("", ""));
}

#[test]
fn what_speaks_against_a_label_stands_beside_it_in_table_and_report() {
    let record = sample::record();
    let rows = rows(&export::csv(&record));
    let doubted: Vec<&str> =
        rows.iter().filter(|row| !row["doubt"].is_empty()).map(|row| row["status"].as_str()).collect();
    assert_eq!(doubted, ["context"], "the sample has one");
    let page = page(&record);
    let state = "no save call, 91 % sure; IN DOUBT: a part of it is missing";
    assert!(page.contains(state) && page.matches("IN DOUBT").count() == 1);
}

// How spreadsheets are misled: the OWASP page on CSV injection.
#[test]
fn no_cell_of_the_table_begins_a_formula() {
    for evil in ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "＝1", "a,\"b\"\n=1"] {
        let mut record = sample::record();
        record.calls[0].words = evil.to_owned();
        record.frames[0].file = evil.to_owned();
        record.frames[0].id = evil.to_owned();
        record.frames[0].place.zone = Some(evil.into());
        let text = export::csv(&record);
        for (column, cell) in rows(&text).iter().flatten() {
            let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '＝']);
            assert!(!formula, "{column} holds {cell:?}");
        }
        assert!(rows(&text).iter().any(|row| row["words"].replace('\'', "") == evil), "nothing is lost");
    }
}

/// Many spreadsheets are set to part cells by semicolons, and split a file at them whatever it says: quotes inside a line
/// do not keep them from it.
#[test]
fn no_part_of_a_cell_begins_a_formula_where_cells_are_parted_by_other_signs() {
    for evil in ["a; =1+1", "a;=1", "a;\t=1", "a|+1", "a; \"=1", " =1", "\u{feff}=1", "\u{a0}@x", "a\n-1"] {
        let mut record = sample::record();
        record.calls[0].words = evil.to_owned();
        record.exam.horse.name = Some(evil.to_owned());
        record.exam.id = evil.to_owned();
        for line in export::csv(&record).lines() {
            for cell in line.split([';', '|', '\t']) {
                let seen =
                    cell.trim_matches(|sign: char| sign.is_whitespace() || "\"\u{feff}".contains(sign));
                assert!(!seen.starts_with(['=', '+', '-', '@']), "{evil:?}: {cell:?}");
            }
        }
    }
}

#[test]
fn each_row_of_the_table_says_which_exam_it_is_of_and_carries_the_cautions() {
    let record = sample::record();
    let rows = rows(&export::csv(&record));
    assert!(rows.len() > 10);
    for row in rows {
        let about = ["exam_id", "horse", "exam_day", "exam_status"].map(|column| row[column].as_str());
        assert_eq!(about, [record.exam.id.as_str(), "Juniper", "2026-05-04", "draft"]);
        assert_eq!(row["cautions"], zonecall::knowledge::cautions::CAUTIONS);
    }
}

// ---- WebVTT

/// One cue as a strict reader sees it.
#[derive(Debug)]
struct Cue {
    id: String,
    from_ms: u64,
    to_ms: u64,
    text: String,
}

/// A time of WebVTT section 4.1: two or more digits of hours, then minutes, seconds and three digits.
fn time(text: &str) -> u64 {
    let (clock, ms) = text.split_once('.').unwrap();
    let parts: Vec<&str> = clock.split(':').collect();
    let [hours, minutes, seconds] = parts.as_slice() else { panic!("`{text}` is no time") };
    assert!(hours.len() >= 2 && minutes.len() == 2 && seconds.len() == 2 && ms.len() == 3, "`{text}`");
    let number = |digits: &str| digits.parse::<u64>().unwrap();
    assert!(number(minutes) < 60 && number(seconds) < 60, "`{text}`");
    ((number(hours) * 60 + number(minutes)) * 60 + number(seconds)) * 1000 + number(ms)
}

/// A strict reading of WebVTT (W3C Candidate Recommendation, section 4.1): header, notes, cues; panics on anything else.
fn read_vtt(text: &str) -> Vec<Cue> {
    assert!(!text.contains('\0') && !text.contains('\r'));
    let mut blocks = text.trim_end_matches('\n').split("\n\n");
    assert_eq!(blocks.next(), Some("WEBVTT"));
    let mut cues: Vec<Cue> = Vec::new();
    for block in blocks {
        let lines: Vec<&str> = block.split('\n').collect();
        if lines[0] == "NOTE" {
            assert!(!block.contains("-->"), "a note holds no arrow");
            continue;
        }
        let [id, times, text @ ..] = lines.as_slice() else { panic!("no cue: {block}") };
        let (from, to) = times.split_once(" --> ").unwrap();
        let (from_ms, to_ms) = (time(from), time(to));
        assert!(!text.is_empty() && text.iter().all(|line| !line.is_empty()));
        assert!(!id.contains("-->") && from_ms < to_ms, "{block}");
        assert!(cues.last().is_none_or(|last| last.from_ms <= from_ms), "cues come by start time");
        assert!(cues.iter().all(|cue| cue.id != *id), "the name `{id}` is used twice");
        for line in text {
            assert!(!line.contains("-->") && !line.contains('<') && !line.contains('>'), "{line}");
            for entity in line.split('&').skip(1) {
                assert!(["amp;", "lt;", "gt;"].iter().any(|name| entity.starts_with(name)), "{line}");
            }
        }
        cues.push(Cue { id: (*id).to_owned(), from_ms, to_ms, text: text.join("\n") });
    }
    cues
}

#[test]
fn captions_have_a_cue_for_each_call_named_by_its_number() {
    let record = sample::record();
    let cues = read_vtt(&export::vtt(&record));
    let ids: BTreeSet<&str> = cues.iter().map(|cue| cue.id.as_str()).collect();
    for call in &record.calls {
        assert!(ids.contains(call.seq.to_string().as_str()), "call {} has no cue", call.seq);
    }
    assert_eq!(cues.len(), record.calls.len() + 1, "and one for the free note");
    let cue = cues.iter().find(|cue| cue.id == "9").unwrap();
    assert_eq!((cue.from_ms, cue.to_ms), (54_000, 55_800));
    assert_eq!(cue.text, "mild core lesion lateral\nLF 2A T SDFT: mild core lesion, lateral");
}

#[test]
fn captions_mark_what_was_not_understood_and_what_was_taken_back() {
    let cues = read_vtt(&export::vtt(&sample::record()));
    let text = |id: &str| cues.iter().find(|cue| cue.id == id).unwrap().text.clone();
    assert_eq!(text("16"), "[not understood] stand will you");
    assert!(text("14").starts_with("[taken back] moderate core lesion"));
    assert!(text("24").starts_with("[corrected later] "));
}

#[test]
fn captions_state_the_instant_they_count_from() {
    let text = export::vtt(&sample::record());
    assert!(text.starts_with("WEBVTT\n\nNOTE\nexam 20260504T080000Z-k3f9\n"), "{text}");
    assert!(
        text.contains(
            "00:00:00.000 is 2026-05-04T08:00:00.000Z, at the place 4 May 2026, 10:00:00 (UTC+02:00)"
        )
    );
}

#[test]
fn captions_hold_against_hostile_words_and_impossible_times() {
    let mut record = hostile_record();
    record.calls[0].words = "two\n\nlines --> 00:00:01.000".to_owned();
    record.calls[1].words = " \n ".to_owned();
    record.calls[1].span_s = (5.0, 5.0);
    record.calls[2].span_s = (f64::NAN, -3.0);
    record.calls[3].span_s = (f64::INFINITY, 1e300);
    record.calls[4].span_s = (400_000.25, 400_001.0);
    let cues = read_vtt(&export::vtt(&record));
    assert_eq!(cues.len(), record.calls.len() + 1);
    assert!(cues.iter().any(|cue| cue.from_ms == 400_000_250), "more than 99 hours are written in full");
}

// ---- report

/// Every tag opened is closed in order, `id`s are unique, links lead somewhere, nothing is loaded. Returns the visible text.
fn read_html(page: &str) -> String {
    const VOID: [&str; 3] = ["meta", "img", "br"];
    let (mut open, mut ids, mut links, mut text) = (Vec::new(), BTreeSet::new(), Vec::new(), String::new());
    let mut rest = page.strip_prefix("<!DOCTYPE html>").unwrap();
    while let Some((before, after)) = rest.split_once('<') {
        text.push_str(before);
        let (tag, after) = after.split_once('>').unwrap();
        rest = after;
        if let Some(name) = tag.strip_prefix('/') {
            assert_eq!(open.pop().as_deref(), Some(name), "closed out of order");
            continue;
        }
        let name = tag.split([' ', '\n']).next().unwrap();
        assert!(name.chars().all(|sign| sign.is_ascii_alphanumeric()), "`{name}` is no tag");
        for (attribute, value) in attributes(tag) {
            assert!(!attribute.starts_with("on"), "{attribute} runs a script");
            match attribute {
                "id" => assert!(ids.insert(value.to_owned()), "id {value} is used twice"),
                "href" => links.push(value.strip_prefix('#').expect("a link inside the page").to_owned()),
                "src" => assert!(value.starts_with("data:image/jpeg;base64,"), "{value}"),
                _ => {}
            }
        }
        if name == "style" {
            rest = rest.split_once("</style>").unwrap().1;
        } else if !VOID.contains(&name) {
            open.push(name.to_owned());
        }
    }
    assert!(open.is_empty(), "never closed: {open:?}");
    for link in links {
        assert!(ids.contains(&link), "#{link} leads nowhere");
    }
    text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&")
}

fn attributes(tag: &str) -> Vec<(&str, &str)> {
    let mut found = Vec::new();
    let mut rest = tag;
    while let Some((before, after)) = rest.split_once("=\"") {
        let (value, after) = after.split_once('"').unwrap();
        found.push((before.rsplit(' ').next().unwrap(), value));
        rest = after;
    }
    found
}

#[test]
fn the_report_is_whole_its_links_lead_somewhere_and_it_loads_nothing() {
    let page = page(&sample::record());
    read_html(&page);
    for word in ["://", "url(", "@import", "<script", "<link", "<iframe"] {
        assert!(!page.contains(word), "the page holds {word}");
    }
    assert!(page.contains("default-src 'none'"));
}

#[test]
fn hostile_text_is_shown_as_text() {
    let page = page(&hostile_record());
    let text = read_html(&page);
    assert!(!page.contains("<script") && !page.contains("<img"));
    assert!(text.matches(HOSTILE).count() > 20, "it is shown, not dropped");
    let card = Card {
        title: HOSTILE.to_owned(),
        note: HOSTILE.to_owned(),
        sections: vec![Section {
            heading: HOSTILE.to_owned(),
            note: HOSTILE.to_owned(),
            rows: vec![CardRow { say: HOSTILE.to_owned(), does: HOSTILE.to_owned() }],
        }],
    };
    let text = read_html(&card::html(&card));
    assert_eq!(text.matches(HOSTILE).count(), 7, "title twice, and each other text once, say and do");
}

#[test]
fn the_report_says_first_what_is_covered_and_what_is_missing() {
    let text = read_html(&page(&sample::record()));
    assert!(text.contains("4 of 28 expected views have a still. 1 view left out on purpose."), "{text}");
    assert!(
        text.contains("Without a still: left fore 1A L, 1B T, 1B L, 2A L, 2B L, 3A T and 4 more; right fore")
    );
    assert!(
        text.contains(
            "6 stills found, 1 with two possible labels and 1 without a label; 1 label is in doubt."
        )
    );
}

#[test]
fn draft_and_cautions_stand_at_the_top_and_at_the_bottom() {
    let text = read_html(&page(&sample::record()));
    let places: Vec<usize> = text.match_indices("Not a diagnosis.").map(|(at, _)| at).collect();
    let [top, bottom] = places.as_slice() else { panic!("not twice: {places:?}") };
    assert!(*top < text.find("To check").unwrap());
    assert!(text.find("The scanner's clock was 197.3 s behind").unwrap() < *bottom);
    assert_eq!(text.matches("DRAFT").count(), 2);
}

#[test]
fn findings_come_worst_first_and_link_to_their_call_or_still() {
    let mut record = sample::record();
    record.findings.reverse();
    let html = page(&record);
    let text = read_html(&html);
    assert!(text.find("audio were lost") < text.find("fits two labels; listen"));
    assert!(text.find("fits two labels; listen") < text.find("has no save call; its label"));
    assert!(
        html.contains("<a href=\"#still-4\">still 4</a>")
            && html.contains("<a href=\"#call-16\">call 16</a>")
    );
    record.findings[0].call_seq = Some(Seq(999));
    read_html(&page(&record));
}

#[test]
fn each_state_of_a_view_and_a_still_is_told_in_words() {
    let text = read_html(&page(&sample::record()));
    for words in [
        "1 still",
        "missing",
        "left out on purpose",
        "saved, no still found",
        "called, not saved",
        "paired with a save call",
        "labelled with the place last called",
        "fits two labels: choose one",
        "no label: label it by hand",
        "taken back: ",
        "correction: ",
        "corrected by ",
        "not understood",
    ] {
        assert!(text.contains(words), "`{words}` is not in the report");
    }
}

#[test]
fn an_exam_in_which_nothing_happened_still_makes_a_page() {
    let mut record = sample::record();
    record.calls.clear();
    record.frames.clear();
    record.coverage.clear();
    record.findings.clear();
    record.measures.clear();
    record.notes.clear();
    record.entries.clear();
    record.clock = None;
    record.exam.ended_at = None;
    record.exam.utc_offset_s = i32::MAX;
    let text = read_html(&page(&record));
    for words in ["No limb was called", "0 stills found.", "Nothing to check.", "never closed"] {
        assert!(text.contains(words), "`{words}` is not in the report");
    }
    assert_eq!(read_vtt(&export::vtt(&record)).len(), 0);
    assert!(rows(&export::csv(&record)).is_empty());
}

#[test]
fn what_was_found_before_a_limb_was_said_is_in_the_report() {
    let mut record = sample::record();
    record.calls.iter_mut().for_each(|call| call.place.limb = None);
    let text = read_html(&page(&record));
    assert!(text.contains("limb not said") && !text.contains("No findings were spoken"), "{text}");
}

#[test]
fn the_report_shows_pictures_and_the_reason_where_there_is_none() {
    let record = sample::record();
    let shown = Picture::Shown { jpeg: vec![0; 3], width_px: 4, height_px: 3 };
    let none = Picture::NotShown { why: "the file <b>cannot</b> be read".to_owned() };
    let pictures = Pictures::from([("2.25.90001".to_owned(), shown), ("2.25.90002".to_owned(), none)]);
    let page = page_with(&record, &pictures);
    let text = read_html(&page);
    assert!(page.contains("alt=\"still 1: left fore, zone 1A, transverse\""));
    assert!(text.contains("Not shown: the file <b>cannot</b> be read"));
}

// ---- card

fn a_card(n_rows: usize) -> Card {
    let row = |idx: usize| CardRow { say: format!("phrase number {idx}"), does: "does this".to_owned() };
    Card {
        title: "What you can say".to_owned(),
        note: "Pause after each.".to_owned(),
        sections: vec![Section {
            heading: "Where".to_owned(),
            note: "Moves.".to_owned(),
            rows: (0..n_rows).map(row).collect(),
        }],
    }
}

#[test]
fn the_card_as_text_lists_each_phrase_beside_what_it_does() {
    assert_eq!(
        card::text(&a_card(2)),
        "What you can say\nPause after each.\n\nWHERE\nMoves.\n  phrase number 0  does this\n  phrase number 1  does this\n\n\
         Not a diagnosis. A draft until a licensed vet has signed it. Cut-offs are defaults with their sources; \
         local rules and licensed practice come first. Sedation and handling safety are the practice's responsibility.\n"
    );
}

#[test]
fn the_card_as_a_page_takes_smaller_type_the_more_there_is_to_say() {
    let size = |n_rows| {
        let page = card::html(&a_card(n_rows));
        read_html(&page);
        page.split_once("<main class=\"pt").unwrap().1.split_once(' ').unwrap().0.parse::<u32>().unwrap()
    };
    assert_eq!(size(5), 16);
    assert!(size(90) < 16 && size(90) > 8, "{}", size(90));
    assert_eq!(size(2000), 8);
}

#[test]
fn the_report_tells_what_was_put_right_by_hand_and_by_whom() {
    let html = page(&sample::record());
    for text in
        ["Corrected by hand", "call 7 is now area 148 mm2", "area 1480 mm2", "heard it again", "Robin"]
    {
        assert!(html.contains(text), "{text}");
    }
}
