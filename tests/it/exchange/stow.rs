//! STOW-RS to Orthanc's DICOMweb plug-in, with and without TLS, and from `peers.toml` what `doctor` says.

use std::path::Path;

use serde_json::{Value, json};

use super::orthanc::Orthanc;
use super::stage::{enter, export, folder, said_of, uid};
use super::tls::Certificates;
use crate::support::program::{free_port, zonecall};

/// Debian's plug-in.
const PLUGIN: &str = "/usr/share/orthanc/plugins/libOrthancDicomWeb.so";

fn archive(more: &Value) -> Orthanc {
    assert!(Path::new(PLUGIN).exists(), "`{PLUGIN}` is missing; run `make setup`");
    let mut settings = json!({"Plugins": [PLUGIN], "DicomWeb": {"Enable": true, "Root": "/dicom-web/"}});
    for (key, value) in more.as_object().unwrap() {
        settings[key] = value.clone();
    }
    Orthanc::start(&settings)
}

#[test]
fn an_archive_of_the_web_gets_stills_and_what_was_made_once_and_the_journal_says_where() {
    let orthanc = archive(&json!({}));
    let exam = folder();
    enter(exam.path());
    export(exam.path(), "dicom", &[], 0);
    let (frames, made) = (exam.path().join("frames"), exam.path().join("out/dicom"));
    let url = format!("http://127.0.0.1:{}/dicom-web", orthanc.http);
    let exam_path = exam.path().to_str().unwrap();
    let args =
        ["send", "--stow", &url, "--exam", exam_path, frames.to_str().unwrap(), made.to_str().unwrap()];
    for _ in 0..2 {
        let done = zonecall(&args);
        assert_eq!(done.status.code(), Some(0), "{}\n{}", said_of(&done), orthanc.log());
        assert!(said_of(&done).contains("9 of 9 sent"), "{}", said_of(&done));
        assert_eq!(orthanc.instances().len(), 9);
    }
    let journal = std::fs::read_to_string(exam.path().join("exam.jsonl")).unwrap();
    let last: Value = serde_json::from_str(journal.lines().last().unwrap()).unwrap();
    assert_eq!((&last["kind"], &last["body"]["to"]), (&json!("sent"), &json!(url)));
    assert!(last["body"].get("ae_title").is_none(), "{last}");
    // Byte for byte what was sent.
    let found =
        orthanc.post("/tools/find", &json!({"Level": "Instance", "Query": {"SOPInstanceUID": uid(1)}}));
    let back = orthanc.bytes(&format!("/instances/{}/file", found[0].as_str().unwrap()));
    let sent = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(sent.path(), back).unwrap();
    let read = |path: &Path| super::stage::python(&["header", path.to_str().unwrap()], "");
    assert_eq!(read(sent.path()), read(&frames.join("IM1.dcm")));
}

#[test]
fn a_web_archive_that_knows_its_users_turns_strangers_away() {
    let orthanc = archive(&json!({"AuthenticationEnabled": true, "RegisteredUsers": {"vet": "horse"}}));
    let exam = folder();
    let frames = exam.path().join("frames");
    let url = format!("http://127.0.0.1:{}/dicom-web/", orthanc.http);
    let send = |login: &[&str]| {
        let done = zonecall(&[&["send", "--stow", &url, frames.to_str().unwrap()], login].concat());
        (done.status.code(), said_of(&done))
    };
    let (code, said) = send(&["--stow-login", "vet:halfbred"]);
    assert!(code == Some(1) && said.contains("user or password is not accepted"), "{said}");
    assert!(!said.contains("halfbred"), "{said}");
    let (code, said) = send(&["--stow-login", "vet:horse"]);
    assert_eq!(code, Some(0), "{said}\n{}", orthanc.log());
}

#[test]
fn a_web_archive_that_is_not_there_is_an_error_and_so_is_an_address_that_is_none() {
    let exam = folder();
    let frames = exam.path().join("frames");
    let send = |url: &str| {
        let done = zonecall(&["send", "--stow", url, frames.to_str().unwrap()]);
        assert_eq!(done.status.code(), Some(2), "{}", said_of(&done));
        said_of(&done)
    };
    let nowhere = format!("http://127.0.0.1:{}/dicom-web", free_port());
    assert!(send(&nowhere).contains("cannot be reached"));
    assert!(send("ftp://archive.example").contains("no address of a DICOMweb service"));
    assert!(send("https://archive.example/dicom-web").contains("--tls-ca"));
}

#[test]
fn a_web_archive_behind_tls_gets_stills_only_if_the_practice_vouches_for_it_and_for_its_name() {
    let certificates = Certificates::new();
    let orthanc = archive(&json!({}));
    let exam = folder();
    let frames = exam.path().join("frames");
    let send = |host: &str, port: u16, authority: &str| {
        let url = format!("https://{host}:{port}/dicom-web");
        let authority = certificates.path(authority);
        let done = zonecall(&["send", "--stow", &url, "--tls-ca", &authority, frames.to_str().unwrap()]);
        (done.status.code(), said_of(&done))
    };
    let good = certificates.front("receiver", orthanc.http);
    let misnamed = certificates.front("elsewhere", orthanc.http);
    let strange = certificates.front("intruder", orthanc.http);
    // Whom an authority of strangers signed, whom the practice signed as somebody else, and a practice asked about by
    // whom it does not know: each is recognised by its certificate, and gets nothing.
    for (port, authority) in
        [(strange.port, "practice.pem"), (misnamed.port, "practice.pem"), (good.port, "stranger.pem")]
    {
        let (code, said) = send("127.0.0.1", port, authority);
        assert!(code == Some(2) && said.contains("certificate"), "{authority}: {code:?} {said}");
        assert_eq!(orthanc.instances().len(), 0, "nothing is sent to whom nobody vouches for");
    }
    // By its address or its name, for both stand in the certificate.
    for host in ["127.0.0.1", "localhost"] {
        let (code, said) = send(host, good.port, "practice.pem");
        assert!(code == Some(0) && said.contains("3 of 3 sent"), "{said}\n{}", orthanc.log());
        assert_eq!(orthanc.instances().len(), 3);
    }
}
