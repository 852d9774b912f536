//! Fits the neural ear's trust: `fit_ear CASES.jsonl OUT.json [HEAD_FOLDER]`.
//!
//! The cases are what `stream_ear --cases` keeps of recordings of tuning voices: calls and talk, in quiet and in noise.
//! Two logistic maps with a ridge, by Newton's steps: is it the language, and is the best meaning the right one. No number
//! may count against what it means: a wider margin never makes a reading less probable.
//! Then the limits: as many calls as possible are acted on rightly while of all calls at most `WRONG_MAX` are acted on
//! wrongly and of talk at most `TALK_MAX`, each voice judged by maps that were fitted without it. The limits of what an
//! error costs most (`limits`) are set by hand: they stay as `OUT.json` has them. Test voices never come near it.
// It prints what it found; its numbers are small.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss)]
#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, clippy::needless_range_loop)]

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use serde::Deserialize;
use zonecall::speech::neural::confidence::{Calibration, ConfidenceInputs, INPUTS};
use zonecall::speech::neural::parts::Parts;
use zonecall::speech::stakes::Limits;

/// Of the calls, this share may be acted on wrongly.
const WRONG_MAX: f64 = 0.003;
/// Of the talk, chosen to be about what calls are about, this share may be acted on,
const TALK_MAX: f64 = 0.02;
/// and of single words chosen to sound like calls, said by themselves, this share: "safe" for "save". The maps are not
/// fitted to them: nobody says as many as the set holds. Counted as talk, even at a fifth of a case each, they made the ear
/// ask about every "save" of the demo exams.
const ALIKE_MAX: f64 = 0.15;
/// What a call of one word counts where it is told from talk. A third of what is said in a demo exam is "save"; of the set,
/// in which hardly a phrase comes twice, three in a hundred are single words. Talk that was read as something that does
/// nothing ("no", "wait") does not count there.
const LONE_WEIGHT: f64 = 2.0;
/// How the condition of their recordings begins.
const ALIKE: &str = "alike";
/// Of the calls that were read rightly, this share may be taken for talk.
const LOST_MAX: f64 = 0.01;
/// An utterance is never taken for talk where it is more probable than this to be the language.
const LANGUAGE_MIN_MAX: f64 = 0.5;
/// Weight of the ridge, for numbers of variance 1: keeps the maps flat where there is little to learn from.
const RIDGE: f64 = 1.0;
const STEPS: usize = 50;
/// Limits tried: so many of each, at even shares of the calls that were read rightly.
const TRIED: usize = 60;
/// The sign that the weight of a number must have, in the order of `ConfidenceInputs::inputs`; 0 where either will do.
const SIGNS: [f64; INPUTS] = [0.0, 1.0, 1.0, 1.0, 0.0, 1.0, -1.0, 1.0, -1.0];

/// An utterance, as `stream_ear` keeps it.
#[derive(Deserialize)]
struct Case {
    voice: String,
    condition: String,
    evidence: ConfidenceInputs,
    /// It was said to the program.
    call: bool,
    /// Acting on the reading would be right; of talk, that it would do nothing.
    right: bool,
    /// Why it is asked about however probable it is.
    doubt: Option<String>,
    words: String,
    said: Vec<String>,
}

impl Case {
    /// One piece of a call that was cut in two: its words are right, and what is wrong is not theirs.
    fn is_piece(&self) -> bool {
        let whole = |said: &String| format!(" {said} ").contains(&format!(" {} ", self.words));
        self.call && !self.right && self.said.iter().any(whole)
    }

    fn outcome(&self) -> Outcome {
        match (self.call, self.right) {
            (true, true) => Outcome::Right,
            (true, false) => Outcome::Wrong,
            (false, true) => Outcome::Nothing,
            (false, false) if self.is_alike() => Outcome::Alike,
            (false, false) => Outcome::Talk,
        }
    }

    fn is_alike(&self) -> bool {
        self.condition.starts_with(ALIKE)
    }

    /// How many cases it stands for.
    fn share(&self) -> f64 {
        if self.call && self.evidence.words == 1 { LONE_WEIGHT } else { 1.0 }
    }

    fn example(&self, yes: bool, weight: f64) -> Example {
        Example { inputs: self.evidence.inputs(), yes, weight }
    }
}

/// What acting on a case would be.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Outcome {
    Right,
    Wrong,
    /// Talk that was read as something that does nothing.
    Nothing,
    Talk,
    /// The same of a word that only sounds like a call.
    Alike,
}

/// What a map is fitted to.
struct Example {
    inputs: [f64; INPUTS],
    /// Whether it is so.
    yes: bool,
    weight: f64,
}

/// A case, and how probable it is to be the language and to be right, by maps fitted without its voice.
struct Judged<'a> {
    case: &'a Case,
    language: f64,
    right: f64,
}

fn main() {
    let args: Vec<PathBuf> = std::env::args().skip(1).map(PathBuf::from).collect();
    let [cases, out, rest @ ..] = args.as_slice() else {
        println!("usage: fit_ear CASES.jsonl OUT.json [HEAD_FOLDER]; stream_ear --cases makes the cases");
        return;
    };
    let text = std::fs::read_to_string(cases).unwrap();
    let cases: Vec<Case> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let cases: Vec<&Case> = cases.iter().filter(|case| !case.is_piece()).collect();
    let mut judged = Vec::new();
    for voice in cases.iter().map(|case| case.voice.as_str()).collect::<BTreeSet<_>>() {
        let (own, others): (Vec<&Case>, Vec<&Case>) = cases.iter().partition(|case| case.voice == voice);
        let maps = maps(&others);
        judged.extend(own.into_iter().map(|case| {
            let (language, right) = maps.probabilities(&case.evidence);
            Judged { case, language, right }
        }));
    }
    let mut fitted = maps(&cases);
    fitted.limits = kept_limits(out);
    set_limits(&mut fitted, &judged);
    report(&fitted, &judged);
    let head = Parts::find(rest.first().map(PathBuf::as_path), "en").head.join("head.json");
    let described: serde_json::Value = serde_json::from_slice(&std::fs::read(head).unwrap()).unwrap();
    let mut told = serde_json::to_value(&fitted).unwrap();
    // Trust that was fitted for another head is refused when the ear is loaded.
    told["head_sha256"] = described["head_sha256"].clone();
    std::fs::write(out, serde_json::to_string_pretty(&told).unwrap() + "\n").unwrap();
}

/// The limits of what an error costs, as the file has them that is written anew.
fn kept_limits(out: &Path) -> Limits {
    let Ok(bytes) = std::fs::read(out) else { return Limits::new() };
    let old: serde_json::Value = serde_json::from_slice(&bytes).unwrap();
    old.get("limits").map_or_else(Limits::new, |limits| serde_json::from_value(limits.clone()).unwrap())
}

/// Both maps, without limits.
fn maps(cases: &[&Case]) -> Calibration {
    let told_apart = cases.iter().filter(|case| case.call || case.outcome() == Outcome::Talk);
    let every: Vec<Example> = told_apart.map(|case| case.example(case.call, case.share())).collect();
    let calls = cases.iter().filter(|case| case.call);
    let right: Vec<Example> = calls.map(|case| case.example(case.right, 1.0)).collect();
    Calibration {
        right: fit(&right).into(),
        language: fit(&every).into(),
        language_min: 0.0,
        language_sure: 0.0,
        right_min: 0.0,
        limits: Limits::new(),
    }
}

/// Sets the limits: of all pairs tried, the one with which most calls are acted on rightly.
fn set_limits(fitted: &mut Calibration, judged: &[Judged<'_>]) {
    let right = || judged.iter().filter(|one| one.case.outcome() == Outcome::Right);
    let mut languages: Vec<f64> = right().map(|one| one.language).collect();
    languages.sort_by(f64::total_cmp);
    let place = |share: f64| languages[(languages.len() as f64 * share) as usize];
    fitted.language_min = (place(LOST_MAX) - 1e-6).clamp(0.02, LANGUAGE_MIN_MAX);
    let may = |of: &dyn Fn(&Case) -> bool, share: f64| {
        (judged.iter().filter(|one| of(one.case)).count() as f64 * share) as usize
    };
    let most_of = [
        (Outcome::Wrong, may(&|case| case.call, WRONG_MAX)),
        (Outcome::Talk, may(&|case| !case.call && !case.is_alike(), TALK_MAX)),
        (Outcome::Alike, may(&|case| !case.call && case.is_alike(), ALIKE_MAX)),
    ];
    let mut most = 0;
    for tried in 0..TRIED {
        let language_sure = place(tried as f64 / TRIED as f64 * 0.8).max(fitted.language_min);
        let sure = |outcome: Outcome| {
            let of = judged.iter().filter(move |one| one.case.outcome() == outcome);
            let mut found: Vec<f64> = of
                .filter(|one| one.language >= language_sure && one.case.doubt.is_none())
                .map(|one| one.right)
                .collect();
            found.sort_by(|a, b| b.total_cmp(a));
            found
        };
        let least = |(outcome, may): &(Outcome, usize)| sure(*outcome).get(*may).copied().unwrap_or(0.0);
        let right_min = most_of.iter().map(least).fold(0.5, f64::max) + 1e-6;
        let acted = sure(Outcome::Right).iter().filter(|right| **right >= right_min).count();
        if acted > most {
            (most, fitted.language_sure, fitted.right_min) = (acted, language_sure, right_min);
        }
    }
}

/// What would become of the utterances of each condition.
fn report(fitted: &Calibration, judged: &[Judged<'_>]) {
    let mut table: BTreeMap<&str, [usize; 6]> = BTreeMap::new();
    for one in judged {
        let is_sure = one.language >= fitted.language_sure && one.right >= fitted.right_min;
        let is_acted_on = is_sure && one.case.doubt.is_none();
        let column = match (one.case.outcome(), is_acted_on) {
            (Outcome::Right, true) => 0,
            (Outcome::Right, false) => 1,
            (Outcome::Wrong, true) => 2,
            (Outcome::Wrong, false) => 3,
            (Outcome::Talk | Outcome::Alike, true) => 4,
            (Outcome::Talk | Outcome::Alike | Outcome::Nothing, _) => 5,
        };
        table.entry(one.case.condition.as_str()).or_default()[column] += 1;
        table.entry("all").or_default()[column] += 1;
    }
    println!("each voice by maps fitted without it: calls read rightly, acted on and not; wrongly; talk");
    for (condition, [acted, asked, wrong, stopped, talk, quiet]) in table {
        println!("{condition:20} {acted:5} {asked:5}  {wrong:4} {stopped:4}  {talk:4} {quiet:4}");
    }
    println!("{fitted:?}");
}

/// Logistic regression with a ridge whose weights have the signs they must have: a weight that would not is none, one after
/// the other, the worst first.
fn fit(examples: &[Example]) -> [f64; INPUTS] {
    let deviations = deviations(examples);
    let mut free = [true; INPUTS];
    loop {
        let weights = newton(examples, &deviations, &free);
        let against = |i: usize| -weights[i] * SIGNS[i] * deviations[i];
        let worst = (0..INPUTS).filter(|i| free[*i]).max_by(|a, b| against(*a).total_cmp(&against(*b)));
        match worst {
            Some(worst) if against(worst) > 0.0 => free[worst] = false,
            _ => return weights,
        }
    }
}

/// Standard deviation of each number; 0 for the constant.
fn deviations(examples: &[Example]) -> [f64; INPUTS] {
    let n = examples.len().max(1) as f64;
    std::array::from_fn(|i| {
        let mean = examples.iter().map(|one| one.inputs[i]).sum::<f64>() / n;
        (examples.iter().map(|one| (one.inputs[i] - mean).powi(2)).sum::<f64>() / n).sqrt()
    })
}

/// Newton's steps; weights that are not `free` stay 0. The constant is nearly free of the ridge.
fn newton(examples: &[Example], deviations: &[f64; INPUTS], free: &[bool; INPUTS]) -> [f64; INPUTS] {
    let ridge = deviations.map(|deviation| RIDGE * deviation.powi(2) + 1e-3);
    let mut weights = [0.0; INPUTS];
    for _ in 0..STEPS {
        let mut slope = [0.0; INPUTS];
        let mut bend = [[0.0; INPUTS]; INPUTS];
        for i in 0..INPUTS {
            slope[i] = -ridge[i] * weights[i];
            bend[i][i] = ridge[i];
        }
        for Example { inputs, yes, weight } in examples {
            let sum: f64 = weights.iter().zip(inputs).map(|(weight, input)| weight * input).sum();
            let p = 1.0 / (1.0 + (-sum).exp());
            for i in (0..INPUTS).filter(|i| free[*i]) {
                slope[i] += weight * (f64::from(u8::from(*yes)) - p) * inputs[i];
                for j in (0..INPUTS).filter(|j| free[*j]) {
                    bend[i][j] += weight * p * (1.0 - p) * inputs[i] * inputs[j];
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
