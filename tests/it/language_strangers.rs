//! What people said who had not seen the grammar: each phrase here was once taken wrongly, or not at all; our own wording throughout.
use crate::support::exam_of;
use crate::support::phrase::{all, asked, asked_with, shown};

const PLACE: &str = "left fore two alpha transverse superficial flexor";

#[test]
fn an_adjective_before_a_structure_does_not_carry_the_finding_before_it_along() {
    for phrase in [
        "mild effusion and thickened annular ligament",
        "effusion with an enlarged deep flexor",
        "core lesion swollen check ligament",
        "no effusion thickened superficial and deep",
    ] {
        asked(&[PLACE], phrase);
    }
    all(
        &[PLACE],
        &[("swollen and hypoechoic check", "enlarged of ALDDFT; hypoechoic of ALDDFT (not confirmed)")],
    );
}

#[test]
fn what_is_said_of_everything_is_said_of_the_view() {
    let zone_only = "left fore two alpha transverse";
    for phrase in ["all structures normal", "everything is unremarkable", "everything's clean"] {
        assert_eq!(shown(&[PLACE], phrase), "normal, all structures", "{phrase}");
        let exam = exam_of(&[PLACE, phrase]);
        assert_eq!(exam.calls.last().unwrap().context.place.structure, None, "{phrase}");
        assert_eq!(shown(&[zone_only], phrase), "normal, all structures", "{phrase}");
    }
    // Of the deep flexor, or of all of them?
    asked(&[PLACE], "deep flexor everything normal");
}

#[test]
fn what_has_healed_keeps_its_name() {
    all(
        &[PLACE],
        &[
            ("core lesion healed", "core lesion healing"),
            ("healed border lesion", "border lesion healing"),
            ("tear has healed", "tear healing"),
            ("lesion has filled in nicely", "healing"),
        ],
    );
}

#[test]
fn what_is_shown_to_people_who_stand_by_moves_nothing() {
    for phrase in ["this is the deep flexor", "that's the check", "it's the suspensory"] {
        asked(&[PLACE], phrase);
    }
    all(&[PLACE], &[("this is the deep flexor normal", "DDFT; normal"), ("the deep flexor", "DDFT")]);
}

#[test]
fn structures_one_after_the_other_share_what_is_normal_but_not_a_lesion() {
    for phrase in
        ["deep superficial enlarged", "deep thanks superficial enlarged", "check um deep hypoechoic"]
    {
        asked(&[PLACE], phrase);
    }
    all(
        &[PLACE],
        &[
            ("superficial deep normal", "normal of SDFT; normal of DDFT"),
            ("superficial and deep enlarged", "enlarged of SDFT; enlarged of DDFT"),
            ("both flexors enlarged", "enlarged of SDFT; enlarged of DDFT"),
            // What names its own structure is not shared.
            (
                "superficial and deep normal effusion in the sheath",
                "normal of SDFT; normal of DDFT; effusion of DFTS",
            ),
            ("normal superficial and deep", "normal of SDFT; normal of DDFT"),
            ("normal medial branch and lateral branch", "normal of SL-medial; normal of SL-lateral"),
            ("normal medial and lateral branch", "normal of SL-medial; normal of SL-lateral"),
            ("no change in the superficial deep normal", "same of SDFT against the last scan; DDFT; normal"),
        ],
    );
    asked(&[PLACE], "core lesion in the superficial deep");
    asked(&[PLACE], "suspensory normal and the check also");
}

#[test]
fn a_finding_between_two_places_is_asked_about() {
    asked(&[PLACE], "superficial core lesion two b anechoic");
    all(&[PLACE], &[("superficial normal two b superficial normal", "SDFT; normal; 2B SDFT; normal")]);
}

#[test]
fn a_negated_degree_is_asked_about_by_name() {
    for phrase in ["no marked enlargement", "no gross swelling", "not very thick", "isn't markedly enlarged"]
    {
        asked(&[PLACE], phrase);
    }
}

#[test]
fn scores_and_sizes_are_said_with_fewer_words() {
    all(
        &[PLACE],
        &[
            ("fibre score one to two", "fibre score 1, to 2"),
            ("fibre score two or three", "fibre score 2, to 3"),
            (
                "superficial no change one eleven",
                "same of SDFT against the last scan; area 111 mm2 (unit not said)",
            ),
            ("superficial enlarged one thirty square mil", "SDFT; enlarged; area 130 mm2"),
            ("one point six square centimetres", "area 1.6 cm2"),
            ("lesion fifty eight", "lesion area 58 mm2 (unit not said)"),
            (
                "hypoechoic area centrally about twenty square mil",
                "hypoechoic, central (not confirmed); lesion area about 20 mm2",
            ),
            ("takes up nearly half the tendon", "lesion percent about 50 %"),
        ],
    );
    // An area just after a lesion may be of either.
    asked(&[PLACE, "core lesion"], "one point six square centimetres");
    asked(&[PLACE], "grade two");
}

#[test]
fn the_last_finding_is_copied_only_by_words_that_say_so() {
    assert_eq!(
        shown(&[PLACE, "mild core lesion"], "as above for the deep"),
        "mild core lesion of DDFT (said as the same again)"
    );
    asked(&[PLACE, "mild core lesion"], "same for the deep");
    // No word of the language: it sounds like "save".
    assert_eq!(shown(&[PLACE, "mild core lesion"], "same"), "");
}

#[test]
fn the_other_limb_is_looked_at_in_the_same_zone() {
    all(
        &[PLACE],
        &[
            ("same zone other leg", "RF other limb 2A"),
            ("right fore same zone", "RF 2A"),
            ("right fore same zone long axis", "RF 2A L"),
            ("right fore for comparison", "RF"),
            ("same zone long axis", "L"),
        ],
    );
    let exam = exam_of(&["left fore", "same zone other leg"]);
    assert!(exam.calls.last().unwrap().problems.iter().any(|problem| problem.message.contains("zone")));
}

#[test]
fn long_is_a_plane_beside_another_phrase_and_nothing_alone() {
    all(
        &[PLACE],
        &[
            ("long save", "L; still saved"),
            ("save long", "L; still saved"),
            ("long normal save", "L; normal; still saved"),
            ("long two b", "2B L"),
            ("turn it long", "L"),
            ("store that and go long", "still saved; L"),
            ("check thickened in long", "L ALDDFT; thickened"),
        ],
    );
    asked(&[PLACE], "long");
    asked(&[PLACE], "core lesion long");
}

#[test]
fn words_of_saving_and_correcting_are_taken_only_where_they_are_clear() {
    all(
        &[PLACE],
        &[
            ("normal got it", "normal; still saved"),
            ("that is the end of the examination", "end of exam"),
            ("colour doppler on medial branch", "doppler on; SL-medial"),
            ("less effusion than last time", "effusion, smaller against the last scan"),
        ],
    );
    asked(&[PLACE], "got it");
    asked(&[PLACE, "core lesion medial"], "lateral i mean");
    assert_eq!(shown(&[PLACE], "superficial's okay deep's okay"), "SDFT; normal; DDFT; normal");
}

#[test]
fn a_take_back_and_a_finding_in_one_breath_are_asked_about() {
    for phrase in
        ["undo the lesion", "undo the tear", "disregard the core lesion", "disregard that core lesion medial"]
    {
        asked(&[PLACE, "moderate core lesion medial"], phrase);
    }
    all(&[PLACE], &[("disregard that two bravo", "take back the last call; 2B")]);
}

#[test]
fn a_zone_that_no_scheme_has_is_told_apart_from_words_that_are_none() {
    for phrase in ["two charlie", "zone one charlie", "p three alpha", "pastern two charlie"] {
        asked_with(&[PLACE], phrase, "this one does not exist");
    }
}

/// The origin has two lobes as the deep flexor has in the pastern; what was named last says whose lobe it is.
#[test]
fn a_lobe_belongs_to_what_was_named_last() {
    let of = |before: &[&str]| {
        let exam = exam_of(&[before, &["medial lobe hypoechoic"]].concat());
        let call = exam.calls.last().unwrap();
        (call.context.place.structure.clone().unwrap_or_default().to_string(), call.problems.len())
    };
    let hind = "left hind one alpha transverse";
    assert_eq!(of(&[hind, "suspensory origin"]), ("SL-origin-medial".to_owned(), 0));
    assert_eq!(of(&[hind, "suspensory"]), ("SL-origin-medial".to_owned(), 0));
    assert_eq!(of(&[hind, "suspensory origin", "lateral lobe normal"]), ("SL-origin-medial".to_owned(), 0));
    assert_eq!(of(&[hind, "deep flexor"]), ("DDFT-medial".to_owned(), 0));
    assert_eq!(of(&["left fore pastern one bravo transverse"]), ("DDFT-medial".to_owned(), 0));
    // Nothing says which: it is kept as it was said.
    assert_eq!(of(&[hind]), ("lobe-medial".to_owned(), 1));
    assert_eq!(of(&[hind, "superficial flexor"]), ("lobe-medial".to_owned(), 1));
    all(&[hind], &[("suspensory origin medial head normal", "SL-origin-medial; normal")]);
}

#[test]
fn a_comparison_names_the_other_limb_of_the_pair_or_is_asked_about() {
    asked(&[PLACE], "right fore is bigger");
    asked(&[PLACE], "right fore smaller");
    let problems = |phrase: &str| exam_of(&[PLACE, phrase]).calls.last().unwrap().problems.len();
    let (other, wrong) = (0, 1);
    for (phrase, told) in [
        ("thinner than right fore", other),
        ("thinner than the right", other),
        ("larger than the other leg", other),
        ("larger than the off fore", other),
        // It may be the wrong limb that is in force.
        ("thinner than left hind", wrong),
        ("thinner than the left", wrong),
        ("thinner than right hind", wrong),
        ("thicker than near fore", wrong),
    ] {
        assert_eq!(problems(phrase), told, "{phrase}");
    }
    all(&[PLACE], &[("right fore larger since last scan", "RF; larger against the last scan")]);
}

#[test]
fn how_far_a_finding_reaches_does_not_move_the_probe() {
    for phrase in [
        "lesion is six centimetres long starting at one alpha",
        "lesion length six centimetres starting at one alpha",
        "lesion seen down to three bravo",
        "core lesion down to three bravo",
        "hypoechoic up to one alpha",
    ] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
    all(
        &[],
        &[
            ("starting at one alpha", "1A"),
            ("down to three bravo", "3B"),
            ("save down to three bravo", "still saved; 3B"),
        ],
    );
}

#[test]
fn no_before_a_number_is_no_correction_where_it_may_deny() {
    for phrase in [
        "no lesion area one twelve",
        "superficial no lesion area one ten",
        "no lesion percent ten",
        "no lesion width nine",
        "no lesion thickness nine millimetres",
    ] {
        asked(&[PLACE], phrase);
    }
    // What is not there has no area: the number is that of the structure.
    all(&[PLACE], &[("no core lesion one twelve", "no core lesion; area 112 mm2 (unit not said)")]);
    all(&[PLACE, "area one twenty"], &[("no area one twelve", "right: area 112 mm2 (unit not said)")]);
}

#[test]
fn what_is_not_new_may_be_old_and_what_is_not_ruptured_may_be_torn() {
    for phrase in ["no new lesions", "no further lesions", "no other core lesion", "without new tears"] {
        asked(&[PLACE], phrase);
    }
    all(&[PLACE], &[("not ruptured", "no rupture"), ("not torn", "no tear"), ("no rupture", "no rupture")]);
}
