//! Just enough of Markdown to check our own pages.
use std::path::{Path, PathBuf};

use super::root;

/// Folders whose pages are checked, the repository's own first.
const FOLDERS: [&str; 7] = ["", "docs", "grammars", "demo-audio", "benches", "models/en", "train"];
/// First cells of the headings of tables whose first column holds phrases.
const SPOKEN: [&str; 3] = ["Say", "You say", "You ask"];

/// One Markdown file.
pub struct Page {
    pub path: PathBuf,
    text: String,
}

/// All pages that are checked.
pub fn pages() -> Vec<Page> {
    let mut found = Vec::new();
    for folder in FOLDERS {
        let Ok(entries) = std::fs::read_dir(root().join(folder)) else { continue };
        let mut paths: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
        paths.retain(|path| path.extension().is_some_and(|ending| ending == "md"));
        paths.sort();
        found.extend(paths.iter().map(|path| Page::read(path)));
    }
    assert!(found.len() >= 10, "only {} pages were found", found.len());
    found
}

/// The text without what is between backticks.
pub fn without_code(text: &str) -> String {
    text.split('`').step_by(2).collect::<Vec<_>>().join("x")
}

impl Page {
    pub fn read(path: &Path) -> Page {
        let text =
            std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        Page { path: path.to_owned(), text }
    }

    pub fn name(&self) -> String {
        self.path.strip_prefix(root()).unwrap_or(&self.path).display().to_string()
    }

    pub fn folder(&self) -> &Path {
        self.path.parent().unwrap()
    }

    /// A page written for people, held to the rules of style; the others record runs of benches and training.
    pub fn is_guide(&self) -> bool {
        self.folder() == root() || self.folder() == root().join("docs")
    }

    /// Lines with their numbers, and whether each is code.
    fn lines(&self) -> impl Iterator<Item = (usize, &str, bool)> {
        let mut is_fenced = false;
        self.text.lines().enumerate().map(move |(idx, line)| {
            let is_fence = line.trim_start().starts_with("```");
            is_fenced ^= is_fence;
            (idx + 1, line, is_fenced || is_fence || line.starts_with("    "))
        })
    }

    /// Lines of code blocks.
    pub fn code(&self) -> impl Iterator<Item = (usize, &str)> {
        self.lines()
            .filter(|(_, line, is_code)| *is_code && !line.trim_start().starts_with("```"))
            .map(|(at, line, _)| (at, line))
    }

    /// Lines of text: no code, no table, no heading, no comment.
    pub fn prose(&self) -> impl Iterator<Item = (usize, String)> {
        let is_text = |line: &str| !line.starts_with(['|', '#', '<']) && !line.trim().is_empty();
        self.lines()
            .filter(move |(_, line, is_code)| !is_code && is_text(line))
            .map(|(at, line, _)| (at, line.to_owned()))
    }

    /// Targets of links and pictures outside code.
    pub fn links(&self) -> impl Iterator<Item = (usize, String)> {
        self.lines().filter(|(.., is_code)| !is_code).flat_map(|(at, line, _)| {
            let open = without_code(line);
            let targets = open.split("](").skip(1).filter_map(|rest| rest.split_once(')'));
            targets.map(|(target, _)| (at, target.to_owned())).collect::<Vec<_>>()
        })
    }

    /// Spans between backticks outside code blocks.
    pub fn code_spans(&self) -> impl Iterator<Item = (usize, String)> {
        self.lines().filter(|(.., is_code)| !is_code).flat_map(|(at, line, _)| {
            let spans = line.split('`').skip(1).step_by(2);
            spans.map(|span| (at, span.to_owned())).collect::<Vec<_>>()
        })
    }

    /// Headings as the anchors that hosts of repositories make of them.
    pub fn anchors(&self) -> Vec<String> {
        let headings = self.lines().filter(|(_, line, is_code)| !is_code && line.starts_with('#'));
        let anchor = |heading: &str| {
            let kept = heading.trim_start_matches('#').trim().to_lowercase();
            let kept = kept.chars().filter(|c| c.is_alphanumeric() || " -_".contains(*c));
            kept.map(|c| if c == ' ' { '-' } else { c }).collect()
        };
        headings.map(|(_, line, _)| anchor(line)).collect()
    }

    /// Quoted phrases in the first column of tables that list what can be said.
    pub fn phrases(&self) -> Vec<(usize, String)> {
        let mut found = Vec::new();
        let mut is_spoken = false;
        for (at, line, _) in self.lines() {
            let Some(row) = line.strip_prefix('|') else {
                is_spoken = false;
                continue;
            };
            let first = row.split('|').next().unwrap_or("").trim();
            is_spoken |= SPOKEN.contains(&first);
            let phrase = first.strip_prefix('"').and_then(|rest| rest.strip_suffix('"'));
            if let Some(phrase) = phrase.filter(|_| is_spoken) {
                found.push((at, phrase.to_owned()));
            }
        }
        found
    }

    /// The blocks between `<!-- generated: NAME -->` and `<!-- end -->` with other text in them, and the page's text then.
    pub fn regenerated(&self, block: impl Fn(&str) -> String) -> String {
        let mut out = String::new();
        let mut is_inside = false;
        for line in self.text.lines() {
            if line == "<!-- end -->" {
                is_inside = false;
            }
            if !is_inside {
                out.push_str(line);
                out.push('\n');
            }
            if let Some(name) =
                line.strip_prefix("<!-- generated: ").and_then(|rest| rest.strip_suffix(" -->"))
            {
                out.push_str(&block(name));
                is_inside = true;
            }
        }
        assert!(!is_inside, "{}: a generated block has no `<!-- end -->`", self.name());
        out
    }

    pub fn text(&self) -> &str {
        &self.text
    }
}
