//! From words to calls, from calls to the journal, from the journal to the exam.

pub mod call;
pub mod event;
pub mod context;
pub mod fold;
