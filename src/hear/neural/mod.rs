//! An ear of our own: a frozen speech encoder, a small head trained for this language, and a search under the grammar.
//!
//! Takes: the parts' files, the language, what tells meanings apart, and one breath at a time.
//! Gives: `Utterance`s with word spans, a fitted probability, and the readings that come next.
//! Never: a word that the grammar does not have, or the meaning of one.
//! Tested in: `tests/neural.rs`.

pub mod lexicon;
pub mod network;
pub mod search;
pub mod align;
pub mod leftover;
pub mod weigh;
pub mod parts;
mod net;

use crate::clock::Span;
use crate::hear::neural::align::{WordFrames, align};
use crate::hear::neural::leftover::leftover;
use crate::hear::neural::lexicon::Lexicon;
use crate::hear::neural::net::{FRAME, Net};
use crate::hear::neural::network::Network;
use crate::hear::neural::parts::{Parts, Read};
use crate::hear::neural::search::{Width, search};
use crate::hear::neural::weigh::{Calibration, Evidence, Meaning, Verdict};
use crate::hear::recognise::{EngineError, EngineId, Recogniser};
use crate::hear::utterance::{Rival, Segment, Utterance, Word};
use crate::language::engine::EngineLanguage;
use crate::language::graph::Moment;

/// Other readings kept with a breath.
const RIVALS_MAX: usize = 3;
/// A reading this much less probable than the best, as a natural logarithm, is no rival.
const RIVAL_BEHIND_MAX: f64 = 10.0;

/// Gives a text for a sequence of words, equal for sequences that mean the same.
pub type MeaningKey = Box<dyn Fn(&[&str]) -> String + Send>;

/// The engine.
pub struct Neural {
    net: Net,
    network: Network,
    lexicon: Lexicon,
    other: Option<usize>,
    calibration: Calibration,
    meaning: MeaningKey,
    id: EngineId,
}

/// A breath, heard and weighed; what `Recogniser::recognise` makes an utterance of.
#[derive(Debug, Clone)]
pub struct Weighed {
    /// What can have been said, most probable first, one reading a meaning.
    pub meanings: Vec<Meaning>,
    /// What speaks for the first; none when nothing of the language fits.
    pub evidence: Option<Evidence>,
    /// What to do with it.
    pub verdict: Verdict,
    /// How probable the first meaning is.
    pub confidence: f64,
    frames: usize,
    spans: Option<Vec<WordFrames>>,
}

impl std::fmt::Debug for Neural {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Neural")
            .field("id", &self.id)
            .field("nodes", &self.network.len())
            .finish_non_exhaustive()
    }
}

impl Neural {
    /// Loads the parts for `language`.
    ///
    /// # Errors
    /// When a file is missing or not the one that the head was trained with, when the runtime refuses it, or when a
    /// word of the grammar has no sound: all such words are named.
    pub fn load(parts: &Parts, language: &EngineLanguage, meaning: MeaningKey) -> Result<Self, EngineError> {
        let read = Read::new(parts)?;
        let lexicon = read
            .lexicon
            .for_language(language, &read.units)
            .map_err(|words| EngineError::Unpronounced { words })?;
        let network = Network::new(&language.graph, &lexicon);
        let net = Net::new(&parts.runtime, &read.encoder, &read.head)?;
        let mut this = Self {
            net,
            network,
            lexicon,
            other: read.other,
            calibration: read.calibration,
            meaning,
            id: EngineId {
                name: "neural".to_owned(),
                version: env!("CARGO_PKG_VERSION").to_owned(),
                model: format!("{} {}", read.name, read.version),
                model_sha256: read.sha256,
            },
        };
        // The first run is slow; and a head with fewer outputs than named units must not wait for the first breath.
        let most = read.units.values().copied().max().unwrap_or(0);
        let tried = this.net.frames(&[])?;
        match tried.rows().next() {
            Some(row) if row.len() == most + 1 => Ok(this),
            row => Err(EngineError::Mismatch {
                path: parts.head.join("head.json"),
                what: "number of units",
                found: (most + 1).to_string(),
                wanted: row.map_or(0, <[f32]>::len).to_string(),
            }),
        }
    }

    /// Hears one breath and weighs what it can have been.
    ///
    /// # Errors
    /// When the runtime fails.
    pub fn weigh(&mut self, segment: &Segment) -> Result<Weighed, EngineError> {
        let frames = self.net.frames(&segment.samples)?;
        let readings = search(&self.network, &frames, Width::LISTENING);
        let meanings = weigh::meanings(&readings, &self.meaning);
        let best = meanings.first();
        let spans = best.and_then(|best| align(&best.reading.words, &self.lexicon, &frames));
        let left = leftover(spans.as_deref().unwrap_or_default(), &frames, &segment.samples);
        let lift_db = weigh::lift_db(&segment.samples);
        let evidence = weigh::evidence(&meanings, &frames, self.other, lift_db, left);
        let (verdict, confidence) =
            evidence.map_or((Verdict::Reject, 0.0), |evidence| self.calibration.verdict(&evidence));
        Ok(Weighed { meanings, evidence, verdict, confidence, frames: frames.rows().len(), spans })
    }

    fn words(&self, texts: &[String], weighed: &Weighed, segment: &Segment) -> Vec<Word> {
        let fallback = || vec![WordFrames { from: 0, to: weighed.frames }; texts.len()];
        let spans = weighed.spans.clone().unwrap_or_else(fallback);
        let sample = |frame: usize| (segment.span.from + frame as u64 * FRAME).min(segment.span.to);
        let confidence = thousandths(weighed.confidence);
        texts
            .iter()
            .zip(spans)
            .map(|(text, frames)| Word {
                text: text.clone(),
                span: Span { from: sample(frames.from), to: sample(frames.to + 1) },
                confidence,
            })
            .collect()
    }
}

impl Recogniser for Neural {
    fn id(&self) -> EngineId {
        self.id.clone()
    }

    fn recognise(&mut self, segment: &Segment) -> Result<Utterance, EngineError> {
        let weighed = self.weigh(segment)?;
        let best = weighed.meanings.first();
        let words = best.map(|best| self.words(&best.reading.words, &weighed, segment)).unwrap_or_default();
        let score = best.map_or(0.0, |best| best.score);
        let near = weighed.meanings.iter().skip(1).filter(|meaning| score - meaning.score < RIVAL_BEHIND_MAX);
        let rivals = near.take(RIVALS_MAX).map(|meaning| Rival {
            words: meaning.reading.words.join(" "),
            behind: thousandths(score - meaning.score),
        });
        Ok(Utterance {
            span: segment.span,
            rejected: weighed.verdict == Verdict::Reject,
            unsure: weighed.verdict == Verdict::Ask,
            rivals: rivals.collect(),
            confidence: thousandths(weighed.confidence),
            words,
            score,
            level_dbfs: segment.level_dbfs,
            clipped: segment.clipped,
        })
    }

    fn is_quick(&self) -> bool {
        true
    }

    fn follow(&mut self, now: Moment<'_>) {
        self.network.follow(now);
    }
}

fn thousandths(number: f64) -> f64 {
    (number * 1000.0).round() / 1000.0
}
