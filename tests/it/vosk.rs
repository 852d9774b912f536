//! The Vosk ear on a real model: Korean speech becomes a labelled still, and what does not fit is named.
//!
//! The speech is espeak-ng's; its Korean voices are hard to understand, so the phrases are those that the model hears
//! from them. `README.md` has the figures.
use crate::support::program;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::process::Command;

use program::{START, demo_stills, zonecall};
use zonecall::clock::{Sample, Span};
use zonecall::exam::call::Act;
use zonecall::exam::parse::parse;
use zonecall::language::graph::WordGraph;
use zonecall::language::pack::{Language, Pack};
use zonecall::language::word_states::{Moment, WordStates as _};
use zonecall::protocol::Protocols;
use zonecall::speech::utterance::{Utterance, Word};
use zonecall::speech::vosk::VoskParts;

/// A clear voice for views and findings, and one for the saves: espeak-ng's variant and words a minute.
const VIEWS: (&str, &str) = ("ko+f2", "245");
const SAVES: (&str, &str) = ("ko+m1", "220");
/// Pause after each phrase, in seconds.
const PAUSE_S: u32 = 2;

fn grammar(language: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("grammars").join(language)
}

fn korean() -> (Language, Protocols) {
    let protocols = Protocols::built_in().unwrap();
    let schemes = protocols.choose(&[]).unwrap();
    let language = Pack::read(&grammar("ko")).unwrap().for_zones(&protocols.zones_by_limb(&schemes));
    (language, protocols)
}

/// Speaks the phrases into one recording; gives the second at which each ends.
fn speak(phrases: &[((&str, &str), &str)], file: &Path) -> Vec<f64> {
    let mut ends = Vec::new();
    let mut writer: Option<hound::WavWriter<_>> = None;
    for ((voice, speed), text) in phrases {
        let one = file.with_extension("one.wav");
        let spoke =
            Command::new("espeak-ng").args(["-v", voice, "-s", speed, "-w"]).arg(&one).arg(text).status();
        assert!(spoke.expect("espeak-ng is installed").success());
        let mut reader = hound::WavReader::open(&one).unwrap();
        let spec = reader.spec();
        let out = writer.get_or_insert_with(|| hound::WavWriter::create(file, spec).unwrap());
        let silence = |out: &mut hound::WavWriter<_>| {
            (0..PAUSE_S * spec.sample_rate).for_each(|_| out.write_sample(0_i16).unwrap());
        };
        if ends.is_empty() {
            silence(out);
        }
        reader.samples::<i16>().for_each(|sample| out.write_sample(sample.unwrap()).unwrap());
        ends.push(f64::from(out.duration()) / f64::from(spec.sample_rate));
        silence(out);
    }
    writer.unwrap().finalize().unwrap();
    ends
}

fn utterance(text: &str) -> Utterance {
    let span = Span { from: Sample::FIRST, to: Sample(16_000) };
    let words = text.split(' ').map(|text| Word { text: text.to_owned(), span, confidence: 1.0 }).collect();
    Utterance {
        span,
        words,
        confidence: 1.0,
        score: 0.0,
        rejected: false,
        unsure: false,
        rivals: Vec::new(),
        level_dbfs: -20.0,
        clipped: 0.0,
    }
}

#[test]
fn korean_speech_labels_the_stills_that_were_saved() {
    let folder = tempfile::tempdir().unwrap();
    let (audio, exam) = (folder.path().join("scan.wav"), folder.path().join("exam"));
    let phrases = [
        (VIEWS, "오른쪽 앞다리"),
        (VIEWS, "구역 삼 브라보"),
        (VIEWS, "횡단"),
        (VIEWS, "이상 없음"),
        (SAVES, "저장 완료"),
        (VIEWS, "왼쪽 뒷다리"),
        (VIEWS, "구역 삼 브라보"),
        (VIEWS, "횡단"),
        (VIEWS, "석회화"),
        (SAVES, "저장 완료"),
        (VIEWS, "오른쪽 뒷다리"),
        (VIEWS, "구역 삼 브라보"),
        (VIEWS, "횡단"),
        (SAVES, "저장 완료"),
        (VIEWS, "비대"),
        (SAVES, "저장 완료"),
    ];
    let saved = [(4, "RF 3B T"), (9, "LH 3B T"), (13, "RH 3B T"), (15, "RH 3B T")];
    let ends = speak(&phrases, &audio);
    let table = folder.path().join("stills.csv");
    let row =
        |(phrase, label): &(usize, &str)| format!("{:.2},{label},,,Somin,Jeju,F,\n", ends[*phrase] + 0.3);
    let rows: String = saved.iter().map(row).collect();
    std::fs::write(&table, format!("exam_s,label,area_cm2,lesion_cm2,horse,breed,sex,neutered\n{rows}"))
        .unwrap();
    let stills = folder.path().join("scanner");
    assert!(demo_stills().arg(&table).arg(&stills).args([START, "0", "0"]).status().unwrap().success());
    let at = |path: &Path| path.to_str().unwrap().to_owned();
    let ko = at(&grammar("ko"));
    let options = ["--into", &at(&exam), "--grammar", &ko, "--started-at", START];
    let heard = zonecall(&[&["hear", &at(&audio)], &options[..]].concat());
    assert!(heard.status.success(), "{}", String::from_utf8_lossy(&heard.stderr));
    let journal = std::fs::read_to_string(exam.join("exam.jsonl")).unwrap();
    let first = journal.lines().next().unwrap();
    assert!(first.contains(r#""name":"vosk""#) && first.contains(r#""language":"ko""#), "{first}");
    let paired = zonecall(&["pair", &at(&exam), "--frames", &at(&stills)]);
    assert_ne!(paired.status.code(), Some(2), "{}", String::from_utf8_lossy(&paired.stderr));
    let csv = zonecall(&["export", &at(&exam), "--as", "csv"]);
    let csv = String::from_utf8(csv.stdout).unwrap();
    let stills: Vec<Vec<&str>> =
        csv.lines().filter(|line| line.starts_with("still,")).map(|line| line.split(',').collect()).collect();
    assert_eq!(stills.len(), saved.len(), "{csv}");
    for (cells, (_, label)) in stills.iter().zip(saved) {
        assert_eq!(cells[1..4].join(" "), label, "{csv}");
    }
    for (limb, term) in [("RF", "normal"), ("LH", "mineralisation")] {
        let of = |line: &&str| line.starts_with(&format!("call,{limb},3B,T,")) && line.contains(term);
        assert_eq!(csv.lines().filter(of).count(), 1, "{limb} {term}\n{csv}");
    }
}

#[test]
fn the_words_heard_lie_within_their_utterance_one_after_the_other() {
    let folder = tempfile::tempdir().unwrap();
    let (audio, exam) = (folder.path().join("scan.wav"), folder.path().join("exam"));
    speak(&[(VIEWS, "구역 삼 브라보"), (VIEWS, "구역 삼 브라보")], &audio);
    let args =
        ["hear", audio.to_str().unwrap(), "--into", exam.to_str().unwrap(), "--ear", "vosk", "--grammar"];
    assert!(
        zonecall(&[&args[..], &[grammar("ko").to_str().unwrap(), "--started-at", START]].concat())
            .status
            .success()
    );
    let journal = std::fs::read_to_string(exam.join("exam.jsonl")).unwrap();
    let heard: Vec<serde_json::Value> = journal
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap())
        .filter(|line| line["kind"] == "heard")
        .collect();
    assert_eq!(heard.len(), 2, "{journal}");
    for line in heard {
        let utterance: Utterance = serde_json::from_value(line["body"].clone()).unwrap();
        assert_eq!(utterance.text(), "구역 삼 브라보");
        assert!(utterance.words.iter().all(|word| word.confidence > 0.5));
        let mut edge = utterance.span.from;
        for word in &utterance.words {
            assert!(edge <= word.span.from && word.span.from < word.span.to, "{utterance:?}");
            edge = word.span.to;
        }
        assert!(edge <= utterance.span.to, "{utterance:?}");
    }
}

#[test]
fn every_korean_number_to_a_hundred_is_its_number() {
    let (language, protocols) = korean();
    let digits = ["", "일", "이", "삼", "사", "오", "육", "칠", "팔", "구"];
    for number in 0..=100_usize {
        let tens = match number / 10 {
            0 => String::new(),
            1 => "십".to_owned(),
            10 => "백".to_owned(),
            tens => format!("{}십", digits[tens]),
        };
        let said = match number {
            0 => "영".to_owned(),
            _ => format!("{tens} {}", digits[number % 10]).trim().to_owned(),
        };
        let parsed = parse(&utterance(&format!("면적 {said}")), &language, &protocols);
        let Some(Act::Value(value)) = parsed.calls.first().map(|call| &call.act) else {
            panic!("{number}: {parsed:?}");
        };
        assert!((value.amount.number - number as f64).abs() < 1e-9, "{number}: {value:?}");
    }
}

#[test]
fn the_examples_for_an_engine_hold_each_pair_of_words_that_can_be_said_and_no_other() {
    let protocols = Protocols::built_in().unwrap();
    let zones = protocols.zones_by_limb(&protocols.choose(&[]).unwrap());
    for pack in [Pack::built_in().unwrap(), Pack::read(&grammar("ko")).unwrap()] {
        let whole = pack.for_zones(&zones).engine;
        let graph = WordGraph::new(&whole.core.as_deref().unwrap_or(&whole).graph);
        let limbs: Vec<Option<&str>> = zones.keys().map(|limb| Some(limb.as_str())).chain([None]).collect();
        let mut found: BTreeSet<(String, String)> = BTreeSet::new();
        for sentence in graph.examples() {
            let words: Vec<&str> = sentence.split(' ').collect();
            assert!(
                limbs.iter().any(|limb| graph.allows(Moment { limb: *limb, asked: true }, &words)),
                "{sentence}"
            );
            found.extend(words.windows(2).map(|two| (two[0].to_owned(), two[1].to_owned())));
        }
        for arcs in &graph.arcs {
            for (word, to) in arcs {
                for next in graph.arcs[*to].keys() {
                    assert!(
                        found.contains(&(word.clone(), next.clone())),
                        "`{word} {next}` of {}",
                        pack.language
                    );
                }
            }
        }
    }
}

/// `hear` with the Korean model or another one, on a little speech: what it said and the exit code.
fn hear_with(grammar: &Path, model: Option<&Path>) -> (String, Option<i32>) {
    let folder = tempfile::tempdir().unwrap();
    let audio = folder.path().join("scan.wav");
    speak(&[(VIEWS, "구역 삼 브라보")], &audio);
    let mut run = Command::new(env!("CARGO_BIN_EXE_zonecall"));
    run.arg("hear").arg(&audio).arg("--into").arg(folder.path().join("exam")).args(["--ear", "vosk"]);
    run.arg("--grammar").arg(grammar).args(["--started-at", START]);
    if let Some(model) = model {
        run.arg("--vosk-model").arg(model);
    }
    let output = run.output().unwrap();
    (String::from_utf8(output.stderr).unwrap(), output.status.code())
}

/// The Korean model with one file of it changed; `None` takes it away.
fn changed(file: &str, text: Option<&str>) -> tempfile::TempDir {
    let (own, model) = (tempfile::tempdir().unwrap(), VoskParts::find(None, "ko").model);
    let part = Path::new(file).parent().unwrap();
    for entry in std::fs::read_dir(&model).unwrap() {
        let entry = entry.unwrap();
        if Path::new(&entry.file_name()) != part {
            std::os::unix::fs::symlink(entry.path(), own.path().join(entry.file_name())).unwrap();
        }
    }
    std::fs::create_dir(own.path().join(part)).unwrap();
    for entry in std::fs::read_dir(model.join(part)).unwrap() {
        let entry = entry.unwrap();
        if part.join(entry.file_name()) != Path::new(file) {
            std::os::unix::fs::symlink(entry.path(), own.path().join(part).join(entry.file_name())).unwrap();
        }
    }
    if let Some(text) = text {
        std::fs::write(own.path().join(file), text).unwrap();
    }
    own
}

#[test]
fn a_model_that_does_not_fit_is_refused_with_the_reason() {
    let telephone = changed("conf/mfcc.conf", Some("--sample-frequency=8000\n"));
    let (said, code) = hear_with(&grammar("ko"), Some(telephone.path()));
    assert!(code == Some(2) && said.contains("8000 Hz") && said.contains("--vosk-model"), "{said}");
    let fixed = changed("graph/Gr.fst", None);
    std::fs::write(fixed.path().join("graph/HCLG.fst"), "").unwrap();
    let (said, code) = hear_with(&grammar("ko"), Some(fixed.path()));
    assert!(code == Some(2) && said.contains("takes no grammar"), "{said}");
    let (said, code) = hear_with(&grammar("ko"), Some(Path::new("/nowhere")));
    assert!(code == Some(2) && said.contains("`am/final.mdl`"), "{said}");
    let korean = VoskParts::find(None, "ko").model;
    let (said, code) = hear_with(&grammar("en"), Some(&korean));
    assert!(code == Some(2) && said.contains("another language"), "{said}");
}

#[test]
fn words_that_the_model_does_not_know_are_named_with_their_place_and_the_rest_is_heard() {
    let folder = tempfile::tempdir().unwrap();
    let own = folder.path().join("ko");
    std::fs::create_dir(&own).unwrap();
    let text = std::fs::read_to_string(grammar("ko").join("exam.gram")).unwrap();
    std::fs::write(own.join("exam.gram"), text.replacen("현수 |", "굴건 | 현수 |", 1)).unwrap();
    std::fs::write(own.join("words.dict"), "").unwrap();
    let (said, code) = hear_with(&own, None);
    assert_eq!(code, Some(0), "{said}");
    let named = said.lines().find(|line| line.contains("lacks these words")).expect("the words are named");
    assert!(named.contains("`굴건`") && named.contains("exam.gram:"), "{named}");
    let (said, _) = hear_with(&grammar("ko"), None);
    assert!(!said.contains("lacks these words"), "{said}");
}
