//! Rules about stills and the scanner's clock.

use zonecall::clock::WallQuality;
use zonecall::frames::pairing::Tie;

use crate::rules::{Cases, Rule};
use crate::support::BUILT_IN;
use crate::support::case::{Case, problem, said};

pub(crate) const CASES: &[Cases] = &[
    ("clock-unknown", clock_unknown),
    ("still-ambiguous", |rule| {
        rule.fires("two readings", &view().still(Tie::Open));
        rule.silent(&fine());
    }),
    ("still-unlabelled", |rule| {
        rule.fires("1.dcm", &view().still(Tie::Nothing));
        rule.silent(&fine());
        let two = view().still(Tie::Nothing).still(Tie::Nothing);
        assert_eq!(rule.found(&two, &BUILT_IN.1).len(), 1, "one cause, one line");
    }),
    ("still-label-incomplete", |rule| {
        rule.fires("without plane", &said(&["left fore two alpha"]).still(Tie::Context(0)));
        rule.silent(&view().still(Tie::Context(0)));
    }),
    ("still-file", |rule| {
        rule.fires("odd; look", &fine().but(|case| case.exam.frames[0].problems.push(problem())));
        rule.silent(&fine());
    }),
    ("still-from-context", |rule| {
        rule.fires("no save call", &view().still(Tie::Context(0)));
        rule.silent(&fine());
    }),
];

fn clock_unknown(rule: &Rule) {
    rule.fires("could not be tied", &fine().but(|case| case.pairing.clock = None));
    let untold = view().still(Tie::Nothing).but(|case| {
        case.pairing.clock = None;
        case.exam.header.wall = WallQuality::FileTime;
    });
    rule.fires("as in `zonecall hear scan.wav --into exams/again --started-at 2026-", &untold);
    rule.silent(&fine());
    // Without stills there is no other clock.
    rule.silent(&view());
}

fn view() -> Case {
    said(&["left fore zone two alpha transverse", "save"])
}

fn fine() -> Case {
    view().stills()
}
