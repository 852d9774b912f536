//! Rules about impressions: what a comparison with the last scan says, held against what was measured.
//!
//! Takes: the evidence of an exam, with changes since an earlier one among its measures where one was given.
//! Gives: hits in the order of the calls.
//! Never: says which of the two is right; both are kept.
//! Tested in: `tests/it/rules/lesions.rs`.

use crate::exam::call::{Act, FindingSaid};
use crate::exam::fold::LoggedCall;
use crate::knowledge::check::evidence::{Evidence, Hit, said as said_by};
use crate::knowledge::check::lesions::whole_of;
use crate::knowledge::measure::row::{MeasureRow, Name};
use crate::language::closed_sets::Class;

/// What a comparison says of a size.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Said {
    Larger,
    Smaller,
    Same,
    Better,
}

/// How an area changed, in percent of what it was, and the row that says so.
struct Change<'a> {
    percent: f64,
    row: &'a MeasureRow,
}

/// "Smaller than last time", while an area measured there grew.
pub(super) fn unlike_measure(evidence: &Evidence) -> Vec<Hit> {
    let rules = &evidence.protocols.rules.impressions;
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls() {
        let Act::Finding(finding) = &call.act else { continue };
        let Some((said, names)) = said_of_size(finding, evidence) else { continue };
        let mut changes = changes(call, names, evidence);
        // "Smaller than in March" says nothing of an exam of April.
        if let Some(month) = finding.against.as_deref().and_then(month_of) {
            changes.retain(|change| change.row.against.as_deref().and_then(month_in) == Some(month));
        }
        let cut_off = evidence.protocols.measuring.earlier.over_percent;
        let Some(change) = contradicts(said, &changes, rules.within_percent, cut_off) else { continue };
        let Change { percent, row } = change;
        let what = if row.name == Name::AreaChange { "the area" } else { "the area of the lesion" };
        let how = if *percent > 0.0 { "larger" } else { "smaller" };
        let message = format!(
            "{}: {}, but {what} was measured {:.0} % {how} than on {}",
            call.context.place.in_words(evidence.protocols),
            said_by(call),
            percent.abs(),
            row.against.as_deref().unwrap_or_default()
        );
        hits.push(Hit::call(call, message));
    }
    hits
}

/// What is said of which size; nothing where it is held against something else, or is of what is not measured.
fn said_of_size(finding: &FindingSaid, evidence: &Evidence) -> Option<(Said, &'static [Name])> {
    let rules = &evidence.protocols.rules.impressions;
    let against = finding.against.as_deref()?;
    if against != rules.against && month_of(against).is_none() || finding.certainty.is_some() {
        return None;
    }
    let (term, names): (&String, &[Name]) = match finding.class {
        Class::Comparison => (&finding.term, &[Name::AreaChange, Name::LesionChange]),
        Class::Lesion if rules.of_structure.contains(&finding.term) => {
            (finding.than.as_ref()?, &[Name::AreaChange])
        }
        Class::Lesion if evidence.protocols.sized.contains(&finding.term) => {
            (finding.than.as_ref()?, &[Name::LesionChange])
        }
        _ => return None,
    };
    let lists = [
        (Said::Larger, &rules.larger),
        (Said::Smaller, &rules.smaller),
        (Said::Same, &rules.same),
        (Said::Better, &rules.better),
    ];
    let said = lists.into_iter().find(|(_, terms)| terms.contains(term))?.0;
    Some((said, names))
}

/// The month of a comparison such as `scan in March`, from 1.
fn month_of(against: &str) -> Option<u32> {
    let name = against.rsplit_once(" in ")?.1;
    name.parse::<chrono::Month>().ok().map(|month| month.number_from_month())
}

/// The month of a date such as `2026-03-10`.
fn month_in(date: &str) -> Option<u32> {
    date.get(5..7)?.parse().ok()
}

/// What was measured at the place of the call, then and now.
fn changes<'a>(call: &LoggedCall, names: &[Name], evidence: &Evidence<'a>) -> Vec<Change<'a>> {
    let place = &call.context.place;
    let structure = place.structure.as_ref().map(|code| whole_of(evidence.protocols, code));
    let here = |row: &&MeasureRow| {
        names.contains(&row.name)
            && place.limb.as_ref() == Some(&row.limb)
            && place.zone == row.zone
            && structure == row.structure.as_ref()
    };
    let change = |row: &'a MeasureRow| {
        let percent = match row.name {
            Name::AreaChange => row.value?,
            _ => percent_of_before(row, evidence)?,
        };
        Some(Change { percent, row })
    };
    evidence.measures.iter().filter(here).filter_map(change).collect()
}

/// The change of a lesion's area in percent of what it was; none where there was none.
fn percent_of_before(row: &MeasureRow, evidence: &Evidence) -> Option<f64> {
    let changed = row.value?;
    let is_now = |now: &&MeasureRow| {
        matches!(now.name, Name::LesionArea | Name::LesionTotal)
            && (&now.limb, &now.zone, &now.structure, &now.scheme)
                == (&row.limb, &row.zone, &row.structure, &row.scheme)
    };
    let before = evidence.measures.iter().find(is_now)?.value? - changed;
    (before > 0.0).then(|| 100.0 * changed / before)
}

/// The change that cannot be, if what was said is right.
fn contradicts<'a, 'b>(
    said: Said,
    changes: &'b [Change<'a>],
    within: f64,
    cut_off: f64,
) -> Option<&'b Change<'a>> {
    let of_all = |change: &&Change| change.row.name == Name::AreaChange;
    match said {
        Said::Smaller => changes.iter().find(|change| change.percent > within),
        // The structure may have grown and the lesion not, or the other way round.
        Said::Larger if changes.iter().all(|change| change.percent < -within) => changes.first(),
        Said::Larger => None,
        Said::Same => changes.iter().filter(of_all).find(|change| change.percent.abs() > cut_off),
        Said::Better => changes.iter().filter(of_all).find(|change| change.percent > cut_off),
    }
}
