//! What a caller proposes, looked at before it is answered.
//!
//! Takes: a connection on which nothing was read yet.
//! Gives: the videos that are to be taken on it: none where the same could come as a picture.
//! Never: takes a byte off the connection; whoever answers reads all of it.
//! Tested in: `tests/it/exchange/video.rs`, with senders that are not ours.

use std::net::TcpStream;
use std::time::{Duration, Instant};

use dicom_ul::Pdu;
use dicom_ul::pdu::{PresentationContextProposed, read_pdu};

use crate::frames::video::VIDEOS;

/// Type of the PDU by which an association is asked for, and bytes of its head (PS3.8, 9.3.2).
const REQUEST: u8 = 1;
const HEAD_BYTES: usize = 6;
/// A request of which nothing more has come for so long is read by whoever answers, who knows how long to wait.
const STALLED: Duration = Duration::from_secs(1);
/// How long between two looks at a request that has not come as a whole.
const LOOK: Duration = Duration::from_millis(10);

/// What a caller proposes; none where that cannot be seen.
///
/// # Errors
/// When nothing comes, for as long as the socket waits.
pub(super) fn proposed(
    socket: &TcpStream,
    bytes_max: u32,
) -> std::io::Result<Option<Vec<PresentationContextProposed>>> {
    let mut bytes = vec![0; HEAD_BYTES];
    let (mut seen, mut since) = (0, Instant::now());
    loop {
        let now = socket.peek(&mut bytes)?;
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
        } else {
            std::thread::sleep(LOOK);
        }
    }
    Ok(match read_pdu(bytes.as_slice(), bytes_max, false) {
        Ok(Some(Pdu::AssociationRQ(request))) => Some(request.presentation_contexts),
        _ => None,
    })
}

/// The videos that are taken. One that is only offered where a picture is offered as well is not: the sender would send
/// whichever stands first, and a picture can be shown and measured.
///
/// What is proposed apart, as video and as picture, is for the sender to choose: it may have a video that it cannot convert.
pub(super) fn videos(
    proposed: Option<&[PresentationContextProposed]>,
    pictures: &[&str],
) -> Vec<&'static str> {
    let is_picture = |syntax: &String| pictures.contains(&syntax.trim_end_matches(['\0', ' ']));
    let has_only = |known: &str| {
        proposed.is_none_or(|contexts| {
            contexts.iter().any(|context| {
                context.transfer_syntaxes.iter().any(|syntax| syntax.trim_end_matches(['\0', ' ']) == known)
                    && !context.transfer_syntaxes.iter().any(is_picture)
            })
        })
    };
    VIDEOS.iter().map(|(syntax, _)| *syntax).filter(|syntax| has_only(syntax)).collect()
}

#[cfg(test)]
mod tests {
    use dicom_dictionary_std::uids::{EXPLICIT_VR_LITTLE_ENDIAN, HEVCMP51, MPEG4HP41};

    use super::*;

    fn context(id: u8, syntaxes: &[&str]) -> PresentationContextProposed {
        let transfer_syntaxes = syntaxes.iter().map(|syntax| (*syntax).to_owned()).collect();
        PresentationContextProposed { id, abstract_syntax: "1.2".to_owned(), transfer_syntaxes }
    }

    #[test]
    fn a_video_is_taken_where_no_picture_is_offered_with_it() {
        let pictures = [EXPLICIT_VR_LITTLE_ENDIAN];
        let taken = |contexts: &[PresentationContextProposed]| videos(Some(contexts), &pictures);
        let both = context(1, &[MPEG4HP41, "1.2.840.10008.1.2.1\0"]);
        assert_eq!(taken(std::slice::from_ref(&both)), Vec::<&str>::new());
        let alone = context(3, &["1.2.840.10008.1.2.4.102\0", HEVCMP51]);
        assert_eq!(taken(&[both, alone]), [MPEG4HP41, HEVCMP51]);
        assert_eq!(videos(None, &pictures).len(), VIDEOS.len(), "nobody knows, so all are taken");
    }
}
