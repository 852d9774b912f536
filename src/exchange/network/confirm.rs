//! Asks an archive whether it keeps what it got, and tells a scanner that asked (PS3.4 annex J).
//!
//! Takes: a peer, and the objects that were sent or a report on what is here.
//! Gives: the instances that the peer promises to keep.
//! Never: takes silence for a promise.
//! Tested in: `tests/it/exchange/commitment.rs`, with an archive that is not ours.

use std::collections::BTreeSet;
use std::net::TcpStream;

use dicom_dictionary_std::uids;
use dicom_transfer_syntax_registry::TransferSyntax;
use dicom_ul::association::ClientAssociation;

use super::commitment::{CLASS, CommitRequest, INSTANCE, Named, REQUEST, Report, syntax_of};
use super::message::{Kind, Message, SUCCESS};
use super::reports::{ReportPort, receive};
use super::send::{Object, Peer, SendError, Talk, answered};
use super::status::refusal;

impl Peer {
    /// Tells a peer that asked before what is kept, in an association of its own (PS3.4 J.3.3).
    pub(super) fn report(&self, report: &Report) -> Result<(), SendError> {
        let syntaxes = vec![uids::EXPLICIT_VR_LITTLE_ENDIAN, uids::IMPLICIT_VR_LITTLE_ENDIAN];
        let options = self.options().with_presentation_context(CLASS, syntaxes);
        // Who calls is not who asked: the roles are turned round.
        let mut talk =
            Talk { peer: self, association: self.connect(options.with_role_selection(CLASS, false, true))? };
        let (context, syntax) = agreed(&talk.association);
        let data = report.bytes(&syntax).map_err(|why| answered(self, why))?;
        let status = talk.ask(&report.message(1), context, Some(&data))?;
        talk.association.release().map_err(|error| self.failed(&error))?;
        if status == SUCCESS { Ok(()) } else { Err(answered(self, refusal(status, None))) }
    }

    /// Asks a peer to confirm that it keeps these objects; gives the instances that it promises to keep, from what comes
    /// on the same association or from what `elsewhere` waits for. None where the peer has no such service.
    ///
    /// # Errors
    /// When the peer cannot be reached, refuses, or does not report in time.
    pub fn commit(
        &self,
        objects: &[Object],
        transaction: &str,
        elsewhere: Option<&ReportPort>,
    ) -> Result<Option<BTreeSet<String>>, SendError> {
        let asked = CommitRequest {
            transaction: transaction.to_owned(),
            objects: objects
                .iter()
                .map(|object| Named { class: object.class.clone(), instance: object.instance.clone() })
                .collect(),
        };
        let syntaxes = vec![uids::EXPLICIT_VR_LITTLE_ENDIAN, uids::IMPLICIT_VR_LITTLE_ENDIAN];
        let association = match self.connect(self.options().with_presentation_context(CLASS, syntaxes)) {
            Ok(association) => association,
            Err(SendError::NotOffered { .. }) => return Ok(None),
            Err(error) => return Err(error),
        };
        let mut talk = Talk { peer: self, association };
        let (context, syntax) = agreed(&talk.association);
        let data = asked.bytes(&syntax).map_err(|why| answered(self, why))?;
        let request =
            Message { has_data: true, what: REQUEST, ..Message::new(Kind::Action, 1, CLASS, INSTANCE) };
        let status = talk.ask(&request, context, Some(&data))?;
        if status != SUCCESS {
            return Err(answered(self, format!("asked whether it keeps them, {}", refusal(status, None))));
        }
        let report = match elsewhere {
            Some(port) => {
                talk.association.release().map_err(|error| self.failed(&error))?;
                port.wait(transaction).map_err(|why| answered(self, why))?
            }
            None => {
                let report = receive(&mut talk.association).map_err(|why| answered(self, why))?;
                talk.association.release().map_err(|error| self.failed(&error))?;
                report
            }
        };
        if report.transaction != transaction {
            return Err(answered(self, "a report on something else".to_owned()));
        }
        Ok(Some(report.kept.into_iter().map(|named| named.instance).collect()))
    }
}

/// The one context of an association, and its transfer syntax.
pub(super) fn agreed(association: &ClientAssociation<TcpStream>) -> (u8, TransferSyntax) {
    let context = association.presentation_contexts().first();
    context.map_or((1, syntax_of("")), |context| (context.id, syntax_of(&context.transfer_syntax)))
}
