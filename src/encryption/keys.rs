//! The keys of age: public ones to encrypt for, secret ones to decrypt with.
//!
//! Takes: public keys as text, a file of secret keys.
//! Gives: `Recipients` and `Identities`.
//! Never: shows or logs a secret key.
//! Tested in: `tests/it/encryption.rs`.

use std::fs::File;
use std::io::{BufReader, ErrorKind, Read as _, Write as _};
use std::path::{Path, PathBuf};

use age::secrecy::ExposeSecret as _;
use age::x25519::{Identity, Recipient};
use chrono::Utc;

use crate::private;
use crate::terminal::ShownText as _;

/// Longest file of secret keys, in bytes.
const FILE_BYTES_MAX: u64 = 64 * 1024;

/// A key that cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum AgeKeyError {
    /// No public key.
    #[error(
        "`{0}` is not a public key of age; one begins with `age1`, and `age-keygen` or `zonecall encrypt --new-identity` makes one"
    )]
    Recipient(String),
    /// Nobody could read it.
    #[error("nobody was named who may read it; name a public key with --encrypt-for")]
    Nobody,
    /// A file of secret keys.
    #[error("cannot {doing} the secret key `{path}`: {why}", path = path.shown())]
    File {
        /// What was being done.
        doing: &'static str,
        /// The file.
        path: PathBuf,
        /// Why not.
        why: String,
    },
}

/// Those who may read what is encrypted.
#[derive(Debug, Clone)]
pub struct Recipients(Vec<Recipient>);

impl Recipients {
    /// These public keys, each such as `age1...`.
    ///
    /// # Errors
    /// When there is none, or one of them is none.
    pub fn of<'a>(keys: impl IntoIterator<Item = &'a str>) -> Result<Recipients, AgeKeyError> {
        let parsed = |key: &str| key.trim().parse().map_err(|_| AgeKeyError::Recipient(key.shown()));
        let all = keys.into_iter().map(parsed).collect::<Result<Vec<Recipient>, AgeKeyError>>()?;
        if all.is_empty() { Err(AgeKeyError::Nobody) } else { Ok(Recipients(all)) }
    }

    /// Each of them.
    pub(super) fn each(&self) -> impl Iterator<Item = &Recipient> {
        self.0.iter()
    }
}

/// Secret keys.
pub struct Identities(Vec<Box<dyn age::Identity + Send + Sync>>);

impl std::fmt::Debug for Identities {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} secret keys", self.0.len())
    }
}

impl Identities {
    /// Those in a file, as `age-keygen` writes it.
    ///
    /// # Errors
    /// When it cannot be read, or holds none.
    pub fn read(path: &Path) -> Result<Identities, AgeKeyError> {
        let failed = |why: String| AgeKeyError::File { doing: "read", path: path.to_owned(), why };
        // A pipe in its place could be waited for without end.
        if !path.is_file() {
            return Err(failed("there is no such file".to_owned()));
        }
        let file = File::open(path).map_err(|error| failed(error.to_string()))?;
        let text = BufReader::new(file.take(FILE_BYTES_MAX));
        let unfit =
            "it holds no secret key of age, or one that a passphrase seals; open that with the program age";
        let keys = age::IdentityFile::from_buffer(text).map_err(|_| failed(unfit.to_owned()))?;
        let keys = keys.into_identities().map_err(|error| failed(error.to_string()))?;
        if keys.is_empty() { Err(failed(unfit.to_owned())) } else { Ok(Identities(keys)) }
    }

    /// Each of them.
    pub(super) fn each(&self) -> impl Iterator<Item = &dyn age::Identity> {
        self.0.iter().map(|key| key.as_ref() as &dyn age::Identity)
    }
}

/// Makes a new secret key, in a new file for its owner alone; gives its public key.
///
/// # Errors
/// When the file is there already or cannot be written.
pub fn new_identity(path: &Path) -> Result<String, AgeKeyError> {
    let key = Identity::generate();
    let public = key.to_public().to_string();
    let failed = |error: std::io::Error| AgeKeyError::File {
        doing: "write",
        path: path.to_owned(),
        why: match error.kind() {
            ErrorKind::AlreadyExists => {
                "there is a file already, perhaps the only key to some exams; name a new one".to_owned()
            }
            _ => format!("{error}; check that the folder is there and has room"),
        },
    };
    let mut file = private::options().write(true).create_new(true).open(path).map_err(failed)?;
    let made = Utc::now().format("%Y-%m-%dT%H:%M:%SZ");
    let text = format!("# created: {made}\n# public key: {public}\n{}\n", key.to_string().expose_secret());
    file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).map_err(failed)?;
    Ok(public)
}
