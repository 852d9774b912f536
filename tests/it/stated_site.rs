//! What the file of a still says that it shows, held against the label that was called for it.
use std::fs;
use std::path::Path;

use crate::exchange::stage::{SAVED_S, said_of, still, unpaired};
use crate::support::program::zonecall;
use crate::support::{self, BUILT_IN};

use dicom_core::value::DataSetSequence;
use dicom_core::{DataElement, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject, Tag};
use zonecall::clock::Sample;
use zonecall::exam::event::{Event, Frame};
use zonecall::exam::journal::Journal;
use zonecall::exam::stated_site::StatedSite;
use zonecall::frames::folder;

fn write(path: &Path, still: InMemDicomObject) {
    let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
    still.with_meta(meta).unwrap().write_to_file(path).unwrap();
}

fn coded(value: &str, scheme: &str, more: Option<(Tag, InMemDicomObject)>) -> InMemDicomObject {
    let mut item = InMemDicomObject::new_empty();
    item.put(DataElement::new(tags::CODE_VALUE, VR::SH, value));
    item.put(DataElement::new(tags::CODING_SCHEME_DESIGNATOR, VR::SH, scheme));
    if let Some((tag, inner)) = more {
        item.put(DataElement::new(tag, VR::SQ, DataSetSequence::from(vec![inner])));
    }
    item
}

fn read(change: impl Fn(&mut InMemDicomObject)) -> Option<StatedSite> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.dcm");
    let mut still = still(1, 14.0);
    for tag in [tags::IMAGE_LATERALITY, tags::LATERALITY, tags::BODY_PART_EXAMINED] {
        still.remove_element(tag);
    }
    change(&mut still);
    write(&path, still);
    folder::one(&path, folder.path(), 0).unwrap().stated_site
}

/// Side by its letters and by a modifier of the region, part by its word and by a code: DICOM PS3.3, C.7.3.1 and 10.5.
#[test]
fn side_and_part_are_read_wherever_a_file_may_state_them() {
    let site = |side: Option<&str>, parts: &[&str]| {
        let parts = parts.iter().map(|part| (*part).to_owned()).collect();
        StatedSite { side: side.map(str::to_owned), parts, ..StatedSite::default() }.known()
    };
    let text = |tag, text: &'static str| {
        move |still: &mut InMemDicomObject| {
            still.put(DataElement::new(tag, VR::CS, text));
        }
    };
    assert_eq!(read(|_| {}), None);
    assert_eq!(read(text(tags::LATERALITY, "R")), site(Some("right"), &[]));
    assert_eq!(read(text(tags::IMAGE_LATERALITY, "L")), site(Some("left"), &[]));
    assert_eq!(read(text(tags::BODY_PART_EXAMINED, "Metatarsus")), site(None, &["METATARSUS"]));
    let both = |still: &mut InMemDicomObject| {
        text(tags::IMAGE_LATERALITY, "B")(still);
        text(tags::LATERALITY, "L")(still);
    };
    assert_eq!(read(both), None, "both sides are no side");
    let region = |still: &mut InMemDicomObject| {
        let left = coded("G-A101", "SNM3", None);
        let region = coded("T-12847", "SRT", Some((tags::ANATOMIC_REGION_MODIFIER_SEQUENCE, left)));
        let regions = DataSetSequence::from(vec![region]);
        still.put(DataElement::new(tags::ANATOMIC_REGION_SEQUENCE, VR::SQ, regions));
    };
    assert_eq!(read(region), site(Some("left"), &["SRT:T-12847"]));
}

/// View Code Sequence: DICOM PS3.3 C.8.5.6; the codes of `planes.toml` are those of pydicom 3.0.2.
#[test]
fn the_view_that_a_file_states_is_read_and_means_the_plane_it_is_listed_for() {
    let stated = read(|still| {
        let view = DataSetSequence::from(vec![coded("62824007", "SCT", None)]);
        still.put(DataElement::new(tags::VIEW_CODE_SEQUENCE, VR::SQ, view));
    });
    assert_eq!(stated.unwrap().views, ["SCT:62824007"]);
    let script = "\
from pydicom.sr._snomed_dict import mapping
from pydicom.sr._concepts_dict import concepts
import json
names = {code: name for name, found in concepts['SCT'].items() for code in found}
print(json.dumps({'SCT': names, 'SRT': mapping['SRT']}))";
    let told: serde_json::Value = serde_json::from_str(&crate::support::pydicom::python(script)).unwrap();
    let mut listed = 0;
    for plane in &BUILT_IN.1.planes {
        for word in &plane.stated {
            let (scheme, code) = word.split_once(':').unwrap();
            let code = if scheme == "SRT" { told["SRT"][code].as_str().unwrap() } else { code };
            assert_eq!(told["SCT"][code].as_str().unwrap().to_lowercase(), plane.name, "{word}");
            listed += 1;
        }
    }
    assert_eq!(listed, 4);
}

/// The codes of `limbs.toml` mean what its groups say: by the dictionaries of pydicom 3.0.2, which also has the older codes.
#[test]
fn the_parts_of_each_pair_of_limbs_are_those_of_a_published_dictionary() {
    let script = "\
from pydicom.sr._snomed_dict import mapping
from pydicom.sr._concepts_dict import concepts
import json
names = {code: name for name, found in concepts['SCT'].items() for code in found}
print(json.dumps({'SCT': names, 'SRT': mapping['SRT']}))";
    let told: serde_json::Value = serde_json::from_str(&crate::support::pydicom::python(script)).unwrap();
    let meaning = |word: &str| {
        let (scheme, code) = word.split_once(':')?;
        let code = if scheme == "SRT" { told["SRT"][code].as_str().unwrap() } else { code };
        Some(told["SCT"][code].as_str().unwrap_or_else(|| panic!("no code {code}")).to_lowercase())
    };
    let of = |group: &str, parts: &[&str]| {
        let row = BUILT_IN.1.stated_parts.iter().find(|row| row.groups == [group]).unwrap();
        let coded: Vec<String> = row.words.iter().filter_map(|word| meaning(word)).collect();
        assert_eq!(coded.len(), 2 * parts.len(), "{coded:?}");
        for (pair, part) in coded.chunks(2).zip(parts) {
            assert_eq!(pair, [*part, *part], "the older code is the same part");
        }
    };
    of(
        "fore",
        &[
            "wristregionstructure",
            "metacarpus",
            "fetlockregionofforelimb",
            "pasternofforefoot",
            "forefootofquadruped",
        ],
    );
    of(
        "hind",
        &[
            "stiflejoint",
            "tarsus",
            "regionofmetatarsal",
            "fetlockregionofhindlimb",
            "pasternregionofhindfoot",
            "hindfootofquadruped",
        ],
    );
}

/// The exam calls left fore; one file says right.
#[test]
fn a_still_that_states_another_side_is_told_by_pair_and_asked_about_by_check() {
    let exam = unpaired();
    let stills = tempfile::tempdir().unwrap();
    for (number, saved_s) in (1..).zip(SAVED_S) {
        let mut still = still(number, saved_s);
        let side = if number == 2 { "R" } else { "L" };
        still.put(DataElement::new(tags::IMAGE_LATERALITY, VR::CS, side));
        write(&stills.path().join(format!("IM{number}.dcm")), still);
    }
    let (exam, stills) = (exam.path().to_str().unwrap(), stills.path().to_str().unwrap());
    let paired = zonecall(&["pair", exam, "--frames", stills]);
    let said = said_of(&paired);
    assert_eq!(paired.status.code(), Some(1), "{said}");
    assert_eq!(said.matches("IN DOUBT: its file states another limb").count(), 1, "{said}");
    let told = said_of(&zonecall(&["check", exam]));
    assert!(told.contains("look  still-states-another-limb: the file of still `IM2.dcm`"), "{told}");
    let file = std::path::Path::new(exam).join("exam.jsonl");
    assert!(fs::read_to_string(file).unwrap().contains("\"stated_site\":{\"side\":\"right\"}"));
}

/// Stills that an earlier version paired get it when they are found again, unless the exam is signed: that stays as it is.
#[test]
fn what_a_file_states_is_added_to_a_known_still_and_undoes_no_signature() {
    for is_signed in [false, true] {
        // In a folder of its own: exams of other tests have the same still.
        let exams = tempfile::tempdir().unwrap();
        let exam = exams.path().join("exam");
        fs::rename(unpaired().keep(), &exam).unwrap();
        let stills = exam.join("frames");
        fs::create_dir(&stills).unwrap();
        let mut still = still(1, 14.0);
        still.put(DataElement::new(tags::IMAGE_LATERALITY, VR::CS, "R"));
        write(&stills.join("IM1.dcm"), still);
        let known = Frame { stated_site: None, ..folder::one(&stills.join("IM1.dcm"), &exam, 7200).unwrap() };
        let mut journal = Journal::open(&exam).unwrap();
        let at = support::header().started_at;
        journal.append(at, Sample::FIRST, &Event::Frame(Box::new(known))).unwrap();
        drop(journal);
        if is_signed {
            crate::exchange::stage::sign(&exam);
        }
        let before = fs::read(exam.join("exam.jsonl")).unwrap();
        let said =
            said_of(&zonecall(&["pair", exam.to_str().unwrap(), "--frames", stills.to_str().unwrap()]));
        assert!(said.contains("1 stills, 0 of them new"), "{said}");
        let is_told = said.contains("its file states another limb");
        assert_eq!(is_told, !is_signed, "{said}");
        assert_eq!(fs::read(exam.join("exam.jsonl")).unwrap() == before, is_signed, "{said}");
    }
}

/// The desk asks first what would put a lesion on another horse or another leg.
#[test]
fn what_may_be_of_another_horse_or_limb_is_asked_first_and_what_only_informs_apart() {
    let exam = unpaired();
    let stills = tempfile::tempdir().unwrap();
    for (number, saved_s) in (1..).zip(SAVED_S) {
        let mut still = still(number, saved_s);
        match number {
            1 => still.put(DataElement::new(tags::IMAGE_LATERALITY, VR::CS, "R")),
            2 => still.put(DataElement::new(tags::PATIENT_NAME, VR::PN, "Otter Farm^Bramble")),
            _ => None,
        };
        still.put(DataElement::new(tags::PATIENT_ID, VR::LO, if number == 2 { "B-77" } else { "H-22" }));
        write(&stills.path().join(format!("IM{number}.dcm")), still);
    }
    zonecall(&["pair", exam.path().to_str().unwrap(), "--frames", stills.path().to_str().unwrap()]);
    let desk = crate::support::desk::Served::start(exam.path(), 0).exam();
    let asked: Vec<(&str, &str)> = desk["questions"]
        .as_array()
        .unwrap()
        .iter()
        .map(|question| (question["rule"].as_str().unwrap(), question["severity"].as_str().unwrap()))
        .collect();
    assert_eq!(
        [asked[0].0, asked[1].0],
        ["still-of-another-horse", "still-states-another-limb"],
        "{asked:?}"
    );
    assert!(asked.len() > 4 && asked.iter().all(|(_, severity)| *severity != "info"), "{asked:?}");
    // What only informs is in a list of its own, and counts as no question.
    let informing = desk["informing"].as_array().unwrap();
    assert!(!informing.is_empty() && informing.iter().all(|one| one["severity"] == "info"), "{informing:?}");
    // A still is called by its number at the desk.
    let shown: String =
        desk["questions"].as_array().unwrap().iter().map(|one| one["shown"].to_string()).collect();
    assert!(shown.contains("still 1 states") && !shown.contains("IM1.dcm"), "{shown}");
}
