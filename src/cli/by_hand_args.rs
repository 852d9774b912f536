//! The options of the commands by which a person adds numbers: `enter` and `trace`.
//!
//! Takes: the program's arguments.
//! Gives: `EnterArgs` and `TraceArgs`.
//! Never: does anything.
//! Tested in: `tests/it/measure_command.rs`, `tests/it/trace.rs`.

use super::args::{FolderArgs, not_blank};

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  zonecall enter exams/juniper --limb LF --zone 2B --structure SDFT --term area \
    --number 148 --unit mm2 --by Ada\n\n\
    Exit codes: 0 written, 2 an error, and nothing was written."
)]
pub(crate) struct EnterArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// Limb.
    #[arg(long, value_name = "CODE", required_unless_present = "withdraw")]
    pub(crate) limb: Option<String>,
    /// Zone, in the exam's scheme.
    #[arg(long, value_name = "CODE", required_unless_present = "withdraw")]
    pub(crate) zone: Option<String>,
    /// Structure.
    #[arg(long, value_name = "CODE", required_unless_present = "withdraw")]
    pub(crate) structure: Option<String>,
    /// What was measured or scored, as `protocols/values.toml` names it.
    #[arg(long, value_name = "TERM", required_unless_present = "withdraw")]
    pub(crate) term: Option<String>,
    /// The number.
    #[arg(long, required_unless_present = "withdraw")]
    pub(crate) number: Option<f64>,
    /// Unit; none for scores.
    #[arg(long)]
    pub(crate) unit: Option<String>,
    /// Accept a number outside the usual bounds of its term.
    #[arg(long)]
    pub(crate) unusual: bool,
    /// Withdraw a typed or traced value instead, by its line in the journal; it stays there and is no longer used.
    #[arg(long, value_name = "LINE", conflicts_with_all = ["limb", "zone", "structure", "term", "number", "unit"])]
    pub(crate) withdraw: Option<u64>,
    /// Who enters it.
    #[arg(long, value_name = "PERSON", value_parser = not_blank)]
    pub(crate) by: String,
}

#[derive(Debug, clap::Args)]
#[command(group = clap::ArgGroup::new("outline").required(true).args(["points", "ellipse", "click"]))]
#[command(
    after_help = "Examples:\n  zonecall trace exams/juniper --still IM0007.dcm --structure SDFT --by Ada --click 160,120\n  \
    zonecall trace exams/juniper --still IM0007.dcm --structure SDFT --lesion --by Ada --ellipse 160,120,40,18,0"
)]
pub(crate) struct TraceArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// The still: its file name or its id.
    #[arg(long, value_name = "STILL")]
    pub(crate) still: String,
    /// Who traces.
    #[arg(long, value_name = "PERSON", value_parser = not_blank)]
    pub(crate) by: String,
    /// Corners in pixels from the top left, such as "100,80 140,82 130,120".
    #[arg(long, value_name = "X,Y ...")]
    pub(crate) points: Option<String>,
    /// An ellipse: centre, half-axes, and the clockwise angle of the first in degrees.
    #[arg(long, value_name = "X,Y,A,B,DEG")]
    pub(crate) ellipse: Option<String>,
    /// A point inside the structure: an outline is suggested, and written only with --confirm. Not for a lesion, whose
    /// edge is too faint to be found from a point.
    #[arg(long, value_name = "X,Y", conflicts_with = "lesion")]
    pub(crate) click: Option<String>,
    /// Write the suggested outline; only after you have looked at it on the still.
    #[arg(long, requires = "click")]
    pub(crate) confirm: bool,
    /// The outline is the lesion's, not the whole structure's.
    #[arg(long)]
    pub(crate) lesion: bool,
    /// Structure, if the still's label has none or another.
    #[arg(long, value_name = "CODE")]
    pub(crate) structure: Option<String>,
    /// Limb, if the still's label has none or another.
    #[arg(long, value_name = "CODE")]
    pub(crate) limb: Option<String>,
    /// Zone, if the still's label has none or another.
    #[arg(long, value_name = "CODE")]
    pub(crate) zone: Option<String>,
}
