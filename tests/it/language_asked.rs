//! What people say that could be taken for something else: bound to what it belongs to, or asked; our own wording throughout.
use crate::support::exam_of;

const PLACE: &str = "left fore two alpha transverse superficial flexor";

/// Each call of the last utterance with the place in force after it.
fn shown(place: &str, phrase: &str) -> String {
    let exam = exam_of(&[place, phrase]);
    let last = exam.utterances.last().unwrap().seq;
    let calls = exam.calls.iter().filter(|call| call.heard_seq == last);
    let one = |call: &zonecall::exam::fold::LoggedCall| {
        let at = &call.context.place;
        let place: Vec<&str> =
            [at.limb.as_deref(), at.zone.as_deref(), at.plane.as_deref()].into_iter().flatten().collect();
        format!("{} at {}", call.act, place.join(" "))
    };
    calls.map(one).collect::<Vec<_>>().join("; ")
}

/// It is of the language, but could be taken for what it does not mean.
#[track_caller]
fn asked(place: &str, phrase: &str) {
    let exam = exam_of(&[place, phrase]);
    let utterance = exam.utterances.last().unwrap();
    assert!(
        exam.calls.iter().all(|call| call.heard_seq != utterance.seq),
        "{phrase}: {}",
        shown(place, phrase)
    );
    let told: Vec<&str> = utterance.problems.iter().map(|problem| problem.message.as_str()).collect();
    assert!(!told.is_empty() && !told[0].contains("is not a complete phrase"), "{phrase}: {told:?}");
}

#[track_caller]
fn all(cases: &[(&str, &str)]) {
    for (phrase, wanted) in cases {
        assert_eq!(shown(PLACE, phrase), *wanted, "{phrase}");
    }
}

#[test]
fn a_place_said_with_a_preposition_is_where_the_finding_before_it_is() {
    all(&[
        ("core lesion in two bravo", "2B at LF 2B T; core lesion at LF 2B T"),
        ("core lesion on the right fore", "RF at RF; core lesion at RF"),
        ("hypoechoic on long axis", "L at LF 2A L; hypoechoic (not confirmed) at LF 2A L"),
        (
            "core lesion and effusion in two bravo",
            "2B at LF 2B T; core lesion at LF 2B T; effusion at LF 2B T",
        ),
        ("saved in two bravo", "2B at LF 2B T; still saved at LF 2B T"),
        ("core lesion in two bravo longitudinal", "2B L at LF 2B L; core lesion at LF 2B L"),
        ("core lesion in two bravo saved", "2B at LF 2B T; core lesion at LF 2B T; still saved at LF 2B T"),
        ("artefact in two bravo", "2B at LF 2B T; artefact at LF 2B T"),
        // Without one, too; after a word of moving the probe goes on.
        ("normal two bravo", "2B at LF 2B T; normal at LF 2B T"),
        ("normal now two bravo", "normal at LF 2A T; 2B at LF 2B T"),
        ("on the right fore", "RF at RF"),
        ("moving on to the right fore", "RF at RF"),
        ("normal going on in three alpha", "normal at LF 2A T; 3A at LF 3A T"),
    ]);
    for phrase in [
        "two bravo core lesion effusion in three alpha",
        "in two bravo core lesion in three alpha",
        "core lesion and in two bravo effusion",
        "core lesion in two bravo effusion",
        "normal now on the right fore",
        "normal save on the left hind",
        "no lesion in the left fore and right fore",
        "core lesion in two bravo to three alpha",
        "correction border lesion in two bravo",
        "skipped three alpha",
        "skipped the left hind",
        "skipped suspensory",
    ] {
        asked(PLACE, phrase);
    }
}

#[test]
fn a_finding_before_a_structure_that_has_its_own_is_asked() {
    all(&[
        ("enlarged deep", "enlarged of DDFT at LF 2A T"),
        ("enlarged deep with a core lesion", "enlarged of DDFT at LF 2A T; core lesion of DDFT at LF 2A T"),
        (
            "core lesion in the superficial and deep",
            "core lesion of SDFT at LF 2A T; core lesion of DDFT at LF 2A T",
        ),
        (
            "no core lesion in the superficial or deep",
            "no core lesion of SDFT at LF 2A T; no core lesion of DDFT at LF 2A T",
        ),
    ]);
    for phrase in [
        "core lesion deep normal",
        "normal deep enlarged",
        "area one twelve deep one forty",
        "no core lesion lateral branch enlarged",
        "possible lesion in the superficial or deep flexor",
        "core lesion and in the deep effusion",
    ] {
        asked(PLACE, phrase);
    }
    asked("left fore three bravo transverse", "medial branch normal lateral enlarged");
    asked("left fore three bravo transverse", "both branches normal lateral core lesion");
    asked(PLACE, "normal three alpha transverse core lesion");
    all(&[(
        "normal then three alpha transverse core lesion",
        "normal at LF 2A T; 3A T at LF 3A T; core lesion at LF 3A T",
    )]);
}

#[test]
fn a_share_of_change_is_no_share_of_a_lesion() {
    for phrase in [
        "ten percent larger",
        "fifty percent smaller than last time",
        "thirty percent thicker than the right",
        "thirty percent enlarged",
        "eighty percent normal",
        "two thirds healed",
        "gain up ten percent",
        "half the tendon normal",
    ] {
        asked(PLACE, phrase);
    }
    for outside in ["echo score two and a half", "core lesion and a half", "both limbs normal"] {
        assert_eq!(shown(PLACE, outside), "", "{outside}");
    }
    all(&[
        ("thirty percent", "lesion percent 30 % at LF 2A T"),
        ("a third of the cross section", "lesion percent about 33 % at LF 2A T"),
        ("core lesion area point three", "lesion area 0.3 cm2 (unit not said) at LF 2A T"),
    ]);
}

#[test]
fn each_of_two_distances_has_its_own_unit() {
    all(&[
        ("one centimetre by eight millimetres", "caliper pair 1 cm, by 0.8 at LF 2A T"),
        ("twelve mil by one centimetre", "caliper pair 12 mm, by 10 at LF 2A T"),
        ("eight by ten millimetres", "caliper pair 8 mm, by 10 at LF 2A T"),
        ("eight mil by ten", "caliper pair 8 mm, by 10 at LF 2A T"),
    ]);
    asked(PLACE, "one point two by eight");
    asked(PLACE, "twelve mil by point eight");
}

#[test]
fn the_pair_of_limbs_that_is_named_counts() {
    all(&[("other hind", "RH other limb at RH"), ("opposite fore", "RF other limb at RF")]);
    assert_eq!(shown("left hind", "other fore limb"), "RF other limb at RF");
    assert_eq!(shown("left hind", "other leg"), "RH other limb at RH");
}

#[test]
fn a_question_and_a_half_denied_finding_change_nothing() {
    for phrase in [
        "is that normal",
        "is it normal",
        "is this the left fore",
        "is there a core lesion",
        "are we in two bravo",
    ] {
        assert_eq!(shown(PLACE, phrase), "", "{phrase}");
    }
    for phrase in ["no effusion and thickening", "no core lesion and border lesion", "no tear with fluid"] {
        asked(PLACE, phrase);
    }
    all(&[
        ("superficial is normal", "SDFT at LF 2A T; normal at LF 2A T"),
        ("no effusion or thickening", "no effusion at LF 2A T; not thickened at LF 2A T"),
    ]);
}

#[test]
fn a_degree_or_a_doubt_between_two_findings_belongs_to_the_second() {
    all(&[
        ("core lesion mild effusion", "core lesion at LF 2A T; mild effusion at LF 2A T"),
        ("core lesion possible effusion", "core lesion at LF 2A T; possible effusion at LF 2A T"),
        ("core lesion mild", "mild core lesion at LF 2A T"),
        ("moderately severe core lesion", "moderate to severe core lesion at LF 2A T"),
        ("healed core lesion", "core lesion healing at LF 2A T"),
        ("possible artefact", "possible artefact at LF 2A T"),
    ]);
}

#[test]
fn what_has_no_area_takes_no_bare_number() {
    for phrase in ["annular twelve", "skin twelve", "sesamoids twelve"] {
        assert_eq!(shown(PLACE, phrase), "", "{phrase}");
    }
    all(&[
        ("superficial one twelve", "SDFT at LF 2A T; area 112 mm2 (unit not said) at LF 2A T"),
        ("cine save", "clip saved at LF 2A T"),
    ]);
    assert_eq!(
        shown("left fore three bravo transverse", "branches normal"),
        "normal of SL-medial at LF 3B T; normal of SL-lateral at LF 3B T"
    );
}

#[test]
fn a_size_between_two_findings_and_a_structure_without_a_finding_are_asked() {
    for phrase in [
        "thickened four mil core lesion",
        "moderately thickened about four mil border lesion lateral",
        "thick nine millimetres lesion",
        "normal everywhere",
        "all normal everywhere",
        "no lateral branch",
        "left fore flexors",
    ] {
        asked(PLACE, phrase);
    }
    all(&[
        ("thickened four mil", "thickened at LF 2A T; thickness 4 mm at LF 2A T"),
        (
            "thickened to four mil core lesion",
            "thickened at LF 2A T; thickness 4 mm at LF 2A T; core lesion at LF 2A T",
        ),
        ("left fore flexors normal", "LF at LF; normal of SDFT at LF; normal of DDFT at LF"),
    ]);
    let exam = exam_of(&[PLACE, "left fore flexors"]);
    let problem = &exam.utterances.last().unwrap().problems[0];
    assert!(problem.help.contains("a place said with them counts only then"), "{problem:?}");
}

#[test]
fn the_joint_has_its_latin_name_too() {
    for (latin, plain) in [
        ("metacarpophalangeal joint", "fetlock joint"),
        ("at the metacarpophalangeal joint", "at the fetlock joint"),
        ("palmar recess of the fetlock joint", "palmar recess"),
    ] {
        assert_eq!(shown(PLACE, latin), shown(PLACE, plain), "{latin}");
        assert_ne!(shown(PLACE, latin), "", "{latin}");
    }
}
