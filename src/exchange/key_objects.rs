//! The stills that show a finding, or that a person chose, for whoever opens the study and has little time.
//!
//! Takes: the record and its stills.
//! Gives: a Key Object Selection document after TID 2010; none where no still shows a finding.
//! Never: a still whose view is not sure, without saying so.
//! Tested in: `tests/it/exchange/objects.rs`.

use dicom_core::VR;
use dicom_dictionary_std::{tags, uids};
use sha2::{Digest, Sha256};

use super::concept::{DEVICE, DEVICE_NAME, DEVICE_UID, KEY_DESCRIPTION, OBSERVER_TYPE, OF_INTEREST};
use super::content::{ContentItem, Relation, Says};
use super::dataset::{DataSet, EncodeError};
use super::input::{ExportInput, is_labelled};
use super::report::{evidence, settled_at};
use super::still::Still;
use super::subject::SrSubject;
use super::uid::{IMPLEMENTATION_UID, uid};
use crate::exam::closed_sets::CallKind;
use crate::frames::made_here::MAKER;
use crate::hex;
use crate::knowledge::key_stills::says_changed;
use crate::knowledge::record::{CallRow, FrameRow, standing};

/// What a still shows that is changed, in words.
fn shown<'a>(input: &'a ExportInput, frame: &'a FrameRow) -> impl Iterator<Item = &'a CallRow> {
    let known = is_labelled(frame) && frame.place.zone.is_some();
    standing(&input.record.calls).filter(move |call| {
        known && call.kind == CallKind::Finding && says_changed(call) && call.place.same_view(&frame.place)
    })
}

/// The document.
///
/// # Errors
/// When it cannot be encoded.
pub(super) fn selection(
    input: &ExportInput,
    subject: &SrSubject,
    stills: &[Still],
) -> Result<Option<(String, Vec<u8>)>, EncodeError> {
    let mut chosen = Vec::new();
    let mut lines = Vec::new();
    for frame in &input.record.frames {
        let found: Vec<String> = shown(input, frame).map(crate::report::words::meaning).collect();
        let still = stills.iter().find(|still| still.id == frame.id);
        // What a person chose or left out for the report counts here, too.
        let wanted = frame.key.unwrap_or(!found.is_empty());
        if let Some(still) = still.filter(|_| wanted) {
            let doubt = if frame.doubt.is_empty() {
                String::new()
            } else {
                format!(" (label in doubt: {})", frame.doubt.join("; "))
            };
            let what = if found.is_empty() { "chosen for the report".to_owned() } else { found.join("; ") };
            let number = frame.frame_number.map(|number| format!(", frame {number}")).unwrap_or_default();
            lines.push(format!("{}{number}: {what}{doubt}", frame.place.codes()));
            chosen.push((still.clone(), frame.frame_number));
        }
    }
    if chosen.is_empty() {
        return Ok(None);
    }
    let exam = &input.record.exam;
    let at = settled_at(input);
    let draft = if exam.is_signed() { "" } else { "draft, not signed by a vet\n" };
    let context = Relation::HasObservationContext;
    let root = ContentItem::new(Relation::Contains, OF_INTEREST, Says::Container(Some("2010")))
        .with([
            ContentItem::code(context, OBSERVER_TYPE, DEVICE),
            ContentItem::new(context, DEVICE_UID, Says::Uid(IMPLEMENTATION_UID.to_owned())),
            ContentItem::text(context, DEVICE_NAME, MAKER),
            ContentItem::text(Relation::Contains, KEY_DESCRIPTION, &format!("{draft}{}", lines.join("\n"))),
        ])
        .with(chosen.iter().map(|(still, number)| {
            // Without a number all frames are meant.
            match number {
                Some(_) => ContentItem::image_frame(Relation::Contains, None, still, *number),
                None => ContentItem::image(Relation::Contains, None, still),
            }
        }));
    let stills: Vec<Still> = chosen.into_iter().map(|(still, _)| still).collect();
    let body = DataSet::new()
        .text(tags::MODALITY, VR::CS, "KO")
        .text(tags::SERIES_INSTANCE_UID, VR::UI, &uid(&["series", "selection", &exam.id]))
        .text(tags::SERIES_NUMBER, VR::IS, "9003")
        .text(tags::SERIES_DESCRIPTION, VR::LO, "Stills that show a finding")
        .empty(tags::REFERENCED_PERFORMED_PROCEDURE_STEP_SEQUENCE, VR::SQ)
        .text(tags::INSTANCE_NUMBER, VR::IS, "1")
        .moment(tags::CONTENT_DATE, tags::CONTENT_TIME, at, subject.utc_offset_s)
        .items(tags::CURRENT_REQUESTED_PROCEDURE_EVIDENCE_SEQUENCE, evidence(&stills))
        .all(root.root(subject.utc_offset_s));
    let class = uids::KEY_OBJECT_SELECTION_DOCUMENT_STORAGE;
    let start = |instance: &str| subject.start(class, instance, at).all(body.clone());
    let content = hex(&Sha256::digest(start("2.25.0").file()?));
    let instance = uid(&["selection", &exam.id, &content]);
    let bytes = start(&instance).file()?;
    Ok(Some((instance, bytes)))
}
