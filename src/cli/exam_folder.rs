//! Opens an exam folder and rebuilds everything from its journal.
//!
//! Takes: a folder with `exam.jsonl`.
//! Gives: the exam, its pairing and its record.
//! Never: changes the exam; it only writes what is derived from it.
//! Tested in: `tests/it/demo.rs`.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail, ensure};

use super::args;
use crate::exam::event::{Frame, Header, Horse};
use crate::exam::fold::{Exam, fold};
use crate::exam::journal;
use crate::exam::sound::note_sound;
use crate::frames::folder::note_missing;
use crate::frames::pair::pair;
use crate::knowledge::measure::{Against, Earlier};
use crate::knowledge::record::{self, Record};
use crate::language::engine::Pronunciation;
use crate::language::graph::ZonesByLimb;
use crate::language::pack::{Language, Pack};
use crate::protocol::Protocols;
use crate::protocol::measuring::Reference;
use crate::speech::sphinx::entries;

/// The protocols asked for, or the built-in ones.
pub(crate) fn protocols(args: &args::KnowledgeArgs) -> anyhow::Result<Protocols> {
    Ok(match &args.protocols {
        Some(folder) => Protocols::read(folder)?,
        None => Protocols::built_in()?,
    })
}

/// What can be said in an exam.
pub(crate) struct SpokenLanguage {
    pub(crate) pack: Pack,
    pub(crate) language: Language,
    /// Scheme chosen for each group of limbs.
    pub(crate) schemes: BTreeMap<String, String>,
    /// The zones that can be said of each limb.
    zones: ZonesByLimb,
}

impl SpokenLanguage {
    /// The same, in which only what begins with `call` counts; how the word sounds is looked up in `dictionary`, too,
    /// a file of `word  PHONES` lines.
    pub(crate) fn called_by(self, call: &str, dictionary: &Path) -> SpokenLanguage {
        let known = std::fs::read(dictionary).unwrap_or_default();
        let known = String::from_utf8_lossy(&known);
        let is_of_call = |word: &str| call.split_whitespace().any(|wanted| wanted.eq_ignore_ascii_case(word));
        let sounds = entries(&known).filter(|(_, word, _)| is_of_call(word)).map(|(line, word, phones)| {
            let (word, phones) = (word.to_owned(), phones.to_owned());
            Pronunciation { word, phones, file: dictionary.to_owned(), line }
        });
        let pack = self.pack.called_by(call, sounds.collect());
        let language = pack.for_zones(&self.zones);
        SpokenLanguage { pack, language, ..self }
    }
}

/// The grammar pack and the schemes asked for.
pub(crate) fn language(args: &args::LanguageArgs, protocols: &Protocols) -> anyhow::Result<SpokenLanguage> {
    language_with(args.grammar.as_deref(), protocols.choose(&args.schemes)?, protocols)
}

/// The grammar pack in `grammar`, cut to `schemes`; or the built-in one with the zones of every scheme, of which those that
/// `schemes` lack are heard and told to be none of this exam.
pub(crate) fn language_with(
    grammar: Option<&Path>,
    schemes: BTreeMap<String, String>,
    protocols: &Protocols,
) -> anyhow::Result<SpokenLanguage> {
    let pack = match grammar {
        Some(folder) => Pack::read(folder)?,
        None => Pack::built_in()?,
    };
    // Other languages are heard by an ear that cannot be told the limb in force: more zones cost it too much.
    let zones = if grammar.is_none() { protocols.sayable_zones() } else { protocols.zones_by_limb(&schemes) };
    let language = pack.for_zones(&zones);
    Ok(SpokenLanguage { pack, language, schemes, zones })
}

/// The exam in `folder`.
pub(crate) fn exam(folder: &Path, protocols: &Protocols) -> anyhow::Result<Exam> {
    let lines = journal::read(folder)?;
    let mut exam = fold(&lines, protocols)
        .with_context(|| format!("`{}`", folder.join(journal::JOURNAL_FILE).display()))?;
    note_missing(folder, &mut exam.frames);
    note_sound(folder, &mut exam);
    Ok(exam)
}

/// Makes sure that a value can be entered there: a zone of the limb in the exam's schemes, and a known structure.
pub(crate) fn place_is_known(
    [limb, zone, structure]: [&str; 3],
    header: &Header,
    protocols: &Protocols,
) -> anyhow::Result<()> {
    let codes = |all: Vec<&str>| all.join(", ");
    let limbs = protocols.limbs.iter().map(|limb| limb.code.as_str()).collect();
    ensure!(protocols.limb(limb).is_some(), "`{limb}` is no limb; there are: {}", codes(limbs));
    let zones = protocols.zones_for(limb, &header.schemes).into_iter().map(|(_, zone)| zone.code.as_str());
    ensure!(
        protocols.scheme_for(limb, zone, &header.schemes).is_some(),
        "`{zone}` is no zone of limb `{limb}` in the schemes of this exam; there are: {}",
        codes(zones.collect())
    );
    let structures = protocols.structures.iter().map(|structure| structure.code.as_str()).collect();
    ensure!(
        protocols.structure(structure).is_some(),
        "`{structure}` is no structure; there are: {}",
        codes(structures)
    );
    Ok(())
}

/// Where a still lies: its path starts from the exam folder, or is absolute.
pub(crate) fn still_file(folder: &Path, still: &Frame) -> PathBuf {
    folder.join(&still.file)
}

/// The record of the exam that was named, and the protocols it was read with.
pub(crate) fn record_of(args: &args::FolderArgs) -> anyhow::Result<(Record, Protocols)> {
    let protocols = protocols(&args.knowledge)?;
    let record = record_in(&args.folder, &protocols)?;
    Ok((record, protocols))
}

/// The record of an exam, its measures held against what was named.
pub(crate) fn record_against(exam: &Exam, protocols: &Protocols, against: &Against) -> Record {
    record::record_against(exam, &pair(exam, &exam.frames), protocols, against)
}

/// Reads what the exam that began with `now` is to be held against.
pub(crate) fn against(
    args: &args::AgainstArgs,
    now: &Header,
    protocols: &Protocols,
) -> anyhow::Result<Against> {
    let mut earlier = Vec::new();
    for other in &args.earlier {
        let record = earlier_record(other, now, protocols)?;
        earlier.push(Earlier { id: record.exam.id, at: record.exam.started_at, rows: record.measures });
    }
    earlier.sort_by_key(|earlier| earlier.at);
    for (limb, _) in &args.injured {
        let known: Vec<&str> = protocols.limbs.iter().map(|limb| limb.code.as_str()).collect();
        ensure!(known.contains(&limb.as_str()), "`{limb}` is no limb; there are: {}", known.join(", "));
    }
    let reference = args.reference.as_deref().map(reference).transpose()?;
    Ok(Against { reference, earlier, injured: args.injured.iter().cloned().collect() })
}

/// The record of another exam of the same horse, which began before `now`.
pub(crate) fn earlier_record(other: &Path, now: &Header, protocols: &Protocols) -> anyhow::Result<Record> {
    let record = record_in(other, protocols)?;
    same_horse(&record.exam.horse, &now.horse).with_context(|| format!("`{}`", other.display()))?;
    ensure!(
        record.exam.started_at < now.started_at,
        "`{}` is no earlier exam: it began no sooner than this one",
        other.display()
    );
    Ok(record)
}

/// Makes sure that two exams are of one horse: by its number where both have one, else by its name.
fn same_horse(then: &Horse, now: &Horse) -> anyhow::Result<()> {
    let same = match (&then.id, &now.id, &then.name, &now.name) {
        (Some(then), Some(now), ..) => then == now,
        (.., Some(then), Some(now)) => then == now,
        _ => bail!(
            "it cannot be told whether both exams are of one horse: give both a --horse or both a --horse-id \
             when they are heard"
        ),
    };
    ensure!(same, "an exam of another horse; only exams of one horse are compared");
    Ok(())
}

fn reference(name: &str) -> anyhow::Result<Reference> {
    let sets = Reference::built_in()?;
    if let Some(set) = sets.iter().find(|set| set.name == name) {
        return Ok(set.clone());
    }
    if Path::new(name).is_file() {
        return Ok(Reference::read(Path::new(name))?);
    }
    let names: Vec<&str> = sets.iter().map(|set| set.name.as_str()).collect();
    bail!("`{name}` is no reference set and no file; built in are: {}", names.join(", "))
}

/// The record of the exam in `folder`.
pub(crate) fn record_in(folder: &Path, protocols: &Protocols) -> anyhow::Result<Record> {
    Ok(record_against(&exam(folder, protocols)?, protocols, &Against::default()))
}

/// The folder of an exam for what is made from it.
pub(crate) fn out(folder: &Path) -> anyhow::Result<PathBuf> {
    let out = folder.join("out");
    std::fs::create_dir_all(&out).with_context(|| format!("cannot make the folder `{}`", out.display()))?;
    Ok(out)
}

/// Writes a file whole or not at all; into a device or a pipe it writes as it comes. It makes no folder: a slip of the
/// hand in a path would be lost in one that nobody looks for.
pub(crate) fn write_file(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        let shown = folder.display();
        ensure!(
            folder.is_dir(),
            "cannot write `{}`: there is no folder `{shown}`; make it with `mkdir -p \"{shown}\"`, or name another file",
            path.display()
        );
    }
    let part = path.with_extension("part");
    let write = || -> std::io::Result<()> {
        // A device or a pipe is written into, never replaced by a file of its name.
        if std::fs::metadata(path).is_ok_and(|found| !found.is_file()) {
            return std::fs::OpenOptions::new().write(true).open(path)?.write_all(bytes);
        }
        let mut file = std::fs::File::create(&part)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        std::fs::rename(&part, path)
    };
    write().with_context(|| format!("cannot write `{}`", path.display()))
}
