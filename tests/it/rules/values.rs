//! Rules about measures and scores: place, plane, unit and size.

use zonecall::exam::call::Act;
use zonecall::exam::event::Entered;
use zonecall::exam::fold::LoggedEntry;
use zonecall::exam::seq::Seq;
use zonecall::frames::pairing::Tie;

use crate::rules::lesions::traced_area;
use crate::rules::{Cases, Rule};
use crate::support;
use crate::support::case::{Case, said};

pub(crate) const CASES: &[Cases] = &[
    ("value-without-place", |rule| {
        let area = "area ninety square millimetres";
        rule.fires("no structure set", &said(&["left fore one alpha transverse", area]));
        rule.silent(&said(&["left fore one alpha transverse", "s d f t", area]));
    }),
    ("value-in-wrong-plane", wrong_plane),
    ("value-unit", |rule| {
        rule.fires("measured in cm2 or mm2", &right().but(|case| set_unit(case, Some("mm"))));
        rule.fires("without a unit", &right().but(|case| set_unit(case, None)));
        rule.silent(&right());
    }),
    ("value-out-of-bounds", out_of_bounds),
    ("unit-unclear", |rule| {
        // 1.2 and 12 mm are both usual; 12 cm is not, and 1.5 cm2 is while 1.5 mm2 is not.
        rule.fires("width 1.2 mm: no unit was said, and cm", &area("width one point two"));
        rule.silent(&area("width twelve"));
        rule.silent(&area("width one point two centimetres"));
        rule.silent(&area("area one point five"));
    }),
    ("unit-assumed", |rule| {
        rule.silent(&area("width one point two"));
        rule.fires("area 1.5 cm2", &area("area one point five"));
        rule.silent(&right());
    }),
    ("value-not-single", |rule| {
        rule.fires("area was said as 130 to 140 mm2", &area("area one thirty to one forty"));
        rule.fires("area was said as less than 90 mm2", &area("area less than ninety"));
        rule.silent(&area("area about ninety"));
        // No measure would be made from it.
        rule.silent(&area("imaging depth four to five"));
        // The one number that was traced afterwards counts.
        let traced = traced_area("SDFT", 1.2).exam.entries;
        rule.silent(&area("area one thirty to one forty").but(|case| case.exam.entries.extend(traced)));
    }),
    ("entry-elsewhere", |rule| {
        rule.silent(&traced_on("left fore two bravo transverse", Tie::Save));
        rule.fires(
            "that still is labelled right fore, zone 2B",
            &traced_on("right fore two bravo transverse", Tie::Save),
        );
        rule.fires(
            "that still has no label now",
            &traced_on("left fore two bravo transverse", |_| Tie::Open),
        );
        let left_out = traced_on("left fore two bravo transverse", |_| Tie::LeftOut);
        rule.fires("that still is left out of the exam now", &left_out);
    }),
    ("entry-unused", |rule| {
        rule.fires("area 1.5 cm2 of the left fore, zone 2B, long plantar ligament", &traced_area("LPL", 1.5));
        rule.silent(&traced_area("SDFT", 1.5));
        // The reason is the one that the measure itself gives.
        let larger = area("area one square centimetres").but(|case| {
            let mut traced = traced_area("SDFT", 2.0).exam.entries;
            traced.iter_mut().for_each(|entry| entry.entered.term = "lesion area".to_owned());
            case.exam.entries = traced;
        });
        rule.fires("no measure uses it: the lesion is larger than the structure", &larger);
    }),
];

/// An area traced of LF 2B on a still that is tied like this to a save at this place.
fn traced_on(place: &str, tie: impl FnOnce(usize) -> Tie) -> Case {
    let case = said(&[place, "save"]);
    let save = case.saves()[0];
    case.still(tie(save)).but(|case| {
        let still = Some(case.exam.frames[0].id.clone());
        let entered = Entered { traced: true, still, ..support::area("SDFT", 1.5, "cm2") };
        case.exam.entries.push(LoggedEntry { seq: Seq(99), at: case.exam.header.started_at, entered });
    })
}

fn area(words: &str) -> Case {
    said(&["left fore two bravo transverse", "s d f t", words])
}

fn right() -> Case {
    area("area one point five square centimetres")
}

fn set_unit(case: &mut Case, unit: Option<&str>) {
    let Act::Value(value) = &mut case.exam.calls.last_mut().unwrap().act else { panic!("no value") };
    value.amount.unit = unit.map(str::to_owned);
}

/// Equine Clinical Medicine, Surgery and Reproduction, 2nd ed., p. 331: the long axis only.
fn wrong_plane(rule: &Rule) {
    let in_plane = |plane: &str, value: &str| said(&["left fore two bravo", plane, "s d f t", value]);
    let score = "fibre score two";
    rule.fires("in the transverse view", &in_plane("transverse", score));
    rule.silent(&in_plane("long axis", score));
    let area = "area one point five square centimetres";
    rule.fires("in the longitudinal view", &in_plane("long axis", area));
    rule.silent(&in_plane("transverse", area));
    rule.fires("no plane set", &said(&["left fore two bravo", "s d f t", score]));
}

/// The bounds of a whole structure, 10 to 1000 mm2, are our own; 1.5 said for 150 is the slip they are for.
/// Scales 0 to 4 and 0 to 3: Equine Clinical Medicine, Surgery and Reproduction, 2nd ed., pp. 330-331.
fn out_of_bounds(rule: &Rule) {
    rule.fires("1.5 mm2 is outside 20 to 1000 mm2", &area("area one point five square millimetres"));
    rule.silent(&right());
    // Without a unit a distance is in the unit of its bounds: as the pastern is measured, not as the picture is set.
    for words in ["thickness eight", "thickness eleven point six", "width thirteen"] {
        rule.silent(&area(words));
    }
    rule.fires("thickness 8 cm is outside 1 to 60 mm", &area("thickness eight centimetres"));
    let scored = |words: &str, number: f64| {
        said(&["left fore two bravo longitudinal", "s d f t", words]).but(|case| {
            let Act::Value(value) = &mut case.exam.calls.last_mut().unwrap().act else { panic!("no value") };
            value.amount.number = number;
        })
    };
    for (words, top) in [("echo score two", 4.0), ("fibre score two", 3.0)] {
        rule.fires("a whole number from 0", &scored(words, top + 1.0));
        rule.fires("a whole number from 0", &scored(words, 1.5));
        rule.silent(&scored(words, top));
    }
    // The scale that was set for the exam counts.
    let on_short = |words: &str| {
        said(&["left fore two bravo longitudinal", "s d f t", words]).but(|case| {
            case.exam.header.scales.insert("echo score".to_owned(), "0-3".to_owned());
        })
    };
    rule.fires("echo score 4 is outside a whole number from 0 to 3", &on_short("echo score four"));
    rule.silent(&on_short("echo score three"));
    // A correction is judged once, and where it mends.
    let mended = said(&[
        "left fore two bravo transverse",
        "s d f t",
        "area one point five square centimetres",
        "correction area one square millimetres",
    ]);
    let found = rule.fires("1 mm2", &mended);
    assert_eq!(found.call_seq, Some(mended.exam.calls[2].seq));
}
