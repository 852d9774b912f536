//! Two scanners in one exam: each has a clock of its own, and neither labels the stills of the other.
use crate::support;

use chrono::TimeDelta;

use zonecall::exam::event::Frame;
use zonecall::exam::fold::Exam;
use zonecall::frames::outside::outside;
use zonecall::frames::pair::pair;
use zonecall::frames::pairing::Tie;

/// When each view was saved, in seconds of the exam.
const SAVES_S: [f64; 6] = [12.0, 25.5, 39.0, 58.0, 77.0, 98.5];
const VIEWS: [&str; 6] = [
    "left fore zone one alpha transverse",
    "longitudinal",
    "zone two bravo transverse",
    "longitudinal",
    "right fore zone two bravo transverse",
    "longitudinal",
];

fn exam() -> Exam {
    let mut said = Vec::new();
    for (at_s, view) in SAVES_S.into_iter().zip(VIEWS) {
        said.extend([(at_s - 6.0, view), (at_s, "save")]);
    }
    support::exam(&said)
}

fn still(number: i64, scanner: &str, at_s: f64) -> Frame {
    Frame {
        id: format!("2.25.{number}"),
        time_source: "ContentTime".to_owned(),
        saved_at: support::header().started_at + TimeDelta::milliseconds((at_s * 1000.0) as i64),
        instance_number: Some(number),
        scanner: Some(scanner.to_owned()),
        ..support::still::frame("")
    }
}

/// The first stills by one scanner, the others by another, whose clocks differ by so many seconds.
fn stills(of_first: usize, apart_s: f64) -> Vec<Frame> {
    let saved = SAVES_S.into_iter().enumerate();
    let still = |(idx, at_s): (usize, f64)| {
        let at_s = at_s + 0.6 - 437.0;
        if idx < of_first {
            still(idx as i64, "Sono A", at_s)
        } else {
            still(idx as i64, "Sono B", at_s + apart_s)
        }
    };
    saved.map(still).collect()
}

/// The save call of a still is the second of its two calls.
fn is_right(idx: usize, tie: Tie) -> bool {
    tie == Tie::Save(2 * idx + 1)
}

#[test]
fn the_stills_of_a_second_scanner_are_read_by_its_own_clock() {
    let exam = exam();
    // By the clock of the first one, each still of the second fits the save before its own.
    for apart_s in [-19.0, 19.0, -21.5, 300.0, -4000.0] {
        let all = stills(4, apart_s);
        let pairing = pair(&exam, &all);
        for (idx, paired) in pairing.frames.iter().enumerate() {
            let is_open = matches!(paired.tie, Tie::Open | Tie::Nothing);
            assert!(is_right(idx, paired.tie) || idx >= 4 && is_open, "{apart_s} s, still {idx}: {paired:?}");
        }
        assert!(pairing.clock.is_some_and(|clock| clock.pairs == 4), "the clock of the one with more stills");
    }
}

#[test]
fn two_scanners_with_as_many_stills_have_no_clock_in_common() {
    let exam = exam();
    let pairing = pair(&exam, &stills(3, 737.0));
    for (idx, paired) in pairing.frames.iter().enumerate() {
        assert!(is_right(idx, paired.tie) || paired.tie == Tie::Open, "still {idx}: {paired:?}");
    }
}

/// One still says nothing of its scanner's clock: it has no label, and is not taken for one of another exam.
#[test]
fn a_single_still_of_a_second_scanner_gets_no_label_from_the_clock_of_the_first() {
    let exam = exam();
    for apart_s in [-19.0, 19.0, 5000.0] {
        let all = stills(5, apart_s);
        let pairing = pair(&exam, &all);
        assert_eq!(pairing.frames[5].tie, Tie::Nothing, "{apart_s}");
        assert!((0..5).all(|idx| is_right(idx, pairing.frames[idx].tie)), "{pairing:?}");
        assert_eq!(outside(&exam, &all, &pairing), [false; 6]);
    }
}
