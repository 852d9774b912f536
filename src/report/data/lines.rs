//! The texts of the vet's report, in the order in which it says them.
//!
//! Takes: nothing; these are the types between the record and the pages made from it.
//! Gives: `ReportData` and its lines.
//! Never: markup, but for the charts, which are SVG.
//! Tested in: `tests/it/report.rs`, `tests/it/print.rs`.

use serde::Serialize;

use crate::exam::seq::Seq;
use crate::report::measure_table::MeasureTable;
use crate::report::overlay::OverlayLine;

/// Everything the vet's report says, in the order it says it.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct ReportData {
    /// For the window and the properties of the file.
    pub(crate) title: String,
    /// What kind of report this is.
    pub(crate) kicker: &'static str,
    /// The horse, large.
    pub(crate) horse: String,
    /// Day of the exam at its place.
    pub(crate) day: String,
    /// Name, and one or more lines.
    pub(crate) facts: Vec<(&'static str, Vec<String>)>,
    /// What a person who sent the horse reads first.
    pub(crate) first_page: FirstPage,
    /// Draft or signed, and the cautions.
    pub(crate) status: Standing,
    /// What is covered and what is missing.
    pub(crate) summary: String,
    /// Worst first.
    pub(crate) findings: Vec<FindingLine>,
    /// A table for each limb and scheme.
    pub(crate) grids: Vec<Grid>,
    pub(crate) said: Vec<SaidLine>,
    /// None where nothing was measured.
    pub(crate) measured: Option<MeasuredSection>,
    pub(crate) entered: Vec<EnteredLine>,
    pub(crate) stills: Vec<StillLine>,
    pub(crate) calls: Vec<CallLine>,
    pub(crate) notes: Vec<NoteLine>,
    pub(crate) changes: Vec<ChangeLine>,
    /// Findings that nobody has to look at any more.
    pub(crate) settled: Vec<SettledLine>,
    /// How the scanner's clock ran.
    pub(crate) clock: Vec<String>,
}

/// The first page, and the pictures that go with it.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct FirstPage {
    pub(crate) letterhead: Option<Letterhead>,
    /// Name and value.
    pub(crate) signalment: Vec<(&'static str, String)>,
    /// What people wrote: name and text.
    pub(crate) words: Vec<(&'static str, String)>,
    /// Nobody has written what the scan means.
    pub(crate) lacks_impression: bool,
    /// What was found, limb by limb.
    pub(crate) found: Vec<LimbFound>,
    /// How many points nobody has settled.
    pub(crate) open: usize,
    pub(crate) pictures: Vec<KeyPicture>,
    /// Places with a finding whose pictures are not shown, and why.
    pub(crate) not_shown: Vec<String>,
    pub(crate) appendix: bool,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct Letterhead {
    pub(crate) name: String,
    pub(crate) lines: Vec<String>,
    /// `png` or `jpg`; empty where there is no logo.
    pub(crate) logo: &'static str,
}

/// What was found on one limb.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct LimbFound {
    pub(crate) limb: String,
    /// What is not normal.
    pub(crate) lines: Vec<FoundLine>,
    /// What was called normal, in one sentence; empty where nothing was.
    pub(crate) normal: String,
}

#[derive(Debug, Clone, PartialEq, Serialize)]
pub(crate) struct FoundLine {
    pub(crate) structure: String,
    pub(crate) what: String,
    /// Zones, and planes where only one shows it.
    pub(crate) places: String,
}

/// A still that shows a finding, or the same view of the other limb.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct KeyPicture {
    pub(crate) number: usize,
    #[serde(skip)]
    pub(crate) id: String,
    pub(crate) caption: String,
    pub(crate) said: Vec<String>,
    /// Height of a width of one.
    pub(crate) tall: f64,
    pub(crate) lines: Vec<OverlayLine>,
}

/// How far the report can be relied on.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Standing {
    /// In capitals.
    pub(crate) word: String,
    /// Who signed, or nothing.
    pub(crate) signed: String,
    pub(crate) cautions: String,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct FindingLine {
    /// `bad`, `warn` or `info`.
    pub(crate) class: &'static str,
    pub(crate) word: &'static str,
    pub(crate) text: String,
    /// Time of day; empty where it is of no instant.
    pub(crate) at: String,
    /// A call of this report.
    pub(crate) call: Option<Seq>,
    /// A still of this report, by its number.
    pub(crate) still: Option<usize>,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct Grid {
    pub(crate) limb: String,
    pub(crate) scheme: String,
    /// Names of the planes across.
    pub(crate) planes: Vec<String>,
    /// Zone, and a cell for each plane.
    pub(crate) rows: Vec<(String, Vec<CoverageCell>)>,
}

/// What there is of one view.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct CoverageCell {
    /// `stills`, `notdone`, `saved`, `called`, `missing` or `none`.
    pub(crate) class: &'static str,
    pub(crate) words: String,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct SaidLine {
    pub(crate) place: String,
    pub(crate) structure: String,
    pub(crate) what: String,
    pub(crate) sure: String,
    pub(crate) call: Seq,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct MeasuredSection {
    /// Days since each injury.
    pub(crate) injuries: Vec<String>,
    /// SVG: the leg by zones, then the trend over time.
    pub(crate) charts: Vec<String>,
    /// Its name in words, and its table.
    pub(crate) tables: Vec<(String, MeasureTable)>,
    /// Numbers that no measure is made from, each with the reason.
    pub(crate) not_used: Vec<String>,
}

/// A value that was typed or traced.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct EnteredLine {
    pub(crate) line: Seq,
    pub(crate) when: String,
    pub(crate) place: String,
    pub(crate) what: String,
    pub(crate) how: &'static str,
    pub(crate) by: String,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct StillLine {
    pub(crate) number: usize,
    #[serde(skip)]
    pub(crate) id: String,
    /// Empty where there is none.
    pub(crate) label: String,
    /// How the label came about, and how sure it is.
    pub(crate) state: String,
    /// Somebody has to choose a label.
    pub(crate) open: bool,
    pub(crate) call: Option<Seq>,
    /// Other readings, each with its call.
    pub(crate) rivals: Vec<(String, Option<Seq>, String)>,
    pub(crate) said: Vec<String>,
    pub(crate) saved: String,
    /// Name of the file.
    pub(crate) name: String,
    #[serde(skip)]
    pub(crate) file: String,
    /// Why there is no picture; empty where there is one.
    pub(crate) no_picture: String,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct CallLine {
    pub(crate) seq: Seq,
    pub(crate) time: String,
    /// Second of the recording.
    pub(crate) sound: String,
    pub(crate) words: String,
    /// `gone`, `unknown` or empty.
    pub(crate) class: &'static str,
    pub(crate) corrects: bool,
    pub(crate) meaning: String,
    pub(crate) place: String,
    /// Calls and lines by hand that correct it, each with whether it is a call of this report.
    pub(crate) corrected_by: Vec<(Seq, bool)>,
    pub(crate) sure: String,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct NoteLine {
    pub(crate) text: String,
    pub(crate) call: Option<Seq>,
}

/// A finding that a person settled.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct SettledLine {
    /// The change that settled it.
    pub(crate) line: Seq,
    pub(crate) when: String,
    pub(crate) by: String,
    pub(crate) text: String,
    pub(crate) why: String,
}

#[derive(Debug, Clone, Serialize)]
pub(crate) struct ChangeLine {
    pub(crate) line: Seq,
    pub(crate) when: String,
    pub(crate) by: String,
    pub(crate) what: String,
    pub(crate) taken_back_by: Option<Seq>,
    pub(crate) was: String,
    pub(crate) why: String,
}
