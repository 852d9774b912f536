//! Loops that a scanner saves as videos: received and kept as they come, paired by time like any still, never shown, and
//! named in plain words wherever they would be.

use std::io::Write as _;
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, mpsc};
use std::time::Duration;

use dicom_core::value::PixelFragmentSequence;
use dicom_core::{DataElement, PrimitiveValue, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::FileMetaTableBuilder;

use zonecall::clock::Sample;
use zonecall::exam::event::Event;
use zonecall::exam::journal::Journal;
use zonecall::exam::review::{Change, Review};
use zonecall::exchange::network::receive::{ReceiveLimits, Receiver};
use zonecall::exchange::network::{InboxOutcome, ReceivedObject};

use super::peers::{PATIENCE, Receiving};
use super::stage::{SAVED_S, export, judge, said_of, still, uid, unpaired};
use crate::support::header;
use crate::support::pdf::{Pdf, dense};
use crate::support::program::zonecall;

/// No stream of any video: it must never be looked into.
const STREAM: [u8; 64] = [0xA5; 64];

/// The second still of the exam as a loop that is a video (PS3.5, 8.2).
fn write_video(path: &Path, syntax: &str) {
    let mut video = still(2, SAVED_S[1]);
    let mut text = |tag, vr, text: &str| {
        video.put(DataElement::new(tag, vr, PrimitiveValue::from(text)));
    };
    text(tags::SOP_CLASS_UID, VR::UI, uids::ULTRASOUND_MULTI_FRAME_IMAGE_STORAGE);
    text(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, "YBR_PARTIAL_420");
    text(tags::NUMBER_OF_FRAMES, VR::IS, "50");
    text(tags::FRAME_TIME, VR::DS, "40");
    video.put(DataElement::new(tags::SAMPLES_PER_PIXEL, VR::US, PrimitiveValue::from(3_u16)));
    video.put(DataElement::new(tags::PLANAR_CONFIGURATION, VR::US, PrimitiveValue::from(0_u16)));
    let stream = PixelFragmentSequence::new(vec![], vec![STREAM.to_vec()]);
    video.put(DataElement::new(tags::PIXEL_DATA, VR::OB, stream));
    let meta = FileMetaTableBuilder::new().transfer_syntax(syntax);
    video.with_meta(meta).unwrap().write_to_file(path).unwrap();
}

fn stream_of(path: &Path) -> Vec<u8> {
    let file = dicom_object::open_file(path).unwrap();
    file.element(tags::PIXEL_DATA).unwrap().fragments().unwrap().concat()
}

/// The exam with two stills and a video between them.
fn exam() -> tempfile::TempDir {
    let folder = unpaired();
    let frames = folder.path().join("frames");
    std::fs::create_dir(&frames).unwrap();
    for (number, saved_s) in [(1, SAVED_S[0]), (3, SAVED_S[2])] {
        let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
        let still = still(number, saved_s).with_meta(meta).unwrap();
        still.write_to_file(frames.join(format!("IM{number}.dcm"))).unwrap();
    }
    write_video(&frames.join("IM2.dcm"), uids::MPEG4HP41);
    let paired = zonecall(&["pair", folder.path().to_str().unwrap(), "--frames", frames.to_str().unwrap()]);
    // The video is paired with the save call, in the order of time, and something is to be looked at.
    assert!(said_of(&paired).contains("LF 3A T DDFT"), "{}", said_of(&paired));
    folder
}

#[test]
fn a_loop_saved_as_a_video_is_received_as_it_came() {
    let sent = tempfile::tempdir().unwrap();
    // Which of them the sender knows depends on its version; these are of every kind.
    for syntax in [uids::MPEG2MPML, uids::MPEG2MPHL, uids::MPEG4HP41, uids::MPEG4HP422D, uids::HEVCMP51] {
        let video = sent.path().join("video.dcm");
        write_video(&video, syntax);
        let profile = sent.path().join("profile.cfg");
        let proposed = format!(
            "[[TransferSyntaxes]]\n[V]\nTransferSyntax1 = {syntax}\n[[PresentationContexts]]\n[US]\n\
             PresentationContext1 = {}\\V\n[[Profiles]]\n[Loop]\nPresentationContexts = US\n",
            uids::ULTRASOUND_MULTI_FRAME_IMAGE_STORAGE
        );
        std::fs::write(&profile, proposed).unwrap();
        let into = tempfile::tempdir().unwrap();
        let receiving = Receiving::start(into.path(), &[]);
        let args =
            ["-aec", "ZONECALL", "-xf", profile.to_str().unwrap(), "Loop", "127.0.0.1", &receiving.port];
        let (code, said) = judge("storescu", &[&args[..], &[video.to_str().unwrap()]].concat());
        assert_eq!(code, Some(0), "{syntax}: {said}");
        assert_eq!(receiving.await_log(|log| log.len() == 1)[0].outcome, InboxOutcome::Kept);
        let kept = into.path().join(format!("{}.dcm", uid(2)));
        assert_eq!(stream_of(&kept), STREAM, "{syntax}");
        let syntax_kept = dicom_object::open_file(&kept).unwrap().meta().transfer_syntax().to_owned();
        assert_eq!(syntax_kept.trim_end_matches('\0'), syntax);
    }
}

/// Sends these files of ultrasound loops, proposing in each context the transfer syntaxes of one of the lists.
fn send_proposing(into: &Path, contexts: &[&[&str]], files: &[PathBuf]) -> (Option<i32>, String) {
    let receiving = Receiving::start(into, &[]);
    let sent = send_to(&receiving, contexts, files);
    receiving.await_log(|log| sent.0 != Some(0) || log.len() >= files.len());
    sent
}

fn send_to(receiving: &Receiving, contexts: &[&[&str]], files: &[PathBuf]) -> (Option<i32>, String) {
    let mut syntaxes = "[[TransferSyntaxes]]\n".to_owned();
    let mut proposed = "[[PresentationContexts]]\n[US]\n".to_owned();
    for (idx, context) in contexts.iter().enumerate() {
        syntaxes.push_str(&format!("[S{idx}]\n"));
        for (at, syntax) in context.iter().enumerate() {
            syntaxes.push_str(&format!("TransferSyntax{} = {syntax}\n", at + 1));
        }
        let class = uids::ULTRASOUND_MULTI_FRAME_IMAGE_STORAGE;
        proposed.push_str(&format!("PresentationContext{} = {class}\\S{idx}\n", idx + 1));
    }
    let profile = tempfile::NamedTempFile::new().unwrap();
    let text = format!("{syntaxes}{proposed}[[Profiles]]\n[Loop]\nPresentationContexts = US\n");
    std::fs::write(profile.path(), text).unwrap();
    let profile = profile.path().to_str().unwrap();
    let args = ["-aec", "ZONECALL", "-xf", profile, "Loop", "127.0.0.1", &receiving.port];
    let files: Vec<&str> = files.iter().map(|file| file.to_str().unwrap()).collect();
    judge("storescu", &[&args[..], &files].concat())
}

#[test]
fn a_loop_that_is_only_a_video_comes_at_the_next_try_where_pictures_were_proposed_by_habit() {
    let sent = tempfile::tempdir().unwrap();
    let video = sent.path().join("video.dcm");
    write_video(&video, uids::MPEG4HP41);
    let habit = uids::IMPLICIT_VR_LITTLE_ENDIAN;
    // The second stands first where the sender prefers it, and the answer must be the video all the same.
    for both in [[uids::MPEG4HP41, habit], [habit, uids::MPEG4HP41]] {
        let into = tempfile::tempdir().unwrap();
        let receiving = Receiving::start(into.path(), &[]);
        let (code, said) = send_to(&receiving, &[&both], std::slice::from_ref(&video));
        assert_ne!(code, Some(0), "{said}");
        let told = "offered loops both as videos (MPEG-4, H.264) and as pictures";
        let log = receiving.await_log(|log| log.iter().any(|row| row.why.contains(told)));
        let why = &log.iter().find(|row| row.why.contains(told)).unwrap().why;
        assert!(why.contains("send it again") && why.contains("set the scanner to"), "{why}");
        for _ in 0..2 {
            let (code, said) = send_to(&receiving, &[&both], std::slice::from_ref(&video));
            assert_eq!(code, Some(0), "{said}");
        }
        assert_eq!(stream_of(&into.path().join(format!("{}.dcm", uid(2)))), STREAM);
    }
}

/// Many scanners propose all that they can on every connection.
#[test]
fn a_scanner_that_proposes_loops_and_sends_a_still_is_not_told_of_a_loop() {
    let sent = tempfile::tempdir().unwrap();
    let (picture, profile) = (sent.path().join("picture.dcm"), sent.path().join("profile.cfg"));
    let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
    still(1, SAVED_S[0]).with_meta(meta).unwrap().write_to_file(&picture).unwrap();
    let proposed = format!(
        "[[TransferSyntaxes]]\n[P]\nTransferSyntax1 = {picture}\n[B]\nTransferSyntax1 = {}\nTransferSyntax2 = {picture}\n\
         [[PresentationContexts]]\n[US]\nPresentationContext1 = {}\\P\nPresentationContext2 = {}\\B\n\
         [[Profiles]]\n[All]\nPresentationContexts = US\n",
        uids::MPEG4HP41,
        uids::ULTRASOUND_IMAGE_STORAGE,
        uids::ULTRASOUND_MULTI_FRAME_IMAGE_STORAGE,
        picture = uids::EXPLICIT_VR_LITTLE_ENDIAN,
    );
    std::fs::write(&profile, proposed).unwrap();
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    let args = ["-aec", "ZONECALL", "-xf", profile.to_str().unwrap(), "All", "127.0.0.1", &receiving.port];
    for n_lines in 1..4 {
        let (code, said) = judge("storescu", &[&args[..], &[picture.to_str().unwrap()]].concat());
        assert_eq!(code, Some(0), "{said}");
        let log = receiving.await_log(|log| log.len() >= n_lines);
        assert!(log.iter().all(|row| !row.why.contains("loop")), "{log:?}");
    }
}

#[test]
fn a_video_of_a_class_that_is_not_taken_does_not_make_videos_taken() {
    let sent = tempfile::tempdir().unwrap();
    let video = sent.path().join("video.dcm");
    write_video(&video, uids::MPEG4HP41);
    let profile = sent.path().join("profile.cfg");
    let proposed = format!(
        "[[TransferSyntaxes]]\n[V]\nTransferSyntax1 = {}\n[B]\nTransferSyntax1 = {}\nTransferSyntax2 = {}\n\
         [[PresentationContexts]]\n[US]\nPresentationContext1 = {}\\V\nPresentationContext2 = {}\\B\n\
         [[Profiles]]\n[Loop]\nPresentationContexts = US\n",
        uids::MPEG4HP41,
        uids::MPEG4HP41,
        uids::EXPLICIT_VR_LITTLE_ENDIAN,
        uids::VIDEO_ENDOSCOPIC_IMAGE_STORAGE,
        uids::ULTRASOUND_MULTI_FRAME_IMAGE_STORAGE
    );
    std::fs::write(&profile, proposed).unwrap();
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    let args = ["-aec", "ZONECALL", "-xf", profile.to_str().unwrap(), "Loop", "127.0.0.1", &receiving.port];
    let (code, said) = judge("storescu", &[&args[..], &[video.to_str().unwrap()]].concat());
    assert_ne!(code, Some(0), "the picture was asked for: {said}");
    receiving.await_log(|log| log.iter().any(|row| row.why.contains("was asked for the pictures")));
}

/// What a receiver that waits for 1 s logs of a caller.
fn logged_of(caller: impl FnOnce(TcpStream)) -> String {
    let into = tempfile::tempdir().unwrap();
    let limits = ReceiveLimits { silence_max: Duration::from_secs(1), ..ReceiveLimits::default() };
    let receiver = Receiver::new(into.path(), "ZONECALL", limits, 0).unwrap();
    let listener = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, (tell, told)) = (AtomicBool::new(false), mpsc::channel());
    std::thread::scope(|scope| {
        let serving = scope.spawn(|| {
            let tell = Mutex::new(tell);
            let seen = |row: &ReceivedObject| tell.lock().unwrap().send(row.why.clone()).unwrap();
            receiver.serve(&listener, &stop, &seen)
        });
        caller(TcpStream::connect(address).unwrap());
        let why = told.recv_timeout(PATIENCE);
        stop.store(true, Ordering::Relaxed);
        serving.join().unwrap().unwrap();
        why.unwrap()
    })
}

#[test]
fn a_caller_that_is_silent_or_never_says_all_is_named_as_that() {
    let mut open = Vec::new();
    let why = logged_of(|socket| open.push(socket));
    assert_eq!(why, "it connected and was silent for 1 s");
    // A request of 8192 bytes, one every 100 ms: it is never still, and never whole.
    let why = logged_of(|mut socket| {
        socket.write_all(&[1, 0, 0, 0, 0x20, 0]).unwrap();
        while socket.write_all(&[0]).is_ok() {
            std::thread::sleep(Duration::from_millis(100));
        }
    });
    assert_eq!(why, "it connected, and its request had not come as a whole after 1 s");
}

#[test]
fn of_video_and_picture_in_one_proposal_the_picture_is_taken_and_apart_the_sender_chooses() {
    let sent = tempfile::tempdir().unwrap();
    let (loops, video) = (sent.path().join("pictures.dcm"), sent.path().join("video.dcm"));
    let mut pictures = still(1, SAVED_S[0]);
    let class = PrimitiveValue::from(uids::ULTRASOUND_MULTI_FRAME_IMAGE_STORAGE);
    pictures.put(DataElement::new(tags::SOP_CLASS_UID, VR::UI, class));
    let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
    pictures.with_meta(meta).unwrap().write_to_file(&loops).unwrap();
    write_video(&video, uids::MPEG4HP41);
    let (both, apart) = ([uids::MPEG4HP41, uids::EXPLICIT_VR_LITTLE_ENDIAN], [uids::MPEG4HP41]);
    let into = tempfile::tempdir().unwrap();
    let (code, said) = send_proposing(into.path(), &[&both], std::slice::from_ref(&loops));
    assert_eq!(code, Some(0), "{said}");
    assert!(into.path().join(format!("{}.dcm", uid(1))).is_file());
    let into = tempfile::tempdir().unwrap();
    let picture = [uids::EXPLICIT_VR_LITTLE_ENDIAN];
    let (code, said) = send_proposing(into.path(), &[&apart, &picture], &[loops, video]);
    assert_eq!(code, Some(0), "{said}");
    assert_eq!(stream_of(&into.path().join(format!("{}.dcm", uid(2)))), STREAM);
}

#[test]
fn check_and_report_say_that_the_loop_is_not_shown_where_it_is_and_what_to_do() {
    let exam = exam();
    let folder = exam.path().to_str().unwrap();
    let check = said_of(&zonecall(&["check", folder]));
    let told = "`IM2.dcm`: a loop saved as a video (MPEG-4, H.264), which this program keeps but does not show; watch it on";
    assert!(check.contains(told), "{check}");
    let page = exam.path().join("report.html");
    let report = zonecall(&["report", folder, "--out", page.to_str().unwrap()]);
    assert!(report.status.code().is_some_and(|code| code < 2), "{}", said_of(&report));
    let page = std::fs::read_to_string(page).unwrap();
    let told =
        "Not shown: a loop saved as a video (MPEG-4, H.264), which this program does not show; watch it on";
    assert!(page.contains(told) && page.contains("frames/IM2.dcm"), "{page}");
    // The printed report has no list of all stills: it says so of those that it would show.
    let change = Change::KeyPicture { still: uid(2), shown: true, frame_number: None };
    let review = Review { by: "Ada".to_owned(), why: String::new(), was: String::new(), change };
    let mut journal = Journal::open(exam.path()).unwrap();
    let at = header().started_at + chrono::Duration::seconds(90);
    journal.append(at, Sample::FIRST, &Event::Review(Box::new(review))).unwrap();
    drop(journal);
    let sheet = exam.path().join("report.pdf");
    let report = zonecall(&["report", folder, "--format", "pdf", "--out", sheet.to_str().unwrap()]);
    assert!(report.status.code().is_some_and(|code| code < 2), "{}", said_of(&report));
    let printed = Pdf::new(&std::fs::read(sheet).unwrap()).dense();
    let told = "not shown here: a loop saved as a video (MPEG-4, H.264), which this program does not show";
    assert!(printed.contains(&dense(told)) && printed.contains(&dense("Its file is IM2.dcm")), "{printed}");
}

#[test]
fn a_labelled_copy_of_a_video_is_the_video_and_the_index_says_why_there_is_no_picture() {
    let exam = exam();
    let said = export(exam.path(), "labelled", &[], 1);
    assert!(said.contains("`IM2.dcm`: no picture of it was made: a loop saved as a video"), "{said}");
    let out = exam.path().join("out/labelled");
    let copies: Vec<PathBuf> = super::stage::files(&out);
    let copy = copies.iter().find(|path| path.ends_with("LF_3A_T_DDFT_02.dcm")).expect("a copy");
    assert_eq!(stream_of(copy), STREAM);
    assert!(!out.join("LF_3A_T_DDFT_02.png").exists());
    let index = std::fs::read_to_string(out.join("index.html")).unwrap();
    assert!(index.contains("Not shown: a loop saved as a video (MPEG-4, H.264)"), "{index}");
    let table = std::fs::read_to_string(out.join("index.csv")).unwrap();
    assert!(table.lines().any(|line| line.starts_with(",LF_3A_T_DDFT_02.dcm,LF,3A,T,DDFT")), "{table}");
}
