//! From sound to words: recordings opened and kept, utterances cut, the real engine on synthetic speech.
//!
//! The speech is made here by `flite` (set-up installs it); the tests fail where it is missing.
use crate::support;
use crate::support::speech;

use std::io::Write;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use speech::{SECOND, all, room, spoken};
use zonecall::clock::{Sample, Span};
use zonecall::language::pack::Pack;
use zonecall::language::word_states::Moment;
use zonecall::speech::dictionary::default_model_dir;
use zonecall::speech::endpoint::Endpointer;
use zonecall::speech::keep::{KeepError, Keeper};
use zonecall::speech::recognise::{EngineError, Recogniser};
use zonecall::speech::recording;
use zonecall::speech::scripted::Scripted;
use zonecall::speech::silence::{KeptSound, look};
use zonecall::speech::sphinx::Sphinx;
use zonecall::speech::utterance::{Utterance, UtteranceAudio};

/// A sine of `hz` at half of full scale, `seconds` long.
pub(crate) fn tone(hz: f64, rate_hz: u32, seconds: f64) -> Vec<f64> {
    let n = (f64::from(rate_hz) * seconds) as usize;
    (0..n).map(|i| 0.5 * (i as f64 * hz * std::f64::consts::TAU / f64::from(rate_hz)).sin()).collect()
}

fn rms(samples: &[i16]) -> f64 {
    (samples.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / samples.len() as f64).sqrt() / 32_768.0
}

fn utterances(samples: &[i16]) -> Vec<UtteranceAudio> {
    let mut endpointer = Endpointer::new(Sample::FIRST);
    let mut found: Vec<UtteranceAudio> =
        samples.chunks(1_000).flat_map(|block| endpointer.take(block)).collect();
    found.extend(endpointer.finish());
    found
}

pub(crate) fn write_wav(path: &Path, spec: hound::WavSpec, samples: &[f64]) {
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    for sample in samples {
        for _ in 0..spec.channels {
            if spec.sample_format == hound::SampleFormat::Float {
                writer.write_sample(*sample as f32).unwrap();
            } else {
                let full = (1_u64 << (spec.bits_per_sample - 1)) as f64;
                writer.write_sample((sample * full) as i32).unwrap();
            }
        }
    }
    writer.finalize().unwrap();
}

/// A FLAC stream of uncompressed 16 bit mono frames (RFC 9639: STREAMINFO, verbatim subframes, both checksums).
fn flac(samples: &[i16], rate_hz: u64) -> Vec<u8> {
    let crc = |bytes: &[u8], poly: u32, bits: u32| {
        bytes.iter().fold(0_u32, |crc, byte| {
            (0..8).fold(crc ^ (u32::from(*byte) << (bits - 8)), |crc, _| {
                let shifted = crc << 1;
                (if crc >> (bits - 1) & 1 == 1 { shifted ^ poly } else { shifted }) & ((1 << bits) - 1)
            })
        })
    };
    let mut out = b"fLaC\x80\0\0\x22\x10\0\x10\0\0\0\0\0\0\0".to_vec();
    out.extend((rate_hz << 44 | 15 << 36 | samples.len() as u64).to_be_bytes());
    out.extend([0; 16]);
    for (number, block) in samples.chunks(4_096).enumerate() {
        let mut frame = vec![0xFF, 0xF8, 0x70, 0x08, u8::try_from(number).unwrap()];
        frame.extend((block.len() as u16 - 1).to_be_bytes());
        frame.push(crc(&frame, 0x07, 8) as u8);
        frame.push(0x02);
        frame.extend(block.iter().flat_map(|sample| sample.to_be_bytes()));
        let check = crc(&frame, 0x8005, 16) as u16;
        frame.extend(check.to_be_bytes());
        out.extend(frame);
    }
    out
}

#[test]
fn every_usual_wav_is_heard_at_the_same_length_and_loudness() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tone.wav");
    let shapes = [(8, false), (16, false), (24, false), (32, false), (32, true)];
    for (bits_per_sample, float) in shapes {
        for sample_rate in [8_000, 16_000, 22_050, 44_100, 48_000, 96_000] {
            for channels in [1, 2] {
                let sample_format = if float { hound::SampleFormat::Float } else { hound::SampleFormat::Int };
                let spec = hound::WavSpec { channels, sample_rate, bits_per_sample, sample_format };
                write_wav(&path, spec, &tone(440.0, sample_rate, 0.5));
                let recording = recording::open(&path).unwrap();
                let stated = recording.total_samples().unwrap();
                let samples = all(recording);
                assert_eq!(samples.len() as u64, stated, "{spec:?}");
                assert_eq!(samples.len(), SECOND / 2, "{spec:?}");
                let level = rms(&samples);
                assert!((level - 0.5 / 2_f64.sqrt()).abs() < 0.01, "{spec:?}: {level}");
            }
        }
    }
}

#[test]
fn a_change_of_rate_does_not_move_a_click_in_time() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("click.wav");
    let (channels, bits_per_sample, sample_format) = (1, 16, hound::SampleFormat::Int);
    let spec = hound::WavSpec { channels, sample_rate: 48_000, bits_per_sample, sample_format };
    let mut click = vec![0.0; 48_000];
    click[24_000..24_003].fill(0.9);
    write_wav(&path, spec, &click);
    let samples = all(recording::open(&path).unwrap());
    let peak = (0..samples.len()).max_by_key(|at| samples[*at].unsigned_abs()).unwrap();
    assert!(peak.abs_diff(8_000) <= 2, "the click came out at {peak}, wanted 8000");
}

#[test]
fn a_sound_too_high_for_16_khz_does_not_fold_into_speech() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("high.wav");
    let (channels, bits_per_sample, sample_format) = (1, 16, hound::SampleFormat::Int);
    let spec = hound::WavSpec { channels, sample_rate: 48_000, bits_per_sample, sample_format };
    write_wav(&path, spec, &tone(12_000.0, 48_000, 1.0));
    let samples = all(recording::open(&path).unwrap());
    let level = rms(&samples[1_000..15_000]);
    assert!(level < 0.001, "12 kHz came through at {level}");
}

#[test]
fn flac_gives_the_very_samples_that_went_in() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("speech.flac");
    let samples: Vec<i16> = (0..20_000).map(|i: i32| ((i * 7_919) % 60_000 - 30_000) as i16).collect();
    std::fs::write(&path, flac(&samples, 16_000)).unwrap();
    let recording = recording::open(&path).unwrap();
    assert_eq!(recording.total_samples(), Some(20_000));
    assert_eq!(all(recording), samples);
}

#[test]
fn raw_samples_pass_unchanged_and_half_a_sample_is_left_out() {
    let samples: Vec<i16> = vec![0, 1, -1, i16::MAX, i16::MIN, 12_345];
    let mut bytes: Vec<u8> = samples.iter().flat_map(|sample| sample.to_le_bytes()).collect();
    bytes.push(9);
    let recording = recording::raw(Path::new("-"), Box::new(std::io::Cursor::new(bytes)));
    assert_eq!(recording.total_samples(), None);
    assert_eq!(all(recording), samples);
}

#[test]
fn a_recording_cut_short_gives_what_it_holds_and_then_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("short.wav");
    let (channels, bits_per_sample, sample_format) = (1, 16, hound::SampleFormat::Int);
    let spec = hound::WavSpec { channels, sample_rate: 16_000, bits_per_sample, sample_format };
    write_wav(&path, spec, &tone(440.0, 16_000, 1.0));
    let whole = std::fs::read(&path).unwrap();
    std::fs::write(&path, &whole[..whole.len() / 2]).unwrap();
    let mut recording = recording::open(&path).unwrap();
    let mut n = 0;
    let error = loop {
        match recording.next_block() {
            Ok(Some(block)) => n += block.len(),
            Ok(None) => panic!("the loss was passed over"),
            Err(error) => break error,
        }
    };
    assert_eq!(n, (whole.len() / 2 - 44) / 2);
    assert!(error.to_string().contains("short.wav"), "{error}");
    assert!(recording.next_block().unwrap().is_none(), "an error is told once");
}

#[test]
fn a_recording_in_another_format_is_refused_with_the_way_out() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("alaw.wav");
    let (channels, bits_per_sample, sample_format) = (1, 8, hound::SampleFormat::Int);
    let spec = hound::WavSpec { channels, sample_rate: 16_000, bits_per_sample, sample_format };
    write_wav(&path, spec, &tone(440.0, 16_000, 0.1));
    let mut bytes = std::fs::read(&path).unwrap();
    let format = bytes.windows(4).position(|four| four == b"fmt ").unwrap();
    // A-law, as RFC 2361 numbers it.
    bytes[format + 8..format + 10].copy_from_slice(&6_u16.to_le_bytes());
    std::fs::write(&path, &bytes).unwrap();
    let error = recording::open(&path).err().expect("refused").to_string();
    assert!(error.contains("alaw.wav") && error.contains("convert it to WAV with PCM samples"), "{error}");
}

#[test]
fn what_is_no_recording_is_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("letter.wav");
    for bytes in [&b"Dear colleague"[..], b"", b"RIFF", b"fLaC"] {
        std::fs::write(&path, bytes).unwrap();
        let error = recording::open(&path).err().expect("refused").to_string();
        assert!(error.contains("letter.wav"), "{error}");
    }
    let error = recording::open(&folder.path().join("none.wav")).err().expect("refused").to_string();
    assert!(error.contains("none.wav"), "{error}");
}

fn began() -> DateTime<Utc> {
    "2026-05-04T22:30:00.5Z".parse().unwrap()
}

#[test]
fn kept_audio_states_when_it_began_on_the_local_clock() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("0001.wav");
    let samples = room(2.5);
    let mut keeper = Keeper::create(&path, began(), 2 * 3_600).unwrap();
    keeper.write(&samples).unwrap();
    assert_eq!(keeper.n_samples(), samples.len() as u64);
    keeper.finalise().unwrap();

    let mut read = bwavfile::WaveReader::open(&path).unwrap();
    let bext = read.broadcast_extension().unwrap().unwrap();
    assert_eq!((bext.origination_date.as_str(), bext.origination_time.as_str()), ("2026-05-05", "00:30:00"));
    // Half past midnight and half a second, at 16,000 samples a second (EBU Tech 3285: samples since midnight).
    assert_eq!(bext.time_reference, 16_000 * 1_800 + 8_000);
    assert_eq!(bext.version, 1);
    assert_eq!(bext.originator_reference, "2026-05-05T00:30:00+02:00");
    assert_eq!(read.frame_length().unwrap(), samples.len() as u64);

    let recording = recording::open(&path).unwrap();
    assert_eq!(recording.started_at().unwrap().to_string(), "2026-05-05 00:30:00");
    assert_eq!(all(recording), samples);
}

#[test]
fn a_crash_loses_no_more_than_the_last_second() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("0001.wav");
    let samples = room(3.7);
    let mut keeper = Keeper::create(&path, began(), 0).unwrap();
    for block in samples.chunks(160) {
        keeper.write(block).unwrap();
    }
    std::mem::forget(keeper); // no destructor runs in a crash
    let kept = all(recording::open(&path).unwrap());
    assert!(kept.len() >= 3 * SECOND, "{}", kept.len());
    assert_eq!(kept, samples[..kept.len()]);
    let mut read = bwavfile::WaveReader::open(&path).unwrap();
    assert_eq!(read.frame_length().unwrap(), 3 * SECOND as u64);
}

fn kept(path: &Path, pieces: &[&[i16]]) {
    let mut keeper = Keeper::create(path, began(), 0).unwrap();
    pieces.iter().for_each(|piece| keeper.write(piece).unwrap());
    keeper.finalise().unwrap();
}

#[test]
fn twenty_seconds_of_zeros_are_found_to_the_sample_and_fewer_are_not() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("0001.wav");
    let (hum, dead, short) = (room(13.7), vec![0; 21 * SECOND], vec![0; 19 * SECOND]);
    kept(&path, &[&hum, &dead, &hum, &short, &hum, &dead]);
    let seen = look(&path).unwrap();
    let last = (3 * hum.len() + dead.len() + short.len()) as u64;
    // The hum itself may begin or end with a zero.
    let loud = |samples: &[i16]| samples.iter().rposition(|sample| *sample != 0).unwrap() as u64 + 1;
    let first_loud = hum.iter().position(|sample| *sample != 0).unwrap() as u64;
    let quiet = hum.len() as u64 - loud(&hum);
    let dead = dead.len() as u64;
    let first = Span { from: Sample(loud(&hum)), to: Sample(hum.len() as u64 + dead + first_loud) };
    assert_eq!(seen.silences, [first, Span { from: Sample(last - quiet), to: Sample(last + dead) }]);
    assert_eq!(seen.n_samples, last + dead);
}

#[test]
fn a_kept_file_that_was_cut_holds_what_is_there_and_not_what_its_head_says() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("0001.wav");
    kept(&path, &[&room(3.0)]);
    assert_eq!(look(&path).unwrap(), KeptSound { n_samples: 3 * SECOND as u64, silences: Vec::new() });
    let file = std::fs::OpenOptions::new().write(true).open(&path).unwrap();
    file.set_len(file.metadata().unwrap().len() - 2 * SECOND as u64).unwrap();
    assert_eq!(look(&path).unwrap().n_samples, 2 * SECOND as u64);
    assert!(look(&folder.path().join("none.wav")).is_err());
}

#[test]
fn kept_audio_is_never_written_over() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("0001.wav");
    std::fs::write(&path, "something").unwrap();
    let error = Keeper::create(&path, began(), 0).unwrap_err();
    assert!(matches!(&error, KeepError::Write { path: named, .. } if *named == path), "{error}");
    assert_eq!(std::fs::read_to_string(&path).unwrap(), "something");
}

#[test]
fn two_phrases_with_a_pause_are_two_utterances_and_silence_is_none() {
    let phrase = spoken("left fore zone two alpha transverse");
    let audio = [room(1.0), phrase.clone(), room(1.5), phrase.clone(), room(1.0)].concat();
    let found = utterances(&audio);
    assert_eq!(found.len(), 2, "{:?}", found.iter().map(|s| s.span.seconds()).collect::<Vec<_>>());
    for segment in &found {
        assert!(!segment.cut);
        let (from, to) = (segment.span.from.0 as usize, segment.span.to.0 as usize);
        assert_eq!(segment.samples, audio[from..to], "an utterance is the audio of its span");
    }
    assert!(utterances(&room(5.0)).is_empty());
}

#[test]
fn speech_without_a_pause_is_cut_and_nothing_is_dropped() {
    let phrase = spoken("superficial digital flexor tendon normal");
    let loud: Vec<i16> = phrase.iter().copied().filter(|sample| sample.unsigned_abs() > 50).collect();
    let audio: Vec<i16> = loud.iter().copied().cycle().take(40 * SECOND).collect();
    let found = utterances(&audio);
    assert!(found.len() >= 3, "{} utterances", found.len());
    for pair in found.windows(2).filter(|pair| pair[0].cut) {
        assert_eq!(pair[0].span.to, pair[1].span.from, "the next utterance goes on without a gap");
    }
    assert!(found.iter().all(|segment| segment.samples.len() <= 15 * SECOND + SECOND / 10));
    assert!(found[0].cut && !found.last().unwrap().cut);
    let n: usize = found.iter().map(|segment| segment.samples.len()).sum();
    assert!(n >= 40 * SECOND - SECOND / 2, "{n} samples of {}", 40 * SECOND);
}

#[test]
fn a_scripted_engine_gives_the_words_of_the_utterance_they_lie_in() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("words.jsonl");
    let said = [support::utterance(1.0, "left fore"), support::utterance(5.0, "save")];
    let lines: Vec<String> = said.iter().map(|one| serde_json::to_string(one).unwrap()).collect();
    std::fs::write(&path, lines.join("\n")).unwrap();
    let mut engine = Scripted::read(&path).unwrap();
    let mut hear = |from: u64, to: u64| {
        let span = Span { from: Sample(from * 16_000), to: Sample(to * 16_000) };
        let segment = UtteranceAudio { span, samples: vec![], level_dbfs: -20.0, clipped: 0.0, cut: false };
        engine.recognise(&segment).unwrap()
    };
    assert_eq!(hear(0, 3).text(), "left fore");
    assert!(hear(3, 5).rejected);
    assert_eq!(hear(4, 7).text(), "save");

    writeln!(std::fs::OpenOptions::new().append(true).open(&path).unwrap(), "\nnonsense").unwrap();
    let error = Scripted::read(&path).unwrap_err().to_string();
    assert!(error.contains("line 3") && error.contains("words.jsonl"), "{error}");
}

fn hear(engine: &mut Sphinx, text: &str) -> Vec<Utterance> {
    let audio = [room(0.8), spoken(text), room(0.8)].concat();
    utterances(&audio).iter().map(|segment| engine.recognise(segment).unwrap()).collect()
}

#[test]
fn commands_are_heard_word_for_word_and_talk_is_rejected() {
    let mut engine = Sphinx::load(&default_model_dir(), &support::BUILT_IN.0.engine).unwrap();
    let phrases = [
        "right fore zone two alpha transverse",
        "zone three bravo longitudinal",
        "superficial digital flexor tendon normal",
        "mild core lesion central",
        "echo score two",
    ];
    for phrase in phrases {
        let heard = hear(&mut engine, phrase);
        assert_eq!(heard.len(), 1, "{phrase}");
        assert_eq!(heard[0].text(), phrase);
        assert!(!heard[0].rejected, "{phrase}: {heard:?}");
        let words = &heard[0].words;
        assert!(words.windows(2).all(|pair| pair[0].span.to <= pair[1].span.from), "{words:?}");
        assert!(words.iter().all(|w| heard[0].span.from <= w.span.from && w.span.to <= heard[0].span.to));
        assert!(words.iter().all(|word| (0.0..=1.0).contains(&word.confidence)), "{words:?}");
    }
    let talk = ["I think we should ring the farrier tomorrow", "it looks like rain again"];
    for sentence in talk {
        assert!(hear(&mut engine, sentence).iter().all(|heard| heard.rejected), "{sentence}");
    }
}

#[test]
fn words_without_a_pronunciation_are_all_named_with_their_places() {
    let mut language = support::BUILT_IN.0.engine.core.as_deref().unwrap().clone();
    for (idx, text) in ["xyzzy", "plugh"].into_iter().enumerate() {
        let (text, file) = (text.to_owned(), PathBuf::from("grammars/en/exam.gram"));
        language.words.push(zonecall::language::engine::GrammarWord { text, file, line: 90 + idx });
    }
    let error = Sphinx::load(&default_model_dir(), &language).unwrap_err();
    assert!(matches!(&error, EngineError::Unpronounced { words } if words.len() == 2), "{error}");
    let text = error.to_string();
    assert!(text.contains("`xyzzy` (grammars/en/exam.gram:90)"), "{text}");
    assert!(text.contains("`plugh` (grammars/en/exam.gram:91)"), "{text}");
}

#[test]
fn a_zone_that_the_limb_in_force_lacks_is_not_heard() {
    let own = |codes: &[&str]| codes.iter().map(|code| (*code).to_owned()).collect();
    let zones =
        [("LF".to_owned(), own(&["3A", "3B", "3C"])), ("LH".to_owned(), own(&["4A", "4B", "4C"]))].into();
    let language = Pack::built_in().unwrap().for_zones(&zones);
    let mut engine = Sphinx::load(&default_model_dir(), &language.engine).unwrap();
    let zone = |heard: &[Utterance]| heard.iter().map(Utterance::text).collect::<Vec<_>>().join(" ");
    engine.follow(Moment { limb: Some("LH"), asked: false });
    assert_eq!(zone(&hear(&mut engine, "four charlie transverse")), "four charlie transverse");
    engine.follow(Moment { limb: Some("LF"), asked: false });
    assert!(!zone(&hear(&mut engine, "four charlie transverse")).contains("four charlie"));
    assert_eq!(zone(&hear(&mut engine, "left hind zone four charlie")), "left hind zone four charlie");
}
