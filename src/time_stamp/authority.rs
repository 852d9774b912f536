//! Whom the practice trusts to tell the time: certificates of authorities.
//!
//! Takes: a file of certificates in PEM form.
//! Gives: `Authority`, which says whether a certificate leads to one of them.
//! Never: asks whether a certificate was revoked; that needs a network.
//! Tested in: `tests/it/time_stamp/`.

use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::{DateTime, Utc};
use rustls::pki_types::pem::PemObject as _;
use rustls::pki_types::{CertificateDer, TrustAnchor, UnixTime};
use webpki::{ALL_VERIFICATION_ALGS, EndEntityCert, KeyUsage, anchor_from_trusted_cert};

use crate::terminal::ShownText as _;

/// `id-kp-timeStamping`, 1.3.6.1.5.5.7.3.8 (RFC 3161, 2.3), as it is encoded.
const TIME_STAMPING: &[u8] = &[0x2b, 0x06, 0x01, 0x05, 0x05, 0x07, 0x03, 0x08];

/// A file of certificates that cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("cannot read `{path}`: {why}; give certificates in PEM form", path = .path.shown())]
pub struct AuthorityError {
    path: PathBuf,
    why: String,
}

/// Certificates of authorities.
#[derive(Debug, Clone)]
pub struct Authority {
    certificates: Vec<CertificateDer<'static>>,
}

impl Authority {
    /// Reads a file.
    ///
    /// # Errors
    /// When it cannot be read, or holds no certificate of an authority.
    pub fn read(path: &Path) -> Result<Authority, AuthorityError> {
        let failed = |why: String| AuthorityError { path: path.to_owned(), why };
        let found = CertificateDer::pem_file_iter(path).and_then(Iterator::collect::<Result<Vec<_>, _>>);
        let certificates = found.map_err(|error| failed(error.to_string()))?;
        let authority = Authority { certificates };
        match authority.anchors() {
            Ok(anchors) if anchors.is_empty() => Err(failed("it holds no certificate".to_owned())),
            Ok(_) => Ok(authority),
            Err(error) => Err(failed(error.to_string())),
        }
    }

    /// The certificates, in DER.
    pub(super) fn certificates(&self) -> impl Iterator<Item = &[u8]> {
        self.certificates.iter().map(AsRef::as_ref)
    }

    fn anchors(&self) -> Result<Vec<TrustAnchor<'_>>, webpki::Error> {
        self.certificates.iter().map(anchor_from_trusted_cert).collect()
    }

    /// Whether a certificate for time stamps, with others between, leads to one of these and was valid at `at`.
    ///
    /// # Errors
    /// When it does not: why.
    pub(super) fn vouches_for(
        &self,
        certificate: &[u8],
        between: &[Vec<u8>],
        at: DateTime<Utc>,
    ) -> Result<(), String> {
        let in_words = |error: webpki::Error| format!("{error:?}");
        let certificate = CertificateDer::from(certificate);
        let between: Vec<CertificateDer<'_>> =
            between.iter().map(|one| CertificateDer::from(one.as_slice())).collect();
        let anchors = self.anchors().map_err(in_words)?;
        let seconds = u64::try_from(at.timestamp()).unwrap_or(0);
        let time = UnixTime::since_unix_epoch(Duration::from_secs(seconds));
        // Of the server's own certificate `is_for_time_stamps` wants it; authorities between need not name a usage (RFC 5280).
        let usage = KeyUsage::required_if_present(TIME_STAMPING);
        let end = EndEntityCert::try_from(&certificate).map_err(in_words)?;
        end.verify_for_usage(ALL_VERIFICATION_ALGS, &anchors, &between, time, usage, None, None)
            .map(|_| ())
            .map_err(in_words)
    }
}
