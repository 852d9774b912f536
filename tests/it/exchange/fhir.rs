//! The FHIR bundle, held against the published R4 definitions by HAPI's validator (7.4.0).

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use super::stage::{CONCLUDED, conclude, doubtful, enter, export, folder, folder_of, said_of, sign};
use crate::support::write_journal;

/// What the validator finds fault with: errors, and warnings other than the known ones.
fn judged(bundle: &str) -> (bool, Vec<String>) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let deps = std::env::var_os("ZONECALL_DEPS").map_or_else(|| root.join(".deps"), PathBuf::from);
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), bundle).unwrap();
    let done = Command::new("java")
        .arg("-cp")
        .arg(deps.join("fhir/jars/*"))
        .arg(root.join("scripts/fhir/FhirJudge.java"))
        .arg(file.path())
        .output()
        .unwrap_or_else(|error| panic!("java: {error}; run `make setup`"));
    let said = said_of(&done);
    assert!(done.status.success(), "{said}; run `make setup`");
    // A narrative is advice, and so is a code for an owner; SNOMED CT, LOINC and DICOM are not in the validator, which says so.
    let known = [
        "dom-6",
        "could not be found",
        "not found",
        "Unknown code system",
        "A code with no system",
        "No code provided",
        "Best Practice Recommendation",
    ];
    let faults = said
        .lines()
        .filter(|line| line.starts_with("ERROR") || line.starts_with("FATAL") || line.starts_with("WARNING"))
        .filter(|line| !known.iter().any(|known| line.contains(known)))
        .map(str::to_owned)
        .collect();
    (said.lines().any(|line| line == "valid"), faults)
}

fn of_kind<'a>(bundle: &'a Value, kind: &str) -> Vec<&'a Value> {
    let all = bundle["entry"].as_array().unwrap().iter().map(|entry| &entry["resource"]);
    all.filter(|resource| resource["resourceType"] == kind).collect()
}

fn bundle(folder: &Path) -> String {
    let out = folder.join("bundle.json");
    export(folder, "fhir", &["--out", out.to_str().unwrap()], 0);
    std::fs::read_to_string(out).unwrap()
}

#[test]
fn the_bundle_is_valid_before_and_after_a_signature_and_says_which_it_is() {
    let exam = folder();
    enter(exam.path());
    let draft = bundle(exam.path());
    assert_eq!(judged(&draft), (true, Vec::new()));
    sign(exam.path());
    let signed = bundle(exam.path());
    assert_eq!(judged(&signed), (true, Vec::new()));
    for (text, wanted) in [(&draft, "preliminary"), (&signed, "final")] {
        let bundle: Value = serde_json::from_str(text).unwrap();
        for kind in ["Observation", "DiagnosticReport"] {
            let all = of_kind(&bundle, kind);
            assert!(!all.is_empty() && all.iter().all(|resource| resource["status"] == wanted), "{kind}");
        }
        let methods: Vec<&str> =
            of_kind(&bundle, "Observation").iter().filter_map(|row| row["method"]["text"].as_str()).collect();
        for how in ["spoken", "typed", "traced on a still"] {
            assert!(methods.contains(&how), "{methods:?}");
        }
    }
}

#[test]
fn the_conclusion_is_the_vet_s_own_and_the_cautions_stand_beside_it() {
    let exam = folder();
    let report = |text: &str| -> Value {
        let bundle: Value = serde_json::from_str(text).unwrap();
        of_kind(&bundle, "DiagnosticReport")[0].clone()
    };
    let without = report(&bundle(exam.path()));
    assert!(without.get("conclusion").is_none(), "nobody concluded anything: {without}");
    conclude(exam.path());
    sign(exam.path());
    let signed = bundle(exam.path());
    assert_eq!(judged(&signed), (true, Vec::new()));
    let signed = report(&signed);
    let words: Vec<&str> = CONCLUDED.iter().map(|(_, text)| *text).collect();
    assert_eq!(signed["conclusion"], words.join("\n\n"));
    assert!(signed["text"]["div"].as_str().unwrap().contains("Not a diagnosis"), "{signed}");
}

#[test]
fn a_surface_that_is_as_it_should_be_goes_out_as_that_finding() {
    let exam = tempfile::tempdir().unwrap();
    write_journal(exam.path(), &[(2.0, "left fore three bravo transverse"), (6.0, "bone surface smooth")]);
    let text = bundle(exam.path());
    assert_eq!(judged(&text), (true, Vec::new()));
    let bundle: Value = serde_json::from_str(&text).unwrap();
    let said = of_kind(&bundle, "Observation");
    let seen: Vec<(&Value, &Value)> =
        said.iter().map(|row| (&row["code"]["text"], &row["valueCodeableConcept"]["text"])).collect();
    let is =
        |(_, value): &(&Value, &Value)| value.as_str().is_some_and(|value| value.contains("bone smooth"));
    assert!(seen.iter().any(is) && !text.contains("Lesion"), "{seen:?}");
}

#[test]
fn a_bound_has_its_comparator_and_a_normal_size_is_no_normal_structure() {
    let exam = tempfile::tempdir().unwrap();
    let said = [(2.0, "left fore two bravo transverse superficial flexor"), (6.0, "at most ten percent")];
    write_journal(exam.path(), &[&said[..], &[(10.0, "normal size")]].concat());
    let text = bundle(exam.path());
    assert_eq!(judged(&text), (true, Vec::new()));
    let bundle: Value = serde_json::from_str(&text).unwrap();
    let all = of_kind(&bundle, "Observation");
    let of =
        |name: &str| all.iter().find(|row| row["code"]["text"] == name).unwrap_or_else(|| panic!("{text}"));
    let share = &of("lesion percent")["valueQuantity"];
    assert_eq!((&share["value"], &share["comparator"]), (&Value::from(10.0), &Value::from("<=")));
    let found: Vec<&Value> = all.iter().map(|row| &row["valueCodeableConcept"]["text"]).collect();
    assert!(
        found.iter().any(|text| **text == "size normal") && !found.iter().any(|text| **text == "normal"),
        "{found:?}"
    );
}

#[test]
fn of_two_values_for_one_thing_the_one_that_counts_goes_out_and_names_the_other() {
    let exam = folder();
    enter(exam.path());
    let bundle: Value = serde_json::from_str(&bundle(exam.path())).unwrap();
    let of_area = |row: &&&Value| row["code"]["text"] == "area" && row["bodySite"].to_string().contains("2B");
    let all = of_kind(&bundle, "Observation");
    let areas: Vec<&&Value> = all.iter().filter(of_area).collect();
    assert_eq!(areas.len(), 1, "{areas:?}");
    assert_eq!(areas[0]["valueQuantity"]["value"], 2.36);
    assert!(
        areas[0]["note"].to_string().contains("replaces area 112 mm2, spoken, journal line"),
        "{areas:?}"
    );
    // The table and the record keep both, and say which counts.
    let rows = |form: &str, file: &str| {
        let out = exam.path().join(file);
        export(exam.path(), form, &["--out", out.to_str().unwrap()], 0);
        std::fs::read_to_string(out).unwrap()
    };
    let record: Value = serde_json::from_str(&rows("json", "record.json")).unwrap();
    let counting = &record["entries"][0];
    let said = record["calls"].as_array().unwrap().iter().find(|call| call["number"] == 112.0).unwrap();
    assert_eq!((&said["replaced_by"], &counting["replaced_by"]), (&counting["seq"], &Value::Null));
    let table = rows("csv", "record.csv");
    let mut table = csv::Reader::from_reader(table.as_bytes());
    let column = table.headers().unwrap().iter().position(|name| name == "replaced_by").unwrap();
    let term = table.headers().unwrap().iter().position(|name| name == "term").unwrap();
    let marks: Vec<String> = table
        .records()
        .map(Result::unwrap)
        .filter(|row| &row[term] == "area")
        .map(|row| row[column].to_owned())
        .collect();
    assert_eq!(marks, [counting["seq"].to_string(), String::new(), String::new()]);
}

#[test]
fn the_judge_sees_an_animal_without_a_species_and_a_unit_that_is_none() {
    let exam = folder();
    let whole = bundle(exam.path());
    let (valid, faults) = judged(&whole.replace("\"url\": \"species\"", "\"url\": \"breed\""));
    assert!(!valid && faults.iter().any(|fault| fault.contains("patient-animal")), "{faults:?}");
    let (valid, faults) = judged(&whole.replace("\"code\": \"mm2\"", "\"code\": \"sqmm\""));
    assert!(!valid && !faults.is_empty(), "{faults:?}");
}

#[test]
fn a_doubt_stands_as_a_note() {
    let exam = doubtful();
    let text = bundle(exam.path());
    let bundle: Value = serde_json::from_str(&text).unwrap();
    let notes: Vec<String> =
        of_kind(&bundle, "Observation").iter().map(|row| row["note"].to_string()).collect();
    assert!(notes.iter().any(|note| note.contains("assumed, not said")), "{notes:?}");
}

#[test]
fn stills_of_a_second_study_are_in_the_bundle_too() {
    let exam = folder_of(&[], |number, still| {
        if number == 3 {
            let study = dicom_core::PrimitiveValue::from("2.25.1099");
            still.put(dicom_core::DataElement::new(
                dicom_dictionary_std::tags::STUDY_INSTANCE_UID,
                dicom_core::VR::UI,
                study,
            ));
        }
    });
    let text = bundle(exam.path());
    assert_eq!(judged(&text), (true, Vec::new()));
    let bundle: Value = serde_json::from_str(&text).unwrap();
    let told: Vec<(&str, u64)> = of_kind(&bundle, "ImagingStudy")
        .iter()
        .map(|study| {
            let uid = study["identifier"][0]["value"].as_str().unwrap();
            (uid, study["numberOfInstances"].as_u64().unwrap())
        })
        .collect();
    assert_eq!(told, [("urn:oid:2.25.1001", 2), ("urn:oid:2.25.1099", 1)]);
    assert_eq!(of_kind(&bundle, "DiagnosticReport")[0]["imagingStudy"].as_array().unwrap().len(), 2);
}

/// An agent or a vet who brings the animal is not written down as its owner; without a role nothing is said of it.
#[test]
fn a_responsible_person_keeps_the_role_that_was_stated() {
    use dicom_core::{DataElement, PrimitiveValue, VR};
    use dicom_dictionary_std::tags;
    for (role, wanted) in [("AGENT", Some("agent")), ("OWNER", Some("owner")), ("", None)] {
        let exam = folder_of(&[], |_, still| {
            still.put(DataElement::new(tags::RESPONSIBLE_PERSON_ROLE, VR::CS, PrimitiveValue::from(role)));
        });
        let text = bundle(exam.path());
        assert_eq!(judged(&text), (true, Vec::new()), "{role}");
        let bundle: Value = serde_json::from_str(&text).unwrap();
        let contact = &of_kind(&bundle, "Patient")[0]["contact"][0];
        assert_eq!(contact["name"]["text"], "Müller Anna");
        assert_eq!(contact["relationship"][0]["text"].as_str(), wanted, "{contact}");
        // In DICOM a role must be there (PS3.3 C.7.1.1).
        export(exam.path(), "dicom", &[], 0);
        let report = exam.path().join("out/dicom/report-01.dcm");
        let read = super::stage::python(&["header", report.to_str().unwrap()], "");
        let stated = if role.is_empty() { "UNKNOWN" } else { role };
        assert_eq!(read["00102298"]["Value"][0], stated);
    }
}
