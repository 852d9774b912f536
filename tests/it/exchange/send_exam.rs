//! An exam that is sent as a whole: what goes, what the journal says, and what happens when it breaks off.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use dicom_core::{DataElement, PrimitiveValue, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::FileMetaTableBuilder;
use serde_json::Value;

use super::peers::{Archive, PATIENCE, stills};
use super::stage::{enter, export, folder, said_of, still, uid};
use crate::support::program::zonecall;

/// What the journal says of each time that something was sent.
fn sent_lines(exam: &Path) -> Vec<Value> {
    let journal = std::fs::read_to_string(exam.join("exam.jsonl")).unwrap();
    let whole = journal.split_inclusive('\n').filter(|line| line.ends_with('\n'));
    let lines = whole.map(|line| serde_json::from_str::<Value>(line).unwrap());
    lines.filter(|line| line["kind"] == "sent").map(|line| line["body"].clone()).collect()
}

fn count(folder: &Path) -> usize {
    std::fs::read_dir(folder).unwrap().count()
}

#[test]
fn of_an_exam_its_own_stills_and_its_export_go_and_the_journal_says_so() {
    let exam = folder();
    enter(exam.path());
    for form in ["dicom", "labelled", "teaching"] {
        export(exam.path(), form, &[], 0);
    }
    // A file that nobody paired is no still of this exam.
    let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
    let stranger = still(9, 90.0).with_meta(meta).unwrap();
    stranger.write_to_file(exam.path().join("frames/of-another-horse.dcm")).unwrap();
    let path = exam.path().to_str().unwrap();
    let left_out = uid(3);
    let change = zonecall::exam::review::Change::LeaveOut { still: left_out.clone() };
    let review = zonecall::exam::review::Review {
        by: "Ada".to_owned(),
        why: String::new(),
        was: String::new(),
        change,
    };
    let mut journal = zonecall::exam::journal::Journal::open(exam.path()).unwrap();
    let event = zonecall::exam::event::Event::Review(Box::new(review));
    journal.append(crate::support::header().started_at, zonecall::clock::Sample::FIRST, &event).unwrap();
    drop(journal);
    let archive = Archive::start(&[]);
    let to = archive.to();
    let done = zonecall(&["send", "--to", &to, "--called", "ARCHIVE", "--by", "Ada", path]);
    let said = said_of(&done);
    assert_eq!(done.status.code(), Some(0), "{said}");
    // Two stills; three presentation states, report, selection and PDF of the export before.
    assert!(said.contains("8 of 8 sent to ARCHIVE") && !said.contains("labelled"), "{said}");
    assert_eq!(count(archive.folder.path()), 8);
    let lines = sent_lines(exam.path());
    assert_eq!((lines.len(), &lines[0]["by"]), (1, &"Ada".into()), "{lines:?}");
    let objects: Vec<&str> =
        lines[0]["objects"].as_array().unwrap().iter().map(|name| name.as_str().unwrap()).collect();
    assert!(objects.contains(&uid(1).as_str()) && !objects.contains(&left_out.as_str()), "{objects:?}");
    assert!(!objects.contains(&uid(9).as_str()), "{objects:?}");
}

#[test]
fn a_name_without_an_exam_is_refused() {
    let exam = folder();
    let frames = exam.path().join("frames");
    let args = ["send", "--to", "127.0.0.1:1", "--called", "ARCHIVE", "--by", "Ada"];
    let done = zonecall(&[&args[..], &[frames.to_str().unwrap()]].concat());
    assert!(done.status.code() == Some(2) && said_of(&done).contains("--exam"), "{}", said_of(&done));
}

#[test]
fn a_still_that_is_gone_or_another_file_now_is_one_refusal() {
    let exam = folder();
    let all = stills(exam.path());
    std::fs::write(&all[1], b"something else").unwrap();
    let archive = Archive::start(&[]);
    let to = archive.to();
    let done = zonecall(&["send", "--to", &to, "--called", "ARCHIVE", exam.path().to_str().unwrap()]);
    let said = said_of(&done);
    assert_eq!(done.status.code(), Some(1), "{said}");
    assert!(said.contains("2 of 2 sent to ARCHIVE") && said.contains("NOT SENT"), "{said}");
    assert_eq!(sent_lines(exam.path())[0]["refused"], 1);
}

/// Stills of one exam, so many that a slow archive needs half a minute for them.
fn many(folder: &Path) {
    for number in 1..=40 {
        let mut one = still(number, 14.0);
        one.put(DataElement::new(
            tags::SOP_INSTANCE_UID,
            VR::UI,
            PrimitiveValue::from(format!("2.25.70{number}")),
        ));
        let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
        one.with_meta(meta).unwrap().write_to_file(folder.join(format!("{number:02}.dcm"))).unwrap();
    }
}

#[test]
fn what_was_sent_before_a_kill_is_in_the_journal() {
    let (exam, sent) = (folder(), tempfile::tempdir().unwrap());
    many(sent.path());
    let archive = Archive::start(&["--sleep-after", "1"]);
    let to = archive.to();
    let mut sending = Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .args(["send", "--to", &to, "--called", "ARCHIVE", "--exam", exam.path().to_str().unwrap()])
        .arg(sent.path())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let until = Instant::now() + PATIENCE;
    while sent_lines(exam.path()).is_empty() {
        assert!(Instant::now() < until, "nothing was written");
        std::thread::sleep(Duration::from_millis(50));
    }
    sending.kill().unwrap();
    sending.wait().unwrap();
    let objects = sent_lines(exam.path())[0]["objects"].as_array().unwrap().len();
    assert!((1..40).contains(&objects), "{objects}");
    assert!(count(archive.folder.path()) >= objects);
}

/// A way to an archive that breaks the first time after so many bytes, and holds from then on.
fn breaking_way(to: u16, bytes_max: usize) -> u16 {
    let listener = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let port = listener.local_addr().unwrap().port();
    std::thread::spawn(move || {
        for (number, near) in listener.incoming().enumerate() {
            let (mut near, mut far) = (near.unwrap(), TcpStream::connect(("127.0.0.1", to)).unwrap());
            let (mut back, mut answers) = (near.try_clone().unwrap(), far.try_clone().unwrap());
            std::thread::spawn(move || std::io::copy(&mut answers, &mut back));
            std::thread::spawn(move || {
                let mut left = if number == 0 { bytes_max } else { usize::MAX };
                let mut buffer = [0; 512];
                while left > 0
                    && let Ok(count @ 1..) = near.read(&mut buffer)
                {
                    let now = count.min(left);
                    if far.write_all(&buffer[..now]).is_err() {
                        break;
                    }
                    left -= now;
                }
                let _ = (near.shutdown(Shutdown::Both), far.shutdown(Shutdown::Both));
            });
        }
    });
    port
}

#[test]
fn a_transfer_that_breaks_in_the_middle_of_an_object_goes_on_with_that_object() {
    let exam = folder();
    let archive = Archive::start(&[]);
    // Each still has about 4 kB: the second one is on its way.
    let way = breaking_way(archive.port.parse().unwrap(), 6000);
    let (to, path) = (format!("127.0.0.1:{way}"), exam.path().to_str().unwrap());
    let done = zonecall(&["send", "--to", &to, "--called", "ARCHIVE", path]);
    let said = said_of(&done);
    assert_eq!(done.status.code(), Some(0), "{said}");
    assert!(said.contains("3 of 3 sent to ARCHIVE"), "{said}");
    assert_eq!(said.matches("sent /").count(), 3, "none twice: {said}");
    // What came of a broken one stays where the archive put it: the whole ones are counted.
    let whole = std::fs::read_dir(archive.folder.path()).unwrap().filter_map(|entry| {
        let object = dicom_object::open_file(entry.unwrap().path()).ok()?;
        object.element(tags::PIXEL_DATA).ok()?;
        Some(
            object
                .element(tags::SOP_INSTANCE_UID)
                .unwrap()
                .to_str()
                .unwrap()
                .trim_end_matches('\0')
                .to_owned(),
        )
    });
    let whole: std::collections::BTreeSet<String> = whole.collect();
    assert_eq!(whole, (1..=3).map(uid).collect());
    assert_eq!(
        sent_lines(exam.path()).iter().map(|line| line["objects"].as_array().unwrap().len()).sum::<usize>(),
        3
    );
}
