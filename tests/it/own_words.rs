//! A practice's own words: they mean what they stand for wherever that is said, and no line that could be misheard is taken.
use crate::support;
use crate::support::program;

use std::path::Path;
use std::process::{Command, Output};

use program::{hear, zonecall};
use zonecall::exam::call::Call;
use zonecall::exam::parse::parse;
use zonecall::language::word_states::WordStates as _;
use zonecall::protocol::Protocols;
use zonecall::session::spoken::SpokenLanguage;

const OWN: &str = "# what we say here
sausage = suspensory body = S AO1 S IH0 JH
blob = core lesion = B L AA B   # on any structure
over yonder = right hind = OW V ER, Y AA N D ER
cigarette two = two bravo = S IH G ER EH T, T UW
";

fn protocols() -> Protocols {
    Protocols::built_in().unwrap()
}

/// The language with the own words in `text`, or what is wrong with them.
fn with(text: &str) -> Result<SpokenLanguage, String> {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("own.txt");
    std::fs::write(&file, text).unwrap();
    let protocols = protocols();
    let spoken = SpokenLanguage::read(None, protocols.choose(&[]).unwrap(), &protocols).unwrap();
    spoken.with_own_words(&file, &protocols).map_err(|error| error.to_string())
}

fn calls(spoken: &SpokenLanguage, words: &str) -> Vec<Call> {
    parse(&support::utterance(0.0, words), &spoken.language, &protocols()).calls
}

fn shown(spoken: &SpokenLanguage, words: &str) -> String {
    calls(spoken, words).iter().map(|call| call.act.to_string()).collect::<Vec<_>>().join("; ")
}

#[test]
fn an_own_phrase_means_what_it_stands_for_wherever_that_is_said() {
    let spoken = with(OWN).unwrap();
    for (said, meant) in [
        ("sausage", "suspensory body"),
        ("core lesion in the sausage", "core lesion in the suspensory body"),
        ("mild blob medially", "mild core lesion medially"),
        ("no blob seen", "no core lesion seen"),
        ("sausage enlarged", "suspensory body enlarged"),
        ("over yonder", "right hind"),
        ("over yonder cigarette two transverse sausage", "right hind two bravo transverse suspensory body"),
    ] {
        assert!(!shown(&spoken, said).is_empty(), "{said}");
        assert_eq!(shown(&spoken, said), shown(&spoken, meant), "{said}");
    }
    assert_eq!(calls(&spoken, "mild blob in the sausage")[0].words, "mild blob in the sausage");
    assert!(
        spoken.language.engine.graph.allows(Default::default(), &["sausage", "enlarged"]),
        "an ear hears it"
    );
    let given = spoken.language.engine.pronunciations.iter().find(|given| given.word == "sausage").unwrap();
    assert_eq!((given.phones.as_str(), given.line), ("S AO S IH JH", 2), "without marks of stress");
}

#[test]
fn a_word_that_no_dictionary_knows_is_given_the_sound_of_english_words() {
    let unknown = with("zwei = suspensory body\n").err().unwrap();
    let example = "sehne = suspensory body = like zany";
    assert!(
        unknown.contains("no dictionary says how `zwei` sounds") && unknown.contains("= like zany"),
        "{unknown}"
    );
    let spoken = with(&format!("{example}\nsehne drei = right hind = like zany, dry rick\n")).unwrap();
    assert_eq!(
        shown(&spoken, "core lesion in the sehne"),
        shown(&spoken, "core lesion in the suspensory body")
    );
    let sound = |word: &str| {
        let given = spoken.language.engine.pronunciations.iter().find(|given| given.word == word);
        given.map(|given| given.phones.clone())
    };
    // As the CMU Pronouncing Dictionary has "zany", "dry" and "rick", from memory.
    assert_eq!(sound("sehne").as_deref(), Some("Z EY N IY"));
    assert_eq!(sound("drei").as_deref(), Some("D R AY R IH K"));
    for (wrong, told) in [
        ("zwei = two bravo = like xqzt", "how `xqzt` sounds, either"),
        ("zwei drei = two bravo = like sky", "2 words and 1 sounds"),
        ("zwei = two bravo = like ", "is not a sound of ARPAbet"),
    ] {
        let why = with(&format!("{wrong}\n")).err().unwrap();
        assert!(why.contains(told), "{wrong}: {why}");
    }
}

#[test]
fn no_own_phrase_stands_in_the_way_of_one_of_the_language() {
    // All its words are known, and a reading with it would be one phrase in place of two.
    let spoken = with("lesion digital = core lesion\n").unwrap();
    assert_eq!(shown(&spoken, "lesion digital"), "core lesion");
    let plain = with("").unwrap();
    for words in
        ["lesion digital sheath", "border lesion digital sheath", "lesion digital flexor sheath", "lesion"]
    {
        assert_eq!(shown(&spoken, words), shown(&plain, words), "{words}");
    }
    assert_ne!(with(OWN).unwrap().pack.sha256, plain.pack.sha256, "the journal tells with what it was heard");
}

#[test]
fn what_cannot_be_an_own_phrase_is_refused_with_its_line() {
    for (line, why) in [
        ("sausage suspensory", "is not `phrase = phrase of the language`"),
        ("= suspensory body", "a side of `=` is empty"),
        ("sausage 2 = suspensory body", "`2` is not a word"),
        ("sausage = dachshund", "`dachshund` is not one phrase of the language"),
        ("click = save = K L IH K", "`save` acts on the exam itself"),
        ("farewell = end of exam = F EH R W EH L", "acts on the exam itself"),
        ("deep flexor = suspensory body", "`deep flexor` is a phrase of the language already"),
        ("zzyzzx = suspensory body", "no dictionary says how `zzyzzx` sounds"),
        ("sausage = suspensory body = S OO S", "`OO` is not a sound of ARPAbet"),
        ("old sausage = suspensory body = S AO S IH JH", "2 words and 1 sounds"),
        // A word that means something by itself, or is short for one.
        ("abnormal look = normal = AE B N AO R M AH L, L UH K", "`abnormal look` holds or begins `abnormal`"),
        ("hyper = hypoechoic = HH AY P ER", "`hyper` holds or begins `hyperech"),
        // A limb, a side or a negation, also inside a longer phrase and though the language knows the word.
        ("hind end = suspensory body", "`hind end` holds `hind`: no own phrase may hold"),
        ("near one = suspensory body", "`near one` holds `near`"),
        ("no go = normal", "`no go` holds `no`"),
        ("sausage not = suspensory body = S AO S IH JH, N AA T", "`sausage not` holds `not`"),
        ("never sausage = suspensory body = N EH V ER, S AO S IH JH", "holds `never`"),
        // Too near a save, a limb, a negation and an opposite.
        ("safe = suspensory body = S EY F", "sounds too much like `save`"),
        ("loft = suspensory body = L EH F", "sounds too much like `left`"),
        ("knot = core lesion = N AA T", "sounds too much like `not`"),
        (
            "lateril branch = medial branch = L AE T ER IH L, B R AE N CH",
            "sounds too much like `lateral branch`",
        ),
        ("hyperechoics = hypoechoic = HH AY P ER EH K OW IH K S", "sounds too much like `hyperechoic`"),
    ] {
        let told = with(&format!("# ours\n{line}\n")).unwrap_err();
        assert!(told.contains("own.txt:2:1: ") && told.contains(why), "{line}: {told}");
    }
    let twice = with("blob = core lesion = B L AA B\nblob = split = B L AA B\n").unwrap_err();
    assert!(twice.contains("own.txt:2:1: `blob` stands in line 1 already"), "{twice}");
}

#[test]
fn the_journal_keeps_the_words_as_said_with_their_meaning() {
    let said = "left fore blob in the sausage";
    let heard = |beside: &str, more: &[&str]| {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join(beside), OWN).unwrap();
        let named = folder.path().join("ours.txt").to_string_lossy().into_owned();
        let more: Vec<&str> =
            more.iter().copied().chain((!more.is_empty()).then_some(named.as_str())).collect();
        let done = hear(folder.path(), said, &more);
        let journal = std::fs::read_to_string(folder.path().join("exam/exam.jsonl"));
        journal.unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&done.stderr)))
    };
    for journal in [heard("own.txt", &[]), heard("ours.txt", &["--own-words"])] {
        assert!(
            journal.contains("blob in the sausage") && journal.contains("\"structure\":\"SL-body\""),
            "{journal}"
        );
        assert!(journal.contains("\"term\":\"core lesion\""), "{journal}");
    }
    let without = heard("elsewhere.txt", &[]);
    assert!(without.contains("not_understood"), "{without}");
}

#[test]
fn a_bad_line_stops_the_hearing_and_the_doctor_names_it() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(
        folder.path().join("own.txt"),
        "sausage = suspensory body = S AO S IH JH\nknot = core lesion = N AA T\n",
    )
    .unwrap();
    let told = |output: &Output| {
        format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr))
    };
    let done = hear(folder.path(), "sausage", &[]);
    assert!(
        done.status.code() == Some(2) && told(&done).contains("own.txt:2:1: `knot` sounds"),
        "{}",
        told(&done)
    );
    let doctor = Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .args(["doctor", "--into"])
        .arg(folder.path())
        .env("ZONECALL_SETTINGS", folder.path().join("zonecall.toml"))
        .output()
        .unwrap();
    let lines = told(&doctor);
    assert!(doctor.status.code() == Some(1) && lines.contains("MISSING      own words"), "{lines}");
    assert!(lines.contains("own.txt:2:1: `knot` sounds too much like `not`"), "{lines}");
    assert!(lines.contains("there        grammar"), "the rest is looked at as before: {lines}");
}

#[test]
fn own_words_are_listed_with_what_can_be_said_and_a_sample_is_called_one() {
    let folder = tempfile::tempdir().unwrap();
    let own = folder.path().join("own.txt");
    std::fs::write(&own, OWN).unwrap();
    let listed = zonecall(&["phrases", "--own-words", &own.to_string_lossy()]);
    let listed = String::from_utf8_lossy(&listed.stdout).into_owned();
    assert!(listed.contains("YOUR OWN WORDS") && listed.contains("sausage"), "{listed}");
    let korean = Path::new(env!("CARGO_MANIFEST_DIR")).join("grammars/ko");
    let doctor = zonecall(&["doctor", "--grammar", &korean.to_string_lossy()]);
    let told = String::from_utf8_lossy(&doctor.stdout).into_owned();
    assert!(told.contains("`ko` is a sample of how a grammar is written"), "{told}");
}

#[test]
fn settings_that_are_named_and_not_there_and_keys_that_are_none_are_told_before_a_horse_is_there() {
    let folder = tempfile::tempdir().unwrap();
    let doctor = || {
        let mut command = Command::new(env!("CARGO_BIN_EXE_zonecall"));
        command.args(["doctor", "--into"]).arg(folder.path());
        let done = command.env("ZONECALL_SETTINGS", folder.path().join("zonecall.toml")).output().unwrap();
        (done.status.code(), String::from_utf8_lossy(&done.stdout).into_owned())
    };
    let (code, told) = doctor();
    assert!(code == Some(1) && told.contains("MISSING      settings"), "{told}");
    let heard = hear(folder.path(), "left fore", &[]);
    let told = String::from_utf8_lossy(&heard.stderr);
    assert!(told.contains("ZONECALL_SETTINGS names `") && told.contains("so no settings are used"), "{told}");
    std::fs::write(folder.path().join("zonecall.toml"), "encrypt_for = [\"age1example\"]\n").unwrap();
    let (code, told) = doctor();
    assert!(code == Some(1) && told.contains("MISSING      encryption"), "{told}");
}
