//! `zonecall journal`: the journal, readable, or verified.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use chrono::{DateTime, Utc};

use super::journal_verify::Verified;
use super::options::KnowledgeArgs;
use super::stamp::AuthorityOption;
use crate::exam::event::{Event, ExamEvent, Outcome, ScannerClock, SentEvent, UtteranceEvent};
use crate::exam::journal::read;
use crate::exam::sign::fault;
use crate::report::words::{count, local};
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
    let JournalArgs { folder, authority, knowledge, .. } = args;
    let holds = Verified { folder, lines: &lines, authority, knowledge }.show(&say, &mut out)?;
    Ok(if holds { ExitCode::SUCCESS } else { ExitCode::from(1) })
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
        Event::NoteDraft(draft) => format!("draft of note {}, not yet read: “{}”", draft.note, draft.text),
        Event::Entered(entered) => {
            let how = entered.how();
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
        Event::Sealed { files } => {
            let hash = if files.len() == 1 { "with its hash" } else { "each with its hash" };
            format!("{}, {hash}", count(files.len(), "kept file"))
        }
        Event::Sent(sent) => sent_said(sent),
        Event::Closed { reason, samples } => format!("closed: {reason}, {samples} samples kept"),
        Event::Moved { from } => {
            format!("the folder `{from}` was lost; all lines before this one were copied")
        }
        Event::Discarded(gone) => {
            let were = if gone.files.len() == 1 { "was" } else { "were" };
            format!("{} {were} deleted{}: {}", count(gone.files.len(), "kept file"), by(&gone.by), gone.why)
        }
        Event::Erased(erased) => {
            let (lines, by) = (count_of(erased.lines), by(&erased.by));
            format!("exam {} was erased{by}, {lines}: {}", erased.exam, erased.why)
        }
        Event::Torn { bytes: 0 } => "the lines that belong to the one before were not written".to_owned(),
        Event::Torn { bytes } => format!("the line before was cut short after {bytes} bytes"),
        Event::Unknown { kind, body } => format!("{kind} {body}"),
    }
}

fn by(name: &Option<String>) -> String {
    name.as_ref().map_or_else(String::new, |name| format!(" by {name}"))
}

fn count_of(lines: u64) -> String {
    count(usize::try_from(lines).unwrap_or(usize::MAX), "line")
}

fn utterance_said(heard: &UtteranceEvent) -> String {
    let became = match heard.outcome {
        Outcome::Calls => "heard",
        Outcome::NotUnderstood => "heard, not understood",
        Outcome::Asked => "heard, read back",
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

/// What was sent, where to, and by whom where that is known.
fn sent_said(sent: &SentEvent) -> String {
    let by = sent.by.as_ref().map(|by| format!("by {by}: ")).unwrap_or_default();
    let kept = match sent.committed.len() {
        0 => String::new(),
        kept => format!(", which confirms that it keeps {kept} of them"),
    };
    format!("{by}{} objects sent to {}{kept}", sent.objects.len(), receiver(sent))
}

fn receiver(sent: &SentEvent) -> String {
    if sent.ae_title.is_empty() { sent.to.clone() } else { format!("{} at {}", sent.ae_title, sent.to) }
}
