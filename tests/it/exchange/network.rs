//! Receiving and sending, with dcmtk's programs on the other side.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::process::Stdio;
use std::time::{Duration, Instant};

use zonecall::exchange::network::InboxOutcome;

use super::peers::{Archive, PATIENCE, Receiving, names, stills};
use super::stage::{enter, export, files, folder, judge, said_of, uid};
use crate::support::program::{free_port, zonecall};

#[test]
fn a_scanner_sends_its_stills_and_each_is_kept_once() {
    let exam = folder();
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    let (code, said) = judge("echoscu", &["-v", "-aec", "ZONECALL", "127.0.0.1", &receiving.port]);
    assert!(code == Some(0) && said.contains("Success"), "{said}");
    let stills = stills(exam.path());
    let paths: Vec<&str> = stills.iter().map(String::as_str).collect();
    for _ in 0..2 {
        let (code, said) = receiving.storescu(&paths);
        assert_eq!(code, Some(0), "{said}");
    }
    assert_eq!(names(into.path()), [1, 2, 3].map(|number| format!("{}.dcm", uid(number))));
    // They name horse and owner, and so does the list: nobody else on this machine reads them.
    for file in files(into.path()).into_iter().chain([into.path().join("received.jsonl")]) {
        let mode = std::os::unix::fs::PermissionsExt::mode(&file.metadata().unwrap().permissions());
        assert_eq!(mode & 0o777, 0o600, "{}", file.display());
    }
    let log = receiving.await_log(|log| log.len() == 6);
    assert!(
        log[..3].iter().all(|row| row.outcome == InboxOutcome::Kept && row.from == "STORESCU"),
        "{log:?}"
    );
    assert!(log[3..].iter().all(|row| row.outcome == InboxOutcome::Known), "{log:?}");
    // The time of arrival and the time in the file are both kept.
    assert_eq!(log[0].saved_at.unwrap().to_rfc3339(), "2026-05-04T08:00:14+00:00");
    assert!(log[0].at > log[0].saved_at.unwrap());
    // What was received is what was sent, to pydicom too; and it pairs.
    for (sent, kept) in stills.iter().zip(files(into.path())) {
        let read = |path: &str| super::stage::python(&["header", path], "");
        assert_eq!(read(sent), read(kept.to_str().unwrap()));
    }
    let again = folder();
    let paired =
        zonecall(&["pair", again.path().to_str().unwrap(), "--frames", into.path().to_str().unwrap()]);
    assert!(said_of(&paired).contains("LF 2B T SDFT"), "{}", said_of(&paired));
}

/// The power went while a line of the list was written: it stays as it is, it is named, and the next one stands by itself.
#[test]
fn a_half_line_of_the_list_is_named_and_no_other_is_glued_to_it() {
    let exam = folder();
    let stills = stills(exam.path());
    let into = tempfile::tempdir().unwrap();
    let list = into.path().join("received.jsonl");
    drop(Receiving::start(into.path(), &[]).storescu(&[stills[0].as_str()]));
    let whole = std::fs::read(&list).unwrap();
    for cut in [whole.len() / 2, whole.len() - 1] {
        std::fs::write(&list, &whole[..cut]).unwrap();
        let mut receiving = Receiving::start_with(into.path(), &[], Stdio::piped());
        let (code, said) = receiving.storescu(&[stills[0].as_str()]);
        assert_eq!(code, Some(0), "{said}");
        let lines = || {
            let bytes = std::fs::read(&list).unwrap();
            let lines = bytes.split_inclusive(|byte| *byte == b'\n').filter(|line| line.ends_with(b"\n"));
            lines.map(<[u8]>::to_vec).collect::<Vec<_>>()
        };
        let until = Instant::now() + PATIENCE;
        let is_known = |line: &Vec<u8>| String::from_utf8_lossy(line).contains("\"known\"");
        while !lines().iter().any(is_known) && Instant::now() < until {
            std::thread::sleep(Duration::from_millis(20));
        }
        let found = lines();
        assert_eq!(found[0].strip_suffix(b"\n"), Some(&whole[..cut]), "what was there stays");
        for line in &found[1..] {
            let read = serde_json::from_slice::<zonecall::exchange::network::ReceivedObject>(line);
            assert!(read.is_ok(), "{}", String::from_utf8_lossy(line));
        }
        assert!(found[1..].iter().any(is_known));
        receiving.child.kill().unwrap();
        let mut told = String::new();
        receiving.child.stderr.take().unwrap().read_to_string(&mut told).unwrap();
        assert!(told.contains("received.jsonl") && told.contains("cut short"), "{told}");
    }
}

#[test]
fn another_object_of_a_known_name_is_kept_beside_it_and_flagged() {
    let exam = folder();
    let other = super::stage::folder_of(&[], |_, still| {
        let id = dicom_core::PrimitiveValue::from("8");
        still.put(dicom_core::DataElement::new(dicom_dictionary_std::tags::STUDY_ID, dicom_core::VR::SH, id));
    });
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    for stills in [stills(exam.path()), stills(other.path())] {
        let (code, said) = receiving.storescu(&[stills[0].as_str()]);
        assert_eq!(code, Some(0), "{said}");
    }
    assert_eq!(names(into.path()), [format!("{}.dcm", uid(1)), format!("{}.other-1.dcm", uid(1))]);
    let log = receiving.await_log(|log| log.len() == 2);
    assert_eq!((log[0].outcome, log[1].outcome), (InboxOutcome::Kept, InboxOutcome::Beside));
}

#[test]
fn who_is_not_allowed_is_refused_with_a_line_in_the_log() {
    let exam = folder();
    let stills = stills(exam.path());
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &["--from", "SCANNER"]);
    let (code, said) = receiving.storescu(&[stills[0].as_str()]);
    assert!(code != Some(0) && said.contains("Calling AE Title Not Recognized"), "{said}");
    let (code, said) = judge(
        "storescu",
        &["-v", "-aet", "SCANNER", "-aec", "WRONG", "127.0.0.1", &receiving.port, &stills[0]],
    );
    assert!(code != Some(0) && said.contains("Called AE Title Not Recognized"), "{said}");
    let (code, said) =
        judge("storescu", &["-aet", "SCANNER", "-aec", "ZONECALL", "127.0.0.1", &receiving.port, &stills[0]]);
    assert_eq!(code, Some(0), "{said}");
    let log = receiving.await_log(|log| log.len() == 3);
    let outcomes: Vec<InboxOutcome> = log.iter().map(|row| row.outcome).collect();
    assert_eq!(outcomes, [InboxOutcome::Refused, InboxOutcome::Refused, InboxOutcome::Kept], "{log:?}");
    let [stranger, mistaken] = [&log[0], &log[1]];
    assert!(stranger.from == "STORESCU" && stranger.why.contains("allow it with --from"), "{stranger:?}");
    let told = "it calls `WRONG`, and this receiver is `ZONECALL`: set that AE title on the scanner";
    assert!(mistaken.from == "SCANNER" && mistaken.why.contains(told), "{mistaken:?}");
    let elsewhere = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(elsewhere.path(), &["--address", "192.0.2.7"]);
    let (code, said) = receiving.storescu(&[stills[0].as_str()]);
    assert_ne!(code, Some(0), "{said}");
    assert!(receiving.await_log(|log| log.len() == 1)[0].why.contains("--address"));
    assert_eq!(names(elsewhere.path()), Vec::<String>::new());
}

#[test]
fn half_a_message_an_object_too_large_and_noise_leave_nothing_behind() {
    let exam = folder();
    let stills = stills(exam.path());
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &["--object-mb-max", "0"]);
    let (code, said) = receiving.storescu(&[stills[0].as_str()]);
    assert_ne!(code, Some(0), "{said}");
    let open = || TcpStream::connect(("127.0.0.1", receiving.port.parse().unwrap())).unwrap();
    open().write_all(&[1, 0, 0, 0, 1, 0, 0, 1]).unwrap();
    open().write_all(b"GET / HTTP/1.1\r\n\r\n").unwrap();
    // A length of four gigabytes.
    open().write_all(&[1, 0, 0xff, 0xff, 0xff, 0xff, 0, 1]).unwrap();
    let log = receiving.await_log(|log| log.len() == 4);
    assert!(log.iter().all(|row| row.outcome == InboxOutcome::Refused && !row.why.is_empty()), "{log:?}");
    assert_eq!(names(into.path()), Vec::<String>::new());
    assert_eq!(std::fs::read_dir(into.path().join(".receiving")).unwrap().count(), 1, "only the lock");
    let (code, said) = judge("echoscu", &["-aec", "ZONECALL", "127.0.0.1", &receiving.port]);
    assert_eq!(code, Some(0), "it still serves: {said}");
}

/// A picture of a class that is not taken.
fn foreign(exam: &std::path::Path, folder: &std::path::Path) -> String {
    let file = folder.join("ct.dcm");
    let mut still = dicom_object::open_file(&stills(exam)[0]).unwrap();
    let class = dicom_dictionary_std::uids::CT_IMAGE_STORAGE;
    still.put(dicom_core::DataElement::new(
        dicom_dictionary_std::tags::SOP_CLASS_UID,
        dicom_core::VR::UI,
        dicom_core::PrimitiveValue::from(class),
    ));
    still.meta_mut().media_storage_sop_class_uid = class.to_owned();
    still.write_to_file(&file).unwrap();
    file.to_str().unwrap().to_owned()
}

/// By default `storescu` proposes every class; a picture of a class that is not taken ends it without a word to us.
#[test]
fn a_sender_that_leaves_without_sending_is_a_line_in_the_log() {
    let (exam, other) = (folder(), tempfile::tempdir().unwrap());
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    let (code, said) = receiving.storescu(&[&foreign(exam.path(), other.path())]);
    assert_ne!(code, Some(0), "{said}");
    let log = receiving.await_log(|log| log.len() == 1);
    assert!(log[0].why.contains("it connected and sent nothing; of what it proposed"), "{log:?}");
    assert!(log[0].why.contains("Storage"), "by its name: {log:?}");
    assert_eq!(names(into.path()), Vec::<String>::new());
}

#[test]
fn a_sender_that_breaks_off_after_a_still_is_a_line_in_the_log_and_one_that_is_done_is_none() {
    let (exam, other) = (folder(), tempfile::tempdir().unwrap());
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    let still = &stills(exam.path())[0];
    let (code, said) = receiving.storescu(&[still]);
    assert_eq!(code, Some(0), "{said}");
    let (code, said) = receiving.storescu(&[still, &foreign(exam.path(), other.path())]);
    assert_ne!(code, Some(0), "{said}");
    let log = receiving.await_log(|log| log.len() == 3);
    let outcomes = [InboxOutcome::Kept, InboxOutcome::Known, InboxOutcome::Refused];
    assert_eq!(log.iter().map(|row| row.outcome).collect::<Vec<_>>(), outcomes, "{log:?}");
    assert!(
        log[2].why.starts_with("it broke off; of what it proposed these classes are not taken"),
        "{log:?}"
    );
}

#[test]
fn a_flood_of_open_connections_is_cut_off_and_nothing_fails() {
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &["--connections-max", "4"]);
    let port: u16 = receiving.port.parse().unwrap();
    let flood: Vec<TcpStream> =
        (0..300).filter_map(|_| TcpStream::connect(("127.0.0.1", port)).ok()).collect();
    receiving.await_log(|log| log.iter().filter(|row| row.why.contains("open already")).count() > 100);
    let cut = flood.iter().filter(|socket| {
        socket.set_read_timeout(Some(Duration::from_millis(200))).unwrap();
        matches!((&**socket).read(&mut [0; 1]), Ok(0) | Err(_))
    });
    assert!(cut.count() > 200);
    drop(flood);
    let until = Instant::now() + PATIENCE;
    while judge("echoscu", &["-aec", "ZONECALL", "127.0.0.1", &receiving.port]).0 != Some(0) {
        assert!(Instant::now() < until, "it does not serve any more");
        std::thread::sleep(Duration::from_millis(100));
    }
}

#[test]
fn an_archive_gets_stills_and_everything_that_was_made_and_again_without_harm() {
    let exam = folder();
    enter(exam.path());
    export(exam.path(), "dicom", &[], 0);
    let archive = Archive::start(&[]);
    let echo = zonecall(&["send", "--to", &archive.to(), "--called", "ARCHIVE", "--echo"]);
    assert_eq!(echo.status.code(), Some(0), "{}", said_of(&echo));
    let (frames, made) = (exam.path().join("frames"), exam.path().join("out/dicom"));
    let paths = [frames.to_str().unwrap(), made.to_str().unwrap()];
    let to = archive.to();
    let mut args = vec!["send", "--to", &to, "--called", "ARCHIVE", "--exam", exam.path().to_str().unwrap()];
    args.extend(paths);
    for _ in 0..2 {
        let done = zonecall(&args);
        assert_eq!(done.status.code(), Some(0), "{}", said_of(&done));
        assert!(said_of(&done).contains("9 of 9 sent to ARCHIVE"), "{}", said_of(&done));
    }
    let there: Vec<_> = std::fs::read_dir(archive.folder.path()).unwrap().collect();
    assert_eq!(there.len(), 9);
    let journal = std::fs::read_to_string(exam.path().join("exam.jsonl")).unwrap();
    let lines: Vec<&str> = journal.lines().filter(|line| line.contains("\"kind\":\"sent\"")).collect();
    assert!(lines.len() == 2 && lines[0].contains("ARCHIVE") && lines[0].contains(&uid(1)), "{lines:?}");
    let verified = zonecall(&["journal", exam.path().to_str().unwrap(), "--verify"]);
    assert_eq!(verified.status.code(), Some(0));
}

#[test]
fn sending_does_not_undo_a_signature() {
    let exam = folder();
    super::stage::sign(exam.path());
    let archive = Archive::start(&[]);
    let frames = exam.path().join("frames");
    let folder = exam.path().to_str().unwrap();
    let done = zonecall(&[
        "send",
        "--to",
        &archive.to(),
        "--called",
        "ARCHIVE",
        "--exam",
        folder,
        frames.to_str().unwrap(),
    ]);
    assert_eq!(done.status.code(), Some(0), "{}", said_of(&done));
    let record = export(exam.path(), "json", &[], 0);
    assert!(record.contains("\"status\": \"signed\""));
}

#[test]
fn an_exam_whose_report_was_not_exported_says_how_to() {
    let exam = folder();
    let path = exam.path().to_str().unwrap();
    let how = format!("`zonecall export {path} --as dicom`");
    let archive = Archive::start(&[]);
    let stills = zonecall(&["send", "--to", &archive.to(), "--called", "ARCHIVE", path]);
    assert_eq!(stills.status.code(), Some(0), "{}", said_of(&stills));
    assert!(
        said_of(&stills).contains("only stills were sent") && said_of(&stills).contains(&how),
        "{}",
        said_of(&stills)
    );
    let spoken = tempfile::tempdir().unwrap();
    crate::support::write_journal(
        spoken.path(),
        &[(2.0, "left fore zone one alpha transverse"), (6.0, "save")],
    );
    let done =
        zonecall(&["send", "--to", "127.0.0.1:1", "--called", "ARCHIVE", spoken.path().to_str().unwrap()]);
    assert_eq!(done.status.code(), Some(2));
    assert!(
        said_of(&done).contains("no DICOM file") && said_of(&done).contains("zonecall export"),
        "{}",
        said_of(&done)
    );
    // What was exported needs no word.
    export(exam.path(), "dicom", &[], 0);
    let all = zonecall(&["send", "--to", &archive.to(), "--called", "ARCHIVE", path]);
    assert!(!said_of(&all).contains("zonecall export"), "{}", said_of(&all));
}

#[test]
fn an_archive_that_is_not_there_or_does_not_know_us_is_an_error_with_a_way_out() {
    let exam = folder();
    let frames = exam.path().join("frames");
    // Below the ports that a system hands out by itself: no other test is given this one meanwhile.
    let nobody = format!("127.0.0.1:{}", free_port());
    let done = zonecall(&["send", "--to", &nobody, "--called", "ARCHIVE", "--echo"]);
    assert!(
        done.status.code() == Some(2) && said_of(&done).contains("check address, port and AE titles"),
        "{}",
        said_of(&done)
    );
    // It takes no image, only echoes: told to accept nothing but one class.
    let archive = Archive::start(&["--refuse"]);
    let done = zonecall(&["send", "--to", &archive.to(), "--called", "ARCHIVE", frames.to_str().unwrap()]);
    assert_eq!(done.status.code(), Some(2), "{}", said_of(&done));
}

/// dcmtk's archive answers 0xA700 where it cannot write and 0xA900 where an object is not the one that was announced (PS3.4
/// B.2.3); both are told in words, with what to do.
#[test]
fn a_bare_status_of_an_archive_is_told_in_words_with_a_way_out() {
    let exam = folder();
    let frames = exam.path().join("frames");
    let archive = Archive::start(&[]);
    let send = || {
        let to = archive.to();
        let done = zonecall(&["send", "--to", &to, "--called", "ARCHIVE", frames.to_str().unwrap()]);
        (done.status.code(), said_of(&done))
    };
    let still = frames.join("IM1.dcm");
    let whole = std::fs::read(&still).unwrap();
    let (right, wrong) = (b"2.25.2001", b"2.25.2999");
    let at = whole.windows(right.len()).rposition(|part| part == right).unwrap();
    let mut other = whole.clone();
    other[at..at + right.len()].copy_from_slice(wrong);
    std::fs::write(&still, other).unwrap();
    let (code, said) = send();
    assert_eq!(code, Some(1), "{said}");
    let told = "the object does not fit its class: something that the archive asks for is missing or wrong (status 0xA900); \
                look in its log";
    assert!(said.contains(&format!("REFUSED {}: {told}", still.display())), "{said}");
    std::fs::write(&still, whole).unwrap();
    std::fs::remove_dir_all(archive.folder.path()).unwrap();
    let (code, said) = send();
    assert_eq!(code, Some(1), "{said}");
    let told = "it has no room, or not now (status 0xA700); make room there, then send again";
    assert_eq!(said.matches(told).count(), 3, "{said}");
}

/// `dcmconv` deflates a still, and `storescu` proposes to send it so.
#[test]
fn a_deflated_still_is_taken_as_it_comes() {
    let exam = folder();
    let deflated = exam.path().join("deflated.dcm");
    let still = exam.path().join("frames/IM1.dcm");
    let (code, said) = judge("dcmconv", &["+td", still.to_str().unwrap(), deflated.to_str().unwrap()]);
    assert_eq!(code, Some(0), "{said}");
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    // Nothing else is proposed, so that nothing is converted.
    let profile = exam.path().join("profile.cfg");
    let proposed = "[[TransferSyntaxes]]\n[D]\nTransferSyntax1 = 1.2.840.10008.1.2.1.99\n\
                    [[PresentationContexts]]\n[US]\nPresentationContext1 = 1.2.840.10008.5.1.4.1.1.6.1\\D\n\
                    [[Profiles]]\n[Still]\nPresentationContexts = US\n";
    std::fs::write(&profile, proposed).unwrap();
    let args =
        ["-v", "-aec", "ZONECALL", "-xf", profile.to_str().unwrap(), "Still", "127.0.0.1", &receiving.port];
    let (code, said) = judge("storescu", &[&args[..], &[deflated.to_str().unwrap()]].concat());
    assert_eq!(code, Some(0), "{said}");
    assert_eq!(receiving.await_log(|log| log.len() == 1)[0].outcome, InboxOutcome::Kept);
    let kept = into.path().join(format!("{}.dcm", uid(1)));
    let read = |path: &std::path::Path| super::stage::python(&["header", path.to_str().unwrap()], "");
    assert_eq!(read(&kept), read(&still));
    let (_, told) = judge("dcmdump", &["+P", "0002,0010", kept.to_str().unwrap()]);
    assert!(told.contains("DeflatedLittleEndianExplicit"), "{told}");
}
