//! Commands between two DICOM programs (PS3.7).
//!
//! Takes: command sets, which are always implicit little endian (PS3.7 6.3.1).
//! Gives: `Message`, and the bytes of one.
//! Never: more than the commands that are used here.
//! Tested in: here and `tests/it/exchange/network.rs`.

use dicom_core::value::PrimitiveValue;
use dicom_core::{DataElement, Tag, VR};
use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;
use dicom_transfer_syntax_registry::entries::IMPLICIT_VR_LITTLE_ENDIAN;
use dicom_ul::Pdu;
use dicom_ul::pdu::{PDataValue, PDataValueType};

use crate::exchange::still::number_of;
use crate::frames::element::text_of;

/// Longest command set that is read, in bytes.
pub(super) const COMMAND_BYTES_MAX: usize = 65_536;
/// Everything went well (PS3.7 C).
pub(super) const SUCCESS: u16 = 0x0000;
/// Storage: no room, or not now (PS3.4 B.2.3).
pub(super) const OUT_OF_RESOURCES: u16 = 0xA700;
/// Storage: the data are of another object than the command says.
pub(super) const NOT_THE_SAME: u16 = 0xA900;
/// Storage: the data cannot be read.
pub(super) const NOT_UNDERSTOOD: u16 = 0xC000;
/// The class or command is not served here.
pub(super) const NOT_SUPPORTED: u16 = 0x0122;

/// Value of Command Data Set Type that says that no data follow.
const NO_DATA: u16 = 0x0101;

/// What is asked or answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    Store,
    StoreAnswer,
    Echo,
    EchoAnswer,
    Find,
    FindAnswer,
    Event,
    EventAnswer,
    Action,
    ActionAnswer,
    Other(u16),
}

impl Kind {
    const fn field(self) -> u16 {
        match self {
            Kind::Store => 0x0001,
            Kind::StoreAnswer => 0x8001,
            Kind::Echo => 0x0030,
            Kind::EchoAnswer => 0x8030,
            Kind::Find => 0x0020,
            Kind::FindAnswer => 0x8020,
            Kind::Event => 0x0100,
            Kind::EventAnswer => 0x8100,
            Kind::Action => 0x0130,
            Kind::ActionAnswer => 0x8130,
            Kind::Other(field) => field,
        }
    }

    const fn of(field: u16) -> Kind {
        match field {
            0x0001 => Kind::Store,
            0x8001 => Kind::StoreAnswer,
            0x0030 => Kind::Echo,
            0x8030 => Kind::EchoAnswer,
            0x0020 => Kind::Find,
            0x8020 => Kind::FindAnswer,
            0x0100 => Kind::Event,
            0x8100 => Kind::EventAnswer,
            0x0130 => Kind::Action,
            0x8130 => Kind::ActionAnswer,
            field => Kind::Other(field),
        }
    }
}

/// One command.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Message {
    pub(super) kind: Kind,
    /// Its number; in an answer that of the request.
    pub(super) id: u16,
    /// SOP Class UID it speaks of.
    pub(super) class: String,
    /// SOP Instance UID it speaks of; empty where it speaks of none.
    pub(super) instance: String,
    /// How it went; of an answer.
    pub(super) status: u16,
    /// What the other side says of it in its own words; of an answer.
    pub(super) comment: Option<String>,
    /// Data follow.
    pub(super) has_data: bool,
    /// Which action or event; 0 where it is neither.
    pub(super) what: u16,
}

/// Why bytes are no command.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MessageError {
    /// They are no data set.
    #[error("a command that cannot be read: {0}")]
    Malformed(#[from] dicom_object::ReadError),
    /// They lack what each command has.
    #[error("a command without {0}")]
    Lacks(&'static str),
    /// They could not be written.
    #[error("a command cannot be written: {0}")]
    Write(#[from] dicom_object::WriteError),
}

/// A command or a data set that one PDU holds.
pub(super) fn in_one_pdu(context: u8, value_type: PDataValueType, data: Vec<u8>) -> Pdu {
    Pdu::PData {
        data: vec![PDataValue { presentation_context_id: context, value_type, is_last: true, data }],
    }
}

impl Message {
    /// A request without data.
    pub(super) fn new(kind: Kind, id: u16, class: &str, instance: &str) -> Message {
        let (class, instance) = (class.to_owned(), instance.to_owned());
        Message { kind, id, class, instance, status: SUCCESS, comment: None, has_data: false, what: 0 }
    }

    pub(super) fn read(bytes: &[u8]) -> Result<Message, MessageError> {
        let data = InMemDicomObject::read_dataset_with_ts(bytes, &IMPLICIT_VR_LITTLE_ENDIAN.erased())?;
        let number = |tag: Tag| number_of(&data, tag).and_then(|number| u16::try_from(number).ok());
        let text = |affected: Tag, requested: Tag| {
            text_of(&data, affected).or_else(|| text_of(&data, requested)).unwrap_or_default()
        };
        let kind = Kind::of(number(tags::COMMAND_FIELD).ok_or(MessageError::Lacks("its kind"))?);
        let id = number(tags::MESSAGE_ID).or_else(|| number(tags::MESSAGE_ID_BEING_RESPONDED_TO));
        let has_data =
            number(tags::COMMAND_DATA_SET_TYPE).ok_or(MessageError::Lacks("a word on its data"))? != NO_DATA;
        Ok(Message {
            kind,
            id: id.ok_or(MessageError::Lacks("a number"))?,
            class: text(tags::AFFECTED_SOP_CLASS_UID, tags::REQUESTED_SOP_CLASS_UID),
            instance: text(tags::AFFECTED_SOP_INSTANCE_UID, tags::REQUESTED_SOP_INSTANCE_UID),
            status: number(tags::STATUS).unwrap_or(SUCCESS),
            comment: text_of(&data, tags::ERROR_COMMENT),
            has_data,
            what: number(tags::ACTION_TYPE_ID).or_else(|| number(tags::EVENT_TYPE_ID)).unwrap_or(0),
        })
    }

    pub(super) fn bytes(&self) -> Result<Vec<u8>, MessageError> {
        let number = |tag, number: u16| DataElement::new(tag, VR::US, PrimitiveValue::from(number));
        let is_answer = self.kind.field() & 0x8000 != 0;
        // An action is requested of an instance; all else is said of one that it affects (PS3.7 10.3).
        let (class, instance) = match self.kind {
            Kind::Action => (tags::REQUESTED_SOP_CLASS_UID, tags::REQUESTED_SOP_INSTANCE_UID),
            _ => (tags::AFFECTED_SOP_CLASS_UID, tags::AFFECTED_SOP_INSTANCE_UID),
        };
        let uid = |tag, uid: &str| DataElement::new(tag, VR::UI, PrimitiveValue::from(uid));
        let mut elements = vec![
            uid(class, &self.class),
            number(tags::COMMAND_FIELD, self.kind.field()),
            number(tags::COMMAND_DATA_SET_TYPE, if self.has_data { 0 } else { NO_DATA }),
        ];
        if is_answer {
            elements.push(number(tags::MESSAGE_ID_BEING_RESPONDED_TO, self.id));
            elements.push(number(tags::STATUS, self.status));
        } else {
            elements.push(number(tags::MESSAGE_ID, self.id));
            if matches!(self.kind, Kind::Store | Kind::Find) {
                elements.push(number(tags::PRIORITY, 0));
            }
        }
        if !self.instance.is_empty() {
            elements.push(uid(instance, &self.instance));
        }
        match self.kind {
            Kind::Action | Kind::ActionAnswer => elements.push(number(tags::ACTION_TYPE_ID, self.what)),
            Kind::Event | Kind::EventAnswer => elements.push(number(tags::EVENT_TYPE_ID, self.what)),
            _ => {}
        }
        let data = InMemDicomObject::command_from_element_iter(elements);
        let mut bytes = Vec::new();
        data.write_dataset_with_ts(&mut bytes, &IMPLICIT_VR_LITTLE_ENDIAN.erased())?;
        Ok(bytes)
    }

    /// The answer to a request.
    pub(super) fn answer(&self, status: u16) -> Message {
        let kind = match self.kind {
            Kind::Store => Kind::StoreAnswer,
            Kind::Echo => Kind::EchoAnswer,
            Kind::Find => Kind::FindAnswer,
            Kind::Event => Kind::EventAnswer,
            Kind::Action => Kind::ActionAnswer,
            other => Kind::Other(other.field() | 0x8000),
        };
        Message { kind, status, has_data: false, ..self.clone() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_command_reads_back_as_it_was_written() {
        let class = "1.2.840.10008.5.1.4.1.1.6.1";
        let request = Message { has_data: true, ..Message::new(Kind::Store, 7, class, "2.25.1") };
        assert_eq!(Message::read(&request.bytes().unwrap()).unwrap(), request);
        let answer = request.answer(OUT_OF_RESOURCES);
        assert_eq!(Message::read(&answer.bytes().unwrap()).unwrap(), answer);
        assert!(Message::read(&[1, 2, 3]).is_err());
        let action = Message { what: 1, ..Message::new(Kind::Action, 8, "1.2.840.10008.1.20.1", "2.25.2") };
        assert_eq!(Message::read(&action.bytes().unwrap()).unwrap(), action);
    }
}
