//! From the end of speech to the journal line and to the tone, with a live microphone.
//!
//! PulseAudio's null sink is microphone and loudspeaker at once, so the kept audio holds both what was said and the tone
//! that followed: their distance is read from the samples. When a line appears in the journal is seen from outside; the
//! end of speech becomes an instant through the exam's own clock anchor. Run alone: `cargo bench --bench latency`.
// A bench prints what it measured.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)]

#[path = "../tests/support/sound.rs"]
mod sound;

use std::time::{Duration, Instant};

use chrono::{DateTime, Utc};
use sound::{Sound, journal, spoken};

const PHRASES: [&str; 10] = [
    "left fore zone one alpha transverse",
    "superficial flexor normal",
    "save",
    "longitudinal",
    "save",
    "zone one bravo",
    "deep flexor normal",
    "echo score two",
    "save",
    "where am i",
];
const ROUNDS: usize = 3;
/// What is wanted, in milliseconds: half of the lines, and 95 of a hundred.
const WANTED_MS: (f64, f64) = (350.0, 600.0);
const RATE: f64 = 16_000.0;
/// A look at the sound: 5 ms.
const LOOK: usize = 80;
/// The synthetic speaker is far louder than this, the hiss between the phrases far quieter.
const LOUD: f64 = 300.0;

/// Root mean square of each look.
fn loudness(samples: &[i16]) -> Vec<f64> {
    let rms = |look: &[i16]| (look.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / LOOK as f64).sqrt();
    samples.chunks_exact(LOOK).map(rms).collect()
}

/// Five minutes of faint white noise, 60 dB below full scale.
fn write_noise(path: &std::path::Path) {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    let mut state = 7_u32;
    for _ in 0..300 * 16_000 {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        writer.write_sample(i16::try_from(state >> 25).unwrap() - 64).unwrap();
    }
    writer.finalize().unwrap();
}

fn quantile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[((sorted.len() - 1) as f64 * share).round() as usize]
}

fn main() {
    let sound = Sound::start();
    let exam = sound.path().join("exam");
    let folder = exam.to_string_lossy();
    let mut listening = sound.zonecall(&["listen", "--into", &folder, "--ear", "neural", "--voice", "off"]);
    listening.has_begun(&exam, "audio/0001.wav");
    // A room is never silent, and the noise in it does not begin with the speech.
    let room = sound.path().join("room.wav");
    write_noise(&room);
    let mut playing_room = sound.command("paplay", &[&room.to_string_lossy()]).spawn().unwrap();
    std::thread::sleep(Duration::from_secs(3));
    // When each breath's line was seen, by its place among the breaths.
    let mut seen: Vec<(serde_json::Value, DateTime<Utc>)> = Vec::new();
    for text in PHRASES.iter().cycle().take(PHRASES.len() * ROUNDS) {
        let wav = sound.path().join("said.wav");
        spoken(text, &wav);
        let mut playing = sound.command("paplay", &[&wav.to_string_lossy()]).spawn().unwrap();
        let since = Instant::now();
        while since.elapsed() < Duration::from_secs(15) {
            let heard: Vec<_> = journal(&exam).into_iter().filter(|line| line["kind"] == "heard").collect();
            if heard.len() > seen.len() {
                seen.push((heard[seen.len()].clone(), Utc::now()));
                break;
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        playing.wait().unwrap();
        std::thread::sleep(Duration::from_millis(700));
    }
    assert!(listening.signal("INT").status.success());
    playing_room.kill().unwrap();
    playing_room.wait().unwrap();
    let mut wav = hound::WavReader::open(exam.join("audio/0001.wav")).unwrap();
    let samples: Vec<i16> = wav.samples::<i16>().map(Result::unwrap).collect();
    let looks = loudness(&samples);
    let anchors: Vec<_> = journal(&exam).into_iter().filter(|line| line["kind"] == "anchor").collect();
    let instant = |sample: usize| {
        let before =
            anchors.iter().rfind(|line| line["body"]["sample"].as_u64().unwrap() <= sample as u64).unwrap();
        let wall: DateTime<Utc> = before["body"]["wall"].as_str().unwrap().parse().unwrap();
        let after = (sample as u64 - before["body"]["sample"].as_u64().unwrap()) as f64 / RATE;
        wall + chrono::TimeDelta::microseconds((after * 1e6) as i64)
    };
    let (mut lines_ms, mut tones_ms) = (Vec::new(), Vec::new());
    for (heard, at) in &seen {
        let (from, to) =
            (heard["body"]["span"]["from"].as_u64().unwrap(), heard["body"]["span"]["to"].as_u64().unwrap());
        let (from, to) = (from as usize / LOOK, to as usize / LOOK);
        // The last loud look of the breath is the end of speech; the next loud one after the breath is the tone.
        let Some(end) = (from..to.min(looks.len())).rfind(|look| looks[*look] > LOUD) else { continue };
        lines_ms.push((*at - instant((end + 1) * LOOK)).num_microseconds().unwrap() as f64 / 1000.0);
        if heard["body"]["outcome"] == "calls"
            && let Some(tone) = (to..looks.len()).find(|look| looks[*look] > LOUD)
        {
            tones_ms.push((tone - end) as f64 * LOOK as f64 / RATE * 1000.0);
        }
    }
    println!("from the end of speech, milliseconds, {} breaths, neural ear", lines_ms.len());
    println!(
        "{:<24} {:>8} {:>8}   wanted at most {:.0} and {:.0}",
        "", "median", "95 %", WANTED_MS.0, WANTED_MS.1
    );
    for (what, values) in [("to the journal line", &lines_ms), ("to the tone's begin", &tones_ms)] {
        println!("{what:<24} {:>8.0} {:>8.0}", quantile(values, 0.5), quantile(values, 0.95));
    }
}
