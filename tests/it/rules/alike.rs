//! Rules about stills that are hardly told apart.

use zonecall::exam::fold::LoggedChange;
use zonecall::exam::review::{Change, Review};
use zonecall::exam::seq::Seq;
use zonecall::frames::pairing::Tie;

use crate::rules::{Cases, Rule};
use crate::support::BUILT_IN;
use crate::support::case::{Case, said};

pub(crate) const CASES: &[Cases] = &[
    ("still-unsure", |rule| {
        let trusted = |confidence: f64| two().but(|case| case.pairing.frames[1].confidence = confidence);
        let found = rule.fires("still `2.dcm` has its label with 24 % only", &trusted(0.24));
        assert_eq!(found.frame.as_deref(), Some("1.2.2"));
        assert_eq!(trusted(0.24).record(&BUILT_IN.1).frames[1].doubt, ["its label is unsure"]);
        rule.silent(&trusted(0.5));
        rule.silent(&trusted(0.0).but(|case| case.pairing.frames[1].tie = Tie::Nothing));
    }),
    ("still-of-one-time", of_one_time),
    ("still-of-two-scanners", of_two_scanners),
    ("still-of-one-picture", |rule| {
        let pixels = |of: [&str; 2]| {
            two().but(|case| {
                for (frame, pixels) in case.exam.frames.iter_mut().zip(of) {
                    frame.pixels_sha256 = Some(pixels.to_owned());
                }
            })
        };
        let words = ["the very same picture as `2.dcm`", "the very same picture as `1.dcm`"];
        rule.fires_at_each(&words, &pixels(["ab", "ab"]));
        rule.silent(&pixels(["ab", "cd"]));
        // Saved twice for one view, it is no other view.
        let one_view = said(&["left fore two alpha transverse", "save", "save"]).stills();
        rule.silent(&one_view.but(|case| {
            case.exam.frames.iter_mut().for_each(|frame| frame.pixels_sha256 = Some("ab".to_owned()));
        }));
        rule.silent(&two());
    }),
];

/// Two stills of two views, each with its save call.
fn two() -> Case {
    said(&["left fore two alpha transverse", "save", "right fore two alpha transverse", "save"]).stills()
}

/// The time of the series, and a time without seconds: VR TM may end after the minutes (DICOM PS3.5 6.2).
fn of_one_time(rule: &Rule) {
    let at_once = two().but(|case| case.exam.frames[1].saved_at = case.exam.frames[0].saved_at);
    let words =
        ["`1.dcm` states the same time as another one", "`2.dcm` states the same time as another one"];
    rule.fires_at_each(&words, &at_once);
    let doubt = ["its time does not tell it from other stills"];
    assert!(at_once.record(&BUILT_IN.1).frames.iter().all(|row| row.doubt == doubt));
    rule.fires(
        "states its time in steps of 60 s",
        &two().but(|case| case.exam.frames[0].resolution_s = 60.0),
    );
    // A file that shows the still of another one has its time; another scanner has another clock.
    let copied = two().but(|case| {
        case.exam.frames[1].saved_at = case.exam.frames[0].saved_at;
        case.pairing.copies = vec![None, Some(0)];
    });
    rule.silent(&copied);
    let scanners = two().but(|case| {
        case.exam.frames[1].saved_at = case.exam.frames[0].saved_at;
        name_scanners(case);
    });
    rule.silent(&scanners);
    rule.silent(&two());
}

fn of_two_scanners(rule: &Rule) {
    let shared = || {
        two().but(|case| {
            name_scanners(case);
            case.pairing.frames[1].tie = case.pairing.frames[0].tie;
        })
    };
    let words = "of another scanner fit the same save call";
    rule.fires_at_each(&[words, words], &shared());
    rule.silent(&shared().but(|case| case.exam.frames[1].scanner = Some("Sono 7 A".to_owned())));
    rule.silent(&two().but(name_scanners));
    let by_hand = two().but(|case| {
        name_scanners(case);
        let change = Change::Clock { offset_s: 0.0 };
        let review = Review { by: "Ada".to_owned(), why: String::new(), was: String::new(), change };
        let at = case.exam.header.started_at;
        case.exam.changes.push(LoggedChange { seq: Seq(99), at, review, taken_back_by: None });
    });
    rule.fires("the clock that was set by hand is used for both", &by_hand);
}

fn name_scanners(case: &mut Case) {
    for (frame, name) in case.exam.frames.iter_mut().zip(["Sono 7 A", "Sono 9 B"]) {
        frame.scanner = Some(name.to_owned());
    }
}
