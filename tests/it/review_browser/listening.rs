//! While sound plays, each word lights up when it is said: on the line and on the bench, at every speed.

use serde_json::Value;

use crate::review_browser::shared::{Opened, exam, run};
use crate::support::browser::Page;

/// Notes what is lit after each change, with the second of the exam that the sound is at.
const WATCH: &str = r#"
    const play = HTMLMediaElement.prototype.play;
    window.plays = 0;
    HTMLMediaElement.prototype.play = function () { window.sound = this; window.plays += 1; return play.call(this); };
    window.lit = [];
    const starts = (css) => [...document.querySelectorAll(css)].map((node) => Number(node.dataset.from));
    new MutationObserver(() => window.lit.push([Number(sound.dataset.from) + sound.currentTime,
        starts('#bench q .word.sounding'), starts('#marks .word.sounding'), document.querySelectorAll('#marks .mark.sounding').length]))
        .observe(document.body, { subtree: true, attributes: true, attributeFilter: ['class'] });"#;

/// How far what is lit may lag behind the sound, in seconds of the exam: a few pictures of a busy screen.
const LAG_S: f64 = 0.25;

/// How often a phrase is heard again of whose words a busy screen left some out.
const AGAIN: usize = 9;

/// What was lit: when, and the beginnings of the words on the bench and on the line.
type Lit = (f64, Vec<f64>, Vec<f64>, usize);

/// An utterance of at least four words, none shorter than a busy screen can show at twice the speed.
fn clear(exam: &Value) -> (usize, Value) {
    let long = |utterance: &&(usize, &Value)| {
        let starts = seconds(&utterance.1["word_s"]);
        starts.len() >= 4 && starts.windows(2).all(|two| two[1] - two[0] > 0.15)
    };
    let found = exam["utterances"].as_array().unwrap().iter().enumerate().find(|one| long(&one));
    let (idx, utterance) = found.expect("the demo exam has a slow phrase");
    (idx, utterance.clone())
}

fn seconds(list: &Value) -> Vec<f64> {
    serde_json::from_value(list.clone()).unwrap()
}

/// What was lit until the sound ended.
async fn heard_out(page: &Page) -> Vec<Lit> {
    page.until("window.sound?.ended").await;
    page.until("!document.querySelector('.sounding')").await;
    serde_json::from_value(page.run("return window.lit.splice(0)").await).unwrap()
}

/// The words light up in their order, each once, and each while it is said; never two of one phrase at once. How many did.
fn each_in_its_time(lit: &[(f64, &[f64])], starts: &[f64], end: f64, what: &str) -> usize {
    let mut seen: Vec<f64> = Vec::new();
    for (at, words) in lit.iter().filter(|(_, words)| !words.is_empty()) {
        assert_eq!(words.len(), 1, "{what}: {words:?} at {at}");
        let idx = starts.iter().position(|start| start == &words[0]).expect("a word of this phrase");
        let until = starts.get(idx + 1).copied().unwrap_or(end);
        assert!(
            *at > starts[idx] - 0.02 && *at < until + LAG_S,
            "{what}: word {idx} is lit at {at}: {starts:?}"
        );
        if seen.last() != Some(&words[0]) {
            seen.push(words[0]);
        }
    }
    assert!(seen.is_sorted(), "{what}: {seen:?}");
    seen.len()
}

/// Brings an utterance onto the bench by a click on the line, and hears it out.
async fn bring_to_bench(page: &Page, utterance: &Value) {
    // The line shows 24 pixels a second until somebody zooms.
    let from = utterance["span_s"][0].as_f64().unwrap();
    page.run(&format!("document.querySelector('#strip').scrollLeft = {from} * 24 - 200")).await;
    let there = format!(".mark.utterance[data-seq=\"{}\"]", utterance["seq"]);
    page.until(&format!("document.querySelector({there:?})")).await;
    page.click(&there).await;
    page.until("document.querySelector('#bench q .word')").await;
    heard_out(page).await;
}

#[test]
fn words_light_up_one_by_one_as_they_are_said_at_every_speed() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        page.until("document.querySelector('.mark.utterance')").await;
        page.run(WATCH).await;
        let (_, utterance) = clear(&served.exam());
        let (starts, end) = (seconds(&utterance["word_s"]), utterance["span_s"][1].as_f64().unwrap());
        assert_eq!(starts.len(), utterance["words"].as_str().unwrap().split(' ').count());
        bring_to_bench(page, &utterance).await;
        assert_eq!(page.text("#bench q").await, utterance["words"].as_str().unwrap());
        for speed in ["0.75", "1", "2"] {
            page.find("#sound-speed").await.select_by_value(speed).await.unwrap();
            page.run("document.querySelector('#bench').focus()").await;
            // At twice the speed a busy screen may leave one out.
            let least = starts.len() - usize::from(speed == "2");
            let mut counts = Vec::new();
            while !counts.iter().any(|(bench, line)| *bench >= least && *line >= least) {
                assert!(
                    counts.len() <= AGAIN,
                    "speed {speed}: of {} words were lit: {counts:?}",
                    starts.len()
                );
                let before = page.run("return window.plays").await;
                page.press(" ").await;
                // On a busy machine it may be over before anybody looks.
                page.until(&format!("window.plays > {before}")).await;
                assert_eq!(page.run("return String(window.sound.playbackRate)").await, speed);
                let lit = heard_out(page).await;
                let bench: Vec<_> = lit.iter().map(|one| (one.0, one.1.as_slice())).collect();
                let on_bench = each_in_its_time(&bench, &starts, end, &format!("bench, speed {speed}"));
                let ours =
                    |words: &[f64]| words.iter().copied().filter(|word| starts.contains(word)).collect();
                let line: Vec<(f64, Vec<f64>)> = lit.iter().map(|one| (one.0, ours(&one.2))).collect();
                let line: Vec<_> = line.iter().map(|(at, words)| (*at, words.as_slice())).collect();
                counts
                    .push((on_bench, each_in_its_time(&line, &starts, end, &format!("line, speed {speed}"))));
            }
        }
    });
}

#[test]
fn a_click_into_the_sound_lights_the_words_from_there_on() {
    run(async {
        let desk = Opened::by("Robin").await;
        let Opened { page, served, .. } = &desk;
        page.until(
            "document.querySelector('.mark.utterance') && performance.getEntriesByName('sound shown').length",
        )
        .await;
        page.run(WATCH).await;
        let (_, utterance) = clear(&served.exam());
        let starts = seconds(&utterance["word_s"]);
        bring_to_bench(page, &utterance).await;
        // The middle of the third word.
        let at = f64::midpoint(starts[2], starts[3]);
        let script = format!(
            "const word = document.querySelector('#marks .word[data-from=\"{}\"]').closest('.mark');
            const perS = word.offsetLeft / {}; const box = document.querySelector('#wave').getBoundingClientRect();
            return [box.left + {at} * perS - document.querySelector('#strip').scrollLeft, box.top + 35]",
            starts[0], utterance["span_s"][0]
        );
        let mut words: Vec<f64> = Vec::new();
        for _ in 0..=AGAIN {
            let [x, y]: [f64; 2] = serde_json::from_value(page.run(&script).await).unwrap();
            let before = page.run("return window.plays").await;
            page.drag(&[(x.round(), y.round())]).await;
            page.until(&format!("window.plays > {before}")).await;
            let lit = format!("window.lit.some((one) => one[2].includes({}))", starts[3]);
            page.until(&format!("{lit} || window.sound.ended")).await;
            let lit = page.run("window.sound.pause(); return window.lit.splice(0)").await;
            let lit: Vec<Lit> = serde_json::from_value(lit).unwrap();
            page.until("!document.querySelector('.sounding')").await;
            words = lit.iter().flat_map(|one| one.2.clone()).filter(|word| starts.contains(word)).collect();
            assert!(!words.contains(&starts[0]) && !words.contains(&starts[1]), "{words:?} of {starts:?}");
            // A busy screen may have left it out.
            if words.contains(&starts[3]) {
                break;
            }
        }
        assert!(words.contains(&starts[3]), "{words:?} of {starts:?}");
    });
}

#[test]
fn where_the_ear_gave_no_times_the_phrase_is_marked_as_a_whole() {
    run(async {
        let folder = exam();
        let journal = folder.path().join("exam.jsonl");
        let text = std::fs::read_to_string(&journal).unwrap();
        let mut lines: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        // An ear without times gives every word the span of the whole.
        for line in lines.iter_mut().filter(|line| line["kind"] == "heard") {
            let span = line["body"]["span"].clone();
            for word in line["body"]["words"].as_array_mut().unwrap() {
                word["span"] = span.clone();
            }
        }
        let lines: Vec<String> = lines.iter().map(|line| format!("{line}\n")).collect();
        std::fs::write(&journal, lines.concat()).unwrap();
        let desk = Opened::of(folder, "Robin", &[]).await;
        let Opened { page, served, .. } = &desk;
        page.until("document.querySelector('.mark.utterance')").await;
        page.run(WATCH).await;
        let exam = served.exam();
        let mut several = exam["utterances"].as_array().unwrap().iter();
        let utterance = several.find(|one| one["words"].as_str().unwrap().split(' ').count() > 2).unwrap();
        assert_eq!(utterance["word_s"], Value::Array(Vec::new()));
        page.run("document.querySelector('#strip').scrollLeft = 0").await;
        page.click(&format!(".mark.utterance[data-seq=\"{}\"]", utterance["seq"])).await;
        let lit = heard_out(page).await;
        assert!(lit.iter().any(|one| one.3 == 1), "{lit:?}");
        assert!(lit.iter().all(|one| one.1.is_empty() && one.2.is_empty()), "{lit:?}");
        assert_eq!(page.text("#bench q").await, utterance["words"].as_str().unwrap());
    });
}
