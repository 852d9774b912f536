//! A time stamp: read and verified.
//!
//! Takes: the bytes of a token, and the SHA-256 of what it should be of.
//! Gives: when it was stamped, and by whom.
//! Never: takes a token for one before its hash, its certificate and its signature fit.
//! Tested in: `tests/it/time_stamp/`.

use chrono::{DateTime, NaiveDateTime, TimeDelta, Utc};
use cms::cert::CertificateChoices;
use cms::cert::x509::Certificate;
use cms::cert::x509::ext::pkix::{ExtendedKeyUsage, SubjectKeyIdentifier};
use cms::cert::x509::spki::AlgorithmIdentifierOwned;
use cms::content_info::ContentInfo;
use cms::signed_data::{SignedData, SignerIdentifier, SignerInfo};
use der::asn1::{GeneralizedTime, Int, ObjectIdentifier, OctetString};
use der::{Decode, Encode, FixedTag as _, Tagged as _};
use rustls::pki_types::{CertificateDer, SignatureVerificationAlgorithm};
use sha1::Sha1;
use sha2::{Digest as _, Sha256, Sha384, Sha512};
use webpki::{EndEntityCert, ring};

use super::authority::Authority;
use super::form::{SHA_256, SigningCertificate, SigningCertificateV2, TstInfo};
use crate::terminal::ShownText as _;

/// Longest answer of a server, and longest file of a token, in bytes; with several certificates they have some ten
/// thousand.
pub const TOKEN_BYTES_MAX: u64 = 256 * 1024;

const fn oid(text: &str) -> ObjectIdentifier {
    ObjectIdentifier::new_unwrap(text)
}

// RFC 5652, 5.1 and 11; RFC 3161, 2.4.2; RFC 2634, 5.4; RFC 5035, 3; RFC 5754; RFC 8017; RFC 5758; RFC 8410; RFC 5280.
const SIGNED_DATA: ObjectIdentifier = oid("1.2.840.113549.1.7.2");
const CONTENT_TYPE: ObjectIdentifier = oid("1.2.840.113549.1.9.3");
const MESSAGE_DIGEST: ObjectIdentifier = oid("1.2.840.113549.1.9.4");
const TST_INFO: ObjectIdentifier = oid("1.2.840.113549.1.9.16.1.4");
const SIGNING_CERTIFICATE: ObjectIdentifier = oid("1.2.840.113549.1.9.16.2.12");
const SIGNING_CERTIFICATE_V2: ObjectIdentifier = oid("1.2.840.113549.1.9.16.2.47");
const SHA_384: ObjectIdentifier = oid("2.16.840.1.101.3.4.2.2");
const SHA_512: ObjectIdentifier = oid("2.16.840.1.101.3.4.2.3");
const RSA: ObjectIdentifier = oid("1.2.840.113549.1.1.1");
const RSA_SHA_256: ObjectIdentifier = oid("1.2.840.113549.1.1.11");
const RSA_SHA_384: ObjectIdentifier = oid("1.2.840.113549.1.1.12");
const RSA_SHA_512: ObjectIdentifier = oid("1.2.840.113549.1.1.13");
const ECDSA_SHA_256: ObjectIdentifier = oid("1.2.840.10045.4.3.2");
const ECDSA_SHA_384: ObjectIdentifier = oid("1.2.840.10045.4.3.3");
const ED25519: ObjectIdentifier = oid("1.3.101.112");
const TIME_STAMPING: ObjectIdentifier = oid("1.3.6.1.5.5.7.3.8");
const COMMON_NAME: ObjectIdentifier = oid("2.5.4.3");

/// Why a token is no time stamp of what it should be of.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum TokenFault {
    /// Not in the form of the standard.
    #[error("it cannot be read as a time stamp (RFC 3161): {0}")]
    Unreadable(String),
    /// Of something else.
    #[error("it is a time stamp of other bytes")]
    OtherBytes,
    /// An answer to another request.
    #[error("it answers another request: its number is not the one that was sent")]
    OtherRequest,
    /// No certificate of the signer.
    #[error("it holds no certificate of its signer")]
    NoCertificate,
    /// A certificate that is not for this, or another than the signed one.
    #[error("its certificate {0}")]
    Certificate(&'static str),
    /// A signature by a method that is not known here.
    #[error("it is signed by a method that zonecall does not know ({0})")]
    Method(String),
    /// The signature does not fit.
    #[error("its signature does not fit: it was changed, or made by another key")]
    Signature,
    /// The chain of certificates does not lead to the authority.
    #[error("its certificate does not lead to the authority that was named ({0})")]
    Authority(String),
}

fn unreadable(error: der::Error) -> TokenFault {
    TokenFault::Unreadable(error.to_string())
}

/// A time stamp whose hash, certificate and signature fit.
#[derive(Debug, Clone)]
pub struct Token {
    der: Vec<u8>,
    /// When it was stamped, by the clock of the server.
    pub at: DateTime<Utc>,
    /// How far that may be off, as the server says.
    pub accuracy: Option<TimeDelta>,
    /// The server, by the name in its certificate.
    pub by: String,
    nonce: Option<Int>,
    certificate: Vec<u8>,
    others: Vec<Vec<u8>>,
}

impl Token {
    /// Reads the token `bytes` and verifies that it is one of `sha256`: its form, the hash, the purpose of the certificate
    /// in it, and the signature of that certificate's key.
    ///
    /// # Errors
    /// When it is none.
    pub fn read(bytes: &[u8], sha256: &[u8; 32]) -> Result<Token, TokenFault> {
        let outer = ContentInfo::from_der(bytes).map_err(unreadable)?;
        if outer.content_type != SIGNED_DATA {
            return Err(TokenFault::Unreadable("it is not signed data".to_owned()));
        }
        let signed: SignedData = outer.content.decode_as().map_err(unreadable)?;
        let inner = signed.encap_content_info.econtent.as_ref();
        let is_stamp = signed.encap_content_info.econtent_type == TST_INFO;
        let Some(content) = inner.filter(|_| is_stamp) else {
            return Err(TokenFault::Unreadable("it holds no time".to_owned()));
        };
        let content: OctetString = content.decode_as().map_err(unreadable)?;
        let info = TstInfo::from_der(content.as_bytes()).map_err(unreadable)?;
        let has_unknown = info.extensions.iter().flatten().any(|extension| extension.critical);
        if info.version != 1 || has_unknown {
            return Err(TokenFault::Unreadable("it is of a later kind".to_owned()));
        }
        if !info.message_imprint.is_of(sha256) {
            return Err(TokenFault::OtherBytes);
        }
        let [signer] = signed.signer_infos.0.as_slice() else {
            return Err(TokenFault::Unreadable("it has not exactly one signer".to_owned()));
        };
        // RFC 5652, 5.1: the hashes that signers used are listed once more, outside what is signed.
        let is_listed = |used: &AlgorithmIdentifierOwned| used.oid == signer.digest_alg.oid;
        if !signed.digest_algorithms.iter().any(is_listed) {
            return Err(TokenFault::Unreadable("it does not list the hash of its signer".to_owned()));
        }
        let (certificate, others) = certificates(&signed, &signer.sid)?;
        is_for_time_stamps(&certificate)?;
        let der = certificate.to_der().map_err(unreadable)?;
        is_signed(signer, content.as_bytes(), &der)?;
        Ok(Token {
            der: bytes.to_owned(),
            at: time(&info)?,
            accuracy: info.accuracy.map(|accuracy| {
                let part = |number: Option<u16>| i64::from(number.unwrap_or(0));
                TimeDelta::seconds(i64::from(accuracy.seconds.unwrap_or(0)))
                    + TimeDelta::milliseconds(part(accuracy.millis))
                    + TimeDelta::microseconds(part(accuracy.micros))
            }),
            by: name(&certificate),
            nonce: info.nonce,
            certificate: der,
            others,
        })
    }

    /// Its bytes, as they were read.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.der
    }

    /// Whether it answers the request with this number.
    ///
    /// # Errors
    /// When it answers another one.
    pub(super) fn answers(&self, nonce: u64) -> Result<(), TokenFault> {
        let sent = nonce.to_der().and_then(|der| Int::from_der(&der)).map_err(unreadable)?;
        if self.nonce.as_ref() == Some(&sent) { Ok(()) } else { Err(TokenFault::OtherRequest) }
    }

    /// Whether its certificate leads to one of these authorities, and was valid when it was stamped.
    ///
    /// # Errors
    /// When it does not.
    pub fn is_vouched_for(&self, authority: &Authority) -> Result<(), TokenFault> {
        authority.vouches_for(&self.certificate, &self.others, self.at).map_err(TokenFault::Authority)
    }
}

/// The certificate of the signer, and the others, in DER.
fn certificates(
    signed: &SignedData,
    sid: &SignerIdentifier,
) -> Result<(Certificate, Vec<Vec<u8>>), TokenFault> {
    let all = signed.certificates.iter().flat_map(|set| set.0.iter()).filter_map(|choice| match choice {
        CertificateChoices::Certificate(certificate) => Some(certificate),
        CertificateChoices::Other(_) => None,
    });
    let is_signers = |certificate: &Certificate| {
        let about = &certificate.tbs_certificate;
        match sid {
            SignerIdentifier::IssuerAndSerialNumber(named) => {
                named.issuer == about.issuer && named.serial_number == about.serial_number
            }
            SignerIdentifier::SubjectKeyIdentifier(named) => {
                matches!(about.get::<SubjectKeyIdentifier>(), Ok(Some((_, own))) if own == *named)
            }
        }
    };
    let (own, others): (Vec<&Certificate>, Vec<&Certificate>) = all.partition(|one| is_signers(one));
    let own = own.first().copied().cloned().ok_or(TokenFault::NoCertificate)?;
    let others = others.into_iter().map(Encode::to_der).collect::<der::Result<_>>().map_err(unreadable)?;
    Ok((own, others))
}

/// RFC 3161, 2.3: the key of a server stamps times and does nothing else.
fn is_for_time_stamps(certificate: &Certificate) -> Result<(), TokenFault> {
    match certificate.tbs_certificate.get::<ExtendedKeyUsage>() {
        Ok(Some((true, usage))) if usage.0 == [TIME_STAMPING] => Ok(()),
        _ => Err(TokenFault::Certificate("is not one for time stamps")),
    }
}

/// RFC 5652, 5.4 and 5.6, and RFC 5816, 2.2.1: what is signed names the content and the certificate.
fn is_signed(signer: &SignerInfo, content: &[u8], certificate: &[u8]) -> Result<(), TokenFault> {
    let attributes =
        signer.signed_attrs.as_ref().ok_or_else(|| TokenFault::Unreadable("it signs no names".to_owned()))?;
    let only = |wanted: ObjectIdentifier| {
        let found = attributes.iter().find(|attribute| attribute.oid == wanted)?;
        found.values.get(0).filter(|_| found.values.len() == 1)
    };
    let kind = only(CONTENT_TYPE).and_then(|value| value.decode_as::<ObjectIdentifier>().ok());
    if kind != Some(TST_INFO) {
        return Err(TokenFault::Signature);
    }
    let digest = only(MESSAGE_DIGEST).and_then(|value| value.decode_as::<OctetString>().ok());
    let hashed = hash(signer.digest_alg.oid, content)?;
    if digest.is_none_or(|digest| digest.as_bytes() != hashed) {
        return Err(TokenFault::Signature);
    }
    let is_named = if let Some(value) = only(SIGNING_CERTIFICATE_V2) {
        let named: SigningCertificateV2 = value.decode_as().map_err(unreadable)?;
        let first = named.certs.first();
        let by = first.and_then(|first| first.hash_algorithm.as_ref()).map_or(SHA_256, |by| by.oid);
        let hashed = hash(by, certificate)?;
        first.is_some_and(|first| first.cert_hash.as_bytes() == hashed)
    } else if let Some(value) = only(SIGNING_CERTIFICATE) {
        let named: SigningCertificate = value.decode_as().map_err(unreadable)?;
        let hashed = Sha1::digest(certificate);
        named.certs.first().is_some_and(|first| first.cert_hash.as_bytes() == hashed.as_slice())
    } else {
        false
    };
    if !is_named {
        return Err(TokenFault::Certificate("is not the one that the signature names"));
    }
    // The signature is over the set of these attributes, under its own tag (RFC 5652, 5.4).
    let words = attributes.to_der().map_err(unreadable)?;
    let der = CertificateDer::from(certificate);
    let unfit = |_| TokenFault::Certificate("cannot be used");
    let key = EndEntityCert::try_from(&der).map_err(unfit)?;
    let fits = methods(signer)?
        .iter()
        .any(|method| key.verify_signature(*method, &words, signer.signature.as_bytes()).is_ok());
    if fits { Ok(()) } else { Err(TokenFault::Signature) }
}

fn hash(by: ObjectIdentifier, bytes: &[u8]) -> Result<Vec<u8>, TokenFault> {
    match by {
        SHA_256 => Ok(Sha256::digest(bytes).to_vec()),
        SHA_384 => Ok(Sha384::digest(bytes).to_vec()),
        SHA_512 => Ok(Sha512::digest(bytes).to_vec()),
        other => Err(TokenFault::Method(other.to_string())),
    }
}

/// The methods that a signature may be made by, one for each kind of key.
fn methods(signer: &SignerInfo) -> Result<Vec<&'static dyn SignatureVerificationAlgorithm>, TokenFault> {
    let unknown = |oid: ObjectIdentifier| Err(TokenFault::Method(oid.to_string()));
    // A plain RSA signature says in another place by which hash it was made; where both places say it, they agree (RFC 5754,
    // 3).
    match (signer.signature_algorithm.oid, signer.digest_alg.oid) {
        (RSA | RSA_SHA_256, SHA_256) => Ok(vec![ring::RSA_PKCS1_2048_8192_SHA256]),
        (RSA | RSA_SHA_384, SHA_384) => Ok(vec![ring::RSA_PKCS1_2048_8192_SHA384]),
        (RSA | RSA_SHA_512, SHA_512) => Ok(vec![ring::RSA_PKCS1_2048_8192_SHA512]),
        (ECDSA_SHA_256, SHA_256) => Ok(vec![ring::ECDSA_P256_SHA256, ring::ECDSA_P384_SHA256]),
        (ECDSA_SHA_384, SHA_384) => Ok(vec![ring::ECDSA_P256_SHA384, ring::ECDSA_P384_SHA384]),
        (ED25519, _) => Ok(vec![ring::ED25519]),
        (RSA, other) | (other, _) => unknown(other),
    }
}

/// RFC 3161, 2.4.2: `YYYYMMDDhhmmss[.s...]Z`.
fn time(info: &TstInfo) -> Result<DateTime<Utc>, TokenFault> {
    let wrong = || TokenFault::Unreadable("it holds no time of the right form".to_owned());
    let text = std::str::from_utf8(info.gen_time.value()).map_err(|_| wrong())?;
    if info.gen_time.tag() != GeneralizedTime::TAG {
        return Err(wrong());
    }
    let parsed = NaiveDateTime::parse_from_str(text, "%Y%m%d%H%M%S%.fZ");
    parsed.map(|naive| naive.and_utc()).map_err(|_| wrong())
}

/// The common name of a certificate's owner, or all of its name.
fn name(certificate: &Certificate) -> String {
    let subject = &certificate.tbs_certificate.subject;
    let mut parts = subject.0.iter().flat_map(|part| part.0.iter());
    let common = parts.find(|part| part.oid == COMMON_NAME);
    let text = common.and_then(|part| String::from_utf8(part.value.value().to_vec()).ok());
    text.unwrap_or_else(|| subject.to_string()).shown()
}
