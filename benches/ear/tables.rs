//! The tables of `benches/EAR.md`.
//!
//! Takes: what each ear made of each utterance.
//! Gives: Markdown.

use std::collections::{BTreeMap, HashSet};
use std::fmt::Write as _;
use std::path::PathBuf;

use zonecall::evaluation::judge::Fate;
use zonecall::exam::call::Act;

use crate::Heard;
use crate::sclite::Judge;
use crate::set::Row;

/// What the project set itself, in percent: condition, right at once or after one question at least, at once at least,
/// wrong and acted on at most.
const WANTED: [(&str, f64, f64, f64); 5] = [
    ("quiet", 98.5, 93.0, 0.3),
    ("pink20", 98.0, 90.0, 0.5),
    ("pink10", 95.0, 82.0, 1.0),
    ("babble10", 92.0, 78.0, 1.0),
    ("pink5", 85.0, 65.0, 1.0),
];
const FATES: &str = "utterances | right at once | asked, right among two | asked, not among them | missed | wrong and acted on";

pub fn all(all: &[Heard], judge: &Judge) -> String {
    let mut text = String::from("# What each ear makes of the same recordings\n\n");
    let (date, version) = (chrono::Utc::now().format("%Y-%m-%d"), env!("CARGO_PKG_VERSION"));
    let _ = writeln!(text, "Tables by `make bench-ear`, {date}, zonecall {version}.");
    text.push_str(
        "All calls are synthetic. An utterance is right only if all its calls are exactly right in meaning.\n",
    );
    text.push_str("Each file is one utterance: the endpointer is not part of this.\n");
    for heard in all {
        let calls: Vec<&Row> = heard.rows.iter().filter(|row| !row.truth.words.is_empty()).collect();
        let _ = writeln!(text, "\n## {} {} ({})\n", heard.id.name, heard.id.version, heard.id.model);
        fates(&mut text, "condition", &calls, |row| row.truth.condition.clone());
        text.push('\n');
        fates(&mut text, "voice", &calls, |row| row.truth.voice.clone());
        if heard.id.name == "neural" {
            aims(&mut text, &calls);
            places(&mut text, &calls);
            reliability(&mut text, &calls);
        }
        parts(&mut text, &calls);
        words(&mut text, &calls, judge);
        talk(&mut text, heard);
        cost(&mut text, heard);
    }
    side_by_side(&mut text, all, judge);
    text
}

fn groups<'a>(rows: &[&'a Row], key: impl Fn(&Row) -> String) -> BTreeMap<String, Vec<&'a Row>> {
    let mut groups: BTreeMap<String, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        groups.entry(key(row)).or_default().push(row);
    }
    groups
}

/// Per cent of `rows` that are so.
fn share(rows: &[&Row], so: impl Fn(&Row) -> bool) -> f64 {
    100.0 * rows.iter().filter(|row| so(row)).count() as f64 / rows.len().max(1) as f64
}

fn heading(text: &mut String, columns: &str) {
    let _ = writeln!(text, "| {columns} |\n|{}", "---|".repeat(columns.split('|').count()));
}

fn fate_line(rows: &[&Row]) -> String {
    let of = |fate: Fate| format!("{:.1} %", share(rows, |row| row.fate == fate));
    let all = [Fate::Right, Fate::AskedRight, Fate::AskedWrong, Fate::Missed, Fate::Wrong].map(of);
    format!("{} | {}", rows.len(), all.join(" | "))
}

fn fates(text: &mut String, title: &str, rows: &[&Row], key: impl Fn(&Row) -> String) {
    heading(text, &format!("{title} | {FATES}"));
    for (name, rows) in groups(rows, key) {
        let _ = writeln!(text, "| {name} | {} |", fate_line(&rows));
    }
}

/// Against what was wanted; what misses is bold.
fn aims(text: &mut String, rows: &[&Row]) {
    text.push_str("\nAgainst what was wanted, in per cent; bold misses it:\n\n");
    heading(
        text,
        "condition | right at once or after one question: at least, got | at once: at least, got | \
         wrong and acted on: at most, got | wrong utterances",
    );
    let groups = groups(rows, |row| row.truth.condition.clone());
    for (condition, either, at_once, wrong_max) in WANTED {
        let Some(rows) = groups.get(condition) else { continue };
        let right = share(rows, |row| row.fate == Fate::Right);
        let both = share(rows, |row| matches!(row.fate, Fate::Right | Fate::AskedRight));
        let wrong = share(rows, |row| row.fate == Fate::Wrong);
        let n_wrong = rows.iter().filter(|row| row.fate == Fate::Wrong).count();
        let cell = |wanted: f64, got: f64, met: bool| {
            if met { format!("{wanted}, {got:.1}") } else { format!("{wanted}, **{got:.1}**") }
        };
        let _ = writeln!(
            text,
            "| {condition} | {} | {} | {} | {n_wrong} of {} |",
            cell(either, both, both >= either),
            cell(at_once, right, right >= at_once),
            cell(wrong_max, wrong, wrong <= wrong_max),
            rows.len()
        );
    }
}

/// Where the right reading is among those that were given, whatever was done with them.
fn places(text: &mut String, rows: &[&Row]) {
    text.push_str("\nWhere the right reading is, acted on or not:\n\n");
    heading(
        text,
        "condition | first | first or second | among all told (4 at most) | when asked: among the two",
    );
    for (condition, rows) in groups(rows, |row| row.truth.condition.clone()) {
        let within = |most: usize| share(&rows, |row| row.rank.is_some_and(|place| place < most));
        let asked: Vec<&Row> = rows.iter().copied().filter(|row| row.heard.unsure).collect();
        let among = asked.iter().filter(|row| row.fate == Fate::AskedRight).count();
        let _ = writeln!(
            text,
            "| {condition} | {:.1} % | {:.1} % | {:.1} % | {among} of {} |",
            within(1),
            within(2),
            within(9),
            asked.len()
        );
    }
}

/// Of what was said to be right with a probability, how much was: acted on or asked about.
fn reliability(text: &mut String, rows: &[&Row]) {
    text.push('\n');
    heading(text, "confidence | utterances acted on or asked about | first reading right");
    for (low, high) in
        [(0.0, 0.5), (0.5, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 0.98), (0.98, 0.99), (0.99, 1.01)]
    {
        let inside: Vec<&Row> = rows
            .iter()
            .copied()
            .filter(|row| !row.heard.rejected && (low..high).contains(&row.heard.confidence))
            .collect();
        let right = share(&inside, |row| row.rank == Some(0));
        let _ = writeln!(text, "| {low:.2} to {:.2} | {} | {right:.1} % |", high.min(1.0_f64), inside.len());
    }
}

/// Of the utterances in which a part was said, those whose first reading has it exactly; taken for talk counts as wrong.
fn parts(text: &mut String, rows: &[&Row]) {
    type Part = (&'static str, fn(&Act) -> Option<String>);
    let all: [Part; 5] = [
        (
            "limb",
            |act| if let Act::View(view) = act { view.limb.as_ref().map(ToString::to_string) } else { None },
        ),
        (
            "zone",
            |act| if let Act::View(view) = act { view.zone.as_ref().map(ToString::to_string) } else { None },
        ),
        ("plane", |act| {
            if let Act::View(view) = act { view.plane.as_ref().map(ToString::to_string) } else { None }
        }),
        ("structure", |act| {
            if let Act::View(view) = act { view.structure.as_ref().map(ToString::to_string) } else { None }
        }),
        ("number", |act| match act {
            Act::Value(value) => Some(value.amount.number.to_string()),
            Act::Setting(setting) => setting.amount.as_ref().map(|amount| amount.number.to_string()),
            Act::View(view) => view.level_cm.map(|level| level.to_string()),
            _ => None,
        }),
    ];
    text.push_str("\nParts of calls, in the first reading, acted on or not:\n\n");
    let groups = groups(rows, |row| row.truth.condition.clone());
    let names: Vec<&str> = groups.keys().map(String::as_str).collect();
    heading(text, &format!("right | utterances with it | {}", names.join(" | ")));
    for (name, part) in all {
        let of = |acts: &[Act]| acts.iter().filter_map(part).collect::<Vec<_>>();
        let (mut shares, mut n) = (Vec::new(), 0);
        for rows in groups.values() {
            let with: Vec<&Row> = rows.iter().copied().filter(|row| !of(&row.wanted).is_empty()).collect();
            n += with.len();
            shares.push(format!("{:.1} %", share(&with, |row| of(&row.wanted) == of(&row.read))));
        }
        let _ = writeln!(text, "| {name} | {n} | {} |", shares.join(" | "));
    }
}

fn words(text: &mut String, rows: &[&Row], judge: &Judge) {
    match judge.judge(rows) {
        None => text.push_str(
            "\nWords: `sclite` (Debian package `sctk`) is not installed, so they were not judged.\n",
        ),
        Some(counts) if counts.is_empty() => {}
        Some(counts) => {
            text.push_str("\nWords wrong by NIST `sclite`: first reading, acted on or asked about; talk is no words:\n\n");
            heading(text, "condition | words | substituted | dropped | inserted | wrong");
            for (name, [words, substituted, dropped, inserted, wrong]) in counts {
                let _ = writeln!(
                    text,
                    "| {name} | {words:.0} | {substituted:.1} % | {dropped:.1} % | {inserted:.1} % | {wrong:.1} % |"
                );
            }
        }
    }
}

/// Speech that is none of the language.
fn talk(text: &mut String, heard: &Heard) {
    let rows: Vec<&Row> = heard.rows.iter().filter(|row| row.truth.words.is_empty()).collect();
    if rows.is_empty() {
        return;
    }
    text.push('\n');
    heading(text, "talk | pieces | minutes | acted on | asked about");
    for (name, rows) in groups(&rows, |row| format!("{}, {}", row.truth.voice, row.truth.condition)) {
        let minutes = rows.iter().map(|row| row.audio_s).sum::<f64>() / 60.0;
        let count = |fate: Fate| rows.iter().filter(|row| row.fate == fate).count();
        let (acted, asked) = (count(Fate::Wrong), count(Fate::AskedWrong));
        let _ = writeln!(text, "| {name} | {} | {minutes:.1} | {acted} | {asked} |", rows.len());
    }
    let acted: Vec<String> = rows
        .iter()
        .filter(|row| row.fate == Fate::Wrong)
        .map(|row| format!("\"{}\"", row.heard.text()))
        .collect();
    if !acted.is_empty() {
        let _ = writeln!(text, "\nActed on: {}.", acted.join(", "));
    }
}

fn cost(text: &mut String, heard: &Heard) {
    let mut took: Vec<f64> = heard.rows.iter().map(|row| row.took_s * 1000.0).collect();
    took.sort_by(f64::total_cmp);
    let at = |share: f64| took.get(((took.len() as f64 - 1.0) * share) as usize).copied().unwrap_or(0.0);
    let audio: f64 = heard.rows.iter().map(|row| row.audio_s).sum();
    let factor = took.iter().sum::<f64>() / 1000.0 / audio.max(0.001);
    let _ = writeln!(
        text,
        "\nReal-time factor {factor:.3}; end of utterance to words: median {:.0} ms, 95th percentile {:.0} ms.",
        at(0.5),
        at(0.95)
    );
    if heard.left_out > 0 {
        let _ =
            writeln!(text, "{} utterances were left out: their truth can mean two things.", heard.left_out);
    }
}

/// All ears on the utterances that every one of them heard.
fn side_by_side(text: &mut String, all: &[Heard], judge: &Judge) {
    if all.len() < 2 {
        return;
    }
    let files =
        |heard: &Heard| -> HashSet<PathBuf> { heard.rows.iter().map(|row| row.truth.file.clone()).collect() };
    let of_all =
        all.iter().map(files).reduce(|a, b| a.intersection(&b).cloned().collect()).unwrap_or_default();
    text.push_str("\n## The same utterances, ear beside ear\n\n");
    heading(text, &format!("condition | ear | {FATES} | words wrong"));
    let mut lines: BTreeMap<String, String> = BTreeMap::new();
    for heard in all {
        let rows: Vec<&Row> = heard
            .rows
            .iter()
            .filter(|row| !row.truth.words.is_empty() && of_all.contains(&row.truth.file))
            .collect();
        let counts = judge.judge(&rows);
        for (condition, rows) in groups(&rows, |row| row.truth.condition.clone()) {
            let wrong = counts.as_ref().and_then(|counts| counts.get(&condition));
            let wrong = wrong.map_or_else(|| "not judged".to_owned(), |counts| format!("{:.1} %", counts[4]));
            let line = format!("| {condition} | {} | {} | {wrong} |\n", heard.id.name, fate_line(&rows));
            lines.entry(condition).or_default().push_str(&line);
        }
    }
    text.extend(lines.into_values());
}
