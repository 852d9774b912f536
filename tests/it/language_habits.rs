//! Habits of vets who never saw the grammar: their words for saving, for a healthy structure, for sizes; our own wording.
use crate::support::phrase::{all, asked, shown};

const PLACE: &str = "left fore two bravo transverse superficial flexor";

#[test]
fn a_still_is_saved_in_other_words() {
    for phrase in
        ["i save", "kindly save", "keep that", "keep this one", "snap that", "acquire", "save another one"]
    {
        assert_eq!(shown(&[PLACE], phrase), "still saved", "{phrase}");
    }
    for phrase in ["make a clip", "clip that", "i save the clip"] {
        assert_eq!(shown(&[PLACE], phrase), "clip saved", "{phrase}");
    }
    assert_eq!(shown(&[PLACE], "save and clip"), "still saved; clip saved");
    // Said of pictures and in anger all day.
    for phrase in ["image", "photo", "shoot", "got it", "take a pic"] {
        asked(&[PLACE], phrase);
    }
}

#[test]
fn good_is_normal_after_a_place_and_asked_about_alone() {
    all(
        &[PLACE],
        &[
            ("one alpha good", "1A; normal"),
            ("two bravo clear", "2B; normal"),
            ("deep grand", "DDFT; normal"),
            ("check ligament regular", "ALDDFT; normal"),
            ("suspensory is okay", "SL; normal"),
            ("superficial normoechoic", "SDFT; normal"),
            ("fibre pattern within normal limits", "normal"),
            ("fibres regular", "no fibre disruption"),
            ("fibres irregular", "fibre disruption"),
        ],
    );
    for phrase in ["all good", "looks fine", "clear", "right fore good", "deep okay", "deep okay save"] {
        asked(&[PLACE], phrase);
    }
}

#[test]
fn no_before_a_structure_or_a_bound_corrects_nothing() {
    for phrase in ["no check ligament", "no medial branch", "no sheath"] {
        asked(&[PLACE, "core lesion"], phrase);
    }
    let said = |phrase: &str| shown(&[PLACE, "lesion twenty percent"], phrase);
    for phrase in ["no more than ten percent", "not more than ten percent", "at most ten percent"] {
        assert_eq!(said(phrase), "lesion percent less than 10 %", "{phrase}");
    }
    assert_eq!(said("no less than ten percent"), "lesion percent more than 10 %");
    assert_eq!(said("no two alpha"), "right: 2A");
}

#[test]
fn a_letter_after_a_level_is_a_zone() {
    all(
        &[PLACE],
        &[
            ("level two a cross section", "2A T"),
            ("level three a suspensory", "3A SL"),
            ("level two", "1A level 2 cm"),
            ("twenty centimetres transverse", "3B level 20 cm T"),
            ("longitudinal twelve centimetres", "2B level 12 cm L"),
        ],
    );
    for phrase in ["twenty centimetres", "eleven millimetres"] {
        asked(&[PLACE], phrase);
    }
}

#[test]
fn sizes_and_findings_as_they_are_put_elsewhere() {
    all(
        &[PLACE],
        &[
            ("surface one point two square centimetres", "area 1.2 cm2"),
            ("lesion is sixteen", "lesion area 16 mm2 (unit not said)"),
            ("medial collateral ligament enlarged", "CLF-medial; enlarged"),
            (
                "medial and lateral branches of the suspensory normal",
                "normal of SL-medial; normal of SL-lateral",
            ),
            ("medial lobe of the deep hypoechoic", "DDFT-medial; hypoechoic (not confirmed)"),
            ("left anterior", "LF"),
        ],
    );
    for phrase in ["was one point two last time", "down from thirty four", "score two"] {
        asked(&[PLACE], phrase);
    }
    // After a lesion the centimetres are its size.
    asked(&[PLACE], "core lesion three centimetres longitudinally");
}
