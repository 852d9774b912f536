//! The report as data: each of its texts ready, before it becomes a page.
//!
//! Takes: `Record`, earlier exams, `Protocols` and `Pictures`.
//! Gives: `ReportData`, which the HTML page and the printed one are both made from.
//! Never: markup of either, but for the charts, which are SVG.
//! Tested in: `tests/it/report.rs`, `tests/it/print.rs`.

mod lines;
mod said;
mod first_page;
mod write;

pub(crate) use first_page::of_horse;
pub(crate) use lines::{
    CallLine, ChangeLine, CoverageCell, EnteredLine, FindingLine, FirstPage, Grid, KeyPicture, Letterhead,
    MeasuredSection, NoteLine, ReportData, SaidLine, SettledLine, Standing, StillLine,
};
pub(crate) use write::standing_of;
