//! `zonecall enter`: a value that a person types goes into the journal, and from there into the measures; or one is
//! taken back.

use std::io::Write;
use std::process::ExitCode;

use anyhow::{Context as _, bail, ensure};
use chrono::Utc;

use super::args;
use super::known_place::place_is_known;
use crate::exam::call::Amount;
use crate::exam::event::{Entered, Event};
use crate::exam::fold::Exam;
use crate::exam::review::{Change, Review};
use crate::exam::seq::Seq;
use crate::protocol::{Odd, Protocols};

pub(crate) fn enter(args: &args::EnterArgs) -> anyhow::Result<ExitCode> {
    let folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let exam = folder.exam(&protocols)?;
    let (event, told) = match args.withdraw {
        Some(seq) => {
            (withdrawn(args, Seq(seq), &exam)?, "the value stays in the journal and is no longer used")
        }
        None => (entered(args, &exam, &protocols)?, "it takes the place of what was said"),
    };
    let seq = folder.append_journal()?.append(Utc::now(), exam.last_sample(), &event)?;
    writeln!(std::io::stdout(), "written as line {seq} of the journal; {told}")?;
    Ok(ExitCode::SUCCESS)
}

fn withdrawn(args: &args::EnterArgs, seq: Seq, exam: &Exam) -> anyhow::Result<Event> {
    let entry = exam.entries.iter().find(|entry| entry.seq == seq).with_context(|| {
        let lines: Vec<String> = exam.entries.iter().map(|entry| entry.seq.to_string()).collect();
        let lines = if lines.is_empty() { "none".to_owned() } else { lines.join(", ") };
        format!("line {seq} is not a typed or traced value in use; those are: {lines}")
    })?;
    Ok(Event::Review(Box::new(Review {
        by: args.by.clone(),
        why: String::new(),
        was: format!("{} {}", entry.entered.term, entry.entered.amount),
        change: Change::TakeBack { seq },
    })))
}

fn entered(args: &args::EnterArgs, exam: &Exam, protocols: &Protocols) -> anyhow::Result<Event> {
    let given = |part: &Option<String>| part.clone().unwrap_or_default();
    let [limb, zone, structure, term] = [&args.limb, &args.zone, &args.structure, &args.term].map(given);
    place_is_known([&limb, &zone, &structure], &exam.header, protocols)?;
    let kind = protocols.value(&term).with_context(|| {
        let terms: Vec<&str> = protocols.values.iter().map(|kind| kind.term.as_str()).collect();
        format!("`{term}` is not something that is measured; the terms are: {}", terms.join(", "))
    })?;
    match &args.unit {
        Some(unit) if !kind.units.contains(unit) => {
            bail!("{term} is not measured in `{unit}`, but in {}", kind.units.join(" or "))
        }
        None if !kind.units.is_empty() => {
            bail!("{term} needs a unit: --unit {}", kind.units.join(" or --unit "))
        }
        _ => {}
    }
    let number = args.number.unwrap_or(f64::NAN);
    ensure!(
        number.is_finite() && number >= 0.0,
        "`{number}` is not a measurement; give a number from 0 upwards"
    );
    let amount = Amount { number, unit: args.unit.clone(), unit_assumed: false };
    match kind.odd(number, amount.unit.as_deref()) {
        Some(odd @ Odd::Unusual { .. }) if !args.unusual => bail!("{odd} If it is correct, add --unusual"),
        Some(odd @ Odd::OffScale { .. }) => bail!("{odd}"),
        _ => {}
    }
    Ok(Event::Entered(Box::new(Entered {
        limb: limb.into(),
        zone: zone.into(),
        plane: None,
        structure: structure.into(),
        term,
        amount,
        scale: kind.scale.clone(),
        traced: false,
        by: Some(args.by.clone()),
        still: None,
        scale_by_hand_mm: None,
        ends_px: None,
        outline: None,
    })))
}
