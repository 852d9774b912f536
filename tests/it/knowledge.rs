//! The record and its coverage; the rules have their cases in `tests/it/rules/`.
use crate::support;
use crate::support::case;

use std::collections::BTreeSet;

use crate::rules::lesions::only_its_size_normal;
use case::{Case, said};
use support::BUILT_IN;
use zonecall::clock::Sample;
use zonecall::exam::closed_sets::CallKind;
use zonecall::exam::fold::{Gap, LoggedChange};
use zonecall::exam::review::{Change, Review};
use zonecall::exam::seq::Seq;
use zonecall::frames::pairing::Tie;
use zonecall::knowledge::measure::row::Name;
use zonecall::knowledge::record::{Record, Status};
use zonecall::language::closed_sets::Class;

fn record(case: &Case) -> Record {
    case.record(&BUILT_IN.1)
}

#[test]
fn utterances_not_understood_have_a_row_each() {
    let kinds: Vec<CallKind> = record(&said(&["left fore", "blue green yellow", "red red"]))
        .calls
        .into_iter()
        .map(|row| row.kind)
        .collect();
    assert_eq!(kinds, [CallKind::View, CallKind::Unknown, CallKind::Unknown]);
}

#[test]
fn a_branch_that_no_zone_names_is_of_no_structure_that_was_said_before() {
    for said_of in [
        "medial branch enlarged",
        "lesion in the medial branch",
        "no medial branch enlargement",
        "medial branch",
    ] {
        let case = said(&["left fore", "annular ligament normal", said_of]);
        let record = record(&case);
        let row = record.calls.last().unwrap();
        assert_eq!(row.place.structure.as_deref(), Some("branch-medial"), "{said_of}");
        let told = |rule: &str| {
            record.findings.iter().any(|found| found.rule == rule && found.call_seq == Some(row.seq))
        };
        assert!(told("call-problem"), "{said_of}");
        assert_eq!(row.doubt, ["its call has a problem"], "{said_of}");
    }
    let placed =
        record(&said(&["left fore three bravo", "annular ligament normal", "medial branch enlarged"]));
    assert_eq!(placed.calls.last().unwrap().place.structure.as_deref(), Some("SL-medial"));
}

#[test]
fn what_the_current_structure_cannot_have_is_filed_under_none() {
    let structure = |words: &[&str]| {
        let rows = record(&said(&[&["left fore two bravo transverse superficial"], words].concat())).calls;
        rows.last().unwrap().place.structure.clone()
    };
    assert_eq!(structure(&["effusion"]), None);
    assert_eq!(structure(&["no effusion"]), None);
    assert_eq!(structure(&["effusion in the digital sheath"]).as_deref(), Some("DFTS"));
    // It stays current for what comes after.
    assert_eq!(structure(&["effusion", "core lesion"]).as_deref(), Some("SDFT"));
}

#[test]
fn size_normal_does_not_say_that_there_is_no_lesion() {
    let area = "area one hundred square millimetres";
    let lesion = |case: &Case| {
        let rows = record(case).measures;
        rows.into_iter().find(|row| row.name == Name::LesionArea).map(|row| (row.value, row.implied))
    };
    let case = || said(&["left fore two bravo transverse superficial", area, "normal"]);
    assert_eq!(lesion(&case()), Some((None, true)), "normal is shown as that word");
    assert_eq!(lesion(&case().but(only_its_size_normal)).map(|row| row.1), None);
}

#[test]
fn a_surface_that_is_as_it_should_be_is_no_lesion() {
    let words = ["left fore three bravo transverse", "bone surface smooth"];
    // Journals have it as a lesion, those of earlier versions as well as those of grammars that know no better.
    let lines = support::exam_lines(&words);
    let written = serde_json::to_string(&lines.events.last().unwrap().event).unwrap();
    assert!(written.contains(r#""class":"lesion","term":"bone smooth""#), "{written}");
    let record = record(&said(&words));
    let row = record.calls.last().unwrap();
    assert_eq!((row.class.clone(), row.term.as_deref()), (Some(Class::Unremarkable), Some("bone smooth")));
    assert_eq!(row.place.structure.as_deref(), Some("BONE"));
    let record = self::record(&said(&["left fore three bravo transverse", "irregular palmar cortex"]));
    assert_eq!(record.calls.last().unwrap().class, Some(Class::Lesion));
}

#[test]
fn a_view_said_not_to_be_scanned_is_not_missing() {
    let rows = |utterances: &[&str]| {
        let rows = record(&said(utterances)).coverage;
        let left_out = rows.into_iter().filter(|row| row.not_done);
        left_out.map(|row| format!("{} {}", row.zone, row.plane)).collect::<Vec<_>>()
    };
    // The plane kept from the zone before does not narrow it down.
    assert_eq!(rows(&["left fore two alpha transverse", "two bravo", "not scanned"]), ["2B T", "2B L"]);
    assert_eq!(rows(&["left fore two alpha", "long axis", "not scanned"]), ["2A L"]);
    assert_eq!(rows(&["left fore two alpha", "s d f t", "not scanned"]), [""; 0]);
}

#[test]
fn the_pastern_is_covered_only_when_called() {
    let schemes = |utterances: &[&str]| {
        let rows = record(&said(utterances)).coverage;
        rows.into_iter().map(|row| row.scheme).collect::<BTreeSet<String>>()
    };
    assert_eq!(schemes(&["right hind"]), BTreeSet::from(["hock".to_owned()]));
    let both = BTreeSet::from(["hock".to_owned(), "pastern".to_owned()]);
    assert_eq!(schemes(&["right hind", "pastern one alpha"]), both);
}

/// Our arithmetic on the schemes: 7 zones x 2 planes x 2 fore limbs, 9 x 2 x 2 on hind limbs counted from the hock.
#[test]
fn a_whole_exam_wants_as_many_views_as_its_schemes_have() {
    let wanted = |limbs: &[&str]| record(&said(limbs)).coverage.len();
    assert_eq!(wanted(&["left fore", "right fore"]), 28);
    assert_eq!(wanted(&["left hind", "right hind"]), 36);
}

#[test]
fn a_still_that_pairing_leaves_out_is_unlabelled() {
    let case = said(&["left fore"]).still(Tie::Context(0)).but(|case| case.pairing.frames.clear());
    assert_eq!(record(&case).frames[0].status, Status::Unlabelled);
}

#[test]
fn findings_come_worst_first_and_equal_input_gives_equal_bytes() {
    let case = said(&["left fore two bravo", "area nine", "blue"])
        .but(|case| case.exam.gaps.push(Gap { at: Sample::FIRST, samples: 1 }));
    let severities: Vec<_> = record(&case).findings.iter().map(|finding| finding.severity).collect();
    assert!(severities.is_sorted() && severities.len() > 3, "{severities:?}");
    assert_eq!(serde_json::to_vec(&record(&case)).unwrap(), serde_json::to_vec(&record(&case)).unwrap());
}

#[test]
fn a_row_holds_what_was_said_and_what_was_in_force() {
    let case = said(&[
        "standoff on",
        "imaging depth five point five",
        "left fore two bravo longitudinal",
        "s d f t",
        "fibre score two",
        "disregard that",
    ]);
    let row = record(&case).calls.into_iter().find(|row| row.kind == CallKind::Value).unwrap();
    let text = |part: &Option<String>| part.clone().unwrap_or_default();
    assert_eq!(row.place.columns(), "LF 2B L SDFT");
    assert_eq!(
        (text(&row.term), row.number, text(&row.scale)),
        ("fibre score".to_owned(), Some(2.0), "0-3".to_owned())
    );
    assert_eq!(row.settings["standoff"], "on");
    assert_eq!(row.settings["imaging depth"], "5.5 cm");
    assert!(row.withdrawn);
}

/// 4C is a zone of hind limbs only: whatever is saved there has a label that means another place, and as long as the limb
/// hangs on that call it may have been the limb that was misheard.
#[test]
fn what_is_found_against_the_call_of_a_zone_speaks_against_every_label_that_hangs_on_it() {
    let utterances = [
        "left fore zone four charlie transverse",
        "superficial flexor",
        "save",
        "longitudinal",
        "save",
        "zone two alpha",
        "save",
        "right fore zone two alpha transverse",
        "save",
    ];
    let doubts: Vec<Vec<String>> =
        record(&said(&utterances).stills()).frames.into_iter().map(|row| row.doubt).collect();
    let of_zone = vec!["its call has a problem".to_owned()];
    assert_eq!(doubts, [of_zone.clone(), of_zone.clone(), of_zone, Vec::new()]);
}

/// The long plantar ligament runs at the hock only: named in an utterance of its own, it speaks against every still of it,
/// until a person has looked at it or another structure is named.
#[test]
fn a_structure_that_its_zone_does_not_expect_speaks_against_the_stills_of_it_until_somebody_looked() {
    let utterances = [
        "left fore zone two bravo transverse",
        "long plantar ligament",
        "save",
        "longitudinal",
        "save",
        "superficial flexor",
        "save",
    ];
    let case = said(&utterances).stills();
    let doubts =
        |case: &Case| -> Vec<usize> { record(case).frames.iter().map(|row| row.doubt.len()).collect() };
    let unexpected = "this structure is not expected in this zone";
    assert_eq!(record(&case).frames[1].doubt, [unexpected]);
    assert_eq!(doubts(&case), [1, 1, 0]);
    let found = record(&case).findings;
    let finding = found.into_iter().find(|finding| finding.rule == "structure-outside-zones").unwrap();
    let looked = case.but(|case| {
        let change = Change::Looked {
            rule: finding.rule,
            finding: finding.message,
            seq: finding.call_seq,
            still: finding.frame,
            place: finding.place,
        };
        let review = Review { by: "Robin".to_owned(), why: String::new(), was: String::new(), change };
        let at = case.exam.header.started_at;
        case.exam.changes.push(LoggedChange { seq: Seq(99), at, review, taken_back_by: None });
    });
    assert_eq!(doubts(&looked), [0, 0, 0]);
}

/// Normal was said in both planes of the zone in which the lesion is: neither stays without it.
#[test]
fn a_lesion_contradicts_each_normal_of_its_zone() {
    let words =
        ["left fore one bravo transverse", "superficial normal", "longitudinal", "superficial normal"];
    let case = said(&[&words[..], &["superficial core lesion"]].concat());
    let record = record(&case);
    let normals: Vec<usize> = record
        .calls
        .iter()
        .filter(|call| call.class == Some(Class::Normal))
        .map(|call| call.contradicted_by.len())
        .collect();
    assert_eq!(normals, [1, 1]);
}
