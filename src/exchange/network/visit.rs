//! One connection of a sender, from command to command.
//!
//! Takes: an association that was agreed on.
//! Gives: objects into the inbox, an answer to each command, a line in the log for each object.
//! Never: says that an object is kept before it is on the disk.
//! Tested in: `tests/it/exchange/network.rs`, with senders that are not ours.

use std::collections::BTreeSet;
use std::net::{SocketAddr, TcpStream};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};

use chrono::Utc;
use dicom_transfer_syntax_registry::TransferSyntax;
use dicom_ul::Pdu;
use dicom_ul::association::{Association as _, ServerAssociation};
use dicom_ul::pdu::{PDataValue, PDataValueType, PresentationContextResultReason};

use super::commitment::{self, CommitRequest, Report, syntax_of};
use super::inbox::{Coming, Inbox, InboxError, InboxOutcome, ReceivedObject};
use super::limits::ReceiveLimits;
use super::message::{
    COMMAND_BYTES_MAX, Kind, Message, NOT_SUPPORTED, NOT_THE_SAME, NOT_UNDERSTOOD, OUT_OF_RESOURCES, SUCCESS,
    in_one_pdu,
};
use super::send::Peer;
use crate::frames::dicom as still;
use crate::frames::no_picture::is_without_pixels;
use crate::session::error::in_one_line;

/// What all connections share.
#[derive(Debug)]
pub(super) struct Reception {
    pub(super) limits: ReceiveLimits,
    pub(super) inbox: Inbox,
    pub(super) folder: PathBuf,
    /// For files that name no time zone.
    pub(super) utc_offset_s: i32,
    /// Objects so far.
    pub(super) objects: AtomicU64,
    /// Who learns what is kept on an association of its own.
    pub(super) reports_to: Vec<Peer>,
}

/// Why a connection ended.
#[derive(Debug, thiserror::Error)]
pub(super) enum Ended {
    #[error("{}", in_one_line(.0))]
    Network(#[from] dicom_ul::association::Error),
    #[error("{0}")]
    Message(#[from] super::message::MessageError),
    #[error("{0}")]
    Protocol(&'static str),
}

impl Reception {
    fn refused(&self, from: &str, peer: SocketAddr, instance: &str, why: &str) -> ReceivedObject {
        ReceivedObject {
            at: Utc::now(),
            from: from.to_owned(),
            address: peer.to_string(),
            instance: instance.to_owned(),
            outcome: InboxOutcome::Refused,
            file: None,
            bytes: None,
            sha256: None,
            saved_at: None,
            why: why.to_owned(),
        }
    }

    /// A refusal, into the log.
    pub(super) fn refuse(
        &self,
        from: &str,
        peer: SocketAddr,
        instance: &str,
        why: &str,
        seen: &(dyn Fn(&ReceivedObject) + Sync),
    ) {
        self.log(&self.refused(from, peer, instance, why), seen);
    }

    /// Writes a line of the log; false where it cannot be written, which is told.
    fn log(&self, arrival: &ReceivedObject, seen: &(dyn Fn(&ReceivedObject) + Sync)) -> bool {
        if let Err(error) = self.inbox.note(arrival) {
            let (outcome, why) = (InboxOutcome::Refused, error.to_string());
            seen(&ReceivedObject { outcome, why, ..arrival.clone() });
            return false;
        }
        seen(arrival);
        true
    }
}

/// Where a talk with a sender is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum VisitStep {
    /// More may come.
    GoesOn,
    /// The sender is done.
    Ended,
    /// The sender gave up.
    BrokenOff,
}

/// The status that refuses an object, and why.
type Refusal = (u16, String);

/// One connection.
pub(super) struct Visit<'a> {
    reception: &'a Reception,
    pub(super) association: ServerAssociation<TcpStream>,
    peer: SocketAddr,
    pub(super) from: String,
    /// It gave a command.
    pub(super) has_spoken: bool,
    /// The transfer syntaxes of what it sent, whatever became of it.
    pub(super) came: BTreeSet<String>,
    command: Vec<u8>,
    /// The object that comes in, with its command; without a file where it was refused but its data still come.
    coming: Option<(Message, Result<Coming, Refusal>)>,
    /// A question whether objects are kept, as it comes in.
    asking: Option<(Message, Vec<u8>)>,
    seen: &'a (dyn Fn(&ReceivedObject) + Sync),
}

impl<'a> Visit<'a> {
    pub(super) fn new(
        reception: &'a Reception,
        association: ServerAssociation<TcpStream>,
        peer: SocketAddr,
        from: String,
        seen: &'a (dyn Fn(&ReceivedObject) + Sync),
    ) -> Visit<'a> {
        Visit {
            reception,
            association,
            peer,
            from,
            has_spoken: false,
            came: BTreeSet::new(),
            command: Vec::new(),
            coming: None,
            asking: None,
            seen,
        }
    }

    /// Takes one PDU.
    pub(super) fn next(&mut self) -> Result<VisitStep, Ended> {
        match self.association.receive()? {
            Pdu::PData { data } => {
                for part in data {
                    self.part(part)?;
                }
                Ok(VisitStep::GoesOn)
            }
            Pdu::ReleaseRQ => {
                self.association.send(&Pdu::ReleaseRP)?;
                Ok(VisitStep::Ended)
            }
            Pdu::AbortRQ { .. } if self.coming.is_some() => {
                Err(Ended::Protocol("broken off in the middle of an object"))
            }
            Pdu::AbortRQ { .. } => Ok(VisitStep::BrokenOff),
            _ => Err(Ended::Protocol("a message that has no place here")),
        }
    }

    fn part(&mut self, part: PDataValue) -> Result<(), Ended> {
        match part.value_type {
            PDataValueType::Command => {
                if self.command.len() + part.data.len() > COMMAND_BYTES_MAX {
                    return Err(Ended::Protocol("a command longer than any command is"));
                }
                self.command.extend(&part.data);
                if part.is_last {
                    let message = Message::read(&std::mem::take(&mut self.command))?;
                    self.command(message, part.presentation_context_id)?;
                }
                Ok(())
            }
            PDataValueType::Data => self.data(&part),
        }
    }

    fn command(&mut self, message: Message, context: u8) -> Result<(), Ended> {
        self.has_spoken = true;
        if self.coming.is_some() || self.asking.is_some() {
            return Err(Ended::Protocol("a command before the data of the last one had come"));
        }
        match message.kind {
            Kind::Echo => self.answer(&message, SUCCESS, context),
            Kind::Store if message.has_data => {
                let begun = self.begin(&message, context);
                self.coming = Some((message, begun));
                Ok(())
            }
            Kind::Action if message.has_data && message.class == commitment::CLASS => {
                self.asking = Some((message, Vec::new()));
                Ok(())
            }
            // The answer to our report.
            Kind::EventAnswer => Ok(()),
            _ if message.has_data => Err(Ended::Protocol("a command that is not served here")),
            _ => self.answer(&message, NOT_SUPPORTED, context),
        }
    }

    fn begin(&mut self, message: &Message, context: u8) -> Result<Coming, Refusal> {
        let reception = self.reception;
        let agreed =
            self.association.presentation_contexts().iter().find(|known| {
                known.id == context && known.reason == PresentationContextResultReason::Acceptance
            });
        let Some(agreed) =
            agreed.filter(|agreed| agreed.abstract_syntax.trim_end_matches('\0') == message.class)
        else {
            return Err((NOT_SUPPORTED, "its class was not agreed on".to_owned()));
        };
        let syntax = agreed.transfer_syntax.trim_end_matches('\0');
        self.came.insert(syntax.to_owned());
        if reception.objects.fetch_add(1, Ordering::Relaxed) >= reception.limits.objects_max {
            return Err((
                OUT_OF_RESOURCES,
                format!("more than {} objects in one run", reception.limits.objects_max),
            ));
        }
        reception
            .inbox
            .begin(&message.class, &message.instance, syntax)
            .map_err(|error| (status_of(&error), error.to_string()))
    }

    fn data(&mut self, part: &PDataValue) -> Result<(), Ended> {
        if let Some((_, asked)) = &mut self.asking {
            if asked.len() + part.data.len() > commitment::BYTES_MAX {
                return Err(Ended::Protocol("a question longer than any is"));
            }
            asked.extend(&part.data);
            return if part.is_last { self.commit(part.presentation_context_id) } else { Ok(()) };
        }
        let max = self.reception.limits.object_bytes_max;
        let Some((_, coming)) = &mut self.coming else {
            return Err(Ended::Protocol("data without a command"));
        };
        if let Ok(file) = coming {
            if file.bytes + part.data.len() as u64 > max {
                return Err(Ended::Protocol("an object larger than is taken"));
            }
            if let Err(error) = file.write(&part.data) {
                *coming = Err((status_of(&error), error.to_string()));
            }
        }
        if !part.is_last {
            return Ok(());
        }
        let Some((message, coming)) = self.coming.take() else { return Ok(()) };
        let (status, arrival) = self.settle(&message, coming);
        let is_logged = self.reception.log(&arrival, self.seen);
        // Kept, on the disk and in the log, or refused: only now the sender may forget it. A still without its line would never
        // be confirmed, so it is to be sent again; its file is known then.
        let status = if status == SUCCESS && !is_logged { OUT_OF_RESOURCES } else { status };
        self.answer(&message, status, part.presentation_context_id)
    }

    /// Answers whether objects are kept: at once that the question came, then with a report.
    fn commit(&mut self, context: u8) -> Result<(), Ended> {
        let Some((message, bytes)) = self.asking.take() else { return Ok(()) };
        let known = self.association.presentation_contexts().iter().find(|known| known.id == context);
        let syntax = syntax_of(known.map_or("", |known| &known.transfer_syntax));
        let is_plain = message.what == commitment::REQUEST && message.instance == commitment::INSTANCE;
        let asked = match CommitRequest::read(&bytes, &syntax) {
            Ok(asked) if is_plain => asked,
            other => {
                let why = other.err().unwrap_or_else(|| "an action that is none".to_owned());
                self.reception.refuse(&self.from, self.peer, "", &why, self.seen);
                return self.answer(&message, NOT_UNDERSTOOD, context);
            }
        };
        self.answer(&message, SUCCESS, context)?;
        // Whole files are looked at, which takes its time: the answer does not wait for it.
        let report = asked.held_by(&self.reception.folder, &self.reception.inbox.logged());
        let sent = match self.reception.reports_to.iter().find(|peer| peer.ae_title == self.from) {
            Some(peer) => peer.report(&report).map_err(|error| error.to_string()),
            None => self.report(&report, context, &syntax),
        };
        let noted = ReceivedObject {
            outcome: InboxOutcome::Asked,
            why: report.in_words(),
            ..self.reception.refused(&self.from, self.peer, "", "")
        };
        match sent {
            Ok(()) => {
                self.reception.log(&noted, self.seen);
            }
            Err(why) => {
                let why = format!("{}, but the answer did not arrive: {why}", noted.why);
                self.reception.refuse(&self.from, self.peer, "", &why, self.seen);
            }
        }
        Ok(())
    }

    /// The report on the association on which it was asked for.
    fn report(&mut self, report: &Report, context: u8, syntax: &TransferSyntax) -> Result<(), String> {
        let command = report.message(1).bytes().map_err(|error| error.to_string())?;
        let parts = [(PDataValueType::Command, command), (PDataValueType::Data, report.bytes(syntax)?)];
        for (value_type, data) in parts {
            // A PDU holds no more than the other side takes; each part has a head of six bytes (PS3.8 9.3.5.1).
            let most = usize::try_from(self.association.peer_max_pdu_length()).unwrap_or(0);
            let most = if most == 0 { data.len().max(1) } else { most.saturating_sub(6).max(1) };
            let mut rest = data.as_slice();
            loop {
                let (now, later) = rest.split_at(most.min(rest.len()));
                rest = later;
                let part = PDataValue {
                    presentation_context_id: context,
                    value_type: value_type.clone(),
                    is_last: rest.is_empty(),
                    data: now.to_vec(),
                };
                self.association.send(&Pdu::PData { data: vec![part] }).map_err(|error| error.to_string())?;
                if rest.is_empty() {
                    break;
                }
            }
        }
        Ok(())
    }

    /// Judges an object that is here as a whole, and keeps it.
    fn settle(&self, message: &Message, coming: Result<Coming, Refusal>) -> (u16, ReceivedObject) {
        let refused = |status: u16, why: &str| {
            (status, self.reception.refused(&self.from, self.peer, &message.instance, why))
        };
        let mut coming = match coming {
            Ok(coming) => coming,
            Err((status, why)) => return refused(status, &why),
        };
        let path = match coming.flush() {
            Ok(path) => path.to_owned(),
            Err(error) => return refused(status_of(&error), &error.to_string()),
        };
        let head = match still::read(&path, self.reception.utc_offset_s) {
            Ok(head) => head,
            Err(problem) => return refused(NOT_UNDERSTOOD, &problem.message),
        };
        if head.id.as_deref() != Some(message.instance.as_str()) {
            return refused(NOT_THE_SAME, "its data name another object than its command");
        }
        if is_without_pixels(&path) {
            return refused(NOT_UNDERSTOOD, "it holds no picture");
        }
        let bytes = coming.bytes;
        match self.reception.inbox.keep(coming, &message.instance) {
            Ok((outcome, path, sha256)) => {
                let file = path.strip_prefix(&self.reception.folder).unwrap_or(&path).display().to_string();
                let mut arrival = self.reception.refused(&self.from, self.peer, &message.instance, "");
                arrival.outcome = outcome;
                arrival.file = Some(file);
                arrival.bytes = Some(bytes);
                arrival.sha256 = Some(sha256);
                arrival.saved_at = head.saved_at;
                let problems: Vec<&str> =
                    head.problems.iter().map(|problem| problem.message.as_str()).collect();
                arrival.why = match outcome {
                    InboxOutcome::Beside => {
                        "another object of the same name, but with other content, was here already".to_owned()
                    }
                    _ => problems.join("; "),
                };
                (SUCCESS, arrival)
            }
            Err(error) => refused(status_of(&error), &error.to_string()),
        }
    }

    fn answer(&mut self, message: &Message, status: u16, context: u8) -> Result<(), Ended> {
        let answer = message.answer(status).bytes()?;
        self.association.send(&in_one_pdu(context, PDataValueType::Command, answer))?;
        Ok(())
    }
}

fn status_of(error: &InboxError) -> u16 {
    match error {
        InboxError::NoUid(_) | InboxError::Head(_) => NOT_UNDERSTOOD,
        _ => OUT_OF_RESOURCES,
    }
}
