//! A vet's secret key, sealed by a passphrase.
//!
//! Takes: a key and a passphrase.
//! Gives: `SealedKey`, which is kept as a file, and the key back from it for the same passphrase.
//! Never: I/O; nor a hint whether passphrase or file is wrong, because nobody can tell.
//! Tested in: here and in `tests/it/people.rs`.

use argon2::{Algorithm, Argon2, Params, Version};
use chacha20poly1305::aead::{Aead, KeyInit, Payload};
use chacha20poly1305::{Key, XChaCha20Poly1305, XNonce};
use ed25519_dalek::SigningKey;
use serde::{Deserialize, Serialize};

use crate::hex;

/// Name of the form of the file.
const FORMAT: &str = "zonecall.key/1";
/// The second choice of RFC 9106, section 4, for machines with little memory: 64 MiB, three passes, four lanes.
const MEMORY_KIB: u32 = 64 * 1024;
const PASSES: u32 = 3;
const LANES: u32 = 4;
/// A file that asks for more is refused: it was not written by this program.
const MEMORY_KIB_MAX: u32 = 1024 * 1024;
const PASSES_MAX: u32 = 64;
const LANES_MAX: u32 = 64;
const SALT_BYTES: usize = 16;
const NONCE_BYTES: usize = 24;
const KEY_BYTES: usize = 32;
/// Shortest passphrase, in characters.
pub const PASSPHRASE_MIN: usize = 10;

/// Why a key cannot be sealed or opened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum KeyError {
    /// Too short.
    #[error("the passphrase has {got} characters, at least {PASSPHRASE_MIN} are needed; use several words")]
    Short {
        /// Its length.
        got: usize,
    },
    /// Wrong passphrase, or a changed file.
    #[error("this passphrase does not open the key; type it again")]
    Closed,
    /// The file is not one of ours.
    #[error("the key file is not of the form `{FORMAT}`; put back a copy, or make a new key")]
    Form,
    /// No random bytes.
    #[error("the system gives no random bytes: {0}")]
    Random(getrandom::Error),
}

/// A secret key that only its passphrase opens.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SealedKey {
    format: String,
    /// The public key, in hexadecimal.
    pub public: String,
    memory_kib: u32,
    passes: u32,
    lanes: u32,
    salt: String,
    nonce: String,
    sealed: String,
}

impl SealedKey {
    /// A new random key, sealed.
    ///
    /// # Errors
    /// When the passphrase is too short or the system gives no random bytes.
    pub fn new(passphrase: &str) -> Result<SealedKey, KeyError> {
        let got = passphrase.chars().count();
        if got < PASSPHRASE_MIN {
            return Err(KeyError::Short { got });
        }
        let secret: [u8; KEY_BYTES] = random()?;
        let salt: [u8; SALT_BYTES] = random()?;
        let nonce: [u8; NONCE_BYTES] = random()?;
        let public = hex(SigningKey::from_bytes(&secret).verifying_key().as_bytes());
        let mut key = SealedKey {
            format: FORMAT.to_owned(),
            public,
            memory_kib: MEMORY_KIB,
            passes: PASSES,
            lanes: LANES,
            salt: hex(&salt),
            nonce: hex(&nonce),
            sealed: String::new(),
        };
        let about = key.about();
        let cipher = key.cipher(passphrase)?;
        let payload = Payload { msg: &secret, aad: about.as_bytes() };
        let sealed = cipher.encrypt(&XNonce::from(nonce), payload).map_err(|_| KeyError::Form)?;
        key.sealed = hex(&sealed);
        Ok(key)
    }

    /// The key, for whoever knows its passphrase.
    ///
    /// # Errors
    /// When the passphrase is wrong or the file was changed.
    pub fn open(&self, passphrase: &str) -> Result<SigningKey, KeyError> {
        if self.format != FORMAT {
            return Err(KeyError::Form);
        }
        let nonce: [u8; NONCE_BYTES] = exact(&self.nonce)?;
        let sealed = crate::unhex(&self.sealed).ok_or(KeyError::Form)?;
        let about = self.about();
        let payload = Payload { msg: &sealed, aad: about.as_bytes() };
        let cipher = self.cipher(passphrase)?;
        let secret = cipher.decrypt(&XNonce::from(nonce), payload).map_err(|_| KeyError::Closed)?;
        let secret = <[u8; KEY_BYTES]>::try_from(secret).map_err(|_| KeyError::Form)?;
        let key = SigningKey::from_bytes(&secret);
        if hex(key.verifying_key().as_bytes()) == self.public { Ok(key) } else { Err(KeyError::Form) }
    }

    /// What is bound to the sealed bytes without being secret.
    fn about(&self) -> String {
        format!("{FORMAT}\n{}", self.public)
    }

    fn cipher(&self, passphrase: &str) -> Result<XChaCha20Poly1305, KeyError> {
        let sane = self.memory_kib <= MEMORY_KIB_MAX && self.passes <= PASSES_MAX && self.lanes <= LANES_MAX;
        if !sane {
            return Err(KeyError::Form);
        }
        let salt: [u8; SALT_BYTES] = exact(&self.salt)?;
        let params = Params::new(self.memory_kib, self.passes, self.lanes, Some(KEY_BYTES))
            .map_err(|_| KeyError::Form)?;
        let mut key = [0; KEY_BYTES];
        Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
            .hash_password_into(passphrase.as_bytes(), &salt, &mut key)
            .map_err(|_| KeyError::Form)?;
        Ok(XChaCha20Poly1305::new(&Key::from(key)))
    }
}

fn random<const N: usize>() -> Result<[u8; N], KeyError> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(KeyError::Random)?;
    Ok(bytes)
}

fn exact<const N: usize>(hexadecimal: &str) -> Result<[u8; N], KeyError> {
    crate::unhex(hexadecimal).and_then(|bytes| bytes.try_into().ok()).ok_or(KeyError::Form)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn only_its_own_passphrase_opens_a_key_and_no_two_keys_are_alike() {
        let words = "four words of my own";
        let key = SealedKey::new(words).unwrap();
        assert_eq!(hex(key.open(words).unwrap().verifying_key().as_bytes()), key.public);
        assert!(matches!(key.open("four words of my owN"), Err(KeyError::Closed)));
        assert_ne!(SealedKey::new(words).unwrap().public, key.public);
        assert!(matches!(SealedKey::new("too short"), Err(KeyError::Short { got: 9 })));
    }

    #[test]
    fn a_key_file_that_was_changed_does_not_open() {
        let words = "four words of my own";
        let key = SealedKey::new(words).unwrap();
        let other = SealedKey::new(words).unwrap().public;
        for changed in [
            SealedKey { public: other, ..key.clone() },
            SealedKey { passes: PASSES + 1, ..key.clone() },
            SealedKey { memory_kib: MEMORY_KIB_MAX + 1, ..key.clone() },
            SealedKey { sealed: other_first_byte(&key.sealed), ..key.clone() },
            SealedKey { format: "zonecall.key/2".to_owned(), ..key.clone() },
            SealedKey { salt: "é".repeat(16), ..key },
        ] {
            assert!(changed.open(words).is_err(), "{changed:?}");
        }
    }

    /// Any fixed byte would be the one that is there in one key of 256.
    fn other_first_byte(hexadecimal: &str) -> String {
        let first = u8::from_str_radix(&hexadecimal[..2], 16).unwrap();
        format!("{:02x}{}", first ^ 1, &hexadecimal[2..])
    }

    /// RFC 9106, section 4, second recommended option: t = 3, p = 4, m = 2^16 KiB, a salt of 128 bits and a tag of 256.
    #[test]
    fn the_passphrase_is_stretched_as_the_standard_recommends() {
        assert_eq!((PASSES, LANES, MEMORY_KIB), (3, 4, 1 << 16));
        assert_eq!((SALT_BYTES * 8, KEY_BYTES * 8), (128, 256));
    }
}
