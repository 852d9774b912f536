//! Speech and quiet are told apart frame by frame exactly as by the detector that was used before.
use std::path::Path;

use serde::Deserialize;
use zonecall::speech::recording;
use zonecall::speech::voice_activity::{FRAME_LEN, Strictness, VoiceActivity};

#[derive(Deserialize)]
struct Recorded {
    cases: Vec<Case>,
}

#[derive(Deserialize)]
struct Case {
    gain: f64,
    /// Of the noise, from peak to peak.
    noise: f64,
    strictness: String,
    /// Frames in a row outside and inside speech, by turns.
    frames: Vec<usize>,
}

fn hind_limb() -> Vec<i16> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-audio/hind-limb.flac");
    let (mut recording, mut samples) = (recording::open(&path).unwrap(), Vec::new());
    while let Some(block) = recording.next_block().unwrap() {
        samples.extend(block);
    }
    samples
}

/// Louder or softer, with noise that is the same each time.
fn changed(samples: &[i16], gain: f64, noise: f64) -> Vec<i16> {
    let mut state = 1_u64;
    let mut drawn = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 40) as f64 / (1_u64 << 24) as f64 - 0.5
    };
    samples.iter().map(|sample| (f64::from(*sample) * gain + noise * drawn()).round() as i16).collect()
}

/// Recorded from PocketSphinx 5.1.1, whose endpointer decided before; the file says how.
#[test]
fn speech_begins_and_ends_at_the_frames_at_which_pocketsphinx_says_so() {
    let recorded: Recorded = serde_json::from_str(include_str!("../recorded/voice_activity.json")).unwrap();
    assert_eq!(recorded.cases.len(), 8);
    let samples = hind_limb();
    for case in recorded.cases {
        let mut detector = match case.strictness.as_str() {
            "forgiving" => VoiceActivity::new(10, Strictness::Forgiving),
            _ => VoiceActivity::new(3, Strictness::Strict),
        };
        let (mut runs, mut was) = (vec![0], false);
        for frame in changed(&samples, case.gain, case.noise).chunks_exact(FRAME_LEN) {
            if detector.in_speech(frame) != was {
                was = !was;
                runs.push(0);
            }
            *runs.last_mut().unwrap() += 1;
        }
        assert_eq!(runs, case.frames, "gain {} noise {} {}", case.gain, case.noise, case.strictness);
    }
}

#[test]
#[should_panic(expected = "a frame is 30 ms")]
fn a_frame_of_another_length_is_our_fault() {
    VoiceActivity::new(3, Strictness::Strict).in_speech(&[0; 160]);
}
