//! How a DICOM program elsewhere is called, and how it is known.
//!
//! Takes: the options, and the list of peers.
//! Gives: `Peer`, and where the certificates are.
//! Never: a title or a certificate that is none.
//! Tested in: `tests/it/exchange/network.rs` and `tests/it/exchange/tls.rs`.

use std::path::PathBuf;
use std::time::Duration;

use anyhow::Context as _;

use super::peers::{self, NamedPeer, OWN_AE_TITLE};
use crate::exchange::network::send::Peer;
use crate::exchange::network::tls::TlsFiles;

/// Longest AE title (PS3.5 6.2, VR AE).
const AE_CHARS_MAX: usize = 16;
/// How to talk to a DICOM program elsewhere.
#[derive(Debug, clap::Args)]
pub(crate) struct PeerArgs {
    /// Its AE title; a peer that is called by its name has one.
    #[arg(long, value_name = "AE", value_parser = ae_title)]
    pub(crate) called: Option<String>,
    /// Our AE title; without it, that of the named peer, or `ZONECALL`.
    #[arg(long, value_name = "AE", value_parser = ae_title)]
    pub(crate) ae: Option<String>,
    /// How long to wait for an answer, in seconds.
    #[arg(long, value_name = "S", default_value_t = 30)]
    pub(crate) patience_s: u64,
    #[command(flatten)]
    pub(crate) tls: TlsArgs,
}

/// Certificates, as PEM files; with them everything goes by TLS.
#[derive(Debug, Clone, clap::Args)]
pub(crate) struct TlsArgs {
    /// Certificate of the authority that signed the other side's certificate; with it everything goes by TLS.
    #[arg(long, value_name = "FILE")]
    pub(crate) tls_ca: Option<PathBuf>,
    /// Our own certificate.
    #[arg(long, value_name = "FILE", requires = "tls_key", requires = "tls_ca")]
    pub(crate) tls_cert: Option<PathBuf>,
    /// The key of our own certificate.
    #[arg(long, value_name = "FILE", requires = "tls_cert")]
    pub(crate) tls_key: Option<PathBuf>,
}

impl TlsArgs {
    pub(super) fn files(&self) -> Option<TlsFiles> {
        let own = self.tls_cert.clone().zip(self.tls_key.clone());
        self.tls_ca.clone().map(|authority| TlsFiles { authority, own })
    }
}

impl PeerArgs {
    /// The peer at an address with a port, or of a name that `peers.toml` has; the options count before the file.
    pub(super) fn peer(&self, place: &str) -> anyhow::Result<Peer> {
        let named = if place.contains(':') { None } else { Some(peers::named(place)?) };
        let ae_title = self.called.clone().or_else(|| named.as_ref().map(|peer| peer.ae_title.clone()));
        let own = self.ae.clone().or_else(|| named.as_ref()?.own_ae_title.clone());
        let files = self.files(named.as_ref());
        Ok(Peer {
            address: named.map_or_else(|| place.to_owned(), |peer| peer.address),
            ae_title: ae_title.context("name its AE title with --called")?,
            own_ae_title: own.unwrap_or_else(|| OWN_AE_TITLE.to_owned()),
            patience: self.patience(),
            tls: files.map(|files| files.client()).transpose()?,
        })
    }

    /// Where the certificates are.
    pub(super) fn files(&self, named: Option<&NamedPeer>) -> Option<TlsFiles> {
        self.tls.files().or_else(|| named?.files())
    }

    pub(super) fn patience(&self) -> Duration {
        Duration::from_secs(self.patience_s.max(1))
    }
}

pub(super) fn ae_title(text: &str) -> Result<String, String> {
    let title = text.trim();
    let plain = title.bytes().all(|byte| (b' '..=b'~').contains(&byte) && byte != b'\\');
    match title.len() {
        1..=AE_CHARS_MAX if plain => Ok(title.to_owned()),
        _ => Err(format!("it is not an AE title; give 1 to {AE_CHARS_MAX} plain letters, figures and signs")),
    }
}
