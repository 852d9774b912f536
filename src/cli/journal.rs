//! `zonecall journal`: the journal, readable, or verified.

use std::io::Write;
use std::process::ExitCode;

use super::args;
use crate::exam::event::{Event, ExamEvent, Outcome};
use crate::exam::journal::read;

pub(crate) fn journal(args: &args::Journal) -> anyhow::Result<ExitCode> {
    let lines = read(&args.folder)?;
    let mut out = std::io::stdout().lock();
    if !args.verify {
        for line in &lines.events {
            writeln!(out, "{:>5}  {}  {}", line.seq, line.at.format("%Y-%m-%d %H:%M:%S%.3f UTC"), say(line))?;
        }
    }
    for (number, problem) in &lines.damage {
        writeln!(out, "line {number}: {}; {}", problem.message, problem.help)?;
    }
    if args.verify && lines.damage.is_empty() {
        writeln!(
            out,
            "{} lines, each fits the one before it: nothing was changed or lost",
            lines.events.len()
        )?;
    }
    Ok(if lines.damage.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// One line in words.
fn say(line: &ExamEvent) -> String {
    match &line.event {
        Event::Exam(header) => {
            let horse = header.horse.name.as_deref().unwrap_or("no name given");
            format!("exam {} of {horse}; engine {} {}", header.id, header.engine.name, header.engine.version)
        }
        Event::Anchor(anchor) => {
            format!("clocks read: sample {} is {}", anchor.sample, anchor.wall.to_rfc3339())
        }
        Event::Audio(file) => format!("audio kept in {} from {}", file.file, file.source),
        Event::AudioLost { samples } => format!("LOST {samples} samples of audio"),
        Event::Heard(heard) => {
            let became = match heard.outcome {
                Outcome::Calls => "heard",
                Outcome::NotUnderstood => "heard, not understood",
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
            let act = serde_json::to_string(&heard.call.act).unwrap_or_default();
            let mark = if heard.call.corrects { "correction" } else { "call" };
            format!("  {mark} {act}")
        }
        Event::Frame(frame) => {
            format!(
                "still {} saved {} by the scanner ({})",
                frame.file,
                frame.saved_at.to_rfc3339(),
                frame.time_source
            )
        }
        Event::Entered(entered) => {
            let how = if entered.traced { "traced" } else { "typed" };
            let place = [&entered.limb, &entered.zone, &entered.structure].map(String::as_str).join(" ");
            let unit = entered.amount.unit.as_deref().unwrap_or_default();
            format!("{how} {place}: {} {} {unit}", entered.term, entered.amount.number)
        }
        Event::Microphone { state, device } => format!("microphone {state}: {device}"),
        Event::Resumed { engine, .. } => format!("goes on, heard by {} {}", engine.name, engine.model),
        Event::Closed { reason, samples } => format!("closed: {reason}, {samples} samples kept"),
        Event::Torn { bytes } => format!("the line before was cut short after {bytes} bytes"),
        Event::Unknown { kind, body } => format!("{kind} {body}"),
    }
}
