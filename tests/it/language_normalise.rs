//! How people put it who never saw the grammar: hesitations, short endings, small words before and after; our own wording.
use crate::support::exam_of;
use crate::support::phrase::{all, asked, shown};

const PLACE: &str = "left fore two alpha transverse superficial flexor";

#[test]
fn a_hesitation_inside_a_phrase_is_passed_over() {
    all(
        &[PLACE],
        &[
            ("superficial area um ninety eight", "SDFT; area 98 mm2 (unit not said)"),
            ("okay so this is the er right fore", "RF"),
        ],
    );
    // Between two phrases it is talk, and nothing goes across it.
    asked(&[PLACE], "check um deep hypoechoic");
    assert_eq!(shown(&[PLACE], "um"), "");
    // A pause in a number may be a change of mind.
    assert_eq!(shown(&[PLACE], "area one um twelve"), "");
}

#[test]
fn is_may_be_put_short_after_any_word() {
    all(
        &[PLACE],
        &[
            ("annular ligament's thickened", "PAL; thickened"),
            ("superficial's one eighteen", "SDFT; area 118 mm2 (unit not said)"),
            ("width's twelve millimetres", "width 12 mm"),
            ("gain's up a bit", "gain up"),
            ("leg's down", "stance weight bearing"),
        ],
    );
}

#[test]
fn all_normal_after_several_structures_is_said_of_each() {
    let exam = exam_of(&[
        "left fore two alpha transverse",
        "superficial one oh eight deep one ten check one fourteen all normal save",
    ]);
    let acts = exam.calls.iter().map(|call| call.call.act.to_string());
    let normal: Vec<String> = acts.filter(|act| act.starts_with("normal")).collect();
    assert_eq!(normal, ["normal of SDFT", "normal of DDFT", "normal of ALDDFT"]);
    // A structure that was only named has "all" to itself.
    all(
        &[PLACE],
        &[("superficial one oh eight deep all normal", "SDFT; area 108 mm2 (unit not said); DDFT; normal")],
    );
    assert_eq!(shown(&[PLACE], "check not seen superficial one oh eight deep one ten all normal"), "");
    // One structure is not all there is.
    assert_eq!(shown(&[PLACE], "deep flexor all normal"), "DDFT; normal");
    // What was found in one of them speaks against it.
    assert_eq!(shown(&[PLACE], "superficial core lesion deep one ten all normal"), "");
    // Another zone begins anew.
    all(
        &[PLACE],
        &[(
            "superficial one oh eight two bravo deep all normal",
            "SDFT; area 108 mm2 (unit not said); 2B DDFT; normal",
        )],
    );
}

#[test]
fn centimetres_beside_a_limb_are_a_level() {
    all(&[PLACE], &[("right front twelve centimetres", "RF 2B level 12 cm")]);
    // Alone it may be a length.
    for phrase in ["twenty centimetres", "core lesion three centimetres longitudinally"] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
}

#[test]
fn inside_and_outside_of_a_branch_are_asked_about() {
    for phrase in ["inside branch", "outside branch enlarged"] {
        asked(&["left fore three bravo transverse"], phrase);
    }
    all(&["left fore three bravo transverse"], &[("inside splint", "SB-medial")]);
}

#[test]
fn what_is_said_of_a_whole_limb_is_asked_about() {
    for phrase in [
        "all zones normal on the left",
        "rest of the right front all zones normal",
        "all other zones normal on the right hind",
        "rest of the pastern clean",
    ] {
        asked(&[PLACE], phrase);
    }
}

#[test]
fn a_position_is_put_loosely() {
    all(
        &[PLACE],
        &[
            ("core lesion just lateral of centre", "core lesion, lateral"),
            ("core lesion a bit medial of center", "core lesion, medial"),
            ("hypoechoic area more on the lateral side", "hypoechoic, lateral (not confirmed)"),
            ("core lesion dead centre", "core lesion, central"),
        ],
    );
}

#[test]
fn a_size_of_the_lesion_brings_no_second_lesion() {
    all(
        &[PLACE],
        &[
            ("lesion's five centimetres long", "length 5 cm"),
            ("core lesion length four centimetres", "core lesion; length 4 cm"),
        ],
    );
    asked(&[PLACE], "lesion point four four");
}

#[test]
fn the_horse_s_state_is_said_of_it() {
    all(
        &[PLACE],
        &[
            ("he's sedated", "sedated yes"),
            ("she's not sedated", "sedated no"),
            ("he's standing square", "stance weight bearing"),
            ("limb weight bearing", "stance weight bearing"),
            ("raise the gain", "gain up"),
        ],
    );
}

#[test]
fn an_order_to_save_is_a_save_and_talk_about_saving_is_none() {
    all(
        &[PLACE],
        &[
            ("and we save that", "still saved"),
            ("i'll save this one", "still saved"),
            ("saving that", "still saved"),
        ],
    );
    for phrase in ["we'll save that for later", "should i save that or not", "don't save that yet"] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
}
