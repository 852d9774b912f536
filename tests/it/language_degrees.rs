//! How much of it, in which way, and what was meant in its place: nothing of what was said is lost.
use crate::support::case::said;
use crate::support::phrase::{all, asked, shown};
use crate::support::{BUILT_IN, exam_of};

use zonecall::exam::call::Act;
use zonecall::report::picture::Pictures;
use zonecall::report::{ReportFrame, ReportInput, owner, vet};

const PLACE: &str = "left fore two bravo transverse superficial flexor";

#[test]
fn normal_size_is_normal_in_size_alone() {
    all(
        &[PLACE],
        &[
            ("normal size", "size normal"),
            ("normal in size", "size normal"),
            ("size normal", "size normal"),
            ("superficial flexor is normal in size", "SDFT; size normal"),
            ("suspensory of normal size", "SL; size normal"),
            ("normal echogenicity", "echogenicity normal"),
            ("normal shape", "shape normal"),
            ("normal margins", "outline normal"),
            ("normal fibre pattern", "fibre pattern normal"),
            ("normal longitudinal fibre pattern", "fibre pattern normal"),
            ("normal size and echogenicity", "size echogenicity normal"),
            ("normal size shape and echogenicity", "size shape echogenicity normal"),
            ("normal size normal echogenicity", "size echogenicity normal"),
            ("size normal shape normal echogenicity normal", "size shape echogenicity normal"),
            ("deep normal size core lesion central", "DDFT; size normal; core lesion, central"),
            (
                "superficial of normal size and mildly hypoechoic",
                "SDFT; size normal; mildly hypoechoic (not confirmed)",
            ),
            // What has no way of its own is said of the whole.
            ("normal appearance", "normal"),
            ("normal", "normal"),
            ("normal width nine", "normal; width 9 mm (unit not said)"),
        ],
    );
    for phrase in ["size", "in size", "core lesion size", "fibre pattern"] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
}

/// The vet's report and the owner's, of these phrases said at the place.
fn reports(rest: &[&str]) -> [String; 2] {
    let protocols = &BUILT_IN.1;
    let place = ["left fore two bravo transverse", "superficial flexor"];
    let record = said(&[&place[..], rest].concat()).record(protocols);
    let (pictures, frame) = (&Pictures::new(), ReportFrame::default());
    let input = ReportInput { record: &record, earlier: &[], protocols, pictures, frame };
    [vet::html(&input), owner::html(&input)]
}

#[test]
fn no_report_takes_a_normal_size_for_a_normal_structure() {
    let [vet, owner] = reports(&["normal"]);
    assert!(vet.contains("Normal where it was mentioned") && owner.contains("Looked normal"));
    let [vet, owner] = reports(&["normal size"]);
    assert!(!vet.contains("Normal where it was mentioned") && vet.contains("size normal"));
    assert!(!owner.contains("Looked normal"));
}

#[test]
fn a_lesion_that_was_only_measured_is_among_the_findings() {
    let found = |rest: &[&str]| reports(rest)[0].clone();
    let measured = found(&["core lesion area thirty"]);
    assert!(measured.contains("<td>lesion measured, not described</td><td>2B transverse</td>"));
    assert!(!measured.contains("No findings were spoken"));
    assert!(!found(&["core lesion", "lesion area thirty"]).contains("measured, not described</td>"));
}

#[test]
fn very_is_kept_with_its_degree() {
    all(
        &[PLACE],
        &[
            ("very severe core lesion", "very severe core lesion"),
            ("very mild core lesion", "very mild core lesion"),
            ("really small core lesion", "very mild core lesion"),
            ("very slight enlargement", "very mildly enlarged"),
            ("very mildly thickened", "very mildly thickened"),
            ("very thickened", "severely thickened"),
            ("very enlarged", "severely enlarged"),
            ("very hypoechoic", "severely hypoechoic (not confirmed)"),
            ("very big", "severely enlarged"),
            ("very likely core lesion", "possible core lesion"),
        ],
    );
    assert_eq!(shown(&[PLACE, "core lesion"], "very mild"), "very mild degree");
    for phrase in ["very core lesion", "very moderate core lesion", "very small hypoechoic area"] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
}

#[test]
fn a_lesion_that_is_not_seen_leaves_the_structure_there() {
    for phrase in [
        "lesion cannot be seen",
        "lesion can't be seen any more",
        "can't see a lesion",
        "cannot see the lesion",
        "unable to find a lesion",
        "lesion no longer seen",
        "lesion is no longer visible",
        "the lesion is not visible any more",
    ] {
        assert_eq!(shown(&[PLACE], phrase), "no lesion", "{phrase}");
    }
    all(
        &[PLACE],
        &[
            ("core lesion no longer visible", "no core lesion"),
            ("cannot be seen", "not seen"),
            ("can't see it", "not seen"),
        ],
    );
}

#[test]
fn dark_and_bright_are_two_findings() {
    all(
        &[PLACE],
        &[("hypoechoic and hyperechoic areas", "hypoechoic (not confirmed); hyperechoic (not confirmed)")],
    );
    asked(&[PLACE], "hypoechoic hyperechoic lesion");
    asked(&[PLACE], "mild anechoic hyperechoic area");
}

#[test]
fn a_bound_is_kept_as_it_was_said() {
    all(
        &[PLACE],
        &[
            ("lesion at least ten percent", "lesion percent at least 10 %"),
            ("lesion at most ten percent", "lesion percent at most 10 %"),
            ("up to ten percent", "lesion percent at most 10 %"),
            ("no more than ten percent", "lesion percent at most 10 %"),
            ("not less than ten percent", "lesion percent at least 10 %"),
            ("more than ten percent", "lesion percent more than 10 %"),
            ("less than ten percent", "lesion percent less than 10 %"),
            ("width at least nine millimetres", "width at least 9 mm"),
            ("lesion length at most four centimetres", "length at most 4 cm"),
        ],
    );
    let exam = exam_of(&[PLACE, "up to ten percent"]);
    let Act::Value(value) = &exam.calls.last().unwrap().act else { panic!("no value") };
    assert_eq!(serde_json::to_value(value).unwrap()["comparator"], "<=");
}

#[test]
fn a_place_that_was_broken_off_is_not_the_place() {
    all(
        &[PLACE],
        &[
            ("zone two no three bravo", "3B"),
            ("zone two i mean zone three bravo", "3B"),
            ("left i mean right fore", "RF"),
            ("left no right fore", "RF"),
            ("two alpha no three bravo", "3B; right: 3B"),
            ("left hind i mean right fore", "RF; right: RF"),
            (
                "area one twelve no one twenty",
                "area 120 mm2 (unit not said); right: area 120 mm2 (unit not said)",
            ),
            (
                "area one twelve i mean one twenty",
                "area 120 mm2 (unit not said); right: area 120 mm2 (unit not said)",
            ),
        ],
    );
    for phrase in ["left no core lesion", "lesion fifty two no three bravo alpha", "zone two no core lesion"]
    {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
}

#[test]
fn only_what_was_said_before_a_slip_is_put_right() {
    // The effusion was said before, and stays.
    let exam = exam_of(&[PLACE, "effusion", "deep sorry superficial core lesion"]);
    let found: Vec<String> = exam
        .standing_calls()
        .filter(|call| matches!(call.act, Act::Finding(_)))
        .map(|call| call.act.to_string())
        .collect();
    assert_eq!(found, ["effusion", "core lesion"]);
    all(
        &[PLACE],
        &[
            (
                "superficial core lesion sorry deep border lesion",
                "DDFT; border lesion; right: DDFT; right: border lesion",
            ),
            ("sorry border lesion", "right: border lesion"),
        ],
    );
}

#[test]
fn what_is_hardly_there_or_only_ought_to_be_is_asked() {
    for phrase in ["hardly any effusion", "barely enlarged", "nearly normal", "looks pretty normal"] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
    for phrase in ["that should be normal", "branches symmetrical"] {
        asked(&[PLACE], phrase);
    }
    // "Square" after a number is its unit, not how the horse stands.
    assert_eq!(shown(&[PLACE], "superficial ninety eight square"), "SDFT; area 98 mm2 (unit not said)");
}

#[test]
fn findings_are_put_in_other_words_and_orders() {
    all(
        &[PLACE],
        &[
            ("superficial looks lovely", "SDFT; normal"),
            ("no obvious pathology", "normal"),
            ("fibres are nicely aligned", "no fibre disruption"),
            ("nice fibre pattern", "no fibre disruption"),
            ("poor longitudinal fibre pattern", "fibre disruption"),
            ("mottled appearance", "heterogeneous"),
            ("loads of fluid in the sheath", "severe effusion of DFTS"),
            ("sheath is full of fluid", "effusion of DFTS"),
            ("persistent effusion", "persistent effusion"),
            ("no residual lesion", "no residual lesion"),
            ("effusion has resolved", "no effusion"),
            ("no core lesion can be seen", "no core lesion"),
            ("doesn't look right", "abnormal"),
            ("can't get a good image", "poor image"),
            ("one oh five on the superficial", "area of SDFT 105 mm2 (unit not said)"),
            ("let's have a look at the deep", "DDFT"),
            ("could you save that", "still saved"),
            ("lesion two bravo to three alpha", "extent 2B to 3A"),
            ("core lesion two bravo to three alpha", "core lesion 2B to 3A"),
        ],
    );
}
