//! The exam as a structured report: a Comprehensive SR after TID 1500.
//!
//! Takes: the record, the exam and its stills.
//! Gives: one document; the same exam gives the same one, a later signature another that names its predecessor.
//! Never: VERIFIED before a vet has signed, or without the name of that vet.
//! Tested in: `tests/it/exchange/report.rs`.

use chrono::{DateTime, Utc};
use dicom_core::VR;
use dicom_dictionary_std::{tags, uids};
use sha2::{Digest, Sha256};

use super::concept::{
    COMMENT, DEVICE, DEVICE_MODEL, DEVICE_NAME, DEVICE_UID, ENGLISH, FEMALE, IMAGE_LATERALITY, IMAGE_VIEW,
    IMPRESSION, LANGUAGE, LIBRARY, LIBRARY_GROUP, MALE, MEASUREMENTS, MODALITY, OBSERVER_TYPE, PATIENT,
    PERSON, PERSON_NAME, PROCEDURE, QUALITATIVE, RECOMMENDATION, REPORT, SUBJECT_BREED, SUBJECT_CLASS,
    SUBJECT_ID, SUBJECT_NAME, SUBJECT_SEX, SUBJECT_SPECIES, TARGET_REGION,
};
use super::content::{ContentItem, Relation, Says, person_name};
use super::dataset::{DataSet, EncodeError, date_time, reference};
use super::group::groups;
use super::input::{ExportInput, is_labelled};
use super::still::Still;
use super::subject::SrSubject;
use super::uid::{IMPLEMENTATION_UID, uid};
use crate::exam::review::WordsPart;
use crate::frames::made_here::MAKER;
use crate::hex;

/// Series numbers of what is made: high, so that they do not meet those of a scanner.
pub(super) const SERIES_REPORT: &str = "9001";

/// A document that was made before.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PredecessorReport {
    /// Its SOP Instance UID.
    pub instance: String,
    /// Its series.
    pub series: String,
    /// Its study.
    pub study: String,
    /// Its number in the series.
    pub number: u32,
}

/// A report, not yet a file.
#[derive(Debug, Clone)]
pub(super) struct ReportDocument {
    /// SOP Instance UID; another content has another.
    pub(super) instance: String,
    data: DataSet,
}

/// The report of an exam, without what depends on earlier exports.
///
/// # Errors
/// When it cannot be encoded.
pub(super) fn document(
    input: &ExportInput,
    subject: &SrSubject,
    stills: &[Still],
) -> Result<ReportDocument, EncodeError> {
    let series = uid(&["series", "report", &input.record.exam.id]);
    let root = root(input, subject, stills).root(subject.utc_offset_s);
    let at = settled_at(input);
    let is_signed = input.record.exam.is_signed();
    let mut body = DataSet::new()
        .text(tags::MODALITY, VR::CS, "SR")
        .text(tags::SERIES_INSTANCE_UID, VR::UI, &series)
        .text(tags::SERIES_NUMBER, VR::IS, SERIES_REPORT)
        .text(tags::SERIES_DESCRIPTION, VR::LO, "Spoken exam, coded")
        .empty(tags::REFERENCED_PERFORMED_PROCEDURE_STEP_SEQUENCE, VR::SQ)
        .empty(tags::PERFORMED_PROCEDURE_CODE_SEQUENCE, VR::SQ)
        .text(tags::COMPLETION_FLAG, VR::CS, if is_signed { "COMPLETE" } else { "PARTIAL" })
        .text(tags::VERIFICATION_FLAG, VR::CS, if is_signed { "VERIFIED" } else { "UNVERIFIED" })
        .moment(tags::CONTENT_DATE, tags::CONTENT_TIME, at, subject.utc_offset_s)
        .items(tags::CODING_SCHEME_IDENTIFICATION_SEQUENCE, vec![local_scheme(input)])
        .all(root);
    if !stills.is_empty() {
        body = body.items(tags::CURRENT_REQUESTED_PROCEDURE_EVIDENCE_SEQUENCE, evidence(stills));
    }
    if let Some(signed) = input.record.exam.signed.as_ref().filter(|_| is_signed) {
        let observer = DataSet::new()
            .text(tags::VERIFYING_OBSERVER_NAME, VR::PN, &person_name(&signed.by))
            .empty(tags::VERIFYING_OBSERVER_IDENTIFICATION_CODE_SEQUENCE, VR::SQ)
            .text(tags::VERIFYING_ORGANIZATION, VR::LO, input.organisation.unwrap_or("not stated"))
            .text(tags::VERIFICATION_DATE_TIME, VR::DT, &date_time(signed.at, subject.utc_offset_s));
        body = body.items(tags::VERIFYING_OBSERVER_SEQUENCE, vec![observer]);
    }
    let start =
        |instance: &str| subject.start(uids::COMPREHENSIVE_SR_STORAGE, instance, at).all(body.clone());
    // The name follows from the content, so that two files of one name are equal byte by byte.
    let content = hex(&Sha256::digest(start("2.25.0").file()?));
    let instance = uid(&["report", &input.record.exam.id, &content]);
    let data = start(&instance);
    Ok(ReportDocument { instance, data })
}

impl ReportDocument {
    /// The file, with its number in the series and what it takes the place of.
    ///
    /// # Errors
    /// When it cannot be encoded.
    pub(super) fn file(self, earlier: Option<&PredecessorReport>) -> Result<Vec<u8>, EncodeError> {
        let number = earlier.map_or(1, |earlier| earlier.number + 1).to_string();
        let mut data = self.data.text(tags::INSTANCE_NUMBER, VR::IS, &number);
        if let Some(earlier) = earlier {
            let series = DataSet::new().text(tags::SERIES_INSTANCE_UID, VR::UI, &earlier.series).items(
                tags::REFERENCED_SOP_SEQUENCE,
                vec![reference(uids::COMPREHENSIVE_SR_STORAGE, &earlier.instance)],
            );
            let study = DataSet::new()
                .text(tags::STUDY_INSTANCE_UID, VR::UI, &earlier.study)
                .items(tags::REFERENCED_SERIES_SEQUENCE, vec![series]);
            data = data.items(tags::PREDECESSOR_DOCUMENTS_SEQUENCE, vec![study]);
        }
        data.file()
    }
}

/// When the last thing was said, entered, changed or signed: the same exam always gives the same instant.
pub(super) fn settled_at(input: &ExportInput) -> DateTime<Utc> {
    let record = input.record;
    let exam = &record.exam;
    let said = record.calls.iter().map(|call| call.said_at);
    let entered = record.entries.iter().map(|entry| entry.at);
    let changed = record.changes.iter().map(|change| change.at);
    let ends = exam.ended_at.into_iter().chain(exam.signed.as_ref().map(|signed| signed.at));
    said.chain(entered).chain(changed).chain(ends).max().unwrap_or(exam.started_at)
}

pub(super) fn local_scheme(input: &ExportInput) -> DataSet {
    let local = &input.codes.local;
    DataSet::new()
        .text(tags::CODING_SCHEME_DESIGNATOR, VR::SH, &local.designator)
        .text(tags::CODING_SCHEME_UID, VR::UI, &local.uid)
        .text(tags::CODING_SCHEME_NAME, VR::ST, &local.name)
        .text(tags::CODING_SCHEME_RESPONSIBLE_ORGANIZATION, VR::ST, &local.organisation)
}

/// The stills by study and series, as every document names them that speaks of them.
pub(super) fn evidence(stills: &[Still]) -> Vec<DataSet> {
    type Series<'a> = Vec<(&'a str, Vec<DataSet>)>;
    let mut studies: Vec<(&str, Series<'_>)> = Vec::new();
    for still in stills {
        let study = slot(&mut studies, still.study.as_str());
        slot(study, still.series.as_str()).push(reference(&still.class, &still.instance));
    }
    let series = |(series, items): (&str, Vec<DataSet>)| {
        DataSet::new()
            .text(tags::SERIES_INSTANCE_UID, VR::UI, series)
            .items(tags::REFERENCED_SOP_SEQUENCE, items)
    };
    let study =
        |(study, all): (&str, Vec<(&str, Vec<DataSet>)>)| {
            DataSet::new()
                .items(tags::REFERENCED_SERIES_SEQUENCE, all.into_iter().map(series).collect())
                .text(tags::STUDY_INSTANCE_UID, VR::UI, study)
        };
    studies.into_iter().map(study).collect()
}

/// The list of a name, in the order in which names were first asked for.
fn slot<'a, 'b, T>(all: &'a mut Vec<(&'b str, Vec<T>)>, name: &'b str) -> &'a mut Vec<T> {
    let idx = all.iter().position(|(known, _)| *known == name).unwrap_or_else(|| {
        all.push((name, Vec::new()));
        all.len() - 1
    });
    &mut all[idx].1
}

fn root(input: &ExportInput, subject: &SrSubject, stills: &[Still]) -> ContentItem {
    let mut root = ContentItem::new(Relation::Contains, REPORT, Says::Container(Some("1500")))
        .with([ContentItem::code(Relation::HasConceptModifier, LANGUAGE, ENGLISH)])
        .with(observers(input))
        .with(subject_context(input, subject))
        .with([ContentItem::code(
            Relation::HasConceptModifier,
            PROCEDURE,
            input.codes.common.procedure.clone(),
        )]);
    if !stills.is_empty() {
        let images = stills.iter().map(|still| library_entry(input, still));
        let group = ContentItem::new(Relation::Contains, LIBRARY_GROUP, Says::Container(None))
            .with([ContentItem::code(
                Relation::HasAcquisitionContext,
                MODALITY,
                input.codes.common.modality.clone(),
            )])
            .with(images);
        root = root.with([
            ContentItem::new(Relation::Contains, LIBRARY, Says::Container(Some("1600"))).with([group])
        ]);
    }
    root.with([
        ContentItem::new(Relation::Contains, MEASUREMENTS, Says::Container(None)).with(groups(input, stills))
    ])
    .with([ContentItem::new(Relation::Contains, QUALITATIVE, Says::Container(None)).with(remarks(input))])
}

/// Who observed: the person who spoke, where known, and this program (TID 1001 to 1004).
fn observers(input: &ExportInput) -> Vec<ContentItem> {
    let context = Relation::HasObservationContext;
    let mut found = Vec::new();
    if let Some(person) = &input.record.exam.person {
        found.push(ContentItem::code(context, OBSERVER_TYPE, PERSON));
        found.push(ContentItem::new(context, PERSON_NAME, Says::Person(person_name(person))));
    }
    found.push(ContentItem::code(context, OBSERVER_TYPE, DEVICE));
    found.push(ContentItem::new(context, DEVICE_UID, Says::Uid(IMPLEMENTATION_UID.to_owned())));
    found.push(ContentItem::text(context, DEVICE_NAME, MAKER));
    found.push(ContentItem::text(context, DEVICE_MODEL, &format!("heard by {}", input.record.exam.engine)));
    found
}

/// The animal (TID 1006 and 1007).
fn subject_context(input: &ExportInput, subject: &SrSubject) -> Vec<ContentItem> {
    let context = Relation::HasObservationContext;
    let mut found = vec![ContentItem::code(context, SUBJECT_CLASS, PATIENT)];
    if !subject.name.is_empty() {
        found.push(ContentItem::new(context, SUBJECT_NAME, Says::Person(subject.name.clone())));
    }
    if !subject.id.is_empty() {
        found.push(ContentItem::text(context, SUBJECT_ID, &subject.id));
    }
    let sex = match subject.sex.as_str() {
        "M" => Some(MALE),
        "F" => Some(FEMALE),
        _ => None,
    };
    found.extend(sex.map(|sex| ContentItem::code(context, SUBJECT_SEX, sex)));
    found.push(ContentItem::code(context, SUBJECT_SPECIES, input.codes.common.species.clone()));
    found.extend(subject.breed.clone().map(|breed| ContentItem::code(context, SUBJECT_BREED, breed)));
    found
}

/// A still with what its label says (TID 1601 and 1602); a label in doubt says so.
fn library_entry(input: &ExportInput, still: &Still) -> ContentItem {
    let mut entry = ContentItem::image(Relation::Contains, None, still);
    let frame = input.record.frames.iter().find(|frame| frame.id == still.id);
    let Some(frame) = frame.filter(|frame| is_labelled(frame)) else {
        return entry;
    };
    let site = input.site(&frame.place);
    let context = Relation::HasAcquisitionContext;
    entry = entry.with(site.region.map(|region| ContentItem::code(context, TARGET_REGION, region)));
    entry = entry.with(site.side.map(|side| ContentItem::code(context, IMAGE_LATERALITY, side)));
    entry = entry.with(site.view.map(|view| ContentItem::code(context, IMAGE_VIEW, view)));
    let doubt = (!frame.doubt.is_empty()).then(|| format!("; in doubt: {}", frame.doubt.join("; ")));
    let label = format!("{}{}", frame.place.codes(), doubt.unwrap_or_default());
    entry.with([ContentItem::text(context, COMMENT, &label)])
}

/// What goes with the whole exam: the cautions, the vet's own conclusion, and what a person should look at.
fn remarks(input: &ExportInput) -> Vec<ContentItem> {
    let signed = input.record.exam.signed.as_ref().map(|signed| {
        let text = format!("signed by {}, licence as entered: {}", signed.by, signed.licence);
        let since = match signed.changes_since {
            0 => String::new(),
            changes => format!("; {changes} changes after that are a draft"),
        };
        ContentItem::text(Relation::Contains, COMMENT, &(text + &since))
    });
    let caution = ContentItem::text(Relation::Contains, COMMENT, input.cautions);
    let concluded = input.conclusion().map(|row| {
        let concept = if row.part == WordsPart::Impression { IMPRESSION } else { RECOMMENDATION };
        ContentItem::text(Relation::Contains, concept, &row.text)
    });
    let open = input.record.findings.iter().filter(|finding| finding.is_open());
    let open = open.map(|finding| {
        ContentItem::text(Relation::Contains, COMMENT, &format!("to look at: {}", finding.message))
    });
    std::iter::once(caution).chain(signed).chain(concluded).chain(open).collect()
}
