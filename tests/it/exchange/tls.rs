//! TLS with certificates on both sides: the right one, a wrong one, and none.

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde_json::{Value, json};

use super::orthanc::Orthanc;
use super::peers::{Archive, Receiving, names, stills};
use super::stage::{folder, judge, said_of, uid};
use crate::support::program::zonecall;

/// Certificates of a practice, made by `openssl`: an authority, and whom it signed.
pub(super) struct Certificates {
    folder: tempfile::TempDir,
}

/// TLS in front of a server that has none; it ends with its test.
pub(super) struct Front {
    child: Child,
    pub(super) port: u16,
}

impl Drop for Front {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// The names that a certificate is for: this machine's.
const HERE: &str = "IP:127.0.0.1,DNS:localhost";

impl Certificates {
    pub(super) fn new() -> Certificates {
        let folder = tempfile::tempdir().unwrap();
        let made = Certificates { folder };
        made.authority("practice");
        made.authority("stranger");
        made.signed("scanner", "practice", HERE);
        made.signed("receiver", "practice", HERE);
        made.signed("elsewhere", "practice", "DNS:archive.example");
        made.signed("intruder", "stranger", HERE);
        made
    }

    pub(super) fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }

    fn openssl(&self, args: &[&str]) {
        let done = Command::new("openssl").args(args).current_dir(self.folder.path()).output();
        let done = done.unwrap_or_else(|error| panic!("openssl: {error}; run `make setup`"));
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    }

    fn authority(&self, name: &str) {
        let (key, cert, subject) =
            (format!("{name}.key"), format!("{name}.pem"), format!("/CN={name} authority"));
        let args =
            ["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-keyout", &key, "-out", &cert];
        self.openssl(&[&args[..], &["-subj", &subject]].concat());
    }

    fn signed(&self, name: &str, by: &str, names: &str) {
        let file = |ending: &str| format!("{name}.{ending}");
        let (key, request, cert, more) = (file("key"), file("csr"), file("pem"), file("ext"));
        let subject = format!("/CN={name}");
        std::fs::write(self.path(&more), format!("subjectAltName={names}\n")).unwrap();
        self.openssl(&[
            "req", "-newkey", "rsa:2048", "-nodes", "-keyout", &key, "-out", &request, "-subj", &subject,
        ]);
        let (authority, signer) = (format!("{by}.pem"), format!("{by}.key"));
        let args = ["x509", "-req", "-in", &request, "-CA", &authority, "-CAkey", &signer, "-CAcreateserial"];
        self.openssl(&[&args[..], &["-days", "2", "-out", &cert, "-extfile", &more]].concat());
    }

    /// Our options for the certificate of this name.
    pub(super) fn ours(&self, name: &str) -> Vec<String> {
        [
            ("--tls-ca", "practice.pem".to_owned()),
            ("--tls-cert", format!("{name}.pem")),
            ("--tls-key", format!("{name}.key")),
        ]
        .into_iter()
        .flat_map(|(option, file)| [option.to_owned(), self.path(&file)])
        .collect()
    }

    /// Orthanc's settings with that of the receiver; it takes nobody without one.
    pub(super) fn orthanc(&self) -> Value {
        json!({
            "DicomTlsEnabled": true,
            "DicomTlsCertificate": self.path("receiver.pem"),
            "DicomTlsPrivateKey": self.path("receiver.key"),
            "DicomTlsTrustedCertificates": self.path("practice.pem"),
            "DicomTlsRemoteCertificateRequired": true,
        })
    }

    /// TLS with the certificate of this name in front of a port of this machine.
    ///
    /// Debian's Orthanc ends itself at the first request by TLS, so its own cannot be used for the web.
    pub(super) fn front(&self, name: &str, plain_port: u16) -> Front {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/it/exchange/tls_front.py");
        let mut child = Command::new("python3")
            .arg(script)
            .args([
                self.path(&format!("{name}.pem")),
                self.path(&format!("{name}.key")),
                plain_port.to_string(),
            ])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        Front { child, port: line.trim().parse().unwrap() }
    }

    /// dcmtk's options for it.
    fn theirs(&self, name: &str) -> Vec<String> {
        let (key, cert) = (self.path(&format!("{name}.key")), self.path(&format!("{name}.pem")));
        vec!["+tls".to_owned(), key, cert, "+cf".to_owned(), self.path("practice.pem")]
    }
}

fn strs(args: &[String]) -> Vec<&str> {
    args.iter().map(String::as_str).collect()
}

fn storescu(receiving: &Receiving, tls: &[&str], still: &str) -> (Option<i32>, String) {
    let to = ["-aec", "ZONECALL", "127.0.0.1", &receiving.port, still];
    judge("storescu", &[&["-v"], tls, &to[..]].concat())
}

#[test]
fn a_scanner_comes_in_only_with_a_certificate_that_the_practice_signed() {
    let certificates = Certificates::new();
    let exam = folder();
    let still = &stills(exam.path())[0];
    let into = tempfile::tempdir().unwrap();
    let receiving = Receiving::start(into.path(), &strs(&certificates.ours("receiver")));
    let (code, said) = storescu(&receiving, &strs(&certificates.theirs("intruder")), still);
    assert_ne!(code, Some(0), "a certificate of a stranger: {said}");
    let practice = certificates.path("practice.pem");
    let (code, said) = storescu(&receiving, &["+tla", "+cf", &practice], still);
    assert_ne!(code, Some(0), "no certificate: {said}");
    let (code, said) = storescu(&receiving, &[], still);
    assert_ne!(code, Some(0), "no TLS: {said}");
    assert_eq!(names(into.path()), Vec::<String>::new());
    let log = receiving.await_log(|log| log.len() >= 3);
    assert!(log.iter().all(|row| row.why.starts_with("TLS: ") && row.file.is_none()), "{log:?}");
    let (code, said) = storescu(&receiving, &strs(&certificates.theirs("scanner")), still);
    assert_eq!(code, Some(0), "{said}\n{:?}", receiving.log());
    assert_eq!(names(into.path()), [format!("{}.dcm", uid(1))]);
    let sent = super::stage::python(&["header", still], "");
    let kept = into.path().join(format!("{}.dcm", uid(1)));
    assert_eq!(super::stage::python(&["header", kept.to_str().unwrap()], ""), sent);
}

fn send(to: &str, tls: &[String], frames: &Path) -> (Option<i32>, String) {
    let args = ["send", "--to", to, "--called", "ARCHIVE", "--patience-s", "10", frames.to_str().unwrap()];
    let done = zonecall(&[&args[..], &strs(tls)].concat());
    (done.status.code(), said_of(&done))
}

#[test]
fn an_archive_gets_stills_only_by_tls_and_only_the_one_that_the_practice_signed() {
    let certificates = Certificates::new();
    let exam = folder();
    let frames: PathBuf = exam.path().join("frames");
    let archive = Archive::start(&[strs(&certificates.theirs("receiver")), vec!["-rc"]].concat());
    let there = || std::fs::read_dir(archive.folder.path()).unwrap().count();
    let (code, said) = send(&archive.to(), &certificates.ours("intruder"), &frames);
    assert!(code == Some(2) && there() == 0, "{said}");
    let alone = ["--tls-ca".to_owned(), certificates.path("practice.pem")];
    let (code, said) = send(&archive.to(), &alone, &frames);
    assert!(code == Some(2) && there() == 0, "{said}");
    let (code, said) = send(&archive.to(), &[], &frames);
    assert!(code == Some(2) && there() == 0, "{said}");
    let (code, said) = send(&archive.to(), &certificates.ours("scanner"), &frames);
    assert!(code == Some(0) && there() == 3, "{said}");
    // An archive that only pretends to be one.
    let pretender = Archive::start(&strs(&certificates.theirs("intruder")));
    let (code, said) = send(&pretender.to(), &certificates.ours("scanner"), &frames);
    assert!(code == Some(2) && said.contains("TLS: ") && said.contains("certificate"), "{said}");
    assert_eq!(std::fs::read_dir(pretender.folder.path()).unwrap().count(), 0);
}

#[test]
fn orthanc_takes_the_stills_by_tls() {
    let certificates = Certificates::new();
    let exam = folder();
    let orthanc = Orthanc::start(&certificates.orthanc());
    let (code, said) = send(&orthanc.to(), &certificates.ours("intruder"), &exam.path().join("frames"));
    assert!(code == Some(2) && orthanc.instances().is_empty(), "{said}");
    let (code, said) = send(&orthanc.to(), &certificates.ours("scanner"), &exam.path().join("frames"));
    assert_eq!(code, Some(0), "{said}\n{}", orthanc.log());
    assert_eq!(orthanc.instances().len(), 3);
}

#[test]
fn certificates_that_do_not_fit_are_told_before_anything_is_tried() {
    let certificates = Certificates::new();
    let told = |args: &[&str]| {
        let done =
            zonecall(&[&["send", "--to", "127.0.0.1:1", "--called", "ARCHIVE", "--echo"], args].concat());
        assert_eq!(done.status.code(), Some(2));
        said_of(&done)
    };
    let (practice, scanner, other) = (
        certificates.path("practice.pem"),
        certificates.path("scanner.pem"),
        certificates.path("receiver.key"),
    );
    let said = told(&["--tls-ca", &practice, "--tls-cert", &scanner, "--tls-key", &other]);
    assert!(said.contains("check that the key belongs to the certificate"), "{said}");
    let said = told(&["--tls-ca", &other]);
    assert!(said.contains("wanted is a certificate in PEM form"), "{said}");
    let into = tempfile::tempdir().unwrap();
    let done =
        zonecall(&["receive", "--into", into.path().to_str().unwrap(), "--port", "0", "--tls-ca", &practice]);
    assert!(done.status.code() == Some(2) && said_of(&done).contains("--tls-cert"), "{}", said_of(&done));
}
