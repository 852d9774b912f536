//! A scanner sends its stills here: a storage service class provider (PS3.4 annex B), and one that answers echoes.
//!
//! Takes: connections to a port, from peers that are allowed.
//! Gives: whole files in a folder, each on the disk before the sender hears of it.
//! Never: more than its limits say: of open connections, of bytes, of objects, of time.
//! Tested in: `tests/it/exchange/network.rs`, with senders that are not ours.

use std::collections::BTreeSet;
use std::io::ErrorKind;
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use dicom_core::dictionary::UidDictionary as _;
use dicom_dictionary_std::StandardSopClassDictionary;
use dicom_dictionary_std::uids;
use dicom_ul::association::server::AccessControl;
use dicom_ul::association::{
    Association, Error as AssociationError, ServerAssociation, ServerAssociationOptions,
};
use dicom_ul::pdu::{
    AssociationRJServiceUserReason, PresentationContextNegotiated, PresentationContextResultReason,
    UserIdentity,
};
use rustls::ServerConfig;

use super::deadline::Deadline;
use super::inbox::{Inbox, InboxError, ReceivedObject};
use super::proposal::{Proposal, proposed};
use super::send::Peer;
use super::tls;
use super::video_turns::VideoTurns;
use super::visit::{Reception, Visit, VisitStep};
use crate::frames::video::VIDEOS;
use crate::session::error::in_one_line;

pub use super::limits::ReceiveLimits;

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

/// Data are kept as they come, so these and the videos need no decoder.
const SYNTAXES: [&str; 13] = [
    uids::EXPLICIT_VR_LITTLE_ENDIAN,
    uids::IMPLICIT_VR_LITTLE_ENDIAN,
    BIG_ENDIAN,
    uids::JPEG_BASELINE8_BIT,
    uids::JPEG_EXTENDED12_BIT,
    uids::JPEG_LOSSLESS,
    uids::JPEG_LOSSLESS_SV1,
    uids::JPEG2000_LOSSLESS,
    uids::JPEG2000,
    uids::JPEGLS_LOSSLESS,
    uids::JPEGLS_NEAR_LOSSLESS,
    uids::RLE_LOSSLESS,
    uids::DEFLATED_EXPLICIT_VR_LITTLE_ENDIAN,
];

/// Retired, and still sent by older scanners (PS3.5 A.3).
const BIG_ENDIAN: &str = "1.2.840.10008.1.2.2";

/// Longest PDU that is taken, in bytes.
const PDU_BYTES_MAX: u32 = 131_072;
/// Classes that are named in one line of the log.
const CLASSES_NAMED_MAX: usize = 5;
/// Connections from addresses that are not allowed that are listed in one minute: each line waits for the disk, and so would
/// a scanner.
const STRANGERS_NOTED_MAX: usize = 10;
/// Why a connection ended that was in order.
const TOO_LONG: &str = "the connection was open too long, or the receiver was stopped";
/// How often the door is looked at while nobody comes.
const LOOK_MS: u64 = 20;

/// A receiver.
#[derive(Debug)]
pub struct Receiver {
    ae_title: String,
    reception: Reception,
    open: AtomicUsize,
    video_turns: VideoTurns,
    tls: Option<Arc<ServerConfig>>,
}

/// Connections of the minute that runs: a stranger's flood does not use up what a scanner may do.
#[derive(Debug)]
struct Minute {
    began: Instant,
    known: usize,
    strangers: usize,
}

impl Default for Minute {
    fn default() -> Minute {
        Minute { began: Instant::now(), known: 0, strangers: 0 }
    }
}

impl Minute {
    /// Counts one; gives how many of its kind there were in this minute.
    fn count(&mut self, is_known: bool) -> usize {
        if self.began.elapsed() >= Duration::from_secs(60) {
            *self = Minute::default();
        }
        let count = if is_known { &mut self.known } else { &mut self.strangers };
        *count += 1;
        *count
    }
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

/// A class by its name in the standard, where it has one.
fn class_name(uid: &str) -> String {
    StandardSopClassDictionary.by_uid(uid).map_or(uid, |known| known.name).to_owned()
}

/// The classes that were proposed and answered so, by their names.
fn classes(
    contexts: &[PresentationContextNegotiated],
    answered: impl Fn(&PresentationContextResultReason) -> bool,
) -> BTreeSet<String> {
    let so = contexts.iter().filter(|context| answered(&context.reason));
    so.map(|context| class_name(context.abstract_syntax.trim_end_matches('\0'))).collect()
}

/// What a scanner that gave up had proposed and was not taken: most likely that is what it has; none where all of it was.
fn not_taken(contexts: &[PresentationContextNegotiated]) -> Option<String> {
    use PresentationContextResultReason::{Acceptance, TransferSyntaxesNotSupported};
    let taken = classes(contexts, |answer| *answer == Acceptance);
    let foreign = &classes(contexts, |answer| *answer != Acceptance) - &taken;
    let packed = &classes(contexts, |answer| *answer == TransferSyntaxesNotSupported) & &taken;
    let foreign = (!foreign.is_empty()).then(|| {
        format!("these classes are not taken: {}; ultrasound and secondary capture are", some(&foreign))
    });
    let packed =
        (!packed.is_empty()).then(|| format!("not every transfer syntax is taken of: {}", some(&packed)));
    let all: Vec<String> = foreign.into_iter().chain(packed).collect();
    (!all.is_empty()).then(|| format!("of what it proposed {}", all.join("; and ")))
}

/// The first of these names, and how many more there are: those of pictures come first, as a scanner most likely has these.
fn some(names: &BTreeSet<String>) -> String {
    let (pictures, others): (Vec<&str>, Vec<&str>) =
        names.iter().map(String::as_str).partition(|name| name.contains("Image"));
    let first: Vec<&str> = pictures.into_iter().chain(others).take(CLASSES_NAMED_MAX).collect();
    match names.len() - first.len() {
        0 => first.join(", "),
        more => format!("{} and {more} more", first.join(", ")),
    }
}

/// What a scanner wanted to send and cannot: it gives up without a word of its own, so the log says why.
///
/// Scanners propose much that they never send; only what could be a still is told, unless nothing was agreed on at all.
fn not_agreed(contexts: &[PresentationContextNegotiated]) -> Option<String> {
    use PresentationContextResultReason::{Acceptance, TransferSyntaxesNotSupported};
    let taken = classes(contexts, |answer| *answer == Acceptance);
    let packed = &classes(contexts, |answer| *answer == TransferSyntaxesNotSupported) - &taken;
    if !packed.is_empty() {
        return Some(format!(
            "the class {} was proposed only in transfer syntaxes that are not taken; set the scanner to send uncompressed, \
             JPEG, JPEG 2000, JPEG-LS, RLE, deflated, or loops as MPEG-2, MPEG-4 or HEVC",
            packed.into_iter().collect::<Vec<_>>().join(", ")
        ));
    }
    if !taken.is_empty() || contexts.is_empty() {
        return None;
    }
    let proposed = classes(contexts, |_| true);
    Some(format!(
        "none of the classes that were proposed is taken: {}; ultrasound and secondary capture are",
        proposed.into_iter().collect::<Vec<_>>().join(", ")
    ))
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
            reception: Reception {
                limits,
                inbox: Inbox::open(folder)?,
                folder: folder.to_owned(),
                utc_offset_s,
                objects: AtomicU64::new(0),
                reports_to: Vec::new(),
            },
            open: AtomicUsize::new(0),
            video_turns: VideoTurns::default(),
            tls: None,
        })
    }

    /// The same, taking only callers that come by TLS with a certificate.
    #[must_use]
    pub fn with_tls(mut self, config: Arc<ServerConfig>) -> Receiver {
        self.tls = Some(config);
        self
    }

    /// The same; scanners of these AE titles learn on an association of their own what is kept.
    #[must_use]
    pub fn reporting_to(mut self, peers: Vec<Peer>) -> Receiver {
        self.reception.reports_to = peers;
        self
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
        let mut minute = Minute::default();
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
                // Who may not come in does not keep out who may.
                let is_known = self.is_known(peer);
                let count = minute.count(is_known);
                if let Some(why) = self.not_let_in(is_known, count) {
                    self.turn_away(peer, is_known, count, &why, seen);
                    continue;
                }
                self.open.fetch_add(1, Ordering::Relaxed);
                scope.spawn(move || {
                    let ended = self.attend(socket, peer, stop, seen);
                    // Before its line is written: whoever reads that it has ended finds its place free.
                    self.open.fetch_sub(1, Ordering::Relaxed);
                    if let Err((from, why)) = ended {
                        self.reception.refuse(&from, peer, "", &why, seen);
                    }
                });
            }
            Ok(())
        })
    }

    /// The address is one of those that may call.
    fn is_known(&self, peer: SocketAddr) -> bool {
        let allowed = &self.reception.limits.addresses;
        allowed.is_empty() || allowed.contains(&peer.ip().to_canonical())
    }

    /// Reports one that is not let in; of a flood only the first: a log that fills the disk would do the flood's work.
    fn turn_away(
        &self,
        peer: SocketAddr,
        is_known: bool,
        this_minute: usize,
        why: &str,
        seen: &(dyn Fn(&ReceivedObject) + Sync),
    ) {
        let most =
            if is_known { self.reception.limits.connections_a_minute_max } else { STRANGERS_NOTED_MAX };
        if this_minute > most {
            return;
        }
        let is_last = !is_known && this_minute == most;
        let more = if is_last { "; more of these are not listed in this minute" } else { "" };
        self.reception.refuse("", peer, "", &format!("{why}{more}"), seen);
    }

    fn not_let_in(&self, is_known: bool, this_minute: usize) -> Option<String> {
        let limits = &self.reception.limits;
        if !is_known {
            return Some("the address is not allowed; allow it with --address".to_owned());
        }
        if this_minute > limits.connections_a_minute_max {
            return Some(format!("more than {} connections in a minute", limits.connections_a_minute_max));
        }
        let open = self.open.load(Ordering::Relaxed);
        (open >= limits.connections_max).then(|| format!("{open} connections are open already"))
    }

    /// One connection from its beginning to its end.
    fn attend(
        &self,
        socket: TcpStream,
        peer: SocketAddr,
        stop: &AtomicBool,
        seen: &(dyn Fn(&ReceivedObject) + Sync),
    ) -> Result<(), (String, String)> {
        let limits = &self.reception.limits;
        let deadline = Deadline::start(&socket, limits.opening_max, limits.connection_max)
            .map_err(|error| (String::new(), error.to_string()))?;
        let (association, proposal) = self.opened(socket).map_err(|(from, why)| {
            let slow = || {
                let seconds = limits.opening_max.as_secs_f32();
                format!("it connected, and its request had not come as a whole after {seconds} s")
            };
            (from, if deadline.is_over() { slow() } else { why })
        })?;
        deadline.opened();
        let from = association.peer_ae_title().trim().to_owned();
        let why = not_agreed(association.presentation_contexts());
        if let Some(why) = &why {
            self.reception.refuse(&from, peer, "", why, seen);
        }
        let mut visit = Visit::new(&self.reception, association, peer, from, seen);
        let ended = self.talk(&mut visit, stop, why.is_some());
        let over = proposal.map(|proposal| proposal.passed_over(&CLASSES, &SYNTAXES)).unwrap_or_default();
        if let Some(why) = self.video_turns.learn(&visit.from, &over, &visit.came) {
            self.reception.refuse(&visit.from, peer, "", &why, seen);
        }
        ended.map_err(|(said, is_open)| {
            if is_open {
                // The peer may be gone already.
                let _ = visit.association.abort();
            }
            (visit.from, if deadline.is_over() { TOO_LONG.to_owned() } else { said })
        })
    }

    /// TLS, where it is asked for, and the association that the caller proposes, with its proposal.
    fn opened(
        &self,
        socket: TcpStream,
    ) -> Result<(ServerAssociation<TcpStream>, Option<Proposal>), (String, String)> {
        let nobody = |error: &dyn std::fmt::Display| (String::new(), error.to_string());
        socket.set_nonblocking(false).map_err(|error| nobody(&error))?;
        let silence_max = self.reception.limits.silence_max;
        let mut options = ServerAssociationOptions::new()
            .ae_title(self.ae_title.as_str())
            .ae_access_control(Allowed(&self.reception.limits.from))
            .max_pdu_length(PDU_BYTES_MAX)
            .read_timeout(silence_max)
            .write_timeout(silence_max)
            .with_abstract_syntax(uids::VERIFICATION)
            .with_abstract_syntax(uids::STORAGE_COMMITMENT_PUSH_MODEL);
        for class in CLASSES {
            options = options.with_abstract_syntax(class);
        }
        let socket = match &self.tls {
            Some(config) => tls::accept(config, socket, silence_max)
                .map_err(|error| (String::new(), format!("TLS: {error}")))?,
            None => socket,
        };
        let proposal = proposed(&socket, PDU_BYTES_MAX, silence_max).map_err(|error| nobody(&error))?;
        for syntax in self.syntaxes(proposal.as_ref()) {
            options = options.with_transfer_syntax(syntax);
        }
        let association =
            options.establish(socket).map_err(|error| self.not_established(proposal.as_ref(), &error))?;
        Ok((association, proposal))
    }

    /// Who called in vain, as far as that was seen, and why.
    fn not_established(&self, proposal: Option<&Proposal>, error: &AssociationError) -> (String, String) {
        let Some(proposal) = proposal else {
            let why = format!("what came is no request of DICOM, or half of one: {}", in_one_line(error));
            return (String::new(), why);
        };
        let own = self.ae_title.trim();
        let why = match error {
            AssociationError::Rejected { .. } if proposal.called != own => format!(
                "it calls `{}`, and this receiver is `{own}`: set that AE title on the scanner, or start the receiver with \
                 --ae {}",
                proposal.called, proposal.called
            ),
            AssociationError::Rejected { .. }
                if Allowed(&self.reception.limits.from)
                    .check_access(own, &proposal.from, own, None)
                    .is_err() =>
            {
                format!("the AE title `{}` is not allowed; allow it with --from", proposal.from)
            }
            _ => in_one_line(error),
        };
        (proposal.from.clone(), why)
    }

    /// The transfer syntaxes that are taken of this caller.
    fn syntaxes(&self, proposal: Option<&Proposal>) -> Vec<&'static str> {
        let all = VIDEOS.iter().map(|(syntax, _)| *syntax);
        match proposal {
            None => SYNTAXES.into_iter().chain(all).collect(),
            Some(proposal) if self.video_turns.is_now(&proposal.from) => {
                let pictures = proposal.pictures_after_videos(&CLASSES, &SYNTAXES);
                pictures.into_iter().chain(all).collect()
            }
            Some(proposal) => SYNTAXES.into_iter().chain(proposal.videos(&CLASSES, &SYNTAXES)).collect(),
        }
    }

    /// What comes on an association, to its end; `is_told` says that why it must fail is in the log already.
    /// Gives why it ended otherwise than it should, and whether it is still open.
    fn talk(&self, visit: &mut Visit, stop: &AtomicBool, is_told: bool) -> Result<(), (String, bool)> {
        let until = Instant::now() + self.reception.limits.connection_max;
        while Instant::now() < until && !stop.load(Ordering::Relaxed) {
            match visit.next() {
                Ok(VisitStep::GoesOn) => {}
                // Why it left was said as it came.
                Ok(_) if is_told => return Ok(()),
                Ok(VisitStep::Ended) if visit.has_spoken => return Ok(()),
                Ok(_) => {
                    let lacks = not_taken(visit.association.presentation_contexts());
                    let said = match (visit.has_spoken, lacks) {
                        // Some scanners end every connection so.
                        (true, None) => return Ok(()),
                        (true, Some(lacks)) => format!("it broke off; {lacks}"),
                        (false, None) => "it connected and sent nothing".to_owned(),
                        (false, Some(lacks)) => format!("it connected and sent nothing; {lacks}"),
                    };
                    return Err((said, false));
                }
                Err(ended) => return Err((ended.to_string(), true)),
            }
        }
        Err((TOO_LONG.to_owned(), true))
    }
}
