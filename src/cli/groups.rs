//! The commands in groups, by when they are needed: the first thing that `zonecall --help` shows.
//!
//! Takes: the commands as clap knows them.
//! Gives: the list for the help.
//! Never: a description of its own; each command's is its own first line.
//! Tested in: `args`, and every command is in one group.

use std::fmt::Write as _;

use clap::Command;
use clap::builder::Styles;

/// One group of commands.
pub(super) struct Group {
    title: &'static str,
    pub(super) commands: &'static [&'static str],
}

/// All commands, in the order in which a person meets them.
pub(super) const GROUPS: [Group; 4] = [
    Group { title: "At the horse", commands: &["worklist", "listen", "resume", "hear", "phrases"] },
    Group {
        title: "Afterwards",
        commands: &[
            "pair", "name", "notes", "check", "review", "enter", "trace", "measure", "sign", "stamp",
            "report", "export", "send", "journal",
        ],
    },
    Group {
        title: "Over the years",
        commands: &["file", "history", "find", "archive", "retention", "encrypt", "decrypt"],
    },
    Group {
        title: "Setting up",
        commands: &["setup", "people", "doctor", "receive", "enrol", "compare-ears", "manual", "completions"],
    },
];

/// How the help is laid out: the groups take the place of clap's own list.
pub(super) const TEMPLATE: &str =
    "{about-with-newline}\n{usage-heading} {usage}\n\n{before-help}Options:\n{options}{after-help}";

/// The groups as text; `all` has the commands.
pub(super) fn grouped(all: &Command) -> String {
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
