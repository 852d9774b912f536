//! Each command line that a page or the help shows is one that the program takes; the help and the tables of options and
//! variables are complete.
use clap::error::ErrorKind;
use clap::{CommandFactory, Parser};

use super::markdown::pages;
use super::root;
use zonecall::cli::Args;

/// The words of a command line, with double quotes as a shell takes them.
fn words(line: &str) -> Vec<String> {
    let mut out = vec![String::new()];
    let mut is_quoted = false;
    for sign in line.chars() {
        match sign {
            '"' => is_quoted = !is_quoted,
            ' ' if !is_quoted => out.push(String::new()),
            _ => out.last_mut().unwrap().push(sign),
        }
    }
    out.retain(|word| !word.is_empty());
    out
}

/// The commands in a line as a shell would run it, without comment, pipe, redirection or `sudo`.
fn commands(line: &str) -> Vec<Vec<String>> {
    let bare = line.split(" #").next().unwrap_or("");
    let parts = bare.split(" && ").flat_map(|part| part.split(" | "));
    let command = |part: &str| {
        let mut words = words(part.split(" > ").next().unwrap_or("").trim());
        while words.first().is_some_and(|word| word == "sudo" || word.contains('=')) {
            words.remove(0);
        }
        words
    };
    parts.map(command).filter(|words| !words.is_empty()).collect()
}

/// Whether the program takes these words. A command named without arguments must only exist.
fn is_taken(words: &[String]) -> Result<(), String> {
    if let [_, name] = words
        && Args::command().find_subcommand(name).is_some()
    {
        return Ok(());
    }
    match Args::try_parse_from(words) {
        Err(error) if !matches!(error.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion) => {
            Err(error.to_string())
        }
        _ => Ok(()),
    }
}

/// The program's command lines of all pages, with where each stands.
fn shown() -> Vec<(String, Vec<String>)> {
    let mut found = Vec::new();
    for page in pages() {
        let blocks = page.code().map(|(at, line)| (at, line.to_owned()));
        let spans = page.code_spans().filter(|(_, span)| span.starts_with("zonecall "));
        for (at, line) in blocks.chain(spans) {
            for command in commands(&line) {
                if command[0] == "zonecall" || command[0] == "make" {
                    found.push((format!("{}:{at}", page.name()), command));
                }
            }
        }
    }
    found
}

#[test]
fn every_command_line_in_the_pages_parses() {
    let shown = shown();
    assert!(shown.len() >= 50, "only {} command lines were found", shown.len());
    for (place, words) in shown.iter().filter(|(_, words)| words[0] == "zonecall") {
        if let Err(error) = is_taken(words) {
            panic!("{place}: `{}` does not parse: {error}", words.join(" "));
        }
    }
}

#[test]
fn every_make_target_in_the_pages_exists() {
    let makefile = std::fs::read_to_string(root().join("Makefile")).unwrap();
    for (place, words) in shown().iter().filter(|(_, words)| words[0] == "make" && words.len() > 1) {
        let rule = format!("{}:", words[1]);
        assert!(makefile.lines().any(|line| line.starts_with(&rule)), "{place}: no target `{}`", words[1]);
    }
}

#[test]
fn a_wrong_command_line_would_be_seen() {
    let of = |line: &str| commands(line).iter().map(|words| is_taken(words)).collect::<Vec<_>>();
    assert!(of("zonecall check exams/juniper --no-such-option").iter().all(Result::is_err));
    assert!(of("zonecall chek exams/juniper").iter().all(Result::is_err));
    assert_eq!(of("sudo zonecall find --term \"core lesion\" > list  # a list"), [Ok(())]);
}

#[test]
fn every_example_in_the_help_parses() {
    let mut n_examples = 0;
    for command in Args::command().get_subcommands() {
        let texts = [command.get_after_help(), command.get_after_long_help(), command.get_long_about()];
        let text = texts.into_iter().flatten().map(ToString::to_string).collect::<Vec<_>>().join("\n");
        for line in text.lines().filter(|line| line.trim_start().contains("zonecall ")) {
            for words in commands(line.trim()).iter().filter(|words| words[0] == "zonecall") {
                if let Err(error) = is_taken(words) {
                    panic!("help of `{}`: `{}` does not parse: {error}", command.get_name(), words.join(" "));
                }
                n_examples += 1;
            }
        }
    }
    assert!(n_examples >= 10, "only {n_examples} examples were found in the help");
}

#[test]
fn the_help_of_each_command_has_examples_and_exit_codes() {
    for command in Args::command().get_subcommands().cloned() {
        let name = command.get_name().to_owned();
        // Otherwise it is as wide as the terminal in which the tests run, and may break in the middle of these words.
        let help = command.term_width(100).render_long_help().to_string();
        for part in ["\nExample", "Exit codes: 0 "] {
            assert!(help.contains(part), "the help of `{name}` has no `{}`", part.trim());
        }
    }
}

/// A page that says how a box is set up, with a table of the settings and one of the variables.
fn page_of_the_box() -> String {
    std::fs::read_to_string(root().join("docs/box.md")).unwrap()
}

#[test]
fn each_variable_that_stands_for_an_option_is_in_the_page_of_the_box() {
    let page = page_of_the_box();
    let mut n_variables = 0;
    for command in Args::command().get_subcommands() {
        for option in command.get_arguments() {
            let (Some(variable), Some(long)) = (option.get_env(), option.get_long()) else { continue };
            let row = format!("| `{}` | `--{long}` |", variable.to_string_lossy());
            assert!(page.contains(&row), "docs/box.md lacks the row {row}");
            n_variables += 1;
        }
    }
    assert!(n_variables >= 10, "only {n_variables} variables were found");
}

#[test]
fn each_setting_is_in_the_page_of_the_box() {
    let home = tempfile::tempdir().unwrap();
    let settings = home.path().join("zonecall.toml");
    std::fs::write(&settings, "no_such_setting = 1\n").unwrap();
    let mut hear = std::process::Command::new(env!("CARGO_BIN_EXE_zonecall"));
    hear.args(["hear", "none.wav", "--into", "none"]).env("ZONECALL_SETTINGS", settings);
    let error = String::from_utf8(hear.output().unwrap().stderr).unwrap();
    let (_, known) = error.split_once("expected one of ").expect(&error);
    let known: Vec<&str> = known.lines().next().unwrap().split(", ").collect();
    assert!(known.len() >= 20, "{error}");
    let page = page_of_the_box();
    for key in known {
        let is_listed = page.lines().any(|row| row.starts_with("| `") && row.contains(key));
        assert!(is_listed, "docs/box.md lacks a row for {key}");
    }
}
