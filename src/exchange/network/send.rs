//! Objects go to an archive: a storage service class user (PS3.4 annex B), and one that asks for an echo.
//!
//! Takes: DICOM files, and a peer.
//! Gives: for each file whether the peer has it.
//! Never: changes a file; takes an object for sent before the peer said so.
//! Tested in: `tests/it/exchange/network.rs`, with receivers that are not ours.

use std::collections::BTreeSet;
use std::io::Write;
use std::net::{Ipv4Addr, TcpStream, ToSocketAddrs as _};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use dicom_dictionary_std::{tags, uids};
use dicom_object::OpenFileOptions;
use dicom_ul::Pdu;
use dicom_ul::association::{ClientAssociation, ClientAssociationOptions};
use dicom_ul::pdu::{PDataValueType, PresentationContextResultReason};
use rustls::ClientConfig;

use super::message::{Kind, Message, MessageError, SUCCESS, in_one_pdu};
use super::status::{is_warning, refusal};
use super::tls::Tunnel;
use crate::frames::part10;
use crate::session::error::in_one_line;
use crate::terminal::ShownText as _;

/// Kinds of objects in one association: a presentation context has an odd number of one byte (PS3.8 9.3.2.2).
const KINDS_MAX: usize = 127;
/// Pause before each further try, in seconds.
pub(super) const PAUSES_S: [u64; 2] = [1, 5];

/// A DICOM program elsewhere.
#[derive(Debug, Clone)]
pub struct Peer {
    /// Name or address and port, such as `192.168.1.9:104`.
    pub address: String,
    /// Its AE title.
    pub ae_title: String,
    /// Our AE title.
    pub own_ae_title: String,
    /// How long to wait for an answer.
    pub patience: Duration,
    /// How to call it by TLS; without this what is said can be read on the way.
    pub tls: Option<Arc<ClientConfig>>,
}

/// A file to be sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Object {
    /// Its file.
    pub path: PathBuf,
    /// SOP Class UID.
    pub class: String,
    /// SOP Instance UID.
    pub instance: String,
    /// Transfer syntax.
    pub syntax: String,
}

/// What became of an object.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sent {
    /// The peer has it.
    Yes,
    /// The peer has it, and warns.
    Warned(u16),
    /// The peer does not take it.
    Refused(String),
}

/// Why sending stopped.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SendError {
    /// No connection, or it broke.
    #[error(
        "`{peer}` cannot be reached or broke off: {why}; check address, port and AE titles, and send again"
    )]
    Network {
        /// Whom.
        peer: String,
        /// Why, with its causes.
        why: String,
    },
    /// It turned us away.
    #[error("`{peer}` turned us away: {why}; check the AE titles, here and there")]
    Turned {
        /// Whom.
        peer: String,
        /// Why.
        why: String,
    },
    /// It does not do what was asked for.
    #[error("`{peer}` offers no such service; ask its makers, or name another computer")]
    NotOffered {
        /// Whom.
        peer: String,
    },
    /// It talks in a way that is none.
    #[error("`{peer}` answered something else than was asked: {what}")]
    Answer {
        /// Whom.
        peer: String,
        /// What.
        what: String,
    },
    /// A command could not be made.
    #[error(transparent)]
    Message(Box<MessageError>),
    /// A file cannot be read.
    #[error("cannot read `{path}`: {why}", path = path.shown())]
    File {
        /// The file.
        path: PathBuf,
        /// Why not.
        why: String,
    },
}

impl From<MessageError> for SendError {
    fn from(error: MessageError) -> Self {
        Self::Message(Box::new(error))
    }
}

/// What kept a peer from answering, as far as can be seen from here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PeerFault {
    /// Nothing listens there, or nothing can get there.
    Unreachable(String),
    /// It is there and does not let us in under these AE titles.
    Titles,
    /// Certificates do not fit.
    Certificate(String),
    /// It is there and does not do this.
    Service,
    /// Something else.
    Other(String),
}

impl PeerFault {
    /// What is wrong.
    #[must_use]
    pub fn in_words(&self) -> String {
        match self {
            PeerFault::Unreachable(why) => format!("nothing answers there ({why})"),
            PeerFault::Titles => {
                "it is there and turns us away: it does not know one of the AE titles".to_owned()
            }
            PeerFault::Certificate(why) => format!("it is there, but the certificates do not fit ({why})"),
            PeerFault::Service => "it is there, but answers no echo".to_owned(),
            PeerFault::Other(why) => why.clone(),
        }
    }

    /// What to do.
    #[must_use]
    pub const fn remedy(&self) -> &'static str {
        match self {
            PeerFault::Unreachable(_) => {
                "check address and port, that the computer is on, its program started, and no firewall between"
            }
            PeerFault::Titles => "enter our AE title and this computer there, and its AE title here",
            PeerFault::Certificate(_) => {
                "check which authority signed its certificate and ours, their dates and the computer's name in them"
            }
            PeerFault::Service => "ask its makers whether it serves Verification",
            PeerFault::Other(_) => "look in its log",
        }
    }
}

impl SendError {
    /// What kept the peer from answering.
    #[must_use]
    pub fn fault(&self) -> PeerFault {
        match self {
            SendError::Turned { .. } => PeerFault::Titles,
            SendError::NotOffered { .. } => PeerFault::Service,
            SendError::Network { why, .. } => match why.strip_prefix("TLS: ") {
                Some(why) => PeerFault::Certificate(why.to_owned()),
                None => PeerFault::Unreachable(why.clone()),
            },
            other => PeerFault::Other(other.to_string()),
        }
    }
}

impl Object {
    /// What a file holds.
    ///
    /// # Errors
    /// When it is no DICOM file.
    pub fn read(path: &Path) -> Result<Object, SendError> {
        let file = |why: String| SendError::File { path: path.to_owned(), why };
        let source = part10::open(path).map_err(|error| file(error.to_string()))?;
        let object = OpenFileOptions::new()
            .read_until(tags::STUDY_DATE)
            .from_reader(source)
            .map_err(|error| file(error.to_string()))?;
        let name = |text: &str| text.trim_end_matches(['\0', ' ']).to_owned();
        let meta = object.meta();
        Ok(Object {
            path: path.to_owned(),
            class: name(meta.media_storage_sop_class_uid()),
            instance: name(meta.media_storage_sop_instance_uid()),
            syntax: name(meta.transfer_syntax()),
        })
    }
}

impl Peer {
    pub(super) fn failed(&self, error: &(dyn std::error::Error + 'static)) -> SendError {
        use dicom_ul::association::Error::{NoAcceptedPresentationContexts, Rejected};
        let peer = self.address.clone();
        match error.downcast_ref() {
            Some(NoAcceptedPresentationContexts { .. }) => return SendError::NotOffered { peer },
            Some(Rejected { .. }) => return SendError::Turned { peer, why: error.to_string() },
            _ => {}
        }
        SendError::Network { peer, why: in_one_line(error) }
    }

    pub(super) fn options(&self) -> ClientAssociationOptions<'_> {
        ClientAssociationOptions::new()
            .calling_ae_title(self.own_ae_title.as_str())
            .called_ae_title(self.ae_title.as_str())
            .read_timeout(self.patience)
            .write_timeout(self.patience)
            .connection_timeout(self.patience)
    }

    pub(super) fn connect(
        &self,
        options: ClientAssociationOptions<'_>,
    ) -> Result<ClientAssociation<TcpStream>, SendError> {
        let Some(config) = &self.tls else {
            return options.establish(self.address.as_str()).map_err(|error| self.failed(&error));
        };
        let tunnel = self.tunnel(config).map_err(|error| self.failed(&error))?;
        options.establish((Ipv4Addr::LOCALHOST, tunnel.port)).map_err(|error| {
            // What the other side says of our certificate comes only now.
            match tunnel.fault() {
                Some(why) => SendError::Network { peer: self.address.clone(), why: format!("TLS: {why}") },
                None => self.failed(&error),
            }
        })
    }

    fn tunnel(&self, config: &Arc<ClientConfig>) -> std::io::Result<Tunnel> {
        let (host, _) = self.address.rsplit_once(':').unwrap_or((&self.address, ""));
        let mut last = std::io::Error::other("the address names no computer");
        for address in self.address.to_socket_addrs()? {
            match TcpStream::connect_timeout(&address, self.patience) {
                Ok(socket) => {
                    let name = host.trim_matches(['[', ']']);
                    return Tunnel::open(config, name, socket, self.patience)
                        .map_err(|error| std::io::Error::other(format!("TLS: {error}")));
                }
                Err(error) => last = error,
            }
        }
        Err(last)
    }

    /// Asks whether the peer is there and talks to us.
    ///
    /// # Errors
    /// When it does not.
    pub fn echo(&self) -> Result<(), SendError> {
        let association = self.connect(self.options().with_abstract_syntax(uids::VERIFICATION))?;
        let mut talk = Talk { peer: self, association };
        let request = Message::new(Kind::Echo, 1, uids::VERIFICATION, "");
        let context = talk.association.presentation_contexts().first().map_or(1, |context| context.id);
        let status = talk.ask(&request, context, None)?;
        talk.association.release().map_err(|error| self.failed(&error))?;
        if status == SUCCESS { Ok(()) } else { Err(answered(self, refusal(status, None))) }
    }

    /// Sends objects in order, and goes on after a break; `report` learns of each as it is done.
    ///
    /// # Errors
    /// When the peer cannot be reached after further tries; what was reported is done.
    pub fn send(&self, objects: &[Object], report: &mut dyn FnMut(&Object, &Sent)) -> Result<(), SendError> {
        let mut done = 0;
        let mut tries = PAUSES_S.iter();
        while let Some(rest) = objects.get(done..).filter(|rest| !rest.is_empty()) {
            let before = done;
            let sent = self.send_some(rest, &mut |object, sent| {
                done += 1;
                report(object, sent);
            });
            if done > before {
                tries = PAUSES_S.iter();
            }
            if let Err(error) = sent {
                let pause = tries.next().filter(|_| matches!(error, SendError::Network { .. }));
                std::thread::sleep(Duration::from_secs(*pause.ok_or(error)?));
            }
        }
        Ok(())
    }

    /// As many objects as one association can speak of.
    fn send_some(&self, objects: &[Object], report: &mut dyn FnMut(&Object, &Sent)) -> Result<(), SendError> {
        let mut kinds: BTreeSet<(&str, &str)> = BTreeSet::new();
        let mut count = 0;
        for object in objects {
            kinds.insert((&object.class, &object.syntax));
            if kinds.len() > KINDS_MAX {
                kinds.remove(&(object.class.as_str(), object.syntax.as_str()));
                break;
            }
            count += 1;
        }
        let mut options = self.options();
        for (class, syntax) in &kinds {
            options = options.with_presentation_context(*class, vec![*syntax]);
        }
        let association = match self.connect(options) {
            Ok(association) => association,
            Err(SendError::NotOffered { .. }) => {
                for object in &objects[..count] {
                    report(object, &Sent::Refused("none of these kinds of objects is taken".to_owned()));
                }
                return Ok(());
            }
            Err(error) => return Err(error),
        };
        let mut talk = Talk { peer: self, association };
        for (id, object) in (1_u16..).zip(&objects[..count]) {
            let sent = talk.store(object, id).or_else(unread)?;
            report(object, &sent);
        }
        talk.association.release().map_err(|error| self.failed(&error))
    }
}

/// A file that cannot be read any more is one refusal: the others still go.
pub(super) fn unread(error: SendError) -> Result<Sent, SendError> {
    match error {
        SendError::File { .. } => Ok(Sent::Refused(error.to_string())),
        error => Err(error),
    }
}

pub(super) fn answered(peer: &Peer, what: String) -> SendError {
    SendError::Answer { peer: peer.address.clone(), what }
}

pub(super) struct Talk<'a> {
    pub(super) peer: &'a Peer,
    pub(super) association: ClientAssociation<TcpStream>,
}

impl Talk<'_> {
    fn store(&mut self, object: &Object, id: u16) -> Result<Sent, SendError> {
        let context = self.association.presentation_contexts().iter().find(|context| {
            context.reason == PresentationContextResultReason::Acceptance
                && context.abstract_syntax.trim_end_matches('\0') == object.class
                && context.transfer_syntax.trim_end_matches('\0') == object.syntax
        });
        let Some(context) = context.map(|context| context.id) else {
            return Ok(Sent::Refused("this kind of object, or its compression, is not taken".to_owned()));
        };
        let data = data_of(object)?;
        let request =
            Message { has_data: true, ..Message::new(Kind::Store, id, &object.class, &object.instance) };
        let answer = self.answer_to(&request, context, Some(&data))?;
        Ok(match answer.status {
            SUCCESS => Sent::Yes,
            status if is_warning(status) => Sent::Warned(status),
            status => Sent::Refused(refusal(status, answer.comment.as_deref())),
        })
    }

    /// Sends a request with its data; gives the status of the answer.
    pub(super) fn ask(
        &mut self,
        request: &Message,
        context: u8,
        data: Option<&[u8]>,
    ) -> Result<u16, SendError> {
        Ok(self.answer_to(request, context, data)?.status)
    }

    /// Sends a request with its data; gives the answer.
    fn answer_to(
        &mut self,
        request: &Message,
        context: u8,
        data: Option<&[u8]>,
    ) -> Result<Message, SendError> {
        let command = in_one_pdu(context, PDataValueType::Command, request.bytes()?);
        let failed = |error: &(dyn std::error::Error + 'static)| self.peer.failed(error);
        self.association.send(&command).map_err(|error| failed(&error))?;
        if let Some(data) = data {
            let mut writer = self.association.send_pdata(context);
            writer.write_all(data).and_then(|()| writer.finish()).map_err(|error| failed(&error))?;
        }
        let mut answer = Vec::new();
        loop {
            match self.association.receive().map_err(|error| failed(&error))? {
                Pdu::PData { data } => {
                    for part in data {
                        answer.extend(&part.data);
                        if part.is_last {
                            let answer = Message::read(&answer)?;
                            if answer.id == request.id && answer.kind == request.answer(SUCCESS).kind {
                                return Ok(answer);
                            }
                            return Err(answered(self.peer, format!("{answer:?}")));
                        }
                    }
                }
                Pdu::AbortRQ { source } => {
                    let why = format!("it broke off ({source:?})");
                    return Err(SendError::Network { peer: self.peer.address.clone(), why });
                }
                other => return Err(answered(self.peer, other.short_description().to_string())),
            }
        }
    }
}

/// The file of an object, with a head where it has none, inflated where it is deflated.
pub(super) fn file_of(object: &Object) -> Result<Vec<u8>, SendError> {
    let read = std::fs::read(&object.path).and_then(part10::whole);
    read.map_err(|error| SendError::File { path: object.path.clone(), why: error.to_string() })
}

/// The data set of a file, as it is after its head (PS3.10 7.1).
fn data_of(object: &Object) -> Result<Vec<u8>, SendError> {
    let failed = |why: &str| SendError::File { path: object.path.clone(), why: why.to_owned() };
    let mut bytes = file_of(object)?;
    // 128 bytes, `DICM`, then group length: tag 4, representation 2, length 2, value 4.
    let length =
        bytes.get(140..144).and_then(|length| <[u8; 4]>::try_from(length).ok()).map(u32::from_le_bytes);
    let start = length.and_then(|length| usize::try_from(length).ok()).map(|length| 144 + length);
    let start = start.filter(|start| *start <= bytes.len() && bytes.get(132..136) == Some(&[2, 0, 0, 0]));
    let start = start.ok_or_else(|| failed("its head states no length"))?;
    bytes.drain(..start);
    Ok(bytes)
}
