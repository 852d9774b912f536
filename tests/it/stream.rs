//! Where the engine's own ears cut the stream: nothing is lost at an edge, nothing waits too long, halves are joined.
use zonecall::clock::{SAMPLE_RATE_HZ, Sample, Span};
use zonecall::speech::recognise::EngineError;
use zonecall::speech::stream::{
    AtPause, FRAME, OPEN_PAUSE, Stream, StreamListener, StreamPace, StreamParts, piece_len,
};
use zonecall::speech::utterance::UtteranceAudio;

const SECOND: u64 = SAMPLE_RATE_HZ as u64;
/// A sound of the language, talk or noise, quiet, in the samples of these tests.
const SOUND: i16 = 9000;
/// A sound that is noticed only once so many frames after it were heard.
const LATE_SOUND: i16 = 8000;
const LATE_FRAMES: usize = 14;
const NOISE: i16 = 3000;

/// Hears the samples themselves; says of each utterance what `what` says, by how many sounds are in it.
struct Ear {
    what: fn(usize) -> AtPause,
    goes_on: bool,
    looks_s: f64,
}

impl Ear {
    fn new(what: fn(usize) -> AtPause) -> Self {
        Self { what, goes_on: true, looks_s: 0.0 }
    }
}

/// Sounds with quiet between them.
fn n_sounds(samples: &[i16]) -> usize {
    let sounds = |sample: &i16| matches!(*sample, SOUND | LATE_SOUND);
    samples.windows(2).filter(|pair| !sounds(&pair[0]) && sounds(&pair[1])).count()
        + usize::from(samples.first().is_some_and(sounds))
}

impl StreamListener for Ear {
    fn sounds(&mut self, samples: &[i16]) -> Result<Vec<f32>, EngineError> {
        self.looks_s += samples.len() as f64 / f64::from(SAMPLE_RATE_HZ);
        let noticed = (samples.len() / FRAME as usize).saturating_sub(LATE_FRAMES);
        let frames = samples.chunks(FRAME as usize).enumerate();
        let sounds = |(at, frame): (usize, &[i16])| {
            frame.contains(&SOUND) || (at < noticed && frame.contains(&LATE_SOUND))
        };
        Ok(frames.map(|frame| if sounds(frame) { 0.9 } else { 0.1 }).collect())
    }

    fn at_pause(&mut self, so_far: &UtteranceAudio) -> Result<AtPause, EngineError> {
        Ok((self.what)(n_sounds(&so_far.samples)))
    }

    fn goes_on(&mut self, parts: &StreamParts) -> Result<bool, EngineError> {
        assert_eq!(
            n_sounds(&parts.both.samples),
            n_sounds(&parts.first.samples) + n_sounds(&parts.second.samples)
        );
        Ok(self.goes_on)
    }

    fn only_ends(&mut self, parts: &StreamParts) -> Result<bool, EngineError> {
        assert_eq!(
            n_sounds(&parts.both.samples),
            n_sounds(&parts.first.samples) + n_sounds(&parts.second.samples)
        );
        Ok(false)
    }
}

/// Samples of stretches: their value and their seconds.
fn stretches(parts: &[(i16, f64)]) -> Vec<i16> {
    let samples = |(value, seconds): &(i16, f64)| vec![*value; (seconds * SECOND as f64) as usize];
    parts.iter().flat_map(samples).collect()
}

/// The utterances, each with the sample at which it was known to be over.
fn cut(samples: &[i16], pace: StreamPace, ear: &mut Ear) -> Vec<(UtteranceAudio, u64)> {
    cut_in_pieces(160, samples, pace, ear)
}

/// The same, listened to in pieces of this length.
fn cut_in_pieces(
    piece: usize,
    samples: &[i16],
    pace: StreamPace,
    ear: &mut Ear,
) -> Vec<(UtteranceAudio, u64)> {
    let (mut stream, mut found, mut taken) = (Stream::new(Sample::FIRST, pace), Vec::new(), 0);
    for block in samples.chunks(piece) {
        taken += block.len() as u64;
        let ended = stream.take(block, ear).unwrap();
        found.extend(ended.into_iter().map(|audio| (audio, taken)));
    }
    found.extend(stream.finish(ear).unwrap().into_iter().map(|audio| (audio, taken)));
    found
}

fn spans(found: &[(UtteranceAudio, u64)]) -> Vec<Span> {
    found.iter().map(|(audio, _)| audio.span).collect()
}

fn whole(_: usize) -> AtPause {
    AtPause::Closed
}

fn unclear(_: usize) -> AtPause {
    AtPause::Unclear
}

#[test]
fn an_utterance_has_quiet_before_it_and_ends_at_a_short_pause_where_it_is_whole() {
    let samples = stretches(&[(0, 3.0), (SOUND, 0.4), (0, 3.0)]);
    let [(audio, known_at)] = &cut(&samples, StreamPace::Prompt, &mut Ear::new(whole))[..] else { panic!() };
    assert!(audio.span.from.0 <= 3 * SECOND - SECOND * 8 / 10, "{:?}", audio.span);
    assert_eq!(audio.samples.len() as u64, audio.span.samples());
    assert!(*known_at < SECOND * 390 / 100, "known at {known_at}");
}

#[test]
fn noise_without_a_sound_of_the_language_is_no_utterance_and_ends_one() {
    let samples = stretches(&[(NOISE, 20.0), (SOUND, 0.4), (NOISE, 20.0)]);
    for pace in [StreamPace::Prompt, StreamPace::Patient] {
        let found = cut(&samples, pace, &mut Ear::new(unclear));
        let [(audio, known_at)] = &found[..] else { panic!("{} utterances", found.len()) };
        assert!(audio.span.to.0 < 22 * SECOND, "{:?}", audio.span);
        assert!(pace == StreamPace::Patient || *known_at < 21 * SECOND + SECOND / 2, "known at {known_at}");
    }
}

#[test]
fn a_half_waits_no_longer_than_the_longest_pause_and_is_joined_before() {
    let half = |n| if n == 1 { AtPause::Half } else { AtPause::Closed };
    let pause_s = OPEN_PAUSE as f64 / SECOND as f64;
    let samples = stretches(&[(0, 1.0), (SOUND, 0.4), (0, pause_s - 0.1), (SOUND, 0.4), (0, 2.0)]);
    let joined = cut(&samples, StreamPace::Prompt, &mut Ear::new(half));
    assert_eq!(joined.iter().map(|(audio, _)| n_sounds(&audio.samples)).collect::<Vec<_>>(), [2]);
    let samples = stretches(&[(0, 1.0), (SOUND, 0.4), (0, 3.0)]);
    let [(_, known_at)] = &cut(&samples, StreamPace::Prompt, &mut Ear::new(half))[..] else { panic!() };
    let waited_s = *known_at as f64 / SECOND as f64 - 1.4;
    assert!((pause_s..pause_s + 0.3).contains(&waited_s), "waited {waited_s} s");
}

#[test]
fn a_word_that_is_noticed_only_from_what_follows_it_is_not_lost() {
    // The last word of a call, without a pause before it.
    let samples = stretches(&[(0, 1.0), (SOUND, 0.4), (0, 0.15), (LATE_SOUND, 0.3), (0, 2.0)]);
    for pace in [StreamPace::Prompt, StreamPace::Patient] {
        let found = cut(&samples, pace, &mut Ear::new(unclear));
        assert_eq!(
            found.iter().map(|(audio, _)| n_sounds(&audio.samples)).collect::<Vec<_>>(),
            [2],
            "{pace:?}"
        );
    }
}

#[test]
fn what_may_go_on_and_does_not_is_an_utterance_of_its_own() {
    let samples = stretches(&[(0, 1.0), (SOUND, 0.4), (0, 0.7), (SOUND, 0.4), (0, 2.0)]);
    let mut ear = Ear::new(|_| AtPause::MayGoOn);
    assert_eq!(cut(&samples, StreamPace::Prompt, &mut ear).len(), 1);
    ear.goes_on = false;
    let apart = cut(&samples, StreamPace::Prompt, &mut ear);
    assert_eq!(apart.iter().map(|(audio, _)| n_sounds(&audio.samples)).collect::<Vec<_>>(), [1, 1]);
}

/// Each look shows the last of its sounds too late to count; all of it heard in one go shows it.
#[test]
fn what_short_looks_do_not_notice_in_time_is_heard_before_the_utterance_is_over() {
    let samples = stretches(&[(0, 1.0), (SOUND, 0.4), (0, 0.3), (LATE_SOUND, 0.4), (0, 2.0)]);
    let found = cut(&samples, StreamPace::Prompt, &mut Ear::new(|_| AtPause::Whole));
    assert_eq!(found.iter().map(|(audio, _)| n_sounds(&audio.samples)).collect::<Vec<_>>(), [2]);
}

#[test]
fn the_onset_before_the_first_sound_is_kept_though_another_utterance_has_just_ended() {
    let samples = stretches(&[(0, 1.0), (SOUND, 0.4), (0, 0.3), (SOUND, 0.4), (0, 2.0)]);
    let found = cut(&samples, StreamPace::Prompt, &mut Ear::new(whole));
    let [first, second] = spans(&found)[..] else { panic!("{:?}", spans(&found)) };
    assert!(second.from.0 <= SECOND * 17 / 10 - SECOND * 15 / 100, "{second:?}");
    assert!(second.from.0 > SECOND * 14 / 10 && first.to.0 > SECOND * 14 / 10, "{first:?} {second:?}");
}

#[test]
fn the_pace_changes_the_cost_and_not_the_cuts_of_what_is_unclear() {
    let parts =
        [(0, 0.7), (SOUND, 0.4), (0, 0.3), (SOUND, 0.5), (NOISE, 6.0), (SOUND, 0.1), (0, 0.4), (SOUND, 1.0)];
    let samples = stretches(&[&parts[..], &[(0, 0.9)], &parts[..]].concat());
    let (mut prompt, mut patient) = (Ear::new(unclear), Ear::new(unclear));
    let found = spans(&cut(&samples, StreamPace::Prompt, &mut prompt));
    assert_eq!(found, spans(&cut(&samples, StreamPace::Patient, &mut patient)));
    assert!(found.len() >= 4, "{found:?}");
    let length_s = samples.len() as f64 / SECOND as f64;
    assert!(patient.looks_s < 2.0 * length_s, "{} of {length_s} s", patient.looks_s);
}

/// On a machine that cannot keep up, what is behind is listened to in long pieces: the same utterances for less.
#[test]
fn what_is_behind_costs_a_fraction_and_is_cut_as_ever() {
    let parts = [(NOISE, 3.0), (SOUND, 0.4), (NOISE, 1.8), (SOUND, 0.5), (NOISE, 2.0), (SOUND, 1.4)];
    let samples = stretches(&parts.repeat(5));
    let cost = |behind_s: u64| {
        let mut ear = Ear::new(unclear);
        let found = cut_in_pieces(piece_len(behind_s * SECOND), &samples, StreamPace::Prompt, &mut ear);
        (spans(&found), ear.looks_s)
    };
    let ((prompt, prompt_s), (behind, behind_s)) = (cost(0), cost(10));
    assert_eq!((prompt.len(), &prompt), (behind.len(), &behind));
    assert!(behind_s < prompt_s / 2.5, "{behind_s} s instead of {prompt_s} s");
}

#[test]
fn silence_is_not_looked_at_and_speech_in_it_is_heard() {
    let mut ear = Ear::new(whole);
    assert_eq!(cut(&stretches(&[(1, 60.0)]), StreamPace::Prompt, &mut ear), []);
    assert!(ear.looks_s < 1.0, "{} s", ear.looks_s);
    assert_eq!(cut(&stretches(&[(1, 60.0), (SOUND, 0.3), (1, 2.0)]), StreamPace::Prompt, &mut ear).len(), 1);
}

#[test]
fn an_endless_utterance_is_cut_at_a_pause_and_nothing_of_it_is_lost() {
    let samples = stretches(&[(SOUND, 0.7), (0, 0.1)].repeat(40));
    let found = cut(&samples, StreamPace::Prompt, &mut Ear::new(unclear));
    assert!(
        found.len() > 1 && found.iter().all(|(audio, _)| audio.samples.len() as u64 <= 15 * SECOND + FRAME)
    );
    assert!(found[0].0.cut);
    for pair in spans(&found).windows(2) {
        assert!(pair[1].from <= pair[0].to, "{pair:?}");
    }
    let heard: usize = found.iter().map(|(audio, _)| n_sounds(&audio.samples)).sum();
    assert_eq!(heard, n_sounds(&samples));
}

#[test]
fn calls_said_in_one_go_stay_together_where_nobody_waits() {
    let samples =
        stretches(&[(0, 1.0), (SOUND, 0.4), (0, 0.4), (SOUND, 0.4), (0, 1.0), (SOUND, 0.4), (0, 2.0)]);
    let n = |found: &[(UtteranceAudio, u64)]| -> Vec<usize> {
        found.iter().map(|(audio, _)| n_sounds(&audio.samples)).collect()
    };
    assert_eq!(n(&cut(&samples, StreamPace::Patient, &mut Ear::new(whole))), [2, 1]);
    assert_eq!(n(&cut(&samples, StreamPace::Prompt, &mut Ear::new(whole))), [1, 1, 1]);
}
