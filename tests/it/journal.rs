//! The journal: never lost, never changed in silence.
use crate::support;

use std::io::Write;
use std::path::Path;
use std::process::Command;

use support::write_journal;
use zonecall::clock::Sample;
use zonecall::exam::event::Event;
use zonecall::exam::journal::{JOURNAL_FILE, Journal, JournalError, lines, read};
use zonecall::exam::seq::Seq;

const UTTERANCES: [(f64, &str); 3] =
    [(2.0, "left fore zone two alpha transverse"), (6.0, "superficial flexor normal"), (9.0, "save")];

fn journal_bytes() -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    write_journal(folder.path(), &UTTERANCES);
    std::fs::read(folder.path().join(JOURNAL_FILE)).unwrap()
}

#[test]
fn a_journal_cut_at_every_byte_still_yields_all_whole_lines() {
    let whole = journal_bytes();
    let all = lines(&whole);
    assert!(all.damage.is_empty(), "{:?}", all.damage);
    for cut in 0..whole.len() {
        let part = lines(&whole[..cut]);
        let n_whole = whole[..cut].iter().filter(|byte| **byte == b'\n').count();
        assert_eq!(part.events, all.events[..n_whole], "cut at byte {cut}");
        let torn = !whole[..cut].ends_with(b"\n") && cut > 0;
        assert_eq!(part.torn_bytes > 0, torn, "cut at byte {cut}");
        assert_eq!(part.damage.len(), usize::from(torn), "cut at byte {cut}");
    }
}

#[test]
fn a_torn_last_line_stays_and_the_next_event_starts_on_a_fresh_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(JOURNAL_FILE);
    let whole = journal_bytes();
    let torn = &whole[..whole.len() - 10];
    std::fs::write(&path, torn).unwrap();
    let mut journal = Journal::open(folder.path()).unwrap();
    let closed = Event::Closed { reason: "test".to_owned().into(), samples: 1 };
    journal.append("2026-05-04T08:01:00Z".parse().unwrap(), Sample(1), &closed).unwrap();
    let after = std::fs::read(&path).unwrap();
    assert_eq!(&after[..torn.len()], torn, "nothing that was written is changed");
    let found = read(folder.path()).unwrap();
    let [.., reported, last] = found.events.as_slice() else { panic!("too few lines") };
    assert!(matches!(reported.event, Event::Torn { bytes } if bytes > 0));
    assert_eq!(last.event, closed);
    assert_eq!(last.seq.0, found.events.len() as u64, "seq has no gaps");
    assert_eq!(found.damage, [], "the chain after it holds");
    assert_eq!(found.tears, [found.events.len() as u64 - 1], "the torn line is reported");
}

#[test]
fn a_changed_a_missing_and_a_doubled_line_are_each_seen() {
    let whole = String::from_utf8(journal_bytes()).unwrap();
    let rows: Vec<&str> = whole.lines().collect();
    let damage = |rows: &[&str]| lines(format!("{}\n", rows.join("\n")).as_bytes()).damage;
    assert!(damage(&rows).is_empty());
    let changed = rows[2].replace("two", "six");
    let with_change: Vec<&str> =
        rows.iter().enumerate().map(|(i, r)| if i == 2 { &*changed } else { *r }).collect();
    assert_eq!(damage(&with_change)[0].0, 4, "the line after the changed one no longer fits");
    let without: Vec<&str> = [&rows[..2], &rows[3..]].concat();
    assert_eq!(damage(&without)[0].0, 3);
    let doubled: Vec<&str> = [&rows[..3], &rows[2..]].concat();
    assert_eq!(damage(&doubled)[0].0, 4);
}

#[test]
fn a_line_of_a_later_version_is_kept_as_it_stands() {
    let folder = tempfile::tempdir().unwrap();
    write_journal(folder.path(), &UTTERANCES);
    let text = std::fs::read_to_string(folder.path().join(JOURNAL_FILE)).unwrap();
    let later = text.replace("\"kind\":\"anchor\"", "\"kind\":\"hologram\"");
    let found = lines(later.as_bytes());
    assert!(
        matches!(&found.events[1].event, Event::Unknown { kind, body } if kind == "hologram" && body.is_object())
    );
}

#[test]
fn an_exam_is_never_overwritten_and_two_writers_are_kept_apart() {
    let folder = tempfile::tempdir().unwrap();
    write_journal(folder.path(), &UTTERANCES);
    assert!(matches!(Journal::create(folder.path()), Err(JournalError::Exists { .. })));
    let first = Journal::open(folder.path()).unwrap();
    assert!(matches!(Journal::open(folder.path()), Err(JournalError::Busy { .. })));
    drop(first);
    assert!(Journal::open(folder.path()).is_ok());
    assert!(matches!(Journal::open(&folder.path().join("none")), Err(JournalError::Missing { .. })));
}

#[test]
fn bytes_that_are_no_journal_are_reported_by_line() {
    let folder = tempfile::tempdir().unwrap();
    let mut file = std::fs::File::create(folder.path().join(JOURNAL_FILE)).unwrap();
    file.write_all(b"\xff\xfe\nnot json\n{}\n").unwrap();
    let found = read(folder.path()).unwrap();
    assert_eq!(found.damage.iter().map(|(line, _)| *line).collect::<Vec<_>>(), [1, 2, 3]);
    assert!(found.events.is_empty());
}

/// Runs again by itself with files that may not grow beyond 4 KiB, as on a full disk.
#[test]
fn events_that_belong_together_are_written_whole_or_not_at_all_on_a_full_disk() {
    const FOLDER: &str = "ZONECALL_TEST_FULL";
    if let Some(folder) = std::env::var_os(FOLDER) {
        fill_up(Path::new(&folder));
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let name = "journal::events_that_belong_together_are_written_whole_or_not_at_all_on_a_full_disk";
    let again = "trap '' XFSZ; ulimit -f 4; exec \"$0\" --exact \"$1\" --nocapture";
    let told = Command::new("bash")
        .args(["-c", again])
        .arg(std::env::current_exe().unwrap())
        .arg(name)
        .env(FOLDER, folder.path())
        .output()
        .unwrap();
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    let found = read(folder.path()).unwrap();
    assert!(found.damage.is_empty(), "{:?}", found.damage);
    let reasons: Vec<usize> = found.events.iter().map(|line| reason_len(&line.event)).collect();
    assert_eq!(reasons, [1000, 1000, 10], "the three that would not fit left nothing behind");
}

fn reason_len(event: &Event) -> usize {
    let Event::Closed { reason, .. } = event else { panic!("{event:?}") };
    reason.to_string().len()
}

fn fill_up(folder: &Path) {
    let at = "2026-05-04T08:01:00Z".parse().unwrap();
    let long = |length: usize| Event::Closed { reason: "x".repeat(length).into(), samples: 1 };
    let mut journal = Journal::create(folder).unwrap();
    assert_eq!(journal.append_all(at, Sample(1), &[long(1000), long(1000)]).unwrap(), [Seq(1), Seq(2)]);
    let refused = journal.append_all(at, Sample(1), &[long(100), long(1000), long(1000)]);
    assert!(matches!(refused, Err(JournalError::Io { .. })), "{refused:?}");
    assert_eq!(journal.append(at, Sample(1), &long(10)).unwrap(), Seq(3), "it goes on where it stood");
}

#[test]
fn the_last_line_and_lines_cut_off_the_end_are_missed_too() {
    let folder = tempfile::tempdir().unwrap();
    write_journal(folder.path(), &UTTERANCES);
    let path = folder.path().join(JOURNAL_FILE);
    let whole = std::fs::read_to_string(&path).unwrap();
    assert_eq!(read(folder.path()).unwrap().damage, []);
    let changed = whole.replace("\"words\":\"save\"", "\"words\":\"sage\"");
    assert_ne!(changed, whole);
    std::fs::write(&path, &changed).unwrap();
    let damage = read(folder.path()).unwrap().damage;
    assert!(damage[0].1.message.contains("is not the one that was written"), "{damage:?}");
    let n_lines = whole.lines().count();
    for kept in 0..n_lines {
        let cut: String = whole.split_inclusive('\n').take(kept).collect();
        std::fs::write(&path, cut).unwrap();
        let damage = read(folder.path()).unwrap().damage;
        assert!(
            damage.iter().any(|(_, problem)| problem.message.contains("ends before seq")),
            "{kept}: {damage:?}"
        );
    }
    // Going on does not cover it up.
    let closed = Event::Closed { reason: "test".to_owned().into(), samples: 1 };
    let cut: String = whole.split_inclusive('\n').take(3).collect();
    std::fs::write(&path, cut).unwrap();
    Journal::open(folder.path())
        .unwrap()
        .append("2026-05-04T08:01:00Z".parse().unwrap(), Sample(1), &closed)
        .unwrap();
    assert!(!read(folder.path()).unwrap().damage.is_empty());
    // A journal of an earlier version has no head.
    std::fs::write(&path, &whole).unwrap();
    std::fs::remove_file(folder.path().join("exam.head")).unwrap();
    assert_eq!(read(folder.path()).unwrap().damage, []);
}

#[test]
fn a_journal_that_is_removed_moved_or_replaced_is_missed_at_once() {
    let closed = || Event::Closed { reason: "test".to_owned().into(), samples: 1 };
    let at = "2026-05-04T08:01:00Z".parse().unwrap();
    let harms: [fn(&Path); 4] = [
        |exam| std::fs::remove_file(exam.join(JOURNAL_FILE)).unwrap(),
        |exam| std::fs::remove_dir_all(exam).unwrap(),
        |exam| std::fs::rename(exam, exam.with_extension("moved")).unwrap(),
        |exam| {
            std::fs::remove_file(exam.join(JOURNAL_FILE)).unwrap();
            std::fs::write(exam.join(JOURNAL_FILE), "").unwrap();
        },
    ];
    for harm in harms {
        let folder = tempfile::tempdir().unwrap();
        let exam = folder.path().join("exam");
        let mut journal = Journal::create(&exam).unwrap();
        journal.append(at, Sample::FIRST, &closed()).unwrap();
        harm(&exam);
        let refused = journal.append(at, Sample::FIRST, &closed());
        assert!(matches!(refused, Err(JournalError::Removed { .. })), "{refused:?}");
    }
}

/// Settings and voices are written like this: what was there before may have been for everybody.
#[cfg(unix)]
#[test]
fn a_private_file_is_written_whole_for_its_owner_alone() {
    use std::os::unix::fs::PermissionsExt as _;
    let home = tempfile::tempdir().unwrap();
    let path = home.path().join("zonecall/zonecall.toml");
    let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    zonecall::private::replace(&path, b"ear = \"neural\"\n").unwrap();
    assert_eq!((mode(path.parent().unwrap()), mode(&path)), (0o700, 0o600));
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o644)).unwrap();
    zonecall::private::replace(&path, b"tones = true\n").unwrap();
    assert_eq!((mode(&path), std::fs::read(&path).unwrap().as_slice()), (0o600, &b"tones = true\n"[..]));
    assert_eq!(std::fs::read_dir(path.parent().unwrap()).unwrap().count(), 1, "nothing is left beside it");
}

#[cfg(unix)]
#[test]
fn an_exam_is_readable_by_its_owner_only() {
    use std::os::unix::fs::PermissionsExt as _;
    let folder = tempfile::tempdir().unwrap();
    let exam = folder.path().join("exams/juniper");
    write_journal(&exam, &UTTERANCES);
    let mode = |path: &Path| std::fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!((mode(&exam), mode(&folder.path().join("exams"))), (0o700, 0o700));
    assert_eq!(mode(&exam.join(JOURNAL_FILE)), 0o600);
    assert_eq!(mode(&exam.join("exam.head")), 0o600);
}
