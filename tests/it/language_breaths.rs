//! Phrases that strangers said in one breath: what belongs to what, and what is asked about; our own wording throughout.
use crate::support::exam_of;
use crate::support::phrase::{all, asked, shown};

use zonecall::exam::call::Act;

const PLACE: &str = "left fore two alpha transverse superficial flexor";

/// "Everything normal but the check" says of the check only that it is not.
#[test]
fn what_comes_after_but_is_not_what_was_said_before_it() {
    for phrase in [
        "everything normal but the check",
        "all structures normal but the superficial",
        "everything is normal but check ligament",
        "nothing abnormal but the check",
        "normal but the check",
        "no lesion but deep",
        "no core lesion but in deep",
        "no effusion but in the sheath",
        "not enlarged but deep",
        "not scanned but deep",
        "all normal but check enlarged",
        "everything normal but deep enlarged",
    ] {
        asked(&[PLACE], phrase);
    }
    all(
        &[PLACE],
        &[("flexors normal but the check enlarged", "normal of SDFT; normal of DDFT; ALDDFT; enlarged")],
    );
}

/// Talking without a pause is how one moves from tendon to tendon.
#[test]
fn a_word_of_moving_on_or_a_save_ends_what_was_found_before_it() {
    all(
        &[PLACE],
        &[
            ("core lesion now deep", "core lesion; DDFT"),
            ("normal moving on to deep", "normal; DDFT"),
            ("normal now deep", "normal; DDFT"),
            ("normal then deep flexor", "normal; DDFT"),
            ("enlarged going to deep", "enlarged; DDFT"),
            ("normal save deep", "normal; still saved; DDFT"),
            ("area one twenty now deep", "area 120 mm2 (unit not said); DDFT"),
            ("core lesion now deep normal", "core lesion; DDFT; normal"),
            ("superficial now deep normal", "SDFT; DDFT; normal"),
            ("normal deep", "normal of DDFT"),
            ("enlarged medial branch", "enlarged of SL-medial"),
        ],
    );
    asked(&[PLACE], "area one twenty and deep");
    asked(&[PLACE], "core lesion and deep save");
}

#[test]
fn a_lesion_is_like_something_without_turning_the_probe() {
    for phrase in [
        "linear lesion",
        "linear scar",
        "linear hypoechoic area",
        "convex lesion",
        "long lesion",
        "long core lesion",
        "oblique tear",
        "frontal lesion",
    ] {
        asked(&[PLACE], phrase);
    }
    for before in [PLACE, "right hind one bravo transverse superficial"] {
        for phrase in
            ["lateral border normal", "core lesion medial lateral border normal", "medial part normal"]
        {
            assert_eq!(shown(&[before], phrase), "", "{phrase}");
        }
    }
}

#[test]
fn two_degrees_or_the_doubt_of_one_part_are_asked_about() {
    for phrase in [
        "mild core lesion possibly moderate",
        "mild core lesion severe",
        "core lesion mild severe",
        "severe mild core lesion",
        "core lesion possibly lateral",
        "core lesion central maybe medial",
    ] {
        asked(&[PLACE], phrase);
    }
    all(
        &[PLACE],
        &[
            ("mild to moderate core lesion", "mild to moderate core lesion"),
            ("core lesion lateral possibly", "possible core lesion, lateral"),
            ("possible mild core lesion lateral", "possible mild core lesion, lateral"),
        ],
    );
}

#[test]
fn a_scan_of_a_month_need_not_be_the_last_one() {
    all(
        &[PLACE],
        &[
            ("core lesion smaller than in march", "core lesion, smaller against the scan in March"),
            ("smaller than in may", "smaller against the scan in May"),
            ("unchanged since june", "same against the scan in June"),
            ("smaller than last time", "smaller against the last scan"),
            ("less hypoechoic than before", "hypoechoic, smaller against the last scan (not confirmed)"),
        ],
    );
}

#[test]
fn a_branch_is_one_of_the_ligament_that_was_named_last() {
    let of = |before: &[&str]| {
        let exam = exam_of(&[before, &["medial branch thickened"]].concat());
        exam.calls.last().unwrap().context.place.structure.clone().unwrap_or_default().to_string()
    };
    let pastern = "left fore pastern one bravo transverse";
    assert_eq!(of(&[pastern, "oblique sesamoidean ligament"]), "OSL-medial");
    assert_eq!(of(&[pastern, "suspensory"]), "SL-medial");
    assert_eq!(of(&[pastern, "superficial"]), "SDFT-medial");
    assert_eq!(of(&[pastern]), "SDFT-medial");
    assert_eq!(of(&["left fore three bravo transverse", "superficial"]), "SL-medial");
    assert_eq!(of(&["left fore three bravo transverse", "suspensory body"]), "SL-medial");
}

/// What was said first may be of the structure in force, and what follows of the next one.
#[test]
fn what_may_be_of_either_of_two_structures_is_asked_about() {
    for phrase in [
        "lateral deep normal",
        "central deep hypoechoic",
        "axial border of the medial branch",
        "axial border of the medial branch hypoechoic",
        "medial and lateral border torn",
        "normal laterally",
        "core lesion twelve by nine in the superficial",
        "enlarged and hypoechoic in the superficial",
        "medial and lateral branches of the superficial normal",
        "superficial and deep both normal area ninety",
        "superficial enlarged deep also",
        "two alpha and two bravo deep normal",
        "transverse and longitudinal normal",
        "transverse and longitudinal saved",
    ] {
        assert_eq!(shown(&[PLACE, "core lesion"], phrase), "", "{phrase}");
    }
    let lobes = "left fore pastern one bravo transverse";
    all(&[lobes], &[("deep medial lobe normal", "DDFT; normal of DDFT-medial")]);
    let exam = exam_of(&[lobes, "deep medial lobe normal"]);
    assert_eq!(exam.calls.last().unwrap().context.place.structure.as_deref(), Some("DDFT-medial"));
}

#[test]
fn a_number_without_a_name_is_not_another_measure_than_the_one_before_it() {
    for phrase in [
        "superficial thickness nine deep eleven",
        "width fifteen superficial sixteen deep",
        "lesion area thirty superficial twenty deep",
    ] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
    all(
        &[PLACE],
        &[(
            "superficial one hundred deep one twenty",
            "SDFT; area 100 mm2 (unit not said); DDFT; area 120 mm2 (unit not said)",
        )],
    );
}

#[test]
fn the_size_of_an_area_is_not_how_dark_it_is() {
    for phrase in [
        "large hypoechoic area medially",
        "big anechoic lesion",
        "tiny anechoic area",
        "small hypoechoic lesion",
    ] {
        asked(&[PLACE], phrase);
    }
    all(
        &[PLACE],
        &[
            ("mildly hypoechoic", "mildly hypoechoic (not confirmed)"),
            ("large core lesion", "severe core lesion"),
        ],
    );
}

#[test]
fn a_comparison_of_which_half_is_not_said_is_asked_about() {
    for phrase in [
        "right fore bigger than left fore",
        "other limb smaller",
        "other leg is smaller",
        "smaller",
        "much bigger",
    ] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
    all(
        &[PLACE],
        &[
            ("worse", "worse against the last scan"),
            ("smaller than the other leg", "smaller against the other limb"),
        ],
    );
}

#[test]
fn what_may_be_a_direction_of_the_lesion_does_not_turn_the_probe() {
    for phrase in [
        "transverse tear",
        "split longitudinal",
        "tear longitudinal",
        "area up to one twenty",
        "disregard that save",
    ] {
        assert_eq!(shown(&[PLACE, "save"], phrase), "", "{phrase}");
    }
    all(
        &[PLACE],
        &[
            ("transverse core lesion", "T; core lesion"),
            ("on longitudinal there is a tear", "L; tear"),
            ("left fore three bravo longitudinal partial tear", "LF 3B L; partial tear"),
            ("superficial tear longitudinal save", "L SDFT; tear; still saved"),
            ("oblique view core lesion medial", "O; core lesion, medial"),
            ("disregard that normal", "take back the last call; normal"),
            ("small thickening", "mildly thickened"),
            ("suspicious area medially", "possible lesion, medial"),
            ("core lesion tendon area one twenty", "core lesion; area 120 mm2 (unit not said)"),
        ],
    );
}

/// In everyday English an adjective goes before its noun.
#[test]
fn what_may_be_said_of_the_structure_at_the_end_is_asked_about() {
    for phrase in [
        "superficial core lesion and an enlarged deep",
        "superficial core lesion and a thickened check",
        "superficial enlarged with hypoechoic deep",
        "superficial tear and torn manica",
        "superficial core lesion mildly enlarged deep",
        "deep core lesion lateral lobe",
        "tear area thirty",
        "hypoechoic area thirty",
        "lesion area of the superficial thirty",
        "normal no enlarged",
        "no tear lateral but medial",
        "disregard two alpha",
        "fibre score two sorry echo score two",
        "enlarged save sorry longitudinal save",
        "worse in two alpha",
    ] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
    all(
        &[PLACE],
        &[
            ("superficial core lesion deep", "SDFT; core lesion; DDFT"),
            ("superficial normal deep", "SDFT; normal; DDFT"),
            ("extensor tendons normal", "EXT; normal"),
            ("deep digital flexor tendons normal", "DDFT; normal"),
            ("save longitudinal save", "still saved; L; still saved"),
            ("core lesion lateral area one oh seven", "core lesion, lateral; area 107 mm2 (unit not said)"),
            ("enlarged area one thirty", "enlarged; area 130 mm2 (unit not said)"),
        ],
    );
}

#[test]
fn structures_that_are_named_together_with_a_place_do_not_lose_it() {
    all(&[PLACE], &[("right hind three bravo transverse suspensory branches", "RH 3B T")]);
    asked(&[PLACE], "suspensory branches");
}

#[test]
fn a_save_after_a_correction_is_a_save() {
    let exam = exam_of(&[PLACE, "superficial mild core lesion sorry moderate save"]);
    let save = exam.calls.last().unwrap();
    assert!(!save.call.corrects && save.problems.is_empty(), "{save:?}");
}

/// A slip that is said twice would lose the save of another view, even of another limb.
#[test]
fn not_saved_takes_back_the_save_of_this_view_or_the_one_just_before_it() {
    let withdrawn = |said: &[&str]| {
        let exam = exam_of(said);
        let saves = exam.calls.iter().filter(|call| matches!(call.act, Act::Save));
        let withdrawn = saves.map(|call| call.withdrawn_by.is_some()).collect::<Vec<_>>();
        (withdrawn, exam.calls.last().unwrap().problems.len())
    };
    let place = "left hind two bravo transverse";
    assert_eq!(withdrawn(&[place, "save", "not saved"]), (vec![true], 0));
    assert_eq!(withdrawn(&[place, "save", "deep flexor", "not saved"]), (vec![true], 0));
    assert_eq!(withdrawn(&[place, "save", "longitudinal", "not saved"]), (vec![true], 0));
    assert_eq!(withdrawn(&[place, "save", "right hind two bravo transverse", "not saved"]), (vec![false], 1));
    assert_eq!(withdrawn(&[place, "save", "other leg", "not saved"]), (vec![false], 1));
    let twice = [place, "save", "longitudinal", "save", "disregard that", "not saved"];
    assert_eq!(withdrawn(&twice), (vec![false, true], 1));
    let again = [place, "save", "longitudinal", "save", "not saved", "not saved"];
    assert_eq!(withdrawn(&again), (vec![false, true], 1));
}
