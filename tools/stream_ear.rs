//! What the neural ear makes of whole recordings, and why: `stream_ear FOLDER... [--only TEXT] [--prompt] [--cases FILE]
//! [--head FOLDER]`.
//!
//! Each folder is one of `train/streamset.py`. Every line that is not right is shown with what was heard in its place, the
//! evidence for it and what spoke against acting on it. `--prompt` cuts as at the horse, where somebody waits for an
//! answer; `--cases` keeps what `fit_ear` fits the trust to. `make bench-ear` makes the tables; this shows the reasons.
// It prints what it found; its numbers are small.
#![allow(clippy::print_stdout, clippy::unwrap_used, clippy::expect_used, clippy::cast_precision_loss)]
#![allow(missing_docs, unreachable_pub, dead_code)]

#[path = "../benches/ear/set.rs"]
mod set;
#[path = "../benches/stream/judge.rs"]
mod judge;

use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use judge::{Fate, Judge};
use zonecall::clock::{Sample, Span};
use zonecall::evaluation::truth::{self, SpokenStretch};
use zonecall::exam::call::Act;
use zonecall::exam::event::{CallEvent, Event};
use zonecall::exam::parse::meaning;
use zonecall::exam::phrase_end::AnswerExpected;
use zonecall::exam::seq::Seq;
use zonecall::exam::utterance_outcome::Attention;
use zonecall::exam::utterance_segmenter::{Ending, SegmenterEar, UtteranceSegmenter};
use zonecall::language::pack::Language;
use zonecall::language::word_states::Moment;
use zonecall::protocol::Protocols;
use zonecall::speech::neural::parts::Parts;
use zonecall::speech::neural::{Neural, ScoredReading};
use zonecall::speech::recognise::Recogniser as _;
use zonecall::speech::recording;
use zonecall::speech::utterance::{Utterance, UtteranceAudio};

/// Readings kept with a case, most probable first.
const READINGS_KEPT: usize = 20;

struct Options {
    folders: Vec<PathBuf>,
    only: Vec<String>,
    ending: Ending,
    cases: Option<PathBuf>,
    head: Option<PathBuf>,
}

fn options() -> Options {
    let mut args = std::env::args().skip(1);
    let mut found =
        Options { folders: Vec::new(), only: Vec::new(), ending: Ending::AtPause, cases: None, head: None };
    while let Some(arg) = args.next() {
        match arg.as_str() {
            "--only" => found.only.extend(args.next()),
            "--prompt" => found.ending = Ending::Early,
            "--head" => found.head = args.next().map(PathBuf::from),
            "--cases" => found.cases = args.next().map(PathBuf::from),
            _ => found.folders.push(arg.into()),
        }
    }
    found
}

/// An utterance that ended, and why it was trusted or not.
struct Ended {
    span: Span,
    line: String,
    case: Option<serde_json::Value>,
}

struct Tool {
    ear: Neural,
    language: Language,
    protocols: Protocols,
    ending: Ending,
}

impl Tool {
    fn new(ending: Ending, head: Option<&Path>) -> Self {
        let (language, protocols) = set::language();
        let (known, units) = (language.clone(), protocols.clone());
        let key = Box::new(move |words: &[&str]| meaning(words, &known, &units));
        let mut ear = Neural::load(&Parts::find(head, "en"), &language.engine, key).expect("the ear loads");
        let (known, units) = (language.clone(), protocols.clone());
        ear.mind_stakes(Box::new(move |words| zonecall::exam::stakes::stakes(words, &known, &units)));
        Self { ear, language, protocols, ending }
    }

    /// The journal's lines of a recording, and its utterances.
    fn hear(&mut self, file: &Path, said: &[SpokenStretch]) -> (Vec<(Seq, Event)>, Vec<Ended>) {
        let (mut lines, mut ended) = (Vec::new(), Vec::new());
        let mut attention = Attention::default();
        let mut segmenter = UtteranceSegmenter::new(Sample::FIRST, self.ending, &self.ear);
        self.ear.follow(Moment { limb: None, asked: false });
        let mut recording = recording::open(file).unwrap();
        loop {
            let block = recording.next_block().unwrap();
            let is_last = block.is_none();
            let ear =
                SegmenterEar { engine: &mut self.ear, language: &self.language, protocols: &self.protocols };
            let over = match &block {
                Some(block) => segmenter.take(block, self.ending, ear),
                None => segmenter.finish(ear),
            };
            for audio in over.unwrap() {
                self.utterance(&audio, &mut segmenter, &mut attention, said, &mut lines, &mut ended);
            }
            if is_last {
                return (lines, ended);
            }
        }
    }

    /// What `fit_ear` wants to know of an utterance; none where nothing of the language fits.
    fn case(
        &self,
        utterance: &Utterance,
        scored: &ScoredReading,
        audio: &UtteranceAudio,
        said: &[SpokenStretch],
    ) -> Option<serde_json::Value> {
        let evidence = scored.evidence?;
        let judge = Judge { language: &self.language, protocols: &self.protocols };
        let span = utterance.words.iter().map(|word| word.span).reduce(Span::join).unwrap_or(audio.span);
        let (call, right) = judge.would_be_right(&utterance.text(), span, said);
        let met = said.iter().filter(|one| one.span.from < span.to && one.span.to > span.from);
        let readings = scored.meanings.iter().take(READINGS_KEPT).map(|meaning| {
            let text = meaning.reading.words.join(" ");
            let right = judge.would_be_right(&text, span, said).1;
            serde_json::json!([text, meaning.score, right])
        });
        Some(serde_json::json!({
            "evidence": evidence,
            "call": call,
            "right": right,
            "doubt": scored.doubt.map(|doubt| format!("{doubt:?}")),
            "confidence": scored.confidence,
            "words": utterance.text(),
            "said": met.map(|one| one.words.as_str()).collect::<Vec<_>>(),
            "from": audio.span.from,
            "to": audio.span.to,
            "readings": readings.collect::<Vec<_>>(),
        }))
    }

    fn utterance(
        &mut self,
        audio: &UtteranceAudio,
        segmenter: &mut UtteranceSegmenter,
        attention: &mut Attention,
        said: &[SpokenStretch],
        lines: &mut Vec<(Seq, Event)>,
        ended: &mut Vec<Ended>,
    ) {
        let ear =
            SegmenterEar { engine: &mut self.ear, language: &self.language, protocols: &self.protocols };
        let (utterance, parsed) = segmenter.recognise(audio, ear).unwrap();
        let scored = self.ear.score(audio).unwrap();
        let text = utterance.text();
        let rivals: Vec<String> =
            utterance.rivals.iter().map(|rival| format!("{} {:.1}", rival.words, rival.behind)).collect();
        let line = format!(
            "    {:.2} to {:.2} s: {text}: {:?} {:.3}, doubt {:?}, {:?}, rivals {rivals:?}",
            audio.span.from.seconds(),
            audio.span.to.seconds(),
            scored.verdict,
            scored.confidence,
            scored.doubt,
            scored.evidence
        );
        let case = self.case(&utterance, &scored, audio, said);
        ended.push(Ended { span: audio.span, line, case });
        let (event, calls) = attention.decide(utterance, parsed);
        let heard_seq = Seq(lines.len() as u64 + 1);
        lines.push((heard_seq, Event::Utterance(event)));
        for call in calls {
            if let Act::View(view) = &call.act
                && let Some(limb) = &view.limb
            {
                self.ear.follow(Moment { limb: Some(limb), asked: false });
                segmenter.expect_answer(AnswerExpected::No);
            }
            lines.push((Seq(lines.len() as u64 + 1), Event::Call(CallEvent { heard_seq, call })));
        }
    }
}

fn main() {
    let options = options();
    if options.folders.is_empty() {
        println!(
            "usage: stream_ear FOLDER... [--only TEXT] [--prompt] [--cases FILE] [--head FOLDER]; train/streamset.py makes the folders"
        );
        return;
    }
    let mut tool = Tool::new(options.ending, options.head.as_deref());
    let mut kept = options.cases.map(|file| std::fs::File::create(file).unwrap());
    let mut table: BTreeMap<String, BTreeMap<Fate, usize>> = BTreeMap::new();
    for (folder, row) in options.folders.iter().flat_map(|folder| rows(folder)) {
        let [name, voice, kind, condition] = row.as_slice() else { continue };
        if !options.only.iter().all(|only| only.split('|').any(|one| name.contains(one))) {
            continue;
        }
        let file = folder.join(name);
        let said = truth::read(&file.with_extension("tsv")).unwrap();
        let (lines, ended) = tool.hear(&file, &said);
        let judge = Judge { language: &tool.language, protocols: &tool.protocols };
        let (judged, nowhere) = judge.judge(&said, &lines);
        for (one, judged) in said.iter().zip(&judged) {
            for key in [format!("{kind} {condition} {voice}"), format!("{kind} {condition}, all")] {
                *table.entry(key).or_default().entry(judged.fate).or_default() += 1;
            }
            if judged.fate != Fate::Right {
                println!("{name} {:.2} s: {:?}: said {}", one.span.from.seconds(), judged.fate, one.words);
                let met = |other: &&Ended| other.span.from < one.span.to && other.span.to > one.span.from;
                ended.iter().filter(met).for_each(|other| println!("{}", other.line));
            }
        }
        nowhere.iter().for_each(|words| println!("{name}: nobody said {words}"));
        for mut case in ended.into_iter().filter_map(|ended| ended.case) {
            case["file"] = name.as_str().into();
            (case["voice"], case["condition"]) =
                (voice.as_str().into(), format!("{kind} {condition}").into());
            if let Some(kept) = &mut kept {
                writeln!(kept, "{case}").unwrap();
            }
        }
    }
    table.iter().for_each(|(name, fates)| show(name, fates));
}

fn rows(folder: &Path) -> Vec<(PathBuf, Vec<String>)> {
    let text = std::fs::read_to_string(folder.join("streams.tsv")).expect("a folder of train/streamset.py");
    let row = |line: &str| (folder.to_owned(), line.split('\t').map(str::to_owned).collect());
    text.lines().skip(1).map(row).collect()
}

fn show(name: &str, fates: &BTreeMap<Fate, usize>) {
    let all: usize = fates.values().sum();
    let share = |fate: Fate| 100.0 * fates.get(&fate).copied().unwrap_or(0) as f64 / all.max(1) as f64;
    println!(
        "{name:32} {all:4}: right {:5.1}, asked {:5.1}, asked otherwise {:5.1}, missed {:5.1}, wrong {:5.1} %",
        share(Fate::Right),
        share(Fate::Asked),
        share(Fate::AskedOther),
        share(Fate::Missed),
        share(Fate::Wrong)
    );
}
