//! The same meanings in the words of people who never read the grammar: a table for each class; our own wording throughout.
use crate::support::exam_of;
use crate::support::phrase::{all, asked, shown};

const PLACE: &str = "left fore two bravo transverse superficial flexor";

#[test]
fn branches_are_named_with_what_they_are_branches_of() {
    all(
        &[PLACE],
        &[
            ("suspensory ligament branches normal", "normal of SL-medial; normal of SL-lateral"),
            ("branches of the suspensory normal", "normal of SL-medial; normal of SL-lateral"),
            ("superficial branches normal", "normal of SDFT-medial; normal of SDFT-lateral"),
            ("both obliques normal", "normal of OSL-medial; normal of OSL-lateral"),
            ("lateral branch desmitis", "desmitis of SL-lateral"),
            ("lateral splint exostosis", "exostosis of SB-lateral"),
            ("o s l lateral enlarged", "OSL-lateral; enlarged"),
            ("s d s l normal", "SSL; normal"),
            ("p s l enlarged", "SL-origin; enlarged"),
            ("cruciates normal", "CSL; normal"),
        ],
    );
    // "Palmar" alone is a direction, not the palmar ligament.
    assert_eq!(shown(&[PLACE, "core lesion"], "palmar"), "position, palmar");
}

#[test]
fn a_size_is_of_the_lesion_or_of_the_structure_and_never_of_either() {
    all(
        &[PLACE],
        &[
            ("lesion width eight millimetres", "lesion width 8 mm"),
            ("lesion eight millimetres wide", "lesion width 8 mm"),
            (
                "lesion eight millimetres wide and six millimetres deep",
                "lesion width 8 mm; lesion depth 6 mm",
            ),
            ("six deep by eight wide", "depth 6 mm (unit not said); width 8 mm (unit not said)"),
            ("core lesion six millimetres deep", "core lesion; lesion depth 6 mm"),
            ("mild core lesion eight by six millimetres", "mild core lesion; lesion caliper pair 8 mm, by 6"),
            ("eight by six millimetre core lesion", "lesion caliper pair 8 mm, by 6; core lesion"),
            ("lesion measures two by five mil", "lesion caliper pair 2 mm, by 5"),
            ("lesion five millimetres in diameter", "lesion diameter 5 mm"),
            ("superficial enlarged width eighteen", "SDFT; enlarged; width 18 mm (unit not said)"),
            ("area is one point one centimetres square", "area 1.1 cm2"),
        ],
    );
    for phrase in ["hypoechoic area eight millimetres wide", "eight by six lesion", "lesion two inches long"]
    {
        asked(&[PLACE], phrase);
    }
    for size in ["width eight", "eight millimetres wide", "depth eight millimetres", "eight by six"] {
        asked(&[PLACE, "core lesion"], size);
        asked(&[PLACE, "core lesion", "lesion thirty percent"], size);
        assert_ne!(shown(&[PLACE, "enlarged"], size), "", "{size}");
        assert_ne!(shown(&[PLACE, "core lesion", "deep flexor"], size), "", "{size}");
    }
    assert_eq!(shown(&[PLACE, "core lesion"], "deep width eight"), "DDFT; width 8 mm (unit not said)");
}

#[test]
fn a_depth_that_may_be_the_machines_is_asked_with_both_ways_to_say_it() {
    for phrase in ["depth four", "depth four centimetres"] {
        asked(&[PLACE], phrase);
    }
    let exam = exam_of(&[PLACE, "depth four"]);
    let help = &exam.utterances.last().unwrap().problems[0].help;
    assert!(help.contains("`imaging depth four`") && help.contains("`depth nine millimetres`"), "{help}");
    all(
        &[PLACE],
        &[
            ("set depth to four", "imaging depth 4 cm"),
            ("imaging depth four gain sixty", "imaging depth 4 cm; gain 60"),
        ],
    );
}

#[test]
fn a_degree_alone_is_that_of_the_lesion_just_before_it() {
    let lesion = [PLACE, "core lesion"];
    for phrase in ["mild", "it's mild", "mild degree"] {
        assert_eq!(shown(&lesion, phrase), "mild degree", "{phrase}");
        let exam = exam_of(&[PLACE, "core lesion", phrase]);
        assert!(exam.calls.iter().any(|call| call.act.to_string() == "mild core lesion"), "{phrase}");
    }
    for before in
        [&[PLACE][..], &[PLACE, "severe core lesion"], &[PLACE, "no core lesion"], &[PLACE, "normal"]]
    {
        asked(before, "mild");
    }
    asked(&[PLACE, "core lesion", "save"], "mild");
    // After "mild" there is a degree: only a correction makes it another one.
    asked(&[PLACE, "core lesion", "mild"], "moderate");
    assert_eq!(shown(&[PLACE, "core lesion", "mild"], "make that moderate"), "right: moderate degree");
    all(
        &[PLACE],
        &[
            ("the effusion is marked", "severe effusion"),
            ("a touch of thickening", "mildly thickened"),
            // "Slightly" is of where it is.
            ("core lesion slightly lateral", "core lesion, lateral"),
        ],
    );
}

#[test]
fn a_structure_is_fine_only_where_it_is_named() {
    all(
        &[PLACE],
        &[
            ("superficial is fine", "SDFT; normal"),
            ("check ligament looks alright", "ALDDFT; normal"),
            ("deep also fine suspensory good", "DDFT; normal; SL; normal"),
            ("manica intact", "no tear of MF"),
            ("tendon is clean", "normal"),
            ("without pathological findings", "normal"),
            ("okay save", "still saved"),
        ],
    );
    for phrase in ["fine", "looks good", "intact", "otherwise normal", "rest of the leg normal"] {
        asked(&[PLACE], phrase);
    }
}

#[test]
fn what_is_seen_and_not_seen_is_said_in_sentences() {
    all(
        &[PLACE],
        &[
            ("we've got a core lesion here", "core lesion"),
            ("superficial flexor contains a core lesion", "SDFT; core lesion"),
            ("there is evidence of adhesions", "adhesion"),
            ("i don't see any lesions", "no lesion"),
            ("can't see any fluid", "no effusion"),
            ("no lesion is seen", "no lesion"),
            ("no core there", "no core lesion"),
            ("core lesion no longer visible", "no core lesion"),
            ("consistent with desmitis", "possible desmitis"),
            ("filling of the tendon sheath", "effusion of DFTS"),
            ("mild increase in size", "mildly enlarged"),
            ("echogenicity is reduced", "hypoechoic"),
            ("fluid around the tendon", "peritendinous oedema"),
        ],
    );
    // Said alone a core is too short to be taken.
    assert_eq!(shown(&[PLACE], "core"), "");
}

#[test]
fn numbers_come_before_and_after_their_structure() {
    all(
        &[PLACE],
        &[
            ("one twelve superficial", "area of SDFT 112 mm2 (unit not said)"),
            ("one forty deep", "area of DDFT 140 mm2 (unit not said)"),
            ("superficial measures one point one two", "SDFT; area 1.12 cm2 (unit not said)"),
            (
                "superficial one twelve deep one forty",
                "SDFT; area 112 mm2 (unit not said); DDFT; area 140 mm2 (unit not said)",
            ),
            ("fibres seventy percent parallel", "fibre percent 70 %"),
            ("fibres less than fifty percent parallel", "fibre percent less than 50 %"),
            ("grade one fibre alignment", "fibre score 1"),
            ("echo score of two", "echo score 2"),
            ("lesion takes up twenty percent of the tendon", "lesion percent 20 %"),
            ("at least twenty percent", "lesion percent at least 20 %"),
            ("ten below the accessory carpal bone", "2A level 10 cm"),
            ("moving down to sixteen centimetres", "3A level 16 cm"),
        ],
    );
    for phrase in [
        "fibre loss twenty percent",
        "thirty percent of the fibres torn",
        "twelve centimetres below the knee",
    ] {
        asked(&[PLACE], phrase);
    }
}

#[test]
fn a_comparison_says_how_and_what_is_not_so_is_asked() {
    all(
        &[PLACE],
        &[
            ("much the same as last time", "same against the last scan"),
            ("it hasn't changed", "same against the last scan"),
            ("improved compared to last time", "better against the last scan"),
            ("larger compared to the other limb", "larger against the other limb"),
        ],
    );
    for phrase in ["not worse than last time", "no better", "isn't larger than the right"] {
        asked(&[PLACE], phrase);
    }
}

#[test]
fn a_save_is_told_in_many_tenses_and_belongs_to_its_structure() {
    all(
        &[PLACE],
        &[
            ("saved that one", "still saved"),
            ("picture is saved", "still saved"),
            ("image has been saved", "still saved"),
            ("got that saved", "still saved"),
            ("saved a cine", "clip saved"),
            ("cine of the suspensory", "SL; clip saved"),
            ("saved both", "still saved; still saved"),
        ],
    );
    assert_eq!(shown(&[PLACE, "save"], "that didn't save"), shown(&[PLACE, "save"], "not saved"));
    asked(&[PLACE], "one alpha and one bravo normal");
}

#[test]
fn planes_and_settings_are_reached_by_turning() {
    all(
        &[PLACE],
        &[
            ("rotating to long axis", "L"),
            ("turn the probe longitudinal", "L"),
            ("transversal view", "T"),
            ("turn off the doppler", "doppler off"),
            ("colour flow on", "doppler on"),
            ("putting the standoff on", "standoff on"),
            ("clipped and gelled", "clipped yes; gel on"),
            ("lateral is on the left", "marker lateral"),
            // Alone it may be "going deep", which is no structure.
            ("going deep", ""),
        ],
    );
}

#[test]
fn dark_holes_doubts_and_ranges_are_understood_as_they_are_said() {
    all(
        &[PLACE],
        &[
            ("dark area medially", "hypoechoic, medial"),
            ("black hole in the centre of the tendon", "anechoic, central"),
            ("bright spots with shadowing", "hyperechoic foci; acoustic shadow"),
            ("patchy echogenicity", "heterogeneous"),
            ("fibres are parallel", "no fibre disruption"),
            ("fibres not parallel", "fibre disruption"),
            ("can't see anything wrong", "normal"),
            ("can't rule out a small lesion", "possible mild lesion"),
            ("i think there's a lesion here", "possible lesion"),
            ("might be an artefact", "possible artefact"),
            ("lesion still present", "lesion"),
            ("lesion is filling in", "healing"),
            ("both branches are thickened", "thickened of SL-medial; thickened of SL-lateral"),
            ("swollen compared to the other leg", "enlarged, larger against the other limb"),
            ("worse than in march", "worse against the scan in March"),
            ("area between ninety and a hundred", "area 90 mm2 (unit not said), to 100"),
            ("width twelve by depth eight millimetres", "width 12 mm (unit not said); depth 8 mm"),
            ("core lesion thirty percent cross sectional area", "core lesion; lesion percent 30 %"),
            ("wrong leg it's the right fore", "right: RF"),
            ("weight bearing again", "stance weight bearing"),
            ("which zones are left", "question: left"),
        ],
    );
    for phrase in
        ["it measures twelve point three millimetres", "four centimetres depth", "skip zone three c"]
    {
        asked(&[PLACE], phrase);
    }
}

/// No tendon of a horse's leg has more than 1000 mm²: a number from ten on is in mm², with a point, too.
#[test]
fn an_area_of_ten_or_more_is_in_square_millimetres_whether_it_has_a_point_or_not() {
    all(
        &[PLACE],
        &[
            ("area one hundred twenty eight point four", "area 128.4 mm2 (unit not said)"),
            ("lesion area twelve point five", "lesion area 12.5 mm2 (unit not said)"),
            ("area nine point five", "area 9.5 cm2 (unit not said)"),
            ("area one point two", "area 1.2 cm2 (unit not said)"),
        ],
    );
}

#[test]
fn talk_with_words_of_the_language_changes_nothing() {
    for talk in [
        "make a note for the farrier",
        "take a note of the shoes",
        "has that saved",
        "i'll save it in a minute",
        "that's fine",
        "is that normal for his age",
        "sorry two minutes",
        "no one",
        "actually it's ten to two",
        "turn the light off",
        "the left one is bigger than the right",
        "one more view",
        "it's only superficial",
    ] {
        assert_eq!(shown(&[PLACE, "area one hundred"], talk), "", "{talk}");
    }
}
