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
            ("fibre pattern within normal limits", "fibre pattern normal"),
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
        assert_eq!(said(phrase), "lesion percent at most 10 %", "{phrase}");
    }
    assert_eq!(said("no less than ten percent"), "lesion percent at least 10 %");
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

#[test]
fn a_structure_with_one_size_does_not_say_which_size() {
    let branches = "left fore three bravo transverse";
    all(
        &[branches],
        &[
            ("medial branch thirteen mil", "size of SL-medial 13 mm"),
            ("lateral branch normal nine millimetres", "normal of SL-lateral; size 9 mm"),
            ("lateral branch nine millimetres unremarkable", "size of SL-lateral 9 mm; normal"),
            ("medial branch thirteen mil wide", "width of SL-medial 13 mm"),
            ("annular ligament two mil normal", "PAL; thickness 2 mm; normal"),
            ("annular ligament thick six mil", "PAL; thickened; thickness 6 mm"),
        ],
    );
    // Of the branch, or of the lesion? How deep? And of what?
    for phrase in [
        "core lesion medial branch five mil",
        "medial branch five mil core lesion",
        "deep five mil",
        "thirteen mil",
    ] {
        asked(&[branches], phrase);
    }
}

#[test]
fn an_area_stands_beside_normal_or_enlarged_in_either_order() {
    all(
        &[PLACE],
        &[
            ("deep clean one eleven", "DDFT; normal; area 111 mm2 (unit not said)"),
            ("deep point nine five no remarks", "DDFT; area 0.95 cm2 (unit not said); normal"),
            ("superficial enlarged one forty", "SDFT; enlarged; area 140 mm2 (unit not said)"),
            ("mildly enlarged one forty", "mildly enlarged; area 140 mm2 (unit not said)"),
            ("super one eighteen", "SDFT; area 118 mm2 (unit not said)"),
            ("suspensory cross section one point six", "SL; area 1.6 cm2 (unit not said)"),
            (
                "twelve centimetres superficial clean one oh one",
                "2B level 12 cm SDFT; normal; area 101 mm2 (unit not said)",
            ),
            ("that's twenty per cent of the tendon", "lesion percent 20 %"),
            (
                "superficial one nineteen lesion eight square millimetres",
                "SDFT; area 119 mm2 (unit not said); lesion area 8 mm2",
            ),
        ],
    );
    for phrase in ["super", "super clean", "superficial thickened one forty"] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
    // A size, not a place.
    assert_eq!(shown(&[PLACE], "three centimetres deep"), "depth 3 cm");
}

#[test]
fn normal_of_one_thing_is_not_all_normal() {
    all(
        &[PLACE],
        &[
            ("size normal", "size normal"),
            ("size and shape normal", "size shape normal"),
            ("fibre pattern normal", "fibre pattern normal"),
            ("normal in appearance", "normal"),
            ("no remarks", "normal"),
            ("all structures no remarks", "normal, all structures"),
            ("superficial and deep both without remark", "normal of SDFT; normal of DDFT"),
        ],
    );
}

#[test]
fn a_number_of_another_day_is_never_taken_for_one_of_today() {
    for phrase in [
        "superficial last time one thirty",
        "lesion last time thirty",
        "area one twenty last time one thirty",
        "lesion area twenty two down from forty",
        "lesion area eighteen down from thirty three forty percent",
        "lesion area twenty two down from forty three a transverse",
        "deep one sixteen down from one hundred and forty superficial normal",
    ] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
}

#[test]
fn what_follows_a_number_keeps_its_own_meaning() {
    // The zone's figure is no lesion of three square millimetres.
    let said = shown(&[PLACE], "superficial one nineteen lesion three a transverse");
    assert!(!said.contains("lesion area"), "{said}");
    // Good fibres are no share of a lesion.
    for phrase in [
        "that's twenty percent parallel fibres",
        "forty percent parallel fibre pattern",
        "sixty percent regular fibres",
    ] {
        let said = shown(&[PLACE], phrase);
        assert!(!said.contains("lesion percent"), "{phrase}: {said}");
    }
    // "Good" may mean "and on".
    let said = shown(&[PLACE], "superficial one forty good");
    assert!(!said.contains("normal"), "{said}");
}

#[test]
fn a_depth_beside_another_setting_is_the_machines() {
    for (phrase, said) in [
        ("fourteen megahertz depth four", "frequency 14 MHz; imaging depth 4 cm"),
        ("depth four centimetres gain sixty", "imaging depth 4 cm; gain 60"),
        ("standoff off depth seven", "standoff off; imaging depth 7 cm"),
    ] {
        assert_eq!(shown(&[PLACE], phrase), said, "{phrase}");
    }
    asked(&[PLACE], "depth four");
}

#[test]
fn places_are_called_in_other_words() {
    all(
        &["left fore one alpha longitudinal"],
        &[
            ("two alpha across", "2A T"),
            ("two alpha transversal cut", "2A T"),
            ("two alpha across deep fine", "2A T DDFT; normal"),
            ("off fore recheck", "RF"),
            ("right front tendon", "RF"),
            ("right front tendon enlarged", "RF; enlarged"),
            ("left hind follow up scan", "LH"),
            ("body of the third interosseous", "SL-body"),
        ],
    );
    // Said of the horse, too.
    asked(&[PLACE], "across");
    asked(&[PLACE], "that's a keeper");
    assert_eq!(shown(&[PLACE], "deep good that's a keeper"), "DDFT; normal; still saved");
    // The branch of the flexor, or two structures?
    for phrase in ["superficial medial branch normal", "s d f t lateral branch enlarged"] {
        asked(&[PLACE], phrase);
    }
}

#[test]
fn a_correction_does_not_reach_past_what_was_not_understood() {
    let lost = "the bad bit must be nought point six";
    for phrase in ["no sorry point four", "sorry that's fifty", "lateral", "severe"] {
        asked(&[PLACE, "core lesion area thirty", lost], phrase);
    }
    assert_eq!(
        shown(&[PLACE, "superficial one sixty"], "no sorry one fifty"),
        "right: area 150 mm2 (unit not said)"
    );
    // Broken off before its last figure.
    asked(&[PLACE], "superficial area one point oh um hang on");
}

#[test]
fn a_note_may_hold_what_is_asked_about_elsewhere() {
    for phrase in ["remark depth four", "memo forty per cent larger than the right"] {
        assert_eq!(shown(&[PLACE], phrase), "free note begins", "{phrase}");
    }
}

#[test]
fn what_writers_of_another_phrase_bank_say_means_what_they_meant() {
    all(
        &[PLACE],
        &[("n a d", "normal"), ("doing the right fore", "RF"), ("what was that last one", "question: last")],
    );
    // The view once more, or the last call once more?
    for phrase in ["repeat that", "repeat it"] {
        asked(&[PLACE], phrase);
    }
}
