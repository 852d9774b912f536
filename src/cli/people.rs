//! `zonecall people` and `zonecall sign`: who is in the practice, and a vet's signature without the desk.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use clap::Subcommand;

use super::options::FolderArgs;
use super::stamp::{StampOptions, stamp_signature};
use crate::exam_folder::record_against;
use crate::knowledge::measure::Against;
use crate::report::signed::verified;
use crate::report::words::count;
use crate::signing::people::{People, Person, Role, settings_folder};
use crate::signing::sign::{Seen, Signer, asks_impression, sign as sign_exam, take_back};
use crate::terminal::{self, ShownText as _};

/// Longest file that is read as a passphrase, in bytes.
const PASSPHRASE_BYTES_MAX: u64 = 4096;

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall people\n  \
    zonecall people add \"Ada Example\" --role vet --licence 1234\n  \
    zonecall people add \"Kim Example\" --role assistant\n  \
    zonecall people new-key \"Ada Example\"\n  \
    zonecall people remove \"Kim Example\"\n\n\
    The list is `people.toml` in the folder of settings, the keys lie next to it in `keys/`. Keep a copy of both.\n\
    A passphrase cannot be recovered: forgotten, it needs a new key; what was signed before stays valid.\n\n\
    Exit codes: 0 done, 2 an error.")]
pub(crate) struct PeopleArgs {
    #[command(subcommand)]
    what: Option<PeopleTask>,
}

#[derive(Debug, Subcommand)]
enum PeopleTask {
    /// Add a vet, who gets a key, or an assistant.
    Add {
        /// The name, as it appears in records.
        name: String,
        /// What this person may do: a vet signs, an assistant does everything else.
        #[arg(long, value_enum)]
        role: RoleChoice,
        /// Licence number of a vet.
        #[arg(long, default_value = "")]
        licence: String,
        #[command(flatten)]
        passphrase: PassphraseArgs,
    },
    /// Take somebody off who has left: they change and sign nothing any more; what they signed stays valid and named.
    Remove {
        /// Whom.
        name: String,
    },
    /// Give a vet a new key; the one before stays known.
    NewKey {
        /// The vet.
        name: String,
        #[command(flatten)]
        passphrase: PassphraseArgs,
    },
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum RoleChoice {
    Vet,
    Assistant,
}

#[derive(Debug, clap::Args)]
struct PassphraseArgs {
    /// File whose first line is the passphrase, for scripts; without it, you are asked. Only its owner may read it.
    #[arg(long, value_name = "FILE")]
    passphrase_file: Option<PathBuf>,
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall sign exams/juniper --vet \"Ada Example\"\n  \
    zonecall sign exams/juniper --vet \"Ada Example\" --take-back\n\n\
    You are asked for the passphrase of your key. Read the report first: a signature covers all of the record.\n\n\
    Exit codes: 0 signed, 2 an error; then nothing was signed.")]
pub(crate) struct SignArgs {
    #[command(flatten)]
    folder: FolderArgs,
    /// Name of the vet, as `zonecall people` lists it.
    #[arg(long)]
    vet: String,
    /// Withdraw the signature instead.
    #[arg(long)]
    take_back: bool,
    /// Sign even if recordings or stills are missing, cut short or replaced.
    #[arg(long, conflicts_with = "take_back")]
    incomplete: bool,
    /// Sign a record without an impression: none is wanted.
    #[arg(long, conflicts_with = "take_back")]
    no_impression: bool,
    #[command(flatten)]
    passphrase: PassphraseArgs,
    #[command(flatten)]
    stamps: StampOptions,
}

pub(crate) fn people(args: &PeopleArgs) -> anyhow::Result<ExitCode> {
    let mut people = People::read(&settings_folder()?)?;
    let mut out = terminal::out();
    match &args.what {
        None => list(&people, &mut out)?,
        Some(PeopleTask::Add { name, role: RoleChoice::Assistant, licence, .. }) => {
            people.add(name, Role::Assistant, licence, "")?;
            writeln!(out, "{} may correct and measure, and may not sign", name.trim())?;
        }
        Some(PeopleTask::Add { name, role: RoleChoice::Vet, licence, passphrase }) => {
            people.add(name, Role::Vet, licence, &passphrase.new_one()?)?;
            writeln!(out, "{} may sign, with a key of their own", name.trim())?;
        }
        Some(PeopleTask::Remove { name }) => {
            let name = people.find(name)?.name.clone();
            people.remove(&name)?;
            writeln!(out, "{name} changes and signs nothing any more; what was signed before stays valid")?;
        }
        Some(PeopleTask::NewKey { name, passphrase }) => {
            people.vet(name)?;
            people.new_key(name, &passphrase.new_one()?)?;
            writeln!(out, "{} has a new key; what the one before signed stays valid", name.trim())?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn list(people: &People, out: &mut impl Write) -> std::io::Result<()> {
    if people.all().is_empty() {
        writeln!(
            out,
            "nobody is on the list yet; add a vet with `zonecall people add NAME --role vet --licence NUMBER`"
        )?;
    }
    for Person { name, role, licence, key, earlier_keys, left } in people.all() {
        let licence = if licence.is_empty() { String::new() } else { format!(", licence {licence}") };
        let left = if *left { ", has left" } else { "" };
        writeln!(out, "{name}: {}{licence}{left}", role.as_str())?;
        if let Some(key) = key {
            writeln!(out, "  key {key}")?;
        }
        for key in earlier_keys {
            writeln!(out, "  earlier key {key}")?;
        }
    }
    if let Some(key) = people.shared_key() {
        writeln!(
            out,
            "Shared by everybody before each vet had a key; nobody signs with it any more:\n  key {key}"
        )?;
    }
    Ok(())
}

pub(crate) fn sign(args: &SignArgs) -> anyhow::Result<ExitCode> {
    let protocols = args.folder.knowledge.read()?;
    let people = People::read(&settings_folder()?)?;
    // Asked for only where it could be of use.
    let name = people.vet(&args.vet)?.name.clone();
    let folder = args.folder.open();
    let mut out = terminal::out();
    let seen = Seen { last: None, incomplete: args.incomplete, no_impression: args.no_impression };
    if !args.take_back {
        // Before the passphrase: it is the last moment to look at them.
        let record = record_against(&verified(&folder, &protocols)?, &protocols, &Against::default());
        let open = record.findings.iter().filter(|finding| finding.is_open()).count();
        if open > 0 {
            let (open, exam) = (count(open, "point"), folder.path().shown());
            writeln!(out, "still open: {open}; `zonecall check {exam}` lists them")?;
            out.flush()?;
        }
        asks_impression(&record, &seen)?;
    }
    let passphrase = args.passphrase.known(&name)?;
    let signer = Signer { name: &name, passphrase: &passphrase };
    if args.take_back {
        let seq = take_back(&folder, &protocols, &people, signer)?;
        writeln!(out, "line {seq}: the signature is withdrawn; the record is a draft")?;
    } else {
        let seq = sign_exam(&folder, &protocols, &people, signer, seen)?;
        writeln!(out, "line {seq}: signed by {name}")?;
        out.flush()?;
        stamp_signature(folder.path(), &args.stamps)?;
    }
    Ok(ExitCode::SUCCESS)
}

impl PassphraseArgs {
    /// The passphrase of a key that is there.
    fn known(&self, name: &str) -> anyhow::Result<String> {
        match &self.passphrase_file {
            Some(path) => first_line(path),
            None => asked(&format!("Passphrase of {name}: ")),
        }
    }

    /// A passphrase for a new key; typed twice, for what nobody sees may be mistyped.
    fn new_one(&self) -> anyhow::Result<String> {
        if let Some(path) = &self.passphrase_file {
            return first_line(path);
        }
        let once = asked("New passphrase, several words: ")?;
        let again = asked("The same again: ")?;
        anyhow::ensure!(once == again, "the two passphrases differ; nothing was changed, start again");
        Ok(once)
    }
}

/// Asks at the terminal; what is typed does not appear.
fn asked(prompt: &str) -> anyhow::Result<String> {
    rpassword::prompt_password(prompt)
        .context("there is no terminal to ask for the passphrase; give a file with --passphrase-file")
}

fn first_line(path: &Path) -> anyhow::Result<String> {
    let about = std::fs::metadata(path).with_context(|| format!("cannot read `{}`", path.shown()))?;
    #[cfg(unix)]
    {
        let mode = std::os::unix::fs::PermissionsExt::mode(&about.permissions());
        anyhow::ensure!(
            mode & 0o077 == 0,
            "others can read `{}`; make it yours alone with `chmod 600`, and choose another passphrase",
            path.shown()
        );
    }
    anyhow::ensure!(
        about.len() <= PASSPHRASE_BYTES_MAX,
        "`{}` has {} bytes, a passphrase at most {PASSPHRASE_BYTES_MAX}; give another file",
        path.shown(),
        about.len()
    );
    let text = std::fs::read_to_string(path).with_context(|| format!("cannot read `{}`", path.shown()))?;
    Ok(text.lines().next().unwrap_or_default().to_owned())
}
