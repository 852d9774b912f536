//! From the end of speech to the journal line and to the tone, with a live microphone.
//!
//! PulseAudio's null sink is microphone and loudspeaker at once, so the kept audio holds both what was said and the tone
//! that followed: their distance is read from the samples. When a line appears in the journal is seen from outside; the
//! end of speech becomes an instant through the exam's own clock anchor. Run alone: `cargo bench --bench latency`;
//! `-- --watch --load 4` follows a folder meanwhile, beside four programs that do nothing but compute.
// A bench prints what it measured.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used)]
#![allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)]

#[path = "../tests/support/mod.rs"]
mod support;

use std::time::{Duration, Instant};

use chrono::{DateTime, Utc};
use serde_json::Value;
use support::sound::{Sound, journal, spoken};

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
const QUESTIONS: [&str; 3] = ["where am i", "what is left", "read back"];
/// Between two phrases; a spoken answer must be over before the next.
const BETWEEN: Duration = Duration::from_millis(700);
const BETWEEN_ANSWERED: Duration = Duration::from_secs(9);
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

/// One exam, heard live: its sound, and when the line of each utterance was seen.
struct Listened {
    looks: Vec<f64>,
    seen: Vec<(Value, DateTime<Utc>)>,
    anchors: Vec<Value>,
}

/// Says the phrases one after the other, each as soon as the line of the one before is there.
fn listen<'a>(ways: &[&str], between: Duration, phrases: impl Iterator<Item = &'a str>) -> Listened {
    let sound = Sound::start();
    let exam = sound.path().join("exam");
    let folder = exam.to_string_lossy();
    let scanner = sound.path().join("scanner");
    std::fs::create_dir(&scanner).unwrap();
    let watched = scanner.to_string_lossy();
    let watches = std::env::args().any(|arg| arg == "--watch");
    let watch: &[&str] = if watches { &["--watch", watched.as_ref()] } else { &[] };
    let mut listening =
        sound.zonecall(&[&["listen", "--into", folder.as_ref(), "--ear", "neural"], ways, watch].concat());
    listening.has_begun(&exam, "audio/0001.wav");
    // A room is never silent, and the noise in it does not begin with the speech.
    let room = sound.path().join("room.wav");
    write_noise(&room);
    let mut playing_room = sound.command("paplay", &[&room.to_string_lossy()]).spawn().unwrap();
    std::thread::sleep(Duration::from_secs(3));
    let mut seen: Vec<(Value, DateTime<Utc>)> = Vec::new();
    for text in phrases {
        let wav = sound.path().join("said.wav");
        spoken(text, &wav);
        let mut playing = sound.command("paplay", &[&wav.to_string_lossy()]).spawn().unwrap();
        let since = Instant::now();
        while since.elapsed() < Duration::from_secs(15) {
            // What it hears of its own voice is ignored.
            let is_said = |line: &Value| line["kind"] == "heard" && line["body"]["outcome"] != "ignored";
            let heard: Vec<_> = journal(&exam).into_iter().filter(is_said).collect();
            if heard.len() > seen.len() {
                seen.push((heard[seen.len()].clone(), Utc::now()));
                break;
            }
            std::thread::sleep(Duration::from_millis(2));
        }
        playing.wait().unwrap();
        std::thread::sleep(between);
    }
    assert!(listening.signal("INT").status.success());
    playing_room.kill().unwrap();
    playing_room.wait().unwrap();
    let mut wav = hound::WavReader::open(exam.join("audio/0001.wav")).unwrap();
    let samples: Vec<i16> = wav.samples::<i16>().map(Result::unwrap).collect();
    let anchors = journal(&exam).into_iter().filter(|line| line["kind"] == "anchor").collect();
    Listened { looks: loudness(&samples), seen, anchors }
}

impl Listened {
    /// The instant of a sample.
    fn instant(&self, sample: usize) -> DateTime<Utc> {
        let is_before = |line: &&Value| line["body"]["sample"].as_u64().unwrap() <= sample as u64;
        let before = self.anchors.iter().rfind(is_before).unwrap();
        let wall: DateTime<Utc> = before["body"]["wall"].as_str().unwrap().parse().unwrap();
        let after = (sample as u64 - before["body"]["sample"].as_u64().unwrap()) as f64 / RATE;
        wall + chrono::TimeDelta::microseconds((after * 1e6) as i64)
    }

    /// For each utterance that was understood, milliseconds from the end of speech to the line and to the next sound.
    fn waits_ms(&self) -> (Vec<f64>, Vec<f64>) {
        let (mut lines, mut sounds) = (Vec::new(), Vec::new());
        for (heard, at) in &self.seen {
            let look = |end: &str| heard["body"]["span"][end].as_u64().unwrap() as usize / LOOK;
            let (from, to) = (look("from"), look("to").min(self.looks.len()));
            // The last loud look of the utterance is the end of speech; the next loud one after the utterance is the answer.
            let Some(end) = (from..to).rfind(|look| self.looks[*look] > LOUD) else { continue };
            lines.push((*at - self.instant((end + 1) * LOOK)).num_microseconds().unwrap() as f64 / 1000.0);
            if heard["body"]["outcome"] == "calls"
                && let Some(answer) = (to..self.looks.len()).find(|look| self.looks[*look] > LOUD)
            {
                sounds.push((answer - end) as f64 * LOOK as f64 / RATE * 1000.0);
            }
        }
        (lines, sounds)
    }
}

/// Programs that compute until this is dropped.
struct Load(Vec<std::process::Child>);

impl Load {
    fn start() -> Load {
        let args: Vec<String> = std::env::args().collect();
        let number = args.iter().position(|arg| arg == "--load").map(|at| args[at + 1].parse().unwrap());
        let busy = |_| std::process::Command::new("sh").args(["-c", "while :; do :; done"]).spawn().unwrap();
        Load((0..number.unwrap_or(0)).map(busy).collect())
    }
}

impl Drop for Load {
    fn drop(&mut self) {
        for busy in &mut self.0 {
            let _ = busy.kill();
            let _ = busy.wait();
        }
    }
}

fn main() {
    let _load = Load::start();
    let phrases = PHRASES.into_iter().cycle().take(PHRASES.len() * ROUNDS);
    let (lines, tones) = listen(&["--voice", "off"], BETWEEN, phrases).waits_ms();
    let first = ["left fore zone two alpha transverse"];
    let asked = first.into_iter().chain(QUESTIONS.into_iter().cycle().take(9));
    let mut questions = listen(&["--tones", "off"], BETWEEN_ANSWERED, asked);
    // The call that there is something to ask about is not answered.
    questions.seen.remove(0);
    let (_, answers) = questions.waits_ms();
    println!("from the end of speech, milliseconds, neural ear");
    println!("{:<24} {:>6} {:>8} {:>8} {:>8}   wanted at most", "", "n", "median", "95 %", "worst");
    let rows = [
        ("to the journal line", &lines, "350 and 600"),
        ("to the tone's begin", &tones, "350 and 600"),
        ("to a spoken answer", &answers, "1000"),
    ];
    for (what, values, wanted) in rows {
        let [median, most, worst] = [0.5, 0.95, 1.0].map(|share| quantile(values, share));
        println!("{what:<24} {:>6} {median:>8.0} {most:>8.0} {worst:>8.0}   {wanted}", values.len());
    }
}
