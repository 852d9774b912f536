//! From words to calls, from calls to the journal, from the journal to the exam.

pub mod call;
pub mod patient;
mod shown;
pub mod event;
pub mod parse;
pub mod stakes;
pub mod cutter;
pub mod attend;
pub mod bounds;
mod lines;
mod head;
pub mod journal;
pub mod context;
pub mod review;
pub mod sign;
pub mod breaks;
pub mod timeline;
pub mod logged;
mod correct;
mod by_hand;
pub mod fold;
pub mod identity;
pub mod sound;
pub mod live;
pub mod seal;
