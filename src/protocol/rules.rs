//! What is checked, how much it matters and why; and the habits of a practice.
//!
//! Takes: `rules.toml` of the protocols.
//! Gives: `Rules`.
//! Never: what a rule looks at; that is code, under the same id.
//! Tested in: `tests/it/rules/`.

use serde::Deserialize;

use crate::code::{PlaneCode, StructureCode};

/// The rules and habits.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rules {
    /// How this practice works.
    pub habits: Habits,
    /// What else says that something is there.
    #[serde(default)]
    pub denial: Vec<Denial>,
    /// What comparisons say of a size.
    #[serde(default)]
    pub impressions: Impressions,
    /// The rules, in the order of their findings within one severity.
    pub rule: Vec<Rule>,
}

impl Rules {
    /// The rule with this id.
    #[must_use]
    pub fn rule(&self, id: &str) -> Option<&Rule> {
        self.rule.iter().find(|rule| rule.id == id)
    }
}

/// What says that something is there, besides its own term.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Denial {
    /// The term that was denied.
    pub of: String,
    /// Findings that say so.
    #[serde(default)]
    pub findings: Vec<String>,
    /// Values that say so where they are more than nothing.
    #[serde(default)]
    pub values: Vec<String>,
}

/// What a comparison with the last scan says of a size.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Impressions {
    /// What is compared with, as the grammar writes it.
    pub against: String,
    /// Terms that say that it is larger.
    pub larger: Vec<String>,
    /// Terms that say that it is smaller.
    pub smaller: Vec<String>,
    /// Terms that say that it is as it was.
    pub same: Vec<String>,
    /// Terms that say that it does well: only a cut-off that was passed contradicts them.
    pub better: Vec<String>,
    /// Findings whose comparison is one of the whole structure.
    pub of_structure: Vec<String>,
    /// A measured change of so many percent or less contradicts nobody.
    pub within_percent: f64,
}

/// One rule.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Rule {
    /// Its name in the record.
    pub id: String,
    /// How much its findings matter.
    pub severity: Weight,
    /// What it teaches.
    pub why: String,
    /// Where it comes from.
    pub source: String,
    /// In a few words, what its findings say against the label of the still that they point to.
    #[serde(default)]
    pub doubt: Option<String>,
    /// What goes wrong if nobody looks at its findings.
    #[serde(default)]
    pub danger: Danger,
    /// Its findings about a save call are settled once a person labels the still of that call.
    #[serde(default)]
    pub label_settles: bool,
    /// One look answers all its findings of an exam.
    #[serde(default)]
    pub one_look: bool,
}

/// What goes wrong if nobody looks, worst first.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Danger {
    /// What is recorded is of another horse.
    OtherHorse,
    /// What is recorded is of another limb.
    OtherLimb,
    /// Anything else.
    #[default]
    Other,
}

/// How much a rule matters here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Weight {
    /// Something is wrong or lost.
    Error,
    /// Something is probably missing or mistaken.
    Warn,
    /// Worth knowing.
    Info,
    /// Not checked in this practice.
    Off,
}

impl Weight {
    /// As the file writes it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Weight::Error => "error",
            Weight::Warn => "warn",
            Weight::Info => "info",
            Weight::Off => "off",
        }
    }
}

/// How a practice works; its own choice.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Habits {
    /// How the leg stands.
    pub stance: Stance,
    /// Structures scanned with a setting in one state.
    pub setting_for: Vec<SettingFor>,
    /// The setting that says where the probe's marker points.
    pub marker_setting: String,
    /// Usual imaging depth.
    pub depth: Depth,
    /// When a sweep is wanted.
    pub sweep: Sweep,
    /// Settings that end where another limb is called.
    #[serde(default)]
    pub until_next_limb: Vec<String>,
    /// Pairs of words that name the two sides; once one pair was used in an exam the other is asked about.
    #[serde(default)]
    pub sides: Vec<Vec<String>>,
    /// While listening, a change of limb is read back unless its word is trusted at least as much as this, 0 to 1.
    #[serde(default)]
    pub limb_trust: f64,
    /// A spoken correction of what was said longer ago than this many seconds is asked about.
    #[serde(default = "correction_reach_s")]
    pub correction_reach_s: f64,
    /// While listening, a zone further away than this many from the current one is asked about before it is acted on.
    pub jump_asked: usize,
    /// The order in which views are scanned, each as zone and plane; without one, that of the scheme.
    #[serde(default)]
    pub view_order: Vec<String>,
    /// Two stills of two limbs closer than this many seconds are asked about.
    pub limb_change_s: f64,
    /// Weeks until a horse with a lesion is scanned again.
    pub rescan_weeks: u32,
    /// Findings that are, alone, no reason to scan again.
    #[serde(default)]
    pub rescan_not_for: Vec<String>,
    /// Findings that say that nothing is wrong.
    #[serde(default)]
    pub no_lesion: Vec<String>,
    /// Findings that can be denied only while a setting is in one state.
    #[serde(default)]
    pub denied_with: Vec<DeniedWith>,
}

/// A finding that can be denied only while a setting is in one state.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DeniedWith {
    /// Term of the finding.
    pub term: String,
    /// Name of the setting.
    pub setting: String,
    /// The state in which it can be seen at all.
    pub state: String,
}

/// Where a practice's own rules do not say.
fn correction_reach_s() -> f64 {
    30.0
}

/// How the leg stands.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stance {
    /// Name of the setting.
    pub setting: String,
    /// Its state without weight on the leg.
    pub off_weight: String,
}

/// A structure that is scanned with a setting in one state.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SettingFor {
    /// Name of the setting.
    pub setting: String,
    /// Code of the structure.
    pub structure: StructureCode,
    /// The state this practice uses.
    pub state: String,
}

/// Imaging depths that need no question.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Depth {
    /// Name of the setting.
    pub setting: String,
    /// Least depth in centimetres.
    pub from_cm: f64,
    /// Largest depth in centimetres.
    pub to_cm: f64,
}

/// Where a sweep over the whole width is wanted.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sweep {
    /// Name of the setting.
    pub setting: String,
    /// The plane it is made in.
    pub plane: PlaneCode,
    /// In every zone, not only in those with a lesion.
    pub every_zone: bool,
}
