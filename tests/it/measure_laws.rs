//! Measures held against something, and laws that always hold.
use crate::support::said;

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;
use said::{INJURED, LESION, PROTOCOLS, Said, ZONES, near, row, sdft, value, with_number};
use zonecall::knowledge::measure::Against;
use zonecall::knowledge::measure::quantity::{Area, Length};
use zonecall::knowledge::measure::row::{MeasureRow, Name};
use zonecall::protocol::measuring::Reference;

#[test]
fn unlike_exams_are_not_compared() {
    let now = sdft("LF", &INJURED, &LESION);
    let mut then = now.earlier("2026-02-01T08:00:00Z");
    let total = then.earlier[0].rows.iter_mut().find(|row| row.name == Name::AreaTotal).unwrap();
    total.zones.pop();
    let rows = now.against(&then);
    let change = row(&rows, "LF", "SDFT", None, Name::AreaChange);
    assert_eq!(change.value, None, "0 % would compare seven zones with six");
    assert!(change.why_not.as_ref().unwrap().contains("different zones"));
    let mut then = now.earlier("2026-02-01T08:00:00Z");
    for row in &mut then.earlier[0].rows {
        row.scheme = Some("hock".to_owned());
    }
    let rows = now.against(&then);
    let change = row(&rows, "LF", "SDFT", None, Name::AreaChange);
    assert!(change.why_not.as_ref().unwrap().contains("`hock` then"), "{change:#?}");
}

/// Equine Vet J 2001: people tracing differ (read in a summary).
#[test]
fn a_change_of_hands_is_told_with_the_change_of_area() {
    let then = sdft("LF", &INJURED, &[]).traced("LF 2B T SDFT", "area", 140.0, "Ada");
    let now = |by| sdft("LF", &INJURED, &[]).traced("LF 2B T SDFT", "area", 150.0, by);
    let cautions = |by| {
        let rows = now(by).against(&then.earlier("2026-02-01T08:00:00Z"));
        row(&rows, "LF", "SDFT", Some("2B"), Name::AreaChange).cautions.len()
    };
    assert_eq!((cautions("Ada"), cautions("Bea")), (0, 1));
}

#[test]
fn a_reference_set_is_used_only_when_named_and_only_where_it_fits() {
    let said = sdft("LF", &INJURED, &[]);
    assert!(said.rows().iter().all(|row| row.name != Name::AreaAgainstReference));
    let sets = Reference::built_in().unwrap();
    let against = |n: u32, said: &Said| {
        let reference = sets.iter().find(|set| set.n == n).cloned();
        said.against(&Against { reference, ..Against::default() })
    };
    // (150 - 68) / 12 and 100 * (150 - 68) / 68 by our arithmetic.
    let rows = against(15, &said);
    let held = row(&rows, "LF", "SDFT", Some("2B"), Name::AreaAgainstReference);
    near(held.value.unwrap(), 120.588, 0.001);
    assert_eq!(held.word.as_deref(), Some("6.8 standard deviations above"));
    assert!(held.source.as_ref().unwrap().contains("n = 15"));
    let rows = against(142, &said);
    let held = row(&rows, "LF", "SDFT", Some("2B"), Name::AreaAgainstReference);
    assert_eq!(held.over.as_deref(), Some("outside 77 to 139 mm2"));
    let hind = against(15, &Said::default().value("LH 2B T SDFT", "area", 90.0, "mm2"));
    let why =
        hind.iter().find(|row| row.name == Name::AreaAgainstReference).unwrap().why_not.clone().unwrap();
    assert!(why.contains("fore limbs"), "{why}");
}

#[test]
fn days_since_the_injury_are_counted_on_the_calendar_of_the_place() {
    let on = |day: &str| {
        let injured = BTreeMap::from([("LF".to_owned(), day.parse().unwrap())]);
        let rows = Said::default().against(&Against { injured, ..Against::default() });
        (rows[0].value, rows[0].why_not.is_some())
    };
    assert_eq!(on("2026-04-04"), (Some(30.0), false));
    assert_eq!(on("2026-05-04"), (Some(0.0), false));
    assert_eq!(on("2026-05-05"), (None, true));
}

#[test]
fn a_unit_of_another_kind_is_no_area() {
    assert_eq!(Area::from_unit(1.0, "cm"), None);
    assert_eq!(Length::from_unit(1.0, "mm2"), None);
    assert_eq!(Area::from_unit(1.5, "cm2"), Some(Area::from_mm2(150.0)));
    let rows = Said::default().value("LF 2B T SDFT", "area", 150.0, "mm").rows();
    assert!(rows.is_empty() || rows.iter().all(|row| row.value.is_none()), "{rows:#?}");
}

fn columns() -> impl Strategy<Value = Vec<(f64, f64)>> {
    proptest::collection::vec((20.0..400.0_f64, 0.0..1.0_f64), 7)
}

fn exam(zones: &[(f64, f64)]) -> Said {
    let mut said = Said::default();
    for (zone, (area, share)) in ZONES.iter().zip(zones) {
        let codes = format!("LF {zone} T SDFT");
        said = said.value(&codes, "area", *area, "mm2").value(&codes, "lesion area", area * share, "mm2");
    }
    said
}

proptest! {
    #[test]
    fn scaling_the_unit_leaves_every_percentage_alone(zones in columns()) {
        let said = exam(&zones);
        let mut in_cm2 = said.clone();
        for call in &mut in_cm2.calls {
            with_number(call, |number, unit, _| {
                *number /= 100.0;
                *unit = Some("cm2".to_owned());
            });
        }
        for (a, b) in said.rows().iter().zip(&in_cm2.rows()) {
            prop_assert_eq!((&a.name, &a.zone, &a.word, &a.unit), (&b.name, &b.zone, &b.word, &b.unit));
            let (a, b) = (a.value.unwrap_or(0.0), b.value.unwrap_or(0.0));
            prop_assert!((a - b).abs() <= 1e-9 * a.abs().max(1.0));
        }
    }

    #[test]
    fn the_order_in_which_zones_are_said_does_not_matter(zones in columns(), seed in 0_u64..1000) {
        let said = exam(&zones);
        let mut turned = said.clone();
        let by = usize::try_from(seed).unwrap() % turned.calls.len();
        turned.calls.rotate_left(by);
        prop_assert_eq!(said.rows(), turned.rows());
    }

    #[test]
    fn a_zone_without_a_lesion_changes_the_total_and_no_other_zone(zones in columns(), area in 20.0..400.0_f64) {
        let mut sound = zones.clone();
        sound[6] = (area, 0.0);
        let (a, b) = (exam(&zones).rows(), exam(&sound).rows());
        for zone in &ZONES[..6] {
            for name in [Name::Area, Name::LesionArea, Name::LesionPercent] {
                prop_assert_eq!(row(&a, "LF", "SDFT", Some(zone), name), row(&b, "LF", "SDFT", Some(zone), name));
            }
        }
        let total = |rows: &[MeasureRow], name| value(rows, "LF", "SDFT", None, name);
        let lost = |name| total(&a, name) - total(&b, name);
        prop_assert!((lost(Name::LesionTotal) - zones[6].0 * zones[6].1).abs() < 1e-6);
        prop_assert!((lost(Name::AreaTotal) - (zones[6].0 - area)).abs() < 1e-6);
    }

    #[test]
    fn a_zone_of_which_nothing_was_said_takes_the_totals_away_and_changes_no_other_zone(zones in columns(), left_out in 0_usize..7) {
        let whole = exam(&zones);
        let mut gap = whole.clone();
        gap.calls.retain(|call| call.place.zone.as_deref() != Some(ZONES[left_out]));
        let (a, b) = (whole.rows(), gap.rows());
        for row in b.iter().filter(|row| row.zone.is_some()) {
            prop_assert!(a.contains(row), "{row:?}");
        }
        let lost = a.iter().filter(|row| row.zone.as_deref() == Some(ZONES[left_out])).count();
        let by_zone = |rows: &[MeasureRow]| rows.iter().filter(|row| row.zone.is_some()).count();
        prop_assert_eq!(by_zone(&a) - by_zone(&b), lost);
        for name in [Name::AreaTotal, Name::LesionTotal, Name::LesionPercentTotal] {
            let total = row(&b, "LF", "SDFT", None, name);
            prop_assert_eq!(total.value, None);
            prop_assert!(total.why_not.as_ref().is_some_and(|why| why.contains(ZONES[left_out])), "{:?}", total);
        }
    }

    #[test]
    fn the_total_percentage_lies_between_the_least_and_the_worst_zone(zones in columns()) {
        let rows = exam(&zones).rows();
        let shares: Vec<f64> = zones.iter().map(|zone| 100.0 * zone.1).collect();
        let total = value(&rows, "LF", "SDFT", None, Name::LesionPercentTotal);
        let (least, worst) = (shares.iter().copied().fold(100.0, f64::min), shares.iter().copied().fold(0.0, f64::max));
        prop_assert!(total >= least - 1e-9 && total <= worst + 1e-9);
    }
}

#[test]
fn every_cut_off_has_a_source() {
    let measuring = &PROTOCOLS.measuring;
    let sources = [
        &measuring.severity.source,
        &measuring.other_limb.source,
        &measuring.earlier.source,
        &measuring.total.tie,
    ];
    assert!(sources.iter().all(|source| source.len() > 10));
    let names: BTreeSet<String> = Reference::built_in().unwrap().into_iter().map(|set| set.name).collect();
    assert_eq!(names.len(), 2);
}
