//! What people read: links lead somewhere, command lines parse, phrases can be said, tables equal the data.
mod commands;
pub mod generated;
mod language;
mod markdown;

use std::path::{Path, PathBuf};

use crate::support::{BUILT_IN, utterance};
use crate::tidy;
use markdown::{Page, pages};
use zonecall::exam::parse::parse;

/// Turns that read as translated, with what to write instead; `docs/style.md` lists them as examples.
const TRANSLATED: [(&str, &str); 17] = [
    ("is told", "is reported"),
    ("are told", "are reported"),
    ("in force", "current"),
    ("put right", "corrected"),
    ("puts right", "corrects"),
    ("stands beside", "appears next to"),
    ("stand beside", "appear next to"),
    ("only ever added to", "append-only"),
    ("heed", "use or follow"),
    ("that stands", "that is valid"),
    ("line through time", "timeline"),
    ("looked at and left", "accepted"),
    ("asked back", "read back"),
    ("is there already", "already exists"),
    ("read by anybody", "read by anyone"),
    ("took back", "undid"),
    ("written over", "overwritten"),
];
/// Longest README and longest page for developers, in lines.
const LINES_MAX: [(&str, usize); 2] = [("README.md", 120), ("DEVELOPERS.md", 200)];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn every_link_leads_to_a_file_and_a_heading_that_exist() {
    for page in pages() {
        for (line, target) in page.links() {
            if target.contains("://") {
                continue;
            }
            let (file, anchor) = target.split_once('#').unwrap_or((&target, ""));
            let path = if file.is_empty() { page.path.clone() } else { page.folder().join(file) };
            assert!(path.exists(), "{}:{line} links to `{target}`, which does not exist", page.name());
            if !anchor.is_empty() {
                let anchors = Page::read(&path).anchors();
                assert!(
                    anchors.iter().any(|known| known == anchor),
                    "{}:{line} links to `{target}`; headings there: {anchors:?}",
                    page.name()
                );
            }
        }
    }
}

#[test]
fn every_path_that_a_page_names_exists() {
    let folders: Vec<String> = std::fs::read_dir(root())
        .unwrap()
        .map(|entry| entry.unwrap())
        .filter(|entry| entry.path().is_dir())
        .map(|entry| entry.file_name().to_string_lossy().into_owned())
        .filter(|name| !name.starts_with('.') && !["target", "out"].contains(&name.as_str()))
        .collect();
    let is_path = |text: &str| {
        let plain = text.chars().all(|c| c.is_ascii_alphanumeric() || "/._-".contains(c));
        plain && text.split_once('/').is_some_and(|(first, _)| folders.iter().any(|name| name == first))
    };
    for page in pages() {
        for (line, text) in page.code_spans().filter(|(_, text)| is_path(text)) {
            let found = root().join(&text).exists() || page.folder().join(&text).exists();
            assert!(found, "{}:{line} names `{text}`, which does not exist", page.name());
        }
    }
}

#[test]
fn a_line_of_prose_holds_one_sentence() {
    for page in pages().into_iter().filter(|page| page.is_guide()) {
        for (line, text) in page.prose() {
            let bare = markdown::without_code(&text);
            let ends = bare.match_indices(". ").filter(|(at, _)| {
                let next = bare[at + 2..].trim_start_matches(['*', '_', '[', '"', '`']).chars().next();
                next.is_some_and(char::is_uppercase) && !bare[..*at].ends_with(|c: char| c.is_ascii_digit())
            });
            assert_eq!(ends.count(), 0, "{}:{line} holds more than one sentence: {text}", page.name());
        }
    }
}

#[test]
fn pages_are_written_in_plain_english() {
    for page in pages().into_iter().filter(|page| page.is_guide() && !page.path.ends_with("docs/style.md")) {
        for (line, text) in page.prose() {
            let lower = markdown::without_code(&text).to_lowercase();
            for (turn, better) in TRANSLATED {
                assert!(!lower.contains(turn), "{}:{line} says `{turn}`; write {better}", page.name());
            }
        }
    }
}

#[test]
fn reasons_of_the_rules_are_written_in_plain_english() {
    for rule in &BUILT_IN.1.rules.rule {
        let lower = rule.why.to_lowercase();
        for (turn, better) in TRANSLATED {
            assert!(!lower.contains(turn), "rule `{}` says `{turn}`; write {better}", rule.id);
        }
    }
}

#[test]
fn messages_are_written_in_plain_english() {
    for path in tidy::all(&["src"]) {
        let text = std::fs::read_to_string(&path).unwrap();
        for literal in tidy::literals(&text) {
            let lower = literal.to_lowercase();
            for (turn, better) in TRANSLATED {
                assert!(!lower.contains(turn), "{} says `{literal}`; write {better}", path.display());
            }
        }
    }
}

#[test]
fn the_first_pages_stay_short() {
    for (file, lines_max) in LINES_MAX {
        let lines = std::fs::read_to_string(root().join(file)).unwrap().lines().count();
        assert!(lines <= lines_max, "{file} has {lines} lines, at most {lines_max} are allowed");
    }
}

#[test]
fn the_readme_links_every_page_of_docs() {
    let readme = Page::read(&root().join("README.md"));
    let linked: Vec<PathBuf> = readme.links().map(|(_, target)| root().join(target)).collect();
    let developers = Page::read(&root().join("DEVELOPERS.md"));
    let linked: Vec<PathBuf> =
        linked.into_iter().chain(developers.links().map(|(_, target)| root().join(target))).collect();
    for page in pages().iter().filter(|page| page.path.starts_with(root().join("docs"))) {
        let is_linked = linked.iter().any(|link| Path::new(link) == page.path);
        assert!(is_linked, "neither README.md nor DEVELOPERS.md links to {}", page.name());
    }
}

#[test]
fn every_phrase_in_a_table_of_phrases_can_be_said() {
    let (language, protocols) = &*BUILT_IN;
    let mut n_phrases = 0;
    for page in pages().into_iter().filter(|page| page.is_guide()) {
        for (line, phrase) in page.phrases() {
            let parsed = parse(&utterance(0.0, &phrase), language, protocols);
            let is_call = !parsed.calls.is_empty() && parsed.problems.is_empty();
            assert!(is_call, "{}:{line}: \"{phrase}\" cannot be said: {:?}", page.name(), parsed.problems);
            n_phrases += 1;
        }
    }
    assert!(n_phrases >= 10, "only {n_phrases} phrases were found in the pages");
}

/// Every test that the page of promises names exists.
#[test]
fn each_promise_names_tests_that_exist() {
    let mut sources = String::new();
    let mut open = vec![root().join("tests/it")];
    while let Some(path) = open.pop() {
        if path.is_dir() {
            open.extend(std::fs::read_dir(path).unwrap().map(|entry| entry.unwrap().path()));
        } else {
            sources += &std::fs::read_to_string(path).unwrap();
        }
    }
    let page = std::fs::read_to_string(root().join("docs/promises.md")).unwrap();
    let rows = page.lines().filter(|line| line.starts_with("| ") && !line.starts_with("| Promise"));
    let mut n_rows = 0;
    for row in rows {
        let cell = row.split('|').nth(2).unwrap();
        let names: Vec<&str> = cell.split('`').skip(1).step_by(2).collect();
        assert!(!names.is_empty(), "no test for: {row}");
        for name in names {
            assert!(sources.contains(&format!("fn {name}(")), "there is no test `{name}`");
        }
        n_rows += 1;
    }
    assert!(n_rows > 20, "only {n_rows} promises");
}
