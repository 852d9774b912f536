//! What the exam amounts to: the record, its coverage and what to look at.

pub mod record;
pub mod rows;
pub mod coverage;
pub mod check;
