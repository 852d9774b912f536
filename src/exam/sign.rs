//! A vet's signature under the record, as a line of the journal.
//!
//! Takes: who signs, the hash of the journal's last line, and a key (Ed25519, RFC 8032).
//! Gives: `Signed`, and whether one holds.
//! Never: I/O; nor a word on whether the licence is real: it is kept as it was entered.
//! Tested in: `tests/it/sign.rs`.

use chrono::{DateTime, SecondsFormat, Utc};
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use serde::{Deserialize, Serialize};

use crate::exam::call::Problem;
use crate::hex;

/// What comes before the signed words, so that a signature means nothing elsewhere.
const PURPOSE: &str = "zonecall.signature/2";
/// The same of earlier versions, which signed neither the date nor the key nor the kept files.
const PURPOSE_BEFORE: &str = "zonecall.signature/1";

/// A kept file as it was at a moment.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileHash {
    /// Its path, as the journal has it.
    pub file: String,
    /// Its SHA-256, in hexadecimal.
    pub sha256: String,
}

/// What a vet signs.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Signable {
    /// Name of the vet.
    pub by: String,
    /// Number of the licence, as entered.
    pub licence: String,
    /// When it is signed, by the signer's computer.
    pub at: DateTime<Utc>,
    /// SHA-256 of the journal's last line.
    pub journal_sha256: String,
    /// SHA-256 of the record as it is exported at that moment, as a draft.
    pub record_sha256: String,
    /// The kept sound, the stills, and the record as it is kept.
    pub files: Vec<FileHash>,
}

/// A signature under everything that comes before it in the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Signed {
    /// Name of the vet.
    pub by: String,
    /// Number of the licence, as entered.
    pub licence: String,
    /// When it was signed; none in a signature of an earlier version, where nobody signed the date.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<DateTime<Utc>>,
    /// SHA-256 of the journal's line before this one, which holds the hash of the one before it, and so on.
    pub journal_sha256: String,
    /// SHA-256 of the record as it was exported just before, as a draft.
    pub record_sha256: String,
    /// The kept sound and the stills as they were, and the record as it is kept.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub files: Vec<FileHash>,
    /// The public key, in hexadecimal.
    pub key: String,
    /// The signature, in hexadecimal.
    pub signature: String,
}

impl Signed {
    /// Signs; the key never leaves the caller.
    #[must_use]
    pub fn new(what: Signable, key: &SigningKey) -> Signed {
        let Signable { by, licence, at, journal_sha256, record_sha256, files } = what;
        let mut signed = Signed {
            by,
            licence,
            at: Some(at),
            journal_sha256,
            record_sha256,
            files,
            key: hex(key.verifying_key().as_bytes()),
            signature: String::new(),
        };
        signed.signature = hex(&key.sign(signed.words().as_bytes()).to_bytes());
        signed
    }

    /// What is signed. Each part has its length before it, so that no two sets of parts read the same.
    fn words(&self) -> String {
        let [journal, record] = [self.journal_sha256.clone(), self.record_sha256.clone()];
        let mut parts =
            vec![PURPOSE_BEFORE.to_owned(), self.by.clone(), self.licence.clone(), journal, record];
        if let Some(at) = self.at {
            PURPOSE.clone_into(&mut parts[0]);
            parts.extend([at.to_rfc3339_opts(SecondsFormat::Nanos, true), self.key.clone()]);
            parts.extend(self.files.iter().flat_map(|kept| [kept.file.clone(), kept.sha256.clone()]));
        }
        parts.iter().map(|part| format!("{}:{part}\n", part.len())).collect()
    }

    /// Whether key and signature fit what is signed.
    fn holds(&self) -> bool {
        let key = bytes::<32>(&self.key).and_then(|bytes| VerifyingKey::from_bytes(&bytes).ok());
        let signature = bytes::<64>(&self.signature).map(|bytes| Signature::from_bytes(&bytes));
        let (Some(key), Some(signature)) = (key, signature) else {
            return false;
        };
        // Without a date nothing but the words of an earlier version was signed.
        let is_whole = self.at.is_some() || self.files.is_empty();
        is_whole && key.verify_strict(self.words().as_bytes(), &signature).is_ok()
    }
}

fn bytes<const N: usize>(hexadecimal: &str) -> Option<[u8; N]> {
    crate::unhex(hexadecimal)?.try_into().ok()
}

/// What is wrong with a signature; none where it holds for everything before it, whose last line has the hash `before`.
#[must_use]
pub fn fault(signed: &Signed, before: &str) -> Option<Problem> {
    let what = if signed.journal_sha256 != before {
        "was made under another journal"
    } else if !signed.holds() {
        "does not fit its words or its key"
    } else {
        return None;
    };
    Some(Problem::new(
        format!("the signature of {} {what}", signed.by),
        "the record is not signed; compare with a copy, and have it signed again",
    ))
}
