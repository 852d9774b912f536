//! Files an exam, once.
//!
//! Takes: a record, and the length and last hash of its journal.
//! Gives: what became of it.
//! Never: half an exam: all rows of one filing are written, or none.
//! Tested in: `tests/it/archive.rs`.

use std::sync::atomic::Ordering;

use chrono::{DateTime, SecondsFormat, Utc};
use sqlx::{Any, Executor as _, Transaction};

use crate::archive::open::{Archive, ArchiveError, folded};
use crate::exam::closed_sets::CallKind;
use crate::knowledge::record::{CallRow, Finding, Record, standing};
use crate::language::closed_sets::Class;

/// An exam to be filed.
#[derive(Debug, Clone, Copy)]
pub struct Filed<'a> {
    /// The record of the exam, held against nothing.
    pub record: &'a Record,
    /// Lines of its journal.
    pub lines: u64,
    /// SHA-256 of the journal's last line.
    pub hash: &'a str,
    /// Where the exam folder is, for people.
    pub folder: &'a str,
    /// When it is filed.
    pub at: DateTime<Utc>,
}

/// What became of an exam that was filed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Filing {
    /// It was not there.
    New,
    /// It is longer than the version that was there, which is kept as well.
    Longer,
    /// A longer version was there and stays in use; this one is kept as well.
    Shorter,
    /// Just this version was there.
    Known,
}

type ArchiveRow<'a> = [&'a str; 5];

impl Archive {
    /// Files an exam; the same one a second time changes nothing, whoever files it.
    ///
    /// # Errors
    /// When the database refuses; then nothing was written.
    pub fn file(&self, filed: &Filed) -> Result<Filing, ArchiveError> {
        let failed = self.failed("write to");
        self.has_written.store(true, Ordering::Relaxed);
        self.runtime
            .block_on(async {
                let mut tx = self.pool.begin().await?;
                let filing = file(&mut tx, filed).await?;
                tx.commit().await?;
                Ok(filing)
            })
            .map_err(failed)
    }
}

impl Archive {
    /// Deletes all that is kept of an exam, so that the file does not hold it any more; gives how many versions that were.
    ///
    /// # Errors
    /// When the database refuses; what was deleted by then is gone from every search.
    pub fn forget(&self, exam_id: &str) -> Result<u64, ArchiveError> {
        self.has_written.store(true, Ordering::Relaxed);
        let forgotten = async {
            let mut tx = self.pool.begin().await?;
            let mut n_versions = 0;
            for delete in [
                "DELETE FROM seen WHERE exam_id = $1",
                "DELETE FROM version WHERE exam_id = $1",
                "DELETE FROM exam WHERE id = $1",
            ] {
                let gone = sqlx::query(delete).bind(exam_id.to_owned()).execute(&mut *tx).await?;
                if delete.contains("version") {
                    n_versions = gone.rows_affected();
                }
            }
            tx.commit().await?;
            if n_versions > 0 && !self.is_server {
                // Rows that were deleted stay readable in the file until it is written anew.
                self.pool.execute("VACUUM").await?;
            }
            Ok(n_versions)
        };
        self.runtime.block_on(forgotten).map_err(self.failed("delete from"))
    }
}

async fn file(tx: &mut Transaction<'_, Any>, filed: &Filed<'_>) -> sqlx::Result<Filing> {
    let exam = &filed.record.exam;
    let text = |value: &Option<String>| value.clone().unwrap_or_default();
    // Written to although nothing changes: it locks the exam, so that two who file it take turns. Whose it is follows with
    // the version in use.
    sqlx::query(
        "INSERT INTO exam (id, started_at, horse_name, horse_folded, horse_id, person, standing) \
         VALUES ($1, $2, '', '', '', '', '') ON CONFLICT (id) DO UPDATE SET id = excluded.id",
    )
    .bind(exam.id.clone())
    .bind(instant(exam.started_at))
    .execute(&mut **tx)
    .await?;
    let before: Vec<(String, i64)> =
        sqlx::query_as("SELECT hash, lines FROM version WHERE exam_id = $1 ORDER BY lines DESC, hash")
            .bind(exam.id.clone())
            .fetch_all(&mut **tx)
            .await?;
    if before.iter().any(|(hash, _)| hash == filed.hash) {
        // What counts as seen may have changed with the program.
        if before.first().is_some_and(|(hash, _)| hash == filed.hash) {
            put_seen(tx, filed.record).await?;
        }
        return Ok(Filing::Known);
    }
    let lines = i64::try_from(filed.lines).unwrap_or(i64::MAX);
    put_version(tx, filed, lines).await?;
    if before.first().is_some_and(|(hash, longest)| (lines, filed.hash) < (*longest, hash.as_str())) {
        return Ok(Filing::Shorter);
    }
    // The horse may have been named since it was filed.
    sqlx::query(
        "UPDATE exam SET standing = $1, horse_name = $2, horse_folded = $3, horse_id = $4, person = $5 WHERE id = $6",
    )
    .bind(filed.hash.to_owned())
    .bind(text(&exam.horse.name))
    .bind(folded(&text(&exam.horse.name)))
    .bind(text(&exam.horse.id).trim().to_owned())
    .bind(text(&exam.person))
    .bind(exam.id.clone())
    .execute(&mut **tx)
    .await?;
    put_seen(tx, filed.record).await?;
    Ok(if before.is_empty() { Filing::New } else { Filing::Longer })
}

async fn put_version(tx: &mut Transaction<'_, Any>, filed: &Filed<'_>, lines: i64) -> sqlx::Result<()> {
    let open = filed.record.findings.iter().filter(|finding| Finding::is_open(finding)).count();
    let record = serde_json::to_string(filed.record)
        .unwrap_or_else(|error| unreachable!("the keys of a record are text, so it can be written: {error}"));
    sqlx::query(
        "INSERT INTO version (exam_id, hash, lines, filed_at, folder, to_look_at, record) \
         VALUES ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(filed.record.exam.id.clone())
    .bind(filed.hash.to_owned())
    .bind(lines)
    .bind(instant(filed.at))
    .bind(filed.folder.to_owned())
    .bind(i64::try_from(open).unwrap_or(i64::MAX))
    .bind(record)
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Only the version in use is searched for what was seen.
async fn put_seen(tx: &mut Transaction<'_, Any>, record: &Record) -> sqlx::Result<()> {
    sqlx::query("DELETE FROM seen WHERE exam_id = $1")
        .bind(record.exam.id.clone())
        .execute(&mut **tx)
        .await?;
    for [limb, zone, structure, term, what] in seen(record) {
        sqlx::query(
            "INSERT INTO seen (exam_id, limb, zone, structure, term, what) VALUES ($1, $2, $3, $4, $5, $6)",
        )
        .bind(record.exam.id.clone())
        .bind(limb.to_owned())
        .bind(zone.to_owned())
        .bind(structure.to_owned())
        .bind(term.to_owned())
        .bind(what.to_owned())
        .execute(&mut **tx)
        .await?;
    }
    Ok(())
}

/// Findings and values that count: limb, zone, structure, term, and `finding`, `possible`, `value` or `entered`. What was looked
/// for and is not there was not seen.
fn seen(record: &Record) -> Vec<ArchiveRow<'_>> {
    let is_seen = |call: &&CallRow| match call.kind {
        CallKind::Finding => match call.class {
            Some(Class::Negative) => false,
            Some(Class::Normal) => call.is_all_normal(),
            _ => true,
        },
        CallKind::Value => true,
        _ => false,
    };
    let calls = standing(&record.calls).filter(is_seen);
    let mut rows: Vec<ArchiveRow> = Vec::new();
    for call in calls {
        let (place, term) = (&call.place, call.term.as_deref().unwrap_or_default());
        rows.push([
            place.limb.as_deref().unwrap_or_default(),
            place.zone.as_deref().unwrap_or_default(),
            place.structure.as_deref().unwrap_or_default(),
            term,
            if call.certainty.is_some() { "possible" } else { call.kind.as_str() },
        ]);
    }
    for entry in &record.entries {
        let place = &entry.place;
        rows.push([
            place.limb.as_deref().unwrap_or_default(),
            place.zone.as_deref().unwrap_or_default(),
            place.structure.as_deref().unwrap_or_default(),
            &entry.term,
            "entered",
        ]);
    }
    rows
}

/// RFC 3339 in UTC, always as long, so that it sorts.
pub(super) fn instant(at: DateTime<Utc>) -> String {
    at.to_rfc3339_opts(SecondsFormat::Millis, true)
}
