//! Rules about views: called, saved, missing, in both planes, taken again.

use zonecall::frames::pairing::Tie;

use crate::rules::{Cases, Rule};
use crate::support::BUILT_IN;
use crate::support::case::{Case, said};

pub(crate) const CASES: &[Cases] = &[
    ("view-without-still", without_still),
    ("view-missing", missing),
    ("structure-without-still", structure_without_still),
    ("lesion-in-one-plane", lesion_in_one_plane),
    ("quality-not-repeated", quality_not_repeated),
    ("not-scanned-and-seen", not_scanned_and_seen),
];

fn without_still(rule: &Rule) {
    let left = said(&["left fore zone two alpha transverse", "two bravo", "save"]);
    let found = rule.fires("left fore 2A transverse was called, but no save", &left);
    assert_eq!(found.call_seq, Some(left.exam.calls[0].seq), "it points to the last call of the view");
    rule.silent(&said(&["left fore zone two alpha transverse", "save"]));
    rule.silent(&said(&["left fore zone two alpha transverse"]).still(Tie::Context(0)));
    // A save without its still is reported once there are stills.
    let saved = || said(&["left fore zone two alpha transverse", "save", "two bravo", "save"]);
    rule.silent(&saved());
    let first_only = saved().saves()[0];
    rule.fires("left fore 2B transverse was called and saved", &saved().still(Tie::Save(first_only)));
    // The call to listen to is the save, not the end of the exam after it.
    let ended = said(&["left fore zone two alpha transverse", "save", "two bravo", "save", "end of exam"]);
    let (first, second) = (ended.saves()[0], ended.saves()[1]);
    let save = ended.exam.calls[second].seq;
    assert_eq!(rule.fires("2B transverse", &ended.still(Tie::Save(first))).call_seq, Some(save));
    let uncalled = said(&["left fore zone two alpha transverse", "end of exam"]);
    let place = uncalled.exam.calls[0].seq;
    assert_eq!(rule.fires("no save was said", &uncalled).call_seq, Some(place));
}

/// What was saved or described cannot have been left out; the other plane stays wanted until somebody says that it is meant.
fn not_scanned_and_seen(rule: &Rule) {
    let first = ["left fore zone two alpha transverse", "save"];
    let second = |more: &[&'static str]| said(&[&first[..], more].concat());
    let states = |case: &Case, plane: &str| {
        let rows = case.record(&BUILT_IN.1).coverage;
        let row = rows.into_iter().find(|row| row.zone == "2B" && row.plane == plane).unwrap();
        (row.saves, row.not_done)
    };
    let saved = second(&["zone two bravo", "severe core lesion central", "save", "not scanned"]);
    let found = rule.fires("left fore, zone 2B", &saved);
    assert_eq!(found.call_seq, saved.exam.calls.last().map(|call| call.seq));
    assert_eq!(states(&saved, "T"), (1, false));
    assert_eq!(states(&saved, "L"), (0, false), "the other plane is still wanted");
    // Its structure, too; and a finding without a save.
    rule.fires(
        "a save",
        &second(&["zone two bravo transverse", "s d f t core lesion", "save", "not scanned"]),
    );
    let lesion = second(&["zone two bravo transverse", "core lesion", "not scanned"]);
    rule.fires("core lesion", &lesion);
    assert!(!states(&lesion, "T").1);
    // The other plane by its name, the other structure, another zone, the rest of the limb, and a view come back to.
    let other = second(&["zone two bravo transverse", "save", "longitudinal", "not scanned"]);
    rule.silent(&other);
    assert_eq!((states(&other, "T"), states(&other, "L")), ((1, false), (0, true)));
    rule.silent(&second(&[
        "zone two bravo transverse",
        "s d f t normal",
        "save",
        "deep flexor",
        "not scanned",
    ]));
    rule.silent(&second(&["zone two bravo", "not scanned"]));
    rule.silent(&second(&["left fore", "not scanned"]));
    let back = second(&["zone two bravo transverse", "not scanned", "zone two bravo transverse", "save"]);
    rule.silent(&back);
    assert_eq!(states(&back, "T"), (1, false));
}

/// 7 zones x 2 planes on the one limb that was called, less the one: our arithmetic on the fore scheme.
fn missing(rule: &Rule) {
    let one = said(&["left fore zone two alpha transverse", "save"]);
    rule.fires("left fore: 13 views are missing: 1A (both views), 1B (both views), 2A longitudinal", &one);
    let both = said(&["left fore zone two alpha transverse", "right fore two alpha transverse"]);
    assert_eq!(rule.found(&both, &BUILT_IN.1).len(), 2, "one line a limb");
    let zones =
        ["one alpha", "one bravo", "two alpha", "two bravo", "three alpha", "three bravo", "three charlie"];
    let all_but_the_last = |planes: &[&str]| {
        let mut utterances = vec!["left fore".to_owned()];
        for plane in planes {
            utterances.extend(zones.iter().map(|zone| format!("{zone} {plane}")));
        }
        utterances
    };
    let mut utterances = all_but_the_last(&["transverse", "longitudinal"]);
    let whole = utterances.clone();
    utterances.pop();
    let case = |utterances: &[String]| said(&utterances.iter().map(String::as_str).collect::<Vec<_>>());
    rule.fires("left fore 3C: the longitudinal view is missing", &case(&utterances));
    rule.silent(&case(&whole));
    // A limb that was not examined wants nothing, nor does one said not to be scanned.
    rule.silent(&said(&["standoff on"]));
    rule.silent(&said(&["left fore zone two alpha transverse", "disregard that"]));
    rule.silent(&said(&["left fore", "not scanned"]));
}

fn structure_without_still(rule: &Rule) {
    let three_bravo = "left fore zone three bravo transverse";
    rule.fires(
        "left fore 3B has no separate still of the suspensory ligament, lateral branch",
        &said(&[three_bravo, "save", "medial branch", "save"]).stills(),
    );
    rule.silent(&said(&[three_bravo, "medial branch", "save", "lateral branch", "not seen"]).stills());
    rule.silent(&said(&["left fore zone two alpha transverse"]));
}

fn lesion_in_one_plane(rule: &Rule) {
    let place = ["left fore zone two alpha transverse", "s d f t"];
    let one = [place[0], place[1], "core lesion", "save"];
    rule.fires("left fore 2A has a lesion, but only transverse stills", &said(&one));
    rule.silent(&said(&[one[0], one[1], one[2], one[3], "long axis", "save"]));
    rule.silent(&said(&[place[0], place[1], "normal", "save"]));
    // A smooth bone is no lesion.
    rule.silent(&said(&["left fore three bravo transverse", "cannon bone surface smooth", "save"]));
}

fn quality_not_repeated(rule: &Rule) {
    let poor = ["left fore zone two alpha transverse", "save", "repeat this"];
    rule.fires("`repeat this`", &said(&poor));
    rule.silent(&said(&[poor[0], poor[1], poor[2], "save"]));
    rule.fires("`repeat this`", &said(&[poor[0], poor[1], poor[2], "two bravo", "save"]));
    // The one still is the poor one.
    rule.fires("`repeat this`", &said(&poor).stills());
}
