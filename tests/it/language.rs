//! The grammar file, its reader, and what each of its sentences means.
use crate::support;
use crate::support::sentence;

use std::path::Path;
use std::sync::LazyLock;

use expect_test::{Expect, expect};
use proptest::prelude::*;
use sentence::{Sentence, say};
use support::{BUILT_IN, utterance};
use zonecall::exam::call::{Act, Command};
use zonecall::exam::parse::{calls_of, parse};
use zonecall::language::closed_sets::CommandName;
use zonecall::language::engine::Pronunciation;
use zonecall::language::grammar::Grammar;
use zonecall::language::graph::WordGraph;
use zonecall::language::jsgf;
use zonecall::language::on_demand_graph::ZonesByLimb;
use zonecall::language::pack::{EXAM_RULE, Pack};
use zonecall::language::phrases::{blanks, phrases};
use zonecall::language::word_states::{Moment, WordStates as _};

fn means(text: &str, expect: &Expect) {
    let (language, protocols) = &*BUILT_IN;
    let parsed = parse(&utterance(0.0, text), language, protocols);
    let mut lines: Vec<String> = parsed
        .calls
        .iter()
        .map(|call| {
            let mark = if call.corrects { "correction " } else { "" };
            format!("{mark}{}", serde_json::to_string(&call.act).unwrap())
        })
        .collect();
    lines.extend(parsed.problems.iter().map(|problem| format!("problem: {}", problem.message)));
    if parsed.talk {
        lines.push("talk".to_owned());
    }
    expect.assert_eq(&lines.join("\n"));
}

static CORE: LazyLock<Grammar> = LazyLock::new(|| Pack::built_in().unwrap().core.unwrap());

proptest! {
    #![proptest_config(ProptestConfig { cases: 4000, ..ProptestConfig::default() })]

    #[test]
    fn every_phrase_of_the_core_is_a_phrase_of_the_whole_language(forks in prop::collection::vec(any::<u16>(), 60)) {
        let (language, _) = &*BUILT_IN;
        let grammar = &*CORE;
        let mut next = forks.iter().cycle();
        let mut choose = |n: usize| usize::from(*next.next().unwrap()) % n;
        let mut said = Sentence::default();
        say(grammar, &grammar.rule(EXAM_RULE).unwrap().body, &mut choose, &mut said);
        let words: Vec<&str> = said.words.iter().map(String::as_str).collect();
        prop_assert!(language.engine.graph.allows(Moment::default(), &words), "{:?}", said.words);
    }

    #[test]
    fn every_sentence_the_grammar_makes_parses_to_what_its_tags_say(forks in prop::collection::vec(any::<u16>(), 60)) {
        let (language, protocols) = &*BUILT_IN;
        let mut next = forks.iter().cycle();
        let mut choose = |n: usize| usize::from(*next.next().unwrap()) % n;
        let mut said = Sentence::default();
        say(&language.grammar, &language.grammar.rule(EXAM_RULE).unwrap().body, &mut choose, &mut said);
        let texts: Vec<&str> = said.words.iter().map(String::as_str).collect();
        prop_assert!(language.engine.graph.allows(Moment::default(), &texts), "no engine can hear {:?}", said.words);
        let utterance = utterance(0.0, &said.words.join(" "));
        let wanted = calls_of(&said.tags, &utterance.words, protocols);
        // A note swallows what follows it, so its neighbours are another test's business.
        let parsed = parse(&utterance, language, protocols);
        let acts = |parsed: &zonecall::exam::parse::Parsed| {
            parsed.calls.iter().map(|call| (call.act.clone(), call.corrects)).collect::<Vec<_>>()
        };
        // Phrases strung together at random can be said in fewer, or can belong to two structures: then the reading
        // with the fewest phrases counts, or nothing does.
        let closings = |tags: &[(String, usize)]| tags.iter().filter(|(tag, _)| tag.starts_with('!')).count();
        let readings = language.exam.read(&texts);
        let fewest = readings.iter().map(|tags| closings(tags)).min().unwrap_or(usize::MAX);
        prop_assert!(fewest <= closings(&said.tags), "{:?} is not read", said.words);
        let only = readings.len() == 1 && readings[0] == said.tags;
        // What is asked about elsewhere is a part of the note.
        let opens_note =
            !wanted.problems.is_empty() && matches!(acts(&parsed).first(), Some((Act::Note { open: true, .. }, _)));
        prop_assert!(!only || opens_note || acts(&parsed) == acts(&wanted), "{:?}", said.words);
        prop_assert!(parsed.calls.is_empty() || parsed.problems.is_empty(), "{:?}", said.words);
    }
}

#[test]
fn several_calls_in_one_utterance_come_apart() {
    means(
        "left fore zone two alpha transverse",
        &expect![[r#"{"kind":"view","limb":"LF","zone":"2A","plane":"T"}"#]],
    );
    means(
        "two bravo left front save",
        &expect![[r#"
        {"kind":"view","limb":"LF","zone":"2B"}
        {"kind":"save"}"#]],
    );
    means(
        "superficial flexor mild core lesion lateral area one point oh seven square centimetres",
        &expect![[r#"
        {"kind":"view","structure":"SDFT"}
        {"kind":"finding","class":"lesion","term":"core lesion","degree":"mild","position":["lateral"]}
        {"kind":"value","term":"area","amount":{"number":1.07,"unit":"cm2"}}"#]],
    );
    means(
        "the s d f t is normal",
        &expect![[r#"
        {"kind":"view","structure":"SDFT"}
        {"kind":"finding","class":"normal","term":"normal"}"#]],
    );
}

/// Both ligament and flexor have a medial and a lateral branch; the flexor's are named as such.
#[test]
fn branches_of_the_flexor_and_of_the_suspensory_are_told_apart() {
    means("medial flexor branch", &expect![[r#"{"kind":"view","structure":"SDFT-medial"}"#]]);
    means("lateral suspensory branch", &expect![[r#"{"kind":"view","structure":"SL-lateral"}"#]]);
    means("lateral branch", &expect![[r#"{"kind":"view","structure":"branch-lateral"}"#]]);
    means(
        "pastern one bravo lateral flexor branch diffuse lesion",
        &expect![[r#"
        {"kind":"view","zone":"P1B","structure":"SDFT-lateral"}
        {"kind":"finding","class":"lesion","term":"diffuse lesion"}"#]],
    );
    // The side belongs to the branch; a position of its own comes before it.
    means(
        "core lesion medial flexor branch",
        &expect![[r#"
        {"kind":"finding","class":"lesion","term":"core lesion","structure":"SDFT-medial"}"#]],
    );
    means(
        "core lesion medial lateral flexor branch",
        &expect![[r#"
        {"kind":"finding","class":"lesion","term":"core lesion","position":["medial"],"structure":"SDFT-lateral"}"#]],
    );
    means("flexor branch", &expect!["problem: `flexor branch` is not a complete phrase"]);
}

#[test]
fn numbers_are_taken_as_people_say_them() {
    means(
        "area one hundred and twelve square millimetres",
        &expect![[r#"{"kind":"value","term":"area","amount":{"number":112.0,"unit":"mm2"}}"#]],
    );
    means(
        "width eighty five",
        &expect![[
            r#"{"kind":"value","term":"width","amount":{"number":85.0,"unit":"mm","unit_assumed":true}}"#
        ]],
    );
    means(
        "depth nine point eight mil",
        &expect![[r#"{"kind":"value","term":"depth","amount":{"number":9.8,"unit":"mm"}}"#]],
    );
    means(
        "length a half",
        &expect![[
            r#"{"kind":"value","term":"length","amount":{"number":0.5,"unit":"cm","unit_assumed":true}}"#
        ]],
    );
    means(
        "lesion area of twenty one and a half",
        &expect![[
            r#"{"kind":"value","term":"lesion area","amount":{"number":21.5,"unit":"mm2","unit_assumed":true}}"#
        ]],
    );
    means(
        "lesion thirty four percent",
        &expect![[r#"{"kind":"value","term":"lesion percent","amount":{"number":34.0,"unit":"%"}}"#]],
    );
    means(
        "echo score three fibre score two",
        &expect![[r#"
        {"kind":"value","term":"echo score","amount":{"number":3.0}}
        {"kind":"value","term":"fibre score","amount":{"number":2.0}}"#]],
    );
    means("level twelve point five centimetres", &expect![[r#"{"kind":"view","level_cm":12.5}"#]]);
}

#[test]
fn acts_on_the_exam_are_told_apart() {
    means("disregard that", &expect![[r#"{"kind":"command","command":"take_back","count":1}"#]]);
    means(
        "disregard the last two two alpha",
        &expect![[r#"
        {"kind":"command","command":"take_back","count":2}
        {"kind":"view","zone":"2A"}"#]],
    );
    means("correction right fore", &expect![[r#"correction {"kind":"view","limb":"RF"}"#]]);
    means("correction", &expect![[""]]);
    means("note", &expect![[r#"{"kind":"note","open":true}"#]]);
    means("make a note for the report", &expect![[r#"{"kind":"note","open":true,"conclusion":true}"#]]);
    means("conclusion", &expect![[r#"{"kind":"note","open":true,"conclusion":true}"#]]);
    means(
        "note save depth end note",
        &expect![[r#"
        {"kind":"note","open":true}
        {"kind":"note","open":false}"#]],
    );
    means("steady good boy", &expect!["talk"]);
    means("start of exam", &expect![[r#"{"kind":"command","command":"start_of_exam"}"#]]);
    means("end of exam", &expect![[r#"{"kind":"command","command":"end_of_exam"}"#]]);
    means("where am i", &expect![[r#"{"kind":"question","ask":"where"}"#]]);
}

#[test]
fn what_is_no_whole_phrase_is_a_problem_and_no_call() {
    means("left fore zone", &expect!["problem: `left fore zone` is not a complete phrase"]);
    means("area", &expect!["problem: `area` is not a complete phrase"]);
    means(
        "hypoechoic",
        &expect![[r#"{"kind":"finding","class":"lesion","term":"hypoechoic","unconfirmed":true}"#]],
    );
}

#[test]
fn zones_of_other_schemes_cannot_be_said() {
    let language = Pack::built_in().unwrap().for_zones(&zones(&[("LF", &["1A", "2B"])]));
    assert!(!language.exam.read(&["two", "bravo"]).is_empty());
    assert!(language.exam.read(&["four", "alpha"]).is_empty());
    // The word itself spells a name.
    let says = |words: &[&str]| language.engine.graph.allows(Moment { limb: None, asked: false }, words);
    assert!(says(&["two", "bravo"]) && !says(&["four", "charlie"]) && !says(&["zone", "charlie"]));
}

fn zones(limbs: &[(&str, &[&str])]) -> ZonesByLimb {
    let own = |codes: &[&str]| codes.iter().map(|code| (*code).to_owned()).collect();
    limbs.iter().map(|(limb, codes)| ((*limb).to_owned(), own(codes))).collect()
}

#[test]
fn the_zones_an_engine_can_hear_follow_the_limb() {
    let limbs: [(&str, &[&str]); 2] = [("LF", &["1A", "2B"]), ("LH", &["1A", "4C"])];
    let graph = Pack::built_in().unwrap().for_zones(&zones(&limbs)).engine.graph;
    let says = |limb: Option<&str>, words: &str| {
        graph.allows(Moment { limb, asked: false }, &words.split(' ').collect::<Vec<_>>())
    };
    assert!(says(None, "four charlie") && says(None, "two bravo"), "no limb in force: all zones");
    assert!(says(Some("LF"), "two bravo") && !says(Some("LF"), "four charlie"));
    assert!(says(Some("LH"), "four charlie") && !says(Some("LH"), "two bravo"));
    assert!(says(Some("LF"), "left hind four charlie"), "the limb is named in the utterance itself");
    assert!(!says(Some("LH"), "left fore zone four charlie transverse"));
    assert!(says(Some("LF"), "save left hind zone four charlie transverse save"));
    assert!(!says(Some("LF"), "four"), "no dead ends are left");
    let graph = WordGraph::new(&graph);
    let start = graph.starts.of(Moment { limb: Some("LF"), asked: false });
    assert!(!graph.arcs[graph.arcs[start]["zone"]].contains_key("four"));
}

proptest! {
    #[test]
    fn the_whole_graph_allows_what_the_one_that_grows_allows(
        forks in prop::collection::vec(any::<u16>(), 60),
        (changed, other) in (any::<prop::sample::Index>(), any::<prop::sample::Index>()),
        asked in any::<bool>(),
    ) {
        static WHOLE: LazyLock<WordGraph> = LazyLock::new(|| WordGraph::new(&BUILT_IN.0.engine.graph));
        let (language, _) = &*BUILT_IN;
        let mut next = forks.iter().cycle();
        let mut choose = |n: usize| usize::from(*next.next().unwrap()) % n;
        let mut said = Sentence::default();
        say(&language.grammar, &language.grammar.rule(EXAM_RULE).unwrap().body, &mut choose, &mut said);
        let mut words: Vec<&str> = said.words.iter().map(String::as_str).collect();
        let all = language.engine.graph.words();
        for limb in [None, Some("LF"), Some("RH")] {
            let now = Moment { limb, asked };
            prop_assert_eq!(WHOLE.allows(now, &words), language.engine.graph.allows(now, &words), "{:?}", words);
        }
        let at = changed.index(words.len());
        words[at] = &all[other.index(all.len())];
        let now = Moment { limb: None, asked };
        prop_assert_eq!(WHOLE.allows(now, &words), language.engine.graph.allows(now, &words), "{:?}", words);
        prop_assert_eq!(WHOLE.continuations(now, &words), language.engine.graph.continuations(now, &words), "{:?}", words);
    }
}

fn fault(source: &str, expect: &Expect) {
    let error = jsgf::read(Path::new("x.gram"), source).unwrap_err();
    expect.assert_eq(&error.to_string());
}

#[test]
fn broken_grammars_say_file_line_and_column() {
    fault(
        "grammar x;",
        &expect![[r#"
        x.gram:1:1: file must begin with `#JSGF V1.0 UTF-8 en;`
         1 | grammar x;
           | ^"#]],
    );
    fault(
        "#JSGF V1.0;\ngrammar x;\n<a> = one | ;",
        &expect![[r#"
        x.gram:3:13: nothing to say here; add words, or remove the `|` or brackets
         3 | <a> = one | ;
           |             ^"#]],
    );
    fault(
        "#JSGF V1.0;\ngrammar x;\n<a> = (one two;",
        &expect![[r#"
        x.gram:3:15: expected `)`
         3 | <a> = (one two;
           |               ^"#]],
    );
    fault(
        "#JSGF V1.0;\ngrammar x;\n<a> = <b>;",
        &expect![[r#"
        x.gram:3:7: rule `<b>` is not defined
         3 | <a> = <b>;
           |       ^"#]],
    );
    fault(
        "#JSGF V1.0;\ngrammar x;\n<a> = one <b>;\n<b> = two [<a>];",
        &expect![[r#"
        x.gram:3:11: rule `<a>` needs itself; use `+` instead
         3 | <a> = one <b>;
           |           ^"#]],
    );
    fault(
        "#JSGF V1.0;\ngrammar x;\n<a> = /2/ one;",
        &expect![[r#"
        x.gram:3:7: `/` has no meaning here; weights, `*` and imports are not supported
         3 | <a> = /2/ one;
           |       ^"#]],
    );
    fault(
        "#JSGF V1.0;\ngrammar x;\n<a> = one {tag;",
        &expect![[r#"
        x.gram:3:11: tag is not closed; add `}`
         3 | <a> = one {tag;
           |           ^"#]],
    );
    fault(
        "#JSGF V1.0;\ngrammar x;\n<a> = one;\n<a> = two;",
        &expect![[r#"
        x.gram:4:1: rule `<a>` is defined twice
         4 | <a> = two;
           | ^"#]],
    );
}

#[test]
fn a_tag_that_the_program_does_not_know_is_refused_when_the_grammar_is_loaded() {
    let refused = |rule: &str, expect: &Expect| {
        let folder = tempfile::tempdir().unwrap();
        let text = format!("#JSGF V1.0;\ngrammar x;\npublic <exam> = {rule};\n");
        std::fs::write(folder.path().join("exam.gram"), text).unwrap();
        std::fs::write(folder.path().join("words.dict"), "").unwrap();
        let told = Pack::read(folder.path()).unwrap_err().to_string();
        let told = told.replace(&folder.path().display().to_string(), "x");
        expect.assert_eq(told.split(';').next().unwrap().split("\n").next().unwrap());
    };
    refused("left {lim=LF} {!view}", &expect!["x/exam.gram:3:22: `lim` is not a tag that the program knows"]);
    refused("save {!sav}", &expect!["x/exam.gram:3:22: `sav` is not a closing that the program knows"]);
    refused("one {+x} {!value}", &expect!["x/exam.gram:3:21: `{+x}` adds no whole number"]);
    refused("left {LF} {!view}", &expect!["x/exam.gram:3:22: `{LF}` is not a tag"]);
    refused(
        "scar {class=leison} {term=scar} {!finding}",
        &expect!["x/exam.gram:3:22: `leison` is not a value of `class=`"],
    );
    refused(
        "halt {command=halt} {!command}",
        &expect!["x/exam.gram:3:22: `halt` is not a value of `command=`"],
    );
    refused("how {ask=how} {!question}", &expect!["x/exam.gram:3:21: `how` is not a value of `ask=`"]);
    refused(
        "chip {what=microchp} {!identity}",
        &expect!["x/exam.gram:3:22: `microchp` is not a value of `what=`"],
    );
    refused("left {limb=} {!view}", &expect!["x/exam.gram:3:22: `{limb=}` gives no text after `limb=`"]);
}

#[test]
fn a_command_has_one_name_in_grammars_journals_and_records() {
    let commands = [
        Command::TakeBack { count: 1 },
        Command::TakeBackSave,
        Command::ClockMark,
        Command::PauseJournal,
        Command::ResumeJournal,
        Command::StartOfExam,
        Command::EndOfExam,
        Command::LimbDone { limb: None },
        Command::NewHorse,
    ];
    for command in &commands {
        assert_eq!(serde_json::to_value(command).unwrap()["command"], command.name().as_str());
    }
    assert_eq!(commands.each_ref().map(Command::name), CommandName::ALL);
}

#[test]
fn the_phrase_card_shows_patterns_and_codes() {
    let (language, _) = &*BUILT_IN;
    let card = phrases(&language.grammar);
    let limb = card.iter().find(|heading| heading.title == "Limb").unwrap();
    assert_eq!(limb.patterns[0], ("left (fore | front) | near fore".to_owned(), "LF".to_owned()));
    let value = card.iter().find(|heading| heading.title == "Measured").unwrap();
    assert_eq!(value.patterns[0].0, "area ‹number› [‹square unit›]");
}

#[test]
fn each_blank_of_the_card_is_spelt_out_in_the_words_of_the_grammar() {
    let (language, _) = &*BUILT_IN;
    let blanks = blanks(&language.grammar);
    let words = |name: &str| {
        let found: Vec<&str> =
            blanks.iter().filter(|blank| blank.0 == name).map(|blank| blank.1.as_str()).collect();
        assert_eq!(found.len(), 1, "{name} in {blanks:#?}");
        found[0].to_owned()
    };
    assert_eq!(words("‹degree›"), "mild | moderate | severe");
    assert_eq!(words("‹position›"), "‹direction› [‹direction›]");
    assert!(words("‹direction›").contains("palmar | plantar"), "{}", words("‹direction›"));
    assert!(words("‹unit›").starts_with("millimetres | "), "{}", words("‹unit›"));
    assert!(words("‹number›").starts_with("Nought to nine hundred"), "a list of numbers would hide the rest");
    // None stands on the card that is not spelt out, the nested ones too.
    let patterns = phrases(&language.grammar).into_iter().flat_map(|heading| heading.patterns);
    let shown = patterns.map(|pattern| pattern.0).chain(blanks.iter().map(|blank| blank.1.clone()));
    for name in shown.flat_map(|text| text.split('‹').skip(1).map(str::to_owned).collect::<Vec<_>>()) {
        words(&format!("‹{}›", name.split('›').next().unwrap()));
    }
}

/// With a call word only what begins with it can be heard and means something; an answer needs none.
#[test]
fn with_a_call_word_only_what_begins_with_it_is_a_call() {
    let sound = Pronunciation {
        word: "computer".to_owned(),
        phones: "K AH M P Y UW T ER".to_owned(),
        file: "here".into(),
        line: 1,
    };
    let pack = Pack::built_in().unwrap();
    let (plain, called) = (pack.sha256.clone(), pack.called_by("computer", vec![sound]));
    assert_ne!(called.sha256, plain, "the journal tells that another language was heard");
    let language = called.for_zones(&zones(&[("LF", &["1A", "2B"])]));
    let hears = |asked: bool, words: &str| {
        let words: Vec<&str> = words.split(' ').collect();
        language.engine.graph.allows(Moment { limb: None, asked }, &words)
    };
    assert!(hears(false, "computer left fore zone two bravo") && !hears(false, "left fore zone two bravo"));
    assert!(hears(true, "yes") && !hears(false, "yes") && !hears(true, "left fore"));
    assert_eq!(language.exam.read(&["computer", "save"]).len(), 1);
    assert!(language.exam.read(&["save"]).is_empty());
    assert!(language.engine.words.iter().any(|word| word.text == "computer"));
    assert!(language.engine.pronunciations.iter().any(|entry| entry.word == "computer"));
}
