//! Every code that leaves the house is one that the published dictionaries have.

use zonecall::exchange::{Code, Codes, concept};

use super::stage::python;

/// Against pydicom 3.0.2, whose dictionaries are made from PS3.16.
#[test]
fn codes_are_those_of_the_published_dictionaries() {
    let codes = Codes::built_in().unwrap();
    let own = concept::ALL.iter().map(|concept| Code::from(*concept));
    // The dictionaries have neither languages (RFC 5646) nor this container, which the next test looks up.
    let own = own.filter(|code| !matches!(code.scheme.as_str(), "RFC5646" | "UMLS"));
    let all: Vec<Code> = codes.published().into_iter().cloned().chain(own).collect();
    assert!(all.len() > 60, "{}", all.len());
    let rows: Vec<[&str; 3]> =
        all.iter().map(|code| [code.value.as_str(), code.scheme.as_str(), code.meaning.as_str()]).collect();
    let wrong = python(&["codes"], &serde_json::to_string(&rows).unwrap());
    assert_eq!(wrong, serde_json::json!([]));
}

/// The container of qualitative evaluations (PS3.16 TID 1500), as dcmtk's library of templates has it.
#[test]
fn the_code_of_another_dictionary_is_the_one_that_dcmtk_writes() {
    let own: Vec<Code> = concept::ALL.iter().map(|concept| Code::from(*concept)).collect();
    let own: Vec<&Code> = own.iter().filter(|code| code.scheme == "UMLS").collect();
    assert_eq!(own.len(), 1, "{own:?}");
    let folders = ["/usr/lib", "/usr/lib/x86_64-linux-gnu", "/usr/lib/aarch64-linux-gnu"];
    let all = folders.iter().filter_map(|folder| std::fs::read_dir(folder).ok()).flatten().flatten();
    let library = all.map(|entry| entry.path()).find(|path| path.to_string_lossy().contains("/libcmr.so"));
    let bytes = std::fs::read(library.expect("dcmtk's libcmr; run `make setup`")).unwrap();
    let holds = |text: &str| bytes.windows(text.len()).any(|part| part == text.as_bytes());
    // The compiler may keep the meaning in pieces, as instructions: its beginning stands in one.
    assert!(holds(&own[0].value) && holds("Qualitative Eval"), "{own:?}");
    assert!(own[0].meaning.starts_with("Qualitative Eval"));
    assert!(!holds("C0034376"));
}

#[test]
fn the_judge_sees_a_wrong_code() {
    let wrong = python(&["codes"], r#"[["42798000","SCT","Length"],["1","SCT","Area"]]"#);
    assert_eq!(wrong.as_array().unwrap().len(), 2);
}

#[test]
fn local_codes_fit_their_field_and_do_not_meet() {
    let codes = Codes::built_in().unwrap();
    let protocols = &crate::support::BUILT_IN.1;
    let mut seen = std::collections::BTreeMap::new();
    for scheme in &protocols.schemes {
        for zone in &scheme.zones {
            for limb in &protocols.limbs {
                let schemes = [(limb.group.clone(), scheme.name.clone())].into();
                let place = zonecall::exam::place::Place {
                    limb: Some(limb.code.clone()),
                    zone: Some(zone.code.clone()),
                    ..Default::default()
                };
                let Some(code) = codes.site(&place, &schemes, protocols).zone else { continue };
                assert!(code.value.chars().count() <= 16, "{code:?}");
                let meaning = seen.entry(code.value.clone()).or_insert_with(|| code.meaning.clone());
                assert_eq!(*meaning, code.meaning);
            }
        }
    }
    assert!(seen.len() > 20, "{seen:?}");
}

#[test]
fn every_limb_and_scheme_has_a_region() {
    let codes = Codes::built_in().unwrap();
    let protocols = &crate::support::BUILT_IN.1;
    for scheme in &protocols.schemes {
        for limb in protocols.limbs.iter().filter(|limb| scheme.groups.contains(&limb.group)) {
            let schemes = [(limb.group.clone(), scheme.name.clone())].into();
            for zone in &scheme.zones {
                let place = zonecall::exam::place::Place {
                    limb: Some(limb.code.clone()),
                    zone: Some(zone.code.clone()),
                    ..Default::default()
                };
                let site = codes.site(&place, &schemes, protocols);
                assert!(site.region.is_some() && site.side.is_some(), "{} {}", limb.code, zone.code);
            }
        }
    }
}

/// Breeds by CID 7480, as pydicom 3.0.2 has it; what people write is found in either case, also with "horse" behind it.
#[test]
fn breeds_are_those_of_the_published_set_and_are_found_by_what_people_write() {
    let codes = Codes::built_in().unwrap();
    let values: Vec<&str> = codes.breeds().map(|code| code.value.as_str()).collect();
    assert!(values.len() > 40, "{}", values.len());
    let wrong = python(&["breeds"], &serde_json::to_string(&values).unwrap());
    assert_eq!(wrong, serde_json::json!([]));
    for (written, wanted) in [
        ("Standardbred", Some("34200004")),
        (" icelandic horse ", Some("70457009")),
        ("Selle Français", Some("133153007")),
        ("Thoroughbred", None),
        ("Standardbred cross", None),
    ] {
        assert_eq!(codes.breed(written).map(|code| code.value.as_str()), wanted, "{written}");
    }
}
