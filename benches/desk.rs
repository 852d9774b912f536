//! How fast the review desk opens an exam of 400 stills and three hours of sound, the first time and later, and how
//! smoothly it scrolls in a browser, beside what the disk and one picture take by themselves.
//! Run with `cargo bench --bench desk`.
// A bench prints what it measured.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation)]

#[path = "../tests/support/mod.rs"]
mod support;

use std::path::Path;
use std::time::Instant;

use chrono::TimeDelta;
use zonecall::clock::Sample;
use zonecall::exam::event::{AudioFile, Event, Frame};

use support::browser::{Driver, Page};
use support::desk::Served;

const STILLS: usize = 400;
const HOURS: u64 = 3;
const RATE_HZ: u64 = 16_000;
/// Seconds from one call to the next: a move and a save for each still.
const EVERY_S: f64 = HOURS as f64 * 3600.0 / (STILLS as f64 * 2.0);

fn picture(seed: u32) -> image::GrayImage {
    let mut state = seed.wrapping_mul(2_654_435_761) | 1;
    image::GrayImage::from_fn(800, 600, |_, _| {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        image::Luma([(state >> 24) as u8])
    })
}

/// The exam: every still called and saved, three hours of a quiet tone.
fn exam(folder: &Path) {
    let words = |idx: usize| match idx % 2 {
        0 => ["left fore zone two bravo transverse", "zone three alpha", "right fore zone one bravo"]
            [idx / 2 % 3],
        _ => "save",
    };
    let heard = (0..STILLS * 2).map(|idx| support::utterance(2.0 + idx as f64 * EVERY_S, words(idx)));
    let mut journal = support::write_heard(folder, heard);
    let start = support::header().started_at;
    std::fs::create_dir(folder.join("audio")).unwrap();
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: RATE_HZ as u32,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut wav = hound::WavWriter::create(folder.join("audio/0001.wav"), spec).unwrap();
    for sample in 0..HOURS * 3600 * RATE_HZ {
        wav.write_sample((sample * 37 % 2001) as i16 - 1000).unwrap();
    }
    wav.finalize().unwrap();
    let audio = AudioFile {
        file: "audio/0001.wav".to_owned(),
        first_sample: Sample::FIRST,
        source: "bench".to_owned(),
    };
    journal.append(start, Sample::FIRST, &Event::Audio(audio)).unwrap();
    for idx in 0..STILLS {
        let file = format!("{idx:04}.png");
        picture(idx as u32).save(folder.join(&file)).unwrap();
        let saved_s = 2.0 + (idx * 2 + 1) as f64 * EVERY_S;
        let saved_at = start + TimeDelta::milliseconds((saved_s * 1000.0) as i64);
        let frame = Frame {
            file,
            sha256: "a".repeat(64),
            time_source: "file time".to_owned(),
            size_px: Some((800, 600)),
            ..support::still::saved(&format!("2.25.{}", idx + 1), saved_at)
        };
        journal.append(start, Sample::FIRST, &Event::Frame(Box::new(frame))).unwrap();
    }
    let closed = Event::Closed { reason: "end of exam".to_owned().into(), samples: HOURS * 3600 * RATE_HZ };
    journal.append(start, Sample::FIRST, &closed).unwrap();
}

fn timed<T>(work: impl FnOnce() -> T) -> (f64, T) {
    let begun = Instant::now();
    let done = work();
    (begun.elapsed().as_secs_f64(), done)
}

/// Opens the desk as a browser does, and prints what each part took.
fn open(folder: &Path, which: &str) {
    let (start_s, served) = timed(|| Served::start(folder, 0));
    let cookie = served.cookie();
    let get = |path: &str| {
        let (status, _, body) = served.request(&format!("GET {path}"), &[served.host(), cookie.clone()], "");
        assert_eq!(status, 200, "{path}");
        body.len()
    };
    let (exam_s, bytes) = timed(|| get("/api/exam"));
    let (sound_s, _) = timed(|| get("/api/peaks"));
    let small = |count: usize| (0..count).map(|number| get(&format!("/api/thumb/{number}"))).sum::<usize>();
    let (first_s, _) = timed(|| small(24));
    let (all_s, _) = timed(|| small(STILLS));
    let usable_s = start_s + exam_s + first_s;
    println!("{which}: {usable_s:.2} s until exam and first 24 small pictures are there");
    println!(
        "    started {start_s:.2} s, exam {exam_s:.2} s ({} KiB), sound {sound_s:.2} s, 24 pictures {first_s:.2} s, all {all_s:.2} s",
        bytes / 1024
    );
}

/// Milliseconds between frames while something is scrolled over 240 frames: the middle one, that of the slowest
/// twentieth, and the slowest.
const FRAMES: &str = "const [what, by, done] = arguments; const part = document.querySelector(what) ?? document.scrollingElement;
    const horizontal = what === '#strip'; const took = []; let last = performance.now();
    const step = (now) => { took.push(now - last); last = now;
        if (horizontal) part.scrollLeft += by; else part.scrollTop += by;
        if (took.length < 240) { requestAnimationFrame(step); return; }
        const sorted = took.slice(2).sort((a, b) => a - b);
        done([sorted[Math.floor(sorted.length / 2)], sorted[Math.floor(sorted.length * 0.95)], sorted.at(-1)]); };
    requestAnimationFrame(step)";

async fn frames(page: &Page, what: &str, by: i32) -> String {
    let told = page.0.execute_async(FRAMES, vec![what.into(), by.into()]).await.unwrap();
    let ms: Vec<f64> = serde_json::from_value(told).unwrap();
    format!("{:.0}, {:.0} and {:.0} ms", ms[0], ms[1], ms[2])
}

/// Opens it in a real browser and scrolls: the times are the browser's own, from the moment the address was opened.
async fn in_browser(folder: &Path, which: &str) {
    let served = Served::start(folder, 0);
    let driver = Driver::start();
    let page = driver.browser().await;
    page.open(&served.address).await;
    page.until("performance.getEntriesByName('sound shown').length").await;
    let at = async |name: &str| {
        let mark = format!("return performance.getEntriesByName('{name}')[0].startTime / 1000");
        page.run(&mark).await.as_f64().unwrap()
    };
    let (exam_s, sound_s) = (at("exam shown").await, at("sound shown").await);
    println!(
        "{which}, in a browser: {exam_s:.2} s until the exam is shown, {sound_s:.2} s until the sound is drawn"
    );
    let next = "const from = performance.now(); document.querySelector('#bench').dispatchEvent(
        new KeyboardEvent('keydown', { key: 'j', bubbles: true })); return performance.now() - from";
    println!("    next question {:.0} ms", page.run(next).await.as_f64().unwrap());
    println!("    a frame while scrolling, middle, 95 of 100 and slowest:");
    println!("        the line {}", frames(&page, "#strip", 60).await);
    page.run("for (let idx = 0; idx < 20; idx += 1) document.querySelector('#line-out').click()").await;
    println!("        the line with all of it in view {}", frames(&page, "#strip", 4).await);
    page.run("document.querySelector('#stills').scrollIntoView()").await;
    println!("        the stills {}", frames(&page, "html", 40).await);
    page.run("document.querySelector('#calls').scrollIntoView()").await;
    println!("        the calls {}", frames(&page, "html", 40).await);
}

fn main() {
    let folder = tempfile::tempdir().unwrap();
    let (made_s, ()) = timed(|| exam(folder.path()));
    println!("an exam of {STILLS} stills and {HOURS} hours of sound, made in {made_s:.0} s");
    let (read_s, _) = timed(|| std::fs::read(folder.path().join("audio/0001.wav")).unwrap());
    let (decode_s, _) = timed(|| image::open(folder.path().join("0000.png")).unwrap().thumbnail(480, 480));
    println!(
        "reference: reading all of the sound once {read_s:.2} s, making one picture small {decode_s:.3} s"
    );
    open(folder.path(), "first time");
    open(folder.path(), "later");
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    // The cache is made anew, as at the very first opening.
    std::fs::remove_dir_all(folder.path().join(".cache")).unwrap();
    runtime.block_on(in_browser(folder.path(), "first time"));
    runtime.block_on(in_browser(folder.path(), "later"));
}
