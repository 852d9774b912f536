//! What a caller proposes, looked at before it is answered.
//!
//! Takes: a connection on which nothing was read yet.
//! Gives: who calls; the videos that are to be taken: none that is offered beside a picture, unless it is their turn.
//! Never: takes a byte off the connection; whoever answers reads all of it.
//! Tested in: `tests/it/exchange/video.rs`, with senders that are not ours.

use std::collections::BTreeSet;
use std::io::{Error, ErrorKind};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use dicom_ul::Pdu;
use dicom_ul::pdu::{PresentationContextProposed, read_pdu};

use crate::frames::video::{VIDEOS, video};

/// Type of the PDU by which an association is asked for, and bytes of its head (PS3.8, 9.3.2).
const REQUEST: u8 = 1;
const HEAD_BYTES: usize = 6;
/// A request of which nothing more has come for so long is read by whoever answers, who knows how long to wait.
const STALLED: Duration = Duration::from_secs(1);
/// How long between two looks at a request that has not come as a whole.
const LOOK: Duration = Duration::from_millis(10);

/// What a caller asks for.
#[derive(Debug)]
pub(super) struct Proposal {
    /// AE title of the caller.
    pub(super) from: String,
    /// AE title that it calls.
    pub(super) called: String,
    contexts: Vec<PresentationContextProposed>,
}

/// What a caller proposes; none where that cannot be seen.
///
/// # Errors
/// When nothing comes for as long as `patience`, or not all of it.
pub(super) fn proposed(
    socket: &TcpStream,
    bytes_max: u32,
    patience: Duration,
) -> std::io::Result<Option<Proposal>> {
    let mut bytes = vec![0; HEAD_BYTES];
    let (mut seen, began) = (0, Instant::now());
    let mut since = began;
    socket.set_read_timeout(Some(patience))?;
    loop {
        let now = socket.peek(&mut bytes).map_err(|error| silent(error, patience))?;
        if now > seen {
            (seen, since) = (now, Instant::now());
        }
        if now == bytes.len() {
            let (kind, len) = (bytes[0], u32::from_be_bytes([bytes[2], bytes[3], bytes[4], bytes[5]]));
            if kind != REQUEST || len > bytes_max {
                return Ok(None);
            }
            let whole = HEAD_BYTES + usize::try_from(len).unwrap_or(usize::MAX - HEAD_BYTES);
            if now == whole {
                break;
            }
            bytes.resize(whole, 0);
        } else if now == 0 || since.elapsed() > STALLED {
            return Ok(None);
        } else if began.elapsed() > patience {
            let why = format!(
                "it connected, and its request had not come as a whole after {} s",
                patience.as_secs_f32()
            );
            return Err(Error::new(ErrorKind::TimedOut, why));
        } else {
            std::thread::sleep(LOOK);
        }
    }
    Ok(match read_pdu(bytes.as_slice(), bytes_max, false) {
        Ok(Some(Pdu::AssociationRQ(request))) => Some(Proposal {
            from: request.calling_ae_title.trim().to_owned(),
            called: request.called_ae_title.trim().to_owned(),
            contexts: request.presentation_contexts,
        }),
        _ => None,
    })
}

/// A caller that says nothing is named as that; the system only says that the wait is over.
fn silent(error: Error, patience: Duration) -> Error {
    match error.kind() {
        ErrorKind::WouldBlock | ErrorKind::TimedOut => {
            let why = format!("it connected and was silent for {} s", patience.as_secs_f32());
            Error::new(ErrorKind::TimedOut, why)
        }
        _ => error,
    }
}

/// A UID without what fills it up.
fn plain(uid: &str) -> &str {
    uid.trim_end_matches(['\0', ' '])
}

/// The videos that this context offers.
fn videos_of(context: &PresentationContextProposed) -> impl Iterator<Item = &'static str> {
    let offers = |known: &str| context.transfer_syntaxes.iter().any(|syntax| plain(syntax) == known);
    VIDEOS.iter().map(|(syntax, _)| *syntax).filter(move |syntax| offers(syntax))
}

impl Proposal {
    /// The contexts of these classes, each with whether it offers one of the pictures.
    fn of<'a>(
        &'a self,
        classes: &'a [&str],
        pictures: &'a [&str],
    ) -> impl Iterator<Item = (&'a PresentationContextProposed, bool)> {
        let ours = self.contexts.iter().filter(|context| classes.contains(&plain(&context.abstract_syntax)));
        ours.map(|context| {
            (context, context.transfer_syntaxes.iter().any(|syntax| pictures.contains(&plain(syntax))))
        })
    }

    /// The videos that are taken. One that is only offered where a picture is offered as well is not: the sender would send
    /// whichever stands first, and a picture can be shown and measured.
    ///
    /// What is proposed apart, as video and as picture, is for the sender to choose: it may have a video that it cannot
    /// convert.
    pub(super) fn videos(&self, classes: &[&str], pictures: &[&str]) -> BTreeSet<&'static str> {
        let apart = self.of(classes, pictures).filter(|(_, has_picture)| !has_picture);
        apart.flat_map(|(context, _)| videos_of(context)).collect()
    }

    /// The videos that are passed over for a picture. Many senders add a picture by habit, also where all they have is a
    /// video.
    pub(super) fn passed_over(&self, classes: &[&str], pictures: &[&str]) -> BTreeSet<&'static str> {
        let beside = self.of(classes, pictures).filter(|(_, has_picture)| *has_picture);
        let offered: BTreeSet<&str> = beside.flat_map(|(context, _)| videos_of(context)).collect();
        &offered - &self.videos(classes, pictures)
    }

    /// The pictures to be taken when videos have their turn: of what is offered in one, the sender sends whichever stands
    /// first. Those before a video are left out, but not where a context would then have nothing.
    pub(super) fn pictures_after_videos<'a>(&self, classes: &[&str], pictures: &[&'a str]) -> Vec<&'a str> {
        let is_video = |syntax: &str| video(syntax).is_some();
        let mut before = BTreeSet::new();
        for (context, _) in self.of(classes, pictures) {
            let syntaxes = || context.transfer_syntaxes.iter().map(|syntax| plain(syntax));
            if let Some(first) = syntaxes().position(is_video) {
                before.extend(syntaxes().take(first));
            }
        }
        let kept: Vec<&str> = pictures.iter().copied().filter(|picture| !before.contains(picture)).collect();
        let has_one = |context: &PresentationContextProposed, of: &[&str]| {
            context
                .transfer_syntaxes
                .iter()
                .any(|syntax| of.contains(&plain(syntax)) || is_video(plain(syntax)))
        };
        let lose = self.contexts.iter().any(|context| has_one(context, pictures) && !has_one(context, &kept));
        if lose { pictures.to_vec() } else { kept }
    }
}

#[cfg(test)]
mod tests {
    use dicom_dictionary_std::uids::{
        EXPLICIT_VR_LITTLE_ENDIAN, HEVCMP51, IMPLICIT_VR_LITTLE_ENDIAN, MPEG4HP41, VERIFICATION,
    };

    use super::*;

    const CLASS: &str = "1.2.3";
    const PICTURES: [&str; 2] = [EXPLICIT_VR_LITTLE_ENDIAN, IMPLICIT_VR_LITTLE_ENDIAN];

    fn context(id: u8, class: &str, syntaxes: &[&str]) -> PresentationContextProposed {
        let transfer_syntaxes = syntaxes.iter().map(|syntax| (*syntax).to_owned()).collect();
        PresentationContextProposed { id, abstract_syntax: class.to_owned(), transfer_syntaxes }
    }

    fn proposal(contexts: &[PresentationContextProposed]) -> Proposal {
        let [from, called] = ["SCANNER", "ZONECALL"].map(str::to_owned);
        Proposal { from, called, contexts: contexts.to_vec() }
    }

    #[test]
    fn a_video_is_taken_where_no_picture_is_offered_with_it() {
        let taken = |contexts: &[PresentationContextProposed]| {
            proposal(contexts).videos(&[CLASS], &PICTURES).into_iter().collect::<Vec<_>>()
        };
        let both = context(1, "1.2.3\0", &[MPEG4HP41, "1.2.840.10008.1.2.1\0"]);
        assert_eq!(taken(std::slice::from_ref(&both)), Vec::<&str>::new());
        let alone = context(3, CLASS, &["1.2.840.10008.1.2.4.102\0", HEVCMP51]);
        assert_eq!(taken(&[both.clone(), alone]), [MPEG4HP41, HEVCMP51]);
        let foreign = context(5, "1.2.9", &[MPEG4HP41]);
        assert_eq!(taken(&[both, foreign]), Vec::<&str>::new(), "it is of a class that is not taken");
    }

    #[test]
    fn pictures_before_a_video_are_left_out_where_nothing_else_needs_them() {
        let both = context(1, CLASS, &[IMPLICIT_VR_LITTLE_ENDIAN, MPEG4HP41]);
        let stills = context(3, CLASS, &PICTURES);
        let pictures = |contexts: &[PresentationContextProposed]| {
            proposal(contexts).pictures_after_videos(&[CLASS], &PICTURES)
        };
        assert_eq!(pictures(&[both.clone(), stills]), [EXPLICIT_VR_LITTLE_ENDIAN]);
        let echo = context(5, VERIFICATION, &[IMPLICIT_VR_LITTLE_ENDIAN]);
        assert_eq!(pictures(&[both, echo]), PICTURES);
    }
}
