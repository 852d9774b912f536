//! TLS around an association, with certificates on both sides.
//!
//! Takes: certificates as PEM files, and a connection.
//! Gives: the plain side of the connection, as a socket on this machine.
//! Never: lets anybody through whose certificate the named authority did not sign.
//! Tested in: `tests/it/exchange/tls.rs`, with programs that are not ours.

use std::io::{ErrorKind, Read, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

use crate::terminal::ShownText as _;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustls::crypto::{CryptoProvider, ring};
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, PrivateKeyDer, ServerName};
use rustls::server::WebPkiClientVerifier;
use rustls::{ClientConfig, ClientConnection, Connection, RootCertStore, ServerConfig, ServerConnection};

/// Bytes that are carried at once.
const CHUNK: usize = 1 << 16;
/// How long nothing may move before both sides are looked at again, in seconds.
const LOOK_S: i64 = 1;

/// Where the certificates are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TlsFiles {
    /// Certificate of the authority that signs the other side's.
    pub authority: PathBuf,
    /// Our own certificate and its key.
    pub own: Option<(PathBuf, PathBuf)>,
}

/// Certificates that cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TlsError {
    /// A file is none of what it should be.
    #[error("cannot read `{path}`: {why}; wanted is a {what} in PEM form", path = path.shown())]
    File {
        /// The file.
        path: PathBuf,
        /// What it should hold.
        what: &'static str,
        /// What is wrong.
        why: String,
    },
    /// They do not go together.
    #[error("the certificates cannot be used: {0}; check that the key belongs to the certificate")]
    Unfit(String),
    /// A receiver without a certificate.
    #[error("a receiver needs a certificate of its own: name it with --tls-cert and its key with --tls-key")]
    NoOwn,
}

impl TlsFiles {
    /// How to call somebody.
    ///
    /// # Errors
    /// When a file cannot be used.
    pub fn client(&self) -> Result<Arc<ClientConfig>, TlsError> {
        let builder = ClientConfig::builder_with_provider(provider())
            .with_safe_default_protocol_versions()
            .map_err(unfit)?
            .with_root_certificates(self.roots()?);
        Ok(Arc::new(match &self.own {
            Some((certificate, key)) => {
                builder.with_client_auth_cert(chain(certificate)?, private_key(key)?).map_err(unfit)?
            }
            None => builder.with_no_client_auth(),
        }))
    }

    /// How to be called: each caller must show a certificate that the authority signed.
    ///
    /// # Errors
    /// When a file cannot be used, or there is no certificate of our own.
    pub fn server(&self) -> Result<Arc<ServerConfig>, TlsError> {
        let (certificate, key) = self.own.as_ref().ok_or(TlsError::NoOwn)?;
        let verifier = WebPkiClientVerifier::builder_with_provider(Arc::new(self.roots()?), provider())
            .build()
            .map_err(|error| TlsError::Unfit(error.to_string()))?;
        let config = ServerConfig::builder_with_provider(provider())
            .with_safe_default_protocol_versions()
            .map_err(unfit)?
            .with_client_cert_verifier(verifier)
            .with_single_cert(chain(certificate)?, private_key(key)?)
            .map_err(unfit)?;
        Ok(Arc::new(config))
    }

    /// How to be called by anybody who knows the way in by other means: only our own certificate is shown.
    ///
    /// # Errors
    /// When a file cannot be used.
    pub fn open_server(certificate: &Path, key: &Path) -> Result<Arc<ServerConfig>, TlsError> {
        let config = ServerConfig::builder_with_provider(provider())
            .with_safe_default_protocol_versions()
            .map_err(unfit)?
            .with_no_client_auth()
            .with_single_cert(chain(certificate)?, private_key(key)?)
            .map_err(unfit)?;
        Ok(Arc::new(config))
    }

    fn roots(&self) -> Result<RootCertStore, TlsError> {
        let mut roots = RootCertStore::empty();
        for certificate in chain(&self.authority)? {
            roots.add(certificate).map_err(unfit)?;
        }
        Ok(roots)
    }
}

fn provider() -> Arc<CryptoProvider> {
    Arc::new(ring::default_provider())
}

fn unfit(error: rustls::Error) -> TlsError {
    TlsError::Unfit(error.to_string())
}

fn chain(path: &Path) -> Result<Vec<CertificateDer<'static>>, TlsError> {
    let failed = |why: String| TlsError::File { path: path.to_owned(), what: "certificate", why };
    let found: Result<Vec<_>, _> =
        CertificateDer::pem_file_iter(path).and_then(Iterator::collect::<Result<Vec<_>, _>>);
    match found {
        Ok(found) if found.is_empty() => Err(failed("it holds none".to_owned())),
        Ok(found) => Ok(found),
        Err(error) => Err(failed(error.to_string())),
    }
}

fn private_key(path: &Path) -> Result<PrivateKeyDer<'static>, TlsError> {
    PrivateKeyDer::from_pem_file(path).map_err(|error| TlsError::File {
        path: path.to_owned(),
        what: "private key",
        why: error.to_string(),
    })
}

/// Lets a caller in: the plain side of the connection, once both sides have shown who they are.
///
/// # Errors
/// When the handshake is not done in time.
pub fn accept(
    config: &Arc<ServerConfig>,
    mut socket: TcpStream,
    silence_max: Duration,
) -> std::io::Result<TcpStream> {
    socket.set_read_timeout(Some(silence_max))?;
    socket.set_write_timeout(Some(silence_max))?;
    let mut tls = ServerConnection::new(Arc::clone(config)).map_err(std::io::Error::other)?;
    while tls.is_handshaking() {
        tls.complete_io(&mut socket)?;
    }
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
    let plain = TcpStream::connect(listener.local_addr()?)?;
    let own = plain.local_addr()?;
    let inside = loop {
        let (inside, from) = listener.accept()?;
        // Another program of this machine could have been quicker.
        if from == own {
            break inside;
        }
    };
    std::thread::spawn(move || carry(tls.into(), socket, inside));
    Ok(plain)
}

/// The plain side of a connection to somebody.
pub(super) struct Tunnel {
    /// Takes one connection.
    pub(super) port: u16,
    carrier: JoinHandle<std::io::Result<()>>,
}

impl Tunnel {
    /// Calls somebody who must show a certificate for `name`.
    pub(super) fn open(
        config: &Arc<ClientConfig>,
        name: &str,
        mut socket: TcpStream,
        patience: Duration,
    ) -> std::io::Result<Tunnel> {
        socket.set_read_timeout(Some(patience))?;
        socket.set_write_timeout(Some(patience))?;
        let name = ServerName::try_from(name.to_owned()).map_err(std::io::Error::other)?;
        let mut tls = ClientConnection::new(Arc::clone(config), name).map_err(std::io::Error::other)?;
        while tls.is_handshaking() {
            tls.complete_io(&mut socket)?;
        }
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
        let port = listener.local_addr()?.port();
        let carrier = std::thread::spawn(move || {
            let (inside, _) = listener.accept()?;
            drop(listener);
            carry(tls.into(), socket, inside)
        });
        Ok(Tunnel { port, carrier })
    }

    /// Why it ended, where it ended in an error.
    pub(super) fn fault(self) -> Option<String> {
        self.carrier.join().ok()?.err().map(|error| error.to_string())
    }
}

/// Carries what is said between a TLS connection and its plain side, until one of them ends.
fn carry(mut tls: Connection, mut outside: TcpStream, mut inside: TcpStream) -> std::io::Result<()> {
    outside.set_nonblocking(true)?;
    inside.set_nonblocking(true)?;
    inside.set_nodelay(true)?;
    // What is read is written before more is read, so nothing piles up.
    tls.set_buffer_limit(None);
    let mut buffer = vec![0; CHUNK];
    // What came from outside and is not inside yet.
    let mut coming: Vec<u8> = Vec::new();
    let (mut said_all, mut heard_all) = (false, false);
    loop {
        let mut moved = false;
        while coming.len() < CHUNK && !heard_all {
            match tls.reader().read(&mut buffer) {
                Ok(0) => heard_all = true,
                Ok(count) => coming.extend(&buffer[..count]),
                Err(error) if error.kind() == ErrorKind::WouldBlock => break,
                // The other side went away without a word.
                Err(error) if error.kind() == ErrorKind::UnexpectedEof => heard_all = true,
                Err(error) => return Err(error),
            }
        }
        if !coming.is_empty()
            && let Some(count) = some(inside.write(&coming))?
        {
            coming.drain(..count);
            moved = true;
        }
        if heard_all && coming.is_empty() {
            return Ok(());
        }
        if !said_all
            && !tls.wants_write()
            && let Some(count) = some(inside.read(&mut buffer))?
        {
            moved = true;
            if count == 0 {
                said_all = true;
                tls.send_close_notify();
            }
            tls.writer().write_all(&buffer[..count])?;
        }
        while tls.wants_write()
            && let Some(count) = some(tls.write_tls(&mut outside))?
        {
            moved |= count > 0;
        }
        if said_all && !tls.wants_write() {
            return Ok(());
        }
        if coming.is_empty()
            && tls.wants_read()
            && let Some(count) = some(tls.read_tls(&mut outside))?
        {
            moved |= count > 0;
            let state = tls.process_new_packets();
            if let Err(error) = state {
                // The other side gets the reason, if it still listens.
                let _ = tls.write_tls(&mut outside);
                return Err(std::io::Error::other(error));
            }
        }
        if !moved {
            wait(&outside, tls.wants_write(), &inside, !coming.is_empty())?;
        }
    }
}

/// How much was moved; none where nothing can be now.
fn some(done: std::io::Result<usize>) -> std::io::Result<Option<usize>> {
    match done {
        Ok(count) => Ok(Some(count)),
        Err(error) if matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted) => Ok(None),
        Err(error) => Err(error),
    }
}

/// Waits until one of them can go on.
fn wait(outside: &TcpStream, writes: bool, inside: &TcpStream, comes: bool) -> std::io::Result<()> {
    // While something waits to be written, more of it is not read.
    let wanted = |is_waiting: bool, other_waits: bool| {
        let mut flags = PollFlags::empty();
        flags.set(PollFlags::OUT, is_waiting);
        flags.set(PollFlags::IN, !other_waits);
        flags
    };
    let mut both = [PollFd::new(outside, wanted(writes, comes)), PollFd::new(inside, wanted(comes, writes))];
    let look = Timespec { tv_sec: LOOK_S, tv_nsec: 0 };
    match poll(&mut both, Some(&look)) {
        Ok(_) | Err(rustix::io::Errno::INTR) => Ok(()),
        Err(error) => Err(error.into()),
    }
}
