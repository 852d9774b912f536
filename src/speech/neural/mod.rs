//! An ear of our own: a frozen speech encoder, a small head trained for this language, and a search under the grammar.
//!
//! Takes: the parts' files, the language, what tells meanings apart, and one utterance at a time.
//! Gives: `Utterance`s with word spans, a fitted probability, and the readings that come next.
//! Never: a word that the grammar does not have, or the meaning of one.
//! Tested in: `tests/it/neural.rs`.

pub mod lexicon;
pub mod lattice;
pub mod search;
pub mod align;
pub mod adapt;
pub mod unexplained;
pub mod confidence;
pub mod parts;
mod encoder;
mod rescoring;

use sha2::{Digest as _, Sha256};

use crate::clock::Span;
use crate::language::engine::EngineLanguage;
use crate::language::graph::Moment;
use crate::speech::neural::adapt::{Adaptation, ReadPhrase};
use crate::speech::neural::align::{WordFrames, align};
use crate::speech::neural::confidence::{
    Calibration, ConfidenceInputs, Meaning, OPINIONS_MAX, Opinion, Verdict, joined,
};
use crate::speech::neural::encoder::{Encoder, FRAME};
use crate::speech::neural::lattice::Lattice;
use crate::speech::neural::lexicon::Lexicon;
use crate::speech::neural::parts::{LoadedParts, Parts};
use crate::speech::neural::rescoring::Rescorer;
use crate::speech::neural::search::{Frames, Width, search};
use crate::speech::neural::unexplained::unexplained;
use crate::speech::recognise::{EngineError, EngineId, Recogniser};
use crate::speech::utterance::{Rival, Utterance, UtteranceAudio, Word};

/// Other readings kept with an utterance.
const RIVALS_MAX: usize = 3;
/// A reading this much less probable than the best, as a natural logarithm, is no rival.
const RIVAL_BEHIND_MAX: f64 = 10.0;

/// Gives a text for a sequence of words, equal for sequences that mean the same.
pub type MeaningKey = Box<dyn Fn(&[&str]) -> String + Send>;

/// The engine.
pub struct Neural {
    net: Encoder,
    second: Option<Rescorer>,
    network: Lattice,
    lexicon: Lexicon,
    other: Option<usize>,
    calibration: Calibration,
    /// Bends the head's answers to who speaks, where they have enrolled.
    adaptation: Option<Adaptation>,
    meaning: MeaningKey,
    head_sha256: String,
    learns: bool,
    /// What it is for everybody, and for who speaks.
    plain: EngineId,
    id: EngineId,
}

/// An utterance, heard and weighed; what `Recogniser::recognise` makes an utterance of.
#[derive(Debug, Clone)]
pub struct ScoredReading {
    /// What can have been said, most probable first, one reading a meaning.
    pub meanings: Vec<Meaning>,
    /// What speaks for the first, before any second opinion; none when nothing of the language fits.
    pub evidence: Option<ConfidenceInputs>,
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
        Self::of(LoadedParts::new(parts, false)?, parts, language, meaning)
    }

    /// The same with the model of the second opinion, whether it is trusted yet or not: for fitting the trust in it.
    ///
    /// # Errors
    /// As `load`.
    pub fn load_to_fit(
        parts: &Parts,
        language: &EngineLanguage,
        meaning: MeaningKey,
    ) -> Result<Self, EngineError> {
        Self::of(LoadedParts::new(parts, true)?, parts, language, meaning)
    }

    fn of(
        read: LoadedParts,
        parts: &Parts,
        language: &EngineLanguage,
        meaning: MeaningKey,
    ) -> Result<Self, EngineError> {
        let lexicon = read
            .lexicon
            .for_language(language, &read.units)
            .map_err(|words| EngineError::Unpronounced { words })?;
        let network = Lattice::new(&language.graph, &lexicon);
        let net = Encoder::new(&parts.runtime, &read.encoder, &read.head)?;
        let id = EngineId {
            name: "neural".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            model: format!("{} {}", read.name, read.version),
            model_sha256: read.sha256,
        };
        let second = match &read.second {
            Some(second) => Some(Rescorer::new(parts, second)?),
            None => None,
        };
        let mut this = Self {
            net,
            second,
            network,
            lexicon,
            other: read.other,
            calibration: read.calibration,
            adaptation: None,
            meaning,
            head_sha256: read.head_sha256,
            learns: false,
            plain: id.clone(),
            id,
        };
        // The first run is slow; and a head with fewer outputs than named units must not wait for the first utterance.
        let most = read.units.values().copied().max().unwrap_or(0);
        let tried = this.net.hear(&[])?;
        this.learns = tried.inner.rows().len() > 0;
        let tried = tried.frames;
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

    /// Hears one utterance and weighs what it can have been; a second opinion is asked for where that is in doubt.
    ///
    /// # Errors
    /// When the runtime fails.
    pub fn weigh(&mut self, segment: &UtteranceAudio) -> Result<ScoredReading, EngineError> {
        let heard = self.net.hear(&segment.samples)?;
        let bent = self.adaptation.as_ref().map(|bend| bend.apply(&heard));
        let frames = bent.as_ref().unwrap_or(&heard.frames);
        let readings = search(&self.network, frames, Width::LISTENING);
        let mut meanings = confidence::meanings(&readings, &self.meaning);
        let mut spans = spans(&meanings, &self.lexicon, frames);
        let left = unexplained(spans.as_deref().unwrap_or_default(), frames, &segment.samples);
        let lift_db = confidence::lift_db(&segment.samples);
        let evidence = confidence::evidence(&meanings, frames, self.other, lift_db, left);
        let (mut verdict, mut confidence) =
            evidence.map_or((Verdict::Reject, 0.0), |evidence| self.calibration.verdict(&evidence));
        let trust =
            evidence.and_then(|evidence| Some((evidence, self.calibration.doubts(&evidence)?.clone())));
        if let Some((evidence, trust)) = trust
            && let Some(opinion) = self.opinion(&meanings, &heard.sound)?
        {
            (verdict, confidence) = self.calibration.verdict_after(&trust, &evidence, &opinion);
            meanings = opinion.meanings;
            spans = self::spans(&meanings, &self.lexicon, frames);
        }
        Ok(ScoredReading { meanings, evidence, verdict, confidence, frames: frames.rows().len(), spans })
    }

    /// The second opinion of the likeliest meanings; none where nothing can give one.
    fn opinion(&mut self, meanings: &[Meaning], sound: &[f32]) -> Result<Option<Opinion>, EngineError> {
        let Some(second) = &mut self.second else { return Ok(None) };
        let first = &meanings[..meanings.len().min(OPINIONS_MAX)];
        let texts: Vec<String> = first.iter().map(|meaning| meaning.reading.words.join(" ")).collect();
        Ok(joined(first, &second.likelihoods(sound, &texts)?))
    }

    /// The first opinion by itself, and the second whether in doubt or not: for fitting the trust in both.
    ///
    /// # Errors
    /// When the runtime fails.
    pub fn weigh_twice(
        &mut self,
        segment: &UtteranceAudio,
    ) -> Result<(ScoredReading, Option<Opinion>), EngineError> {
        let second = self.calibration.second.take();
        let weighed = self.weigh(segment);
        self.calibration.second = second;
        let (weighed, heard) = (weighed?, self.net.hear(&segment.samples)?);
        let opinion = self.opinion(&weighed.meanings, &heard.sound)?;
        Ok((weighed, opinion))
    }

    /// From now on the head's answers are bent to the voice of `person`, and the ear's name and hash say so.
    pub fn adapt(&mut self, person: &str, adaptation: Adaptation) {
        let mut hash = Sha256::new_with_prefix(&self.plain.model_sha256);
        adaptation.weights().for_each(|weight| hash.update(weight.to_le_bytes()));
        self.id = EngineId {
            model: format!("{}, enrolled by {person}", self.plain.model),
            model_sha256: crate::hex(&hash.finalize()),
            ..self.plain.clone()
        };
        self.adaptation = Some(adaptation);
    }

    /// SHA-256 of encoder, head and lexicon: a voice that was learned with others does not count.
    #[must_use]
    pub fn head_sha256(&self) -> &str {
        &self.head_sha256
    }

    /// Whether the head gives out what a voice is learned from; one from before that could be done does not.
    #[must_use]
    pub fn learns(&self) -> bool {
        self.learns
    }

    /// What is fitted to: an utterance in which a person read these words, as the head hears it unbent.
    ///
    /// # Errors
    /// When the runtime fails.
    pub fn read(&mut self, segment: &UtteranceAudio, words: &str) -> Result<ReadPhrase, EngineError> {
        let words = words.split_whitespace().map(str::to_owned).collect();
        Ok(ReadPhrase { heard: self.net.hear(&segment.samples)?, words })
    }

    /// How the words of the language sound to the head.
    #[must_use]
    pub fn lexicon(&self) -> &Lexicon {
        &self.lexicon
    }

    fn words(&self, texts: &[String], weighed: &ScoredReading, segment: &UtteranceAudio) -> Vec<Word> {
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

    fn recognise(&mut self, segment: &UtteranceAudio) -> Result<Utterance, EngineError> {
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

/// When the words of the first meaning were said.
fn spans(meanings: &[Meaning], lexicon: &Lexicon, frames: &Frames) -> Option<Vec<WordFrames>> {
    align(&meanings.first()?.reading.words, lexicon, frames)
}

fn thousandths(number: f64) -> f64 {
    (number * 1000.0).round() / 1000.0
}
