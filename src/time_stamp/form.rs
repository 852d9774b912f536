//! How requests, answers and tokens are written (RFC 3161, RFC 5035, RFC 5816), for the coder of `der`.
//!
//! Takes: nothing; these are forms.
//! Gives: the structures that `cms` does not have.
//! Never: judges what is in them.
//! Tested in: `tests/it/time_stamp/`.

// The crate `x509-tsp` has these, too, but refuses times with fractions of a second, which RFC 3161 (2.4.2) allows, and
// refusals whose reason lies behind the sixteenth bit.

use cms::cert::x509::ext::Extensions;
use cms::cert::x509::spki::AlgorithmIdentifierOwned;
use der::asn1::{BitString, Int, ObjectIdentifier, OctetString};
use der::{Any, Sequence};

/// SHA-256 (FIPS 180-4), as RFC 5754 names it.
pub(super) const SHA_256: ObjectIdentifier = ObjectIdentifier::new_unwrap("2.16.840.1.101.3.4.2.1");

/// What is stamped, by its hash.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
pub(super) struct MessageImprint {
    pub(super) hash_algorithm: AlgorithmIdentifierOwned,
    pub(super) hashed_message: OctetString,
}

impl MessageImprint {
    /// Of a SHA-256.
    pub(super) fn of(sha256: &[u8; 32]) -> der::Result<MessageImprint> {
        Ok(MessageImprint {
            hash_algorithm: AlgorithmIdentifierOwned { oid: SHA_256, parameters: None },
            hashed_message: OctetString::new(sha256.as_slice())?,
        })
    }

    /// Whether it is of this SHA-256; the parameters of the algorithm may be absent or NULL (RFC 5754, 2).
    pub(super) fn is_of(&self, sha256: &[u8; 32]) -> bool {
        self.hash_algorithm.oid == SHA_256 && self.hashed_message.as_bytes() == sha256
    }
}

/// RFC 3161, 2.4.1, without what we do not ask for.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
pub(super) struct TimeStampReq {
    pub(super) version: u8,
    pub(super) message_imprint: MessageImprint,
    pub(super) nonce: u64,
    #[asn1(default = "Default::default")]
    pub(super) cert_req: bool,
}

/// RFC 3161, 2.4.2.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
pub(super) struct TimeStampResp {
    pub(super) status: PkiStatusInfo,
    #[asn1(optional = "true")]
    pub(super) time_stamp_token: Option<Any>,
}

/// The same; its numbers are those of `Fault` below.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
pub(super) struct PkiStatusInfo {
    pub(super) status: u8,
    #[asn1(optional = "true")]
    pub(super) status_string: Option<Vec<String>>,
    #[asn1(optional = "true")]
    pub(super) fail_info: Option<BitString>,
}

impl PkiStatusInfo {
    /// Granted, or granted with modifications: only then there is a token.
    pub(super) fn is_granted(&self) -> bool {
        self.status <= 1
    }

    /// Why it was refused, in the server's words and in those of the standard.
    pub(super) fn why(&self) -> String {
        let said = self.status_string.iter().flatten().cloned();
        let bits = self.fail_info.iter().flat_map(BitString::bits).enumerate();
        let faults = bits.filter(|(_, is_set)| *is_set).map(|(bit, _)| match bit {
            0 => "it does not know the hash".to_owned(),
            2 => "it does not allow the request".to_owned(),
            5 => "it cannot read the request".to_owned(),
            14 => "its clock is not available".to_owned(),
            15 => "it does not have the policy".to_owned(),
            16 => "it does not have the extension".to_owned(),
            17 => "it does not have what was asked for in addition".to_owned(),
            25 => "it has a fault".to_owned(),
            bit => format!("reason {bit}"),
        });
        let all: Vec<String> = said.chain(faults).collect();
        if all.is_empty() { format!("status {}, without a reason", self.status) } else { all.join("; ") }
    }
}

/// RFC 3161, 2.4.2: what the server signs.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
pub(super) struct TstInfo {
    pub(super) version: u8,
    pub(super) policy: ObjectIdentifier,
    pub(super) message_imprint: MessageImprint,
    pub(super) serial_number: Int,
    pub(super) gen_time: Any,
    #[asn1(optional = "true")]
    pub(super) accuracy: Option<Accuracy>,
    #[asn1(default = "Default::default")]
    pub(super) ordering: bool,
    #[asn1(optional = "true")]
    pub(super) nonce: Option<Int>,
    #[asn1(context_specific = "0", tag_mode = "EXPLICIT", optional = "true")]
    pub(super) tsa: Option<Any>,
    #[asn1(context_specific = "1", tag_mode = "IMPLICIT", optional = "true")]
    pub(super) extensions: Option<Extensions>,
}

/// How far the time may be off, to either side.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
pub(super) struct Accuracy {
    #[asn1(optional = "true")]
    pub(super) seconds: Option<u32>,
    #[asn1(context_specific = "0", tag_mode = "IMPLICIT", optional = "true")]
    pub(super) millis: Option<u16>,
    #[asn1(context_specific = "1", tag_mode = "IMPLICIT", optional = "true")]
    pub(super) micros: Option<u16>,
}

/// RFC 5035, 3: whose certificate signed, by a hash of any kind.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
pub(super) struct SigningCertificateV2 {
    pub(super) certs: Vec<EssCertIdV2>,
    #[asn1(optional = "true")]
    pub(super) policies: Option<Any>,
}

#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
pub(super) struct EssCertIdV2 {
    /// SHA-256 where it is absent.
    #[asn1(optional = "true")]
    pub(super) hash_algorithm: Option<AlgorithmIdentifierOwned>,
    pub(super) cert_hash: OctetString,
    #[asn1(optional = "true")]
    pub(super) issuer_serial: Option<Any>,
}

/// RFC 2634, 5.4: the same by SHA-1.
#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
pub(super) struct SigningCertificate {
    pub(super) certs: Vec<EssCertId>,
    #[asn1(optional = "true")]
    pub(super) policies: Option<Any>,
}

#[derive(Clone, Debug, PartialEq, Eq, Sequence)]
pub(super) struct EssCertId {
    pub(super) cert_hash: OctetString,
    #[asn1(optional = "true")]
    pub(super) issuer_serial: Option<Any>,
}
