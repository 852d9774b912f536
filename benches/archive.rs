//! The history of one horse among 100,000 exams, beside the bare query of the same rows, in the same run.
//!
//! Prints milliseconds and ratios on SQLite and PostgreSQL; run with `cargo bench --bench archive`.
//! The bare query reads the same rows with the database's own client and makes nothing of them.
// A bench prints its timing.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation)]

#[path = "../tests/support/mod.rs"]
mod support;

use std::time::Instant;

use sqlx::any::{AnyPoolOptions, install_default_drivers};
use sqlx::{AnyPool, Row as _};
use support::postgres::Server;
use zonecall::archive::Archive;
use zonecall::frames::pairing::Pairing;
use zonecall::knowledge::assemble::record;

/// Exams in the archive, and exams of each horse in it.
const EXAMS: u32 = 100_000;
const OF_ONE_HORSE: u32 = 20;
/// One horse in so many has whole records and is read, once; the other exams hold only the first 2 KiB of theirs, for
/// 100,000 whole ones would fill several gigabytes.
const EACH: u32 = 100;
/// The rows of a horse by its name, as plainly as SQL can say it.
const BARE: &str = "SELECT version.record FROM exam JOIN version ON version.exam_id = exam.id \
    WHERE exam.horse_folded = $1 ORDER BY exam.started_at";

/// The record of an exam of both fore limbs, every zone measured: what a filed exam weighs.
fn filled() -> String {
    let zones =
        ["one alpha", "one bravo", "two alpha", "two bravo", "three alpha", "three bravo", "three charlie"];
    let mut said = Vec::new();
    for limb in ["left fore", "right fore"] {
        said.push(limb.to_owned());
        for zone in zones {
            said.push(format!("{zone} transverse s d f t"));
            said.push("area one hundred and eight square millimetres".to_owned());
            said.push("save".to_owned());
            said.push("long axis s d f t fibre score zero".to_owned());
            said.push("save".to_owned());
        }
    }
    let said: Vec<&str> = said.iter().map(String::as_str).collect();
    let record = record(&support::exam_of(&said), &Pairing::default(), &support::BUILT_IN.1);
    serde_json::to_string(&record).unwrap()
}

async fn fill(pool: &AnyPool, record: &str) {
    let numbers =
        format!("WITH RECURSIVE n(i) AS (SELECT 0 UNION ALL SELECT i + 1 FROM n WHERE i + 1 < {EXAMS})");
    let horse = format!("(i / {OF_ONE_HORSE})");
    for (into, select) in [
        (
            "INSERT INTO exam",
            format!(
                "SELECT 'e' || i, '2026-05-04', 'H' || {horse}, 'h' || {horse}, 'n' || {horse}, '', 'aa' FROM n"
            ),
        ),
        (
            "INSERT INTO version",
            format!(
                "SELECT 'e' || i, 'aa', 1, '2026-05-04', '', 0, CASE WHEN {horse} % {EACH} = 0 THEN $1 ELSE substr($1, 1, 2048) END FROM n"
            ),
        ),
    ] {
        let sql = format!("{into} {numbers} {select}");
        let query = sqlx::query(&sql);
        let query = if select.contains("$1") { query.bind(record.to_owned()) } else { query };
        query.execute(pool).await.unwrap();
    }
    sqlx::query("ANALYZE").execute(pool).await.unwrap();
}

fn median(mut seconds: Vec<f64>) -> f64 {
    seconds.sort_by(f64::total_cmp);
    seconds[seconds.len() / 2]
}

/// Fills the database at `place`, then reads histories in turn by the archive and by the bare query.
fn measure(name: &str, place: &str, address: &str, record: &str) {
    let archive = Archive::open(place).unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let pool = runtime.block_on(AnyPoolOptions::new().max_connections(1).connect(address)).unwrap();
    runtime.block_on(fill(&pool, record));
    let (mut ours, mut bare) = (Vec::new(), Vec::new());
    for horse in (0..EXAMS / OF_ONE_HORSE).step_by(EACH as usize) {
        let horse = format!("h{horse}");
        let begun = Instant::now();
        let (kept, _) = archive.history(&horse).unwrap();
        ours.push(begun.elapsed().as_secs_f64());
        let begun = Instant::now();
        let rows = runtime.block_on(sqlx::query(BARE).bind(horse).fetch_all(&pool)).unwrap();
        let bytes: usize = rows.iter().map(|row| row.get::<String, _>(0).len()).sum();
        bare.push(begun.elapsed().as_secs_f64());
        assert_eq!((kept.len(), rows.len()), (OF_ONE_HORSE as usize, OF_ONE_HORSE as usize));
        assert_eq!(bytes, record.len() * rows.len());
    }
    let (ours, bare) = (median(ours), median(bare));
    println!(
        "history: {OF_ONE_HORSE} of {EXAMS} exams, {} KiB a record, {name}: {:.1} ms, bare query {:.1} ms, ratio {:.1}",
        record.len() / 1024,
        1000.0 * ours,
        1000.0 * bare,
        ours / bare
    );
}

fn main() {
    install_default_drivers();
    let record = filled();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("archive.sqlite");
    let file = file.to_str().unwrap();
    measure("SQLite", file, &format!("sqlite://{file}"), &record);
    drop(folder);
    let server = Server::start();
    measure("PostgreSQL", &server.address(), &server.address(), &record);
}
