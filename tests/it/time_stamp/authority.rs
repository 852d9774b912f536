//! A time-stamp authority of the tests' own: `openssl ts` behind a small HTTP server that can misbehave.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Command, Output};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use rustls::crypto::ring;
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer};
use rustls::{ServerConfig, ServerConnection, StreamOwned};

/// How a server answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    /// As it should.
    Right,
    /// With a token of other bytes.
    OtherBytes,
    /// With a token for another number than the one that was sent.
    OtherRequest,
    /// With a token without the number.
    NoNumber,
    /// It refuses: it does not take SHA-256.
    Refuses,
    /// With a token that was changed after it was signed.
    Changed,
    /// With the page of a web server.
    Page,
    /// With a fault of its own.
    Fault,
    /// With a way to another server.
    Elsewhere,
    /// With nothing at all, and it does not hang up.
    Silent,
    /// With a byte now and then.
    Drips,
    /// Without an end.
    Endless,
}

/// Certificates and settings for `openssl ts`, in a folder.
#[derive(Debug)]
pub(super) struct Authority {
    folder: tempfile::TempDir,
    /// When somebody asked a server that says nothing.
    kept_waiting: Mutex<Option<Instant>>,
}

impl Authority {
    /// An authority, and a server that it vouches for; its key is of this kind, as `openssl req -newkey` names it.
    pub(super) fn new(key: &[&str]) -> Authority {
        let made = Authority { folder: tempfile::tempdir().unwrap(), kept_waiting: Mutex::default() };
        let make = |name: &str, subject: &str, more: &[&str]| {
            let (key_file, out) = (format!("{name}.key"), format!("{name}.pem"));
            let args = ["req", "-nodes", "-keyout", &key_file, "-out", &out, "-subj", subject];
            made.openssl(&[&args[..], key, more].concat());
        };
        make("ca", "/CN=Example Time Authority", &["-x509", "-days", "3650"]);
        make("other", "/CN=Another Authority", &["-x509", "-days", "3650"]);
        let usage = |usage: &str| format!("extendedKeyUsage={usage}\n");
        made.server("tsa", "ca", &usage("critical,timeStamping"), key);
        made.server("web", "ca", &usage("serverAuth"), key);
        for (name, signer, digest, more) in [
            ("right", "tsa", "sha256", "accuracy = secs:1, millisecs:500\nclock_precision_digits = 3"),
            ("old", "tsa", "sha256", "ess_cert_id_alg = sha1"),
            ("refuses", "tsa", "sha512", ""),
        ] {
            made.settings(name, signer, digest, more);
        }
        made
    }

    /// A certificate `by` an authority, with these extensions and a key of this kind.
    pub(super) fn server(&self, name: &str, by: &str, extensions: &str, key: &[&str]) {
        let file = |ending: &str| format!("{name}.{ending}");
        let (private, request, cert, more) = (file("key"), file("csr"), file("pem"), file("ext"));
        let (by, by_key) = (format!("{by}.pem"), format!("{by}.key"));
        std::fs::write(self.path(&more), format!("basicConstraints=CA:FALSE\n{extensions}")).unwrap();
        let subject = "/O=Example/CN=Example Time \u{202e}\u{1b}[2J";
        let args = ["req", "-utf8", "-nodes", "-keyout", &private, "-out", &request, "-subj", subject];
        self.openssl(&[&args[..], key].concat());
        let args = ["x509", "-req", "-in", &request, "-CA", &by, "-CAkey", &by_key, "-CAcreateserial"];
        self.openssl(&[&args[..], &["-days", "3650", "-out", &cert, "-extfile", &more]].concat());
    }

    /// Settings as `openssl-ts` (1) names them; the token has the authority's certificate, too.
    pub(super) fn settings(&self, name: &str, signer: &str, digest: &str, more: &str) {
        let text = format!(
            "[tsa]\ndefault_tsa = this\n[this]\nserial = {serial}\nsigner_cert = {signer}.pem\ncerts = ca.pem\n\
             signer_key = {signer}.key\nsigner_digest = sha256\ndefault_policy = 1.2.3.4.1\ndigests = {digest}\n\
             tsa_name = yes\n{more}\n",
            serial = self.path("serial").display()
        );
        std::fs::write(self.path(&format!("{name}.cnf")), text).unwrap();
    }

    pub(super) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The certificate of the authority.
    pub(super) fn ca(&self) -> String {
        self.path("ca.pem").to_str().unwrap().to_owned()
    }

    pub(super) fn run(&self, args: &[&str]) -> Output {
        let done = Command::new("openssl").args(args).current_dir(self.folder.path()).output();
        done.unwrap_or_else(|error| panic!("openssl: {error}; run `make setup`"))
    }

    fn openssl(&self, args: &[&str]) {
        let done = self.run(args);
        assert!(done.status.success(), "{args:?}: {}", String::from_utf8_lossy(&done.stderr));
    }

    /// What `openssl ts` answers to a request.
    pub(super) fn reply(&self, request: &[u8], settings: &str) -> Vec<u8> {
        let folder = tempfile::tempdir_in(self.folder.path()).unwrap();
        let at = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
        std::fs::write(at("query"), request).unwrap();
        let settings = format!("{settings}.cnf");
        self.openssl(&[
            "ts",
            "-reply",
            "-queryfile",
            &at("query"),
            "-config",
            &settings,
            "-out",
            &at("reply"),
        ]);
        std::fs::read(at("reply")).unwrap()
    }

    /// A request of OpenSSL's own.
    pub(super) fn query(&self, sha256: &str, more: &[&str]) -> Vec<u8> {
        let args = ["ts", "-query", "-sha256", "-cert", "-digest", sha256];
        let done = self.run(&[&args[..], more].concat());
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        done.stdout
    }

    /// Whether OpenSSL takes a token for one of this hash, by this authority.
    pub(super) fn verifies(&self, token: &str, sha256: &str, ca: &str) -> bool {
        let done = self.run(&["ts", "-verify", "-in", token, "-token_in", "-digest", sha256, "-CAfile", ca]);
        done.status.success() && String::from_utf8_lossy(&done.stdout).contains("Verification: OK")
    }

    /// For how long somebody has waited for a server that says nothing; none where nobody has asked yet.
    pub(super) fn keeps_waiting(&self) -> Option<Duration> {
        self.kept_waiting.lock().unwrap().map(|since| since.elapsed())
    }

    /// Serves until the test ends; gives the address.
    pub(super) fn serve(self: &Arc<Self>, way: Way) -> String {
        let authority = Arc::clone(self);
        let port = listen(move |stream| authority.answer(stream, way));
        format!("http://127.0.0.1:{port}/tsa")
    }

    /// The same by TLS, with the certificate of this name, and the right answer.
    pub(super) fn serve_by_tls(self: &Arc<Self>, certificate: &str) -> String {
        let chain = vec![CertificateDer::from_pem_file(self.path(&format!("{certificate}.pem"))).unwrap()];
        let key = PrivateKeyDer::from_pem_file(self.path(&format!("{certificate}.key"))).unwrap();
        let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()));
        let config = config.with_safe_default_protocol_versions().unwrap().with_no_client_auth();
        let config = Arc::new(config.with_single_cert(chain, key).unwrap());
        let authority = Arc::clone(self);
        let port = listen(move |stream| {
            let tls = ServerConnection::new(Arc::clone(&config)).unwrap();
            authority.answer(StreamOwned::new(tls, stream), Way::Right);
        });
        format!("https://127.0.0.1:{port}/tsa")
    }

    fn answer(&self, mut stream: impl Read + Write, way: Way) {
        let Some(request) = body(&mut stream) else { return };
        let imprint = self.imprint(&request);
        let body = match way {
            Way::Right => self.reply(&request, "right"),
            Way::OtherBytes => self.reply(&self.query(&"ab".repeat(32), &[]), "right"),
            Way::OtherRequest => self.reply(&self.query(&imprint, &[]), "right"),
            Way::NoNumber => self.reply(&self.query(&imprint, &["-no_nonce"]), "right"),
            Way::Refuses => self.reply(&request, "refuses"),
            Way::Changed => {
                let mut reply = self.reply(&request, "right");
                *reply.last_mut().unwrap() ^= 1;
                reply
            }
            Way::Page | Way::Fault | Way::Elsewhere => b"<html>It works!</html>".to_vec(),
            Way::Silent | Way::Drips | Way::Endless => Vec::new(),
        };
        let head = match way {
            Way::Fault => "500 Internal Server Error",
            Way::Elsewhere => "307 Temporary Redirect\r\nLocation: http://127.0.0.1:1/tsa",
            _ => "200 OK",
        };
        let kind = "Content-Type: application/timestamp-reply\r\nConnection: close";
        // Whoever asked may have gone.
        let _ = match way {
            Way::Silent => {
                *self.kept_waiting.lock().unwrap() = Some(Instant::now());
                std::thread::sleep(Duration::from_secs(120));
                Ok(())
            }
            Way::Drips => write!(stream, "HTTP/1.1 {head}\r\n{kind}\r\nContent-Length: 5000\r\n\r\n")
                .and_then(|()| {
                    (0..5000).try_for_each(|_| {
                        std::thread::sleep(Duration::from_millis(100));
                        stream.write_all(b"0")
                    })
                }),
            Way::Endless => write!(stream, "HTTP/1.1 {head}\r\n{kind}\r\n\r\n")
                .and_then(|()| (0..1_000_000).try_for_each(|_| stream.write_all(&[b'0'; 4096]))),
            _ => write!(stream, "HTTP/1.1 {head}\r\n{kind}\r\nContent-Length: {}\r\n\r\n", body.len())
                .and_then(|()| stream.write_all(&body)),
        };
    }

    /// The hash in a request, as OpenSSL reads it.
    fn imprint(&self, request: &[u8]) -> String {
        let folder = tempfile::tempdir_in(self.folder.path()).unwrap();
        let query = folder.path().join("query");
        std::fs::write(&query, request).unwrap();
        let text = self.run(&["ts", "-query", "-in", query.to_str().unwrap(), "-text"]).stdout;
        let text = String::from_utf8(text).unwrap();
        let rows = text.lines().filter(|line| line.trim_start().starts_with("00"));
        let bytes = rows.flat_map(|row| row.split(" - ").nth(1).unwrap().get(..47)).collect::<Vec<_>>();
        bytes.join("").chars().filter(char::is_ascii_hexdigit).collect()
    }
}

/// Answers each that comes, on a thread of its own; gives the port.
fn listen(answer: impl Fn(TcpStream) + Clone + Send + 'static) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let answer = answer.clone();
            std::thread::spawn(move || answer(stream.unwrap()));
        }
    });
    port
}

/// The body of a request.
fn body(stream: &mut impl Read) -> Option<Vec<u8>> {
    let mut read = Vec::new();
    let mut piece = [0; 4096];
    loop {
        let end = read.windows(4).position(|four| four == b"\r\n\r\n");
        if let Some(end) = end {
            let head = String::from_utf8_lossy(&read[..end]).to_lowercase();
            assert!(head.contains("content-type: application/timestamp-query"), "{head}");
            let length = head.lines().find_map(|line| line.strip_prefix("content-length: "))?;
            if read.len() >= end + 4 + length.trim().parse::<usize>().unwrap() {
                return Some(read.split_off(end + 4));
            }
        }
        match stream.read(&mut piece) {
            Ok(0) | Err(_) => return None,
            Ok(length) => read.extend_from_slice(&piece[..length]),
        }
    }
}
