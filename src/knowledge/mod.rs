//! What the exam amounts to: the record, its coverage and what to look at.

pub mod place;
pub mod step;
pub mod record;
pub mod progress;
pub mod coverage;
pub mod measure;
pub(crate) mod doubt;
pub mod rows;
pub mod check;
