//! A receiver whose callers take their time, whose disk is full, or whose files were changed.

use std::io::Write as _;
use std::net::{TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use rustls::ServerConfig;
use zonecall::exchange::network::receive::{ReceiveLimits, Receiver};
use zonecall::exchange::network::tls::TlsFiles;
use zonecall::exchange::network::{InboxOutcome, ReceivedObject};

use super::peers::{PATIENCE, Receiving, names, stills};
use super::stage::{folder, judge};
use super::tls::Certificates;

/// What a receiver with one place logs while callers send a byte at a time, slower than it takes a request for stalled.
fn logged_of_slow_callers(tls: Option<Arc<ServerConfig>>, first: &[u8]) -> Vec<String> {
    let into = tempfile::tempdir().unwrap();
    let limits = ReceiveLimits {
        silence_max: Duration::from_secs(30),
        opening_max: Duration::from_secs(4),
        connections_max: 1,
        ..ReceiveLimits::default()
    };
    let mut receiver = Receiver::new(into.path(), "ZONECALL", limits, 0).unwrap();
    if let Some(config) = tls {
        receiver = receiver.with_tls(config);
    }
    let listener = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let address = listener.local_addr().unwrap();
    let stop = AtomicBool::new(false);
    let why = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        let serving = scope.spawn(|| {
            receiver
                .serve(&listener, &stop, &|row: &ReceivedObject| why.lock().unwrap().push(row.why.clone()))
        });
        let mut socket = TcpStream::connect(address).unwrap();
        socket.write_all(first).unwrap();
        let until = Instant::now() + PATIENCE;
        while why.lock().unwrap().is_empty() && Instant::now() < until {
            // Where it was shut, writing fails.
            let _ = socket.write_all(&[0]);
            std::thread::sleep(Duration::from_millis(1500));
        }
        stop.store(true, Ordering::Relaxed);
        serving.join().unwrap().unwrap();
    });
    why.into_inner().unwrap()
}

#[test]
fn an_association_that_is_opened_a_byte_at_a_time_does_not_hold_its_place() {
    // A request that announces 8192 bytes.
    let why = logged_of_slow_callers(None, &[1, 0, 0, 0, 0x20, 0]);
    assert_eq!(why, ["it connected, and its request had not come as a whole after 4 s"]);
}

#[test]
fn a_tls_handshake_that_comes_a_byte_at_a_time_does_not_hold_its_place() {
    let certificates = Certificates::new();
    let files = TlsFiles {
        authority: certificates.path("practice.pem").into(),
        own: Some((certificates.path("receiver.pem").into(), certificates.path("receiver.key").into())),
    };
    // A record of a handshake that announces 8192 bytes (RFC 8446, 5.1).
    let why = logged_of_slow_callers(Some(files.server().unwrap()), &[22, 3, 1, 0x20, 0]);
    assert_eq!(why, ["it connected, and its request had not come as a whole after 4 s"]);
}

#[test]
fn of_strangers_only_the_first_of_a_minute_are_listed() {
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &["--address", "192.0.2.7"]);
    for _ in 0..60 {
        drop(TcpStream::connect(("127.0.0.1", receiving.port.parse().unwrap())).unwrap());
    }
    let log = receiving.await_log(|log| log.len() >= 10);
    assert!(log[9].why.ends_with("; more of these are not listed in this minute"), "{log:?}");
    // What would be listed would be there by now: the door handles one after the other.
    std::thread::sleep(Duration::from_secs(2));
    // A test that runs over the end of a minute sees those of two.
    assert!(receiving.log().len() <= 20, "{}", receiving.log().len());
}

/// A disk that is full, as the list of what came sees it: the still is kept, but nobody could ever say that it came.
#[test]
fn a_still_that_cannot_be_listed_is_not_answered_with_success() {
    let exam = folder();
    let still = stills(exam.path()).remove(0);
    let into = tempfile::tempdir().unwrap();
    let list = into.path().join("received.jsonl");
    std::os::unix::fs::symlink("/dev/full", &list).unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    let (_, said) = receiving.storescu(&[still.as_str()]);
    assert!(said.contains("0xa700") || said.contains("A700") || said.contains("OutOfResources"), "{said}");
    drop(receiving);
    // Sent again when there is room, it is there and listed.
    std::fs::remove_file(&list).unwrap();
    let receiving = Receiving::start(into.path(), &[]);
    let (code, said) = receiving.storescu(&[still.as_str()]);
    assert_eq!(code, Some(0), "{said}");
    assert_eq!(receiving.await_log(|log| log.len() == 1)[0].outcome, InboxOutcome::Known);
    assert_eq!(names(into.path()).len(), 1);
    let (code, said) = judge("echoscu", &["-aec", "ZONECALL", "127.0.0.1", &receiving.port]);
    assert_eq!(code, Some(0), "{said}");
}
