//! The neural ear's search: judged by adding up every alignment of small cases, and by another library's losses.
use std::collections::{BTreeMap, HashMap};
use std::path::Path;

use proptest::prelude::*;
use zonecall::language::engine::{EngineLanguage, GrammarWord, Pronunciation};
use zonecall::language::graph::WordGraph;
use zonecall::language::usage::Usage;
use zonecall::language::word_states::{Moment, Starts, WordStates as _};
use zonecall::speech::neural::align::{WordFrames, align};
use zonecall::speech::neural::lattice::Lattice;
use zonecall::speech::neural::lexicon::Lexicon;
use zonecall::speech::neural::search::{Frames, Hypothesis, Width, search};

/// A graph from (from, word, to) and its end states.
fn graph(arcs: &[(usize, &str, usize)], ends: &[usize]) -> WordGraph {
    let states = arcs.iter().map(|arc| arc.0.max(arc.2) + 1).max().unwrap_or(1);
    let mut out = vec![BTreeMap::new(); states];
    for (from, word, to) in arcs {
        out[*from].insert((*word).to_owned(), *to);
    }
    let again = vec![None; out.len()];
    WordGraph::from_arcs(out, again, ends.iter().copied().collect(), Starts::default())
}

fn lattice(graph: &WordGraph, lexicon: &Lexicon) -> Lattice {
    Lattice::new(Box::new(graph.clone()), lexicon.clone())
}

fn lexicon(sounds: &[(&str, &[usize])]) -> Lexicon {
    let mut lexicon = Lexicon::default();
    for (word, sound) in sounds {
        lexicon.add(word, sound.to_vec());
    }
    lexicon
}

fn frames(rows: &[Vec<f64>]) -> Frames {
    let values = rows.iter().flatten().map(|p| p.ln() as f32).collect();
    Frames::new(values, rows[0].len())
}

/// Repeats joined, then blanks taken out.
fn collapsed(path: &[usize]) -> Vec<usize> {
    let mut out = Vec::new();
    let mut last = 0;
    for unit in path {
        if *unit != last && *unit != 0 {
            out.push(*unit);
        }
        last = *unit;
    }
    out
}

/// Probability of each sequence of units: every one of the `units ^ frames` alignments is added up.
fn every_alignment(rows: &[Vec<f64>]) -> HashMap<Vec<usize>, f64> {
    let n_units = rows[0].len();
    let mut sums = HashMap::new();
    for code in 0..n_units.pow(rows.len() as u32) {
        let (mut rest, mut path, mut p) = (code, Vec::new(), 1.0);
        for row in rows {
            path.push(rest % n_units);
            p *= row[rest % n_units];
            rest /= n_units;
        }
        *sums.entry(collapsed(&path)).or_insert(0.0) += p;
    }
    sums
}

/// Probability of each sentence of the graph that fits into `len` units, by walking all of it.
fn every_sentence(
    graph: &WordGraph,
    lexicon: &Lexicon,
    sums: &HashMap<Vec<usize>, f64>,
    len: usize,
) -> BTreeMap<Vec<String>, f64> {
    let mut found = BTreeMap::new();
    let mut open = vec![(0, Vec::<String>::new(), Vec::<usize>::new())];
    while let Some((state, words, units)) = open.pop() {
        if graph.ends.contains(&state)
            && let Some(p) = sums.get(&units)
            && !words.is_empty()
        {
            *found.entry(words.clone()).or_insert(0.0) += p;
        }
        for (word, to) in &graph.arcs[state] {
            for sound in lexicon.sounds(word) {
                if units.len() + sound.len() <= len {
                    let longer = [words.clone(), vec![word.clone()]].concat();
                    open.push((*to, longer, [units.clone(), sound.clone()].concat()));
                }
            }
        }
    }
    found
}

fn check_all(rows: &[Vec<f64>], graph: &WordGraph, lexicon: &Lexicon) {
    let readings = search(&mut lattice(graph, lexicon), &frames(rows), Width::EXACT);
    let mut wanted = every_sentence(graph, lexicon, &every_alignment(rows), rows.len());
    wanted.retain(|_, p| *p > 0.0);
    let mut order: Vec<f64> = wanted.values().copied().collect();
    order.sort_by(|a, b| b.total_cmp(a));
    assert_eq!(readings.len(), order.len().min(40), "as many sentences as fit");
    for (reading, p) in readings.iter().zip(order) {
        assert!((reading.score - p.ln()).abs() < 1e-4, "{reading:?} {}", p.ln());
        assert!((reading.score - wanted[&reading.words].ln()).abs() < 1e-4, "{reading:?}");
    }
}

/// Rows of probabilities that add up to 1.
fn rows(n_units: usize, len: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Vec<f64>>> {
    let row = proptest::collection::vec(0.02_f64..1.0, n_units).prop_map(|values| {
        let sum: f64 = values.iter().sum();
        values.iter().map(|value| value / sum).collect::<Vec<f64>>()
    });
    proptest::collection::vec(row, len)
}

/// Small random graphs and lexicons over three units; homophones, words inside words and loops come up often.
fn language() -> impl Strategy<Value = (WordGraph, Lexicon)> {
    let arc = (0_usize..3, 0_usize..4, 0_usize..3);
    let sound = proptest::collection::vec(1_usize..4, 1..4);
    let sounds = proptest::collection::vec(proptest::collection::vec(sound, 1..3), 4);
    let ends = proptest::collection::btree_set(0_usize..3, 1..3);
    (proptest::collection::vec(arc, 2..8), sounds, ends).prop_map(|(arcs, sounds, ends)| {
        let names = ["ka", "lo", "mi", "nu"];
        let mut out = vec![BTreeMap::new(); 3];
        for (from, word, to) in arcs {
            out[from].insert(names[word].to_owned(), to);
        }
        let mut lexicon = Lexicon::default();
        for (name, ways) in names.iter().zip(sounds) {
            ways.into_iter().for_each(|way| lexicon.add(name, way));
        }
        (WordGraph::from_arcs(out, vec![None; 3], ends.into_iter().collect(), Starts::default()), lexicon)
    })
}

proptest! {
    #[test]
    fn every_sentence_gets_the_sum_over_all_its_alignments(
        rows in rows(4, 1..6),
        (graph, lexicon) in language(),
    ) {
        check_all(&rows, &graph, &lexicon);
    }

    #[test]
    fn a_narrow_search_never_overstates_and_gives_only_sentences_of_the_grammar(
        rows in rows(4, 1..8),
        (graph, lexicon) in language(),
    ) {
        let mut network = lattice(&graph, &lexicon);
        let narrow = Width { kept_max: 3, behind_max: 4.0, unit_min: -3.0 };
        let all = search(&mut network, &frames(&rows), Width::EXACT);
        for reading in search(&mut network, &frames(&rows), narrow) {
            let words: Vec<&str> = reading.words.iter().map(String::as_str).collect();
            prop_assert!(graph.allows(Moment::default(), &words));
            if let Some(full) = all.iter().find(|full| full.words == reading.words) {
                prop_assert!(reading.score <= full.score + 1e-6);
            }
        }
    }

    #[test]
    fn an_alignment_is_in_order_and_stands_on_frames_of_its_own(
        rows in rows(4, 1..8),
        (graph, lexicon) in language(),
    ) {
        let frames = frames(&rows);
        for reading in search(&mut lattice(&graph, &lexicon), &frames, Width::EXACT) {
            let spans = align(&reading.words, &lexicon, &frames).expect("what was read fits");
            prop_assert_eq!(spans.len(), reading.words.len());
            for pair in spans.windows(2) {
                prop_assert!(pair[0].to < pair[1].from);
            }
            prop_assert!(spans.iter().all(|span| span.from <= span.to && span.to < rows.len()));
        }
    }
}

fn one_sentence(units: &[usize], rows: &[Vec<f64>]) -> f64 {
    let lexicon = lexicon(&[("all", units)]);
    let mut network = lattice(&graph(&[(0, "all", 1)], &[1]), &lexicon);
    let readings: Vec<Hypothesis> = search(&mut network, &frames(rows), Width::EXACT);
    readings[0].score
}

/// Rows of probabilities of our own, whose losses another library computed: the file says which, and how.
///
/// The loss is Connectionist Temporal Classification's: Graves, Fernandez, Gomez and Schmidhuber, ICML 2006.
#[test]
fn losses_are_those_of_another_library() {
    #[derive(serde::Deserialize)]
    struct Recorded {
        cases: Vec<Case>,
    }
    #[derive(serde::Deserialize)]
    struct Case {
        rows: Vec<Vec<f64>>,
        units: Vec<usize>,
        loss: f64,
    }
    let recorded: Recorded = serde_json::from_str(include_str!("../recorded/ctc_loss.json")).unwrap();
    assert_eq!(recorded.cases.len(), 4);
    for Case { rows, units, loss } in recorded.cases {
        let own = -one_sentence(&units, &rows);
        assert!((own - loss).abs() < 1e-4, "{own} {loss}");
    }
}

#[test]
fn the_same_unit_twice_needs_a_blank_between() {
    let sure = |unit: usize| (0..3).map(|at| if at == unit { 0.98 } else { 0.01 }).collect::<Vec<f64>>();
    let lexicon = lexicon(&[("ba", &[1]), ("na", &[2])]);
    let mut network = lattice(&graph(&[(0, "ba", 0), (0, "na", 0)], &[0]), &lexicon);
    let mut best = |units: &[usize]| {
        let rows: Vec<Vec<f64>> = units.iter().map(|unit| sure(*unit)).collect();
        search(&mut network, &frames(&rows), Width::LISTENING)[0].words.join(" ")
    };
    assert_eq!(best(&[1, 1, 2]), "ba na");
    assert_eq!(best(&[1, 0, 1, 2]), "ba ba na");
}

#[test]
fn the_grammar_decides_between_words_that_sound_alike() {
    let sounds: &[(&str, &[usize])] = &[("left", &[1]), ("zone", &[2]), ("fore", &[3]), ("four", &[3])];
    let lexicon = lexicon(sounds);
    let mut network =
        lattice(&graph(&[(0, "left", 1), (1, "fore", 3), (0, "zone", 2), (2, "four", 3)], &[3]), &lexicon);
    let row = |unit: usize| (0..4).map(|at| if at == unit { 0.7 } else { 0.1 }).collect::<Vec<f64>>();
    let mut read = |units: &[usize]| {
        let rows: Vec<Vec<f64>> = units.iter().map(|unit| row(*unit)).collect();
        search(&mut network, &frames(&rows), Width::LISTENING)[0].words.join(" ")
    };
    assert_eq!(read(&[1, 0, 3]), "left fore");
    assert_eq!(read(&[2, 0, 3]), "zone four");
}

#[test]
fn of_words_that_sound_alike_the_common_one_is_read_and_a_clear_one_wins_all_the_same() {
    let lexicon = lexicon(&[("air", &[1, 2]), ("er", &[3, 2])]);
    let words = graph(&[(0, "air", 1), (0, "er", 1)], &[1]);
    let read = |network: &mut Lattice, first: [f64; 2]| {
        let rows = [vec![0.05, first[0], 0.05, first[1]], vec![0.05, 0.05, 0.85, 0.05]];
        search(network, &frames(&rows), Width::LISTENING)[0].clone()
    };
    let (mut plain, mut prefers) = (lattice(&words, &lexicon), lattice(&words, &lexicon));
    prefers.prefer(&["er"].into_iter().collect());
    assert_eq!(read(&mut plain, [0.5, 0.4]).words, ["air"]);
    assert_eq!(read(&mut prefers, [0.5, 0.4]).words, ["er"], "as good as the rare word");
    assert_eq!(read(&mut prefers, [0.89, 0.01]).words, ["air"], "far better than the common word");
    let cost = read(&mut prefers, [0.89, 0.01]).score - read(&mut plain, [0.89, 0.01]).score;
    assert!((cost + 3.0).abs() < 1e-9, "{cost}");
}

#[test]
fn of_words_that_sound_alike_the_one_that_usually_follows_is_read() {
    let lexicon = lexicon(&[("core", &[1]), ("gain", &[3]), ("lesion", &[2, 4]), ("leading", &[2, 5])]);
    let words = graph(&[(0, "core", 1), (0, "gain", 1), (1, "lesion", 2), (1, "leading", 2)], &[2]);
    let usage = Usage::read(Path::new("usage.txt"), "5 core lesion\n5 gain leading\n").unwrap();
    let mut network = lattice(&words, &lexicon);
    network.expect(&usage);
    let mut read = |first: usize, last: [f64; 2]| {
        let row = |unit: usize| (0..6).map(|at| if at == unit { 0.9 } else { 0.02 }).collect::<Vec<f64>>();
        let end = vec![0.05, 0.05, 0.05, 0.05, last[0], last[1]];
        search(&mut network, &frames(&[row(first), row(2), end]), Width::LISTENING)[0].clone()
    };
    assert_eq!(read(1, [0.4, 0.4]).words, ["core", "lesion"]);
    assert_eq!(read(3, [0.4, 0.4]).words, ["gain", "leading"]);
    assert_eq!(read(1, [0.01, 0.79]).words, ["core", "leading"], "far better than the usual word");
    let (usual, seldom) = (read(1, [0.4, 0.4]), read(1, [0.01, 0.79]));
    assert!(seldom.rare < usual.rare && usual.rare <= 0.0, "{} {}", seldom.rare, usual.rare);
}

#[test]
fn a_word_that_only_begins_phrases_may_be_begun_anew() {
    let mut lexicon = lexicon(&[("zone", &[1]), ("two", &[2]), ("save", &[3])]);
    let words = graph(&[(0, "zone", 1), (1, "two", 2), (0, "save", 2), (0, "two", 3), (3, "two", 2)], &[2]);
    let begin: Vec<&str> = words.only_begin().into_iter().collect();
    assert_eq!(begin, ["zone"], "a whole phrase said twice is said twice, and so is a figure");
    begin.into_iter().for_each(|word| lexicon.begin_anew(word));
    let mut network = lattice(&words, &lexicon);
    let row = |unit: usize| (0..4).map(|at| if at == unit { 0.97 } else { 0.01 }).collect::<Vec<f64>>();
    let rows: Vec<Vec<f64>> = [1, 0, 0, 1, 2].map(row).to_vec();
    let read = search(&mut network, &frames(&rows), Width::LISTENING)[0].clone();
    assert_eq!(read.words, ["zone", "two"]);
    let spans = align(&read.words, &lexicon, &frames(&rows)).unwrap();
    assert_eq!(spans[0], WordFrames { from: 0, to: 3 }, "both belong to the word");
}

#[test]
fn words_are_placed_where_their_units_are() {
    let lexicon = lexicon(&[("ba", &[1, 2]), ("na", &[2])]);
    let path = [0, 1, 1, 2, 0, 2, 2, 0];
    let rows: Vec<Vec<f64>> =
        path.iter().map(|unit| (0..3).map(|at| if at == *unit { 0.9 } else { 0.05 }).collect()).collect();
    let spans = align(&["ba".to_owned(), "na".to_owned()], &lexicon, &frames(&rows)).unwrap();
    assert_eq!(spans, [WordFrames { from: 1, to: 3 }, WordFrames { from: 5, to: 6 }]);
    assert_eq!(align(&vec!["ba".to_owned(); 9], &lexicon, &frames(&rows)), None, "nine words do not fit");
}

#[test]
fn a_lexicon_line_without_use_is_named() {
    let units = HashMap::from([("K".to_owned(), 1), ("AA".to_owned(), 2)]);
    let read = |text: &str| Lexicon::read(text, &units);
    assert_eq!(read("ka K AA # said\n\nka AA\n").unwrap().sounds("ka"), [vec![1, 2], vec![2]]);
    let bad = read("ka K AA\nkx K X\n").unwrap_err();
    assert_eq!((bad.line, bad.text.as_str()), (2, "X"));
    let bad = read("ka\n").unwrap_err();
    assert_eq!((bad.line, bad.text.as_str()), (1, "ka"));
}

#[test]
fn a_diphthong_that_a_head_lacks_sounds_as_its_two_vowels() {
    let place = || (std::path::PathBuf::from("own.txt"), 1);
    let (file, line) = place();
    let words = vec![GrammarWord { text: "cow".to_owned(), file, line }];
    let (file, line) = place();
    let pronunciations =
        vec![Pronunciation { word: "cow".to_owned(), phones: "K AW".to_owned(), file, line }];
    let engine = &crate::support::BUILT_IN.0.engine;
    let language = EngineLanguage { words, pronunciations, core: None, ..engine.clone() };
    let sounds = |units: &[&str]| {
        let units = units.iter().enumerate().map(|(idx, unit)| ((*unit).to_owned(), idx + 1)).collect();
        Lexicon::default().for_language(&language, &units).map(|lexicon| lexicon.sounds("cow").to_vec()).ok()
    };
    assert_eq!(sounds(&["K", "AA", "UH"]), Some(vec![vec![1, 2, 3]]));
    assert_eq!(sounds(&["K", "AA", "UH", "AW"]), Some(vec![vec![1, 4]]));
    assert_eq!(sounds(&["K", "AA"]), None, "a word without a sound is named");
}

#[test]
fn what_earlier_searches_met_is_forgotten_before_it_fills_the_memory() {
    let long = |unit: usize| std::iter::once(unit).chain(std::iter::repeat_n(3, 60)).collect::<Vec<usize>>();
    let words: Vec<String> = (0..25_000).map(|word| format!("word {word}")).collect();
    let (mut arcs, mut sounds) = (vec![BTreeMap::new(); 3], Lexicon::default());
    sounds.add("so", vec![1]);
    arcs[0].insert("so".to_owned(), 1);
    for (at, word) in words.iter().enumerate() {
        // Each word has units of its own at its end, so no two share their nodes.
        sounds.add(word, [vec![2], (0..16).map(|bit| 1 + (at >> bit & 1)).collect(), long(3)].concat());
        arcs[0].insert(word.clone(), 2);
        arcs[1].insert(word.clone(), 2);
    }
    let graph = WordGraph::from_arcs(arcs, vec![None; 3], [1, 2].into(), Starts::default());
    let mut network = lattice(&graph, &sounds);
    let sure = |unit: usize| (0..4).map(|at| if at == unit { 0.97 } else { 0.01 }).collect::<Vec<f64>>();
    let rows: Vec<Vec<f64>> = [1, 0, 2].map(sure).to_vec();
    let both = |network: &mut Lattice| {
        assert_eq!(search(network, &frames(&rows), Width::LISTENING)[0].words, ["so"]);
        network.len()
    };
    let first = both(&mut network);
    assert!(first > 2_000_000, "{first}");
    assert!(search(&mut network, &frames(&rows[1..2]), Width::LISTENING).len() < 2);
    assert!(network.len() < first, "only what this search met: {}", network.len());
    assert_eq!(both(&mut network), first, "what was forgotten is made again");
}
