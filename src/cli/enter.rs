//! `zonecall enter`: a value that a person types goes into the journal, and from there into the measures; or one is
//! taken back.

use std::collections::BTreeSet;
use std::io::Write;
use std::process::ExitCode;

use anyhow::{Context as _, bail, ensure};
use chrono::Utc;

use super::known_place::place_is_known;
use super::options::{DraftAgain, FolderArgs, listed_name};
use crate::code::LimbCode;
use crate::exam::call::{Act, Amount};
use crate::exam::event::{Entered, Event};
use crate::exam::fold::{Exam, LoggedCall, LoggedEntry};
use crate::exam::review::{Change, Review};
use crate::exam::seq::Seq;
use crate::knowledge::contradiction::contradictions;
use crate::protocol::{Odd, Protocols};
use crate::terminal;

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  zonecall enter exams/juniper --limb LF --zone 2B --structure SDFT --term area \
    --number 148 --unit mm2 --by Ada\n\n\
    Exit codes: 0 written, 2 an error, and nothing was written."
)]
pub(crate) struct EnterArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// Limb.
    #[arg(long, value_name = "CODE", required_unless_present = "withdraw")]
    pub(crate) limb: Option<String>,
    /// Zone, in the exam's scheme.
    #[arg(long, value_name = "CODE", required_unless_present = "withdraw")]
    pub(crate) zone: Option<String>,
    /// Structure.
    #[arg(long, value_name = "CODE", required_unless_present = "withdraw")]
    pub(crate) structure: Option<String>,
    /// What was measured or scored, as `protocols/values.toml` names it.
    #[arg(long, value_name = "TERM", required_unless_present = "withdraw")]
    pub(crate) term: Option<String>,
    /// The number; its decimals follow a point or a comma.
    #[arg(long, required_unless_present = "withdraw", value_parser = number, allow_negative_numbers = true)]
    pub(crate) number: Option<f64>,
    /// Unit; none for scores.
    #[arg(long)]
    pub(crate) unit: Option<String>,
    /// Accept a number outside the usual bounds of its term.
    #[arg(long)]
    pub(crate) unusual: bool,
    /// Accept a number that contradicts what was called, such as a lesion where normal was said, or one of a limb that was
    /// not scanned.
    #[arg(long)]
    pub(crate) contradicts: bool,
    /// Withdraw a typed or traced value instead, by its line in the journal; it stays there and is no longer used.
    #[arg(long, value_name = "LINE", conflicts_with_all = ["limb", "zone", "structure", "term", "number", "unit"])]
    pub(crate) withdraw: Option<u64>,
    #[command(flatten)]
    pub(crate) again: DraftAgain,
    /// Who enters it.
    #[arg(long, value_name = "PERSON", value_parser = listed_name)]
    pub(crate) by: String,
}

/// A number as people write it: one comma is a decimal comma, as on the review desk.
fn number(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_digit());
    let point = match text.split_once(',') {
        Some((whole, part)) if digits(whole) && digits(part) => format!("{whole}.{part}"),
        _ => text.to_owned(),
    };
    point.parse().map_err(|_| "give a number such as 3.4 or 3,4".to_owned())
}

pub(crate) fn enter(args: &EnterArgs) -> anyhow::Result<ExitCode> {
    let folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let exam = folder.exam(&protocols)?;
    args.again.may_change(&exam)?;
    let (event, effect) = match args.withdraw {
        Some(seq) => {
            (withdrawn(args, Seq(seq), &exam)?, "the value stays in the journal and is no longer used")
        }
        None => {
            let entered = entered(args, &exam, &protocols)?;
            let effect =
                if is_known(&exam, &entered) { "it takes the place of the value before it" } else { "" };
            (Event::Entered(Box::new(entered)), effect)
        }
    };
    let seq = folder.append_journal()?.append(Utc::now(), exam.last_sample(), &event)?;
    let effect = if effect.is_empty() { String::new() } else { format!("; {effect}") };
    writeln!(terminal::out(), "written as line {seq} of the journal{effect}")?;
    Ok(ExitCode::SUCCESS)
}

fn withdrawn(args: &EnterArgs, seq: Seq, exam: &Exam) -> anyhow::Result<Event> {
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

/// Whether this was said, typed or traced before of the same place.
fn is_known(exam: &Exam, entered: &Entered) -> bool {
    let place = entered.place();
    let is_said = |call: &LoggedCall| {
        matches!(&call.act, Act::Value(value) if value.term == entered.term)
            && call.context.place.clone().in_any_plane() == place
    };
    let is_same = |entry: &LoggedEntry| {
        entry.entered.term == entered.term && entry.entered.place().in_any_plane() == place
    };
    exam.standing_calls().any(is_said) || exam.entries.iter().any(is_same)
}

fn entered(args: &EnterArgs, exam: &Exam, protocols: &Protocols) -> anyhow::Result<Entered> {
    let given = |part: &Option<String>| part.clone().unwrap_or_default();
    let [limb, zone, structure, term] = [&args.limb, &args.zone, &args.structure, &args.term].map(given);
    place_is_known([&limb, &zone, &structure], &exam.header, protocols)?;
    let kind = protocols.value(&term).with_context(|| {
        let terms: Vec<&str> = protocols.values.iter().map(|kind| kind.term.as_str()).collect();
        format!("`{term}` is not something that is measured; the terms are: {}", terms.join(", "))
    })?;
    match &args.unit {
        Some(_) if kind.units.is_empty() => bail!("{term} has no unit; leave out --unit"),
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
    let scale = exam.scale_of(&term, kind).map(str::to_owned);
    match kind.odd_on(scale.as_deref(), number, amount.unit.as_deref()) {
        Some(odd @ Odd::Unusual { .. }) if !args.unusual => bail!("{odd} If it is correct, add --unusual"),
        Some(odd @ Odd::OffScale { .. }) => bail!("{odd}"),
        _ => {}
    }
    let entered = Entered {
        limb: limb.into(),
        zone: zone.into(),
        plane: None,
        structure: structure.into(),
        term,
        amount,
        scale,
        traced: false,
        by: Some(args.by.clone()),
        still: None,
        frame_number: None,
        scale_by_hand_mm: None,
        ends_px: None,
        outline: None,
    };
    if !args.contradicts {
        ensure_scanned(exam, &entered, protocols)?;
        ensure_fits(exam, &entered, protocols)?;
    }
    Ok(entered)
}

/// Refuses a limb that nobody called while others were, until the person knows it: left and right are easily mixed up.
fn ensure_scanned(exam: &Exam, entered: &Entered, protocols: &Protocols) -> anyhow::Result<()> {
    let scanned: BTreeSet<&LimbCode> =
        exam.standing_calls().filter_map(|call| call.context.place.limb.as_ref()).collect();
    let names: Vec<&str> = scanned.iter().map(|limb| protocols.limb_name(limb)).collect();
    ensure!(
        scanned.is_empty() || scanned.contains(&entered.limb),
        "the {} was not scanned in this exam, only the {}; check --limb, and add --contradicts only if it is right",
        protocols.limb_name(&entered.limb),
        names.join(" and the ")
    );
    Ok(())
}

/// Refuses what says of a place that something is wrong where it was called normal, until the person knows it.
fn ensure_fits(exam: &Exam, entered: &Entered, protocols: &Protocols) -> anyhow::Result<()> {
    let (mut after, seq) = (exam.clone(), Seq(u64::MAX));
    after.entries.push(LoggedEntry { seq, at: exam.header.started_at, entered: entered.clone() });
    let all = contradictions(&after, protocols);
    let Some(both) = all.iter().find(|both| both.finding.seq() == seq) else { return Ok(()) };
    bail!(
        "{}: {} contradicts `{}`, call {}; listen to it, and add --contradicts only if both stay",
        both.finding.place().in_words(protocols),
        both.finding.what(),
        both.normal.act,
        both.normal.seq
    )
}
