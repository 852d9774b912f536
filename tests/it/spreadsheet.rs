//! What the table for spreadsheets says of numbers and findings that are no plain ones, and of the signature.
use std::collections::BTreeMap;

use crate::support::sample;
use zonecall::exam::closed_sets::{CallKind, ExamStatus};
use zonecall::language::closed_sets::Class;
use zonecall::report::export;

fn rows(text: &str) -> Vec<BTreeMap<String, String>> {
    csv::Reader::from_reader(text.as_bytes()).deserialize().map(Result::unwrap).collect()
}

#[test]
fn a_bound_a_range_a_guess_and_a_doubt_are_no_plain_numbers_and_findings_in_the_table() {
    use zonecall::exam::call::Certainty;
    use zonecall::exam::comparator::Comparator;
    let mut record = sample::record();
    let plain = rows(&export::csv(&record));
    let value = record.calls.iter().position(|call| call.kind == CallKind::Value).unwrap();
    let finding = record.calls.iter().position(|call| call.class == Some(Class::Lesion)).unwrap();
    let number = record.calls[value].number.unwrap();
    record.calls[value].comparator = Some(Comparator::Below);
    record.calls[value].to = Some(number + 1.0);
    record.calls[value].by = Some(2.5);
    record.calls[value].approx = true;
    record.calls[finding].certainty = Some(Certainty::Possible);
    let told = rows(&export::csv(&record));
    let of = |rows: &[BTreeMap<String, String>], seq: String| {
        rows.iter().find(|row| row["row"] == "call" && row["call_seq"] == seq).unwrap().clone()
    };
    let row = of(&told, record.calls[value].seq.to_string());
    let cells = ["comparator", "number_to", "number_by", "estimated"].map(|column| row[column].clone());
    assert_eq!(cells, ["<".to_owned(), (number + 1.0).to_string(), "2.5".to_owned(), "true".to_owned()]);
    assert!(row["in_words"].contains("less than about"), "{}", row["in_words"]);
    let row = of(&told, record.calls[finding].seq.to_string());
    assert_eq!(row["certainty"], "possible");
    assert!(row["in_words"].starts_with("possible "), "{}", row["in_words"]);
    let row = of(&plain, record.calls[finding].seq.to_string());
    assert_eq!((row["certainty"].as_str(), row["comparator"].as_str()), ("", ""));
    let score = record.calls.iter().find(|call| call.scale.is_some()).unwrap();
    assert_eq!(of(&plain, score.seq.to_string())["scale"], *score.scale.as_ref().unwrap());
}

#[test]
fn each_row_of_the_table_says_who_signed_and_when() {
    let mut record = sample::record();
    assert!(rows(&export::csv(&record)).iter().all(|row| row["signed_by"].is_empty()));
    record.exam.signed = Some(zonecall::knowledge::record::SignedRow {
        seq: zonecall::exam::seq::Seq(90),
        at: record.exam.started_at,
        by: "=Erin Example".to_owned(),
        licence: "V-1".to_owned(),
        key: "0".repeat(64),
        changes_since: 0,
        taken_back_by: None,
        time_stamp: None,
    });
    record.exam.status = ExamStatus::Signed;
    for row in rows(&export::csv(&record)) {
        assert_eq!(row["signed_by"], "'=Erin Example");
        assert_eq!(row["signed_at_utc"], "2026-05-04T08:00:00.000Z");
    }
}
