//! Fits the neural ear's trust on recordings of tuning voices: `fit_ear TUNE_FOLDER OUT.json [HEAD_FOLDER]`.
//! `OUT.cases.jsonl` keeps what the ear made of them; named in place of the folder it is not heard again.
//!
//! Two logistic maps with a ridge, by Newton's steps: is it the language, and is the best meaning the right one.
//! Then the limits: as few calls are asked about as possible while of all utterances at most `WRONG_MAX` are acted on
//! wrongly, of talk that could be a call at most `TALK_MAX`, and at most `LOST_MAX` of the rightly read calls are taken
//! for talk. Test voices never come near it.
// It prints what it found; its numbers are small.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss)]
#![allow(clippy::cast_possible_truncation, clippy::needless_range_loop)]
#![allow(missing_docs, unreachable_pub, dead_code)]

#[path = "../benches/ear/set.rs"]
mod set;

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use zonecall::evaluation::judge;
use zonecall::exam::parse::meaning;
use zonecall::speech::neural::Neural;
use zonecall::speech::neural::confidence::{Calibration, ConfidenceInputs, INPUTS, Meaning, Verdict};
use zonecall::speech::neural::parts::Parts;
use zonecall::speech::stakes;

/// Of all utterances with a call, this share may be acted on wrongly: far less than what may be in use, for tuning voices
/// are easier than voices that nothing was set on; those had three times as many wrong.
const WRONG_MAX: f64 = 0.002;
/// Of the utterances of talk in which the grammar finds a reading, this share may be acted on.
const TALK_MAX: f64 = 0.01;
/// The language is never asked to be surer than this: beyond it, calls said in quiet are asked about.
const SURE_MAX: f64 = 0.95;
/// Of the calls that were read rightly, this share may be taken for talk.
const LOST_MAX: f64 = 0.01;
/// Weight of the ridge: keeps the maps flat where there is little to learn from.
const RIDGE: f64 = 1.0;
const STEPS: usize = 50;

#[derive(Serialize, Deserialize)]
struct Case {
    voice: String,
    condition: String,
    evidence: ConfidenceInputs,
    call: bool,
    right: bool,
}

impl Case {
    /// What is done, how probably it is right if it is the language, and whether it is.
    fn end(&self, trust: &Calibration) -> (Verdict, f64, bool) {
        (trust.verdict(&self.evidence).0, trust.probabilities(&self.evidence).1, self.right)
    }
}

fn main() {
    let args: Vec<PathBuf> = std::env::args().skip(1).map(PathBuf::from).collect();
    let [folder, out, rest @ ..] = args.as_slice() else {
        println!("usage: fit_ear TUNE_FOLDER OUT.json [HEAD_FOLDER]");
        return;
    };
    let cases =
        if folder.is_file() { kept(folder) } else { cases(folder, rest.first().map(PathBuf::as_path)) };
    if !folder.is_file() {
        let lines = cases.iter().map(|case| serde_json::to_string(case).unwrap() + "\n");
        std::fs::write(out.with_extension("cases.jsonl"), lines.collect::<String>()).unwrap();
    }
    let calls: Vec<&Case> = cases.iter().filter(|case| case.call).collect();
    let every: Vec<([f64; INPUTS], bool)> =
        cases.iter().map(|case| (case.evidence.inputs(), case.call)).collect();
    let right: Vec<([f64; INPUTS], bool)> =
        calls.iter().map(|case| (case.evidence.inputs(), case.right)).collect();
    let mut fitted = Calibration {
        right: fit(&right),
        language: fit(&every),
        language_min: 0.0,
        language_sure: 0.0,
        right_min: 0.0,
        limits: stakes::Limits::new(),
    };
    let mut language: Vec<f64> =
        calls.iter().filter(|case| case.right).map(|case| fitted.probabilities(&case.evidence).0).collect();
    language.sort_by(f64::total_cmp);
    let lost = (language.len() as f64 * LOST_MAX) as usize;
    fitted.language_min = (language[lost] - 1e-6).clamp(0.02, 0.5);
    fitted.right_min = limit(&fitted, &calls);
    fitted.language_sure = sure(&fitted, &cases);
    report(&fitted, &cases);
    let head = Parts::find(rest.first().map(PathBuf::as_path), "en").head.join("head.json");
    let described: serde_json::Value = serde_json::from_slice(&std::fs::read(head).unwrap()).unwrap();
    let mut told = serde_json::to_value(&fitted).unwrap();
    // Trust that was fitted for another head is refused when the ear is loaded.
    told["head_sha256"] = described["head_sha256"].clone();
    std::fs::write(out, serde_json::to_string_pretty(&told).unwrap() + "\n").unwrap();
}

fn kept(file: &Path) -> Vec<Case> {
    let text = std::fs::read_to_string(file).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

fn cases(folder: &Path, head: Option<&Path>) -> Vec<Case> {
    let (language, protocols) = set::language();
    let (known, units) = (language.clone(), protocols.clone());
    let key = Box::new(move |words: &[&str]| meaning(words, &known, &units));
    let mut ear = Neural::load(&Parts::find(head, "en"), &language.engine, key).expect("the ear loads");
    let mut cases = Vec::new();
    for truth in set::truths(folder) {
        let weighed = ear.score(&set::segment(&truth.file)).expect("the ear hears");
        let Some(evidence) = weighed.evidence else { continue };
        let acts = |words: &str| judge::acts(words, &language, &protocols);
        let call = !truth.words.is_empty();
        let wanted = acts(&truth.words);
        let right = |meanings: &[Meaning]| call && acts(&meanings[0].reading.words.join(" ")) == wanted;
        let (voice, condition) = (truth.voice, truth.condition);
        cases.push(Case { voice, condition, evidence, call, right: right(&weighed.meanings) });
    }
    cases
}

/// The least limit on being the language with which at most `TALK_MAX` of talk is acted on.
fn sure(fitted: &Calibration, cases: &[Case]) -> f64 {
    let talk: Vec<(f64, f64)> =
        cases.iter().filter(|case| !case.call).map(|case| fitted.probabilities(&case.evidence)).collect();
    let mut language: Vec<f64> =
        talk.iter().filter(|(_, right)| *right >= fitted.right_min).map(|(language, _)| *language).collect();
    language.sort_by(|a, b| b.total_cmp(a));
    let may = (talk.len() as f64 * TALK_MAX) as usize;
    language.get(may).map_or(0.0, |most| most + 1e-6).clamp(fitted.language_min, SURE_MAX)
}

/// The least limit on the probability with which at most `WRONG_MAX` of the utterances are acted on wrongly.
fn limit(fitted: &Calibration, calls: &[&Case]) -> f64 {
    let wrong =
        |(verdict, p, right): (Verdict, f64, bool)| (!right && verdict != Verdict::Reject).then_some(p);
    let mut wrong: Vec<f64> = calls.iter().filter_map(|case| wrong(case.end(fitted))).collect();
    wrong.sort_by(|a, b| b.total_cmp(a));
    let may = (calls.len() as f64 * WRONG_MAX) as usize;
    wrong.get(may).map_or(0.5, |worst| worst + 1e-6).clamp(0.5, 0.999)
}

fn report(fitted: &Calibration, cases: &[Case]) {
    for call in [true, false] {
        let of: Vec<&Case> = cases.iter().filter(|case| case.call == call).collect();
        let share = |verdict: Verdict, right: bool| {
            let n = of
                .iter()
                .map(|case| case.end(fitted))
                .filter(|end| end.0 == verdict && end.2 == right)
                .count();
            100.0 * n as f64 / of.len().max(1) as f64
        };
        println!(
            "{}: {} utterances; acted right {:.2} % wrong {:.2} %; asked, first right {:.2} % wrong {:.2} %; taken for talk {:.2} %",
            if call { "calls" } else { "talk" },
            of.len(),
            share(Verdict::Act, true),
            share(Verdict::Act, false),
            share(Verdict::Ask, true),
            share(Verdict::Ask, false),
            share(Verdict::Reject, true) + share(Verdict::Reject, false),
        );
    }
    println!("{fitted:?}");
}

/// Logistic regression with a ridge (the constant is free of it), by Newton's method.
fn fit<const N: usize>(cases: &[([f64; N], bool)]) -> [f64; N] {
    let mut weights = [0.0; N];
    for _ in 0..STEPS {
        let mut slope = [0.0; N];
        let mut bend = [[0.0; N]; N];
        for i in 0..N {
            let ridge = if i == 0 { 1e-3 } else { RIDGE };
            slope[i] = -ridge * weights[i];
            bend[i][i] = ridge;
        }
        for (inputs, yes) in cases {
            let sum: f64 = weights.iter().zip(inputs).map(|(weight, input)| weight * input).sum();
            let p = 1.0 / (1.0 + (-sum).exp());
            for i in 0..N {
                slope[i] += (f64::from(u8::from(*yes)) - p) * inputs[i];
                for j in 0..N {
                    bend[i][j] += p * (1.0 - p) * inputs[i] * inputs[j];
                }
            }
        }
        let step = solve(bend, slope);
        weights.iter_mut().zip(step).for_each(|(weight, step)| *weight += step);
    }
    weights
}

/// Solves a small positive definite system by elimination.
fn solve<const N: usize>(mut a: [[f64; N]; N], mut b: [f64; N]) -> [f64; N] {
    for i in 0..N {
        for j in i + 1..N {
            let factor = a[j][i] / a[i][i];
            for k in i..N {
                a[j][k] -= factor * a[i][k];
            }
            b[j] -= factor * b[i];
        }
    }
    for i in (0..N).rev() {
        let known: f64 = (i + 1..N).map(|k| a[i][k] * b[k]).sum();
        b[i] = (b[i] - known) / a[i][i];
    }
    b
}
