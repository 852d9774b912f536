//! Which horse it is, said at the horse: by its number on the list of the day, or by its name, spelled.
use crate::support;

use support::BUILT_IN;
use support::talk::{Talk, person};
use zonecall::exam::call::Act;
use zonecall::exam::event::{Event, Horse, Order, Outcome};
use zonecall::exam::parse::parse;
use zonecall::session::dialogue::{DialogueOptions, Speech};
use zonecall::session::listed_horse::ListedHorse;
use zonecall::session::notice::Notice;

/// What a phrase spells, or what is wrong with it.
fn spells(words: &str) -> String {
    let (language, protocols) = &*BUILT_IN;
    let parsed = parse(&support::utterance(0.0, words), language, protocols);
    match (parsed.calls.as_slice(), parsed.problems.first()) {
        ([call], None) => match &call.act {
            Act::Identity { what, value } => format!("{what} {value}"),
            other => format!("{other:?}"),
        },
        (calls, problem) => format!("{calls:?} {problem:?}"),
    }
}

/// The spelling alphabet of radio: ICAO Annex 10, volume II, 5.2.1.3, from memory, with the usual English spellings of
/// "alfa", "juliett" and "x-ray".
const ALPHABET: [&str; 26] = [
    "alpha", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india", "juliet", "kilo",
    "lima", "mike", "november", "oscar", "papa", "quebec", "romeo", "sierra", "tango", "uniform", "victor",
    "whiskey", "xray", "yankee", "zulu",
];

/// The words that spell a name.
fn spelling(name: &str) -> String {
    let digits = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
    let word = |c: char| match (c, c.to_digit(10)) {
        (' ', _) => "space",
        ('-', _) => "hyphen",
        ('\'', _) => "apostrophe",
        (_, Some(digit)) => digits[digit as usize],
        (c, None) => ALPHABET.iter().find(|word| word.starts_with(c.to_ascii_lowercase())).unwrap(),
    };
    name.chars().map(word).collect::<Vec<_>>().join(" ")
}

#[test]
fn every_letter_every_figure_and_what_parts_a_name_can_be_spelled() {
    for name in [
        "Juniper",
        "Quixv",
        "Bdfghkwyz",
        "Alco Most",
        "Juniper 2",
        "O'Hara",
        "Anna-Lee",
        "R2 D2",
        "X1034567890",
    ] {
        assert_eq!(spells(&format!("horse {}", spelling(name))), format!("horse_name {name}"));
        assert_eq!(
            spells(&format!("horse name {} end of name", spelling(name))),
            format!("horse_name {name}")
        );
    }
    // A number alone is that of the list, and no name begins with a figure or is one letter.
    assert_eq!(spells("horse three"), "horse_number 3");
    for no_name in ["horse alpha", "horse juliet", "horse november correction oscar"] {
        assert!(!spells(no_name).starts_with("horse_name "), "{no_name}: {}", spells(no_name));
    }
}

#[test]
fn a_spelled_name_and_more_in_one_phrase_is_refused_for_nobody_would_be_asked() {
    let told = spells(&format!("horse {} gelding", spelling("Juno")));
    assert!(told.starts_with("[] Some") && told.contains("in a phrase of its own"), "{told}");
}

#[test]
fn a_slip_is_corrected_while_spelling() {
    for (said, name) in [
        ("juliet uniform mike correction november india papa echo romeo", "Juniper"),
        ("juliet uniform november correction correction oscar", "Jo"),
        ("bravo oscar start again juliet uniform november", "Jun"),
        ("juliet oscar correction uniform november", "Jun"),
    ] {
        assert_eq!(spells(&format!("horse {said}")), format!("horse_name {name}"), "{said}");
    }
}

fn nameless(speech: Speech) -> Talk {
    let mut header = support::header();
    header.horse = Horse::default();
    Talk::of(header, person(speech))
}

fn horse(name: &str, id: Option<&str>) -> Horse {
    Horse { name: Some(name.to_owned()), id: id.map(str::to_owned), ..Horse::default() }
}

fn listed(number: &str, horse: Horse) -> ListedHorse {
    ListedHorse { number: number.to_owned(), horse, order: None }
}

fn named(talk: &Talk) -> (Option<&str>, Option<&str>) {
    let horse = &talk.dialogue.exam().header.horse;
    (horse.name.as_deref(), horse.id.as_deref())
}

fn spell<'a>(talk: &'a mut Talk, name: &str) -> &'a mut Talk {
    talk.say(&format!("horse {}", spelling(name))).at_s += 4.0;
    talk
}

#[test]
fn a_horse_of_the_days_list_is_named_by_its_number_and_read_back() {
    let mut talk = Talk::aloud();
    let bramble = horse("Bramble", Some("4711"));
    talk.dialogue.set_day_list(vec![listed("3", bramble.clone())]);
    talk.say("horse three");
    assert_eq!(talk.said().last(), Some(&"Bramble, horse 3 instead of Juniper?"));
    assert_eq!(
        named(&talk).0,
        Some("Juniper"),
        "a number is easily misheard: nothing changes before the yes"
    );
    talk.say("no").at_s += 4.0;
    assert_eq!(named(&talk).0, Some("Juniper"));
    talk.say("horse three").say("yes");
    assert_eq!(talk.said().last(), Some(&"Bramble"));
    assert_eq!(talk.dialogue.exam().header.horse, bramble);
    talk.at_s += 5.0;
    talk.say("horse four");
    assert_eq!(talk.told(Notice::Incomplete), ["the list of the day has no horse 4"]);
    assert_eq!(talk.dialogue.exam().header.horse, bramble);
    // Said once more, it is read back, and there is nothing to confirm.
    talk.at_s += 5.0;
    talk.say("horse three");
    assert_eq!((talk.said().last(), talk.outcomes().last()), (Some(&"Bramble"), Some(&Outcome::Calls)));
}

/// As `--number` takes it: horse, accession number and study, and none of those of the horse before.
#[test]
fn all_that_the_list_says_of_a_horse_comes_with_its_number() {
    let mut talk = nameless(Speech::Silent);
    let order = |accession: &str| {
        Some(Order { accession: Some(accession.to_owned()), study: Some("2.25.801".to_owned()) })
    };
    talk.dialogue.set_day_list(vec![
        ListedHorse { order: order("A1"), ..listed("3", horse("Bramble", Some("4711"))) },
        ListedHorse { order: order("A2"), ..listed("4", horse("Nettles", Some("4712"))) },
        listed("5", horse("Juniper", Some("4713"))),
    ]);
    talk.say("horse three").say("yes");
    assert_eq!(talk.dialogue.exam().header.order, order("A1"));
    talk.say("horse four").say("yes");
    assert_eq!(
        (named(&talk), talk.dialogue.exam().header.order.clone()),
        ((Some("Nettles"), Some("4712")), order("A2"))
    );
    talk.say("horse five").say("yes");
    assert_eq!(
        (named(&talk), talk.dialogue.exam().header.order.clone()),
        ((Some("Juniper"), Some("4713")), None)
    );
}

/// What the list says of one horse is not said of the next, which has no number.
#[test]
fn nothing_of_the_horse_before_stays_with_another_one() {
    let mut talk = nameless(Speech::Silent);
    talk.dialogue.set_day_list(vec![
        listed("3", Horse { owner: Some("Kim Example".to_owned()), ..horse("Bramble", Some("4711")) }),
        listed("4", horse("Nettles", None)),
    ]);
    talk.say("horse three").say("yes").say("horse four").say("yes");
    assert_eq!(talk.dialogue.exam().header.horse, horse("Nettles", None));
    spell(&mut talk, "Juniper").say("yes");
    assert_eq!(talk.dialogue.exam().header.horse, horse("Juniper", None));
}

#[test]
fn a_name_that_is_given_to_a_horse_known_by_its_number_alone_leaves_it_the_number() {
    let mut header = support::header();
    header.horse = Horse { id: Some("4711".to_owned()), ..Horse::default() };
    let mut talk = Talk::of(header, person(Speech::Aloud));
    spell(&mut talk, "Juno").say("yes");
    assert_eq!(named(&talk), (Some("Juno"), Some("4711")), "{:?}", talk.said());
    let others: Vec<bool> = talk
        .lines
        .iter()
        .filter_map(|line| match &line.event {
            Event::Named(named) => Some(named.other),
            _ => None,
        })
        .collect();
    assert_eq!(others, [false], "it is the same horse");
}

#[test]
fn a_spelled_name_is_read_back_as_a_name_and_counts_after_a_yes() {
    let mut talk = nameless(Speech::Aloud);
    spell(&mut talk, "Juniper");
    assert_eq!((talk.said().last(), talk.outcomes().last()), (Some(&"Juniper?"), Some(&Outcome::Asked)));
    assert!(talk.question().unwrap().starts_with("J U N I P E R = Juniper?"), "{:?}", talk.question());
    assert_eq!(named(&talk), (None, None), "nothing is named before the yes");
    talk.say("no");
    assert_eq!(named(&talk), (None, None));
    spell(&mut talk, "Juniper").say("yes");
    assert_eq!(named(&talk), (Some("Juniper"), None));
    assert_eq!(talk.told(Notice::Answer), ["the horse is Juniper"]);
    // The exam has a name now: another one is asked about with both.
    spell(&mut talk, "Bramble");
    assert_eq!(talk.said().last(), Some(&"Bramble instead of Juniper?"));
    talk.at_s += 20.0;
    talk.say("zone two alpha");
    assert_eq!(named(&talk), (Some("Juniper"), None), "without an answer it stays");
}

#[test]
fn a_name_that_was_broken_off_goes_on() {
    let mut talk = nameless(Speech::Aloud);
    spell(&mut talk, "Juni");
    talk.say("name goes on papa echo romeo").at_s += 4.0;
    assert_eq!(talk.said().last(), Some(&"Juniper?"));
    talk.say("name goes on space two").at_s += 4.0;
    talk.say("yes");
    assert_eq!(named(&talk), (Some("Juniper 2"), None));
    talk.say("name goes on papa");
    assert_eq!(
        talk.told(Notice::Incomplete).last(),
        Some(&"no name was started: spell it from the first letter")
    );
    assert_eq!(named(&talk), (Some("Juniper 2"), None));
}

#[test]
fn a_name_of_the_list_stands_for_that_horse_and_two_of_one_name_are_chosen_between() {
    let list = |ids: &[(&str, &str)]| -> Vec<ListedHorse> {
        let row =
            |(idx, (name, id)): (usize, &(&str, &str))| listed(&(idx + 1).to_string(), horse(name, Some(id)));
        ids.iter().enumerate().map(row).collect()
    };
    let mut talk = nameless(Speech::Aloud);
    talk.dialogue.set_day_list(list(&[("Bramble", "1"), ("Juniper", "2")]));
    spell(&mut talk, "juniper");
    assert_eq!(talk.said().last(), Some(&"Juniper, horse 2?"));
    talk.say("yes");
    assert_eq!(named(&talk), (Some("Juniper"), Some("2")));
    let mut talk = nameless(Speech::Aloud);
    talk.dialogue.set_day_list(list(&[("Juniper", "1"), ("Juniper", "2")]));
    spell(&mut talk, "Juniper");
    assert_eq!(talk.said().last(), Some(&"Juniper, horse 1, or Juniper, horse 2?"));
    talk.say("second");
    assert_eq!(named(&talk), (Some("Juniper"), Some("2")));
    // One sign beside a known name: as it was spelled, or as it is known.
    let mut talk = nameless(Speech::Aloud);
    talk.dialogue.set_day_list(list(&[("Juniper", "1")]));
    spell(&mut talk, "Junipar");
    assert_eq!(talk.said().last(), Some(&"Junipar, or Juniper, horse 1?"));
    talk.say("second");
    assert_eq!(named(&talk), (Some("Juniper"), Some("1")));
}

#[test]
fn a_name_of_an_earlier_exam_may_be_that_horse_or_another_one() {
    let mut talk = nameless(Speech::Aloud);
    let known = Horse { breed: Some("cob".to_owned()), ..horse("Juniper", Some("4711")) };
    talk.dialogue.set_known_horses(vec![known.clone(), horse("Bramble", None)]);
    spell(&mut talk, "Juniper");
    assert_eq!(talk.said().last(), Some(&"Juniper, number 4711, or another Juniper?"));
    talk.say("first");
    assert_eq!(talk.dialogue.exam().header.horse, known);
    let mut talk = nameless(Speech::Aloud);
    talk.dialogue.set_known_horses(vec![known]);
    spell(&mut talk, "Juniper").say("second");
    assert_eq!(named(&talk), (Some("Juniper"), None));
}

/// Nobody can be asked: what was spelled is in the journal, and names nothing.
#[test]
fn in_a_recording_a_spelled_name_names_nothing() {
    let mut header = support::header();
    header.horse = Horse::default();
    let mut talk = Talk::of(header, DialogueOptions::default());
    spell(&mut talk, "Juniper");
    assert_eq!(talk.calls().len(), 1);
    assert!(talk.lines.iter().all(|line| !matches!(line.event, Event::Named(_))));
}
