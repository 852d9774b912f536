//! Peers by name: `doctor` asks each for an echo, `send` and `worklist` call it by its name.

use std::process::{Command, Output};

use serde_json::json;

use super::orthanc::Orthanc;
use super::stage::{folder, said_of};
use crate::support::program::free_port;

fn zonecall(peers: &str, args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_zonecall")).env("ZONECALL_PEERS", peers).args(args).output().unwrap()
}

fn peer(name: &str, port: u16, title: &str) -> String {
    format!("[[peer]]\nname = \"{name}\"\naddress = \"127.0.0.1:{port}\"\nae_title = \"{title}\"\n")
}

#[test]
fn doctor_says_of_each_peer_in_plain_words_whether_it_answers_and_what_to_do() {
    let orthanc = Orthanc::start(&json!({}));
    let place = tempfile::tempdir().unwrap();
    let path = place.path().join("peers.toml");
    let all = [
        peer("archive", orthanc.dicom, "ARCHIVE"),
        peer("misspelt", orthanc.dicom, "ARCHIV"),
        peer("off", free_port(), "ARCHIVE"),
    ];
    std::fs::write(&path, all.concat()).unwrap();
    let peers = path.to_str().unwrap();
    let said = said_of(&zonecall(peers, &["doctor"]));
    let said: String = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains(&format!("`archive` (ARCHIVE at 127.0.0.1:{}) answers", orthanc.dicom)), "{said}");
    assert!(said.contains("turns us away") && said.contains("enter our AE title"), "{said}");
    assert!(said.contains("nothing answers there") && said.contains("no firewall between"), "{said}");
    // The name stands for address and title.
    let exam = folder();
    let frames = exam.path().join("frames");
    let sent = zonecall(peers, &["send", "--to", "archive", frames.to_str().unwrap()]);
    assert!(said_of(&sent).contains("3 of 3 sent to ARCHIVE"), "{}", said_of(&sent));
    let unknown = zonecall(peers, &["send", "--to", "attic", "--echo"]);
    let said = said_of(&unknown);
    assert!(
        unknown.status.code() == Some(2) && said.contains("the known names are `archive`, `misspelt`, `off`"),
        "{said}"
    );
    let bare = zonecall(peers, &["send", "--to", "127.0.0.1:104", "--echo"]);
    assert!(bare.status.code() == Some(2) && said_of(&bare).contains("--called"), "{}", said_of(&bare));
}
