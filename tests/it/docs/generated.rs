//! Tables in the pages that come from the program's own data. `UPDATE_EXPECT=1` writes them anew.
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use toml::{Table, Value};

use super::markdown::pages;
use super::root;
use zonecall::session::tone::Tone;

/// Rows of `docs/measured.md` that the README shows.
const HEADLINES: usize = 5;
/// Conditions of the ears' bench that the pages show, with the words for them.
const CONDITIONS: [(&str, &str); 6] = [
    ("quiet", "quiet"),
    ("pink20", "20 dB noise"),
    ("pink15", "15 dB noise"),
    ("pink10", "10 dB noise"),
    ("babble10", "10 dB babble"),
    ("pink5", "5 dB noise"),
];

fn block(name: &str) -> String {
    match name {
        "tones" => tones(),
        "headlines" => headlines(),
        "ears" => ears(),
        "pairing" => crate::pair_simulated::simulated(),
        "values" => values(),
        "cutoffs" => cutoffs(),
        "zones" => zones(),
        "rules" => rules(),
        "structures" => structures(),
        "language" => super::language::sections(),
        _ => panic!("no block is called `{name}`"),
    }
}

#[test]
fn every_generated_table_equals_the_data() {
    for page in pages() {
        let wanted = page.regenerated(block);
        if std::env::var_os("UPDATE_EXPECT").is_some() {
            std::fs::write(&page.path, &wanted).unwrap();
        } else {
            assert!(
                wanted == page.text(),
                "{} is out of date: run the tests with UPDATE_EXPECT=1",
                page.name()
            );
        }
    }
}

pub fn table(head: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> String {
    let mut out = format!("| {} |\n|{}\n", head.join(" | "), "---|".repeat(head.len()));
    for row in rows {
        writeln!(out, "| {} |", row.join(" | ").replace('\n', " ")).unwrap();
    }
    out
}

fn file(path: &str) -> String {
    std::fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn data(path: &str) -> Table {
    file(path).parse().unwrap_or_else(|error| panic!("{path}: {error}"))
}

fn list<'a>(of: &'a Table, key: &str) -> Vec<&'a Table> {
    of.get(key).and_then(Value::as_array).into_iter().flatten().filter_map(Value::as_table).collect()
}

fn text(of: &Table, key: &str) -> String {
    of.get(key).map(plain).unwrap_or_default()
}

fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        Value::Array(values) => values.iter().map(plain).collect::<Vec<_>>().join(", "),
        other => other.to_string(),
    }
}

fn tones() -> String {
    let row = |tone: &Tone| vec![tone.sounds_like().to_owned(), tone.meaning().to_owned()];
    table(&["You hear", "It means"], Tone::ALL.iter().map(row))
}

/// The rows of `docs/measured.md` whose first cell is bold.
fn headlines() -> String {
    let measured = file("docs/measured.md");
    let rows: Vec<Vec<String>> = measured
        .lines()
        .filter_map(|line| line.strip_prefix("| **")?.split_once("** | "))
        .map(|(what, result)| vec![what.to_owned(), result.trim_end_matches(" |").to_owned()])
        .collect();
    assert_eq!(rows.len(), HEADLINES, "docs/measured.md has {} rows in bold", rows.len());
    table(&["What was tried", "Result"], rows)
}

/// Rows of the first table of each ear in `benches/EAR.md`.
fn ears() -> String {
    let bench = file("benches/EAR.md");
    let mut rows = Vec::new();
    for section in bench.split("\n## ").skip(1) {
        let ear = section.split(' ').next().unwrap();
        let Some(first) = section.split("\n\n").find(|part| part.starts_with("| condition |")) else {
            continue;
        };
        for (key, words) in CONDITIONS {
            let Some(row) = first.lines().find(|line| line.starts_with(&format!("| {key} |"))) else {
                continue;
            };
            let cells: Vec<&str> = row.split('|').map(str::trim).collect();
            if ["neural", "sphinx", "vosk"].contains(&ear) {
                rows.push(
                    [ear, words, cells[2], cells[3], cells[4], cells[6], cells[7]]
                        .map(str::to_owned)
                        .to_vec(),
                );
            }
        }
    }
    assert!(!rows.is_empty(), "benches/EAR.md has no table of an ear");
    let head =
        ["Ear", "In", "Phrases", "Right at once", "Asked, right among two", "Missed", "Wrong and acted on"];
    table(&head, rows)
}

fn values() -> String {
    let all = data("protocols/values.toml");
    let row = |value: &&Table| {
        let bounds =
            format!("{} to {} {}", text(value, "min"), text(value, "max"), text(value, "bound_unit"));
        let units = if value.contains_key("units") { text(value, "units") } else { "a score".to_owned() };
        let default = if value.contains_key("unit") { text(value, "unit") } else { "none".to_owned() };
        vec![text(value, "term"), units, default, bounds.trim().to_owned(), text(value, "source")]
    };
    table(
        &["What", "Units", "If none is said", "Asked about outside", "Source"],
        list(&all, "value").iter().map(row),
    )
}

/// Every key that holds a limit, with the source beside it.
fn cutoffs() -> String {
    let all = data("protocols/measures.toml");
    let mut rows = Vec::new();
    // By name, whatever order the reader of TOML keeps.
    let parts: BTreeMap<&String, &Table> =
        all.iter().filter_map(|(name, part)| Some((name, part.as_table()?))).collect();
    for (name, part) in parts {
        let about = name.replace('_', " ");
        for class in list(part, "class") {
            let limit = format!("up to {} %", text(class, "up_to"));
            rows.push(vec![format!("{about}: {}", text(class, "name")), limit, text(part, "source")]);
        }
        let keys: BTreeSet<&String> = part.keys().filter(|key| key.ends_with("over_percent")).collect();
        for key in keys {
            let first = key.trim_end_matches("over_percent");
            let source = text(part, &format!("{first}source"));
            let about = format!("{about} {}", first.trim_end_matches('_')).trim().to_owned();
            rows.push(vec![about, format!("over {} %", text(part, key)), source]);
        }
    }
    assert!(!rows.is_empty(), "protocols/measures.toml holds no cut-off");
    table(&["Compared with", "Cut-off", "Source"], rows)
}

fn zones() -> String {
    let plain_words = data("protocols/plain.toml");
    let mut files: Vec<String> = std::fs::read_dir(root().join("protocols"))
        .unwrap()
        .map(|entry| format!("protocols/{}", entry.unwrap().file_name().to_string_lossy()))
        .filter(|path| path.ends_with(".toml"))
        .collect();
    files.sort();
    let mut rows = Vec::new();
    for scheme in files.iter().map(|path| data(path)).filter(|scheme| scheme.contains_key("zones")) {
        let name = text(&scheme, "name");
        let is_default = scheme.get("default").and_then(Value::as_bool).unwrap_or_default();
        let shown = if is_default { format!("{name} (default)") } else { name.clone() };
        let words = plain_words["zones"].get(&name).and_then(Value::as_table);
        for zone in list(&scheme, "zones") {
            let code = text(zone, "code");
            let place = words.map(|words| text(words, &code)).unwrap_or_default();
            rows.push(vec![shown.clone(), text(&scheme, "groups"), code, place, text(zone, "structures")]);
        }
    }
    table(&["Scheme", "Limbs", "Zone", "In plain words", "Structures expected"], rows)
}

fn rules() -> String {
    let all = data("protocols/rules.toml");
    let word = |severity: String| match severity.as_str() {
        "warn" => "warning".to_owned(),
        "info" => "note".to_owned(),
        _ => severity,
    };
    let row = |rule: &&Table| {
        vec![format!("`{}`", text(rule, "id")), word(text(rule, "severity")), text(rule, "why")]
    };
    table(&["Rule", "Severity", "Why"], list(&all, "rule").iter().map(row))
}

fn structures() -> String {
    let all = data("protocols/structures.toml");
    let row = |structure: &&Table| vec![text(structure, "code"), text(structure, "name")];
    table(&["Code", "Structure"], list(&all, "structure").iter().map(row))
}
