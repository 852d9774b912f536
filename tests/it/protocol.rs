//! The protocols that come with the program, and what happens to faulty ones.
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use zonecall::protocol::{Protocols, convert};

fn schemes(fore: &str, hind: &str) -> BTreeMap<String, String> {
    [("fore", fore), ("hind", hind)].map(|(group, scheme)| (group.to_owned(), scheme.to_owned())).into()
}

fn views(protocols: &Protocols, limb: &str, schemes: &BTreeMap<String, String>) -> usize {
    let zones = protocols.zones_for(limb, schemes);
    zones.iter().filter(|(scheme, _)| !scheme.when_called).map(|(_, zone)| zone.planes.len()).sum()
}

/// A copy of the built-in files in which `from` is replaced by `to` in `file`; gives what reading it says.
fn fault(file: &str, from: &str, to: &str) -> String {
    let folder = tempfile::tempdir().unwrap();
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("protocols");
    for entry in fs::read_dir(source).unwrap() {
        let path = entry.unwrap().path();
        let mut text = fs::read_to_string(&path).unwrap();
        if path.ends_with(file) {
            assert!(text.contains(from), "`{from}` is not in `{file}`: this test tests nothing");
            text = text.replacen(from, to, 1);
        }
        fs::write(folder.path().join(path.file_name().unwrap()), text).unwrap();
    }
    Protocols::read(folder.path()).unwrap_err().to_string()
}

#[test]
fn built_in_files_and_the_folder_are_the_same() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("protocols");
    assert_eq!(Protocols::built_in().unwrap(), Protocols::read(&folder).unwrap());
}

/// 7 zones x 2 planes x 2 limbs, and 9 x 2 x 2: our arithmetic on the zone counts of
/// Equine Clinical Medicine, Surgery and Reproduction, 2nd ed., p. 320.
#[test]
fn both_fore_limbs_want_28_views_and_both_hind_limbs_36_or_28() {
    let protocols = Protocols::built_in().unwrap();
    let hock = schemes("thirds", "hock");
    assert_eq!(views(&protocols, "LF", &hock) + views(&protocols, "RF", &hock), 28);
    assert_eq!(views(&protocols, "LH", &hock) + views(&protocols, "RH", &hock), 36);
    let tarsometatarsal = schemes("thirds", "tarsometatarsal");
    assert_eq!(views(&protocols, "LH", &tarsometatarsal) + views(&protocols, "RH", &tarsometatarsal), 28);
}

/// 60 horses, four limbs, two branches, two readers: the 960 gradings of Front Vet Sci 7:117, 2020, doi
/// 10.3389/fvets.2020.00117, need both branches of the suspensory ligament apart on every limb.
#[test]
fn every_limb_has_both_suspensory_branches_of_the_published_count() {
    let protocols = Protocols::built_in().unwrap();
    let chosen = schemes("thirds", "tarsometatarsal");
    let has = |limb: &str, structure: &str| {
        let zones = protocols.zones_for(limb, &chosen);
        zones.iter().any(|(_, zone)| zone.structures.iter().any(|code| code == structure))
    };
    let branches = protocols
        .limbs
        .iter()
        .flat_map(|limb| [(limb.code.as_str(), "SL-medial"), (limb.code.as_str(), "SL-lateral")]);
    assert_eq!(60 * 2 * branches.filter(|(limb, branch)| has(limb, branch)).count(), 960);
}

/// Region lengths and zone lengths as printed in Animals 13(8):1411, 2023: six equal zones.
#[test]
fn six_equal_zones_have_the_published_lengths() {
    let protocols = Protocols::built_in().unwrap();
    let equal = protocols.scheme("thirds").unwrap().zones.iter().filter(|zone| zone.code != "3C").count();
    for (region_cm, zone_cm) in [(22.8, 3.8), (24.6, 4.1), (24.0, 4.0)] {
        assert!((region_cm / f64::from(u8::try_from(equal).unwrap()) - zone_cm).abs() < 1e-9, "{region_cm}");
    }
}

/// The nominal table of 4 cm a zone is from memory.
#[test]
fn a_level_belongs_to_the_zone_that_begins_there() {
    let protocols = Protocols::built_in().unwrap();
    let schemes = schemes("thirds", "hock");
    let zone = |cm| protocols.zone_of_level("LF", cm, &schemes, None);
    for (cm, code) in [(0.0, "1A"), (3.99, "1A"), (4.0, "1B"), (12.5, "2B"), (26.0, "3C"), (27.9, "3C")] {
        assert_eq!(zone(cm).unwrap(), code, "level {cm}");
    }
    for cm in [-0.1, 28.0, f64::NAN] {
        assert!(zone(cm).unwrap_err().message.contains("is in no zone"), "level {cm}");
    }
}

/// 22.8 cm from landmark to annular ligament, six zones of 3.8 cm: Schade et al. 2023, Animals 13(8):1411.
#[test]
fn levels_are_scaled_by_the_length_of_the_limb() {
    let protocols = Protocols::built_in().unwrap();
    let schemes = schemes("thirds", "hock");
    let zone = |cm, length_cm| protocols.zone_of_level("LF", cm, &schemes, length_cm).unwrap();
    for (idx, code) in ["1A", "1B", "2A", "2B", "3A", "3B"].into_iter().enumerate() {
        let idx = f64::from(u8::try_from(idx).unwrap());
        assert_eq!(zone(3.8 * idx + 0.01, Some(22.8)), code);
        assert_eq!(zone(3.8 * (idx + 1.0) - 0.01, Some(22.8)), code);
    }
    // A pony with 15 cm: the table of a big horse would put it one zone and a half too high.
    assert_eq!((zone(9.0, Some(15.0)).as_str(), zone(9.0, None).as_str()), ("2B", "2A"));
    let far = protocols.zone_of_level("LF", 18.0, &schemes, Some(15.0)).unwrap_err();
    assert!(far.message.contains("covers 0 to 17.5 cm"), "{}", far.message);
}

#[test]
fn a_level_without_a_table_names_the_file_to_fill_in() {
    let protocols = Protocols::built_in().unwrap();
    let problem = protocols.zone_of_level("LH", 12.0, &schemes("thirds", "hock"), None).unwrap_err();
    assert_eq!(problem.message, "the scheme `hock` has no centimetres for its zones");
    assert!(problem.help.contains("`hind-hock.toml`"), "{}", problem.help);
}

#[test]
fn a_level_is_not_placed_while_two_schemes_could_be_meant() {
    let protocols = Protocols::built_in().unwrap();
    let none = BTreeMap::new();
    assert!(protocols.zone_of_level("LH", 12.0, &none, None).unwrap_err().message.contains("none is chosen"));
    assert_eq!(protocols.zone_of_level("LF", 12.0, &none, None).unwrap(), "2B");
}

/// Equine Clinical Medicine, Surgery and Reproduction, 2nd ed., p. 320: fore zones end at 3C, hock zones at 4C.
#[test]
fn zones_follow_the_limb_and_the_scheme() {
    let protocols = Protocols::built_in().unwrap();
    let schemes = schemes("thirds", "hock");
    let scheme = |limb, zone| protocols.scheme_for(limb, zone, &schemes).map(|scheme| scheme.name.as_str());
    assert_eq!(scheme("LF", "3C"), Some("thirds"));
    assert_eq!(scheme("LF", "4A"), None);
    assert_eq!(scheme("RH", "4C"), Some("hock"));
    assert_eq!(scheme("RH", "3C"), None);
    assert_eq!(scheme("RH", "P1B"), Some("pastern"));
    assert_eq!(scheme("LF", "P1B"), Some("pastern"));
    assert_eq!(scheme("XX", "1A"), None);
}

#[test]
fn zones_of_every_scheme_of_a_limb_can_be_said_of_it_and_no_others() {
    let sayable = Protocols::built_in().unwrap().sayable_zones();
    assert!(sayable["LH"].contains("4C") && sayable["LH"].contains("3C") && sayable["LH"].contains("P1B"));
    assert!(sayable["LF"].contains("3C") && !sayable["LF"].contains("4A"));
}

#[test]
fn a_scheme_of_another_group_is_never_in_force() {
    let protocols = Protocols::built_in().unwrap();
    let wrong = schemes("hock", "thirds");
    assert_eq!(protocols.scheme_for("LF", "4A", &wrong), None);
    assert_eq!(protocols.scheme_for("LH", "1A", &wrong), None);
}

#[test]
fn units_convert_within_their_kind_only() {
    assert_eq!(convert(1.07, "cm2", "mm2"), Some(107.0));
    assert_eq!(convert(85.0, "mm", "cm"), Some(8.5));
    assert_eq!(convert(12.0, "%", "%"), Some(12.0));
    assert_eq!(convert(1.0, "cm", "cm2"), None);
    assert_eq!(convert(1.0, "[in_i]", "cm"), None);
}

#[test]
fn an_unknown_code_is_named_with_file_and_remedy() {
    let text = fault("fore.toml", "\"SL-origin\"", "\"SL-orgin\"");
    assert!(
        text.contains("fore.toml`: zone `1A` names the structure `SL-orgin`, which does not exist"),
        "{text}"
    );
    assert!(text.contains("or add it to `structures.toml`"), "{text}");
    let text = fault("pastern.toml", "\"hind\"", "\"rear\"");
    assert!(text.contains("group of limbs `rear`") && text.contains("write one of fore, hind"), "{text}");
    let text = fault("values.toml", "planes = [\"L\"]", "planes = [\"X\"]");
    assert!(text.contains("value `fibre score` names the plane `X`"), "{text}");
    let text = fault("structures.toml", "part_of = \"SL\"", "part_of = \"XL\"");
    assert!(text.contains("structure `SL-origin` names the structure `XL`"), "{text}");
}

#[test]
fn a_code_that_is_there_twice_is_named() {
    let text = fault("fore.toml", "code = \"1B\"", "code = \"1A\"");
    assert!(text.contains("fore.toml`: the zone `1A` appears twice"), "{text}");
    let text = fault("limbs.toml", "code = \"RF\"", "code = \"LF\"");
    assert!(text.contains("the limb `LF` appears twice"), "{text}");
    let text = fault("hind-hock.toml", "name = \"hock\"", "name = \"thirds\"");
    assert!(text.contains("the scheme `thirds` appears twice"), "{text}");
}

#[test]
fn centimetres_must_run_down_the_limb_and_have_a_source() {
    let text = fault("fore.toml", "cm = [4, 8]", "cm = [3, 8]");
    assert!(text.contains("zone `1B`: begins at `3` cm, before zone `1A` ends at `4` cm"), "{text}");
    let text = fault("fore.toml", "cm = [4, 8]", "cm = [8, 4]");
    assert!(text.contains("`8` to `4` is not a range"), "{text}");
    let text = fault("fore.toml", "cm_source", "# cm_source");
    assert!(text.contains("has no `cm_source`"), "{text}");
}

#[test]
fn units_of_a_value_must_fit_its_bounds() {
    let text = fault("values.toml", "units = [\"cm2\", \"mm2\"]", "units = [\"cm2\", \"mm\"]");
    assert!(text.contains("value `area`: unit `mm` cannot be turned into `mm2`"), "{text}");
    let text = fault("values.toml", "units = [\"cm2\", \"mm2\"]", "units = [\"mm2\"]");
    assert!(text.contains("the default unit `cm2` is not among `units`"), "{text}");
    let text = fault(
        "values.toml",
        "bound_unit = \"mm2\"\n",
        "bound_unit = \"mm2\"\nbetween = \"from edge to edge\"\n",
    );
    assert!(
        text.contains("value `area`: unit `mm2` cannot be turned into `mm`"),
        "an area is no distance: {text}"
    );
}

#[test]
fn a_misspelt_key_is_shown_with_its_line() {
    let text = fault("fore.toml", "region =", "regoin =");
    assert!(
        text.contains("fore.toml") && text.contains("line 6, column 1") && text.contains("regoin"),
        "{text}"
    );
}

#[test]
fn a_missing_list_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let text = Protocols::read(folder.path()).unwrap_err().to_string();
    assert!(text.contains("holds no `limbs.toml`; copy it"), "{text}");
}

#[test]
fn a_scheme_is_chosen_by_its_name_and_the_default_holds_elsewhere() {
    let protocols = Protocols::built_in().unwrap();
    assert_eq!(protocols.choose(&[]).unwrap(), schemes("thirds", "tarsometatarsal"));
    assert_eq!(protocols.choose(&["hock".to_owned()]).unwrap(), schemes("thirds", "hock"));
    let both = ["hock".to_owned(), "tarsometatarsal".to_owned()];
    assert!(protocols.choose(&both).unwrap_err().to_string().contains("name one"));
    let unknown = protocols.choose(&["fifths".to_owned()]).unwrap_err().to_string();
    assert!(unknown.contains("the schemes are: thirds, hock, tarsometatarsal"), "{unknown}");
    // The pastern needs no choice: it is in force wherever one of its zones is called.
    assert!(protocols.choose(&["pastern".to_owned()]).is_err());
}

#[test]
fn two_default_schemes_for_one_group_are_refused() {
    let told = fault("hind-hock.toml", "region = \"cannon\"", "region = \"cannon\"\ndefault = true");
    assert!(told.contains("default scheme") && told.contains("hind"), "{told}");
}

/// A work with its edition or year; or plain words that there is none. `docs/sources.md` has each work in full.
#[test]
fn every_source_names_a_work_or_says_that_there_is_none() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR"));
    let is_year = |word: &str| word.len() == 4 && (word.starts_with("19") || word.starts_with("20"));
    let names_work = |source: &str| {
        source.contains("nd ed.")
            || source.contains("th ed.")
            || source.split(|sign: char| !sign.is_ascii_digit()).any(is_year)
    };
    let says_none = |source: &str| {
        ["from memory", "no source", "our own", "by definition", "by construction"]
            .iter()
            .any(|words| source.contains(words))
    };
    let mut seen = 0;
    for folder in ["protocols", "references"] {
        for entry in std::fs::read_dir(root.join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let text = std::fs::read_to_string(&path).unwrap();
            for line in text.lines() {
                let Some((key, source)) = line.split_once(" = ") else { continue };
                if !key.ends_with("source") {
                    continue;
                }
                seen += 1;
                assert!(names_work(source) || says_none(source), "{}: {line}", path.display());
                for vague in
                    ["protocol files", "one handbook", "one chapter", "a chapter", "a textbook", "a text for"]
                {
                    assert!(!source.contains(vague), "{}: {line}", path.display());
                }
            }
        }
    }
    assert!(seen > 80, "{seen}");
    for file in ["limbs.toml", "structures.toml"] {
        let text = std::fs::read_to_string(root.join("protocols").join(file)).unwrap();
        assert!(text.contains("# Source: "), "{file}");
    }
}
