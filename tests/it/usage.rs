//! How often words follow each other: the model against its formula, and what it must never prefer.
use std::path::Path;

use zonecall::language::pack::Pack;
use zonecall::language::usage::{BEGINNING, Usage};

fn usage(text: &str) -> Usage {
    Usage::read(Path::new("usage.txt"), text).unwrap()
}

#[test]
fn a_word_is_as_probable_as_witten_and_bell_say() {
    // Chen and Goodman, "An empirical study of smoothing techniques for language modeling", Computer Speech and Language
    // 13:359 (1999), interpolated: (count after + kinds x probability alone) / (count + kinds), kinds weighed by 1.5 here.
    let usage = usage("3 zone two\n1 zone save\n2 save\n");
    let odds = usage.odds(10);
    let alone = |said: f64| (said + 0.5) / (10.0 + 0.5 * 10.0);
    let (zone, two, save) = (usage.counted("zone"), usage.counted("two"), usage.counted("save"));
    let near = |found: Option<f64>, wanted: f64| {
        assert!((found.unwrap() - wanted.ln()).abs() < 1e-12, "{found:?} {wanted}");
    };
    near(odds.ln(zone, two), (3.0 + 3.0 * alone(3.0)) / (4.0 + 3.0));
    near(odds.ln(zone, save), (1.0 + 3.0 * alone(3.0)) / (4.0 + 3.0));
    near(odds.ln(zone, zone), 3.0 * alone(4.0) / (4.0 + 3.0));
    near(odds.ln(BEGINNING, zone), (4.0 + 3.0 * alone(4.0)) / (6.0 + 3.0));
    near(odds.ln(two, save), alone(3.0));
    near(odds.ln(zone, usage.counted("never said")), 3.0 * alone(0.0) / (4.0 + 3.0));
}

#[test]
fn after_each_word_the_probabilities_of_all_words_add_up_to_one() {
    let usage = usage("= left right\n5 left fore\n2 right hind two\n1 save\n");
    let words = ["left", "right", "fore", "hind", "two", "save", "uncounted", "uncounted as well"];
    // Left and right are counted as one word: of eight words seven are counted apart.
    let odds = usage.odds(words.len() - 1);
    for before in words.iter().map(|word| usage.counted(word)).chain([BEGINNING]) {
        let sum: f64 = words.iter().map(|word| odds.ln(before, usage.counted(word)).unwrap().exp()).sum();
        assert!((sum - 1.0).abs() < 1e-12, "{before:?}: {sum}");
    }
}

#[test]
fn what_must_not_be_mistaken_for_each_other_is_never_preferred_to_each_other() {
    let pack = Pack::built_in().unwrap();
    let usage = pack.usage.unwrap();
    let odds = usage.odds(1000);
    let alike = [
        vec!["left", "right", "near", "off"],
        vec!["fore", "hind"],
        vec!["one", "two", "three", "five", "nine", "fifteen", "fifty", "thirteen", "thirty", "seventy"],
        vec!["alpha", "bravo", "charlie"],
        vec!["transverse", "longitudinal"],
        vec!["superficial", "deep"],
        vec!["medial", "lateral", "dorsal", "palmar", "plantar"],
        vec!["hypoechoic", "hyperechoic", "anechoic"],
        vec!["millimetres", "centimetres"],
        vec!["mild", "moderate", "severe"],
        vec!["larger", "smaller"],
        vec!["better", "worse"],
        vec!["normal", "abnormal"],
    ];
    let befores = ["zone", "lesion", "the", "fore", "left", "core", "area", "never counted"];
    for words in alike {
        for before in befores.iter().map(|word| usage.counted(word)).chain([BEGINNING]) {
            let all: Vec<f64> =
                words.iter().map(|word| odds.ln(before, usage.counted(word)).unwrap()).collect();
            assert!(all.windows(2).all(|two| two[0].to_bits() == two[1].to_bits()), "{words:?}: {all:?}");
        }
    }
}

#[test]
fn leaving_out_a_word_that_turns_the_meaning_round_never_gains() {
    let usage = Pack::built_in().unwrap().usage.unwrap();
    let odds = usage.odds(1000);
    let words = [
        "no", "not", "isn't", "aren't", "never", "without", "nor", "longer", "point", "zero", "oh", "half",
        "hundred", "and",
    ];
    for word in words.map(|word| usage.counted(word)) {
        for other in ["it", "enlarged", "lesion", "two", "never counted"].map(|word| usage.counted(word)) {
            assert_eq!((odds.ln(other, word), odds.ln(word, other)), (None, None), "{word:?}");
        }
    }
}

#[test]
fn a_wrong_line_is_named_with_what_to_write() {
    for (text, line, about) in [
        ("5 left fore\nsave\n", 2, "how often, 1 to 5"),
        ("9 save\n", 1, "how often, 1 to 5"),
        ("0 save\n", 1, "how often, 1 to 5"),
        ("3\n", 1, "how often, 1 to 5"),
        ("= left right\n# opposites\n= right wrong\n", 3, "another line that begins"),
        ("= left right\n~ not left\n", 2, "another line that begins"),
    ] {
        let fault = Usage::read(Path::new("usage.txt"), text).unwrap_err().to_string();
        assert!(fault.contains(about) && fault.contains(&format!("usage.txt:{line}")), "{fault}");
    }
    assert!(Usage::read(Path::new("usage.txt"), "").is_ok(), "nothing counted is no fault");
}
