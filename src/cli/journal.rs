//! `zonecall journal`: the journal, readable, or verified.

use std::io::Write;
use std::process::ExitCode;

use chrono::{DateTime, Utc};

use super::args;
use crate::exam::event::{Event, ExamEvent, Outcome};
use crate::exam::journal::read;
use crate::exam::sign::fault;
use crate::report::words::local;
use crate::speech::recognise::EngineId;

pub(crate) fn journal(args: &args::JournalArgs) -> anyhow::Result<ExitCode> {
    let mut lines = read(&args.folder)?;
    lines.damage.extend(lines.events.iter().filter_map(|line| Some((line.seq, fault(line)?))));
    // As the reports show them: at the place of the exam.
    let offset_s = match lines.events.first().map(|line| &line.event) {
        Some(Event::Exam(header)) => header.utc_offset_s,
        _ => 0,
    };
    let time = |at: DateTime<Utc>| local(at, offset_s).format("%Y-%m-%d %H:%M:%S%.3f %:z").to_string();
    let say = |line: &ExamEvent| say(line, &time);
    let mut out = std::io::stdout().lock();
    if !args.verify {
        for line in &lines.events {
            writeln!(out, "{:>5}  {}  {}", line.seq, time(line.at), say(line))?;
        }
    }
    for (number, problem) in &lines.damage {
        writeln!(out, "line {number}: {}; {}", problem.message, problem.help)?;
    }
    if args.verify && lines.damage.is_empty() {
        writeln!(
            out,
            "{} lines, each fits the one before it: none was changed, added or taken out between them.\n\
             Lines cut off the end leave no trace: compare number and hash of the last one with what was noted.\n\
             last line: {}",
            lines.events.len(),
            lines.last_hash()
        )?;
        for line in lines.events.iter().filter(|line| matches!(line.event, Event::Signed(_))) {
            let since = lines.events.len() as u64 - line.seq;
            writeln!(
                out,
                "line {}: {}: holds for all before it; {since} lines after it",
                line.seq,
                say(line)
            )?;
        }
    }
    Ok(if lines.damage.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(1) })
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
            format!("clocks read: sample {} is {}", anchor.sample, time(anchor.wall))
        }
        Event::Audio(file) => format!("audio kept in {} from {}", file.file, file.source),
        Event::AudioLost { samples } => format!("LOST {samples} samples of audio"),
        Event::Utterance(heard) => {
            let became = match heard.outcome {
                Outcome::Calls => "heard",
                Outcome::NotUnderstood => "heard, not understood",
                Outcome::Asked => "heard, asked back",
                Outcome::Talk => "heard, talk",
                Outcome::Note => "heard, in a note",
                Outcome::Ignored => "heard, while not logging",
            };
            let sure = heard.utterance.confidence;
            let why: Vec<String> =
                heard.problems.iter().map(|problem| format!("; {}", problem.message)).collect();
            format!("{became}: \"{}\" ({sure:.2}){}", heard.utterance.text(), why.concat())
        }
        Event::Call(heard) => {
            let mark = if heard.call.corrects { "correction" } else { "call" };
            format!("  {mark}: {}", heard.call.act)
        }
        Event::Settled(settled) => {
            let taken = settled
                .taken
                .as_ref()
                .map_or_else(|| "nothing of it was taken".to_owned(), |words| format!("it was \"{words}\""));
            format!("line {} settled by {}: {}; {taken}", settled.heard_seq, settled.by, settled.answer)
        }
        Event::Frame(frame) => {
            format!(
                "still {} saved {} by the scanner ({})",
                frame.file,
                time(frame.saved_at),
                frame.time_source
            )
        }
        Event::Entered(entered) => {
            let how = if entered.traced { "traced" } else { "typed" };
            let place = [&entered.limb, &entered.zone, &entered.structure].map(String::as_str).join(" ");
            let unit = entered.amount.unit.as_deref().unwrap_or_default();
            format!("{how} {place}: {} {} {unit}", entered.term, entered.amount.number)
        }
        Event::Review(review) => format!("by {}: {}", review.by, review.change),
        Event::Signed(signed) => {
            format!("signed by {}, licence {}, with key {}", signed.by, signed.licence, signed.key)
        }
        Event::Microphone { state, device } => format!("microphone {state}: {device}"),
        Event::Resumed { engine, .. } => format!("goes on, heard by {} {}", engine.name, engine.model),
        Event::Closed { reason, samples } => format!("closed: {reason}, {samples} samples kept"),
        Event::Torn { bytes } => format!("the line before was cut short after {bytes} bytes"),
        Event::Unknown { kind, body } => format!("{kind} {body}"),
    }
}
