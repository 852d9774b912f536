//! What an utterance costs in the first minutes of an exam and in its third hour: dialogue, exam in memory and screen,
//! without sound; then the same with the journal on the disk.
//!
//! Three hours of an exam that goes round both fore limbs, ten utterances a minute, with saves, values, corrections, taking
//! back and questions. Run alone: `cargo bench --bench session`.
// A bench prints what it measured.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)]

#[path = "../tests/support/mod.rs"]
mod support;

use std::sync::Arc;
use std::time::{Duration, Instant};

use support::{BUILT_IN, header, utterance};
use zonecall::clock::Sample;
use zonecall::exam::journal::Journal;
use zonecall::exam::parse::{Parsed, parse};
use zonecall::session::dialogue::{Dialogue, DialogueOptions, Listener, Speech};
use zonecall::session::effect::{Arrival, Effect, HeardUtterance, Input};
use zonecall::session::screen_view::ScreenView;
use zonecall::speech::utterance::Utterance;

const HOURS: usize = 3;
const A_MINUTE: usize = 10;
const RATE_HZ: u64 = 16_000;
/// Minutes that are compared: what one minute costs alone is mostly chance.
const WINDOW: usize = 20;
const ROUNDS: usize = 5;

/// One round of an exam: what is said, over and over.
const ROUND: &[&str] = &[
    "left fore zone one alpha transverse",
    "superficial flexor normal",
    "save",
    "longitudinal",
    "save",
    "zone one bravo transverse",
    "area one point two square centimetres",
    "correction area one point three square centimetres",
    "save",
    "where am i",
    "zone two alpha",
    "deep flexor normal",
    "disregard that",
    "save",
    "good boy",
    "right fore zone one alpha transverse",
    "correction zone one bravo",
    "echo score two",
    "save",
    "what is left",
];

fn said(idx: usize) -> (Utterance, Parsed, Sample) {
    let text = ROUND[idx % ROUND.len()];
    let utterance = utterance(2.0 + idx as f64 * 60.0 / A_MINUTE as f64, text);
    let parsed = parse(&utterance, &BUILT_IN.0, &BUILT_IN.1);
    let now = utterance.span.to + RATE_HZ / 10;
    (utterance, parsed, now)
}

/// What each utterance took; with a journal its lines are on the disk, too.
fn exam(mut journal: Option<&mut Journal>) -> Vec<Duration> {
    let protocols = Arc::new(BUILT_IN.1.clone());
    let (mut dialogue, effects) = Dialogue::begin(header(), Arc::clone(&protocols));
    write(&mut journal, effects);
    let options =
        DialogueOptions { listener: Listener::Person, speech: Speech::Silent, ..DialogueOptions::default() };
    dialogue.set(options, Sample::FIRST);
    let mut view = ScreenView::default();
    let mut took = Vec::new();
    for idx in 0..HOURS * 60 * A_MINUTE {
        let (utterance, parsed, now) = said(idx);
        let heard = HeardUtterance { utterance, parsed, rival: None, arrival: Arrival::Whole };
        let since = Instant::now();
        let effects = dialogue.step(Input::Utterance(Box::new(heard)), now);
        write(&mut journal, effects);
        view.take(dialogue.exam(), dialogue.progress(), &protocols);
        took.push(since.elapsed());
    }
    took
}

fn write(journal: &mut Option<&mut Journal>, effects: Vec<Effect>) {
    let Some(journal) = journal else { return };
    for effect in effects {
        if let Effect::Write(line) = effect {
            journal.append(line.at, line.sample, &line.event).unwrap();
        }
    }
}

/// Mean of the utterances of some minutes, in microseconds; of several rounds the least disturbed.
fn mean_us(rounds: &[Vec<Duration>], minutes: std::ops::Range<usize>) -> f64 {
    let part = |took: &Vec<Duration>| -> f64 {
        let part = &took[minutes.start * A_MINUTE..minutes.end * A_MINUTE];
        part.iter().sum::<Duration>().as_secs_f64() * 1e6 / part.len() as f64
    };
    rounds.iter().map(part).fold(f64::MAX, f64::min)
}

fn main() {
    let in_memory: Vec<_> = (0..ROUNDS).map(|_| exam(None)).collect();
    let folder = tempfile::tempdir().unwrap();
    let mut journal = Journal::create(folder.path()).unwrap();
    let on_disk = vec![exam(Some(&mut journal))];
    println!("microseconds an utterance, {A_MINUTE} a minute over {HOURS} hours");
    println!("{:<32} {:>12} {:>14}", "minutes", "in memory", "with journal");
    let n = HOURS * 60;
    for from in (0..n).step_by(WINDOW) {
        let minutes = from..(from + WINDOW).min(n);
        let label = format!("{} to {}", minutes.start, minutes.end);
        let (memory, disk) = (mean_us(&in_memory, minutes.clone()), mean_us(&on_disk, minutes));
        println!("{label:<32} {memory:>12.1} {disk:>14.1}");
    }
    let (first, last) = (mean_us(&in_memory, 0..WINDOW), mean_us(&in_memory, n - WINDOW..n));
    println!(
        "the last {WINDOW} minutes cost {:+.1} % of the first; wanted within 10 %",
        100.0 * (last / first - 1.0)
    );
}
