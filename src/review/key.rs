//! The vet's key, kept in the person's own settings folder.
//!
//! Takes: nothing but where the system keeps a person's settings.
//! Gives: the key, made on first use and readable by that person only.
//! Never: a second key over a first one, or a key in an exam folder.
//! Tested in: `tests/it/review.rs`.

use std::fs::OpenOptions;
use std::io::{ErrorKind, Write};
use std::path::PathBuf;

use ed25519_dalek::SigningKey;

/// Bytes of a secret key (RFC 8032).
const KEY_BYTES: usize = 32;

/// Why there is not a key.
#[derive(Debug, thiserror::Error)]
pub(super) enum KeyError {
    #[error("there is no folder for your settings; set HOME or XDG_CONFIG_HOME")]
    NoFolder,
    #[error("cannot {doing} the key `{path}`: {source}")]
    File {
        doing: &'static str,
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("`{path}` is not a key of {KEY_BYTES} bytes; move it away and a new one is made")]
    NoKey { path: PathBuf },
    #[error("the system gives no random bytes: {0}")]
    Random(getrandom::Error),
}

fn path() -> Result<PathBuf, KeyError> {
    let own = |name| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    let folder = own("XDG_CONFIG_HOME").or_else(|| own("HOME").map(|home| home.join(".config")));
    Ok(folder.ok_or(KeyError::NoFolder)?.join("zonecall").join("signing.key"))
}

/// The key of this person on this machine.
pub(super) fn key() -> Result<SigningKey, KeyError> {
    let path = path()?;
    let failed = |doing, source| KeyError::File { doing, path: path.clone(), source };
    match std::fs::read(&path) {
        Ok(bytes) => {
            let bytes =
                <[u8; KEY_BYTES]>::try_from(bytes).map_err(|_| KeyError::NoKey { path: path.clone() })?;
            return Ok(SigningKey::from_bytes(&bytes));
        }
        Err(source) if source.kind() != ErrorKind::NotFound => return Err(failed("read", source)),
        Err(_) => {}
    }
    if let Some(folder) = path.parent() {
        std::fs::create_dir_all(folder).map_err(|source| failed("make the folder of", source))?;
    }
    let mut bytes = [0; KEY_BYTES];
    getrandom::fill(&mut bytes).map_err(KeyError::Random)?;
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(&path).map_err(|source| failed("make", source))?;
    file.write_all(&bytes).and_then(|()| file.sync_all()).map_err(|source| failed("write", source))?;
    Ok(SigningKey::from_bytes(&bytes))
}
