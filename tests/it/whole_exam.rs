//! A whole exam of both fore limbs, from sound to labels: twelve minutes, 36 stills, a scanner 412 s ahead.
//!
//! Heard at once from a script of its words; a live microphone has its own tests in `tests/sound/`.
use crate::support;

use std::path::Path;

use support::program::{START, demo_stills, zonecall};

const RATE: usize = 16_000;
/// Seconds of one view: its call, two findings, a save.
const VIEW_S: f64 = 19.5;
const ZONES: [(&str, &str); 7] = [
    ("1A", "one alpha"),
    ("1B", "one bravo"),
    ("2A", "two alpha"),
    ("2B", "two bravo"),
    ("3A", "three alpha"),
    ("3B", "three bravo"),
    ("3C", "three charlie"),
];
const LIMBS: [(&str, &str); 2] = [("LF", "left fore"), ("RF", "right fore")];
const PLANES: [(&str, &str); 2] = [("T", "transverse"), ("L", "longitudinal")];
/// Views that are scanned once more on each limb.
const AGAIN: usize = 4;

/// What is said, and the second at which it begins.
struct Script(Vec<(f64, String)>);

/// A still: the second at which the button is pressed, and what it shows.
type Still = (f64, String);

fn script() -> (Script, Vec<Still>) {
    let (mut said, mut stills) = (Vec::new(), Vec::new());
    let mut at_s = 2.0;
    for (limb, limb_words) in LIMBS {
        said.push((at_s, limb_words.to_owned()));
        at_s += 3.0;
        let views = ZONES.iter().flat_map(|zone| PLANES.iter().map(move |plane| (zone, plane)));
        let views: Vec<_> = views.collect();
        for (idx, (zone, plane)) in views.iter().chain(&views[..AGAIN]).enumerate() {
            said.push((at_s, format!("zone {} {}", zone.1, plane.1)));
            said.push((at_s + 4.5, "superficial flexor normal".to_owned()));
            if idx % 5 == 0 {
                said.push((at_s + 8.0, "good boy".to_owned()));
            }
            // People are not clocks: no two saves lie equally far apart.
            let save_s = at_s + 11.0 + 0.37 * (idx * 7 % 9) as f64;
            said.push((save_s, "save".to_owned()));
            stills.push((save_s + 0.9, format!("{limb} {} {}", zone.0, plane.0)));
            at_s += VIEW_S;
        }
    }
    said.push((at_s, "end of exam".to_owned()));
    (Script(said), stills)
}

impl Script {
    /// The words with their samples, as the scripted ear reads them, and sound that is loud where they are.
    fn write(&self, folder: &Path) {
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: 16_000,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut sound = hound::WavWriter::create(folder.join("exam.wav"), spec).unwrap();
        let (mut lines, mut written) = (String::new(), 0);
        let mut until = |sound: &mut hound::WavWriter<_>, to: usize, loud: bool| {
            for idx in written..to {
                let level: i16 = if loud { 6000 } else { 3 };
                sound.write_sample(if idx % 80 < 40 { level } else { -level }).unwrap();
            }
            written = written.max(to);
        };
        for (at_s, text) in &self.0 {
            let from = (at_s * RATE as f64) as usize;
            let words: Vec<&str> = text.split(' ').collect();
            let to = from + words.len() * RATE * 2 / 5;
            until(&mut sound, from, false);
            until(&mut sound, to, true);
            let word = |(idx, text): (usize, &&str)| {
                let begin = from + idx * RATE * 2 / 5;
                serde_json::json!({"text": text, "span": {"from": begin, "to": begin + RATE / 3}, "confidence": 0.97})
            };
            let line = serde_json::json!({
                "span": {"from": from, "to": to}, "words": words.iter().enumerate().map(word).collect::<Vec<_>>(),
                "confidence": 0.97, "score": 0.0, "rejected": false, "level_dbfs": -25.0, "clipped": 0.0,
            });
            lines += &format!("{line}\n");
        }
        until(&mut sound, written_to(&self.0), false);
        sound.finalize().unwrap();
        std::fs::write(folder.join("script.jsonl"), lines).unwrap();
    }
}

/// Two seconds after the last word.
fn written_to(said: &[(f64, String)]) -> usize {
    said.last().map_or(0, |(at_s, _)| ((at_s + 4.0) * RATE as f64) as usize)
}

#[test]
fn of_a_whole_exam_every_call_is_in_the_journal_and_every_label_is_right() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).to_string_lossy().into_owned();
    let (script, stills) = script();
    assert_eq!(stills.len(), 36);
    assert!((700.0..740.0).contains(&script.0.last().unwrap().0), "twelve minutes");
    script.write(folder.path());
    let rows: String = stills.iter().map(|(at_s, label)| format!("{at_s},{label},,,Juniper\n")).collect();
    std::fs::write(at("stills.csv"), format!("exam_s,label,area_cm2,lesion_cm2,horse\n{rows}")).unwrap();
    let made = demo_stills()
        .args([at("stills.csv"), at("scanner"), START.to_owned()])
        .args(["412", "30", "whole"])
        .status();
    assert!(made.unwrap().success());

    let (sound, exam, words) = (at("exam.wav"), at("exam"), at("script.jsonl"));
    let heard = zonecall(&[
        "hear",
        &sound,
        "--into",
        &exam,
        "--started-at",
        START,
        "--ear",
        "scripted",
        "--script",
        &words,
        "--horse",
        "Juniper",
    ]);
    assert!(heard.status.success(), "{}", String::from_utf8_lossy(&heard.stderr));
    zonecall(&["pair", &exam, "--frames", &at("scanner")]);
    let done = zonecall(&["export", &exam, "--as", "json"]);
    let record: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();

    let calls: Vec<&str> =
        record["calls"].as_array().unwrap().iter().map(|call| call["words"].as_str().unwrap()).collect();
    let wanted: usize = script.0.iter().map(|(_, text)| calls_in(text)).sum();
    assert_eq!(calls.len(), wanted, "{calls:?}");
    assert!(
        record["calls"].as_array().unwrap().iter().all(|call| call["kind"] != "unknown"),
        "all was understood"
    );

    let frames = record["frames"].as_array().unwrap();
    assert_eq!(frames.len(), stills.len());
    for (frame, (_, label)) in frames.iter().zip(&stills) {
        let part = |name: &str| frame[name].as_str().unwrap_or("-").to_owned();
        assert_eq!([part("limb"), part("zone"), part("plane")].join(" "), *label, "{frame}");
        assert_eq!(frame["status"], "spoken", "{frame}");
        let doubt = frame.get("doubt").and_then(|doubt| doubt.as_array()).map_or(0, Vec::len);
        assert_eq!(doubt, 0, "{frame}");
    }
    let verified = zonecall(&["journal", &exam, "--verify"]);
    assert!(verified.status.success());
}

/// Calls that a phrase of the script makes: talk makes none, a structure with a finding makes two.
fn calls_in(text: &str) -> usize {
    match text {
        "good boy" => 0,
        "superficial flexor normal" => 2,
        _ => 1,
    }
}
