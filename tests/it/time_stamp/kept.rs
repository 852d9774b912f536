//! A signature that was stamped: what is kept, what says so, and what OpenSSL says of it.

use std::io::{BufRead as _, BufReader, Write as _};
use std::os::unix::fs::{OpenOptionsExt as _, PermissionsExt as _};
use std::path::PathBuf;
use std::process::{Command, Output, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use sha2::{Digest as _, Sha256};

use super::authority::{Authority, Way};
use crate::support;
use crate::support::desk::Served;

const ADA: &str = "ada has four good words";
const RSA: &[&str] = &["-newkey", "rsa:2048"];
const EC: &[&str] = &["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-384"];

/// A practice with a vet and an exam.
struct Practice(tempfile::TempDir);

impl Practice {
    fn new() -> Practice {
        let practice = Practice(tempfile::tempdir().unwrap());
        let exam = practice.0.path().join("exam");
        support::write_journal(&exam, &[(2.0, "left fore zone two bravo transverse")]);
        let secret = practice.text("secret");
        let mut options = std::fs::OpenOptions::new();
        let mut file = options.write(true).create_new(true).mode(0o600).open(&secret).unwrap();
        writeln!(file, "{ADA}").unwrap();
        let add = ["people", "add", "Dr Ada", "--role", "vet", "--licence", "V-1", "--passphrase-file"];
        assert!(practice.run(&[&add[..], &[&secret]].concat()).status.success());
        practice
    }

    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn text(&self, name: &str) -> String {
        self.at(name).to_str().unwrap().to_owned()
    }

    /// Settings that name a server and, if need be, who vouches for it.
    fn set(&self, url: &str, ca: Option<&str>) {
        let ca = ca.map_or_else(String::new, |ca| format!("time_stamp_ca = {ca:?}\n"));
        std::fs::create_dir_all(self.at("zonecall")).unwrap();
        std::fs::write(self.at("zonecall/zonecall.toml"), format!("time_stamp = {url:?}\n{ca}")).unwrap();
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_zonecall"));
        command.args(words).env("XDG_CONFIG_HOME", self.0.path()).env_remove("ZONECALL_SETTINGS");
        command
    }

    fn run(&self, words: &[&str]) -> Output {
        self.command(words).output().unwrap()
    }

    fn sign(&self) -> (Option<i32>, String) {
        said(&self.run(&self.sign_words().each_ref().map(String::as_str)))
    }

    fn sign_words(&self) -> [String; 7] {
        let secret = self.text("secret");
        let words =
            ["sign", &self.text("exam"), "--vet", "Dr Ada", "--no-impression", "--passphrase-file", &secret];
        words.map(str::to_owned)
    }

    fn stamp(&self, more: &[&str]) -> (Option<i32>, String) {
        said(&self.run(&[&["stamp", &self.text("exam")], more].concat()))
    }

    fn verify(&self, more: &[&str]) -> (Option<i32>, String) {
        said(&self.run(&[&["journal", &self.text("exam"), "--verify"], more].concat()))
    }

    fn check(&self) -> String {
        said(&self.run(&["check", &self.text("exam")])).1
    }

    /// SHA-256 of the journal's last line, made here and not by the program.
    fn hash(&self) -> String {
        let text = std::fs::read_to_string(self.at("exam/exam.jsonl")).unwrap();
        let line = text.lines().find(|line| line.contains("\"signed\"")).unwrap();
        Sha256::digest(line).iter().map(|byte| format!("{byte:02x}")).collect()
    }

    /// The one time stamp that is kept.
    fn token(&self) -> String {
        let kept: Vec<PathBuf> =
            std::fs::read_dir(self.at("exam/stamps")).unwrap().map(|entry| entry.unwrap().path()).collect();
        assert_eq!(kept.len(), 1, "{kept:?}");
        kept[0].to_str().unwrap().to_owned()
    }

    fn journal(&self) -> Vec<u8> {
        std::fs::read(self.at("exam/exam.jsonl")).unwrap()
    }
}

fn said(output: &Output) -> (Option<i32>, String) {
    let text = [output.stdout.as_slice(), output.stderr.as_slice()].concat();
    (output.status.code(), String::from_utf8(text).unwrap())
}

/// The name in the server's certificate would turn the line round and clear the screen.
const NAME: &str = "Example Time \\u{202e}\\u{1b}[2J";

#[test]
fn a_signature_is_stamped_where_a_server_is_set_and_openssl_agrees() {
    for key in [RSA, EC] {
        let authority = Arc::new(Authority::new(key));
        let practice = Practice::new();
        practice.set(&authority.serve(Way::Right), Some(&authority.ca()));
        let (code, text) = practice.sign();
        assert!(code == Some(0) && text.contains("signed by Dr Ada"), "{text}");
        assert!(text.contains("is stamped: 20") && text.contains(&format!("(+-1.5 s) by {NAME}")), "{text}");
        let token = practice.token();
        assert_eq!(std::fs::metadata(&token).unwrap().permissions().mode() & 0o777, 0o600);
        assert!(authority.verifies(&token, &practice.hash(), "ca.pem"), "OpenSSL takes it");
        assert!(!authority.verifies(&token, &"ab".repeat(32), "ca.pem"), "and for nothing else");
        assert!(!authority.verifies(&token, &practice.hash(), "other.pem"), "nor of another authority");
        let (code, text) = practice.verify(&[]);
        assert_eq!(code, Some(0), "{text}");
        assert!(text.contains(&format!("by {NAME}, for whom the named authority vouches")), "{text}");
        let other = authority.path("other.pem");
        let (code, text) = practice.verify(&["--time-stamp-ca", other.to_str().unwrap()]);
        assert!(code == Some(1) && text.contains("does not lead to the authority that was named"), "{text}");
        assert!(practice.check().contains("signed by Dr Ada; time stamp of 20"), "{}", practice.check());
        let report = practice.text("report.html");
        assert!(practice.run(&["report", &practice.text("exam"), "--out", &report]).status.success());
        let report = std::fs::read_to_string(report).unwrap();
        assert!(report.contains("Time stamp of ") && report.contains(&format!("by {NAME}.")), "{report}");
        let record = practice.run(&["export", &practice.text("exam"), "--as", "json"]).stdout;
        let record: serde_json::Value = serde_json::from_slice(&record).unwrap();
        assert_eq!(record["exam"]["signed"]["time_stamp"]["by"], NAME);
        assert_eq!(record["exam"]["status"], "signed");
    }
}

#[test]
fn a_signature_without_a_network_is_stamped_later_and_once() {
    let authority = Arc::new(Authority::new(RSA));
    let practice = Practice::new();
    // Nobody listens there.
    practice.set("http://127.0.0.1:9/tsa", None);
    let (code, text) = practice.sign();
    assert!(code == Some(0) && text.contains("signed by Dr Ada"), "{text}");
    assert!(text.contains("signed, but not stamped yet") && text.contains("zonecall stamp"), "{text}");
    assert!(practice.check().contains("signed by Dr Ada; no valid time stamp"), "{}", practice.check());
    assert!(practice.verify(&[]).1.contains("no time stamp"));
    let before = practice.journal();
    assert_eq!(practice.stamp(&[]).0, Some(2), "the server is still not there");
    let (code, text) = practice.stamp(&["--time-stamp", &authority.serve(Way::Right)]);
    assert!(code == Some(0) && text.contains("is stamped: 20"), "{text}");
    assert_eq!(practice.journal(), before, "the journal is what was signed");
    assert!(authority.verifies(&practice.token(), &practice.hash(), "ca.pem"));
    let token = std::fs::read(practice.token()).unwrap();
    // The server that is set is not there, and nobody asks it.
    let (code, text) = practice.stamp(&[]);
    assert!(code == Some(0) && text.contains("is already stamped"), "{text}");
    assert_eq!(std::fs::read(practice.token()).unwrap(), token);
    let (_, text) = practice.verify(&[]);
    assert!(text.contains("no authority was named that vouches for that server"), "{text}");
}

#[test]
fn a_vet_who_signs_does_not_wait_for_the_server() {
    let authority = Arc::new(Authority::new(RSA));
    let practice = Practice::new();
    practice.set(&authority.serve(Way::Silent), None);
    let words = practice.sign_words();
    let mut child = practice
        .command(&words.each_ref().map(String::as_str))
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut said = BufReader::new(child.stdout.take().unwrap()).lines().map(Result::unwrap);
    assert!(said.any(|line| line.contains("signed by Dr Ada")));
    assert!(String::from_utf8(practice.journal()).unwrap().contains("\"signed\""), "and it is on the disk");
    assert!(child.try_wait().unwrap().is_none(), "it still asks for the time stamp");
    child.kill().unwrap();
    child.wait().unwrap();
    let verified = practice.verify(&[]);
    assert!(verified.0 == Some(0) && verified.1.contains("covers every line before it"), "{}", verified.1);
}

#[test]
fn a_time_stamp_that_is_none_of_the_signature_is_found() {
    let authority = Arc::new(Authority::new(RSA));
    let practice = Practice::new();
    practice.set(&authority.serve(Way::Right), Some(&authority.ca()));
    assert_eq!(practice.sign().0, Some(0));
    let token = practice.token();
    let right = std::fs::read(&token).unwrap();
    let found = |why: &str| {
        let (code, text) = practice.verify(&[]);
        assert!(code == Some(1) && text.contains(why), "{why}: {text}");
        let text = practice.check();
        assert!(text.contains("ERROR time-stamp-fails: ") && text.contains(why), "{why}: {text}");
        assert!(text.contains("signed by Dr Ada; no valid time stamp"), "the signature stays: {text}");
        let (code, text) = practice.stamp(&[]);
        assert!(code == Some(2) && text.contains("move the file away"), "it is not written over: {text}");
    };
    // Each byte is covered, or its change makes no time stamp; a sample of them, spread over the file.
    for at in (0..right.len()).step_by(right.len() / 40) {
        let mut wrong = right.clone();
        wrong[at] ^= 1;
        std::fs::write(&token, &wrong).unwrap();
        let (_, text) = practice.verify(&[]);
        // What OpenSSL refuses must not pass here; some bytes of certificates that are not the signer's prove nothing.
        if !authority.verifies(&token, &practice.hash(), "ca.pem") {
            assert!(!text.contains("vouches"), "byte {at}: {text}");
        }
    }
    let mut wrong = right.clone();
    *wrong.last_mut().unwrap() ^= 1;
    std::fs::write(&token, &wrong).unwrap();
    found("its signature does not fit");
    std::fs::write(&token, &right[..right.len() / 2]).unwrap();
    found("cannot be read as a time stamp");
    let reply = authority.reply(&authority.query(&"ab".repeat(32), &[]), "right");
    std::fs::write(&token, inside(&reply)).unwrap();
    found("a time stamp of other bytes");
    std::fs::remove_file(&token).unwrap();
    assert!(Command::new("mkfifo").arg(&token).status().unwrap().success());
    found("cannot be read");
    std::fs::remove_file(&token).unwrap();
    assert_eq!(practice.stamp(&[]).0, Some(0));
}

/// The token in an answer that was granted: what comes after its status.
fn inside(reply: &[u8]) -> Vec<u8> {
    let status = [0x30, 0x03, 0x02, 0x01, 0x00];
    let at = reply.windows(5).position(|five| five == status).unwrap();
    reply[at + 5..].to_vec()
}

#[test]
fn what_is_signed_does_not_depend_on_the_time_stamp_of_an_earlier_signature() {
    let authority = Arc::new(Authority::new(RSA));
    let practice = Practice::new();
    assert_eq!(practice.sign().0, Some(0));
    let url = authority.serve(Way::Right);
    assert_eq!(practice.stamp(&["--time-stamp", &url]).0, Some(0));
    practice.set(&url, Some(&authority.ca()));
    let (code, text) = practice.sign();
    assert!(code == Some(2) && text.contains("nothing has changed since"), "{text}");
    let exam = practice.text("exam");
    let named = practice.run(&["name", &exam, "--horse", "Bramble", "--by", "Dr Ada", "--draft-again"]);
    assert!(named.status.success(), "{}", said(&named).1);
    assert_eq!(practice.sign().0, Some(0), "signed once more");
    let (code, text) = practice.verify(&[]);
    assert_eq!(code, Some(0), "{text}");
    assert_eq!(text.matches("for whom the named authority vouches").count(), 2, "{text}");
    assert!(!practice.check().contains("signed-record-differs"), "{}", practice.check());
}

#[test]
fn a_signature_that_was_taken_back_is_not_stamped() {
    let authority = Arc::new(Authority::new(RSA));
    let practice = Practice::new();
    let url = authority.serve(Way::Right);
    assert!(practice.stamp(&["--time-stamp", &url]).1.contains("there is no signature to be stamped"));
    assert_eq!(practice.sign().0, Some(0));
    let words = practice.sign_words();
    let own = words.iter().map(String::as_str).filter(|word| *word != "--no-impression");
    let words: Vec<&str> = own.chain(["--take-back"]).collect();
    assert!(practice.run(&words).status.success());
    let (code, text) = practice.stamp(&["--time-stamp", &url]);
    assert!(code == Some(2) && text.contains("there is no signature to be stamped"), "{text}");
    assert!(!practice.at("exam/stamps").exists());
}

#[test]
fn the_desk_has_a_signature_stamped_and_answers_before_the_server_does() {
    let authority = Arc::new(Authority::new(RSA));
    for (way, is_stamped) in [(Way::Right, true), (Way::Silent, false)] {
        let folder = support::still::folder();
        let desk = Served::start_with(folder.path(), 0, &["--time-stamp", &authority.serve(way)]);
        let vet = serde_json::json!({"name": "Dr Ada", "licence": "V-1", "passphrase": ADA});
        assert_eq!(desk.post("/api/people", &vet).0, 200);
        let seen = desk.exam()["version"].clone();
        let wish = serde_json::json!({"by": "Dr Ada", "passphrase": ADA, "seen": seen, "confirmed": true, "no_impression": true});
        let (status, answer) = desk.post("/api/sign", &wish);
        assert_eq!(status, 200, "{answer}");
        // The server's own time: to open the key takes long, too, on a machine that does much else.
        let waited = authority.keeps_waiting().unwrap_or_default();
        assert!(waited < Duration::from_secs(8), "a silent server is given ten seconds: {waited:?}");
        let signed = || desk.exam()["record"]["exam"]["signed"].clone();
        let stamped = || !signed()["time_stamp"].is_null();
        let began = Instant::now();
        while is_stamped && !stamped() && began.elapsed() < Duration::from_secs(120) {
            std::thread::sleep(Duration::from_millis(100));
        }
        assert_eq!(stamped(), is_stamped, "{}", signed());
        assert_eq!(signed()["by"], "Dr Ada");
    }
}

#[test]
fn a_desk_that_is_open_shows_a_time_stamp_that_comes_later() {
    let authority = Arc::new(Authority::new(RSA));
    let practice = Practice::new();
    assert_eq!(practice.sign().0, Some(0));
    let desk = Served::start(&practice.at("exam"), 0);
    let before = desk.exam();
    assert!(before["record"]["exam"]["signed"]["time_stamp"].is_null(), "{before}");
    let (code, text) = practice.stamp(&["--time-stamp", &authority.serve(Way::Right)]);
    assert_eq!(code, Some(0), "{text}");
    let after = desk.exam();
    assert_eq!(after["record"]["exam"]["signed"]["time_stamp"]["by"], NAME);
    assert!(after["bytes"].as_u64() > before["bytes"].as_u64(), "and the page is told to draw it");
    // One that was put in its place is read, too.
    std::fs::write(practice.token(), [0; 8]).unwrap();
    assert!(desk.exam()["record"]["exam"]["signed"]["time_stamp"].is_null());
}
