//! The tables of the archive, as numbered steps that are taken once.
//!
//! Takes: nothing.
//! Gives: the steps from an empty database to today's tables; the same on SQLite and PostgreSQL.
//! Never: a changed step; what was taken once stays as it is, and a change is a new step.
//! Tested in: `tests/it/archive.rs`.

use std::borrow::Cow;

use sqlx::migrate::{Migration, MigrationType, Migrator};

const STEPS: [(i64, &str, &str); 1] =
    [(1, "exams, their versions, what was seen", include_str!("0001_exams.sql"))];

/// The steps, for `sqlx` to take those that were not taken yet.
pub(super) fn migrator() -> Migrator {
    let step = |(number, name, sql): (i64, &'static str, &'static str)| {
        Migration::new(number, Cow::Borrowed(name), MigrationType::Simple, Cow::Borrowed(sql), false)
    };
    Migrator { migrations: STEPS.into_iter().map(step).collect(), ..Migrator::DEFAULT }
}
