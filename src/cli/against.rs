//! What an exam is held against: earlier exams of the same horse, a reference set, days of injury.
//!
//! Takes: the options that name them.
//! Gives: `Against`.
//! Never: an exam of another horse, or one that began later.
//! Tested in: `tests/it/measure_command.rs`.

use std::path::Path;

use anyhow::{Context as _, bail, ensure};

use super::options::AgainstArgs;
use crate::exam::event::{Header, Horse};
use crate::exam_folder::ExamFolder;
use crate::knowledge::measure::{Against, Earlier};
use crate::knowledge::record::Record;
use crate::protocol::Protocols;
use crate::protocol::measuring::Reference;
use crate::terminal::ShownText as _;

/// Reads what the exam that began with `now` is to be held against.
pub(crate) fn against(args: &AgainstArgs, now: &Header, protocols: &Protocols) -> anyhow::Result<Against> {
    let mut earlier = Vec::new();
    for other in &args.earlier {
        let record = earlier_record(other, now, protocols)?;
        let exam = record.exam;
        earlier.push(Earlier {
            id: exam.id,
            at: exam.started_at,
            utc_offset_s: exam.utc_offset_s,
            rows: record.measures,
        });
    }
    earlier.sort_by_key(|earlier| earlier.at);
    for (limb, _) in &args.injured {
        let known: Vec<&str> = protocols.limbs.iter().map(|limb| limb.code.as_str()).collect();
        ensure!(
            known.contains(&limb.as_str()),
            "`{limb}` is not a limb; the limbs are: {}",
            known.join(", ")
        );
    }
    let reference = args.reference.as_deref().map(reference).transpose()?;
    Ok(Against { reference, earlier, injured: args.injured.iter().cloned().collect() })
}

/// The record of another exam of the same horse, which began before `now`.
pub(crate) fn earlier_record(other: &Path, now: &Header, protocols: &Protocols) -> anyhow::Result<Record> {
    let record = ExamFolder::at(other).record(protocols)?;
    same_horse(&record.exam.horse, &now.horse).with_context(|| format!("`{}`", other.shown()))?;
    ensure!(
        record.exam.started_at < now.started_at,
        "`{}` is not an earlier exam: it began no sooner than this one; name one that did",
        other.shown()
    );
    Ok(record)
}

/// Makes sure that two exams are of one horse.
fn same_horse(then: &Horse, now: &Horse) -> anyhow::Result<()> {
    let Some(is_same) = then.is_same(now) else {
        bail!(
            "cannot tell whether both exams are of the same horse: give both a --horse or both a --horse-id \
             when they are recorded"
        )
    };
    ensure!(is_same, "the exams are of different horses; only exams of the same horse can be compared");
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
    bail!("`{name}` is neither a reference set nor a file; the built-in sets are: {}", names.join(", "))
}
