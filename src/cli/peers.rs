//! The DICOM programs of the practice, by name: written down once, tested by `doctor`.
//!
//! Takes: `peers.toml`.
//! Gives: peers by name.
//! Never: calls one.
//! Tested in: `tests/it/exchange/peers_file.rs`, and here.

use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::{Context as _, bail};
use serde::Deserialize;

use super::settings_place::beside;
use crate::exchange::network::send::Peer;
use crate::exchange::network::tls::{TlsError, TlsFiles};
use crate::terminal::ShownText as _;

/// How long `doctor` waits for an answer.
const PATIENCE: Duration = Duration::from_secs(5);
/// Our AE title, unless another is named.
pub(super) const OWN_AE_TITLE: &str = "ZONECALL";

/// One of them, as the file has it.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct NamedPeer {
    /// What it is called by in `--to` and `--from`.
    pub(super) name: String,
    /// Name or address, and port.
    pub(super) address: String,
    /// Its AE title.
    pub(super) ae_title: String,
    /// Our AE title, where it is not `ZONECALL`.
    pub(super) own_ae_title: Option<String>,
    /// Certificate of the authority that signed its certificate.
    pub(super) tls_ca: Option<PathBuf>,
    /// Our certificate for it, and its key.
    pub(super) tls_cert: Option<PathBuf>,
    pub(super) tls_key: Option<PathBuf>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct PeersFile {
    #[serde(default)]
    peer: Vec<NamedPeer>,
}

impl NamedPeer {
    /// How it is called.
    pub(super) fn peer(&self) -> Result<Peer, TlsError> {
        Ok(Peer {
            address: self.address.clone(),
            ae_title: self.ae_title.clone(),
            own_ae_title: self.own_ae_title.clone().unwrap_or_else(|| OWN_AE_TITLE.to_owned()),
            patience: PATIENCE,
            tls: self.files().map(|files| files.client()).transpose()?,
        })
    }

    /// Where its certificates are; paths are counted from the folder of the file.
    pub(super) fn files(&self) -> Option<TlsFiles> {
        let own = self.tls_cert.clone().zip(self.tls_key.clone());
        self.tls_ca.clone().map(|authority| TlsFiles { authority, own })
    }
}

/// All of them, from the file that `ZONECALL_PEERS` names, else the one beside the settings; none where there is no file.
///
/// # Errors
/// When it cannot be read, or holds something unknown.
pub(super) fn read() -> anyhow::Result<Vec<NamedPeer>> {
    let Some(file) = beside("ZONECALL_PEERS", "peers.toml", "peers")? else { return Ok(Vec::new()) };
    of(&file.text, file.path.parent().unwrap_or(Path::new(".")))
        .with_context(|| format!("`{}` holds no valid peers; correct it", file.path.shown()))
}

fn of(text: &str, folder: &Path) -> anyhow::Result<Vec<NamedPeer>> {
    let mut found = toml::from_str::<PeersFile>(text)?.peer;
    for peer in &mut found {
        if peer.name.contains(':') || !peer.address.contains(':') {
            bail!("the peer `{}` needs a name without and an address with a colon", peer.name);
        }
        if peer.tls_cert.is_some() != peer.tls_key.is_some()
            || peer.tls_cert.is_some() && peer.tls_ca.is_none()
        {
            bail!("the peer `{}` needs `tls_cert` and `tls_key` together, and `tls_ca` with them", peer.name);
        }
        for file in [&mut peer.tls_ca, &mut peer.tls_cert, &mut peer.tls_key].into_iter().flatten() {
            *file = folder.join(&*file);
        }
    }
    Ok(found)
}

/// The peer of this name.
///
/// # Errors
/// When there is none.
pub(super) fn named(name: &str) -> anyhow::Result<NamedPeer> {
    let all = read()?;
    let names: Vec<String> = all.iter().map(|peer| format!("`{}`", peer.name)).collect();
    let found = all.into_iter().find(|peer| peer.name == name);
    found.with_context(|| {
        let known = if names.is_empty() {
            "no name is known".to_owned()
        } else {
            format!("the known names are {}", names.join(", "))
        };
        format!("`{name}` is neither an address with a port nor the name of a peer; {known}")
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn files_lie_beside_the_list_and_half_a_certificate_is_told() {
        let one = "[[peer]]\nname = \"archive\"\naddress = \"192.0.2.9:104\"\nae_title = \"ARCHIVE\"\n";
        let found = of(&format!("{one}tls_ca = \"ca.pem\"\n"), Path::new("/etc/zonecall")).unwrap();
        assert_eq!(found[0].files().unwrap().authority, Path::new("/etc/zonecall/ca.pem"));
        let why = |more: &str| of(&format!("{one}{more}"), Path::new("/")).unwrap_err().to_string();
        assert!(why("tls_cert = \"a.pem\"\n").contains("together"));
        assert!(why("colour = \"red\"\n").contains("colour"));
    }
}
