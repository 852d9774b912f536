//! Two clocks tied without being told, and stills paired with calls: against SciPy, and against known truth.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation)] // tests may panic

mod support;

use proptest::prelude::*;
use support::exam;
use zonecall::exam::event::Frame;
use zonecall::frames::assign::assign;
use zonecall::frames::clock_fit::{fit, theil_sen};
use zonecall::frames::pair::pair;
use zonecall::frames::pairing::Tie;

#[test]
fn drift_agrees_with_scipy_theilslopes() {
    // SciPy 1.17, scipy.stats.theilslopes: offset 37.5 s, 40 ppm, one outlier of +9 s: slope 40.0 ppm.
    let points: Vec<(f64, f64)> = (0..=5)
        .map(|minute| {
            let at_s = f64::from(minute) * 60.0;
            let outlier = if minute == 3 { 9.0 } else { 0.0 };
            (at_s, 37.5 + at_s * 40e-6 + outlier)
        })
        .collect();
    assert!((theil_sen(&points) * 1e6 - 40.0).abs() < 0.05, "{}", theil_sen(&points) * 1e6);
}

#[test]
fn the_assignment_agrees_with_scipy_linear_sum_assignment() {
    // SciPy 1.17, linear_sum_assignment on a cost matrix whose best assignment keeps the order:
    // [[1, 9, 9], [9, 2, 9], [9, 9, 1]] -> columns (0, 1, 2), cost 4.
    let costs = [[1.0, 9.0, 9.0], [9.0, 2.0, 9.0], [9.0, 9.0, 1.0]];
    let options: Vec<Vec<(usize, f64)>> = costs
        .iter()
        .map(|row| row.iter().enumerate().map(|(call, cost)| (call, 10.0 - cost)).collect())
        .collect();
    assert_eq!(assign(3, &options), [Some(0), Some(1), Some(2)]);
    // Pairs never cross: of two crossing pairs only the better one is kept.
    assert_eq!(assign(2, &[vec![(1, 5.0)], vec![(0, 3.0)]]), [Some(1), None]);
}

#[test]
fn regular_saves_leave_more_than_one_offset_open_and_a_mark_settles_it() {
    let saves: Vec<f64> = (0..12).map(|n| 10.0 + f64::from(n) * 10.0).collect();
    let stills: Vec<f64> = saves[1..].iter().map(|at| at + 100.0).collect();
    let open = fit(&saves, &stills, &[]);
    assert!(open.len() > 1, "{open:?}");
    let settled = fit(&saves, &stills, &[saves[11]]);
    assert!(
        settled.iter().all(|fit| stills.iter().any(|still| (fit.exam_s(*still) - saves[11]).abs() < 1.5))
    );
}

fn still(number: i64, at_s: f64) -> Frame {
    let start: chrono::DateTime<chrono::Utc> = "2026-05-04T08:00:00Z".parse().expect("instant");
    Frame {
        id: format!("2.25.{number}"),
        file: format!("IM{number}.dcm"),
        sha256: "0".repeat(64),
        saved_at: start + chrono::TimeDelta::milliseconds((at_s * 1000.0) as i64),
        resolution_s: 0.01,
        time_source: "AcquisitionDateTime".to_owned(),
        zone_assumed: false,
        instance_number: Some(number),
        size_px: None,
        problems: Vec::new(),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    #[test]
    fn a_still_is_never_surely_paired_with_the_wrong_save(
        gaps in prop::collection::vec(5.0_f64..20.0, 18..30),
        delays in prop::collection::vec(0.2_f64..0.9, 30),
        lost in prop::collection::vec(0_u8..5, 30),
        offset_s in -3000.0_f64..3000.0,
        drift_ppm in -100.0_f64..100.0,
    ) {
        let zones = ["one alpha", "one bravo", "two alpha", "two bravo", "three alpha", "three bravo"];
        let mut at_s = 5.0;
        let mut breaths: Vec<(f64, String)> = vec![(1.0, "left fore transverse".to_owned())];
        let mut frames = Vec::new();
        let mut truth = Vec::new();
        for (n, gap) in gaps.iter().enumerate() {
            at_s += gap;
            breaths.push((at_s - 2.5, zones[n % zones.len()].to_owned()));
            // One in five saves has no still; one in five stills has no save call.
            if lost[n] != 0 {
                breaths.push((at_s, "save".to_owned()));
            }
            if lost[n] != 1 {
                let pressed_s = at_s + delays[n];
                frames.push(still(n as i64, pressed_s + offset_s + pressed_s * drift_ppm * 1e-6));
                truth.push((lost[n] != 0).then_some(at_s));
            }
        }
        let spoken: Vec<(f64, &str)> = breaths.iter().map(|(at, words)| (*at, words.as_str())).collect();
        let exam = exam(&spoken);
        let pairing = pair(&exam, &frames);
        for (paired, truth) in pairing.frames.iter().zip(&truth) {
            if let Tie::Save(call) = paired.tie && paired.confidence > 0.9 {
                let said_s = exam.calls[call].call.span.seconds().0;
                prop_assert!(truth.is_some_and(|at| (at - said_s).abs() < 0.01), "{truth:?} {said_s}");
            }
        }
    }
}

#[test]
fn a_save_half_way_between_two_stills_is_reported_not_chosen() {
    let saves = [10.0, 23.0, 31.0, 47.0, 58.0, 74.0, 83.0];
    let mut breaths = vec![(1.0, "left fore one alpha transverse")];
    breaths.extend(saves.map(|at| (at, "save")));
    let exam = exam(&breaths);
    let mut times: Vec<f64> = saves.iter().filter(|at| **at != 47.0).map(|at| at + 60.0).collect();
    times.extend([47.0 + 60.0 - 1.0, 47.0 + 60.0 + 1.0]);
    times.sort_by(f64::total_cmp);
    let frames: Vec<Frame> = times.iter().zip(0..).map(|(at, n)| still(n, *at)).collect();
    let open = pair(&exam, &frames).frames.iter().filter(|paired| paired.tie == Tie::Open).count();
    assert_eq!(open, 2);
}
