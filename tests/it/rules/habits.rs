//! Rules about how the exam was made: stance, settings, order, the other limb.

use crate::rules::lesions::PLACE;
use crate::rules::{Cases, Rule};
use crate::support::BUILT_IN;
use crate::support::case::{Case, said, timed};

pub(crate) const CASES: &[Cases] = &[
    ("off-weight", off_weight),
    ("limb-change-while-saving", limb_change_while_saving),
    ("other-limb-not-scanned", |rule| {
        let both = ["left fore two bravo transverse", "right fore two bravo transverse"];
        rule.fires("right fore was not", &said(&[both[0]]));
        rule.silent(&said(&both));
    }),
    ("sweep-missing", sweep_missing),
    ("zone-order-jump", zone_order_jump),
    ("standoff-habit", standoff_habit),
    ("depth-unusual", |rule| {
        rule.fires("12 cm is outside 4 to 7", &said(&["imaging depth twelve"]));
        rule.silent(&said(&["imaging depth five point five"]));
    }),
    ("level-unscaled", |rule| {
        let level = || said(&["left fore", "level twelve centimetres", "level eight centimetres"]);
        rule.fires("on a pony that is too high", &level());
        let set = |case: &mut Case| {
            case.exam.header.limb_lengths_cm.insert("fore".to_owned(), 22.8);
        };
        rule.silent(&level().but(set));
        rule.silent(&said(&["left fore two alpha transverse"]));
    }),
    ("save-habit", |rule| {
        let exam = |gap_s: f64| {
            let mut said = vec![(1.0, "left fore")];
            for n in 0..6 {
                let at_s = 10.0 + 20.0 * f64::from(n);
                said.extend([(at_s, "save"), (at_s + gap_s, "longitudinal")]);
            }
            timed(&said)
        };
        rule.fires("6 of 6 saves were followed", &exam(2.0));
        rule.silent(&exam(8.0));
        rule.silent(&exam(2.0).but(|case| case.exam.header.save_first = true));
        // Each place is called at once after the save of the view before it, and each save has its own before it.
        let place_first = || {
            let mut said = vec![(1.0, "left fore zone one alpha transverse"), (10.0, "save")];
            for n in 0..6 {
                let at_s = 12.0 + 20.0 * f64::from(n);
                said.extend([(at_s, "longitudinal"), (at_s + 18.0, "save")]);
            }
            timed(&said)
        };
        rule.silent(&place_first());
        let save_first = place_first().but(|case| case.exam.header.save_first = true);
        rule.fires(
            "7 of 7 saves had their place called before them, and 6 within seconds after",
            &save_first,
        );
    }),
    ("marker-never-said", |rule| {
        rule.fires("lateral on left limbs and medial on right ones in transverse views", &said(&PLACE));
        rule.silent(&said(&["marker lateral", PLACE[0]]));
        rule.silent(&said(&["standoff on"]));
    }),
];

/// Adams and Stashak's Lameness in Horses, 7th ed., p. 312; once for a view.
fn off_weight(rule: &Rule) {
    let area = "area one point five square centimetres";
    rule.fires("leg lifted", &said(&[PLACE[0], "leg lifted", PLACE[1], area, "save"]));
    rule.silent(&said(&["weight bearing", PLACE[0], "save"]));
    rule.silent(&said(&[PLACE[0], "leg lifted"]));
}

fn limb_change_while_saving(rule: &Rule) {
    let saves = |apart_s: f64| {
        timed(&[
            (2.0, PLACE[0]),
            (6.0, "save"),
            (6.5, "right fore two bravo transverse"),
            (6.0 + apart_s, "save"),
        ])
    };
    // Called late, the limb of the first is wrong; misheard, that of the second.
    let close = saves(4.0);
    let found = rule.fires_at_each(&["the one 4.0 s after it", "the one 4.0 s before it"], &close);
    let marked: Vec<_> = found.iter().map(|finding| finding.call_seq).collect();
    let saved: Vec<_> = close.saves().into_iter().map(|idx| Some(close.exam.calls[idx].seq)).collect();
    assert_eq!(marked, saved);
    let record = close.stills().record(&BUILT_IN.1);
    assert!(record.frames.iter().all(|still| !still.doubt.is_empty()), "{:?}", record.frames);
    rule.silent(&saves(6.0));
    let there_and_back = timed(&[
        (2.0, PLACE[0]),
        (6.0, "save"),
        (6.5, "right fore two bravo transverse"),
        (9.0, "save"),
        (9.5, PLACE[0]),
        (12.0, "save"),
    ]);
    rule.fires_at_each(
        &["3.0 s after it", "3.0 s before it and the one 3.0 s after it", "3.0 s before it"],
        &there_and_back,
    );
}

fn sweep_missing(rule: &Rule) {
    let place = ["left fore two bravo longitudinal", "s d f t", "core lesion"];
    rule.fires("left fore 2B was scanned in the longitudinal view", &said(&place));
    rule.silent(&said(&[place[0], place[1], place[2], "full width swept"]));
    rule.fires("left fore 2B", &said(&[place[0], place[1], place[2], "three alpha", "full width swept"]));
    rule.silent(&said(&[place[0]]));
    rule.silent(&said(&["left fore three bravo longitudinal", "cannon bone surface smooth"]));
    let mut protocols = BUILT_IN.1.clone();
    protocols.rules.habits.sweep.every_zone = true;
    rule.fires_under(&protocols, "left fore 2B", &said(&[place[0]]));
}

/// Zones are scanned in order, and from the top again; another limb may begin anywhere.
fn zone_order_jump(rule: &Rule) {
    rule.fires("zone 2B came right after 1A", &said(&["left fore one alpha", "two bravo"]));
    rule.silent(&said(&[
        "left fore one alpha transverse",
        "one bravo",
        "one alpha longitudinal",
        "one bravo",
        "two alpha",
    ]));
    rule.silent(&said(&["left fore three charlie", "one alpha", "right fore three charlie"]));
}

fn standoff_habit(rule: &Rule) {
    let view = |standoff| said(&[standoff, "left fore one bravo", "suspensory body"]);
    rule.fires("the habit set here for it is off", &view("standoff on"));
    rule.silent(&view("standoff off"));
    let mut protocols = BUILT_IN.1.clone();
    protocols.rules.habits.setting_for[0].state = "on".to_owned();
    rule.silent_under(&protocols, &view("standoff on"));
    rule.fires_under(&protocols, "the habit set here for it is on", &view("standoff off"));
}
