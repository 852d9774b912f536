//! `zonecall enter`: a value that a person types goes into the journal, and from there into the measures.

use std::io::Write;
use std::process::ExitCode;

use anyhow::{Context as _, bail, ensure};
use chrono::Utc;

use super::args;
use super::exam_folder as open;
use crate::exam::call::Amount;
use crate::exam::event::{Entered, Event};
use crate::exam::journal::Journal;

pub(crate) fn enter(args: &args::Enter) -> anyhow::Result<ExitCode> {
    let folder = &args.folder.folder;
    let protocols = open::protocols(&args.folder.knowledge)?;
    let exam = open::exam(folder, &protocols)?;
    ensure!(
        protocols.scheme_for(&args.limb, &args.zone, &exam.header.schemes).is_some(),
        "`{}` is no zone of limb `{}` in the schemes of this exam",
        args.zone,
        args.limb
    );
    ensure!(
        protocols.structure(&args.structure).is_some(),
        "`{}` is no structure of the protocols",
        args.structure
    );
    let kind = protocols.value(&args.term).with_context(|| {
        let terms: Vec<&str> = protocols.values.iter().map(|kind| kind.term.as_str()).collect();
        format!("`{}` is nothing that is measured; there are: {}", args.term, terms.join(", "))
    })?;
    match &args.unit {
        Some(unit) if !kind.units.contains(unit) => {
            bail!("{} is not measured in `{unit}`, but in {}", args.term, kind.units.join(" or "))
        }
        None if !kind.units.is_empty() => {
            bail!("{} wants a unit: --unit {}", args.term, kind.units.join(" or --unit "))
        }
        _ => {}
    }
    ensure!(args.number.is_finite() && args.number >= 0.0, "`{}` is no measured number", args.number);
    let entered = Entered {
        limb: args.limb.clone(),
        zone: args.zone.clone(),
        plane: None,
        structure: args.structure.clone(),
        term: args.term.clone(),
        amount: Amount { number: args.number, unit: args.unit.clone(), unit_assumed: false },
        scale: kind.scale.clone(),
        traced: false,
        by: Some(args.by.clone()),
        still: None,
        outline: None,
    };
    let sample = exam.last_sample();
    let seq = Journal::open(folder)?.append(Utc::now(), sample, &Event::Entered(Box::new(entered)))?;
    writeln!(std::io::stdout(), "written as line {seq} of the journal; it counts before what was said")?;
    Ok(ExitCode::SUCCESS)
}
