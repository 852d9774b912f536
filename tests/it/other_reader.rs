//! The grammar file, read by somebody else: PocketSphinx's own reader of JSGF accepts what ours makes.
use crate::support::sentence;

use std::collections::{BTreeSet, HashMap};
use std::path::Path;
use std::process::Command;
use std::sync::LazyLock;

use proptest::prelude::*;
use sentence::{Sentence, say};
use zonecall::language::pack::{EXAM_RULE, Pack};

/// A graph in PocketSphinx's text format: arcs by state, `None` for an arc without a word.
struct Theirs {
    arcs: HashMap<usize, Vec<(Option<String>, usize)>>,
    start: usize,
    end: usize,
}

static THEIRS: LazyLock<Theirs> = LazyLock::new(|| {
    let tool = Path::new(env!("ZONECALL_BUILT_MODEL")).with_file_name("bin").join("pocketsphinx_jsgf2fsg");
    let grammar = Path::new(env!("CARGO_MANIFEST_DIR")).join("grammars/en/exam.gram");
    let folder = tempfile::tempdir().unwrap();
    let graph = folder.path().join("exam.fsg");
    let done = Command::new(&tool)
        .arg("-jsgf")
        .arg(&grammar)
        .args(["-toprule", "exam.exam", "-fsg"])
        .arg(&graph)
        .output()
        .expect("PocketSphinx's tool is missing: run `make setup`");
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    read(&std::fs::read_to_string(graph).unwrap())
});

fn read(text: &str) -> Theirs {
    let mut theirs = Theirs { arcs: HashMap::new(), start: 0, end: 0 };
    for line in text.lines() {
        let parts: Vec<&str> = line.split_whitespace().collect();
        let number = |at: usize| parts[at].parse::<usize>().unwrap();
        match parts[0] {
            "START_STATE" => theirs.start = number(1),
            "FINAL_STATE" => theirs.end = number(1),
            "TRANSITION" => {
                let word = parts.get(4).map(|word| (*word).to_owned());
                theirs.arcs.entry(number(1)).or_default().push((word, number(2)));
            }
            _ => {}
        }
    }
    theirs
}

impl Theirs {
    fn spread(&self, states: impl IntoIterator<Item = usize>) -> BTreeSet<usize> {
        let mut open: Vec<usize> = states.into_iter().collect();
        let mut found = BTreeSet::new();
        while let Some(state) = open.pop() {
            if found.insert(state) {
                let free = self.arcs.get(&state).into_iter().flatten().filter(|(word, _)| word.is_none());
                open.extend(free.map(|(_, to)| *to));
            }
        }
        found
    }

    fn accepts(&self, words: &[String]) -> bool {
        let mut here = self.spread([self.start]);
        for word in words {
            let arcs = here.iter().flat_map(|state| self.arcs.get(state).into_iter().flatten());
            let next: Vec<usize> =
                arcs.filter(|(said, _)| said.as_ref() == Some(word)).map(|(_, to)| *to).collect();
            here = self.spread(next);
        }
        here.contains(&self.end)
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1000, ..ProptestConfig::default() })]

    #[test]
    fn every_sentence_our_reader_makes_is_accepted_by_theirs(forks in prop::collection::vec(any::<u16>(), 60)) {
        let grammar = Pack::built_in().unwrap().grammar;
        let mut next = forks.iter().cycle();
        let mut choose = |n: usize| usize::from(*next.next().unwrap()) % n;
        let mut said = Sentence::default();
        say(&grammar, &grammar.rule(EXAM_RULE).unwrap().body, &mut choose, &mut said);
        prop_assert!(THEIRS.accepts(&said.words), "{:?}", said.words);
    }
}

#[test]
fn theirs_refuses_what_is_no_sentence() {
    for words in ["zone alpha one", "save the horse", "echo score five", "left"] {
        let words: Vec<String> = words.split(' ').map(str::to_owned).collect();
        assert!(!THEIRS.accepts(&words), "{words:?}");
    }
}
