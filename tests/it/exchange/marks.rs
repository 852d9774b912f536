//! Marks in the kept sound, read back by bwavfile and sox.

use std::fs::File;

use zonecall::clock::Sample;
use zonecall::exam::event::{AudioFile, Event};
use zonecall::exam::journal::Journal;

use super::stage::{export, judge};
use crate::support::{header, write_journal};

const SAID: [(f64, &str); 4] = [
    (2.0, "left fore zone two bravo transverse"),
    (6.0, "superficial flexor"),
    (8.0, "area ninety square millimetres"),
    (10.0, "colourless green ideas"),
];

/// An exam with twelve seconds of sound, kept by the program's own writer.
fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    write_journal(folder.path(), &SAID);
    std::fs::create_dir(folder.path().join("audio")).unwrap();
    let path = folder.path().join("audio/0001.wav");
    let mut keeper = zonecall::speech::keep::Keeper::create(&path, header().started_at, 7200).unwrap();
    let samples: Vec<i16> = (0..12 * 16_000).map(|idx| (idx % 1000) as i16).collect();
    keeper.write(&samples).unwrap();
    keeper.finalise().unwrap();
    let audio = AudioFile {
        file: "audio/0001.wav".to_owned(),
        first_sample: Sample::FIRST,
        source: "test".to_owned(),
    };
    Journal::open(folder.path())
        .unwrap()
        .append(header().started_at, Sample::FIRST, &Event::Audio(audio))
        .unwrap();
    folder
}

#[test]
fn another_reader_finds_each_call_at_its_sample_with_its_words() {
    let exam = folder();
    let kept = std::fs::read(exam.path().join("audio/0001.wav")).unwrap();
    export(exam.path(), "audio", &[], 0);
    let path = exam.path().join("out/audio/0001.wav");
    let mut reader = bwavfile::WaveReader::new(File::open(&path).unwrap()).unwrap();
    let cues = reader.cue_points().unwrap();
    let found: Vec<(u32, u32, &str)> = cues
        .iter()
        .map(|cue| {
            (cue.frame, cue.length.unwrap_or(0), cue.label.as_deref().unwrap_or("").trim_end_matches('\0'))
        })
        .collect();
    // An utterance of n words takes 0.4 s a word at 16 kHz; the first one is several calls.
    assert!(found.contains(&(96_000, 12_800, "superficial flexor")), "{found:?}");
    assert!(
        found
            .iter()
            .any(|(from, _, label)| *from == 160_000 && *label == "not understood: colourless green ideas"),
        "{found:?}"
    );
    assert!(
        found.iter().any(|(from, _, label)| *from == 128_000 && label.starts_with("area ninety")),
        "{found:?}"
    );
    let notes: Vec<&str> = cues.iter().filter_map(|cue| cue.note.as_deref()).collect();
    assert!(notes.iter().any(|note| note.contains("LF 2B T SDFT: area 90 mm2")), "{notes:?}");
    assert_eq!(reader.frame_length().unwrap(), 12 * 16_000);
    assert_eq!(
        std::fs::read(exam.path().join("audio/0001.wav")).unwrap(),
        kept,
        "the kept sound stays as it is"
    );
}

#[test]
fn not_a_sample_changes() {
    let exam = folder();
    export(exam.path(), "audio", &[], 0);
    let raw = |path: &std::path::Path| {
        let out = path.with_extension("raw");
        let (code, said) = judge("sox", &[path.to_str().unwrap(), "-t", "raw", out.to_str().unwrap()]);
        assert!(code == Some(0) && !said.contains("WARN"), "{said}");
        std::fs::read(out).unwrap()
    };
    let (kept, marked) =
        (raw(&exam.path().join("audio/0001.wav")), raw(&exam.path().join("out/audio/0001.wav")));
    assert!(kept.len() == 2 * 12 * 16_000 && kept == marked);
}

#[test]
fn what_is_no_wave_file_is_refused_and_one_cut_short_is_marked_as_far_as_it_goes() {
    use zonecall::exchange::marks::{Mark, MarkError, marked, n_samples};
    for bytes in [&b""[..], b"RIFF", b"RIFF\0\0\0\0WAVEfmt ", &[0xff; 64]] {
        assert_eq!(marked(bytes, &[]), Err(MarkError::NotWave));
    }
    let exam = folder();
    let kept = std::fs::read(exam.path().join("audio/0001.wav")).unwrap();
    let cut = &kept[..kept.len() - 32_001];
    let samples = n_samples(cut).unwrap();
    assert_eq!(samples, 12 * 16_000 - 16_001);
    let mark = Mark { from: 5, length: 7, label: "a".to_owned(), note: String::new() };
    assert_eq!(n_samples(&marked(cut, &[mark]).unwrap()).unwrap(), samples);
}
