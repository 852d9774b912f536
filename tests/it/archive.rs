//! The archive: each claim holds on SQLite and on a real PostgreSQL server alike.
use crate::support;
use crate::support::postgres;

use std::sync::atomic::{AtomicU32, Ordering};

use chrono::{DateTime, Utc};
use postgres::Server;
use sqlx::any::{AnyPoolOptions, install_default_drivers};
use zonecall::archive::{Archive, ArchiveQuery, Filed, Filing, HISTORY_SQL};
use zonecall::frames::pairing::Pairing;
use zonecall::knowledge::assemble::record;
use zonecall::knowledge::record::Record;

/// Runs a claim on both databases; each gets an address of an empty one.
fn on_both(claim: impl Fn(&str)) {
    let folder = tempfile::tempdir().unwrap();
    claim(folder.path().join("new folder/archive.sqlite").to_str().unwrap());
    let server = Server::start();
    claim(&server.address());
}

static EXAMS: AtomicU32 = AtomicU32::new(0);

fn day(text: &str) -> DateTime<Utc> {
    format!("{text}T08:00:00Z").parse().unwrap()
}

/// An exam of a horse on a day, in which this was said.
fn exam(horse: &str, on: &str, said: &[&str]) -> Record {
    let mut exam = support::exam_of(said);
    exam.header.id = format!("{on}-{}", EXAMS.fetch_add(1, Ordering::Relaxed));
    exam.header.horse.name = Some(horse.to_owned());
    exam.header.started_at = day(on);
    record(&exam, &Pairing::default(), &support::BUILT_IN.1)
}

fn filed<'a>(record: &'a Record, lines: u64, hash: &'a str) -> Filed<'a> {
    Filed { record, lines, hash, folder: "exams/x", at: day("2026-06-01") }
}

const LESION: [&str; 4] =
    ["left fore two bravo transverse", "s d f t", "core lesion", "area one point five square centimetres"];

fn some<'a, T: From<&'a str>>(text: &'a str) -> Option<T> {
    Some(text.into())
}

/// Each number once, by its latest name; a name alone may be that of any horse.
#[test]
fn the_horses_that_are_known_have_a_name_and_a_number() {
    on_both(|place| {
        let archive = Archive::open(place).unwrap();
        for (name, id, on) in [
            ("Juniper", Some("4711"), "2026-03-01"),
            ("Juniper of the Hill", Some("4711"), "2026-05-04"),
            ("Juniper", Some("12"), "2026-04-01"),
            ("Bramble", None, "2026-04-01"),
        ] {
            let mut record = exam(name, on, &LESION);
            record.exam.horse.id = id.map(str::to_owned);
            archive.file(&filed(&record, 10, "aa")).unwrap();
        }
        let known: Vec<(String, String)> = archive
            .horses()
            .unwrap()
            .into_iter()
            .map(|horse| (horse.name.unwrap(), horse.id.unwrap()))
            .collect();
        let wanted = [("Juniper of the Hill", "4711"), ("Juniper", "12")];
        assert_eq!(known, wanted.map(|(name, id)| (name.to_owned(), id.to_owned())));
    });
}

#[test]
fn an_exam_that_is_forgotten_is_in_no_search_and_not_in_the_file_and_the_others_stay() {
    on_both(|place| {
        let archive = Archive::open(place).unwrap();
        let gone = exam("Wandering Star", "2026-05-04", &LESION);
        let stays = exam("Bramble", "2026-04-01", &LESION);
        for (record, hash) in [(&gone, "aa"), (&gone, "bb"), (&stays, "cc")] {
            archive.file(&filed(record, 10, hash)).unwrap();
        }
        assert_eq!(archive.forget("another").unwrap(), 0);
        assert_eq!(archive.forget(&gone.exam.id).unwrap(), 2);
        assert!(archive.history("Wandering Star").unwrap().0.is_empty());
        assert_eq!(archive.history("Bramble").unwrap().0.len(), 1);
        let found = archive.find(&ArchiveQuery { structure: some("SDFT"), ..ArchiveQuery::default() });
        let found = found.unwrap();
        assert!(!found.is_empty() && found.iter().all(|row| row.exam_id == stays.exam.id));
        assert_eq!(archive.check().unwrap().problems, [""; 0]);
        drop(archive);
        if let Ok(bytes) = std::fs::read(place) {
            let holds = |name: &[u8]| bytes.windows(name.len()).any(|piece| piece == name);
            assert!(holds(b"Bramble") && !holds(b"Wandering Star"));
        }
    });
}

#[test]
fn the_exams_of_a_horse_come_in_the_order_of_time_and_none_twice() {
    on_both(|place| {
        let archive = Archive::open(place).unwrap();
        let (may, march) = (exam("Juniper", "2026-05-04", &LESION), exam(" juniper", "2026-03-01", &LESION));
        let other = exam("Bramble", "2026-04-01", &LESION);
        for record in [&may, &march, &other] {
            assert_eq!(archive.file(&filed(record, 10, "aa")).unwrap(), Filing::New);
        }
        assert_eq!(archive.file(&filed(&may, 10, "aa")).unwrap(), Filing::Known);
        let kept: Vec<String> =
            archive.history("JUNIPER ").unwrap().0.into_iter().map(|kept| kept.record.exam.id).collect();
        assert_eq!(kept, [march.exam.id.clone(), may.exam.id.clone()]);
        assert!(
            archive.history("nobody").unwrap().0.is_empty() && archive.history(" ").unwrap().0.is_empty()
        );
        // Opened again, it is still there, and its tables are not made anew.
        drop(archive);
        assert_eq!(Archive::open(place).unwrap().history("juniper").unwrap().0.len(), 2);
    });
}

#[test]
fn the_longest_journal_of_an_exam_counts_whatever_the_order() {
    on_both(|place| {
        let archive = Archive::open(place).unwrap();
        let short = exam("Juniper", "2026-05-04", &LESION[..2]);
        let mut long = exam("Juniper", "2026-05-04", &LESION);
        long.exam.id.clone_from(&short.exam.id);
        assert_eq!(archive.file(&filed(&long, 12, "bb")).unwrap(), Filing::New);
        assert_eq!(archive.file(&filed(&short, 9, "aa")).unwrap(), Filing::Shorter);
        assert_eq!(archive.history("Juniper").unwrap().0[0].record, long);
        let mut longer = long.clone();
        longer.calls.pop();
        assert_eq!(archive.file(&filed(&longer, 14, "cc")).unwrap(), Filing::Longer);
        let kept = archive.history("Juniper").unwrap().0;
        assert_eq!((kept.len(), &kept[0].record), (1, &longer));
    });
}

#[test]
fn an_exam_that_is_named_after_it_was_filed_is_found_under_the_new_name() {
    on_both(|place| {
        let archive = Archive::open(place).unwrap();
        let said = ["left fore zone two bravo transverse"];
        let first = exam("Juniper", "2026-05-04", &said);
        archive.file(&filed(&first, 10, "ab")).unwrap();
        let mut named = first.clone();
        named.exam.horse.name = Some("Bramble".to_owned());
        archive.file(&filed(&named, 11, "cd")).unwrap();
        assert_eq!(archive.history("Bramble").unwrap().0.len(), 1);
        assert!(archive.history("Juniper").unwrap().0.is_empty());
    });
}

#[test]
fn exams_are_found_by_what_was_seen_in_them() {
    on_both(|place| {
        let archive = Archive::open(place).unwrap();
        let lesion = exam("Juniper", "2026-05-04", &LESION);
        let normal = exam("Bramble", "2026-03-01", &["right fore one alpha transverse", "d d f t", "normal"]);
        for record in [&lesion, &normal] {
            archive.file(&filed(record, 10, "aa")).unwrap();
        }
        let found = |wanted: &ArchiveQuery| {
            let found = archive.find(wanted).unwrap();
            found.into_iter().map(|found| format!("{} {}", found.horse_name, found.term)).collect::<Vec<_>>()
        };
        assert_eq!(
            found(&ArchiveQuery { term: some("core lesion"), ..ArchiveQuery::default() }),
            ["Juniper core lesion"]
        );
        let place = ArchiveQuery { structure: some("DDFT"), zone: some("1A"), ..ArchiveQuery::default() };
        assert_eq!(found(&place), ["Bramble normal"]);
        assert_eq!(
            found(&ArchiveQuery { since: Some(day("2026-04-01")), ..ArchiveQuery::default() }),
            ["Juniper "]
        );
        assert_eq!(
            found(&ArchiveQuery { until: Some(day("2026-04-01")), ..ArchiveQuery::default() }),
            ["Bramble "]
        );
        assert_eq!(
            found(&ArchiveQuery { horse: some("bramble"), limb: some("LF"), ..ArchiveQuery::default() }),
            [""; 0]
        );
        assert_eq!(found(&ArchiveQuery { to_look_at: true, ..ArchiveQuery::default() }).len(), 2);
        let hostile = ArchiveQuery { term: some("x' OR '1'='1"), ..ArchiveQuery::default() };
        assert_eq!(found(&hostile), [""; 0], "a text is a value, never a part of the query");
    });
}

/// Seventeen lesions that come to the counts of a published table: by zone 1b 6, 2a 3, 2b 7, 3a 1; by kind core 7,
/// diffuse 5, marginal 5; in 15 horses, of which two have one on each fore limb.
///
/// The counts: Geburek, Lietzau, Beineke, Rohn, Stadler, Stem Cell Res Ther 6:126, 2015 (authors and number from memory),
/// doi 10.1186/s13287-015-0115-0, table 1. Horses and rows are our own: only the counts are the
/// table's.
#[test]
fn the_lesions_of_a_published_study_are_counted_as_it_counts_them() {
    let lesions = [
        ("horse A", "LF", "1b", "core"),
        ("horse C", "RF", "1b", "diffuse"),
        ("horse D", "LF", "1b", "marginal"),
        ("horse B", "RF", "1b", "core"),
        ("horse E", "RF", "1b", "diffuse"),
        ("horse F", "LF", "1b", "core"),
        ("horse A", "RF", "2a", "marginal"),
        ("horse G", "LF", "2a", "core"),
        ("horse H", "RF", "2a", "marginal"),
        ("horse I", "RF", "2b", "diffuse"),
        ("horse B", "LF", "2b", "core"),
        ("horse J", "LF", "2b", "core"),
        ("horse K", "RF", "2b", "diffuse"),
        ("horse L", "LF", "2b", "marginal"),
        ("horse M", "RF", "2b", "core"),
        ("horse N", "LF", "2b", "marginal"),
        ("horse O", "RF", "3a", "diffuse"),
    ];
    let folder = tempfile::tempdir().unwrap();
    let archive = Archive::open(folder.path().join("study.sqlite").to_str().unwrap()).unwrap();
    let horses: std::collections::BTreeSet<&str> = lesions.iter().map(|lesion| lesion.0).collect();
    for horse in &horses {
        let mut said = Vec::new();
        for (_, limb, zone, kind) in lesions.iter().filter(|lesion| lesion.0 == *horse) {
            let side = if *limb == "LF" { "left fore" } else { "right fore" };
            let (number, letter) = zone.split_at(1);
            let number = ["one", "two", "three"][number.parse::<usize>().unwrap() - 1];
            let letter = if letter == "a" { "alpha" } else { "bravo" };
            said.push(format!("{side} zone {number} {letter} transverse s d f t {kind} lesion"));
        }
        let said: Vec<&str> = said.iter().map(String::as_str).collect();
        archive.file(&filed(&exam(horse, "2009-06-01", &said), 10, "aa")).unwrap();
    }
    let count = |wanted: &ArchiveQuery| archive.find(wanted).unwrap().len();
    // "marginal" and "border" name one kind; the record keeps "border lesion" for both.
    let by_kind = |kind: &str| {
        count(&ArchiveQuery { term: some(&format!("{kind} lesion")), ..ArchiveQuery::default() })
    };
    let by_zone = |zone: &str| count(&ArchiveQuery { zone: some(zone), ..ArchiveQuery::default() });
    assert_eq!(["1B", "2A", "2B", "3A", "3B"].map(by_zone), [6, 3, 7, 1, 0]);
    assert_eq!(["core", "diffuse", "border"].map(by_kind), [7, 5, 5]);
    assert_eq!((horses.len(), archive.find(&ArchiveQuery::default()).unwrap().len()), (15, 15));
}

/// Four boxes file the same twelve exams at once, each in another order, as after a week without the network.
#[test]
fn boxes_that_file_at_once_lose_nothing_and_keep_nothing_twice() {
    on_both(|place| {
        Archive::open(place).unwrap();
        let days = 1..=12;
        let exams: Vec<Record> =
            days.map(|day| exam("Juniper", &format!("2026-04-{day:02}"), &LESION)).collect();
        let new: usize = std::thread::scope(|scope| {
            let boxes: Vec<_> = (0..4_usize)
                .map(|shift| {
                    let exams = &exams;
                    scope.spawn(move || {
                        let archive = Archive::open(place).unwrap();
                        let mut new = 0;
                        for idx in 0..exams.len() {
                            let record = &exams[(idx * 5 + shift * 3) % exams.len()];
                            new +=
                                usize::from(archive.file(&filed(record, 10, "aa")).unwrap() == Filing::New);
                        }
                        new
                    })
                })
                .collect();
            boxes.into_iter().map(|each| each.join().unwrap()).sum()
        });
        assert_eq!(new, exams.len(), "each exam was new to exactly one box");
        assert_eq!(Archive::open(place).unwrap().history("Juniper").unwrap().0.len(), exams.len());
    });
}

/// The plan, not the time: among 100,000 exams the horse's own are reached through the indexes.
#[test]
fn the_history_of_a_horse_is_read_through_indexes() {
    on_both(|place| {
        drop(Archive::open(place).unwrap());
        install_default_drivers();
        let server = place.starts_with("postgres");
        let address = if server { place.to_owned() } else { format!("sqlite://{place}") };
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        let plan: Vec<String> = runtime.block_on(async {
            let pool = AnyPoolOptions::new().max_connections(1).connect(&address).await.unwrap();
            let numbers = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 100000) ";
            for fill in [
                "INSERT INTO exam SELECT 'e' || i, '2026', 'h' || (i / 20), 'h' || (i / 20), 'n' || (i / 20), '', 'aa' FROM n",
                "INSERT INTO version SELECT 'e' || i, 'aa', 1, '2026', '', 0, '{}' FROM n",
            ] {
                // SQLite wants the numbers after INSERT INTO, PostgreSQL takes both.
                let (into, select) = fill.split_once(" SELECT ").unwrap();
                sqlx::query(&format!("{into} {numbers} SELECT {select}")).execute(&pool).await.unwrap();
            }
            sqlx::query("ANALYZE").execute(&pool).await.unwrap();
            let explain = if server { "EXPLAIN " } else { "EXPLAIN QUERY PLAN " };
            let sql = format!("{explain}{}", HISTORY_SQL.replace("$1", "'h77'").replace("$2", "'h77'"));
            let rows = sqlx::query(&sql).fetch_all(&pool).await.unwrap();
            let text = |row: &sqlx::any::AnyRow| {
                use sqlx::Row as _;
                row.get::<String, _>(if server { 0 } else { 3 })
            };
            rows.iter().map(text).collect()
        });
        let plan = plan.join("\n");
        assert!(plan.contains("exam_of_name") && plan.contains("exam_of_number"), "{plan}");
        assert!(!plan.contains("Seq Scan") && !plan.contains("SCAN exam"), "{plan}");
    });
}
