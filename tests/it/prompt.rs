//! What the real ear cuts while somebody waits for an answer: a call said in one go stays one, and a short one is quick.
use crate::support;

use std::process::Command;

use support::speech::{SECOND, all, room};
use zonecall::clock::Sample;
use zonecall::exam::parse::meaning;
use zonecall::exam::utterance_segmenter::{Ending, SegmenterEar, UtteranceSegmenter};
use zonecall::speech::neural::Neural;
use zonecall::speech::neural::parts::Parts;
use zonecall::speech::recognise::Recogniser;
use zonecall::speech::recording;

/// Sound comes in such pieces.
const PIECE: usize = SECOND / 10;

/// The ear, with what a session sets for it.
fn ear() -> Neural {
    let (language, protocols) = &*support::BUILT_IN;
    let parts = Parts::find(None, "en");
    Neural::load(&parts, &language.engine, Box::new(move |words| meaning(words, language, protocols)))
        .unwrap()
}

/// A phrase in a flite voice, with a second of a quiet room before it and two after it; and where its sound ends.
fn said(voice: &str, text: &str) -> (Vec<i16>, usize) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("said.wav");
    let made = Command::new("flite").args(["-voice", voice, "-t", text, "-o"]).arg(&path).status();
    assert!(made.expect("flite; `make setup` installs it").success());
    let speech = all(recording::open(&path).unwrap());
    let end = speech.iter().rposition(|sample| sample.unsigned_abs() > 300).unwrap() + SECOND;
    ([room(1.0), speech, room(2.0)].concat(), end)
}

/// What was heard, each with the seconds from the end of the sound to the moment at which it was known to be over.
fn heard(engine: &mut Neural, voice: &str, text: &str) -> Vec<(String, f64)> {
    let (language, protocols) = &*support::BUILT_IN;
    let (samples, end) = said(voice, text);
    let mut segmenter = UtteranceSegmenter::new(Sample::FIRST, Ending::Early, engine as &dyn Recogniser);
    let (mut found, mut taken) = (Vec::new(), 0);
    for piece in samples.chunks(PIECE) {
        taken += piece.len();
        let ended =
            segmenter.take(piece, Ending::Early, SegmenterEar { engine, language, protocols }).unwrap();
        for audio in ended {
            let (utterance, _) =
                segmenter.recognise(&audio, SegmenterEar { engine, language, protocols }).unwrap();
            if !utterance.words.is_empty() {
                found.push((utterance.text(), (taken as f64 - end as f64) / SECOND as f64));
            }
        }
    }
    found
}

/// Said in one go; one of these voices makes a pause of 0.24 s in the first.
const IN_ONE_GO: [&str; 4] = [
    "right hind longitudinal",
    "left fore zone two alpha transverse",
    "zone three bravo longitudinal",
    "superficial flexor normal",
];

#[test]
fn what_is_said_in_one_go_is_one_utterance_though_a_word_is_noticed_late_or_after_a_short_pause() {
    let mut engine = ear();
    for (voice, text) in ["rms", "slt"].iter().flat_map(|voice| IN_ONE_GO.map(|text| (*voice, text))) {
        let found = heard(&mut engine, voice, text);
        assert!(found.len() == 1 && found[0].0 == text, "{voice}, {text}: {found:?}");
    }
}

#[test]
fn what_is_closed_or_whole_is_over_soon() {
    let mut engine = ear();
    for (text, most_s) in
        [("save", 0.3), ("transverse", 0.6), ("echo score two", 0.6), ("zone one bravo", 0.7)]
    {
        let found = heard(&mut engine, "rms", text);
        let [(words, waited_s)] = &found[..] else { panic!("{text}: {found:?}") };
        // Counted in samples, so that it does not hang on the load of the machine.
        assert!(words == text && *waited_s < most_s, "{found:?}");
    }
}
