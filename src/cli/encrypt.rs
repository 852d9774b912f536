//! `zonecall encrypt` and `decrypt`: closed exams as files that only those can read who have a key.
//!
//! Takes: exam folders and public keys; or an encrypted file and a secret key.
//! Gives: encrypted files; or a folder.
//! Never: removes a folder unless that was asked for.
//! Tested in: `tests/it/encryption.rs`.

use std::ffi::OsString;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, ensure};

use super::options::KnowledgeArgs;
use super::output::one_line;
use crate::encryption::decrypt::decrypt as decrypt_exam;
use crate::encryption::encrypt::{PlainFolder, encrypt as encrypt_exam, finish_removal};
use crate::encryption::keys::{Identities, Recipients, new_identity};
use crate::encryption::{ENCRYPTED, encrypted_file};
use crate::exam_folder::ExamFolder;
use crate::protocol::Protocols;
use crate::session::background_jobs::{BackgroundJob, JobLines};
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall encrypt --new-identity practice-key.txt\n  \
    zonecall encrypt exams/juniper --encrypt-for age1...\n  zonecall encrypt exams/* --encrypt-for age1... --remove-plain\n\n\
    The file is in the format of age, a tar archive inside: `age --decrypt -i practice-key.txt juniper.tar.age | tar x` \
    opens it, too. Keep the secret key off the machine that encrypts, and keep a copy of it: without it nobody can ever read the exams.\n\n\
    Exit codes: 0 encrypted, 2 an error; then the folder is as it was.")]
pub(crate) struct EncryptArgs {
    /// Exam folders; each becomes a file beside it, named after it.
    #[arg(value_name = "FOLDER", required_unless_present = "new_identity")]
    folders: Vec<PathBuf>,
    /// Public key of whoever may read the encrypted exams, as age writes it (`age1...`); can be given several times.
    #[arg(long, value_name = "KEY")]
    encrypt_for: Vec<String>,
    /// Remove the exam folder once its encrypted file was written, decrypted again and compared.
    #[arg(long)]
    remove_plain: bool,
    /// Where to write the file, for a single exam.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
    /// Make a new secret key in this file instead, and print its public key.
    #[arg(long, value_name = "FILE", conflicts_with_all = ["folders", "out", "encrypt_for", "remove_plain"])]
    new_identity: Option<PathBuf>,
    #[command(flatten)]
    knowledge: KnowledgeArgs,
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  zonecall decrypt exams/juniper.tar.age --identity practice-key.txt\n\n\
    Exit codes: 0 decrypted, 1 decrypted, but the journal is damaged, 2 an error, and no folder was made.")]
pub(crate) struct DecryptArgs {
    /// The encrypted file.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// File of the secret key, as `age-keygen` or `zonecall encrypt --new-identity` writes it.
    #[arg(long, value_name = "FILE")]
    identity: PathBuf,
    /// The folder to create; without it, one beside the file, with its name.
    #[arg(long, value_name = "FOLDER")]
    into: Option<PathBuf>,
}

pub(crate) fn encrypt(args: &EncryptArgs) -> anyhow::Result<ExitCode> {
    if let Some(path) = &args.new_identity {
        let public = new_identity(path)?;
        writeln!(
            terminal::out(),
            "secret key: {}; keep it off the machine that it protects, and keep a copy\npublic key: {public}",
            path.shown()
        )?;
        return Ok(ExitCode::SUCCESS);
    }
    let recipients = Recipients::of(args.encrypt_for.iter().map(String::as_str))?;
    ensure!(
        args.out.is_none() || args.folders.len() == 1,
        "--out names one file, and there are {} folders; leave it out",
        args.folders.len()
    );
    let plain = if args.remove_plain { PlainFolder::Removed } else { PlainFolder::Kept };
    ensure!(
        args.out.is_none() || plain == PlainFolder::Kept,
        "a folder is removed only next to its encrypted file; leave --out or --remove-plain out"
    );
    let protocols = args.knowledge.read()?;
    let mut failed = false;
    for path in &args.folders {
        let path = &with_name(path);
        let out = args.out.clone().unwrap_or_else(|| encrypted_file(path));
        let done = one(path, &protocols, &recipients, &out, plain);
        if let Err(error) = done {
            failed = true;
            terminal::warn(format!("zonecall: `{}`: {}", path.shown(), one_line(&error)));
        }
    }
    Ok(if failed { ExitCode::from(2) } else { ExitCode::SUCCESS })
}

/// The folder by its own name: `.` has none, and its encrypted file goes beside it.
fn with_name(folder: &Path) -> PathBuf {
    let is_named = folder.file_name().is_some();
    let full = (!is_named).then(|| folder.canonicalize().ok()).flatten();
    full.unwrap_or_else(|| folder.to_owned())
}

/// Whether exams can be encrypted for these public keys.
pub(super) fn usable(keys: &[String]) -> anyhow::Result<()> {
    if !keys.is_empty() {
        Recipients::of(keys.iter().map(String::as_str))?;
    }
    Ok(())
}

/// What encrypts the closed exams of a box for these public keys: this program, once for each exam. None where there is no
/// key.
pub(super) fn between_exams(
    keys: &[String],
    knowledge: &KnowledgeArgs,
) -> anyhow::Result<Option<BackgroundJob>> {
    if keys.is_empty() {
        return Ok(None);
    }
    // A wrong key is reported now, not when the first exam is over.
    Recipients::of(keys.iter().map(String::as_str))?;
    let program = std::env::current_exe().context("cannot find this program, which encrypts the exams")?;
    let mut after = vec![OsString::from("--remove-plain")];
    after.extend(keys.iter().flat_map(|key| [OsString::from("--encrypt-for"), key.trim().into()]));
    after.extend(knowledge.protocols.iter().flat_map(|path| [OsString::from("--protocols"), path.into()]));
    let lines = JobLines {
        done: |folder| format!("exam `{folder}` is encrypted, and its folder removed"),
        failed: |folder, why| {
            format!(
                "exam `{folder}` could not be encrypted and stays as it is: {why}; the next start tries again"
            )
        },
    };
    Ok(Some(BackgroundJob::new(program, vec!["encrypt".into()], after, lines)))
}

fn one(
    path: &Path,
    protocols: &Protocols,
    recipients: &Recipients,
    out: &Path,
    plain: PlainFolder,
) -> anyhow::Result<()> {
    let folder = ExamFolder::at(path);
    if plain == PlainFolder::Removed && finish_removal(&folder)? {
        writeln!(terminal::out(), "{}: removed; it was encrypted before", path.shown())?;
        return Ok(());
    }
    let encrypted = encrypt_exam(&folder, protocols, recipients, out, plain)?;
    writeln!(
        terminal::out(),
        "{}: {} files, decrypted again and compared with the folder",
        encrypted.file.shown(),
        encrypted.n_files
    )?;
    if let Some(first) = encrypted.outside.first() {
        terminal::warn(format!(
            "zonecall: {} stills are outside the exam folder and stay there as they are, such as `{}`",
            encrypted.outside.len(),
            first.shown()
        ));
    }
    if plain == PlainFolder::Removed {
        writeln!(terminal::out(), "{}: removed", path.shown())?;
    }
    Ok(())
}

pub(crate) fn decrypt(args: &DecryptArgs) -> anyhow::Result<ExitCode> {
    let into = args.into.clone().or_else(|| plain_folder(&args.file));
    let into = into.with_context(|| {
        format!("`{}` does not end in `{ENCRYPTED}`; name the folder with --into", args.file.shown())
    })?;
    let identities = Identities::read(&args.identity)?;
    let n_files = decrypt_exam(&args.file, &identities, &into)?;
    let lines = ExamFolder::at(&into).lines();
    let (journal, is_whole) = match &lines {
        Ok(lines) if lines.damage.is_empty() => (format!("{} lines, none damaged", lines.events.len()), true),
        Ok(_) => ("damaged; see `zonecall journal --verify`".to_owned(), false),
        Err(error) => (error.to_string(), false),
    };
    writeln!(terminal::out(), "{}: {n_files} files; the journal: {journal}", into.shown())?;
    Ok(if is_whole { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// The folder that a file was made of, by its name.
fn plain_folder(file: &Path) -> Option<PathBuf> {
    // What comes before the ending, which is two extensions, may be no text.
    let is_encrypted = file.file_name()?.as_encoded_bytes().ends_with(ENCRYPTED.as_bytes());
    is_encrypted.then(|| file.with_extension("").with_extension(""))
}
