//! Rules about lesions and the numbers that go with them.

use zonecall::exam::call::{Act, Amount};
use zonecall::exam::event::Entered;
use zonecall::exam::fold::LoggedEntry;
use zonecall::exam::seq::Seq;

use zonecall::knowledge::assemble::record_against;
use zonecall::knowledge::measure::{Against, Earlier};

use crate::rules::{Cases, Rule};
use crate::support::case::{Case, said};
use crate::support::{BUILT_IN, area};

pub(crate) const CASES: &[Cases] = &[
    ("lesion-larger", |rule| {
        let area = "area one point five square centimetres";
        rule.fires(
            "left fore, zone 2B, superficial digital flexor tendon: the lesion",
            &at_place(&[area, "lesion area one point six square centimetres"]),
        );
        rule.silent(&at_place(&[area, "lesion area nought point five square centimetres"]));
    }),
    ("lesion-not-described", |rule| {
        let area = "core lesion area thirty";
        rule.fires("lesion measured, not described (lesion area 30 mm2", &at_place(&[area]));
        rule.fires("lesion measured, not described", &at_place(&["lesion twenty percent"]));
        rule.fires("lesion area 3.4 mm2", &at_place(&[]).but(typed_lesion));
        // Once for a structure; another one's lesion does not describe it.
        let two_zones = [area, "three alpha", "s d f t", "lesion area forty"];
        assert_eq!(rule.found(&at_place(&two_zones), &BUILT_IN.1).len(), 1);
        rule.fires("lesion measured", &at_place(&[area, "d d f t", "core lesion"]));
        rule.silent(&at_place(&["core lesion", area]));
        rule.silent(&at_place(&[area, "three alpha", "s d f t", "core lesion"]));
        rule.silent(&at_place(&["lesion area zero"]));
        rule.silent(&at_place(&["area one hundred"]));
    }),
    ("lesion-without-score", without_score),
    ("lesion-scored-normal", scored_normal),
    ("normal-and-lesion", |rule| {
        rule.fires("core lesion, but normal was called there", &at_place(&["normal", "core lesion"]));
        rule.fires("normal was called there", &at_place(&["core lesion", "normal"]));
        rule.fires(
            "all structures was called",
            &at_place(&["all structures normal", "core lesion in the d d f t"]),
        );
        // A number that only a lesion has says so as well, however it came; once for a place.
        let numbers = ["normal", "lesion area nought point five one square centimetres", "echo score three"];
        let at =
            "superficial digital flexor tendon: lesion area 0.51 cm2 and echo score 3, but normal was called";
        rule.fires(at, &at_place(&numbers));
        rule.fires("lesion area 3.4 mm2 (typed), but normal", &at_place(&["normal"]).but(typed_lesion));
        rule.silent(&at_place(&["normal", "area one point five square centimetres", "echo score zero"]));
        rule.silent(&at_place(&["normal", "lesion area zero square centimetres"]));
        rule.silent(&at_place(&["normal", "d d f t", "core lesion"]));
        rule.silent(&at_place(&["normal", "zone three alpha transverse", "s d f t", "core lesion"]));
        rule.silent(&at_place(&["normal", "correction core lesion"]));
        // Where only one thing about it is normal, the lesion may be there.
        rule.silent(&at_place(&["core lesion", "normal"]).but(only_its_size_normal));
        // That nothing is wrong with a bone is no lesion of it.
        rule.silent(&said(&[
            "left fore three bravo transverse",
            "cannon bone normal",
            "cannon bone surface smooth",
        ]));
    }),
    ("denied-and-seen", denied_and_seen),
    ("impression-unlike-measure", impression_unlike_measure),
    ("score-without-view", |rule| {
        rule.fires("no plane set", &said(&["left fore two bravo", "s d f t", "echo score two"]));
        rule.silent(&at_place(&["echo score two"]));
    }),
    ("value-replaced", |rule| {
        rule.fires("1.48 cm2 was traced; the traced value is used", &traced_area("SDFT", 1.48));
        rule.silent(&traced_area("SDFT", 1.5));
    }),
    ("value-said-again", said_again),
    ("rescan-due", rescan_due),
];

/// As if the last finding had been "size normal".
pub(crate) fn only_its_size_normal(case: &mut Case) {
    let Some(Act::Finding(last)) = case.exam.calls.last_mut().map(|call| &mut call.act) else {
        panic!("no finding")
    };
    last.attributes.push("size".to_owned());
}

pub(crate) const PLACE: [&str; 2] = ["left fore two bravo transverse", "s d f t"];

pub(crate) fn at_place(rest: &[&str]) -> Case {
    said(&PLACE.into_iter().chain(rest.iter().copied()).collect::<Vec<_>>())
}

/// An area of 1.5 cm2 said of the SDFT in LF 2B, and one traced of `structure`.
pub(crate) fn traced_area(structure: &str, number: f64) -> Case {
    at_place(&["area one point five square centimetres"]).but(|case| {
        let entered = Entered { traced: true, ..area(structure, number, "cm2") };
        case.exam.entries.push(LoggedEntry { seq: Seq(99), at: case.exam.header.started_at, entered });
    })
}

fn typed_lesion(case: &mut Case) {
    let entered = Entered { term: "lesion area".to_owned(), ..area("SDFT", 3.4, "mm2") };
    case.exam.entries.push(LoggedEntry { seq: Seq(99), at: case.exam.header.started_at, entered });
}

/// A number said anew stands before the first, be it the wrong one: so both are named.
fn said_again(rule: &Rule) {
    let twice = at_place(&["width nine", "width nought point nine"]);
    let seqs: Vec<_> = twice.exam.calls.iter().map(|call| call.seq).collect();
    let message = format!(
        "width of left fore, zone 2B, superficial digital flexor tendon was said as 9 mm (call {}), then 0.9 mm (call {}): \
         the last one is used; withdraw the wrong one",
        seqs[seqs.len() - 2],
        seqs[seqs.len() - 1]
    );
    let found = rule.fires(&message, &twice);
    assert_eq!(found.call_seq, seqs.last().copied());
    // One question for a value, however often it was said.
    rule.fires(
        "as 1.2 mm (call",
        &at_place(&["thickness one point two", "thickness eight", "thickness twelve"]),
    );
    // The one that was taken back or corrected does not count any more.
    rule.silent(&at_place(&["width nine", "disregard that", "width eight"]));
    rule.silent(&at_place(&["width nine", "correction width eight"]));
    // The same size in another unit, another term, another view.
    let area = "area one point five square centimetres";
    rule.silent(&at_place(&[area, "area one hundred fifty square millimetres"]));
    rule.silent(&at_place(&["width nine", "thickness eight"]));
    rule.silent(&at_place(&["width nine", "two alpha", "s d f t", "width eight"]));
    // In the other plane, too: which of the two counts is asked, never settled in silence.
    let planes = at_place(&["echo score two", "longitudinal", "echo score one"]);
    rule.fires("echo score of left fore, zone 2B, superficial digital flexor tendon was said as 2 in the transverse view (call", &planes);
    rule.fires("then 1 in the longitudinal view (call", &planes);
    rule.silent(&at_place(&["echo score two", "longitudinal", "echo score two"]));
    // A range is no second number.
    rule.silent(&at_place(&["area one twenty", "area one thirty to one forty"]));
    // Where a value was traced none of those that were said counts, and each is told of by itself.
    let traced = traced_area("SDFT", 1.2);
    let mut again = traced.exam.calls.last().unwrap().clone();
    again.seq = again.seq.next();
    let Act::Value(value) = &mut again.act else { panic!("no value") };
    value.amount.number = 1.7;
    rule.fires("then 1.7 cm2", &at_place(&[area]).but(|case| case.exam.calls.push(again.clone())));
    rule.silent(&traced.but(|case| case.exam.calls.push(again)));
}

/// In one view a finding is not both there and not there.
fn denied_and_seen(rule: &Rule) {
    let flagged = |words: &str, rest: &[&str]| rule.fires(words, &at_place(rest));
    flagged("no core lesion, but core lesion was called there", &["core lesion", "no core lesion"]);
    flagged("no core lesion, but mild core lesion", &["no core lesion", "mild core lesion"]);
    flagged("not enlarged, but enlarged", &["enlarged", "not enlarged"]);
    flagged("no lesion, but lesion percent 40 %", &["no lesion", "lesion forty percent"]);
    flagged("no lesion, but border lesion", &["border lesion", "no lesion"]);
    flagged("no tear, but split", &["split", "no tear"]);
    let doppler = ["power doppler on", "no flow", "doppler positive"];
    flagged("no vascular, but vascular", &doppler);
    flagged("no vascular, but doppler grade 2", &["power doppler on", "no flow", "doppler grade two"]);
    let of_all = ["left fore two bravo transverse", "no lesion", "s d f t", "core lesion"];
    rule.fires("no lesion, but core lesion", &said(&of_all));
    // Another term, structure, zone or plane; a possible one; one that was taken back; nought.
    rule.silent(&at_place(&["border lesion", "no core lesion"]));
    rule.silent(&at_place(&["core lesion", "d d f t", "no core lesion"]));
    rule.silent(&at_place(&["core lesion", "three alpha", "s d f t", "no core lesion"]));
    rule.silent(&at_place(&["core lesion", "longitudinal", "no core lesion"]));
    rule.silent(&at_place(&["possible tear", "no tear"]));
    rule.silent(&at_place(&["core lesion", "disregard that", "no core lesion"]));
    rule.silent(&at_place(&["no lesion", "doppler grade zero"]));
    rule.silent(&at_place(&["no lesion", "effusion in the digital sheath"]));
    rule.silent(&at_place(&["no medial core lesion", "core lesion lateral"]));
}

/// The findings of an exam held against an earlier one of the same place.
fn held(then: &[&str], now: &[&str]) -> Vec<String> {
    let (then, now) = (at_place(then), at_place(now));
    let rows = then.record(&BUILT_IN.1).measures;
    let at = now.exam.header.started_at - chrono::TimeDelta::days(60);
    let earlier = vec![Earlier { id: "then".to_owned(), at, utc_offset_s: 0, rows }];
    let against = Against { earlier, ..Against::default() };
    let record = record_against(&now.exam, &now.pairing, &BUILT_IN.1, &against);
    let found = record.findings.into_iter().filter(|finding| finding.rule == "impression-unlike-measure");
    found.map(|finding| finding.message).collect()
}

/// An impression stands beside the computed change, and a contradiction between the two is flagged.
fn impression_unlike_measure(rule: &Rule) {
    let (small, large) = ("area one hundred square millimetres", "area one hundred fifty square millimetres");
    let flagged = |then: &[&str], now: &[&str], words: &str| {
        let found = held(then, now);
        assert!(found.len() == 1 && found[0].contains(words), "{then:?} {now:?}: {found:?}");
    };
    let silent =
        |then: &[&str], now: &[&str]| assert_eq!(held(then, now), [] as [String; 0], "{then:?} {now:?}");
    let smaller = "smaller than last time";
    flagged(
        &[small],
        &[large, smaller],
        "`smaller than last time` was said, but the area was measured 50 % larger than on",
    );
    flagged(&[small], &[large, "unchanged"], "50 % larger");
    flagged(&[small], &[large, "improved since last time"], "50 % larger");
    flagged(&[large], &[small, "larger than last time"], "33 % smaller");
    let lesion = ["lesion area twenty square millimetres", "lesion area thirty square millimetres"];
    let shrunk = "the area of the lesion was measured 50 % larger";
    flagged(&[small, lesion[0]], &[small, lesion[1], "core lesion smaller than last time"], shrunk);
    // What was measured says the same, or says nothing.
    silent(&[large], &[small, smaller]);
    silent(&[small], &[large, "larger than last time"]);
    silent(&[small, lesion[1]], &[large, lesion[0], "core lesion smaller than last time"]);
    silent(&[small], &[large, "smaller than the other leg"]);
    silent(&[small], &[smaller]);
    silent(&[small], &["three alpha", "s d f t", large, "two bravo", "s d f t", smaller]);
    // Without an earlier exam there is nothing to be held against.
    rule.silent(&at_place(&[large, smaller]));
    rule.fired.set(rule.fired.get() + 1);
}

/// Both scores, once for a place.
fn without_score(rule: &Rule) {
    rule.fires("no fibre score", &at_place(&["core lesion", "echo score two"]));
    rule.silent(&at_place(&["core lesion", "echo score two", "long axis", "s d f t", "fibre score one"]));
    rule.fires("no echo score and no fibre score", &at_place(&["core lesion", "core lesion"]));
    rule.silent(&at_place(&["adhesion"]));
    // A typed score is one, too, at its own place.
    let typed = |zone: &str, terms: &[&str]| {
        at_place(&["core lesion"]).but(|case| {
            for term in terms {
                let amount = Amount { number: 2.0, unit: None, unit_assumed: false };
                let typed = area("SDFT", 2.0, "mm2");
                let entered = Entered { zone: zone.into(), term: (*term).to_owned(), amount, ..typed };
                let at = case.exam.header.started_at;
                case.exam.entries.push(LoggedEntry { seq: Seq(90), at, entered });
            }
        })
    };
    rule.silent(&typed("2B", &["echo score", "fibre score"]));
    rule.fires("has no fibre score", &typed("2B", &["echo score"]));
    rule.fires("no echo score and no fibre score", &typed("2A", &["echo score", "fibre score"]));
}

/// 0 is normal on both scales: Equine Clinical Medicine, Surgery and Reproduction, 2nd ed., pp. 330-331.
fn scored_normal(rule: &Rule) {
    let area = "area one point five square centimetres";
    let sized = "lesion area nought point five square centimetres";
    let scored = |lesion: &[&str], echo: &str, fibre: &str| {
        at_place(&[lesion, &[echo, "long axis", "s d f t", fibre]].concat())
    };
    let (none, one) = (["echo score zero", "fibre score zero"], ["echo score one", "fibre score one"]);
    rule.fires(
        "left fore, zone 2B, superficial digital flexor tendon: there is a lesion",
        &scored(&[area, sized], none[0], none[1]),
    );
    rule.fires(
        "left fore, zone 2B, superficial digital flexor tendon: there is a lesion",
        &scored(&["diffuse lesion"], none[0], none[1]),
    );
    rule.fires(
        "left fore, zone 2B, superficial digital flexor tendon: there is a lesion",
        &scored(&["core lesion", area, sized], none[0], none[1]),
    );
    rule.silent(&scored(&[area, sized], one[0], none[1]));
    rule.silent(&scored(&[area, sized], none[0], one[1]));
    rule.silent(&at_place(&[area, sized, none[0]]));
    rule.silent(&scored(&["normal"], none[0], none[1]));
}

/// Every 8 to 12 weeks: Equine Clinical Medicine, Surgery and Reproduction, 2nd ed., p. 333; the exam is of 4 May 2026.
fn rescan_due(rule: &Rule) {
    rule.fires("by 2026-06-29", &at_place(&["core lesion", "core lesion"]));
    rule.silent(&at_place(&["normal"]));
    // A form alone is no lesion to be followed.
    rule.silent(&at_place(&["thickened", "well defined"]));
    rule.fires("by 2026-06-29", &at_place(&["thickened", "core lesion"]));
}
