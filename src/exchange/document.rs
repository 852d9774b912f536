//! The vet's report as an object of the study: a PDF inside DICOM.
//!
//! Takes: the printed report.
//! Gives: an Encapsulated PDF object.
//! Never: a report of another exam, or one marked as verified before a vet has signed.
//! Tested in: `tests/it/exchange/objects.rs`.

use dicom_core::VR;
use dicom_core::value::PrimitiveValue;
use dicom_dictionary_std::{tags, uids};
use sha2::{Digest, Sha256};

use super::dataset::{DataSet, EncodeError, date_time};
use super::input::ExportInput;
use super::report::settled_at;
use super::subject::SrSubject;
use super::uid::uid;
use crate::hex;

/// The object.
///
/// # Errors
/// When it cannot be encoded.
pub(super) fn encapsulated(
    input: &ExportInput,
    subject: &SrSubject,
    pdf: &[u8],
) -> Result<(String, Vec<u8>), EncodeError> {
    let exam = &input.record.exam;
    let at = settled_at(input);
    let is_signed = exam.is_signed();
    let title = if is_signed { "Report" } else { "Report (draft, not signed by a vet)" };
    let mut bytes = pdf.to_vec();
    if bytes.len() % 2 == 1 {
        bytes.push(0);
    }
    let body = DataSet::new()
        .text(tags::MODALITY, VR::CS, "DOC")
        .text(tags::SERIES_INSTANCE_UID, VR::UI, &uid(&["series", "document", &exam.id]))
        .text(tags::SERIES_NUMBER, VR::IS, "9004")
        .text(tags::SERIES_DESCRIPTION, VR::LO, "Report")
        .text(tags::CONVERSION_TYPE, VR::CS, "WSD")
        .text(tags::INSTANCE_NUMBER, VR::IS, "1")
        .moment(tags::CONTENT_DATE, tags::CONTENT_TIME, at, subject.utc_offset_s)
        .text(tags::ACQUISITION_DATE_TIME, VR::DT, &date_time(exam.started_at, subject.utc_offset_s))
        .text(tags::BURNED_IN_ANNOTATION, VR::CS, "YES")
        .text(tags::DOCUMENT_TITLE, VR::ST, title)
        .code(tags::CONCEPT_NAME_CODE_SEQUENCE, &input.codes.common.report)
        .text(tags::VERIFICATION_FLAG, VR::CS, if is_signed { "VERIFIED" } else { "UNVERIFIED" })
        .text(tags::MIME_TYPE_OF_ENCAPSULATED_DOCUMENT, VR::LO, "application/pdf")
        .value(tags::ENCAPSULATED_DOCUMENT, VR::OB, PrimitiveValue::U8(bytes.into()))
        .value(
            tags::ENCAPSULATED_DOCUMENT_LENGTH,
            VR::UL,
            PrimitiveValue::from(u32::try_from(pdf.len()).unwrap_or(u32::MAX)),
        );
    let content = hex(&Sha256::digest(pdf));
    let instance = uid(&["document", &exam.id, &content, exam.status.as_str()]);
    let bytes = subject.start(uids::ENCAPSULATED_PDF_STORAGE, &instance, at).all(body).file()?;
    Ok((instance, bytes))
}
