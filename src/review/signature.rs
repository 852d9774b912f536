//! Signing at the desk: by a vet of the practice, whose passphrase opens the key.
//!
//! Takes: what the page sent.
//! Gives: the line of the signature, or of its taking back; the people as the page lists them.
//! Never: keeps a passphrase, or adds a second vet: after the first one that is done where the practice is set up.
//! Tested in: `tests/it/review.rs` and `tests/it/review_browser/`.

use serde::{Deserialize, Serialize};

use crate::exam::call::Problem;
use crate::exam::seq::Seq;
use crate::report::practice::Practice;
use crate::review::desk::Desk;
use crate::review::refusal::{Refusal, wrong};
use crate::signing::people::{People, Person, Role, settings_folder};
use crate::signing::sign::{Seen, SignError, Signer, sign, take_back};

/// A wish to sign, or to take the signature back.
#[derive(Deserialize)]
pub(super) struct Signing {
    by: String,
    passphrase: String,
    /// Number of the last line that the page had been given.
    seen: Seq,
    /// Seen once that files are gone, and meant all the same.
    #[serde(default)]
    confirmed: bool,
    /// No impression is wanted.
    #[serde(default)]
    no_impression: bool,
}

/// The first vet of a practice.
#[derive(Deserialize)]
pub(super) struct FirstVet {
    name: String,
    licence: String,
    passphrase: String,
}

/// Somebody whom the page may offer.
#[derive(Debug, Serialize)]
pub(super) struct PersonShown {
    name: String,
    role: Role,
    licence: String,
    can_sign: bool,
}

fn people() -> Result<People, Refusal> {
    settings_folder().and_then(|folder| People::read(&folder)).map_err(|error| refused(&error))
}

/// The name under which a change is kept: as the practice's list has it, once there is one.
///
/// # Errors
/// When the list has nobody of this name, or cannot be read.
pub(super) fn name_of(by: &str) -> Result<String, Refusal> {
    // Where the system knows no place for settings, there is no list.
    let Ok(folder) = settings_folder() else { return Ok(by.to_owned()) };
    let people = People::read(&folder).map_err(|error| {
        let text = error.to_string();
        let (message, help) = text.split_once("; ").unwrap_or((&text, "correct it, then save again"));
        Refusal::Wrong(Problem { message: message.to_owned(), help: help.to_owned() })
    })?;
    match people.person(by) {
        Some(person) if person.left => wrong(
            format!("`{}` is no longer in the practice, so nothing was saved", person.name),
            "enter a name of the list at the top",
        ),
        Some(person) => Ok(person.name.clone()),
        None if people.all().is_empty() => Ok(by.to_owned()),
        None => wrong(
            format!("`{by}` is not on the practice's list of people, so nothing was saved"),
            "enter a name of the list at the top, or add this one with `zonecall people add`",
        ),
    }
}

/// The practice's letterhead; none where the list cannot be read.
pub(super) fn practice() -> Option<Practice> {
    people().ok().and_then(|people| people.practice())
}

fn refused(error: &impl ToString) -> Refusal {
    let text = error.to_string();
    let (message, help) = text.split_once("; ").unwrap_or((&text, "nothing was signed"));
    Refusal::Wrong(Problem { message: message.to_owned(), help: help.to_owned() })
}

/// Everybody who is in the practice; nobody where the list cannot be read, which signing then tells.
pub(super) fn people_shown() -> Vec<PersonShown> {
    let shown = |person: &Person| PersonShown {
        name: person.name.clone(),
        role: person.role,
        licence: person.licence.clone(),
        can_sign: person.role == Role::Vet && person.key.is_some(),
    };
    let there = |people: People| people.all().iter().filter(|person| !person.left).map(shown).collect();
    people().map(there).unwrap_or_default()
}

/// Signs the record as the vet has seen it.
pub(super) fn sign_here(desk: &Desk, asked: &Signing) -> Result<Seq, Refusal> {
    let signer = Signer { name: &asked.by, passphrase: &asked.passphrase };
    let seen =
        Seen { last: Some(asked.seen), incomplete: asked.confirmed, no_impression: asked.no_impression };
    let signed = sign(&desk.folder, &desk.protocols, &people()?, signer, seen);
    signed.map_err(refusal)
}

/// Takes the signature back.
pub(super) fn take_back_here(desk: &Desk, asked: &Signing) -> Result<Seq, Refusal> {
    let signer = Signer { name: &asked.by, passphrase: &asked.passphrase };
    take_back(&desk.folder, &desk.protocols, &people()?, signer).map_err(refusal)
}

fn refusal(error: SignError) -> Refusal {
    match error {
        SignError::Folder(error) => Refusal::Desk(error),
        SignError::Overtaken => Refusal::Overtaken(Problem {
            message: "the exam has changed since this page showed it".to_owned(),
            help: "nothing was signed; check it again, then sign".to_owned(),
        }),
        SignError::NoImpression => Refusal::Wrong(Problem {
            message: "no impression is written, so the signed report would have none".to_owned(),
            help: "nothing was signed; write it, or tick that none is wanted".to_owned(),
        }),
        SignError::Incomplete { lacking } => Refusal::Doubtful(Problem {
            message: lacking,
            help:
                "nothing was signed; put the files back, or sign anyway: what is gone can no longer be proved"
                    .to_owned(),
        }),
        error => refused(&error),
    }
}

/// Makes the key of the first vet; whoever comes later is added with `zonecall people`.
pub(super) fn first_vet(asked: &FirstVet) -> Result<(), Refusal> {
    let mut people = people()?;
    // Once there is a list, only who may keep it adds to it.
    if !people.all().is_empty() {
        return wrong("this practice has a list of people already", "add a vet with `zonecall people add`");
    }
    people.add(&asked.name, Role::Vet, &asked.licence, &asked.passphrase).map_err(|error| refused(&error))
}
