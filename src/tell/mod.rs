//! What people and other systems get: the report, the phrase card and the exports.

pub mod card;
pub mod export;
pub mod history;
pub mod picture;
pub mod report;
pub mod sheet;
mod chart;
mod course;
mod measured;
mod cues;
mod page;
mod said;
mod table;
mod tables;
mod words;
