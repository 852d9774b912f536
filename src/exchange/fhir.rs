//! The exam as a FHIR R4 bundle.
//!
//! Takes: the exam, its record, its stills and the printed report.
//! Gives: one Bundle of type `collection`: animal, people, study, observations, report.
//! Never: `final` before a vet has signed; a spoken value that looks like a traced one.
//! Tested in: `tests/it/exchange/fhir.rs`, by a validator that is not ours.

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use chrono::{DateTime, SecondsFormat, Utc};
use dicom_dictionary_std::tags;
use serde_json::{Map, Value, json};

use super::code::Code;
use super::concept::{MODIFIER, SITE};
use super::dataset::zone;
use super::input::ExportInput;
use super::report::settled_at;
use super::still::Still;
use super::subject::{Identity, ROLE_UNKNOWN, SrSubject, SubjectError};
use super::uid::uuid;
use crate::exam::closed_sets::CallKind;
use crate::exam::place::Place;
use crate::frames::element::text_of;
use crate::knowledge::record::{CallRow, EntryRow, standing};
use crate::language::closed_sets::Class;
use crate::report::words::amount;

const ANIMAL: &str = "http://hl7.org/fhir/StructureDefinition/patient-animal";
const UCUM: &str = "http://unitsofmeasure.org";

/// The bundle, indented, with a line feed at the end.
///
/// # Errors
/// When it is not clear whose exam it is.
pub fn bundle(
    input: &ExportInput,
    stills: &[Still],
    identity: Identity,
    pdf: Option<&[u8]>,
) -> Result<String, SubjectError> {
    let subject = SrSubject::of(input, stills, identity)?;
    let mut making =
        Making { input, entries: Vec::new(), patient: String::new(), studies: Vec::new(), speaker: None };
    making.patient = making.put("patient", patient(input, &subject));
    making.speaker = input.record.exam.person.as_ref().map(|name| making.put("speaker", person(name, None)));
    for uid in studies(&subject, stills) {
        let study = making.imaging_study(uid, stills);
        let what = if uid == subject.study { "study".to_owned() } else { format!("study {uid}") };
        let study = making.put(&what, study);
        making.studies.push(json!({"reference": study}));
    }
    let results = making.observations();
    making.report(results, pdf);
    let bundle = json!({
        "resourceType": "Bundle",
        "type": "collection",
        "timestamp": instant(settled_at(input), subject.utc_offset_s),
        "entry": making.entries,
    });
    Ok(format!("{bundle:#}\n"))
}

struct Making<'a> {
    input: &'a ExportInput<'a>,
    entries: Vec<Value>,
    patient: String,
    /// References to them, that of most stills first.
    studies: Vec<Value>,
    speaker: Option<String>,
}

fn instant(at: DateTime<Utc>, utc_offset_s: i32) -> String {
    at.with_timezone(&zone(utc_offset_s)).to_rfc3339_opts(SecondsFormat::Millis, false)
}

fn person(name: &str, licence: Option<&str>) -> Value {
    let mut practitioner = json!({"resourceType": "Practitioner", "name": [{"text": name}]});
    if let Some(licence) = licence {
        // Nobody checked the number: it is kept as it was entered.
        practitioner["identifier"] = json!([{"type": {"text": "licence, as entered"}, "value": licence}]);
    }
    practitioner
}

fn patient(input: &ExportInput, subject: &SrSubject) -> Value {
    let text = |tag| text_of(&subject.modules.0, tag);
    let horse = &input.record.exam.horse;
    let name = horse.name.clone().unwrap_or_else(|| subject.name.replace('^', " ").trim().to_owned());
    let mut animal =
        vec![json!({"url": "species", "valueCodeableConcept": concept(input, &input.codes.common.species)})];
    if let Some(breed) = text(tags::PATIENT_BREED_DESCRIPTION) {
        animal.push(json!({"url": "breed", "valueCodeableConcept": {"text": breed}}));
    }
    let neutered = match text(tags::PATIENT_SEX_NEUTERED).as_deref() {
        Some("ALTERED") => Some("neutered"),
        Some("UNALTERED") => Some("intact"),
        _ => None,
    };
    if let Some(status) = neutered {
        let coding = json!([{"system": "http://hl7.org/fhir/animal-genderstatus", "code": status}]);
        animal.push(json!({"url": "genderStatus", "valueCodeableConcept": {"coding": coding}}));
    }
    let mut patient = json!({"resourceType": "Patient", "extension": [{"url": ANIMAL, "extension": animal}]});
    if !name.is_empty() {
        patient["name"] = json!([{"text": name}]);
    }
    if !subject.id.is_empty() {
        patient["identifier"] = json!([{"value": subject.id}]);
    }
    match subject.sex.as_str() {
        "M" => patient["gender"] = json!("male"),
        "F" => patient["gender"] = json!("female"),
        "O" => patient["gender"] = json!("other"),
        _ => {}
    }
    if let Some(owner) = text(tags::RESPONSIBLE_PERSON) {
        let mut contact = json!({"name": {"text": owner.replace('^', " ").trim()}});
        let role = text(tags::RESPONSIBLE_PERSON_ROLE).filter(|role| role != ROLE_UNKNOWN);
        if let Some(role) = role {
            contact["relationship"] = json!([{"text": role.to_lowercase()}]);
        }
        patient["contact"] = json!([contact]);
    }
    patient
}

fn system(input: &ExportInput, scheme: &str) -> String {
    match scheme {
        "SCT" => "http://snomed.info/sct".to_owned(),
        "DCM" => "http://dicom.nema.org/resources/ontology/DCM".to_owned(),
        "LN" => "http://loinc.org".to_owned(),
        "NCIt" => "http://ncithesaurus-stage.nci.nih.gov".to_owned(),
        "UCUM" => UCUM.to_owned(),
        _ => format!("urn:oid:{}", input.codes.local.uid),
    }
}

fn concept(input: &ExportInput, code: &Code) -> Value {
    json!({
        "coding": [{"system": system(input, &code.scheme), "code": code.value, "display": code.meaning}],
        "text": code.meaning,
    })
}

fn is_signed(input: &ExportInput) -> bool {
    input.record.exam.is_signed()
}

/// The studies of the stills: a scanner may begin a new one in the middle of an exam.
fn studies<'a>(subject: &'a SrSubject, stills: &'a [Still]) -> Vec<&'a str> {
    let mut found: Vec<&str> = Vec::new();
    let own =
        std::iter::once(subject.study.as_str()).filter(|own| stills.iter().any(|still| still.study == *own));
    for study in own.chain(stills.iter().map(|still| still.study.as_str())) {
        if !found.contains(&study) {
            found.push(study);
        }
    }
    found
}

impl Making<'_> {
    /// Adds a resource; gives its address in the bundle, which is the same in every export.
    fn put(&mut self, what: &str, resource: Value) -> String {
        let url = format!("urn:uuid:{}", uuid(&["fhir", &self.input.record.exam.id, what]));
        self.entries.push(json!({"fullUrl": url, "resource": resource}));
        url
    }

    fn imaging_study(&self, study: &str, stills: &[Still]) -> Value {
        let of_study: Vec<&Still> = stills.iter().filter(|still| still.study == study).collect();
        let mut series: Vec<(&str, Vec<Value>)> = Vec::new();
        for still in &of_study {
            let instance = json!({
                "uid": still.instance,
                "sopClass": {"system": "urn:ietf:rfc:3986", "code": format!("urn:oid:{}", still.class)},
            });
            match series.iter().position(|(name, _)| *name == still.series) {
                Some(idx) => series[idx].1.push(instance),
                None => series.push((&still.series, vec![instance])),
            }
        }
        let modality = &self.input.codes.common.modality;
        let modality = json!({"system": system(self.input, &modality.scheme), "code": modality.value});
        let series: Vec<Value> = series
            .into_iter()
            .map(|(uid, all)| json!({"uid": uid, "modality": modality, "numberOfInstances": all.len(), "instance": all}))
            .collect();
        let exam = &self.input.record.exam;
        json!({
            "resourceType": "ImagingStudy",
            "status": "available",
            "identifier": [{"system": "urn:dicom:uid", "value": format!("urn:oid:{study}")}],
            "subject": {"reference": self.patient},
            "started": instant(exam.started_at, exam.utc_offset_s),
            "numberOfSeries": series.len(),
            "numberOfInstances": of_study.len(),
            "series": series,
        })
    }

    fn observations(&mut self) -> Vec<Value> {
        let record = self.input.record;
        // A value that another one replaces is no observation of its own: the one that counts names it.
        let calls = standing(&record.calls)
            .filter(|call| matches!(call.kind, CallKind::Value | CallKind::Finding))
            .filter(|call| call.replaced_by.is_none());
        let mut results = Vec::new();
        for call in calls {
            let observation = self.said(call);
            results.push(json!({"reference": self.put(&format!("call {}", call.seq), observation)}));
        }
        for entry in record.entries.iter().filter(|entry| entry.replaced_by.is_none()) {
            let observation = self.entered(entry);
            results.push(json!({"reference": self.put(&format!("entry {}", entry.seq), observation)}));
        }
        results
    }

    /// What all observations have.
    fn observation(
        &self,
        place: &Place,
        at: DateTime<Utc>,
        how: &str,
        notes: &[String],
    ) -> Map<String, Value> {
        let input = self.input;
        let mut out = Map::new();
        let mut put = |name: &str, value: Value| out.insert(name.to_owned(), value);
        put("resourceType", json!("Observation"));
        put("status", json!(if is_signed(input) { "final" } else { "preliminary" }));
        put("subject", json!({"reference": self.patient}));
        put("effectiveDateTime", json!(instant(at, input.record.exam.utc_offset_s)));
        put("method", json!({"text": how}));
        let site = input.site(place);
        let words = place.in_words(input.protocols);
        if !words.is_empty() {
            let mut body = json!({"text": words});
            if let Some(region) = &site.region {
                body["coding"] = concept(input, region)["coding"].clone();
            }
            put("bodySite", body);
        }
        let parts = [
            (SITE, &site.structure),
            (MODIFIER, &site.zone),
            (super::concept::LATERALITY, &site.side),
            (super::concept::IMAGE_VIEW, &site.view),
        ];
        let components: Vec<Value> = parts
            .into_iter()
            .filter_map(|(name, code)| {
                let name: Code = name.into();
                Some(json!({"code": concept(input, &name), "valueCodeableConcept": concept(input, code.as_ref()?)}))
            })
            .collect();
        if !components.is_empty() {
            put("component", Value::Array(components));
        }
        if !self.studies.is_empty() {
            put("derivedFrom", json!(self.studies));
        }
        if !notes.is_empty() {
            let notes: Vec<Value> = notes.iter().map(|text| json!({"text": text})).collect();
            put("note", Value::Array(notes));
        }
        out
    }

    fn said(&self, call: &CallRow) -> Value {
        let input = self.input;
        let term = call.term.as_deref().unwrap_or_default();
        let mut notes: Vec<String> = Vec::new();
        match call.words.trim() {
            "" => {}
            words => notes.push(format!("as heard: {words}")),
        }
        notes.extend(super::group::doubts(call));
        notes.extend(super::group::replaces(input.record, call.seq));
        let mut out = self.observation(
            &call.place,
            call.said_at,
            if call.added { "added by hand" } else { "spoken" },
            &notes,
        );
        if let Some(speaker) = &self.speaker {
            out.insert("performer".to_owned(), json!([{"reference": speaker}]));
        }
        if call.kind == CallKind::Value {
            let number = call.number.filter(|_| call.to.is_none() && call.by.is_none());
            self.put_number(&mut out, term, number, call.unit.as_deref(), call.scale.as_deref());
            if number.is_none() {
                // A range or a product is no number: it goes out in words.
                out.insert("valueString".to_owned(), json!(amount(call)));
            }
            if let (Some(comparator), Some(quantity)) = (call.comparator, out.get_mut("valueQuantity")) {
                quantity["comparator"] = json!(comparator.sign());
            }
            return Value::Object(out);
        }
        let (name, found) = super::group::stated(input, call);
        out.insert("code".to_owned(), concept(input, &name));
        if call.class == Some(Class::NotDone) {
            let coding = json!([{"system": "http://terminology.hl7.org/CodeSystem/data-absent-reason", "code": "not-performed"}]);
            out.insert("dataAbsentReason".to_owned(), json!({"coding": coding}));
            return Value::Object(out);
        }
        out.insert("valueCodeableConcept".to_owned(), concept(input, &found));
        let degree =
            call.degree.iter().map(|name| (input.codes.common.severity.clone(), input.codes.degree(name)));
        let position = call.position.iter().map(|name| (MODIFIER.into(), input.codes.position(name)));
        for (name, code) in degree.chain(position) {
            let component =
                json!({"code": concept(input, &name), "valueCodeableConcept": concept(input, &code)});
            let all = out.entry("component").or_insert_with(|| json!([]));
            if let Some(all) = all.as_array_mut() {
                all.push(component);
            }
        }
        Value::Object(out)
    }

    fn entered(&self, entry: &EntryRow) -> Value {
        let how = if entry.traced { "traced on a still" } else { "typed" };
        let mut notes: Vec<String> = entry.by.iter().map(|by| format!("{how} by {by}")).collect();
        if entry.scale_by_hand {
            notes.push("the still states no scale: a person set it on its depth scale".to_owned());
        }
        let still =
            entry.still.as_ref().and_then(|id| self.input.record.frames.iter().find(|frame| frame.id == *id));
        if let Some(still) = still.filter(|still| !still.doubt.is_empty()) {
            notes.push(format!("label of the still {} in doubt: {}", still.name(), still.doubt.join("; ")));
        }
        notes.extend(super::group::replaces(self.input.record, entry.seq));
        notes.extend(super::group::contradicted(&entry.contradicted_by));
        let mut out = self.observation(&entry.place, entry.at, how, &notes);
        self.put_number(
            &mut out,
            &entry.term,
            Some(entry.number),
            entry.unit.as_deref(),
            entry.scale.as_deref(),
        );
        Value::Object(out)
    }

    fn put_number(
        &self,
        out: &mut Map<String, Value>,
        term: &str,
        number: Option<f64>,
        unit: Option<&str>,
        scale: Option<&str>,
    ) {
        let code = super::group::named(self.input, term, scale);
        let mut name = concept(self.input, &code);
        name["text"] =
            json!(scale.map_or_else(|| term.to_owned(), |scale| format!("{term} on the scale {scale}")));
        out.insert("code".to_owned(), name);
        if let Some(number) = number {
            let unit = unit.unwrap_or("1");
            let quantity = json!({"value": number, "unit": unit, "system": UCUM, "code": unit});
            out.insert("valueQuantity".to_owned(), quantity);
        }
    }

    fn report(&mut self, results: Vec<Value>, pdf: Option<&[u8]>) {
        let input = self.input;
        let exam = &input.record.exam;
        let signer = exam.signed.as_ref().filter(|_| is_signed(input));
        let signer = signer.map(|signed| self.put("signer", person(&signed.by, Some(&signed.licence))));
        let mut report = json!({
            "resourceType": "DiagnosticReport",
            "status": if is_signed(input) { "final" } else { "preliminary" },
            "code": concept(input, &input.codes.common.report),
            "subject": {"reference": self.patient},
            "effectiveDateTime": instant(exam.started_at, exam.utc_offset_s),
            "issued": instant(settled_at(input), exam.utc_offset_s),
            "identifier": [{"value": exam.id}],
            "text": {"status": "additional", "div": narrative(input.cautions)},
        });
        let concluded: Vec<&str> = input.conclusion().map(|row| row.text.as_str()).collect();
        if !concluded.is_empty() {
            report["conclusion"] = json!(concluded.join("\n\n"));
        }
        if !results.is_empty() {
            report["result"] = Value::Array(results);
        }
        if !self.studies.is_empty() {
            report["imagingStudy"] = json!(self.studies);
        }
        if let Some(signer) = &signer {
            report["resultsInterpreter"] = json!([{"reference": signer}]);
        }
        self.put("report", report);
        let Some(pdf) = pdf else { return };
        let attachment = json!({
            "contentType": "application/pdf",
            "title": if is_signed(input) { "Report" } else { "Report (draft)" },
            "data": BASE64_STANDARD.encode(pdf),
        });
        let document = json!({
            "resourceType": "DocumentReference",
            "status": "current",
            "docStatus": if is_signed(input) { "final" } else { "preliminary" },
            "type": concept(input, &input.codes.common.report),
            "subject": {"reference": self.patient},
            "content": [{"attachment": attachment}],
        });
        self.put("document", document);
    }
}

/// Text for people, as FHIR wants it in `text`: XHTML, in one division.
fn narrative(text: &str) -> String {
    let text = maud::html! { p { (text) } };
    format!("<div xmlns=\"http://www.w3.org/1999/xhtml\">{}</div>", text.into_string())
}
