//! A vet's signature under the record, as a line of the journal.
//!
//! Takes: who signs, the hash of the journal's last line, and a key (Ed25519, RFC 8032).
//! Gives: `Signed`, and whether one holds.
//! Never: I/O; nor a word on whether the licence is real: it stands as it was entered.
//! Tested in: `tests/it/sign.rs`.

use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use serde::{Deserialize, Serialize};

use crate::exam::call::Problem;
use crate::exam::event::{Event, ExamEvent};
use crate::hex;

/// What stands before the signed words, so that a signature means nothing elsewhere.
const PURPOSE: &str = "zonecall.signature/1";

/// A signature under everything that stands before it in the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Signed {
    /// Name of the vet.
    pub by: String,
    /// Number of the licence, as entered.
    pub licence: String,
    /// SHA-256 of the journal's line before this one, which holds the hash of the one before it, and so on.
    pub journal_sha256: String,
    /// SHA-256 of the record as it was exported just before, as a draft.
    pub record_sha256: String,
    /// The public key, in hexadecimal.
    pub key: String,
    /// The signature, in hexadecimal.
    pub signature: String,
}

impl Signed {
    /// Signs; the key never leaves the caller.
    #[must_use]
    pub fn new(
        by: &str,
        licence: &str,
        journal_sha256: &str,
        record_sha256: &str,
        key: &SigningKey,
    ) -> Signed {
        let mut signed = Signed {
            by: by.to_owned(),
            licence: licence.to_owned(),
            journal_sha256: journal_sha256.to_owned(),
            record_sha256: record_sha256.to_owned(),
            key: hex(key.verifying_key().as_bytes()),
            signature: String::new(),
        };
        signed.signature = hex(&key.sign(signed.words().as_bytes()).to_bytes());
        signed
    }

    /// What is signed. Each part stands with its length, so that no two sets of parts read the same.
    fn words(&self) -> String {
        let parts = [PURPOSE, &self.by, &self.licence, &self.journal_sha256, &self.record_sha256];
        parts.iter().map(|part| format!("{}:{part}\n", part.len())).collect()
    }

    /// Whether key and signature fit what is signed.
    fn holds(&self) -> bool {
        let key = bytes::<32>(&self.key).and_then(|bytes| VerifyingKey::from_bytes(&bytes).ok());
        let signature = bytes::<64>(&self.signature).map(|bytes| Signature::from_bytes(&bytes));
        let (Some(key), Some(signature)) = (key, signature) else {
            return false;
        };
        key.verify_strict(self.words().as_bytes(), &signature).is_ok()
    }
}

fn bytes<const N: usize>(hexadecimal: &str) -> Option<[u8; N]> {
    if hexadecimal.len() != 2 * N || !hexadecimal.is_ascii() {
        return None;
    }
    let mut bytes = [0; N];
    for (idx, byte) in bytes.iter_mut().enumerate() {
        *byte = u8::from_str_radix(&hexadecimal[2 * idx..2 * idx + 2], 16).ok()?;
    }
    Some(bytes)
}

/// What is wrong with the signature in a line; none where it holds for all that stands before it, or where there is none.
#[must_use]
pub fn fault(line: &ExamEvent) -> Option<Problem> {
    let Event::Signed(signed) = &line.event else {
        return None;
    };
    let what = if signed.journal_sha256 != line.prev {
        "was made under another journal"
    } else if !signed.holds() {
        "does not fit its words or its key"
    } else {
        return None;
    };
    Some(Problem {
        message: format!("the signature of {} {what}", signed.by),
        help: "the record is not signed; compare with a copy, and have it signed again".to_owned(),
    })
}
