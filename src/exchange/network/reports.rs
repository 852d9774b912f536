//! A port that waits for one report: archives tell on an association of their own what they keep.
//!
//! Takes: a port, and the AE title that the report must come from.
//! Gives: the report on one transaction.
//! Never: anything else than that report, or a wait without an end.
//! Tested in: `tests/it/exchange/commitment.rs`, with an archive that is not ours.

use std::io::ErrorKind;
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::sync::Arc;
use std::time::{Duration, Instant};

use dicom_dictionary_std::uids;
use dicom_ul::Pdu;
use dicom_ul::association::server::Negotiation;
use dicom_ul::association::{ServerAssociationOptions, SyncAssociation};
use dicom_ul::pdu::{PDataValueType, RequestorRoles};
use rustls::ServerConfig;

use super::commitment::{BYTES_MAX, CLASS, Report, syntax_of};
use super::message::{Kind, Message, SUCCESS, in_one_pdu};
use super::tls;

/// How often the port is looked at.
const LOOK: Duration = Duration::from_millis(20);

/// The port.
#[derive(Debug)]
pub struct ReportPort {
    listener: TcpListener,
    /// Our AE title.
    own_ae_title: String,
    patience: Duration,
    tls: Option<Arc<ServerConfig>>,
}

/// Whoever calls here reports: it is the provider, and we asked.
struct Reporting;

impl Negotiation for Reporting {
    fn negotiate_roles(&self, _: &str, scu_role: bool, scp_role: bool) -> Option<RequestorRoles> {
        Some(RequestorRoles { scu: scu_role, scp: scp_role })
    }
}

impl ReportPort {
    /// Opens the port on all addresses of this machine.
    ///
    /// # Errors
    /// When something else has it.
    pub fn open(
        port: u16,
        own_ae_title: &str,
        patience: Duration,
        tls: Option<Arc<ServerConfig>>,
    ) -> std::io::Result<ReportPort> {
        let listener = TcpListener::bind((Ipv4Addr::UNSPECIFIED, port))?;
        listener.set_nonblocking(true)?;
        Ok(ReportPort { listener, own_ae_title: own_ae_title.to_owned(), patience, tls })
    }

    /// Waits for the report on this transaction; who comes with something else is sent away.
    pub(super) fn wait(&self, transaction: &str) -> Result<Report, String> {
        let until = Instant::now() + self.patience;
        let mut last = "nobody called".to_owned();
        while Instant::now() < until {
            match self.listener.accept() {
                Ok((socket, _)) => match self.take(socket) {
                    Ok(report) if report.transaction == transaction => return Ok(report),
                    Ok(_) => "a report on something else came".clone_into(&mut last),
                    Err(why) => last = why,
                },
                Err(error) if error.kind() == ErrorKind::WouldBlock => std::thread::sleep(LOOK),
                Err(error) => return Err(error.to_string()),
            }
        }
        Err(format!(
            "no report within {} s ({last}); enter this computer, its AE title and port there",
            self.patience.as_secs()
        ))
    }

    fn take(&self, socket: TcpStream) -> Result<Report, String> {
        socket.set_nonblocking(false).map_err(|error| error.to_string())?;
        let socket = match &self.tls {
            Some(config) => {
                tls::accept(config, socket, self.patience).map_err(|error| format!("TLS: {error}"))?
            }
            None => socket,
        };
        let options = ServerAssociationOptions::new()
            .ae_title(self.own_ae_title.as_str())
            .accept_called_ae_title()
            .read_timeout(self.patience)
            .write_timeout(self.patience)
            .with_abstract_syntax(CLASS)
            .with_transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN)
            .with_transfer_syntax(uids::IMPLICIT_VR_LITTLE_ENDIAN)
            .with_negotiation(Reporting);
        let mut association = options.establish(socket).map_err(|error| error.to_string())?;
        let report = receive(&mut association);
        // It may be gone already; what it said counts all the same.
        if let Ok(Pdu::ReleaseRQ) = association.receive() {
            let _ = association.send(&Pdu::ReleaseRP);
        }
        report
    }
}

/// Takes the one report that comes next on an association, and answers it.
pub(super) fn receive<A: SyncAssociation<TcpStream>>(association: &mut A) -> Result<Report, String> {
    let (mut command, mut data) = (Vec::new(), Vec::new());
    let mut event: Option<Message> = None;
    loop {
        let parts = match SyncAssociation::receive(association).map_err(|error| error.to_string())? {
            Pdu::PData { data } => data,
            other => return Err(format!("it said {} and no report", other.short_description())),
        };
        for part in parts {
            let is_command = part.value_type == PDataValueType::Command;
            let whole = if is_command { &mut command } else { &mut data };
            whole.extend(&part.data);
            if whole.len() > BYTES_MAX {
                return Err("a report longer than any is".to_owned());
            }
            if !part.is_last {
                continue;
            }
            let bytes = std::mem::take(whole);
            if is_command {
                let message = Message::read(&bytes).map_err(|error| error.to_string())?;
                event = Some(message).filter(|message| message.kind == Kind::Event);
                continue;
            }
            let event = event.take().ok_or("data without a report")?;
            let id = part.presentation_context_id;
            let known = association.presentation_contexts().iter().find(|known| known.id == id);
            let report = Report::read(&bytes, &syntax_of(known.map_or("", |known| &known.transfer_syntax)))?;
            let answer = event.answer(SUCCESS).bytes().map_err(|error| error.to_string())?;
            SyncAssociation::send(association, &in_one_pdu(id, PDataValueType::Command, answer))
                .map_err(|error| error.to_string())?;
            return Ok(report);
        }
    }
}
