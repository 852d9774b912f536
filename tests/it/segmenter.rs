//! A short pause does not choose between the meanings of words that are the same with it and without it.
use crate::support::BUILT_IN;
use zonecall::clock::{SAMPLE_RATE_HZ, Sample};
use zonecall::evaluation::judge::said;
use zonecall::exam::utterance_segmenter::{Ending, SegmenterEar, UtteranceSegmenter};
use zonecall::language::word_states::Moment;
use zonecall::speech::recognise::{EngineError, EngineId, Recogniser};
use zonecall::speech::stream::FRAME;
use zonecall::speech::utterance::{Utterance, UtteranceAudio};

/// Samples of the first part and of the second.
const FIRST: i16 = 9000;
const SECOND: i16 = 9001;

/// Hears a part for certain by itself, and both together as `both`, not for certain.
struct Ear {
    first: &'static str,
    second: &'static str,
    both: &'static str,
}

impl Recogniser for Ear {
    fn id(&self) -> EngineId {
        let text = String::new;
        EngineId { name: text(), version: text(), model: text(), model_sha256: text() }
    }

    fn recognise(&mut self, segment: &UtteranceAudio) -> Result<Utterance, EngineError> {
        let has = |value: i16| segment.samples.contains(&value);
        let is_both = has(FIRST) && has(SECOND);
        let words = if is_both { self.both } else { [self.second, self.first][usize::from(has(FIRST))] };
        Ok(Utterance { unsure: is_both, ..said(words, segment.span) })
    }

    fn is_quick(&self) -> bool {
        true
    }

    fn tells_sounds(&self) -> bool {
        true
    }

    fn sounds(&mut self, samples: &[i16]) -> Result<Vec<f32>, EngineError> {
        let sounds = |frame: &[i16]| frame.iter().any(|sample| *sample >= FIRST);
        Ok(samples.chunks(FRAME as usize).map(|frame| if sounds(frame) { 0.9 } else { 0.1 }).collect())
    }

    fn follow(&mut self, _: Moment<'_>) {}
}

/// How many utterances become of two parts with a pause of so many seconds.
fn utterances(mut ear: Ear, pause_s: f64) -> usize {
    let of = |value: i16, seconds: f64| vec![value; (seconds * f64::from(SAMPLE_RATE_HZ)) as usize];
    let samples = [of(0, 1.0), of(FIRST, 0.8), of(0, pause_s), of(SECOND, 0.8), of(0, 2.0)].concat();
    let mut segmenter = UtteranceSegmenter::new(Sample(0), Ending::Early, &ear);
    let mut found = 0;
    for piece in samples.chunks(1600) {
        let ear = SegmenterEar { engine: &mut ear, language: &BUILT_IN.0, protocols: &BUILT_IN.1 };
        found += segmenter.take(piece, Ending::Early, ear).unwrap().len();
    }
    let ear = SegmenterEar { engine: &mut ear, language: &BUILT_IN.0, protocols: &BUILT_IN.1 };
    found + segmenter.finish(ear).unwrap().len()
}

#[test]
fn the_same_words_said_in_one_go_are_one_utterance_though_together_they_are_not_clear() {
    let ear = |both| Ear { first: "medial branch", second: "normal lateral branch", both };
    assert_eq!(utterances(ear("medial branch normal lateral branch"), 0.3), 1);
    // Together something else was heard: each part is clear by itself.
    assert_eq!(utterances(ear("medial branch abnormal lateral branch"), 0.3), 2);
    // After a real pause people begin anew.
    assert_eq!(utterances(ear("medial branch normal lateral branch"), 0.6), 2);
}
