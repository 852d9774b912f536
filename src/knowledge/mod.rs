//! What the exam amounts to: the record, its coverage and what to look at.

pub mod cautions;
pub mod step;
pub mod notes;
pub mod time_stamp_row;
mod left_out;
mod still_file;
mod entry_row;
pub mod record;
pub mod progress;
pub(crate) mod belongs;
pub mod key_stills;
pub mod coverage;
pub(crate) mod settled;
pub(crate) mod doubt;
pub mod label;
pub mod rows;
pub(crate) mod current;
pub(crate) mod contradiction;
pub(crate) mod denied;
pub(crate) mod undescribed;
pub mod measure;
pub mod check;
pub mod assemble;
