//! Who is to be scanned today: a modality worklist, asked for (PS3.4 annex K).
//!
//! Takes: a peer, a day and a kind of machine.
//! Gives: one appointment for each animal, in the order of the day.
//! Never: a row of another day, whatever the server sends.
//! Tested in: `tests/it/exchange/worklist.rs`, with a worklist server that is not ours.

use chrono::NaiveDate;
use dicom_core::value::{DataSetSequence, PrimitiveValue};
use dicom_core::{DataElement, Tag, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::InMemDicomObject;
use dicom_transfer_syntax_registry::TransferSyntax;
use dicom_ul::Pdu;
use dicom_ul::pdu::{PDataValue, PDataValueType};

use super::confirm::agreed;
use super::message::{Kind, Message, SUCCESS, in_one_pdu};
use super::send::{Peer, SendError, answered};
use super::status::refusal;
use crate::exchange::day_list::{Appointment, is_sex};
use crate::exchange::uid::is_uid;
use crate::frames::element::text_of;
use crate::frames::texts::set_right;

/// Another row follows (PS3.4 C.4.1.1.4).
const PENDING: [u16; 2] = [0xFF00, 0xFF01];
/// Rows of one day; more is no day of a practice.
const ROWS_MAX: usize = 500;
/// Longest row, in bytes.
const ROW_BYTES_MAX: usize = 1 << 20;

/// What is asked for besides the step itself; an empty value asks for the value.
const WANTED: [(Tag, VR); 13] = [
    (tags::ACCESSION_NUMBER, VR::SH),
    (tags::PATIENT_NAME, VR::PN),
    (tags::PATIENT_ID, VR::LO),
    (tags::PATIENT_BIRTH_DATE, VR::DA),
    (tags::PATIENT_SEX, VR::CS),
    (tags::PATIENT_SEX_NEUTERED, VR::CS),
    (tags::PATIENT_SPECIES_DESCRIPTION, VR::LO),
    (tags::PATIENT_BREED_DESCRIPTION, VR::LO),
    (tags::RESPONSIBLE_PERSON, VR::PN),
    (tags::RESPONSIBLE_PERSON_ROLE, VR::CS),
    (tags::STUDY_INSTANCE_UID, VR::UI),
    (tags::REQUESTED_PROCEDURE_DESCRIPTION, VR::LO),
    (tags::REQUESTED_PROCEDURE_ID, VR::SH),
];

/// What is asked for as a code, where a system states no words.
const WANTED_CODES: [Tag; 2] = [tags::PATIENT_SPECIES_CODE_SEQUENCE, tags::PATIENT_BREED_CODE_SEQUENCE];

impl Peer {
    /// The animals of a day for a kind of machine, such as `US`.
    ///
    /// # Errors
    /// When the peer cannot be reached, has no worklist, or fails.
    pub fn worklist(&self, day: NaiveDate, modality: &str) -> Result<Vec<Appointment>, SendError> {
        let class = uids::MODALITY_WORKLIST_INFORMATION_MODEL_FIND;
        let syntaxes = vec![uids::EXPLICIT_VR_LITTLE_ENDIAN, uids::IMPLICIT_VR_LITTLE_ENDIAN];
        let mut association = self.connect(self.options().with_presentation_context(class, syntaxes))?;
        let (context, syntax) = agreed(&association);
        let mut query = Vec::new();
        wanted(day, modality)
            .write_dataset_with_ts(&mut query, &syntax)
            .map_err(|error| answered(self, error.to_string()))?;
        let request = Message { has_data: true, ..Message::new(Kind::Find, 1, class, "") };
        for (value_type, data) in [(PDataValueType::Command, request.bytes()?), (PDataValueType::Data, query)]
        {
            association.send(&in_one_pdu(context, value_type, data)).map_err(|error| self.failed(&error))?;
        }
        let mut list =
            Listing { syntax, day, command: Vec::new(), data: Vec::new(), pending: false, rows: Vec::new() };
        let status = loop {
            let parts = match association.receive().map_err(|error| self.failed(&error))? {
                Pdu::PData { data } => data,
                other => return Err(answered(self, other.short_description().to_string())),
            };
            let mut done = None;
            for part in parts {
                done = list.take(&part).map_err(|what| answered(self, what))?;
            }
            if let Some(status) = done {
                break status;
            }
        };
        association.release().map_err(|error| self.failed(&error))?;
        if status != SUCCESS {
            return Err(answered(self, refusal(status, None)));
        }
        let mut rows = list.rows;
        rows.sort_by(|a, b| (&a.time, &a.horse, &a.horse_id).cmp(&(&b.time, &b.horse, &b.horse_id)));
        for (row, number) in rows.iter_mut().zip(1..) {
            row.number = format!("{number}");
        }
        Ok(rows)
    }
}

/// A list as it comes in.
struct Listing {
    syntax: TransferSyntax,
    day: NaiveDate,
    command: Vec<u8>,
    data: Vec<u8>,
    /// A row follows.
    pending: bool,
    rows: Vec<Appointment>,
}

impl Listing {
    /// Takes a part of an answer; the status at the end of the list.
    fn take(&mut self, part: &PDataValue) -> Result<Option<u16>, String> {
        let whole = match part.value_type {
            PDataValueType::Command => &mut self.command,
            PDataValueType::Data => &mut self.data,
        };
        whole.extend(&part.data);
        if whole.len() > ROW_BYTES_MAX {
            return Err("a row longer than any is".to_owned());
        }
        if !part.is_last {
            return Ok(None);
        }
        let bytes = std::mem::take(whole);
        if part.value_type == PDataValueType::Command {
            let answer = Message::read(&bytes).map_err(|error| error.to_string())?;
            self.pending = PENDING.contains(&answer.status);
            return Ok((!self.pending).then_some(answer.status));
        }
        if self.rows.len() == ROWS_MAX {
            return Err(format!("more than {ROWS_MAX} rows; ask its makers why it does not keep to the day"));
        }
        let row = InMemDicomObject::read_dataset_with_ts(bytes.as_slice(), &self.syntax);
        let mut row = row.map_err(|error| error.to_string())?;
        set_right(&mut row);
        if self.pending {
            self.rows.extend(appointment(&row, self.day));
        }
        Ok(None)
    }
}

fn wanted(day: NaiveDate, modality: &str) -> InMemDicomObject {
    let text = |tag, vr, text: &str| DataElement::new(tag, vr, PrimitiveValue::from(text));
    let step = InMemDicomObject::from_element_iter([
        text(tags::MODALITY, VR::CS, modality),
        text(tags::SCHEDULED_STATION_AE_TITLE, VR::AE, ""),
        text(tags::SCHEDULED_PROCEDURE_STEP_START_DATE, VR::DA, &as_date(day)),
        text(tags::SCHEDULED_PROCEDURE_STEP_START_TIME, VR::TM, ""),
        text(tags::SCHEDULED_PROCEDURE_STEP_DESCRIPTION, VR::LO, ""),
        text(tags::SCHEDULED_PROCEDURE_STEP_ID, VR::SH, ""),
    ]);
    let mut query = InMemDicomObject::from_element_iter(WANTED.map(|(tag, vr)| text(tag, vr, "")));
    query.put(text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 192"));
    for tag in WANTED_CODES {
        let code = InMemDicomObject::from_element_iter([
            text(tags::CODE_VALUE, VR::SH, ""),
            text(tags::CODING_SCHEME_DESIGNATOR, VR::SH, ""),
            text(tags::CODE_MEANING, VR::LO, ""),
        ]);
        query.put(DataElement::new(tag, VR::SQ, DataSetSequence::from(vec![code])));
    }
    query.put(DataElement::new(
        tags::SCHEDULED_PROCEDURE_STEP_SEQUENCE,
        VR::SQ,
        DataSetSequence::from(vec![step]),
    ));
    query
}

fn as_date(day: NaiveDate) -> String {
    day.format("%Y%m%d").to_string()
}

/// What the first code of a sequence means; empty where there is none.
fn meaning(row: &InMemDicomObject, sequence: Tag) -> String {
    let codes = row.element_opt(sequence).ok().flatten();
    let first = codes.and_then(|element| element.items()?.first());
    first.and_then(|code| text_of(code, tags::CODE_MEANING)).unwrap_or_default()
}

/// A row as an appointment; none where it is of another day.
fn appointment(row: &InMemDicomObject, day: NaiveDate) -> Option<Appointment> {
    let text = |tag| text_of(row, tag).unwrap_or_default();
    let step = row.element_opt(tags::SCHEDULED_PROCEDURE_STEP_SEQUENCE).ok().flatten();
    let step = step.and_then(|element| element.items()?.first());
    let of_step = |tag| step.and_then(|step| text_of(step, tag)).unwrap_or_default();
    let date = of_step(tags::SCHEDULED_PROCEDURE_STEP_START_DATE);
    if !date.is_empty() && date != as_date(day) {
        return None;
    }
    let time = of_step(tags::SCHEDULED_PROCEDURE_STEP_START_TIME);
    let time = match (time.get(..2), time.get(2..4)) {
        (Some(hour), Some(minute)) => format!("{hour}:{minute}"),
        _ => String::new(),
    };
    let name = text(tags::PATIENT_NAME);
    // The owner's name comes before the animal's own (PS3.5 6.2.1); without a `^` all of it is the animal's. Of several
    // ways of writing it, parted by `=`, the first counts.
    let mut parts = name.split('=').next().unwrap_or_default().split('^').map(str::trim);
    let (first, second) = (parts.next().unwrap_or_default(), parts.next().unwrap_or_default());
    let (family, horse) = if second.is_empty() { ("", first) } else { (first, second) };
    // Whoever brings the animal or treats it is no owner; where no role is stated, a responsible person is taken for one.
    let is_owner = matches!(text(tags::RESPONSIBLE_PERSON_ROLE).as_str(), "" | "OWNER");
    let owner = match text(tags::RESPONSIBLE_PERSON) {
        owner if owner.is_empty() || !is_owner => family.to_owned(),
        owner => owner.replace('^', " ").trim().to_owned(),
    };
    let words = |tag, code| match text(tag) {
        words if words.is_empty() => meaning(row, code),
        words => words,
    };
    let procedure = match of_step(tags::SCHEDULED_PROCEDURE_STEP_DESCRIPTION) {
        step if step.is_empty() => text(tags::REQUESTED_PROCEDURE_DESCRIPTION),
        step => step,
    };
    Some(Appointment {
        number: String::new(),
        time,
        horse: horse.to_owned(),
        horse_id: text(tags::PATIENT_ID),
        owner,
        species: words(tags::PATIENT_SPECIES_DESCRIPTION, tags::PATIENT_SPECIES_CODE_SEQUENCE),
        breed: words(tags::PATIENT_BREED_DESCRIPTION, tags::PATIENT_BREED_CODE_SEQUENCE),
        sex: Some(text(tags::PATIENT_SEX)).filter(|sex| is_sex(sex)).unwrap_or_default(),
        neutered: match text(tags::PATIENT_SEX_NEUTERED).as_str() {
            "ALTERED" => "yes".to_owned(),
            "UNALTERED" => "no".to_owned(),
            _ => String::new(),
        },
        born: NaiveDate::parse_from_str(&text(tags::PATIENT_BIRTH_DATE), "%Y%m%d")
            .map(|day| day.to_string())
            .unwrap_or_default(),
        accession: text(tags::ACCESSION_NUMBER),
        study: Some(text(tags::STUDY_INSTANCE_UID)).filter(|study| is_uid(study)).unwrap_or_default(),
        procedure,
    })
}
