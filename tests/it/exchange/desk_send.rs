//! The exam sent to the practice's archive from the review desk; dcmtk's archive is on the other side.

use std::path::Path;

use serde_json::json;

use super::peers::{Archive, names};
use super::stage::{folder, uid};
use crate::support::desk::Served;
use crate::support::program::free_port;

/// Sets the peers of a desk of this exam.
pub(crate) fn set_peers(exam: &Path, text: &str) {
    let settings = exam.join("settings/zonecall");
    std::fs::create_dir_all(&settings).unwrap();
    std::fs::write(settings.join("peers.toml"), text).unwrap();
}

pub(crate) fn peer(name: &str, address: &str) -> String {
    format!("[[peer]]\nname = \"{name}\"\naddress = \"{address}\"\nae_title = \"ARCHIVE\"\n")
}

#[test]
fn the_desk_sends_to_a_peer_that_is_set_and_the_journal_keeps_it() {
    let (exam, archive) = (folder(), Archive::start(&[]));
    let served = Served::start(exam.path(), 0);
    let asked = |path: &str| -> serde_json::Value { serde_json::from_slice(&served.get(path).1).unwrap() };
    assert_eq!(asked("/api/send"), json!({"peers": []}));
    let off = format!("127.0.0.1:{}", free_port());
    set_peers(exam.path(), &[peer("archive", &archive.to()), peer("off", &off)].concat());
    assert_eq!(asked("/api/send"), json!({"peers": ["archive", "off"]}), "read anew each time");

    let (status, told) = served.post("/api/send", &json!({"by": "Ada", "peer": "archive", "what": "stills"}));
    assert_eq!((status, &told["whole"]), (200, &json!(true)), "{told}");
    assert!(told["said"].as_str().unwrap().contains("3 of 3 sent to ARCHIVE"), "{told}");
    assert_eq!(names(archive.folder.path()).len(), 0, "dcmtk gives its files no ending");
    assert_eq!(std::fs::read_dir(archive.folder.path()).unwrap().count(), 3);

    let (status, told) = served.post("/api/send", &json!({"by": "Ada", "peer": "archive", "what": "all"}));
    assert_eq!((status, &told["whole"]), (200, &json!(true)), "{told}");
    // The stills again, report, presentation states, selection and PDF.
    let kept = std::fs::read_dir(archive.folder.path()).unwrap().count();
    assert!(kept >= 3 + 6, "{kept}: {told}");
    let journal = std::fs::read_to_string(exam.path().join("exam.jsonl")).unwrap();
    let sent: Vec<serde_json::Value> = journal
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap())
        .filter(|line| line["kind"] == "sent")
        .map(|line| line["body"].clone())
        .collect();
    assert_eq!(sent.len(), 2, "{journal}");
    assert_eq!((&sent[0]["ae_title"], &sent[0]["by"]), (&json!("ARCHIVE"), &json!("Ada")));
    let shown = crate::support::program::zonecall(&["journal", exam.path().to_str().unwrap()]);
    assert!(String::from_utf8_lossy(&shown.stdout).contains("by Ada: 3 objects sent to"));
    assert!(sent[0]["objects"].as_array().unwrap().contains(&json!(uid(1))), "{}", sent[0]);

    // What cannot be reached, what is no peer and a broken list are refused in words, and nothing is written down.
    let (status, told) = served.post("/api/send", &json!({"by": "Ada", "peer": "off", "what": "stills"}));
    assert!(status == 422 && told["message"].as_str().unwrap().contains("cannot be reached"), "{told}");
    let (status, told) =
        served.post("/api/send", &json!({"by": "Ada", "peer": "192.0.2.1:104", "what": "stills"}));
    assert!(status == 422 && told["message"].as_str().unwrap().contains("no peer is called"), "{told}");
    set_peers(exam.path(), "[[peer]]\nname = 3\n");
    let (status, told) = served.post("/api/send", &json!({"by": "Ada", "peer": "archive", "what": "stills"}));
    assert!(status == 422 && told["message"].as_str().unwrap().contains("peers.toml"), "{told}");
    let after = std::fs::read_to_string(exam.path().join("exam.jsonl")).unwrap();
    assert_eq!(after, journal);
}
