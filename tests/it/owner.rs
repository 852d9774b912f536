//! The owner's report: plain words, nothing of what only a vet can read, and no judgement.
use crate::support;
use crate::support::sample::WHOLE;

use std::path::Path;

use support::case::said;
use support::{BUILT_IN, exam_of};
use zonecall::frames::pairing::Pairing;
use zonecall::frames::pairing::Tie;
use zonecall::knowledge::assemble::{record, record_against};
use zonecall::knowledge::measure::{Against, Earlier};
use zonecall::knowledge::record::Record;
use zonecall::protocol::{Protocols, SourceFile};
use zonecall::report::picture::Pictures;
use zonecall::report::{ReportInput, owner};

fn page(record: &Record) -> String {
    page_by(record, &BUILT_IN.1)
}

fn page_by(record: &Record, protocols: &Protocols) -> String {
    let html = owner::html(&ReportInput {
        record,
        earlier: &[],
        protocols,
        pictures: &Pictures::default(),
        frame: WHOLE,
    });
    // The words between the tags.
    let body = html.split_once("<body>").unwrap().1;
    body.split('<')
        .map(|part| part.split_once('>').map_or(part, |(_, text)| text))
        .collect::<Vec<_>>()
        .join("\n")
}

fn of(said: &[&str]) -> Record {
    record(&exam_of(said), &Pairing::default(), &BUILT_IN.1)
}

const AREA: &str = "area one point five square centimetres";

fn lesion(size: &str) -> Vec<String> {
    let zones =
        ["one alpha", "one bravo", "two alpha", "two bravo", "three alpha", "three bravo", "three charlie"];
    let mut said = vec!["left fore".to_owned()];
    for zone in zones {
        said.push(format!("{zone} transverse s d f t {AREA}"));
        said.push(if zone == "two bravo" {
            format!("mild core lesion lateral lesion area {size} square centimetres")
        } else {
            "lesion area zero square centimetres".to_owned()
        });
    }
    said
}

#[test]
fn what_says_that_nothing_is_wrong_is_no_change_and_what_is_abnormal_is_one() {
    let told = page(&of(&["left fore", "three bravo transverse", "bone surface smooth"]));
    assert!(told.contains("Looked normal where it was mentioned: the"), "{told}");
    assert!(!told.contains("the surface of the bone is even"), "{told}");
    let told = page(&of(&["left fore", "three bravo transverse", "superficial flexor", "abnormal"]));
    assert!(told.contains("it looks changed"), "{told}");
}

#[test]
fn a_lesion_is_told_with_its_place_and_share_in_plain_words() {
    let said = lesion("nought point five");
    let said: Vec<&str> =
        said.iter().map(String::as_str).chain(["echo score two", "d d f t", "normal"]).collect();
    let text = page(&of(&said));
    for words in [
        "Left foreleg",
        "Superficial flexor tendon",
        ": the tendon nearest the skin at the back of the leg.",
        "Middle third of the cannon: an area inside it looks different from the rest, on the outer side; said to be mild.",
        // 0.5 of 1.5 cm2.
        "At its largest, the changed area takes up about a third of the cross-section.",
        "Looked normal where it was mentioned: the deep flexor tendon.",
        "14 views of a full scan have no picture",
        "A vet has not signed this yet, so it may still change.",
        // Eight weeks after 4 May 2026.
        "A common interval between scans is 8 weeks, which would be 29 June 2026; your vet will say when.",
        "Not a diagnosis.",
        "Cut-offs are defaults with their sources",
        "DRAFT",
    ] {
        assert!(text.contains(words), "`{words}` is not in {text}");
    }
    for code in ["LF", "SDFT", "2B", "mm2", "cm2", "%", "score", "1.5", "150", "50", "severity", "slight"] {
        let alone = |part: &str| {
            part.split(|sign: char| !(sign.is_alphanumeric() || sign == '%')).any(|word| word == code)
        };
        assert!(!alone(&text), "`{code}` says nothing to an owner: {text}");
    }
}

#[test]
fn what_is_contradicted_by_a_number_never_looked_normal() {
    let said = ["left fore two bravo transverse", "s d f t", "normal"];
    let numbers = ["lesion area nought point five one square centimetres", "echo score three"];
    let record = of(&[&said[..], &numbers].concat());
    let text = page(&record);
    assert!(!text.contains("Looked normal"), "{text}");
    assert!(
        text.contains("Recorded both as normal and as changed, so your vet has to check it: the superficial"),
        "{text}"
    );
    let vet = zonecall::report::vet::html(&ReportInput {
        record: &record,
        earlier: &[],
        protocols: &BUILT_IN.1,
        pictures: &Pictures::default(),
        frame: WHOLE,
    });
    assert!(vet.contains("normal, but also lesion area 51 mm2 and echo score 3"), "{vet}");
    assert!(!vet.contains("Normal where it was mentioned"), "{vet}");
}

#[test]
fn a_lesion_that_was_only_measured_is_told() {
    let text = page(&of(&[
        "left fore two bravo transverse",
        "s d f t",
        AREA,
        "lesion area nought point five square centimetres",
    ]));
    assert!(!text.contains("No findings were recorded"), "{text}");
    assert!(text.contains("about a third of the cross-section"), "{text}");
}

#[test]
fn what_was_taken_back_is_not_told() {
    let text = page(&of(&["left fore two bravo transverse", "s d f t", "core lesion", "disregard that"]));
    assert!(!text.contains("looks different"), "{text}");
    assert!(text.contains("No findings were recorded."));
}

#[test]
fn absent_and_not_scanned_are_told_apart_from_normal() {
    let text = page(&of(&[
        "left hind two bravo transverse",
        "check ligament",
        "not seen",
        "s d f t",
        "not scanned",
        "d d f t",
        "normal",
    ]));
    for words in [
        "Could not be seen in this scan: the check ligament.",
        "Not scanned: the superficial flexor tendon.",
        "Looked normal where it was mentioned: the deep flexor tendon.",
    ] {
        assert!(text.contains(words), "`{words}` is not in {text}");
    }
}

#[test]
fn a_change_since_the_last_scan_is_told_as_a_direction() {
    let since = |then: &str, now: &str| {
        let exam = |size: &str| exam_of(&lesion(size).iter().map(String::as_str).collect::<Vec<_>>());
        let before = record(&exam(then), &Pairing::default(), &BUILT_IN.1);
        let at = "2026-03-01T08:00:00Z".parse().unwrap();
        let earlier = vec![Earlier { id: "then".to_owned(), at, utc_offset_s: 3600, rows: before.measures }];
        let against = Against { earlier, ..Against::default() };
        page(&record_against(&exam(now), &Pairing::default(), &BUILT_IN.1, &against))
    };
    // Of seven areas of 1.5 cm2, 10.5 in all: 1.0 is 9.5 %, 0.5 is 4.8 %, 0.9 is 8.6 %.
    assert!(
        since("nought point five", "one")
            .contains("the changed area is larger than in the scan of 1 March 2026.")
    );
    assert!(since("one", "nought point five").contains("is smaller than in the scan of 1 March 2026."));
    assert!(
        since("one", "nought point nine").contains("is about the same size as in the scan of 1 March 2026.")
    );
}

/// A share falls, too, where the tendon around the lesion swells: that is no "smaller".
#[test]
fn smaller_is_said_only_where_area_and_share_both_fell() {
    let exam = |area: &str, lesion: &str| {
        let mut said = vec!["left fore".to_owned()];
        for zone in [
            "one alpha",
            "one bravo",
            "two alpha",
            "two bravo",
            "three alpha",
            "three bravo",
            "three charlie",
        ] {
            let lesion = if zone == "two bravo" { lesion } else { "zero" };
            said.push(format!("{zone} transverse s d f t area {area} square millimetres"));
            said.push(format!("lesion area {lesion} square millimetres"));
            if zone == "two bravo" {
                said.push("core lesion".to_owned());
            }
        }
        exam_of(&said.iter().map(String::as_str).collect::<Vec<_>>())
    };
    let before = record(&exam("one hundred", "ninety"), &Pairing::default(), &BUILT_IN.1);
    let at = "2026-03-01T08:00:00Z".parse().unwrap();
    let earlier = vec![Earlier { id: "then".to_owned(), at, utc_offset_s: 3600, rows: before.measures }];
    let against = Against { earlier, ..Against::default() };
    let now = |area: &str, lesion: &str| {
        page(&record_against(&exam(area, lesion), &Pairing::default(), &BUILT_IN.1, &against))
    };
    // 90 of 700 is 12.9 %; 95 of 1330 is 7.1 %, and yet more of it.
    let swollen = now("one hundred ninety", "ninety five");
    assert!(
        !swollen.contains("is smaller than") && swollen.contains("changed in different ways"),
        "{swollen}"
    );
    assert!(now("one hundred", "twenty").contains("is smaller than in the scan of 1 March 2026."));
    // Nearly twice the area: more than the threshold of a fifth, told as a measurement with the source's caution.
    assert!(
        swollen.contains("It measured more than half larger since the scan of 1 March 2026"),
        "{swollen}"
    );
    assert!(swollen.contains("Such limits are defaults") && !swollen.contains("thicker"));
}

#[test]
fn shares_in_words_follow_the_table_and_end_with_it() {
    let share = |percent| BUILT_IN.1.plain.share(percent);
    assert_eq!(
        [7.0, 7.1, 13.3, 17.0, 20.0, 25.0, 33.0, 40.0, 50.0, 100.0].map(share),
        [
            Some("less than a tenth"),
            Some("about a tenth"),
            Some("about an eighth"),
            Some("about a sixth"),
            Some("about a fifth"),
            Some("about a quarter"),
            Some("about a third"),
            Some("about two fifths"),
            Some("about half"),
            Some("more than half"),
        ]
    );
    assert_eq!(share(100.1), None);
}

#[test]
fn every_limb_structure_zone_and_lesion_that_can_be_said_has_plain_words() {
    let (language, protocols) = &*BUILT_IN;
    for limb in &protocols.limbs {
        assert!(protocols.plain.limbs.contains_key(&limb.code), "{}", limb.code);
    }
    for structure in &protocols.structures {
        assert!(protocols.plain.structures.contains_key(&structure.code), "{}", structure.code);
    }
    for scheme in &protocols.schemes {
        for zone in &scheme.zones {
            assert!(
                protocols.plain.zones[&scheme.name].contains_key(&zone.code),
                "{} {}",
                scheme.name,
                zone.code
            );
        }
    }
    let grammar = include_str!("../../grammars/en/exam.gram");
    let kinds = ["lesion", "echo", "tear", "size", "sheath", "bone", "tissue"];
    let rule = |kind: &str| {
        let text = grammar.split(&format!("<{kind}_term> =")).nth(1).unwrap();
        text.split(";\n").next().unwrap().to_owned()
    };
    let rules = kinds.map(rule).join(" ");
    let terms: Vec<&str> =
        rules.split("{term=").skip(1).map(|part| part.split('}').next().unwrap()).collect();
    assert!(terms.len() > 40 && !language.exam.read(&["core", "lesion"]).is_empty());
    for term in terms.into_iter().chain(["hypoechoic", "hyperechoic"]) {
        assert!(protocols.plain.findings.contains_key(term), "{term}");
    }
}

fn with_plain(text: Option<&str>) -> Result<Protocols, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("protocols");
    let mut files = Vec::new();
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        let plain = path.ends_with("plain.toml");
        if !plain || text.is_some() {
            let own = std::fs::read_to_string(&path).unwrap();
            files.push(SourceFile { text: text.filter(|_| plain).map_or(own, str::to_owned), path });
        }
    }
    Protocols::from_files(&folder, &files).map_err(|error| error.to_string())
}

#[test]
fn without_plain_words_the_names_of_the_protocols_are_used() {
    let text = page_by(
        &of(&["left fore two bravo transverse", "s d f t", "core lesion"]),
        &with_plain(None).unwrap(),
    );
    for words in ["Left fore", "Superficial digital flexor tendon", "Zone 2B: core lesion."] {
        assert!(text.contains(words), "`{words}` is not in {text}");
    }
}

#[test]
fn plain_words_for_what_does_not_exist_are_refused() {
    for (text, told) in [
        ("[limbs]\nXX = \"x\"", "`XX`"),
        ("[structures]\nXX = { name = \"x\", what = \"y\" }", "`XX`"),
        ("[zones.thirds]\n9Z = \"x\"", "`9Z`"),
        ("[zones.nowhere]\n1A = \"x\"", "`nowhere`"),
        ("[[share]]\nup_to_percent = 9\nwords = \"x\"\n[[share]]\nup_to_percent = 3\nwords = \"y\"", "`y`"),
    ] {
        let error = with_plain(Some(text)).unwrap_err();
        assert!(error.contains(told) && error.contains("plain.toml"), "{error}");
    }
}

/// "Not found" of a tendon would be read as a tendon that is gone.
#[test]
fn what_could_not_be_seen_is_not_told_as_gone() {
    let told = page(&of(&["left fore two bravo transverse", "superficial flexor not seen"]));
    assert!(told.contains("Could not be seen in this scan: the superficial flexor tendon."), "{told}");
    assert!(!told.contains("not found"), "{told}");
}

#[test]
fn pictures_that_have_no_view_yet_were_saved_all_the_same() {
    let case = said(&["left fore two bravo transverse", "save"]).still(Tie::Open);
    let told = page(&case.record(&BUILT_IN.1));
    assert!(told.contains("which of them the saved pictures show is not settled yet"), "{told}");
    assert!(
        page(&of(&["left fore two bravo transverse", "save"])).contains("no pictures of them were saved")
    );
}
