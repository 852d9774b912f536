//! What a person should look at.
//!
//! Takes: `Exam`, `Pairing`, the labelled stills, the coverage and the protocols.
//! Gives: `Finding`s, worst first, each pointing to its call or still where there is one.
//! Never: changes or drops anything; what is odd is kept and asked about.
//! Tested in: `tests/it/rules/`, each rule firing and silent.

mod after_end;
mod evidence;
mod journal;
mod views;
mod stills;
mod alike;
mod stated_site;
mod calls;
mod values;
mod lesions;
mod impressions;
mod habits;

use evidence::{Evidence, Hit};

use crate::exam::fold::Exam;
use crate::frames::pairing::Pairing;
pub(crate) use crate::knowledge::check::journal::{HEAD_IS_GONE, unclaimed_in_words};
use crate::knowledge::doubt::CLOCK_JUMPED;
use crate::knowledge::measure::row::MeasureRow;
use crate::knowledge::record::{CoverageRow, Finding, FrameRow, Severity};
use crate::protocol::Protocols;
use crate::protocol::rules::Weight;

/// What a rule looks for; severity, source and reason are in `rules.toml` under the same id.
type Find = fn(&Evidence) -> Vec<Hit>;

/// The rule about lines that were cut short, which a person settles before signing.
pub const TORN: &str = "journal-torn";

/// The ids of all rules that can be checked; within one severity findings keep this order.
pub fn rule_ids() -> impl Iterator<Item = &'static str> {
    RULES.iter().map(|rule| rule.0)
}

const RULES: [(&str, Find); 95] = [
    ("journal-damage", journal::damage),
    (TORN, journal::torn),
    ("journal-head-gone", journal::head_gone),
    ("signed-record-unclaimed", journal::unclaimed),
    ("exam-moved", journal::moved),
    ("audio-lost", journal::audio_lost),
    ("date-unknown", journal::date_unknown),
    ("clock-unknown", stills::clock_unknown),
    (CLOCK_JUMPED, journal::clock_jumped),
    ("clock-after-restart", stills::after_restart),
    ("file-changed", journal::file_changed),
    ("signed-record-differs", journal::other_record),
    ("signed-record-worded", journal::other_words),
    ("time-stamp-fails", journal::time_stamp),
    ("sound-cut-short", journal::sound_cut_short),
    ("not-closed", journal::not_closed),
    ("broken-off", journal::broken_off),
    ("unheard-after-end", after_end::unheard),
    ("sound-silent", journal::sound_silent),
    ("nothing-heard", journal::nothing_heard),
    ("horse-unknown", stills::horse_unknown),
    ("still-of-another-horse", stills::of_another_horse),
    ("still-in-two-exams", stills::in_two_exams),
    ("still-of-another-study", stills::of_another_study),
    ("still-in-two-formats", stills::in_two_formats),
    ("still-from-another-day", stills::from_another_day),
    ("still-unheard", stills::unheard),
    ("still-ambiguous", stills::ambiguous),
    ("still-unsure", alike::unsure),
    ("still-of-one-time", alike::of_one_time),
    ("still-of-two-scanners", alike::of_two_scanners),
    ("still-of-one-picture", alike::of_one_picture),
    ("still-unlabelled", stills::unlabelled),
    ("still-states-another-limb", stated_site::contradicted),
    ("still-states-another-view", stated_site::other_view),
    ("still-label-incomplete", stills::incomplete),
    ("still-of-zone-range", stills::of_zone_range),
    ("save-without-place", calls::save_without_place),
    ("save-after-unheard", calls::save_after_unheard),
    ("call-in-note", calls::call_in_note),
    ("limb-unheard", calls::limb_unheard),
    ("limb-change-while-saving", habits::limb_change_while_saving),
    ("call-problem", calls::problem),
    ("correction-reach", calls::correction_reach),
    ("utterance-problem", calls::utterance_problem),
    ("question-unanswered", calls::question_unanswered),
    ("view-without-still", views::without_still),
    ("view-missing", views::missing),
    ("structure-without-still", views::structure_without_still),
    ("lesion-in-one-plane", views::lesion_in_one_plane),
    ("quality-not-repeated", views::quality_not_repeated),
    ("exam-went-on", after_end::went_on),
    ("lesion-larger", lesions::larger),
    ("lesion-not-described", lesions::not_described),
    ("lesion-without-score", lesions::without_score),
    ("lesion-scored-normal", lesions::scored_normal),
    ("normal-and-lesion", lesions::called_normal),
    ("denied-and-seen", lesions::denied_and_seen),
    ("not-scanned-and-seen", views::left_out_and_seen),
    ("impression-unlike-measure", impressions::unlike_measure),
    ("score-without-view", lesions::score_without_view),
    ("off-weight", habits::off_weight),
    ("still-file", stills::file),
    ("structure-outside-zones", calls::structure_outside_zones),
    ("finding-without-place", calls::finding_without_place),
    ("finding-unconfirmed", calls::finding_unconfirmed),
    ("denied-without-setting", calls::denied_without_setting),
    ("foreign-position", calls::foreign_position),
    ("value-without-place", values::without_place),
    ("value-in-wrong-plane", values::wrong_plane),
    ("value-unit", values::odd_unit),
    ("value-out-of-bounds", values::out_of_bounds),
    ("value-replaced", lesions::value_replaced),
    ("value-said-again", lesions::value_said_again),
    ("value-not-single", values::not_single),
    ("entry-elsewhere", values::entry_elsewhere),
    ("entry-unused", values::entry_unused),
    ("clipped", journal::clipped),
    ("other-limb-not-scanned", habits::other_limb_not_scanned),
    ("sweep-missing", habits::sweep_missing),
    ("zone-order-jump", habits::zone_order_jump),
    ("standoff-habit", habits::setting_for),
    ("depth-unusual", habits::depth_unusual),
    ("level-unscaled", habits::level_unscaled),
    ("still-from-context", stills::from_context),
    ("still-paired-again", stills::paired_again),
    ("marker-unusual", calls::marker_unusual),
    ("marker-never-said", habits::marker_never_said),
    ("save-habit", habits::save_habit),
    ("note-draft-unread", calls::note_draft_unread),
    ("rescan-due", lesions::rescan_due),
    ("unit-unclear", values::unit_unclear),
    ("unit-assumed", values::unit_assumed),
    ("not-understood", journal::not_understood),
    ("too-quiet", journal::too_quiet),
];

/// Everything worth a look, worst first; equal input gives equal findings in equal order.
#[must_use]
pub fn check(
    exam: &Exam,
    pairing: &Pairing,
    frames: &[FrameRow],
    coverage: &[CoverageRow],
    measures: &[MeasureRow],
    protocols: &Protocols,
) -> Vec<Finding> {
    let evidence = Evidence { exam, pairing, frames, coverage, measures, protocols };
    let mut found: Vec<Finding> = Vec::new();
    for (id, find) in &RULES {
        let Some(severity) = severity(id, protocols) else { continue };
        found.extend(find(&evidence).into_iter().map(|hit| hit.finding(id, severity)));
    }
    // Stable: within one severity the order of the table stays.
    found.sort_by_key(|finding| finding.severity);
    found
}

/// How much a rule matters; none where it is switched off. One that the file does not name is still checked.
fn severity(id: &str, protocols: &Protocols) -> Option<Severity> {
    match protocols.rules.rule(id).map(|rule| rule.severity) {
        Some(Weight::Off) => None,
        Some(Weight::Error) => Some(Severity::Error),
        Some(Weight::Info) => Some(Severity::Info),
        Some(Weight::Warn) | None => Some(Severity::Warn),
    }
}
