//! The people of a practice: who they are, what they may do, and the key of each vet.
//!
//! Takes: `people.toml` and the sealed keys in the folder of settings.
//! Gives: `People`, and a vet's key for its passphrase.
//! Never: one key for two people; a key that is no longer used stays on the list, so that old signatures are still known.
//! Tested in: `tests/it/people.rs`.

use std::collections::BTreeSet;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use ed25519_dalek::SigningKey;
use serde::{Deserialize, Serialize};

use crate::exam::review::TEXT_MAX;
use crate::hex;
use crate::plain_file;
use crate::private;
use crate::report::practice::Practice;
use crate::settings_file;
use crate::signing::sealed_key::{KeyError, SealedKey};
use crate::terminal::ShownText as _;
use crate::terminal::is_plain;

const LIST: &str = "people.toml";
const KEYS: &str = "keys";
/// The key of earlier versions, without a passphrase and the same for everybody.
const SHARED_KEY: &str = "signing.key";
const HEAD: &str = "# The people of this practice: written by `zonecall people`. The keys of the vets lie in `keys/`, each sealed\n\
# by its passphrase.\n\n";

/// What a person may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Corrects, measures, signs, and takes a signature back.
    Vet,
    /// Corrects and measures.
    Assistant,
}

impl Role {
    /// As it is written in the list.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Role::Vet => "vet",
            Role::Assistant => "assistant",
        }
    }
}

/// Somebody who works in the practice, or did.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Person {
    /// As it appears in records.
    pub name: String,
    /// What this person may do.
    pub role: Role,
    /// Number of the licence, as entered.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub licence: String,
    /// The public key that this vet signs with, in hexadecimal.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
    /// Public keys that this vet signed with before.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub earlier_keys: Vec<String>,
    /// No longer in the practice: changes and signs nothing any more; what was signed before stays valid and named.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub left: bool,
}

#[derive(Debug, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct PeopleFile {
    #[serde(default, skip_serializing_if = "Option::is_none")]
    practice: Option<Practice>,
    #[serde(default)]
    person: Vec<Person>,
}

/// Why the list of people does not do what is asked.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PeopleError {
    /// No folder of settings.
    #[error("there is no folder for settings; set HOME or XDG_CONFIG_HOME")]
    NoFolder,
    /// A file cannot be read or written.
    #[error("cannot {doing} `{path}`: {source}", path = path.shown())]
    File {
        /// What was tried.
        doing: &'static str,
        /// Which file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// The list is not one.
    #[error("`{path}` is not a list of people: {why}; correct it or put back a copy", path = path.shown())]
    Form {
        /// Which file.
        path: PathBuf,
        /// Why not.
        why: String,
    },
    /// A key or a name stands twice.
    #[error(
        "`{path}` has {what} twice, for `{one}` and for `{other}`; each vet needs a key and a name of their own",
        path = path.shown()
    )]
    Twice {
        /// Which file.
        path: PathBuf,
        /// A name or a key.
        what: &'static str,
        /// Whom it is of.
        one: String,
        /// And whom else.
        other: String,
    },
    /// Not on the list.
    #[error(
        "`{name}` is not on the list of people; `zonecall people` shows it, `zonecall people add` adds to it"
    )]
    Unknown {
        /// Who.
        name: String,
    },
    /// Not a vet.
    #[error("`{name}` is on the list as assistant; a vet signs and takes signatures back")]
    NoVet {
        /// Who.
        name: String,
    },
    /// No longer there.
    #[error(
        "`{name}` is no longer in the practice and changes or signs nothing; `zonecall people add` takes somebody in again"
    )]
    Left {
        /// Who.
        name: String,
    },
    /// No key yet.
    #[error("`{name}` has no key; make one with `zonecall people new-key`")]
    NoKey {
        /// Who.
        name: String,
    },
    /// The name or the licence cannot be used.
    #[error("{what}; {help}")]
    Entry {
        /// What is wrong.
        what: &'static str,
        /// What to do.
        help: &'static str,
    },
    /// The key does not open.
    #[error(transparent)]
    Key(#[from] KeyError),
}

/// The list, as it is kept.
#[derive(Debug)]
pub struct People {
    folder: PathBuf,
    list: Vec<Person>,
    practice: Option<Practice>,
}

/// The folder of people and keys: that of the settings.
///
/// # Errors
/// When the system knows none.
pub fn settings_folder() -> Result<PathBuf, PeopleError> {
    settings_file::settings_folder().ok_or(PeopleError::NoFolder)
}

/// The letterhead of the practice on this machine; none where no folder of settings is known.
///
/// # Errors
/// When the list of people cannot be read.
pub fn letterhead() -> Result<Option<Practice>, PeopleError> {
    match settings_folder() {
        Ok(folder) => Ok(People::read(&folder)?.practice()),
        Err(_) => Ok(None),
    }
}

impl People {
    /// The list in a folder of settings; an empty one where there is none.
    ///
    /// # Errors
    /// When it cannot be read, or gives one key or one name to two people.
    pub fn read(folder: &Path) -> Result<People, PeopleError> {
        let path = folder.join(LIST);
        let PeopleFile { practice, person: list } = match plain_file::read_to_string(&path) {
            Ok(text) => {
                let read: Result<PeopleFile, _> = toml::from_str(&text);
                read.map_err(|why| PeopleError::Form { path: path.clone(), why: why.message().to_owned() })?
            }
            Err(source) if source.kind() == ErrorKind::NotFound => PeopleFile::default(),
            Err(source) => return Err(PeopleError::File { doing: "read", path, source }),
        };
        let people = People { folder: folder.to_owned(), list, practice };
        people.each_is_one()?;
        Ok(people)
    }

    /// Everybody, in the order in which they were added.
    #[must_use]
    pub fn all(&self) -> &[Person] {
        &self.list
    }

    /// Whoever has this name, in any case of letters.
    #[must_use]
    pub fn person(&self, name: &str) -> Option<&Person> {
        self.list.iter().find(|person| person.is(name))
    }

    /// The practice's letterhead, with its logo; none where nobody has entered it.
    #[must_use]
    pub fn practice(&self) -> Option<Practice> {
        self.practice.clone().map(|practice| practice.with_logo(&self.folder))
    }

    /// Whose key this is, whether it still signs or not.
    #[must_use]
    pub fn of_key(&self, public: &str) -> Option<&Person> {
        self.list.iter().find(|person| person.keys().any(|key| key == public))
    }

    /// The public key of earlier versions, which everybody shared and nobody signs with any more.
    #[must_use]
    pub fn shared_key(&self) -> Option<String> {
        let bytes = plain_file::read(&self.folder.join(SHARED_KEY)).ok()?;
        let secret = <[u8; 32]>::try_from(bytes).ok()?;
        Some(hex(SigningKey::from_bytes(&secret).verifying_key().as_bytes()))
    }

    /// Whose key this is, in words.
    #[must_use]
    pub fn key_in_words(&self, public: &str) -> String {
        match self.of_key(public) {
            Some(person) if person.key.as_deref() == Some(public) => format!("the key of {}", person.name),
            Some(person) if person.left => format!("a key of {}, who has left the practice", person.name),
            Some(person) => format!("an earlier key of {}", person.name),
            None if self.shared_key().as_deref() == Some(public) => {
                "the key that everybody shared before each vet had one".to_owned()
            }
            None => "a key that is not on this practice's list".to_owned(),
        }
    }

    /// Adds somebody, or takes in again somebody who had left; a vet gets a key of their own, sealed by the passphrase.
    ///
    /// # Errors
    /// When the name is taken or empty, a vet has no licence, or the key cannot be made.
    pub fn add(
        &mut self,
        name: &str,
        role: Role,
        licence: &str,
        passphrase: &str,
    ) -> Result<(), PeopleError> {
        let (name, licence) = (name.trim(), licence.trim());
        let wrong = |what, help| Err(PeopleError::Entry { what, help });
        if name.is_empty() || name.len().max(licence.len()) > TEXT_MAX {
            return wrong("there is no name, or it is too long", "give the name as it stands on the licence");
        }
        if !is_plain(name) || !is_plain(licence) {
            return wrong("the name or licence holds invisible characters", "type it again, in plain text");
        }
        if role == Role::Vet && licence.is_empty() {
            return wrong("a vet needs a licence number", "give it with --licence");
        }
        if self.person(name).is_some_and(|person| !person.left) {
            return wrong("this name is on the list already", "give another name, or make a new key for it");
        }
        let key = match role {
            Role::Vet => Some(self.keep(&SealedKey::new(passphrase)?)?),
            Role::Assistant => None,
        };
        let (name, licence) = (name.to_owned(), licence.to_owned());
        match self.list.iter_mut().find(|person| person.is(&name)) {
            Some(back) => (back.role, back.licence, back.key, back.left) = (role, licence, key, false),
            None => {
                self.list.push(Person { name, role, licence, key, earlier_keys: Vec::new(), left: false });
            }
        }
        self.write()
    }

    /// Takes somebody off: they change and sign nothing any more. Their public keys stay, so that what they signed is known;
    /// the sealed one is deleted, so that nobody signs with it.
    ///
    /// # Errors
    /// When there is nobody of this name, or the files cannot be written.
    pub fn remove(&mut self, name: &str) -> Result<(), PeopleError> {
        let name = self.find(name)?.name.clone();
        let Some(person) = self.list.iter_mut().find(|person| person.name == name) else { return Ok(()) };
        let key = person.key.take();
        person.earlier_keys.extend(key.clone());
        person.left = true;
        // First the list: a key that it names must be there.
        self.write()?;
        let Some(path) = key.map(|key| self.key_file(&key)) else { return Ok(()) };
        match std::fs::remove_file(&path) {
            Err(source) if source.kind() != ErrorKind::NotFound => {
                Err(PeopleError::File { doing: "delete the key", path, source })
            }
            _ => Ok(()),
        }
    }

    /// Gives a vet a new key; the one before stays known.
    ///
    /// # Errors
    /// When there is no such vet, or the key cannot be made.
    pub fn new_key(&mut self, name: &str, passphrase: &str) -> Result<(), PeopleError> {
        self.vet(name)?;
        let public = self.keep(&SealedKey::new(passphrase)?)?;
        let person = self.list.iter_mut().find(|person| person.is(name));
        if let Some(person) = person {
            let before = person.key.replace(public);
            person.earlier_keys.extend(before);
        }
        self.write()
    }

    /// The vet of this name.
    ///
    /// # Errors
    /// When there is nobody of this name, or an assistant.
    pub fn vet(&self, name: &str) -> Result<&Person, PeopleError> {
        let person = self.find(name)?;
        match person.role {
            Role::Vet => Ok(person),
            Role::Assistant => Err(PeopleError::NoVet { name: person.name.clone() }),
        }
    }

    /// The key of a vet, for whoever knows its passphrase.
    ///
    /// # Errors
    /// When there is no such vet or key, or the passphrase is wrong.
    pub fn open_key(&self, name: &str, passphrase: &str) -> Result<(Person, SigningKey), PeopleError> {
        let person = self.vet(name)?;
        let public = person.key.as_ref().ok_or_else(|| PeopleError::NoKey { name: person.name.clone() })?;
        let path = self.key_file(public);
        let text = plain_file::read_to_string(&path).map_err(|source| PeopleError::File {
            doing: "read the key",
            path: path.clone(),
            source,
        })?;
        let sealed: SealedKey = toml::from_str(&text).map_err(|_| KeyError::Form)?;
        if sealed.public != *public {
            return Err(KeyError::Form.into());
        }
        Ok((person.clone(), sealed.open(passphrase)?))
    }

    /// Whoever has this name and is still in the practice.
    ///
    /// # Errors
    /// When there is nobody of this name, or they have left.
    pub fn find(&self, name: &str) -> Result<&Person, PeopleError> {
        let person =
            self.person(name).ok_or_else(|| PeopleError::Unknown { name: name.trim().to_owned() })?;
        if person.left {
            return Err(PeopleError::Left { name: person.name.clone() });
        }
        Ok(person)
    }

    fn key_file(&self, public: &str) -> PathBuf {
        self.folder.join(KEYS).join(format!("{}.toml", public.get(..16).unwrap_or(public)))
    }

    /// Keeps a sealed key, for its owner alone, and gives the public one.
    fn keep(&self, key: &SealedKey) -> Result<String, PeopleError> {
        let text = toml::to_string(key).unwrap_or_default();
        self.put_new(&self.key_file(&key.public), &text)?;
        Ok(key.public.clone())
    }

    fn write(&self) -> Result<(), PeopleError> {
        self.each_is_one()?;
        let file = PeopleFile { practice: self.practice.clone(), person: self.list.clone() };
        let text = format!("{HEAD}{}", toml::to_string(&file).unwrap_or_default());
        let path = self.folder.join(LIST);
        let failed = |source| PeopleError::File { doing: "write", path: path.clone(), source };
        private::make_folder(&self.folder).map_err(failed)?;
        // For its owner alone, as `tempfile` makes it; the list before stays whole until this one is.
        let mut part = tempfile::NamedTempFile::new_in(&self.folder).map_err(failed)?;
        part.write_all(text.as_bytes()).and_then(|()| part.as_file().sync_all()).map_err(failed)?;
        part.persist(&path).map_err(|refused| failed(refused.error))?;
        Ok(())
    }

    /// Writes a new file for its owner alone.
    fn put_new(&self, path: &Path, text: &str) -> Result<(), PeopleError> {
        let failed = |source| PeopleError::File { doing: "write", path: path.to_owned(), source };
        if let Some(folder) = path.parent() {
            private::make_folder(folder).map_err(failed)?;
        }
        let mut file = private::options().write(true).create_new(true).open(path).map_err(failed)?;
        file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).map_err(failed)
    }

    fn each_is_one(&self) -> Result<(), PeopleError> {
        for (idx, one) in self.list.iter().enumerate() {
            let keys: BTreeSet<&str> = one.keys().collect();
            for other in &self.list[..idx] {
                let what = match (other.is(&one.name), other.keys().any(|key| keys.contains(key))) {
                    (true, _) => "a name",
                    (_, true) => "a key",
                    _ => continue,
                };
                let path = self.folder.join(LIST);
                let (one, other) = (other.name.clone(), one.name.clone());
                return Err(PeopleError::Twice { path, what, one, other });
            }
        }
        Ok(())
    }
}

impl Person {
    /// Every key this person signs or signed with.
    fn keys(&self) -> impl Iterator<Item = &str> {
        self.key.iter().chain(&self.earlier_keys).map(String::as_str)
    }

    fn is(&self, name: &str) -> bool {
        self.name.eq_ignore_ascii_case(name.trim())
    }
}
