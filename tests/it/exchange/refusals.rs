//! What a receiver must not take: each is refused with a line in the log, and nothing is left behind.

use std::collections::VecDeque;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::time::{Duration, Instant};

use dicom_core::{DataElement, PrimitiveValue, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::FileMetaTableBuilder;

use zonecall::exchange::network::InboxOutcome;

use super::load::memory_kb;
use super::peers::{PATIENCE, Receiving, names, stills};
use super::stage::{folder, judge, still};

/// What lies in a folder and below, the receiver's own lock and log aside.
fn everything(folder: &Path) -> Vec<String> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            found.extend(everything(&path));
        } else {
            found.push(path.file_name().unwrap().to_string_lossy().into_owned());
        }
    }
    found.retain(|name| name != "lock" && name != "received.jsonl");
    found
}

/// The bytes of an association request for ultrasound images, as PS3.8 9.3.2 lays them out.
fn request(called: &str) -> Vec<u8> {
    let item = |kind: u8, body: &[u8]| {
        let length = u16::try_from(body.len()).unwrap().to_be_bytes();
        [&[kind, 0][..], &length, body].concat()
    };
    let application = item(0x10, b"1.2.840.10008.3.1.1.1");
    let class = item(0x30, uids::ULTRASOUND_IMAGE_STORAGE.as_bytes());
    let syntax = item(0x40, uids::EXPLICIT_VR_LITTLE_ENDIAN.as_bytes());
    let context = item(0x20, &[&[1, 0, 0, 0][..], &class, &syntax].concat());
    let user = item(0x50, &[item(0x51, &16384_u32.to_be_bytes()), item(0x52, b"1.2.3.4")].concat());
    let titles = format!("{called:<16}{:<16}", "SCANNER");
    let head = [&[0, 1, 0, 0][..], titles.as_bytes(), &[0; 32]].concat();
    let body = [head, application, context, user].concat();
    [&[1, 0][..], &u32::try_from(body.len()).unwrap().to_be_bytes(), &body].concat()
}

fn connect(receiving: &Receiving) -> TcpStream {
    let socket = TcpStream::connect(("127.0.0.1", receiving.port.parse().unwrap())).unwrap();
    socket.set_read_timeout(Some(PATIENCE)).unwrap();
    socket
}

/// An association that was agreed on.
fn agreed(receiving: &Receiving) -> TcpStream {
    let mut socket = connect(receiving);
    socket.write_all(&request("ZONECALL")).unwrap();
    assert_eq!(answer(&mut socket)[0], 2, "accepted");
    socket
}

/// The whole answer, which may come in pieces: its length stands in its first six bytes (PS3.8 9.3.1).
fn answer(socket: &mut TcpStream) -> Vec<u8> {
    let mut bytes = vec![0; 6];
    socket.read_exact(&mut bytes).unwrap();
    let length = u32::from_be_bytes([bytes[2], bytes[3], bytes[4], bytes[5]]);
    bytes.resize(6 + length as usize, 0);
    socket.read_exact(&mut bytes[6..]).unwrap();
    bytes
}

/// Waits until the other side has hung up.
fn is_cut(mut socket: TcpStream) -> bool {
    let mut rest = Vec::new();
    !matches!(socket.read_to_end(&mut rest), Err(error) if error.kind() == std::io::ErrorKind::WouldBlock)
}

#[test]
fn half_messages_and_lengths_of_gigabytes_end_the_association_and_leave_nothing() {
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    let cases: [&[u8]; 6] = [
        // Data without a command.
        &[4, 0, 0, 0, 0, 8, 0, 0, 0, 4, 1, 0, 0, 0],
        // A PDU of four gigabytes.
        &[4, 0, 0xff, 0xff, 0xff, 0xff, 0, 0],
        // A part that is longer than the PDU that holds it.
        &[4, 0, 0, 0, 0, 8, 0xff, 0xff, 0xff, 0xff, 1, 3, 0, 0],
        // A command that is none.
        &[4, 0, 0, 0, 0, 10, 0, 0, 0, 6, 1, 3, 1, 2, 3, 4],
        // A PDU of a kind that is none.
        &[9, 0, 0, 0, 0, 1, 0],
        // Half a PDU.
        &[4, 0, 0, 0, 1, 0, 0],
    ];
    for (number, case) in cases.iter().enumerate() {
        let mut socket = agreed(&receiving);
        socket.write_all(case).unwrap();
        socket.shutdown(std::net::Shutdown::Write).unwrap();
        assert!(is_cut(socket), "case {number}");
        let log = receiving.await_log(|log| log.len() > number);
        assert_eq!(log[number].outcome, InboxOutcome::Refused, "case {number}: {log:?}");
        assert!(!log[number].why.is_empty(), "case {number}: {log:?}");
    }
    assert_eq!(everything(into.path()), Vec::<String>::new());
    let (code, said) = judge("echoscu", &["-aec", "ZONECALL", "127.0.0.1", &receiving.port]);
    assert_eq!(code, Some(0), "it still serves: {said}");
}

#[test]
fn a_still_whose_dates_are_none_is_kept_with_its_doubt_or_refused_but_never_breaks_the_receiver() {
    let source = tempfile::tempdir().unwrap();
    let mut still = still(1, 14.0);
    for (tag, vr, text) in [
        (tags::ACQUISITION_DATE_TIME, VR::DT, "yesterday"),
        (tags::ACQUISITION_DATE, VR::DA, "1994.11.05"),
        (tags::ACQUISITION_TIME, VR::TM, "noon"),
        (tags::CONTENT_DATE, VR::DA, "20261345"),
        (tags::CONTENT_TIME, VR::TM, "259900"),
        (tags::INSTANCE_CREATION_DATE, VR::DA, "00000000"),
    ] {
        still.put(DataElement::new(tag, vr, PrimitiveValue::from(text)));
    }
    let path = source.path().join("still.dcm");
    let meta = FileMetaTableBuilder::new().transfer_syntax(uids::EXPLICIT_VR_LITTLE_ENDIAN);
    still.with_meta(meta).unwrap().write_to_file(&path).unwrap();
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    judge("storescu", &["-aec", "ZONECALL", "127.0.0.1", &receiving.port, path.to_str().unwrap()]);
    let log = receiving.await_log(|log| log.len() == 1);
    // No time is made up.
    assert!(log[0].saved_at.is_none() && !log[0].why.is_empty(), "{log:?}");
    assert_eq!(names(into.path()).len(), usize::from(log[0].outcome == InboxOutcome::Kept));
}

#[test]
fn a_transfer_syntax_that_nobody_knows_is_refused_when_it_is_proposed() {
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    let mut bytes = request("ZONECALL");
    let known = uids::EXPLICIT_VR_LITTLE_ENDIAN.as_bytes();
    let at = bytes.windows(known.len()).position(|part| part == known).unwrap();
    bytes[at..at + known.len()].copy_from_slice(b"1.2.840.10008.9.9.9");
    let mut socket = connect(&receiving);
    socket.write_all(&bytes).unwrap();
    let answer = answer(&mut socket);
    // Context 1 with the result `transfer syntaxes not supported` (PS3.8 9.3.3.2).
    let refused = answer.windows(7).any(|part| part[..2] == [0x21, 0] && part[4..] == [1, 0, 4]);
    assert!(refused, "{answer:?}");
    drop(socket);
    assert_eq!(everything(into.path()), Vec::<String>::new());
    // A scanner that gives up says nothing to anybody: the log does.
    let log = receiving.await_log(|log| !log.is_empty());
    assert!(log[0].why.contains("Ultrasound Image Storage was proposed only"), "{log:?}");
}

#[test]
fn hundreds_of_associations_that_are_opened_and_left_do_not_keep_a_scanner_out() {
    let exam = folder();
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &["--connections-max", "8"]);
    for round in 0..50 {
        // Eight at a time are agreed on, and left without a word.
        let open: Vec<TcpStream> = (0..8).map(|_| agreed(&receiving)).collect();
        drop(open);
        receiving.await_log(|log| log.len() >= (round + 1) * 8);
    }
    comes_in(&receiving, &stills(exam.path())[0]);
    assert_eq!(names(into.path()).len(), 1);
}

/// Sends until the receiver has noticed that the places are free again.
fn comes_in(receiving: &Receiving, still: &str) {
    let until = Instant::now() + PATIENCE;
    loop {
        let (code, said) = receiving.storescu(&[still]);
        if code == Some(0) {
            return;
        }
        assert!(Instant::now() < until, "{said}");
        std::thread::sleep(Duration::from_millis(100));
    }
}

/// As a scan of the network or a broken program does it: opened, one request, and never another word.
#[test]
fn ten_thousand_associations_opened_and_left_are_refused_and_a_scanner_comes_in_afterwards() {
    const ALL: usize = 10_000;
    /// Sockets that are held at once: more than are let in, fewer than this program may have.
    const HELD: usize = 100;
    let exam = folder();
    let into = tempfile::tempdir().unwrap();
    let limits = ["--connections-max", "16", "--connections-a-minute-max", "100000"];
    let receiving = Receiving::start(into.path(), &limits);
    let mut held = VecDeque::new();
    let mut early = 0;
    for number in 0..ALL {
        if number == ALL / 10 {
            early = memory_kb(&receiving.child);
        }
        let mut socket = connect(&receiving);
        // Where it is refused at once, writing may fail already.
        let _ = socket.write_all(&request("ZONECALL"));
        held.push_back(socket);
        if held.len() > HELD {
            held.pop_front();
        }
    }
    let log = receiving.await_log(|log| log.len() >= ALL - HELD);
    let late = memory_kb(&receiving.child);
    assert!(late < early + 32_000, "{early} kB early, {late} kB at the end");
    assert!(log.iter().all(|row| row.outcome == InboxOutcome::Refused && !row.why.is_empty()));
    assert!(log.iter().any(|row| row.why.contains("connections are open already")), "{:?}", log.last());
    assert_eq!(everything(into.path()), Vec::<String>::new());
    drop(held);
    comes_in(&receiving, &stills(exam.path())[0]);
    assert_eq!(names(into.path()).len(), 1);
    eprintln!("{ALL} associations, memory {early} kB early and {late} kB at the end");
}

/// A stranger's flood must not use up what the scanner may do.
#[test]
fn connections_from_an_address_that_is_not_allowed_do_not_keep_a_scanner_out() {
    let exam = folder();
    let into = tempfile::tempdir().unwrap();
    let limits = ["--address", "127.0.0.1", "--connections-a-minute-max", "5"];
    let receiving = Receiving::start(into.path(), &limits);
    let url = format!("http://127.0.0.1:{}/", receiving.port);
    for _ in 0..20 {
        // From another address of this machine: the whole of 127.0.0.0/8 is its own.
        judge("curl", &["-s", "-m", "5", "--interface", "127.0.0.2", &url]);
    }
    let log = receiving.await_log(|log| !log.is_empty());
    assert!(log[0].why.contains("the address is not allowed"), "{log:?}");
    let (code, said) = receiving.storescu(&[&stills(exam.path())[0]]);
    assert_eq!(code, Some(0), "{said}");
}
