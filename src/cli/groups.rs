//! The commands in groups, by when they are needed: the first thing that `zonecall --help` shows.
//!
//! Takes: the commands as clap knows them.
//! Gives: the list for the help.
//! Never: a description of its own; each command's is its own first line.
//! Tested in: here, and every command is in one group.

use std::fmt::Write as _;

use clap::builder::Styles;
use clap::{Command, Subcommand};

use super::args::Task;

/// One group of commands.
struct Group {
    title: &'static str,
    commands: &'static [&'static str],
}

/// All commands, in the order in which a person meets them.
const GROUPS: [Group; 4] = [
    Group { title: "At the horse", commands: &["listen", "resume", "hear", "phrases"] },
    Group {
        title: "Afterwards",
        commands: &[
            "pair", "check", "review", "enter", "trace", "measure", "report", "export", "send", "journal",
        ],
    },
    Group { title: "Over the years", commands: &["file", "history", "find", "archive"] },
    Group {
        title: "Setting up",
        commands: &["setup", "doctor", "receive", "enrol", "compare-ears", "manual", "completions"],
    },
];

/// How the help is laid out: the groups take the place of clap's own list.
pub(super) const TEMPLATE: &str =
    "{about-with-newline}\n{usage-heading} {usage}\n\n{before-help}Options:\n{options}{after-help}";

/// The groups as text.
pub(super) fn grouped() -> String {
    let all = Task::augment_subcommands(Command::new("zonecall"));
    let width = all.get_subcommands().map(|command| command.get_name().len()).max().unwrap_or(0);
    let styles = Styles::default();
    let (header, literal) = (styles.get_header(), styles.get_literal());
    let mut out = String::new();
    for group in &GROUPS {
        let _ = writeln!(out, "{header}{}:{header:#}", group.title);
        for name in group.commands {
            let about = all.find_subcommand(name).and_then(Command::get_about);
            let about = about.map(ToString::to_string).unwrap_or_default();
            let _ = writeln!(out, "  {literal}{name:<width$}{literal:#}  {about}");
        }
        out.push('\n');
    }
    out.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_command_is_in_one_group_and_each_name_is_a_command() {
        let mut grouped: Vec<&str> = GROUPS.iter().flat_map(|group| group.commands).copied().collect();
        grouped.sort_unstable();
        let all = Task::augment_subcommands(Command::new("zonecall"));
        let mut known: Vec<&str> =
            all.get_subcommands().filter(|command| !command.is_hide_set()).map(Command::get_name).collect();
        known.sort_unstable();
        assert_eq!(grouped, known);
    }

    #[test]
    fn each_line_of_the_list_fits_a_terminal() {
        for line in grouped().lines() {
            let shown: String = {
                // Styles are escape sequences, which take no room.
                let mut parts = line.split('\u{1b}');
                let first = parts.next().unwrap_or("").to_owned();
                parts.fold(first, |text, part| text + part.split_once('m').map_or("", |(_, rest)| rest))
            };
            assert!(shown.chars().count() <= 80, "{shown}");
        }
    }
}
