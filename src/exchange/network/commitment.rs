//! Whether an object is kept for good: storage commitment (PS3.4 annex J).
//!
//! Takes: what somebody asks for or reports, as data sets.
//! Gives: `CommitRequest`, `Report`, and their bytes; a report on what a folder holds.
//! Never: promises an object that is not there as a whole file, byte for byte as it came.
//! Tested in: `tests/it/exchange/commitment.rs`, with an archive that is not ours.

use std::collections::BTreeMap;
use std::path::Path;

use dicom_core::value::{DataSetSequence, PrimitiveValue};
use dicom_core::{DataElement, Tag, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::InMemDicomObject;
use dicom_transfer_syntax_registry::TransferSyntax;
use dicom_transfer_syntax_registry::entries::{EXPLICIT_VR_LITTLE_ENDIAN, IMPLICIT_VR_LITTLE_ENDIAN};

use super::inbox::file_sha256;
use super::message::{Kind, Message};
use super::send::Object;
use crate::exchange::still::number_of;
use crate::exchange::uid::is_uid;
use crate::frames::element::text_of;

/// The service, as a class.
pub(super) const CLASS: &str = uids::STORAGE_COMMITMENT_PUSH_MODEL;
/// The one instance that all requests speak of (PS3.4 J.3.5).
pub(super) const INSTANCE: &str = uids::STORAGE_COMMITMENT_PUSH_MODEL_INSTANCE;
/// Action: please confirm (PS3.4 J.3.2).
pub(super) const REQUEST: u16 = 1;
/// Event: all of it is kept (PS3.4 J.3.3).
const ALL_KEPT: u16 = 1;
/// Event: some of it is not.
const SOME_MISSING: u16 = 2;
/// The object is not there (PS3.3 C.14.1.1).
const NO_SUCH_OBJECT: u16 = 0x0112;
/// It is there as something else.
const OTHER_CLASS: u16 = 0x0119;
/// Longest request or report, in bytes.
pub(super) const BYTES_MAX: usize = 16 << 20;

/// An object by its names.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Named {
    pub(super) class: String,
    pub(super) instance: String,
}

/// A request to confirm.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct CommitRequest {
    pub(super) transaction: String,
    pub(super) objects: Vec<Named>,
}

/// What is kept and what is not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Report {
    pub(super) transaction: String,
    pub(super) kept: Vec<Named>,
    /// With the reason, as DICOM numbers them.
    pub(super) missing: Vec<(Named, u16)>,
}

/// Reads and writes data sets in the transfer syntax that was agreed on.
pub(super) fn syntax_of(uid: &str) -> TransferSyntax {
    match uid.trim_end_matches('\0') {
        uids::EXPLICIT_VR_LITTLE_ENDIAN => EXPLICIT_VR_LITTLE_ENDIAN.erased(),
        _ => IMPLICIT_VR_LITTLE_ENDIAN.erased(),
    }
}

fn items(data: &InMemDicomObject, tag: Tag) -> Result<Vec<(Named, Option<u16>)>, String> {
    let Some(found) = data.element_opt(tag).ok().flatten().and_then(|element| element.items()) else {
        return Ok(Vec::new());
    };
    let named = |item: &InMemDicomObject| {
        let text = |tag| text_of(item, tag).filter(|uid| is_uid(uid)).ok_or("an object without a UID");
        let class = text(tags::REFERENCED_SOP_CLASS_UID)?;
        let instance = text(tags::REFERENCED_SOP_INSTANCE_UID)?;
        let reason = number_of(item, tags::FAILURE_REASON).and_then(|reason| u16::try_from(reason).ok());
        Ok((Named { class, instance }, reason))
    };
    found.iter().map(named).collect::<Result<_, &str>>().map_err(str::to_owned)
}

fn listed(data: &mut InMemDicomObject, tag: Tag, objects: impl Iterator<Item = (Named, Option<u16>)>) {
    let item = |(named, reason): (Named, Option<u16>)| {
        let text = |tag, uid: String| DataElement::new(tag, VR::UI, PrimitiveValue::from(uid));
        let mut item = InMemDicomObject::from_element_iter([
            text(tags::REFERENCED_SOP_CLASS_UID, named.class),
            text(tags::REFERENCED_SOP_INSTANCE_UID, named.instance),
        ]);
        if let Some(reason) = reason {
            item.put(DataElement::new(tags::FAILURE_REASON, VR::US, PrimitiveValue::from(reason)));
        }
        item
    };
    let items: Vec<InMemDicomObject> = objects.map(item).collect();
    if !items.is_empty() {
        data.put(DataElement::new(tag, VR::SQ, DataSetSequence::from(items)));
    }
}

fn begun(transaction: &str) -> InMemDicomObject {
    let uid = PrimitiveValue::from(transaction);
    InMemDicomObject::from_element_iter([DataElement::new(tags::TRANSACTION_UID, VR::UI, uid)])
}

fn written(data: &InMemDicomObject, syntax: &TransferSyntax) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    data.write_dataset_with_ts(&mut bytes, syntax).map_err(|error| error.to_string())?;
    Ok(bytes)
}

fn read(bytes: &[u8], syntax: &TransferSyntax) -> Result<(String, InMemDicomObject), String> {
    let data = InMemDicomObject::read_dataset_with_ts(bytes, syntax).map_err(|error| error.to_string())?;
    let transaction = text_of(&data, tags::TRANSACTION_UID).filter(|uid| is_uid(uid));
    Ok((transaction.ok_or("a transaction without a UID")?, data))
}

impl CommitRequest {
    pub(super) fn read(bytes: &[u8], syntax: &TransferSyntax) -> Result<CommitRequest, String> {
        let (transaction, data) = read(bytes, syntax)?;
        let objects = items(&data, tags::REFERENCED_SOP_SEQUENCE)?;
        Ok(CommitRequest { transaction, objects: objects.into_iter().map(|(named, _)| named).collect() })
    }

    pub(super) fn bytes(&self, syntax: &TransferSyntax) -> Result<Vec<u8>, String> {
        let mut data = begun(&self.transaction);
        listed(
            &mut data,
            tags::REFERENCED_SOP_SEQUENCE,
            self.objects.iter().map(|named| (named.clone(), None)),
        );
        written(&data, syntax)
    }

    /// What of it a folder of received objects holds; `logged` has the SHA-256 of each file as it came.
    pub(super) fn held_by(&self, folder: &Path, logged: &BTreeMap<String, String>) -> Report {
        let mut report =
            Report { transaction: self.transaction.clone(), kept: Vec::new(), missing: Vec::new() };
        for named in &self.objects {
            let name = format!("{}.dcm", named.instance);
            let path = folder.join(&name);
            let is_as_it_came = || {
                let now = file_sha256(&path).ok();
                now.is_some() && now.as_ref() == logged.get(&name)
            };
            match Object::read(&path) {
                Ok(found) if found.instance != named.instance || found.class != named.class => {
                    report.missing.push((named.clone(), OTHER_CLASS));
                }
                Ok(_) if is_as_it_came() => report.kept.push(named.clone()),
                _ => report.missing.push((named.clone(), NO_SUCH_OBJECT)),
            }
        }
        report
    }
}

impl Report {
    pub(super) fn read(bytes: &[u8], syntax: &TransferSyntax) -> Result<Report, String> {
        let (transaction, data) = read(bytes, syntax)?;
        let kept = items(&data, tags::REFERENCED_SOP_SEQUENCE)?;
        let missing = items(&data, tags::FAILED_SOP_SEQUENCE)?;
        Ok(Report {
            transaction,
            kept: kept.into_iter().map(|(named, _)| named).collect(),
            missing: missing
                .into_iter()
                .map(|(named, reason)| (named, reason.unwrap_or(NO_SUCH_OBJECT)))
                .collect(),
        })
    }

    pub(super) fn bytes(&self, syntax: &TransferSyntax) -> Result<Vec<u8>, String> {
        let mut data = begun(&self.transaction);
        let kept = self.kept.iter().map(|named| (named.clone(), None));
        let missing = self.missing.iter().map(|(named, reason)| (named.clone(), Some(*reason)));
        listed(&mut data, tags::REFERENCED_SOP_SEQUENCE, kept);
        listed(&mut data, tags::FAILED_SOP_SEQUENCE, missing);
        written(&data, syntax)
    }

    /// The command that the report comes with.
    pub(super) fn message(&self, id: u16) -> Message {
        let event = if self.missing.is_empty() { ALL_KEPT } else { SOME_MISSING };
        Message { has_data: true, what: event, ..Message::new(Kind::Event, id, CLASS, INSTANCE) }
    }

    /// In words, for the log.
    pub(super) fn in_words(&self) -> String {
        let all = self.kept.len() + self.missing.len();
        match self.missing.first() {
            None => format!("asked whether {all} objects are kept; all are"),
            Some((first, _)) => {
                let missing = self.missing.len();
                format!(
                    "asked whether {all} objects are kept; {missing} are not, such as `{}`",
                    first.instance
                )
            }
        }
    }
}
