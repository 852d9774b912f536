//! How much a voice gains by enrolling: `try_enrol FOLDER`, a set of utterances as the bench takes it.
//!
//! Of each voice some quiet utterances are read for the fit, all the others are heard before and after, for several counts of steps.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss)]
#![allow(missing_docs, unreachable_pub, dead_code)]

#[path = "../benches/ear/set.rs"]
mod set;

use std::collections::BTreeMap;
use std::path::PathBuf;

use set::Truth;
use zonecall::evaluation::judge::{Fate, fate};
use zonecall::exam::parse::meaning;
use zonecall::speech::neural::Neural;
use zonecall::speech::neural::adapt::{Adaptation, ReadPhrase};
use zonecall::speech::neural::parts::Parts;
use zonecall::speech::recognise::Recogniser as _;

/// Utterances that are read for the fit.
const READ: usize = 20;

fn main() {
    let folder = PathBuf::from(std::env::args().nth(1).expect("a folder with truth.tsv"));
    let (language, protocols) = set::language();
    let (known, units) = (language.clone(), protocols.clone());
    let key = Box::new(move |words: &[&str]| meaning(words, &known, &units));
    let mut ear = Neural::load(&Parts::find(None, "en"), &language.engine, key).expect("the ear loads");
    let mut voices: BTreeMap<String, Vec<Truth>> = BTreeMap::new();
    for truth in set::truths(&folder).into_iter().filter(|truth| !truth.words.is_empty()) {
        voices.entry(truth.voice.clone()).or_default().push(truth);
    }
    for (voice, truths) in voices {
        let quiet: Vec<&Truth> =
            truths.iter().filter(|t| t.condition == "quiet" && t.words.contains(' ')).collect();
        let read: Vec<&Truth> = quiet.into_iter().take(READ).collect();
        let known: Vec<&str> = read.iter().map(|t| &*t.words).collect();
        let rest: Vec<&Truth> = truths.iter().filter(|t| !known.contains(&&*t.words)).step_by(3).collect();
        let cases: Vec<ReadPhrase> =
            read.iter().map(|t| ear.read(&set::segment(&t.file), &t.words).unwrap()).collect();
        for steps in [0, 15, 30, 60] {
            ear.adapt(&voice, Adaptation::fit(&cases, ear.lexicon(), steps));
            let mut fates: BTreeMap<String, usize> = BTreeMap::new();
            for truth in &rest {
                let heard = ear.recognise(&set::segment(&truth.file)).unwrap();
                let fate: Fate = fate(&truth.words, &heard, &language, &protocols);
                *fates.entry(format!("{fate:?}")).or_default() += 1;
            }
            let n = rest.len() as f64;
            let told: Vec<String> = fates
                .iter()
                .map(|(fate, count)| format!("{fate} {:.1}", 100.0 * *count as f64 / n))
                .collect();
            println!("{voice} ({} utterances) {steps} steps: {}", rest.len(), told.join(", "));
        }
    }
}
