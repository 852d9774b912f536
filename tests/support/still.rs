//! A small exam with sound and one still, for the tests of the review desk.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use chrono::{DateTime, Utc};
use zonecall::clock::Sample;
use zonecall::exam::event::{AudioFile, Event, Frame};
use zonecall::exam::journal;

use crate::support;

const SAID: [(f64, &str); 6] = [
    (2.0, "left fore zone two bravo transverse"),
    (6.0, "superficial flexor"),
    (8.0, "area ninety square millimetres"),
    (10.0, "save"),
    (16.0, "colourless green ideas"),
    (20.0, "end of exam"),
];

/// An exam of a few utterances, with twelve seconds of a rising tone as its sound and one still of known greys.
pub fn folder() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &SAID);
    std::fs::create_dir(folder.path().join("audio")).unwrap();
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(folder.path().join("audio/0001.wav"), spec).unwrap();
    for second in 0..12_i16 {
        for _ in 0..16_000 {
            wav.write_sample(second * 1000).unwrap();
        }
    }
    wav.finalize().unwrap();
    std::fs::write(folder.path().join("still.png"), picture()).unwrap();
    let mut journal = journal::Journal::open(folder.path()).unwrap();
    let at = support::header().started_at;
    let file = "audio/0001.wav".to_owned();
    let audio = AudioFile { file, first_sample: Sample::FIRST, source: "test".to_owned() };
    journal.append(at, Sample::FIRST, &Event::Audio(audio)).unwrap();
    journal.append(at, Sample::FIRST, &Event::Frame(Box::new(frame("2.25.7")))).unwrap();
    folder
}

/// The file of the still.
fn picture() -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    let picture = image::GrayImage::from_fn(200, 100, |x, _| image::Luma([x as u8]));
    picture.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
    bytes.into_inner()
}

/// A still that was saved when the exam began.
pub fn frame(id: &str) -> Frame {
    Frame {
        file: "still.png".to_owned(),
        sha256: support::sha256(&picture()),
        time_source: "file time".to_owned(),
        size_px: Some((200, 100)),
        ..saved(id, support::header().started_at)
    }
}

/// A still that states when it was saved, and nothing else.
pub fn saved(id: &str, saved_at: DateTime<Utc>) -> Frame {
    Frame {
        id: id.to_owned(),
        file: format!("{id}.dcm"),
        sha256: "0".repeat(64),
        saved_at,
        resolution_s: 1.0,
        time_source: "AcquisitionDateTime".to_owned(),
        zone_assumed: false,
        instance_number: None,
        size_px: None,
        patient: None,
        animal: None,
        stated_site: None,
        pixels_sha256: None,
        study: None,
        also_in: Vec::new(),
        content_at: None,
        scanner: None,
        problems: Vec::new(),
    }
}
