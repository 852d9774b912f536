//! An ear of our own: a frozen speech encoder, a small head trained for this language, and a search under the grammar.
//!
//! Takes: the parts' files, the language, what compares meanings, and one utterance at a time.
//! Gives: `Utterance`s with word spans, a fitted probability, and the readings that come next.
//! Never: a word that the grammar does not have, or the meaning of one.
//! Tested in: `tests/it/neural.rs`.

pub mod lexicon;
pub mod lattice;
pub mod search;
pub mod align;
pub mod support;
pub mod adapt;
pub mod unexplained;
pub mod confidence;
pub mod parts;
mod encoder;
mod decoder;
pub mod transcriber;

use sha2::{Digest as _, Sha256};

use crate::clock::Span;
use crate::language::engine::EngineLanguage;
use crate::language::word_states::{Moment, WordStates as _};
use crate::speech::neural::adapt::{Adaptation, ReadPhrase};
use crate::speech::neural::align::{WordFrames, align};
use crate::speech::neural::confidence::{Calibration, ConfidenceInputs, Meaning, Verdict};
use crate::speech::neural::encoder::{Encoder, FRAME};
use crate::speech::neural::lattice::Lattice;
use crate::speech::neural::lexicon::{BLANK, Lexicon};
use crate::speech::neural::parts::{LoadedParts, Parts};
use crate::speech::neural::search::{Frames, Hypothesis, Searched, Width, search_begun};
use crate::speech::neural::support::support;
use crate::speech::neural::unexplained::sound_left;
use crate::speech::recognise::{EngineError, EngineId, Recogniser};
use crate::speech::stakes::{Stake, Stakes, StakesOf, broken};
use crate::speech::utterance::{Rival, Utterance, UtteranceAudio, Word};

/// Other readings kept with an utterance.
const RIVALS_MAX: usize = 3;
/// A reading this much less probable than the best, as a natural logarithm, is no rival.
const RIVAL_BEHIND_MAX: f64 = 10.0;

/// A word that begins in these first frames may have begun before the sound did.
const EDGE_FRAMES: usize = 3;
/// More is waited for where the beginning of a longer phrase fits better by more than this, as a natural logarithm,
const BEGUN_MIN: f64 = -3.0;
/// provided that it fits no worse than this a word than the best sequence of any units.
const BEGUN_FIT_MIN: f64 = -2.0;
/// A word borne out less than this was hardly heard: does the meaning need it?
const HARDLY_HEARD: f64 = -2.5;

/// Gives a text for a sequence of words, equal for sequences that mean the same.
pub type MeaningKey = Box<dyn Fn(&[&str]) -> String + Send>;

/// The engine.
pub struct Neural {
    net: Encoder,
    lattice: Lattice,
    other: Option<usize>,
    calibration: Calibration,
    /// Bends the head's answers to who speaks, where they have enrolled.
    adaptation: Option<Adaptation>,
    meaning: MeaningKey,
    /// What is at stake in words; none where nobody said.
    stakes: Option<StakesOf>,
    head_sha256: String,
    learns: bool,
    /// What it is for everybody, and for who speaks.
    plain: EngineId,
    id: EngineId,
}

/// An utterance, heard and scored; what `Recogniser::recognise` makes an utterance of.
#[derive(Debug, Clone)]
pub struct ScoredReading {
    /// What can have been said, most probable first, one reading a meaning.
    pub meanings: Vec<Meaning>,
    /// What speaks for the first; none when nothing of the language fits.
    pub evidence: Option<ConfidenceInputs>,
    /// What to do with it.
    pub verdict: Verdict,
    /// How probable the first meaning is.
    pub confidence: f64,
    /// Why it is not acted on, however probable.
    pub doubt: Option<HearingDoubt>,
    /// By how much the beginning of a longer phrase fits better, as a natural logarithm; none where none fits.
    pub begun: Option<f64>,
    frames: usize,
    spans: Option<Vec<WordFrames>>,
}

/// What no probability outweighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HearingDoubt {
    /// The first word begins, or the last one ends, where the sound does: there may have been more of it.
    Edge,
    /// A part that costs much if it is wrong is not sure enough, or another reading makes something else of it.
    Stake(Stake),
}

impl std::fmt::Debug for Neural {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Neural")
            .field("id", &self.id)
            .field("nodes", &self.lattice.len())
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
        let read = LoadedParts::new(parts)?;
        let mut lexicon = read
            .lexicon
            .for_language(language, &read.units)
            .map_err(|words| EngineError::Unpronounced { words })?;
        language.graph.only_begin().into_iter().for_each(|word| lexicon.begin_anew(word));
        let mut lattice = Lattice::new(Box::new(language.graph.clone()), lexicon);
        if let Some(usage) = &language.usage {
            lattice.expect(usage);
        } else if let Some(core) = &language.core {
            lattice.prefer(&core.words.iter().map(|word| word.text.as_str()).collect());
        }
        let net = Encoder::new(&parts.runtime, read.encoder.as_deref(), &read.head)?;
        let id = EngineId {
            name: "neural".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            model: format!("{} {}", read.name, read.version),
            model_sha256: read.sha256,
        };
        let mut this = Self {
            net,
            lattice,
            other: read.other,
            calibration: read.calibration,
            adaptation: None,
            meaning,
            stakes: None,
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

    /// Hears one utterance and weighs what it can have been.
    ///
    /// # Errors
    /// When the runtime fails.
    pub fn score(&mut self, segment: &UtteranceAudio) -> Result<ScoredReading, EngineError> {
        let heard = self.net.hear(&segment.samples)?;
        let bent = self.adaptation.as_ref().map(|bend| bend.apply(&heard));
        let frames = bent.as_ref().unwrap_or(&heard.frames);
        let found = search_begun(&mut self.lattice, frames, Width::LISTENING);
        let meanings = confidence::meanings(&found.whole, &self.meaning);
        let spans = spans(&meanings, self.lexicon(), frames);
        let begun = begun(self.says_more(&found), &meanings, frames);
        let evidence = spans.as_deref().and_then(|spans| self.evidence(&meanings, spans, begun, frames));
        let (mut verdict, confidence) =
            evidence.map_or((Verdict::Reject, 0.0), |evidence| self.calibration.verdict(&evidence));
        let n_frames = frames.rows().len();
        let doubt = is_at_edge(spans.as_deref(), n_frames)
            .then_some(HearingDoubt::Edge)
            .or_else(|| self.at_stake(&meanings, confidence).map(HearingDoubt::Stake));
        if doubt.is_some() && verdict == Verdict::Act {
            verdict = Verdict::Ask;
        }
        Ok(ScoredReading { meanings, evidence, verdict, confidence, doubt, begun, frames: n_frames, spans })
    }

    /// What speaks for the first of `meanings`, whose words lie at `spans`.
    fn evidence(
        &self,
        meanings: &[Meaning],
        spans: &[WordFrames],
        begun: Option<f64>,
        frames: &Frames,
    ) -> Option<ConfidenceInputs> {
        let best = meanings.first()?;
        let words = &best.reading.words;
        let supports = support(words, spans, self.lexicon(), frames);
        let evidence = ConfidenceInputs {
            margin: confidence::margin(meanings),
            fit: confidence::fit(best, frames),
            units: words.iter().filter_map(|word| self.lexicon().sounds(word).first()).map(Vec::len).sum(),
            words: words.len(),
            sound_left: sound_left(spans, frames),
            support: self.lowest_support(words, &supports),
            begun: begun.unwrap_or(f64::NEG_INFINITY),
        };
        Some(evidence.limited())
    }

    /// The likeliest beginning of a sentence that does not sound like a whole one: "disregard last to" is none, since
    /// "disregard last two" sounds the same. "Lesion a" is one, for the "uh" of "lesion uh" says nothing.
    fn says_more<'a>(&self, found: &'a Searched) -> Option<&'a Hypothesis> {
        let is_whole = |begun: &Hypothesis| {
            let alike = |one: &&Hypothesis| self.lexicon().sound_alike(&one.words, &begun.words);
            found.whole.iter().filter(alike).any(|one| self.last_counts(&one.words))
        };
        found.begun.iter().find(|begun| !is_whole(begun))
    }

    /// Whether the last of the words changes what they mean; one that stands alone, whether it means more when it is said
    /// twice: "wait" says nothing, however often.
    fn last_counts(&self, words: &[String]) -> bool {
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        match &words[..] {
            [alone] => (self.meaning)(&[alone, alone]) != (self.meaning)(&words),
            [before @ .., _] => (self.meaning)(before) != (self.meaning)(&words),
            [] => false,
        }
    }

    /// From now on parts of a reading that cost much if they are wrong have limits of their own.
    pub fn mind_stakes(&mut self, stakes: StakesOf) {
        self.stakes = Some(stakes);
    }

    /// The stake for which a reading is not acted on, if there is one.
    fn at_stake(&self, meanings: &[Meaning], confidence: f64) -> Option<Stake> {
        let (of, limits) = (self.stakes.as_ref()?, &self.calibration.limits);
        let stakes = |meaning: &Meaning| {
            let words: Vec<&str> = meaning.reading.words.iter().map(String::as_str).collect();
            of(&words)
        };
        let (best, others) = meanings.split_first()?;
        let farthest = limits.values().map(|limit| limit.rival_min).fold(0.0, f64::max);
        let behind = |other: &&Meaning| best.score - other.score < farthest;
        let rivals: Vec<(f64, Stakes)> =
            others.iter().take_while(behind).map(|other| (best.score - other.score, stakes(other))).collect();
        broken(limits, &stakes(best), confidence, &rivals)
    }

    /// How well the sound bears out the word that it bears out least, of those that the meaning needs.
    fn lowest_support(&self, words: &[String], supports: &[f64]) -> f64 {
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let needed = |idx: usize| {
            let others = [&words[..idx], &words[idx + 1..]].concat();
            (self.meaning)(&others) != (self.meaning)(&words)
        };
        let counts = |(idx, one): &(usize, &f64)| **one >= HARDLY_HEARD || needed(*idx);
        supports.iter().enumerate().filter(counts).map(|(_, one)| *one).fold(0.0, f64::min)
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
        self.lattice.lexicon()
    }

    fn words(&self, texts: &[String], scored: &ScoredReading, segment: &UtteranceAudio) -> Vec<Word> {
        let fallback = || vec![WordFrames { from: 0, to: scored.frames }; texts.len()];
        let spans = scored.spans.clone().unwrap_or_else(fallback);
        let sample = |frame: usize| (segment.span.from + frame as u64 * FRAME).min(segment.span.to);
        let confidence = thousandths(scored.confidence);
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
        Ok(self.recognise_so_far(segment)?.0)
    }

    fn recognise_so_far(&mut self, segment: &UtteranceAudio) -> Result<(Utterance, bool), EngineError> {
        let scored = self.score(segment)?;
        let is_begun = scored.begun.is_some_and(|ahead| ahead > BEGUN_MIN);
        Ok((self.utterance(segment, &scored), is_begun))
    }

    fn is_quick(&self) -> bool {
        true
    }

    fn tells_sounds(&self) -> bool {
        true
    }

    fn sounds(&mut self, samples: &[i16]) -> Result<Vec<f32>, EngineError> {
        let heard = self.net.hear(samples)?;
        let other = |row: &[f32]| self.other.map_or(0.0, |other| row[other].exp());
        Ok(heard.frames.rows().map(|row| 1.0 - row[BLANK].exp() - other(row)).collect())
    }

    fn follow(&mut self, now: Moment<'_>) {
        self.lattice.follow(now);
    }
}

impl Neural {
    fn utterance(&self, segment: &UtteranceAudio, scored: &ScoredReading) -> Utterance {
        let best = scored.meanings.first();
        let words = best.map(|best| self.words(&best.reading.words, scored, segment)).unwrap_or_default();
        let score = best.map_or(0.0, |best| best.score);
        let near = scored.meanings.iter().skip(1).filter(|meaning| score - meaning.score < RIVAL_BEHIND_MAX);
        let rivals = near.take(RIVALS_MAX).map(|meaning| Rival {
            words: meaning.reading.words.join(" "),
            behind: thousandths(score - meaning.score),
        });
        Utterance {
            span: segment.span,
            rejected: scored.verdict == Verdict::Reject,
            unsure: scored.verdict == Verdict::Ask,
            rivals: rivals.collect(),
            confidence: thousandths(scored.confidence),
            words,
            score,
            level_dbfs: segment.level_dbfs,
            clipped: segment.clipped,
        }
    }
}

/// By how much the beginning of a phrase fits better than the best whole one; none where it hardly fits at all.
#[allow(clippy::cast_precision_loss)] // an utterance has far fewer than 2^53 words
fn begun(begun: Option<&Hypothesis>, meanings: &[Meaning], frames: &Frames) -> Option<f64> {
    let begun = begun?;
    // A word fits no worse for being rare.
    let fit = begun.score - begun.rare - frames.free();
    let fits = fit / begun.words.len().max(1) as f64 >= BEGUN_FIT_MIN;
    fits.then(|| meanings.first().map_or(f64::INFINITY, |best| begun.score - best.score))
}

/// Whether the first word begins, or the last one ends, where the sound does.
fn is_at_edge(spans: Option<&[WordFrames]>, n_frames: usize) -> bool {
    let ends = spans.and_then(|spans| Some((spans.first()?, spans.last()?)));
    ends.is_some_and(|(first, last)| first.from < EDGE_FRAMES || last.to + 1 >= n_frames)
}

/// When the words of the first meaning were said.
fn spans(meanings: &[Meaning], lexicon: &Lexicon, frames: &Frames) -> Option<Vec<WordFrames>> {
    align(&meanings.first()?.reading.words, lexicon, frames)
}

fn thousandths(number: f64) -> f64 {
    (number * 1000.0).round() / 1000.0
}
