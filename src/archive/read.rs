//! Reads the archive: all exams of a horse, and exams by what was seen.
//!
//! Takes: a horse, or what is wanted.
//! Gives: exams in the order of time, each by the version in use.
//! Never: changes anything.
//! Tested in: `tests/it/archive.rs`.

use chrono::{DateTime, Utc};

use crate::archive::open::{Archive, ArchiveError, folded};
use crate::archive::write::instant;
use crate::code::{LimbCode, StructureCode, ZoneCode};
use crate::exam::event::Horse;
use crate::knowledge::record::Record;

/// Exams of one horse that are read at most, the latest.
const HISTORY_MAX: usize = 500;
/// Rows that a search gives at most.
const FOUND_MAX: usize = 1000;

/// All exams of a horse, by folded name (`$1`) or number (`$2`); both are indexed.
pub const HISTORY_SQL: &str = "SELECT exam.id, version.record, version.folder, version.filed_at FROM exam \
    JOIN version ON version.exam_id = exam.id AND version.hash = exam.standing \
    WHERE exam.id IN (SELECT id FROM exam WHERE horse_folded = $1 UNION SELECT id FROM exam WHERE horse_id = $2) \
    ORDER BY exam.started_at, exam.id";

/// All versions of the exams of a horse, named as there.
const VERSIONS_SQL: &str = "SELECT version.exam_id, version.hash, version.record FROM version \
    WHERE version.exam_id IN (SELECT id FROM exam WHERE horse_folded = $1 UNION SELECT id FROM exam WHERE horse_id = $2) \
    ORDER BY version.exam_id, version.lines, version.hash";

/// Horses by name and number, the latest exam first; so many exams at most.
const HORSES_SQL: &str = "SELECT horse_name, horse_id FROM exam WHERE horse_name <> '' AND horse_id <> '' \
    ORDER BY started_at DESC, id LIMIT 5000";

/// An exam out of the archive.
#[derive(Debug, Clone, PartialEq)]
pub struct ArchivedRecord {
    /// Its record as it was filed.
    pub record: Record,
    /// Where its folder was then.
    pub folder: String,
    /// When it was filed, RFC 3339 in UTC.
    pub filed_at: String,
}

/// One version of an exam, as it was filed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FiledVersion {
    /// The exam.
    pub exam_id: String,
    /// The hash of the last line of the journal that it was made from.
    pub hash: String,
    /// The record, as JSON.
    pub record: String,
}

/// What is looked for; what is left out does not matter.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ArchiveQuery {
    /// Name or number of the horse.
    pub horse: Option<String>,
    /// Limb.
    pub limb: Option<LimbCode>,
    /// Zone.
    pub zone: Option<ZoneCode>,
    /// Structure.
    pub structure: Option<StructureCode>,
    /// Finding or measure.
    pub term: Option<String>,
    /// Not before this instant.
    pub since: Option<DateTime<Utc>>,
    /// Before this instant.
    pub until: Option<DateTime<Utc>>,
    /// Only exams with something to look at.
    pub to_look_at: bool,
}

/// What a search found: a place and a term in an exam, or the exam where no place was asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// The exam.
    pub exam_id: String,
    /// When it began, RFC 3339 in UTC.
    pub started_at: String,
    /// Name of the horse; may be empty.
    pub horse_name: String,
    /// The practice's number for it; may be empty.
    pub horse_id: String,
    /// Limb; empty where no place was asked for, as are the next three.
    pub limb: LimbCode,
    /// Zone.
    pub zone: ZoneCode,
    /// Structure.
    pub structure: StructureCode,
    /// Finding or measure.
    pub term: String,
    /// Where its folder was when it was filed.
    pub folder: String,
}

impl Archive {
    /// The exams of a horse, by its name or the practice's number for it, the earliest first; and why others of its exams
    /// cannot be read.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn history(&self, horse: &str) -> Result<(Vec<ArchivedRecord>, Vec<ArchiveError>), ArchiveError> {
        // An empty name would be every horse without one.
        if horse.trim().is_empty() {
            return Ok((Vec::new(), Vec::new()));
        }
        let query = sqlx::query_as::<_, (String, String, String, String)>(HISTORY_SQL)
            .bind(folded(horse))
            .bind(horse.trim().to_owned());
        let mut rows = self.runtime.block_on(query.fetch_all(&self.pool)).map_err(self.failed("read"))?;
        rows.drain(..rows.len().saturating_sub(HISTORY_MAX));
        let (mut kept, mut unread) = (Vec::new(), Vec::new());
        for (id, record, folder, filed_at) in rows {
            match serde_json::from_str(&record) {
                Ok(record) => kept.push(ArchivedRecord { record, folder, filed_at }),
                Err(source) => unread.push(ArchiveError::Record { id, source }),
            }
        }
        Ok((kept, unread))
    }

    /// Every version of the exams of a horse, by its name or the practice's number for it, readable or not.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn versions(&self, horse: &str) -> Result<Vec<FiledVersion>, ArchiveError> {
        // An empty name would be every horse without one.
        if horse.trim().is_empty() {
            return Ok(Vec::new());
        }
        let query = sqlx::query_as::<_, (String, String, String)>(VERSIONS_SQL)
            .bind(folded(horse))
            .bind(horse.trim().to_owned());
        let rows = self.runtime.block_on(query.fetch_all(&self.pool)).map_err(self.failed("read"))?;
        let version = |(exam_id, hash, record)| FiledVersion { exam_id, hash, record };
        Ok(rows.into_iter().map(version).collect())
    }

    /// The horses that have a name and a number of the practice, each once; of one number the name of the latest exam.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn horses(&self) -> Result<Vec<Horse>, ArchiveError> {
        let query = sqlx::query_as::<_, (String, String)>(HORSES_SQL);
        let rows = self.runtime.block_on(query.fetch_all(&self.pool)).map_err(self.failed("read"))?;
        let mut horses: Vec<Horse> = Vec::new();
        for (name, id) in rows {
            if horses.iter().all(|known| known.id.as_ref() != Some(&id)) {
                horses.push(Horse { name: Some(name), id: Some(id), ..Horse::default() });
            }
        }
        Ok(horses)
    }

    /// The exams in which what is wanted was seen or measured, the earliest first.
    ///
    /// # Errors
    /// When the database refuses.
    pub fn find(&self, wanted: &ArchiveQuery) -> Result<Vec<Found>, ArchiveError> {
        let (sql, values) = search(wanted);
        let mut query = sqlx::query_as::<_, FoundRow>(&sql);
        for value in values {
            query = query.bind(value);
        }
        let rows = self.runtime.block_on(query.fetch_all(&self.pool)).map_err(self.failed("search"))?;
        Ok(rows.into_iter().map(Found::from).collect())
    }
}

/// What was said to be possible is shown so.
const SEEN_COLUMNS: &str = "seen.limb, seen.zone, seen.structure, \
    CASE WHEN seen.what = 'possible' THEN 'possible ' || seen.term ELSE seen.term END AS term";

type FoundRow = (String, String, String, String, String, String, String, String, String);

impl From<FoundRow> for Found {
    fn from(row: FoundRow) -> Found {
        let (exam_id, started_at, horse_name, horse_id, limb, zone, structure, term, folder) = row;
        let (limb, zone, structure) = (limb.into(), zone.into(), structure.into());
        Found { exam_id, started_at, horse_name, horse_id, limb, zone, structure, term, folder }
    }
}

/// Only what was asked for is in the query, so that an index can serve it; values are bound, never written into it.
fn search(wanted: &ArchiveQuery) -> (String, Vec<String>) {
    let places = [
        ("limb", wanted.limb.as_deref()),
        ("zone", wanted.zone.as_deref()),
        ("structure", wanted.structure.as_deref()),
        ("term", wanted.term.as_deref()),
    ];
    let by_place = places.iter().any(|(_, value)| value.is_some());
    let (columns, seen) = if by_place {
        (SEEN_COLUMNS, " JOIN seen ON seen.exam_id = exam.id")
    } else {
        ("'' AS limb, '' AS zone, '' AS structure, '' AS term", "")
    };
    let mut values: Vec<String> = Vec::new();
    let mut conditions: Vec<String> = Vec::new();
    let mut bind = |value: String| {
        values.push(value);
        format!("${}", values.len())
    };
    for (column, value) in places {
        if let Some(value) = value {
            conditions.push(format!("seen.{column} = {}", bind(value.to_owned())));
        }
    }
    if let Some(horse) = &wanted.horse {
        let (name, number) = (bind(folded(horse)), bind(horse.trim().to_owned()));
        conditions.push(format!("(exam.horse_folded = {name} OR exam.horse_id = {number})"));
    }
    if let Some(since) = wanted.since {
        conditions.push(format!("exam.started_at >= {}", bind(instant(since))));
    }
    if let Some(until) = wanted.until {
        conditions.push(format!("exam.started_at < {}", bind(instant(until))));
    }
    if wanted.to_look_at {
        conditions.push("version.to_look_at > 0".to_owned());
    }
    let filter =
        if conditions.is_empty() { String::new() } else { format!(" WHERE {}", conditions.join(" AND ")) };
    let sql = format!(
        "SELECT DISTINCT exam.id, exam.started_at, exam.horse_name, exam.horse_id, {columns}, version.folder FROM exam \
         JOIN version ON version.exam_id = exam.id AND version.hash = exam.standing{seen}{filter} \
         ORDER BY exam.started_at, exam.id LIMIT {FOUND_MAX}"
    );
    (sql, values)
}
