//! What the exam amounts to: the record, its coverage and what to look at.

pub mod record;
pub mod coverage;
mod doubt;
pub mod rows;
pub mod check;
