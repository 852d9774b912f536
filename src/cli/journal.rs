//! `zonecall journal`: the journal, readable, or verified.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use chrono::{DateTime, Utc};

use super::options::KnowledgeArgs;
use super::settings::Settings;
use super::stamp::{AuthorityOption, token_in_words};
use crate::exam::event::{Event, ExamEvent, Outcome, ScannerClock, SentEvent, UtteranceEvent};
use crate::exam::fold::Exam;
use crate::exam::journal::{Lines, read};
use crate::exam::seq::Seq;
use crate::exam::sign::fault;
use crate::exam::stamp::stamp_of;
use crate::exam_folder::{ExamFolder, record_against};
use crate::knowledge::measure::Against;
use crate::report::signed::verified;
use crate::report::words::{count, local};
use crate::signing::people::{People, settings_folder};
use crate::speech::recognise::EngineId;
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  zonecall journal exams/juniper\n  zonecall journal exams/juniper --verify\n\n\
    Exit codes: 0 intact, 1 a line was changed, lost or cut short, 2 an error."
)]
pub(crate) struct JournalArgs {
    /// The exam folder.
    #[arg(value_name = "FOLDER")]
    pub(crate) folder: PathBuf,
    /// Verify lines, signature, kept sound and stills instead of showing the lines.
    #[arg(long)]
    pub(crate) verify: bool,
    #[command(flatten)]
    pub(crate) authority: AuthorityOption,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

pub(crate) fn journal(args: &JournalArgs) -> anyhow::Result<ExitCode> {
    let mut lines = read(&args.folder)?;
    let unfit = |line: &ExamEvent| match &line.event {
        Event::Signed(signed) => Some((line.seq.0, fault(signed, &line.prev)?)),
        _ => None,
    };
    lines.damage.extend(lines.events.iter().filter_map(unfit));
    // As the reports show them: at the place of the exam.
    let offset_s = match lines.events.first().map(|line| &line.event) {
        Some(Event::Exam(header)) => header.utc_offset_s,
        _ => 0,
    };
    let time = |at: DateTime<Utc>| local(at, offset_s).format("%Y-%m-%d %H:%M:%S%.3f %:z").to_string();
    let say = |line: &ExamEvent| say(line, &time).shown();
    let mut out = terminal::out();
    if !args.verify {
        for line in &lines.events {
            writeln!(out, "{:>5}  {}  {}", line.seq, time(line.at), say(line))?;
        }
    }
    for (number, problem) in &lines.damage {
        writeln!(out, "line {number}: {}; {}", problem.message.shown(), problem.help.shown())?;
    }
    if !args.verify {
        return Ok(if lines.damage.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(1) });
    }
    let Compared { faults: found, told } = verify(args, &lines)?;
    for problem in found.iter().chain(&told) {
        writeln!(out, "{}", problem.shown())?;
    }
    if lines.damage.is_empty() && found.is_empty() {
        writeln!(
            out,
            "{} lines, each matches the one before it: none was changed, added or removed.\n\
             Of the kept sound and the stills, no file that is there was changed.\n\
             Whoever can write this folder could write all of it anew: compare number and hash of the last line \
             with your note.\n\
             last line: {}",
            lines.events.len(),
            lines.last_hash()
        )?;
    }
    // A list that cannot be read says nothing about the journal; `zonecall people` tells what is wrong with it.
    let people = settings_folder().and_then(|folder| People::read(&folder)).ok();
    let mut stamps_hold = true;
    for (idx, line) in lines.events.iter().enumerate() {
        let Event::Signed(signed) = &line.event else { continue };
        if fault(signed, &line.prev).is_none() {
            let since = lines.events.len() - idx - 1;
            let covers = match lines.damage.is_empty() {
                true => "covers every line before it",
                false => "the damage named above is to be looked at first",
            };
            let whose = people.as_ref().map(|people| format!(", {}", people.key_in_words(&signed.key)));
            writeln!(
                out,
                "line {}: {}{}: {covers}; lines after it: {since}",
                line.seq,
                say(line),
                whose.unwrap_or_default()
            )?;
            let (stamp, holds) = stamp_said(args, &lines, line.seq)?;
            writeln!(out, "  {stamp}")?;
            stamps_hold &= holds;
        }
    }
    let is_clean = lines.damage.is_empty() && found.is_empty() && stamps_hold;
    Ok(if is_clean { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// The time stamp of a signature, and whether nothing is wrong with it.
fn stamp_said(args: &JournalArgs, lines: &Lines, seq: Seq) -> anyhow::Result<(String, bool)> {
    let token = match stamp_of(&args.folder, lines, seq) {
        None => return Ok(("no time stamp".to_owned(), true)),
        Some(Err(why)) => return Ok((why.shown(), false)),
        Some(Ok(token)) => token,
    };
    let said = format!("time stamp of this line: {}", token_in_words(&token));
    Ok(match args.authority.read(&Settings::read()?)? {
        None => (format!("{said}; nobody was named who vouches for that server (--time-stamp-ca)"), true),
        Some(authority) => match token.is_vouched_for(&authority) {
            Ok(()) => (format!("{said}, for whom the named authority vouches"), true),
            Err(fault) => (format!("{said}; {fault}"), false),
        },
    })
}

/// What the journal's own chain does not show: an empty journal, other files, another record.
fn verify(args: &JournalArgs, lines: &Lines) -> anyhow::Result<Compared> {
    if lines.events.is_empty() {
        let faults = vec!["the journal holds no line that can be read; put back a copy".to_owned()];
        return Ok(Compared { faults, told: Vec::new() });
    }
    let protocols = args.knowledge.read()?;
    let Ok(exam) = verified(&ExamFolder::at(&args.folder), &protocols) else {
        // Its damage has been shown.
        return Ok(Compared::default());
    };
    let record = record_against(&exam, &protocols, &Against::default());
    let about = |rules: &[&str]| {
        let found = record.findings.iter().filter(|finding| rules.contains(&finding.rule.as_str()));
        found.map(|finding| finding.message.clone()).collect()
    };
    let (faults, mut told): (Vec<String>, Vec<String>) =
        (about(&["file-changed"]), about(&["signed-record-differs", "signed-record-worded"]));
    told.extend(missing(&args.folder, &exam));
    Ok(Compared { faults, told })
}

/// Files that the journal names and that are not there, so that nothing can be said of them.
fn missing(folder: &Path, exam: &Exam) -> Option<String> {
    let sealed = exam.sealed.iter().map(|sound| &sound.file);
    let files: BTreeSet<&String> = sealed.chain(exam.frames.iter().map(|still| &still.file)).collect();
    let gone: Vec<&String> = files.into_iter().filter(|file| !folder.join(file).exists()).collect();
    let first = gone.first()?;
    Some(format!(
        "{} that the journal names, `{first}` first, cannot be compared: not there",
        count(gone.len(), "file")
    ))
}

/// What comparing found.
#[derive(Default)]
struct Compared {
    /// Files that are other ones, and the like.
    faults: Vec<String>,
    /// What this version makes differently of the same journal and files; nothing was changed.
    told: Vec<String>,
}

/// One line in words.
fn say(line: &ExamEvent, time: &impl Fn(DateTime<Utc>) -> String) -> String {
    match &line.event {
        Event::Exam(header) => {
            let horse = header.horse.name.as_deref().unwrap_or("no name given");
            let EngineId { name, version, model, .. } = &header.engine;
            let person =
                header.person.as_ref().map(|person| format!("; spoken by {person}")).unwrap_or_default();
            format!("exam {} of {horse}; engine {name} {version}, model {model}{person}", header.id)
        }
        Event::Anchor(anchor) => {
            format!("clock reading: sample {} is {}", anchor.sample, time(anchor.wall))
        }
        Event::Audio(file) => format!("audio kept in {} from {}", file.file, file.source),
        Event::AudioLost { samples } => format!("LOST {samples} samples of audio"),
        Event::Utterance(heard) => utterance_said(heard),
        Event::Call(heard) => {
            let mark = if heard.call.corrects { "correction" } else { "call" };
            format!("  {mark}: {}", heard.call.act)
        }
        Event::Settled(settled) => {
            let taken = settled
                .taken
                .as_ref()
                .map_or_else(|| "none of it was acted on".to_owned(), |words| format!("it was \"{words}\""));
            format!("line {} settled by {}: {}; {taken}", settled.heard_seq, settled.by, settled.answer)
        }
        Event::Frame(frame) => {
            let (file, source) = (&frame.file, &frame.time_source);
            format!("still {file} saved {} by the scanner ({source})", time(frame.saved_at))
        }
        Event::ScannerClock(clock) => clock_said(clock),
        Event::Named(named) => {
            let name = named.horse.name.as_deref().or(named.horse.id.as_deref()).unwrap_or("the horse");
            format!("by {}: the horse is {name}", named.by)
        }
        Event::NoteDraft(draft) => format!("draft of note {}, read by nobody: “{}”", draft.note, draft.text),
        Event::Entered(entered) => {
            let how = if entered.traced { "traced" } else { "typed" };
            let place = [entered.limb.as_str(), entered.zone.as_str(), entered.structure.as_str()].join(" ");
            let unit = entered.amount.unit.as_deref().unwrap_or_default();
            format!("{how} {place}: {} {} {unit}", entered.term, entered.amount.number)
        }
        Event::Review(review) => format!("by {}: {}", review.by, review.change),
        Event::Signed(signed) => {
            format!("signed by {}, licence {}, with key {}", signed.by, signed.licence, signed.key)
        }
        Event::Microphone { state, device } => format!("microphone {state}: {device}"),
        Event::Resumed { engine, .. } => format!("resumed, heard by {} {}", engine.name, engine.model),
        Event::Sealed { files } => format!("{} kept files, each with its hash", files.len()),
        Event::Sent(sent) => format!("{} objects sent to {}", sent.objects.len(), receiver(sent)),
        Event::Closed { reason, samples } => format!("closed: {reason}, {samples} samples kept"),
        Event::Moved { from } => {
            format!("the folder `{from}` was lost; all lines before this one were copied")
        }
        Event::Discarded(gone) => format!("{} kept files were deleted: {}", gone.files.len(), gone.why),
        Event::Torn { bytes: 0 } => "the lines that belong to the one before were not written".to_owned(),
        Event::Torn { bytes } => format!("the line before was cut short after {bytes} bytes"),
        Event::Unknown { kind, body } => format!("{kind} {body}"),
    }
}

fn utterance_said(heard: &UtteranceEvent) -> String {
    let became = match heard.outcome {
        Outcome::Calls => "heard",
        Outcome::NotUnderstood => "heard, not understood",
        Outcome::Asked => "heard, asked back",
        Outcome::Talk => "heard, talk",
        Outcome::Note => "heard, in a note",
        Outcome::Ignored => "heard, not acted on",
    };
    let sure = heard.utterance.confidence;
    let why: Vec<String> = heard.problems.iter().map(|problem| format!("; {}", problem.message)).collect();
    format!("{became}: \"{}\" ({sure:.2}){}", heard.utterance.text(), why.concat())
}

fn clock_said(clock: &ScannerClock) -> String {
    let from = clock.exam.as_ref().map_or_else(String::new, |exam| format!(", known from `{exam}`"));
    format!("clock of the scanner {} runs {:+.1} s ahead{from}", clock.scanner, clock.offset_s)
}

fn receiver(sent: &SentEvent) -> String {
    if sent.ae_title.is_empty() { sent.to.clone() } else { format!("{} at {}", sent.ae_title, sent.to) }
}
