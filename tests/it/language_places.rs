//! At which place, and in which structure, something was found that is said in one breath with it.
use crate::support::exam_of;
use crate::support::phrase::{asked, shown};

const PLACE: &str = "left fore three bravo transverse superficial flexor";

/// What became of the phrase, and the place at which each finding, number and save stands.
fn placed(phrase: &str) -> Vec<String> {
    let exam = exam_of(&[PLACE, phrase]);
    let last = exam.utterances.last().unwrap().seq;
    let calls = exam.calls.iter().filter(|call| call.heard_seq == last);
    calls.map(|call| format!("{}: {}", call.context.place.codes(), call.act)).collect()
}

#[track_caller]
fn found_at(cases: &[(&str, &str)]) {
    for (phrase, wanted) in cases {
        assert_eq!(placed(phrase).last().map(String::as_str), Some(*wanted), "{phrase}");
    }
}

#[test]
fn what_is_found_belongs_to_the_place_of_its_own_breath_in_either_order() {
    found_at(&[
        ("normal right fore one alpha", "RF 1A: normal"),
        ("core lesion right fore", "RF: core lesion"),
        ("core lesion in the superficial at two b", "LF 2B T SDFT: core lesion of SDFT"),
        ("fibre disruption in the superficial long axis", "LF 3B L SDFT: fibre disruption of SDFT"),
        ("core lesion zone two alpha", "LF 2A T: core lesion"),
        ("core lesion superficial two b", "LF 2B T SDFT: core lesion of SDFT"),
        ("core lesion two b deep", "LF 2B T DDFT: core lesion"),
        ("core lesion longitudinal two b", "LF 2B L: core lesion"),
        ("thirty percent two b", "LF 2B T: lesion percent 30 %"),
        ("normal from one alpha to two bravo", "LF 1A T: normal"),
        ("save left fore two b transverse", "LF 2B T: still saved"),
        ("core lesion two bravo save", "LF 2B T: still saved"),
    ]);
    assert_eq!(placed("core lesion two bravo save")[1], "LF 2B T: core lesion");
}

#[test]
fn a_word_of_moving_on_leaves_what_was_found_where_it_was() {
    for phrase in
        ["normal moving on to two alpha", "normal now two alpha", "normal next zone", "normal then two alpha"]
    {
        assert_eq!(placed(phrase).first().map(String::as_str), Some("LF 3B T SDFT: normal"), "{phrase}");
    }
    assert_eq!(placed("save next zone").first().map(String::as_str), Some("LF 3B T SDFT: still saved"));
    let views_first = placed("two alpha normal three alpha enlarged");
    assert_eq!(views_first.last().map(String::as_str), Some("LF 3A T: enlarged"));
}

#[test]
fn two_places_that_could_be_meant_are_asked_about() {
    for phrase in [
        "normal two alpha enlarged",
        "enlarged two bravo hypoechoic",
        "core lesion two alpha three alpha",
        "same as the right fore two alpha",
        "one bravo two alpha both normal",
        "one bravo two alpha normal",
        "medially normal",
        "both normal",
    ] {
        asked(&[PLACE], phrase);
    }
}

#[test]
fn what_is_said_of_two_structures_at_once_belongs_to_both() {
    let of = |phrase| shown(&[PLACE], phrase);
    assert_eq!(of("adhesions between the superficial and the deep"), "adhesion of SDFT; adhesion of DDFT");
    assert_eq!(of("neither branch is enlarged"), "not enlarged of SL-medial; not enlarged of SL-lateral");
}

#[test]
fn the_areas_of_lesion_and_tendon_are_told_apart_in_either_order() {
    for phrase in ["lesion fifty one tendon one fifty", "fifty one the lesion one fifty the tendon"] {
        assert_eq!(
            shown(&[PLACE], phrase),
            "lesion area 51 mm2 (unit not said); area 150 mm2 (unit not said)",
            "{phrase}"
        );
    }
    let other = shown(&[PLACE], "superficial one fifty lesion fifty one");
    assert!(other.contains("area 150 mm2") && other.contains("lesion area 51 mm2"), "{other}");
    assert_eq!(shown(&[PLACE], "ten to fifteen percent of the branch"), "lesion percent 10 %, to 15");
    assert_eq!(shown(&[PLACE], "plantar cortex is irregular"), "bone irregular of BONE");
}

#[test]
fn a_question_moves_nowhere() {
    asked(&[PLACE], "what is missing on the right fore");
    asked(&[PLACE], "how many images on the right fore");
}

#[test]
fn a_structure_that_is_only_compared_with_gets_no_finding() {
    for phrase in [
        "isoechoic to the deep",
        "hypoechoic to the deep",
        "check isoechoic with the superficial",
        "superficial adhesion to the deep",
        "deep okay superficial enlarged",
        "core lesion in the superficial at the annular",
        "no effusion thickened annular ligament",
    ] {
        asked(&[PLACE], phrase);
    }
}

#[test]
fn what_is_normal_is_no_lesion_and_a_doubt_is_not_doubled() {
    let of = |phrase| shown(&[PLACE], phrase);
    asked(&[PLACE], "normal fluid in the sheath");
    asked(&[PLACE], "normal amount of fluid");
    assert_eq!(of("suspicious lesion in the deep"), "possible lesion of DDFT");
    assert_eq!(of("bone surface smooth"), "bone smooth of BONE");
    assert_eq!(of("irregular palmar cortex"), "bone irregular of BONE");
    assert_eq!(of("could be artefact"), "possible artefact");
    assert_eq!(of("marginal tear"), "marginal tear");
    assert_eq!(of("core lesion from one b to two b"), "core lesion 1B to 2B");
}

#[test]
fn a_picture_that_is_talked_of_is_no_save() {
    asked(&[PLACE], "take a picture");
    assert_eq!(shown(&[PLACE], "take a picture of him for the owner"), "");
}

#[test]
fn long_is_a_plane_only_after_a_place_or_a_word_of_turning() {
    let of = |phrase| shown(&[PLACE], phrase);
    assert_eq!(of("two b long"), "2B L");
    assert_eq!(of("switching to long"), "L");
    assert_eq!(of("six centimetres long"), "length 6 cm");
    asked(&[PLACE], "long");
    asked(&[PLACE], "core lesion long");
}

#[test]
fn a_number_without_a_unit_is_never_an_absurd_size() {
    let of = |phrase| shown(&[PLACE], phrase);
    assert_eq!(of("circumference forty eight"), "circumference 48 mm (unit not said)");
    assert_eq!(of("circumference nine"), "circumference 9 cm (unit not said)");
    assert_eq!(of("lesion length thirty five"), "length 35 mm (unit not said)");
    assert_eq!(of("lesion area nine"), "lesion area 9 mm2 (unit not said)");
    assert_eq!(of("width eleven"), "width 11 mm (unit not said)");
}
