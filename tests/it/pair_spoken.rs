//! Stills paired with exams out of spoken words, against known truth.
use crate::support;

use proptest::prelude::*;
use support::exam;
use zonecall::exam::event::Frame;
use zonecall::frames::pair::pair;
use zonecall::frames::pairing::Tie;

fn still(number: i64, at_s: f64) -> Frame {
    let start: chrono::DateTime<chrono::Utc> = "2026-05-04T08:00:00Z".parse().expect("instant");
    Frame {
        file: format!("IM{number}.dcm"),
        resolution_s: 0.01,
        instance_number: Some(number),
        ..support::still::saved(
            &format!("2.25.{number}"),
            start + chrono::TimeDelta::milliseconds((at_s * 1000.0) as i64),
        )
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_still_is_never_surely_paired_with_the_wrong_save(
        gaps in prop::collection::vec(5.0_f64..20.0, 18..30),
        delays in prop::collection::vec(0.2_f64..0.9, 30),
        lost in prop::collection::vec(0_u8..5, 30),
        offset_s in -3000.0_f64..3000.0,
        drift_ppm in -100.0_f64..100.0,
    ) {
        let zones = ["one alpha", "one bravo", "two alpha", "two bravo", "three alpha", "three bravo"];
        // Where most saves have no still and most stills no save, nothing can be concluded.
        let whole = lost[..gaps.len()].iter().filter(|lost| **lost > 1).count();
        prop_assume!(2 * whole >= gaps.len());
        let mut at_s = 5.0;
        let mut utterances: Vec<(f64, String)> = vec![(1.0, "left fore transverse".to_owned())];
        let mut frames = Vec::new();
        let mut truth = Vec::new();
        for (n, gap) in gaps.iter().enumerate() {
            at_s += gap;
            utterances.push((at_s - 2.5, zones[n % zones.len()].to_owned()));
            // One in five saves has no still; one in five stills has no save call.
            if lost[n] != 0 {
                utterances.push((at_s, "save".to_owned()));
            }
            if lost[n] != 1 {
                let pressed_s = at_s + delays[n];
                frames.push(still(n as i64, pressed_s + offset_s + pressed_s * drift_ppm * 1e-6));
                truth.push((lost[n] != 0).then_some(at_s));
            }
        }
        let spoken: Vec<(f64, &str)> = utterances.iter().map(|(at, words)| (*at, words.as_str())).collect();
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
    let mut utterances = vec![(1.0, "left fore one alpha transverse")];
    utterances.extend(saves.map(|at| (at, "save")));
    let exam = exam(&utterances);
    let mut times: Vec<f64> = saves.iter().filter(|at| **at != 47.0).map(|at| at + 60.0).collect();
    times.extend([47.0 + 60.0 - 1.0, 47.0 + 60.0 + 1.0]);
    times.sort_by(f64::total_cmp);
    let frames: Vec<Frame> = times.iter().zip(0..).map(|(at, n)| still(n, *at)).collect();
    let open = pair(&exam, &frames).frames.iter().filter(|paired| paired.tie == Tie::Open).count();
    assert_eq!(open, 2);
}

/// Saves at these seconds, each with a still a moment later, and a clock mark that was said without one.
fn marked(mark_s: f64) -> (usize, usize) {
    let saves = [12.0, 29.5, 41.0, 60.5, 71.0, 93.0, 104.5, 127.0, 139.0, 160.0, 171.5, 195.0];
    let mut said = vec![(1.0, "left fore one alpha transverse"), (mark_s, "clock mark")];
    said.extend(saves.iter().map(|at_s| (*at_s, "save")));
    said.sort_by(|a, b| a.0.total_cmp(&b.0));
    let frames: Vec<Frame> =
        saves.iter().enumerate().map(|(idx, at_s)| still(idx as i64, at_s + 0.3 + 63.0)).collect();
    let exam = exam(&said);
    let paired = pair(&exam, &frames).frames.into_iter().zip(saves);
    let (mut right, mut wrong) = (0, 0);
    for (frame, at_s) in paired {
        let Tie::Save(call) = frame.tie else { continue };
        let said_s = exam.calls[call].call.span.seconds().0;
        if (said_s - at_s).abs() < 0.01 { right += 1 } else { wrong += 1 }
    }
    (right, wrong)
}

/// One mark does not speak against twelve saves that fit; said just before a save it is of that save's still.
#[test]
fn a_clock_mark_without_a_still_of_its_own_moves_no_clock() {
    for mark_s in [7.0, 10.2, 69.2, 76.0, 108.0, 137.2, 143.0] {
        let (right, wrong) = marked(mark_s);
        // Where the mark's clock explains nearly as many, a still or two is asked about.
        assert!(wrong == 0 && right >= 10, "a mark at {mark_s} s: {right} right, {wrong} wrong");
    }
}

/// "Cine saved" is a save like any other: its loop gets the view.
#[test]
fn a_loop_that_was_saved_is_paired_as_a_still_is() {
    let saves = [12.0, 29.5, 41.0, 60.5, 71.0, 93.0];
    let mut said = vec![(1.0, "left fore one alpha transverse")];
    said.extend(saves.iter().map(|at_s| (*at_s, "cine saved")));
    let frames: Vec<Frame> =
        saves.iter().enumerate().map(|(idx, at_s)| still(idx as i64, at_s + 0.3 + 63.0)).collect();
    let pairing = pair(&exam(&said), &frames);
    assert!(pairing.frames.iter().all(|frame| matches!(frame.tie, Tie::Save(_))), "{pairing:?}");
}
