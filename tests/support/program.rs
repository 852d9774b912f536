//! The built program and the demo's files, as the tests use them from outside.
#![allow(
    dead_code,
    unreachable_pub,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::cast_possible_truncation
)] // each binary uses its part

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::atomic::{AtomicU16, Ordering};

/// When the demo's recordings are said to begin.
pub const START: &str = "2026-05-04T10:00:00+02:00";

/// Runs the program to its end.
pub fn zonecall(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_zonecall")).args(args).output().expect("the program starts")
}

/// A port for another program to listen on: each call gives another one, from below those that a system hands out for
/// outgoing connections (32768 to 60999 here), so that none is taken between the look and its use.
pub fn free_port() -> u16 {
    static NEXT: AtomicU16 = AtomicU16::new(0);
    let first = 20_000 + u16::try_from(std::process::id() % 100).unwrap() * 100;
    let free = |port: &u16| std::net::TcpListener::bind(("127.0.0.1", *port)).is_ok();
    std::iter::repeat_with(|| first + NEXT.fetch_add(1, Ordering::Relaxed)).find(free).unwrap()
}

/// A file of the demo.
pub fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-audio").join(file)
}

/// The maker of the demo's stills.
pub fn demo_stills() -> Command {
    Command::new(env!("CARGO_BIN_EXE_demo_stills"))
}

/// Hears one scripted utterance into `exam` in `folder`, where the settings are looked for, too.
pub fn hear(folder: &Path, words: &str, more: &[&str]) -> Output {
    let file = |name: &str| folder.join(name).to_string_lossy().into_owned();
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut sound = hound::WavWriter::create(file("sound.wav"), spec).unwrap();
    for idx in 0..48_000_i32 {
        // A loud stretch between two quiet ones.
        let loud = (16_000..32_000).contains(&idx);
        let level = if loud { 6000 } else { 3 };
        sound.write_sample(if idx % 80 < 40 { level } else { -level } as i16).unwrap();
    }
    sound.finalize().unwrap();
    let parts: Vec<&str> = words.split(' ').collect();
    let step = 16_000 / parts.len();
    let said: Vec<serde_json::Value> = parts
        .iter()
        .enumerate()
        .map(|(idx, text)| {
            let from = 16_000 + idx * step;
            serde_json::json!({"text": text, "span": {"from": from, "to": from + step}, "confidence": 0.97})
        })
        .collect();
    let line = serde_json::json!({
        "span": {"from": 16_000, "to": 32_000}, "words": said, "confidence": 0.97, "score": 0.0,
        "rejected": false, "level_dbfs": -25.0, "clipped": 0.0,
    });
    std::fs::write(file("script.jsonl"), format!("{line}\n")).unwrap();
    let (sound, script, exam) = (file("sound.wav"), file("script.jsonl"), file("exam"));
    Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .args(["hear", &sound, "--into", &exam, "--started-at", START])
        .args(["--ear", "scripted", "--script", &script])
        .args(more)
        .env("ZONECALL_SETTINGS", folder.join("zonecall.toml"))
        .output()
        .unwrap()
}
