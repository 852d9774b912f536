//! `zonecall compare-ears`: all engines on one recording whose words are known, in one table.
//!
//! Takes: a recording, and a table of what was said in it.
//! Gives: for each engine how much it heard right, what it cost, and how long it made one wait.
//! Never: keeps what it heard; each engine hears in a process and a folder of its own, gone afterwards.
//! Tested in: `tests/it/compare.rs`.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::sync::Arc;
use std::time::Instant;

use anyhow::{Context as _, bail, ensure};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::ear;
use super::options::{EarChoice, KnowledgeArgs, LanguageArgs, WhichEar, written};
use crate::clock::{SAMPLE_RATE_HZ, Span, WallQuality};
use crate::evaluation::compare::{Difference, EvaluationCounts, Meant, Stretch, compare};
use crate::evaluation::judge::said;
use crate::evaluation::truth::{self, SpokenStretch as TruthLine};
use crate::evaluation::words::Spelling;
use crate::exam::event::Outcome;
use crate::exam::fold::{Exam, LoggedUtterance};
use crate::exam_folder::ExamFolder;
use crate::session::ear::Ear;
use crate::session::effect::Arrival;
use crate::session::exam_session::{Began, Session, header};
use crate::session::options::Subject;
use crate::session::spoken::SpokenLanguage;
use crate::speech::neural::parts::Parts;
use crate::speech::recognise::EngineId;
use crate::speech::recording;
use crate::speech::scripted::Scripted;
use crate::speech::utterance::UtteranceAudio;
use crate::terminal::{self, ShownText as _};

/// The engines that are compared, in the order of the table.
const EARS: [EarChoice; 3] = [EarChoice::Neural, EarChoice::Vosk, EarChoice::Sphinx];
/// Samples given to an engine at a time, as a microphone would: 10 ms.
const BLOCK: usize = SAMPLE_RATE_HZ as usize / 100;

const AFTER: &str = "The truth is a tab-separated table with the columns `from_s`, `to_s` and `words`: a line for each thing \
said, with its times in seconds from the start and its words as on the phrase card. Talk that is not a call gets a line \
without words.\n\
A call is right if its limb, zone, plane, structure, term, number and unit are all right in the record, so \
one misheard place also spoils the calls after it. Incomplete: acted on as said, but part of its place is missing, for \
example because the limb before it was not heard. Wrong: acted on, but not said. Missed: nothing was acted on in its \
place. False: acted on although no call was said.\n\n\
Examples:\n  zonecall compare-ears scan.wav --truth scan.spoken.tsv\n  \
zonecall compare-ears scan.wav --truth scan.spoken.tsv --ear neural --each\n\n\
Exit codes: 0 compared, 2 an error.";

#[derive(Debug, clap::Args)]
#[command(after_help = AFTER)]
pub(crate) struct CompareEars {
    /// The recording: WAV or FLAC, any rate.
    audio: PathBuf,
    /// The truth: what was said, and when.
    #[arg(long, value_name = "FILE")]
    truth: PathBuf,
    /// Show what was said and what was heard wherever an ear was wrong.
    #[arg(long)]
    each: bool,
    /// Print the figures as JSON, one line per ear.
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    ear: WhichEar,
    #[command(flatten)]
    language: LanguageArgs,
    #[command(flatten)]
    knowledge: KnowledgeArgs,
}

/// What an engine did.
#[derive(Debug, Serialize, Deserialize)]
struct Tried {
    engine: EngineId,
    counts: EvaluationCounts,
    differences: Vec<Difference>,
    audio_s: f64,
    /// Time from an utterance to its lines in the journal, added up.
    took_s: f64,
    /// From the end of speech to the line in the journal, for each utterance that holds a line of the truth.
    waits_s: Vec<f64>,
    /// Most memory of the process, where the system reports it.
    peak_bytes: Option<u64>,
}

pub(crate) fn compare_ears(args: &CompareEars) -> anyhow::Result<ExitCode> {
    let ears = args.ear.ear.map_or(EARS.to_vec(), |ear| vec![ear]);
    let (mut tried, mut silent) = (Vec::new(), Vec::new());
    if let [_] = ears.as_slice() {
        tried.push(hear(args)?);
    } else {
        // What cannot be read is an error of its own, not one of each engine.
        read(args)?;
        for ear in ears {
            match in_own_process(ear)? {
                Ok(one) => tried.push(one),
                Err(why) => silent.push(why),
            }
        }
    }
    let mut out = terminal::out();
    if args.json {
        for one in &tried {
            terminal::data(format!("{}\n", serde_json::to_string(one)?).as_bytes())?;
        }
    } else {
        write!(out, "{}", table(&tried))?;
        if args.each {
            write!(out, "{}", differences(&tried))?;
        }
        silent.iter().try_for_each(|why| writeln!(out, "{why}"))?;
    }
    ensure!(!tried.is_empty(), "no ear could be used; run `zonecall doctor`");
    Ok(ExitCode::SUCCESS)
}

/// This very command with one engine, so that memory is counted for each; else why that engine did not hear.
fn in_own_process(ear: EarChoice) -> anyhow::Result<Result<Tried, String>> {
    let name = written(&ear);
    let mut command = Command::new(std::env::current_exe()?);
    command.args(std::env::args_os().skip(1)).args(["--ear", &name]);
    if !std::env::args_os().any(|arg| arg == "--json") {
        command.arg("--json");
    }
    let done = command.stdin(Stdio::null()).output()?;
    if done.status.success() {
        return Ok(Ok(serde_json::from_slice(&done.stdout)?));
    }
    let messages = String::from_utf8_lossy(&done.stderr);
    let why =
        messages.lines().last().unwrap_or("it ended without a message").trim_start_matches("zonecall: ");
    Ok(Err(format!("{name} could not hear: {why}")))
}

/// What all engines are held against.
struct CompareOptions {
    spoken: SpokenLanguage,
    lines: Vec<TruthLine>,
    spelling: Spelling,
    said: Vec<Stretch>,
    /// What an exam is heard with, its engine still to be put in: one copy of it, for memory is measured.
    ear: Ear,
}

fn read(args: &CompareEars) -> anyhow::Result<CompareOptions> {
    recording::open(&args.audio)?;
    let protocols = args.knowledge.read()?;
    let spoken = args.language.read(&protocols)?;
    let lexicon = Parts::find(args.ear.head.as_deref(), &spoken.pack.language).head.join("lexicon.dict");
    let (lines, spelling) = (truth::read(&args.truth)?, Spelling::read(&lexicon));
    let engine = Box::new(Scripted::new(Vec::new()));
    let ear = Ear { engine, language: spoken.language.clone(), protocols: Arc::new(protocols) };
    let truth = args.truth.shown();
    let (said, ear) = stretches(&lines, ear, &spoken).with_context(|| format!("`{truth}`"))?;
    ensure!(said.iter().any(|stretch| !stretch.calls.is_empty()), "`{truth}` has no line with a call");
    Ok(CompareOptions { spoken, lines, spelling, said, ear })
}

/// The truth as an exam of its own, which goes the same way as one that was heard; the ear is given back.
fn stretches(lines: &[TruthLine], ear: Ear, spoken: &SpokenLanguage) -> anyhow::Result<(Vec<Stretch>, Ear)> {
    let folder = tempfile::tempdir()?;
    let mut session = begin(folder.path(), ear, spoken)?;
    for line in lines.iter().filter(|line| !line.words.is_empty()) {
        let utterance = said(&line.words, line.span);
        let parsed = session.ear().understand(&utterance);
        let problem = parsed.problems.first().cloned();
        session.attend(utterance, parsed, Arrival::Whole)?;
        let outcome = session.exam().utterances.last().map(|heard| heard.outcome);
        if outcome == Some(Outcome::NotUnderstood) {
            let problem =
                problem.map_or_else(String::new, |found| format!(": {}; {}", found.message, found.help));
            bail!("line {}: `{}` is not a call{problem}; leave out the words of talk", line.line, line.words);
        }
    }
    let exam = session.exam();
    let mut utterances = exam.utterances.iter();
    let stretch = |line: &TruthLine| match line.words.as_str() {
        "" => Stretch { span: line.span, words: String::new(), calls: Vec::new(), asked: false },
        words => {
            let calls = utterances.next().map(|utterance| calls_of(exam, utterance)).unwrap_or_default();
            Stretch { span: line.span, words: words.to_owned(), calls, asked: false }
        }
    };
    Ok((lines.iter().map(stretch).collect(), session.into_ear()))
}

fn calls_of(exam: &Exam, utterance: &LoggedUtterance) -> Vec<Meant> {
    let own = exam.calls.iter().filter(|logged| logged.heard_seq == utterance.seq);
    own.map(Meant::by).collect()
}

fn begin(folder: &Path, ear: Ear, spoken: &SpokenLanguage) -> anyhow::Result<Session> {
    // A time that means nothing: nobody will read this exam.
    let began = Began { at: DateTime::<Utc>::UNIX_EPOCH, wall: WallQuality::Stated, utc_offset_s: 0 };
    let header = header(&Subject::default(), &ear, spoken, began);
    Ok(Session::begin(&ExamFolder::at(folder), header, ear)?)
}

/// An utterance while it is heard.
struct HeardStretch {
    span: Span,
    words: String,
    asked: bool,
    /// When the last sample of it had arrived, and what it took from there to its line in the journal.
    at_s: f64,
    took_s: f64,
}

/// One engine hears the recording from beginning to end.
fn hear(args: &CompareEars) -> anyhow::Result<Tried> {
    let CompareOptions { spoken, lines, spelling, said, mut ear } = read(args)?;
    ear.engine = ear::choose(&args.ear, &spoken.pack.language, &ear.language, &ear.protocols, None)?;
    let (folder, engine) = (tempfile::tempdir()?, ear.engine.id());
    let mut session = begin(folder.path(), ear, &spoken)?;
    session.open_audio(args.audio.shown().to_string(), None)?;
    let (mut recording, mut caught) = (recording::open(&args.audio)?, Vec::new());
    while let Some(samples) = recording.next_block()? {
        for block in samples.chunks(BLOCK) {
            for segment in session.take(block)? {
                caught.push(catch(&mut session, &segment)?);
            }
        }
    }
    for segment in session.close_audio()? {
        caught.push(catch(&mut session, &segment)?);
    }
    let exam = session.exam();
    let stretch = |(one, utterance): (&HeardStretch, &LoggedUtterance)| Stretch {
        span: one.span,
        words: one.words.clone(),
        calls: calls_of(exam, utterance),
        asked: one.asked,
    };
    let heard: Vec<Stretch> = caught.iter().zip(&exam.utterances).map(stretch).collect();
    let (counts, differences) = compare(&said, &heard, &spelling);
    Ok(Tried {
        engine,
        counts,
        differences,
        audio_s: session.next_sample().seconds(),
        took_s: caught.iter().map(|one| one.took_s).sum(),
        waits_s: waits(&lines, &caught),
        peak_bytes: peak_bytes(),
    })
}

fn catch(session: &mut Session, segment: &UtteranceAudio) -> anyhow::Result<HeardStretch> {
    let (at_s, began) = (session.next_sample().seconds(), Instant::now());
    let (utterance, parsed) = session.recognise(segment)?;
    let words = if utterance.rejected { String::new() } else { utterance.text() };
    let (span, asked) = (utterance.span, utterance.unsure && !utterance.rejected);
    session.attend(utterance, parsed, Arrival::Whole)?;
    let took_s = began.elapsed().as_secs_f64();
    Ok(HeardStretch { span, words, asked, at_s, took_s })
}

/// For each utterance, how long after the end of the last thing said in it its line was written.
fn waits(lines: &[TruthLine], caught: &[HeardStretch]) -> Vec<f64> {
    let wait = |one: &HeardStretch| {
        let inside = |line: &&TruthLine| one.span.from <= line.span.from && line.span.to <= one.span.to;
        let last = lines.iter().rev().find(inside)?;
        Some(one.at_s - last.span.to.seconds() + one.took_s)
    };
    caught.iter().filter_map(wait).collect()
}

/// Most memory that this process has had (Linux).
fn peak_bytes() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let kib = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    Some(1024 * kib.split_whitespace().next()?.parse::<u64>().ok()?)
}

/// What the table says of an engine: the heading and the cell of each column.
#[allow(clippy::cast_precision_loss)] // far below 2^53
fn columns(one: &Tried) -> Vec<(&'static str, String)> {
    let c = &one.counts;
    let missed = c.calls.saturating_sub(c.right + c.incomplete + c.asked + c.wrong);
    let wait = match (at(&one.waits_s, 0.5), at(&one.waits_s, 0.95)) {
        (Some(half), Some(most)) => format!("{half:.2} s, {most:.2} s"),
        _ => "unknown".to_owned(),
    };
    vec![
        ("ear", one.engine.name.clone()),
        ("words wrong", format!("{:.1} %", 100.0 * c.words_wrong as f64 / c.words.max(1) as f64)),
        ("calls right", format!("{} of {}", c.right, c.calls)),
        ("asked", c.asked.to_string()),
        ("missed", missed.to_string()),
        ("incomplete", c.incomplete.to_string()),
        ("wrong", c.wrong.to_string()),
        ("false", c.false_calls.to_string()),
        ("real time", format!("{:.3}", one.took_s / one.audio_s.max(0.001))),
        ("memory", one.peak_bytes.map_or("unknown".to_owned(), |bytes| format!("{} MiB", bytes / (1 << 20)))),
        ("wait", wait),
    ]
}

fn table(tried: &[Tried]) -> String {
    let mut rows: Vec<Vec<String>> = Vec::new();
    for one in tried {
        let (headings, cells): (Vec<&str>, Vec<String>) = columns(one).into_iter().unzip();
        if rows.is_empty() {
            rows.push(headings.into_iter().map(str::to_owned).collect());
        }
        rows.push(cells);
    }
    let mut text = String::new();
    let width = |column: usize| rows.iter().map(|row| row[column].len()).max().unwrap_or(0);
    let widths: Vec<usize> = (0..rows.first().map_or(0, Vec::len)).map(width).collect();
    for row in &rows {
        let cells: Vec<String> =
            row.iter().zip(&widths).map(|(cell, width)| format!("{cell:width$}")).collect();
        text.push_str(cells.join("  ").trim_end());
        text.push('\n');
    }
    text.push_str("Wait: from the end of speech to the line in the journal, median and 95th percentile.\n");
    text
}

/// Each call that an ear heard otherwise than it was said.
fn differences(tried: &[Tried]) -> String {
    let mut text = String::new();
    for one in tried {
        for Difference { at_s, said, heard } in &one.differences {
            let or_nothing = |words: &str| if words.is_empty() { "nothing" } else { words }.to_owned();
            let (said, heard) = (or_nothing(said), or_nothing(heard));
            text.push_str(&format!("{} at {at_s:.1} s: said {said}; heard {heard}\n", one.engine.name));
        }
    }
    text
}

/// The value below which `share` of all lie.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, clippy::cast_sign_loss)] // a place in a list
fn at(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(((sorted.len() as f64 - 1.0) * share).ceil() as usize).copied()
}
