//! Unique names that are the same each time the same exam is exported.
//!
//! Takes: what a thing is made from, in words.
//! Gives: a UID under `2.25`, from a UUID of version 8 (RFC 9562) over SHA-256.
//! Never: chance or a clock: the same exam gives the same UIDs.
//! Tested in: here, and by the checkers of `tests/it/exchange/`.

use sha2::{Digest, Sha256};

/// What comes before the words, so that our UIDs are those of nothing else.
const PURPOSE: &str = "zonecall.uid/1";

/// The UID of this program as the maker of a file (PS3.7 D.3.3.2); made once from a random UUID.
pub const IMPLEMENTATION_UID: &str = "2.25.307203397177052455638011266941608266373";
/// Its name there, with at most 16 characters.
pub const IMPLEMENTATION_NAME: &str = "ZONECALL_1";

/// The UID of what these parts describe.
#[must_use]
pub fn uid(parts: &[&str]) -> String {
    // A UID made from a UUID is its number in decimal after 2.25 (PS3.5 B.2).
    format!("2.25.{}", number(parts))
}

/// The UUID of what these parts describe.
#[must_use]
pub fn uuid(parts: &[&str]) -> String {
    let digits = format!("{:032x}", number(parts));
    [&digits[..8], &digits[8..12], &digits[12..16], &digits[16..20], &digits[20..]].join("-")
}

fn number(parts: &[&str]) -> u128 {
    let mut hash = Sha256::new();
    for part in std::iter::once(&PURPOSE).chain(parts) {
        hash.update((part.len() as u64).to_be_bytes());
        hash.update(part.as_bytes());
    }
    let digest: [u8; 32] = hash.finalize().into();
    let mut bytes = [0; 16];
    bytes.copy_from_slice(&digest[..16]);
    bytes[6] = bytes[6] & 0x0f | 0x80;
    bytes[8] = bytes[8] & 0x3f | 0x80;
    u128::from_be_bytes(bytes)
}

/// Longest UID (PS3.5 9.1).
pub(super) const UID_CHARS_MAX: usize = 64;

/// Digits and points, no part empty (PS3.5 9.1): such a name leads nowhere else.
pub(super) fn is_uid(text: &str) -> bool {
    (1..=UID_CHARS_MAX).contains(&text.len())
        && text.split('.').all(|part| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::{is_uid, uid};

    #[test]
    fn parts_are_kept_apart_and_the_name_fits() {
        assert_eq!(uid(&["a", "b"]), uid(&["a", "b"]));
        assert_ne!(uid(&["a", "b"]), uid(&["ab"]));
        assert_ne!(uid(&["a", "b"]), uid(&["ab", ""]));
        let name = uid(&["a"]);
        assert!(name.len() <= 64 && name.starts_with("2.25."), "{name}");
        let number: u128 = name[5..].parse().unwrap();
        let bytes = number.to_be_bytes();
        assert_eq!((bytes[6] >> 4, bytes[8] >> 6), (8, 2));
    }

    #[test]
    fn a_name_that_leads_out_of_the_folder_is_no_uid() {
        for name in ["", ".", "..", "1..2", "../1", "1/2", "1.2\\3", "1.2 ", "a.b", &"1".repeat(65)] {
            assert!(!is_uid(name), "{name}");
        }
        assert!(is_uid("1.2.840.10008.1.1") && is_uid(&"1".repeat(64)));
    }
}
