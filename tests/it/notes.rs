//! Free notes as text: a draft that says so, until a person has listened and confirmed or corrected it.
use crate::support;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::json;

use support::program::{START, zonecall};
use support::speech::{SECOND, room, spoken};
use support::{BUILT_IN, exam, exam_of, write_journal};
use zonecall::clock::{Sample, Span};
use zonecall::exam::event::{Event, NoteDraft};
use zonecall::exam::fold::{Exam, fold};
use zonecall::exam::journal::{self, Journal};
use zonecall::exam::review::{Change, Review};
use zonecall::exam::seq::Seq;
use zonecall::exam_folder::ExamFolder;
use zonecall::knowledge::notes::{NoteWords, note_rows};
use zonecall::knowledge::record::Record;

const FREE: &str = "there is a little swelling on the inside and the horse was lame last week";

fn own(path: &Path) -> String {
    path.to_string_lossy().into_owned()
}

/// Hears a note of these free words, spoken by a synthetic voice between the words that open and end it; the ear is scripted
/// and knows only these.
fn heard(folder: &Path, opens: &str, free: &[i16], ends: &str) -> PathBuf {
    let mut sound = room(1.0);
    let mut script = String::new();
    for (text, said) in [(opens, spoken(opens)), ("", free.to_vec()), (ends, spoken(ends))] {
        let (from, parts) = (sound.len(), text.split_whitespace().collect::<Vec<_>>());
        if !text.is_empty() || free.len() == said.len() {
            sound.extend(&said);
        }
        let step = (sound.len() - from) / parts.len().max(1);
        let words: Vec<_> = parts
            .iter()
            .enumerate()
            .map(|(idx, text)| {
                let from = from + idx * step;
                json!({"text": text, "span": {"from": from, "to": from + step}, "confidence": 0.97})
            })
            .collect();
        let line = json!({
            "span": {"from": from, "to": sound.len()}, "words": words, "confidence": 0.97, "score": 0.0,
            "rejected": false, "level_dbfs": -25.0, "clipped": 0.0,
        });
        script.push_str(&format!("{line}\n"));
        sound.extend(room(0.5));
    }
    sound.extend(room(1.0));
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SECOND as u32,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(folder.join("sound.wav"), spec).unwrap();
    sound.iter().for_each(|sample| file.write_sample(*sample).unwrap());
    file.finalize().unwrap();
    std::fs::write(folder.join("script.jsonl"), script).unwrap();
    let exam = folder.join("exam");
    let done = Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .args(["hear", &own(&folder.join("sound.wav")), "--into", &own(&exam), "--started-at", START])
        .args(["--ear", "scripted", "--script", &own(&folder.join("script.jsonl"))])
        .output()
        .unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    exam
}

fn notes(exam: &Path, more: &[&str]) -> (String, Option<i32>) {
    let folder = own(exam);
    let Output { stdout, stderr, status } = zonecall(&[&["notes", folder.as_str()], more].concat());
    let text = [stdout, stderr].concat();
    (String::from_utf8_lossy(&text).into_owned(), status.code())
}

fn record(exam: &Path) -> Record {
    ExamFolder::at(exam).record(&BUILT_IN.1).unwrap()
}

fn n_lines(exam: &Path) -> usize {
    journal::read(exam).unwrap().events.len()
}

fn unread(record: &Record) -> usize {
    record.findings.iter().filter(|finding| finding.rule == "note-draft-unread").count()
}

#[test]
fn what_was_said_in_a_note_becomes_a_draft_and_a_persons_words_by_confirming() {
    let folder = tempfile::tempdir().unwrap();
    let exam = heard(folder.path(), "note", &spoken(FREE), "end note");
    assert!(
        record(&exam).notes[0].words.is_none(),
        "an ear that is not neural writes nothing down by itself"
    );
    let (told, code) = notes(&exam, &[]);
    assert_eq!(code, Some(1), "{told}");
    assert!(told.contains("draft, not yet read by anyone: “"), "{told}");
    let drafted = record(&exam);
    let Some(NoteWords::Draft { text, confidence, .. }) = drafted.notes[0].words.clone() else {
        panic!("{:?}", drafted.notes)
    };
    let heard = text.to_lowercase();
    let missed: Vec<&str> = FREE.split(' ').filter(|word| !heard.contains(*word)).collect();
    assert!(missed.len() <= 3, "{text}: {missed:?}");
    assert!(!heard.contains("end note"), "{text}");
    assert!((0.5..=1.0).contains(&confidence), "{confidence}");
    assert_eq!(unread(&drafted), 1);
    // Once is enough.
    let lines = n_lines(&exam);
    assert_eq!(notes(&exam, &[]).1, Some(1));
    assert_eq!(n_lines(&exam), lines);
    let line = drafted.notes[0].call_seq.to_string();
    let (told, code) = notes(&exam, &["--confirm", &line, "--by", "Ada"]);
    assert_eq!((code, told.contains("read by Ada")), (Some(0), true), "{told}");
    let read = record(&exam);
    assert_eq!(read.notes[0].words, Some(NoteWords::Read { text, by: "Ada".to_owned() }));
    assert_eq!(unread(&read), 0);
    let (told, _) = notes(&exam, &["--confirm", &line, "--by", "Ada", "--text", "A little swelling."]);
    assert!(told.contains("“A little swelling.”, read by Ada"), "{told}");
    let (told, code) = notes(&exam, &["--confirm", "1", "--by", "Ada"]);
    assert!(told.contains("line 1 begins no free note; those that do: "), "{told}");
    assert_eq!(code, Some(2));
}

#[test]
fn where_nobody_speaks_the_draft_is_empty_and_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let exam = heard(folder.path(), "note", &room(2.0), "end note");
    let (told, _) = notes(&exam, &[]);
    assert!(told.contains("no words were found; listen"), "{told}");
    assert_eq!(record(&exam).notes[0].words.as_ref().map(NoteWords::text), Some(""));
}

#[test]
fn a_pause_of_three_seconds_ends_a_note_that_no_word_ends() {
    let folder = tempfile::tempdir().unwrap();
    let free = [spoken("a little swelling"), room(4.0), spoken("thank you for your visit")].concat();
    let exam = heard(folder.path(), "note", &free, "");
    notes(&exam, &[]);
    let record = record(&exam);
    let text = record.notes[0].words.as_ref().unwrap().text().to_lowercase();
    assert!(text.contains("swelling") && !text.contains("visit"), "{text}");
}

/// The decoder marks what counts of the sound by samples: from nine seconds on it refused marks by frames.
#[test]
fn a_note_of_a_quarter_of_a_minute_is_written_down_whole() {
    let folder = tempfile::tempdir().unwrap();
    let free =
        [spoken(FREE), room(0.3), spoken("the owner says that he was rested for six weeks"), room(0.3)];
    let last = spoken("I recommend another four weeks of walking exercise");
    let exam = heard(folder.path(), "note", &[free.concat(), last].concat(), "end note");
    let (told, code) = notes(&exam, &[]);
    let record = record(&exam);
    let words = record.notes[0].words.as_ref().unwrap_or_else(|| panic!("{code:?}: {told}"));
    let text = words.text().to_lowercase();
    assert!(text.contains("swelling") && text.contains("owner") && text.contains("four weeks"), "{text}");
}

#[test]
fn a_note_ends_where_the_next_begins() {
    let exam = exam(&[(2.0, "make a note"), (5.0, "end of note"), (12.0, "make a note for the report")]);
    let [first, second] = exam.notes.as_slice() else { panic!("{:?}", exam.notes) };
    assert!(first.span.to <= second.span.from, "{:?} {:?}", first.span, second.span);
    assert!(second.conclusion && !first.conclusion);
}

#[test]
fn a_conclusion_is_a_note_that_sums_up() {
    let exam = exam_of(&["left fore two bravo transverse", "conclusion", "end note", "note"]);
    let kinds: Vec<bool> = exam.notes.iter().map(|note| note.conclusion).collect();
    assert_eq!(kinds, [true, false]);
    assert_eq!(exam.calls.last().unwrap().act.to_string(), "free note begins");
}

pub(crate) fn draft(note: Seq, text: &str) -> NoteDraft {
    NoteDraft {
        note,
        span: Span { from: Sample(160_000), to: Sample(208_000) },
        text: text.to_owned(),
        confidence: 0.55,
        unsure: vec!["odd".to_owned()],
        cut: true,
        model: "encoder and decoder".to_owned(),
        model_sha256: "e".repeat(64),
    }
}

/// An exam with a conclusion, its draft, and what people said of it.
pub(crate) fn after(folder: &Path, changes: &[Change]) -> Exam {
    write_journal(
        folder,
        &[(2.0, "left fore two bravo transverse"), (8.0, "conclusion"), (14.0, "end note")],
    );
    let note = fold(&journal::read(folder).unwrap(), &BUILT_IN.1).unwrap().notes[0].seq;
    let mut journal = Journal::open(folder).unwrap();
    let at = support::header().started_at;
    journal.append(at, Sample(1), &Event::NoteDraft(Box::new(draft(note, "odd words")))).unwrap();
    for change in changes {
        let (by, why, was) = ("Ada".to_owned(), String::new(), String::new());
        let review = Event::Review(Box::new(Review { by, why, was, change: change.clone() }));
        journal.append(at, Sample(1), &review).unwrap();
    }
    drop(journal);
    fold(&journal::read(folder).unwrap(), &BUILT_IN.1).unwrap()
}

#[test]
fn a_draft_says_what_it_is_worth_and_a_confirmation_can_be_taken_back() {
    let said = |changes: &[Change]| {
        let folder = tempfile::tempdir().unwrap();
        let exam = after(folder.path(), changes);
        note_rows(&exam)[0].words.as_ref().unwrap().in_words()
    };
    let worth = "draft, not yet read by anyone: “odd words”; most of it is a guess; its end is missing";
    assert_eq!(said(&[]), worth);
    let folder = tempfile::tempdir().unwrap();
    let lines = after(folder.path(), &[]);
    let seq = lines.notes[0].seq;
    let read = Change::NoteText { seq, text: "Sound words.".to_owned() };
    assert_eq!(said(std::slice::from_ref(&read)), "“Sound words.”, read by Ada");
    let written = journal::read(folder.path()).unwrap().events.last().unwrap().seq;
    assert_eq!(said(&[read, Change::TakeBack { seq: written.next() }]), worth);
    assert_eq!(said(&[Change::NoteText { seq, text: String::new() }]), "no words, says Ada");
}
