//! A scanner sends its stills here: a storage service class provider (PS3.4 annex B), and one that answers echoes.
//!
//! Takes: connections to a port, from peers that are allowed.
//! Gives: whole files in a folder, each on the disk before the sender hears of it.
//! Never: more than its limits say: of open connections, of bytes, of objects, of time.
//! Tested in: `tests/it/exchange/network.rs`, with senders that are not ours.

use std::io::ErrorKind;
use std::net::{IpAddr, SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use chrono::Utc;
use dicom_dictionary_std::uids;
use dicom_ul::Pdu;
use dicom_ul::association::server::AccessControl;
use dicom_ul::association::{Association, ServerAssociation, ServerAssociationOptions};
use dicom_ul::pdu::{
    AssociationRJServiceUserReason, PDataValue, PDataValueType, PresentationContextResultReason, UserIdentity,
};

use super::inbox::{Coming, Inbox, InboxError, InboxOutcome, ReceivedObject};
use super::message::{
    COMMAND_BYTES_MAX, Kind, Message, NOT_SUPPORTED, NOT_THE_SAME, NOT_UNDERSTOOD, OUT_OF_RESOURCES, SUCCESS,
};
use crate::frames::dicom as still;

/// What a scanner of this kind saves (PS3.4 B.5): pictures, loops, and what it photographed off its screen.
const CLASSES: [&str; 9] = [
    uids::ULTRASOUND_IMAGE_STORAGE,
    uids::ULTRASOUND_MULTI_FRAME_IMAGE_STORAGE,
    RETIRED_IMAGE,
    RETIRED_MULTI_FRAME,
    uids::SECONDARY_CAPTURE_IMAGE_STORAGE,
    uids::MULTI_FRAME_SINGLE_BIT_SECONDARY_CAPTURE_IMAGE_STORAGE,
    uids::MULTI_FRAME_GRAYSCALE_BYTE_SECONDARY_CAPTURE_IMAGE_STORAGE,
    uids::MULTI_FRAME_GRAYSCALE_WORD_SECONDARY_CAPTURE_IMAGE_STORAGE,
    uids::MULTI_FRAME_TRUE_COLOR_SECONDARY_CAPTURE_IMAGE_STORAGE,
];
/// Older scanners still use the retired classes (PS3.6 annex A).
const RETIRED_IMAGE: &str = "1.2.840.10008.5.1.4.1.1.6";
const RETIRED_MULTI_FRAME: &str = "1.2.840.10008.5.1.4.1.1.3";

/// Data are kept as they come, so these need no decoder.
const SYNTAXES: [&str; 10] = [
    uids::EXPLICIT_VR_LITTLE_ENDIAN,
    uids::IMPLICIT_VR_LITTLE_ENDIAN,
    BIG_ENDIAN,
    uids::JPEG_BASELINE8_BIT,
    uids::JPEG_EXTENDED12_BIT,
    uids::JPEG_LOSSLESS,
    uids::JPEG_LOSSLESS_SV1,
    uids::JPEG2000_LOSSLESS,
    uids::JPEG2000,
    uids::RLE_LOSSLESS,
];

/// Retired, and still sent by older scanners (PS3.5 A.3).
const BIG_ENDIAN: &str = "1.2.840.10008.1.2.2";

/// Longest PDU that is taken, in bytes.
const PDU_BYTES_MAX: u32 = 131_072;
/// How often the door is looked at while nobody comes.
const LOOK_MS: u64 = 20;

/// Who may come in, and how much.
#[derive(Debug, Clone)]
pub struct ReceiveLimits {
    /// AE titles that may call; empty means any.
    pub from: Vec<String>,
    /// Addresses that may call; empty means any.
    pub addresses: Vec<IpAddr>,
    /// Open connections at once.
    pub connections_max: usize,
    /// New connections in any one minute.
    pub connections_a_minute_max: usize,
    /// Bytes of one object.
    pub object_bytes_max: u64,
    /// Objects in one run.
    pub objects_max: u64,
    /// A peer that says nothing for so long is left.
    pub silence_max: Duration,
    /// A connection is closed after so long, whatever is said.
    pub connection_max: Duration,
}

impl Default for ReceiveLimits {
    fn default() -> ReceiveLimits {
        ReceiveLimits {
            from: Vec::new(),
            addresses: Vec::new(),
            connections_max: 16,
            connections_a_minute_max: 600,
            object_bytes_max: 2 << 30,
            objects_max: 50_000,
            silence_max: Duration::from_secs(30),
            connection_max: Duration::from_secs(3600),
        }
    }
}

/// A receiver.
#[derive(Debug)]
pub struct Receiver {
    ae_title: String,
    limits: ReceiveLimits,
    inbox: Inbox,
    folder: PathBuf,
    utc_offset_s: i32,
    open: AtomicUsize,
    objects: AtomicU64,
}

/// Why a connection ended.
#[derive(Debug, thiserror::Error)]
enum Ended {
    #[error("{0}")]
    Network(#[from] dicom_ul::association::Error),
    #[error("{0}")]
    Message(#[from] super::message::MessageError),
    #[error("{0}")]
    Protocol(&'static str),
}

/// Who may call.
#[derive(Debug)]
struct Allowed<'a>(&'a [String]);

impl AccessControl for Allowed<'_> {
    fn check_access(
        &self,
        own: &str,
        calling: &str,
        called: &str,
        _: Option<&UserIdentity>,
    ) -> Result<(), AssociationRJServiceUserReason> {
        if own.trim() != called.trim() {
            return Err(AssociationRJServiceUserReason::CalledAETitleNotRecognized);
        }
        if self.0.is_empty() || self.0.iter().any(|allowed| allowed.trim() == calling.trim()) {
            return Ok(());
        }
        Err(AssociationRJServiceUserReason::CallingAETitleNotRecognized)
    }
}

impl Receiver {
    /// A receiver of this AE title into a folder; `utc_offset_s` is for files that name no time zone.
    ///
    /// # Errors
    /// When the folder cannot be written into, or another receiver has it.
    pub fn new(
        folder: &Path,
        ae_title: &str,
        limits: ReceiveLimits,
        utc_offset_s: i32,
    ) -> Result<Receiver, InboxError> {
        Ok(Receiver {
            ae_title: ae_title.to_owned(),
            limits,
            inbox: Inbox::open(folder)?,
            folder: folder.to_owned(),
            utc_offset_s,
            open: AtomicUsize::new(0),
            objects: AtomicU64::new(0),
        })
    }

    /// Serves a port until `stop`; each line of the log goes to `seen`, too.
    ///
    /// # Errors
    /// When the port fails as a whole; what one peer does wrong is a line in the log.
    pub fn serve(
        &self,
        listener: &TcpListener,
        stop: &AtomicBool,
        seen: &(dyn Fn(&ReceivedObject) + Sync),
    ) -> std::io::Result<()> {
        listener.set_nonblocking(true)?;
        let mut minute = (Instant::now(), 0);
        std::thread::scope(|scope| {
            while !stop.load(Ordering::Relaxed) {
                let (socket, peer) = match listener.accept() {
                    Ok(found) => found,
                    Err(error) if error.kind() == ErrorKind::WouldBlock => {
                        std::thread::sleep(Duration::from_millis(LOOK_MS));
                        continue;
                    }
                    // One peer that went away before it was let in is no fault of the port.
                    Err(error)
                        if matches!(error.kind(), ErrorKind::ConnectionAborted | ErrorKind::Interrupted) =>
                    {
                        continue;
                    }
                    Err(error) => return Err(error),
                };
                if minute.0.elapsed() >= Duration::from_secs(60) {
                    minute = (Instant::now(), 0);
                }
                minute.1 += 1;
                if let Some(why) = self.not_let_in(peer, minute.1) {
                    // Only the first of a flood is reported: a log that fills the disk would do the flood's work.
                    if minute.1 <= self.limits.connections_a_minute_max {
                        self.log(&self.refused("", peer, "", &why), seen);
                    }
                    continue;
                }
                self.open.fetch_add(1, Ordering::Relaxed);
                scope.spawn(move || {
                    if let Err((from, why)) = self.attend(socket, peer, stop, seen) {
                        self.log(&self.refused(&from, peer, "", &why), seen);
                    }
                    self.open.fetch_sub(1, Ordering::Relaxed);
                });
            }
            Ok(())
        })
    }

    fn not_let_in(&self, peer: SocketAddr, this_minute: usize) -> Option<String> {
        let limits = &self.limits;
        if !limits.addresses.is_empty() && !limits.addresses.contains(&peer.ip().to_canonical()) {
            return Some("the address is not allowed; allow it with --address".to_owned());
        }
        if this_minute > limits.connections_a_minute_max {
            return Some(format!("more than {} connections in a minute", limits.connections_a_minute_max));
        }
        let open = self.open.load(Ordering::Relaxed);
        (open >= limits.connections_max).then(|| format!("{open} connections are open already"))
    }

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

    fn log(&self, arrival: &ReceivedObject, seen: &(dyn Fn(&ReceivedObject) + Sync)) {
        // A log that cannot be written does not keep a still from being kept; the sender was answered already.
        if let Err(error) = self.inbox.note(arrival) {
            seen(&ReceivedObject { why: error.to_string(), ..arrival.clone() });
            return;
        }
        seen(arrival);
    }

    /// One connection from its beginning to its end.
    fn attend(
        &self,
        socket: TcpStream,
        peer: SocketAddr,
        stop: &AtomicBool,
        seen: &(dyn Fn(&ReceivedObject) + Sync),
    ) -> Result<(), (String, String)> {
        let nobody = |error: &dyn std::fmt::Display| (String::new(), error.to_string());
        socket.set_nonblocking(false).map_err(|error| nobody(&error))?;
        let mut options = ServerAssociationOptions::new()
            .ae_title(self.ae_title.as_str())
            .ae_access_control(Allowed(&self.limits.from))
            .max_pdu_length(PDU_BYTES_MAX)
            .read_timeout(self.limits.silence_max)
            .write_timeout(self.limits.silence_max)
            .with_abstract_syntax(uids::VERIFICATION);
        for class in CLASSES {
            options = options.with_abstract_syntax(class);
        }
        for syntax in SYNTAXES {
            options = options.with_transfer_syntax(syntax);
        }
        let association = options.establish(socket).map_err(|error| nobody(&error))?;
        let from = association.peer_ae_title().trim().to_owned();
        let until = Instant::now() + self.limits.connection_max;
        let mut talk =
            Talk { receiver: self, association, peer, from, command: Vec::new(), coming: None, seen };
        while Instant::now() < until && !stop.load(Ordering::Relaxed) {
            match talk.next() {
                Ok(true) => {}
                Ok(false) => return Ok(()),
                Err(ended) => {
                    let said = (talk.from.clone(), ended.to_string());
                    // The peer may be gone already.
                    let _ = talk.association.abort();
                    return Err(said);
                }
            }
        }
        let said =
            (talk.from.clone(), "the connection was open too long, or the receiver was stopped".to_owned());
        let _ = talk.association.abort();
        Err(said)
    }
}

/// One connection.
/// The status that refuses an object, and why.
type Refusal = (u16, String);

struct Talk<'a> {
    receiver: &'a Receiver,
    association: ServerAssociation<TcpStream>,
    peer: SocketAddr,
    from: String,
    command: Vec<u8>,
    /// The object that comes in, with its command; without a file where it was refused but its data still come.
    coming: Option<(Message, Result<Coming, Refusal>)>,
    seen: &'a (dyn Fn(&ReceivedObject) + Sync),
}

impl Talk<'_> {
    /// Takes one PDU; `false` at the end of the talk.
    fn next(&mut self) -> Result<bool, Ended> {
        match self.association.receive()? {
            Pdu::PData { data } => {
                for part in data {
                    self.part(part)?;
                }
                Ok(true)
            }
            Pdu::ReleaseRQ => {
                self.association.send(&Pdu::ReleaseRP)?;
                Ok(false)
            }
            Pdu::AbortRQ { .. } if self.coming.is_some() => {
                Err(Ended::Protocol("broken off in the middle of an object"))
            }
            Pdu::AbortRQ { .. } => Ok(false),
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
        if self.coming.is_some() {
            return Err(Ended::Protocol("a command before the data of the last one had come"));
        }
        match message.kind {
            Kind::Echo => self.answer(&message, SUCCESS, context),
            Kind::Store if message.has_data => {
                let begun = self.begin(&message, context);
                self.coming = Some((message, begun));
                Ok(())
            }
            _ if message.has_data => Err(Ended::Protocol("a command that is not served here")),
            _ => self.answer(&message, NOT_SUPPORTED, context),
        }
    }

    fn begin(&self, message: &Message, context: u8) -> Result<Coming, (u16, String)> {
        let receiver = self.receiver;
        let agreed =
            self.association.presentation_contexts().iter().find(|known| {
                known.id == context && known.reason == PresentationContextResultReason::Acceptance
            });
        let Some(agreed) =
            agreed.filter(|agreed| agreed.abstract_syntax.trim_end_matches('\0') == message.class)
        else {
            return Err((NOT_SUPPORTED, "its class was not agreed on".to_owned()));
        };
        if receiver.objects.fetch_add(1, Ordering::Relaxed) >= receiver.limits.objects_max {
            return Err((
                OUT_OF_RESOURCES,
                format!("more than {} objects in one run", receiver.limits.objects_max),
            ));
        }
        let syntax = agreed.transfer_syntax.trim_end_matches('\0');
        receiver
            .inbox
            .begin(&message.class, &message.instance, syntax)
            .map_err(|error| (status_of(&error), error.to_string()))
    }

    fn data(&mut self, part: &PDataValue) -> Result<(), Ended> {
        let max = self.receiver.limits.object_bytes_max;
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
        self.receiver.log(&arrival, self.seen);
        // Kept, on the disk and in the log, or refused: only now the sender may forget it.
        self.answer(&message, status, part.presentation_context_id)
    }

    /// Judges an object that is here as a whole, and keeps it.
    fn settle(&self, message: &Message, coming: Result<Coming, (u16, String)>) -> (u16, ReceivedObject) {
        let refused = |status: u16, why: &str| {
            (status, self.receiver.refused(&self.from, self.peer, &message.instance, why))
        };
        let mut coming = match coming {
            Ok(coming) => coming,
            Err((status, why)) => return refused(status, &why),
        };
        let path = match coming.flush() {
            Ok(path) => path.to_owned(),
            Err(error) => return refused(status_of(&error), &error.to_string()),
        };
        let head = match still::read(&path, self.receiver.utc_offset_s) {
            Ok(head) => head,
            Err(problem) => return refused(NOT_UNDERSTOOD, &problem.message),
        };
        if head.id.as_deref() != Some(message.instance.as_str()) {
            return refused(NOT_THE_SAME, "its data name another object than its command");
        }
        let bytes = coming.bytes;
        match self.receiver.inbox.keep(coming, &message.instance) {
            Ok((outcome, path, sha256)) => {
                let file = path.strip_prefix(&self.receiver.folder).unwrap_or(&path).display().to_string();
                let mut arrival = self.receiver.refused(&self.from, self.peer, &message.instance, "");
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
        let data = PDataValue {
            presentation_context_id: context,
            value_type: PDataValueType::Command,
            is_last: true,
            data: message.answer(status).bytes()?,
        };
        self.association.send(&Pdu::PData { data: vec![data] })?;
        Ok(())
    }
}

fn status_of(error: &InboxError) -> u16 {
    match error {
        InboxError::NoUid(_) | InboxError::Head(_) => NOT_UNDERSTOOD,
        _ => OUT_OF_RESOURCES,
    }
}
