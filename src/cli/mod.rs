//! The commands.
//!
//! Takes: the command line.
//! Gives: an exit code: 0 clean, 1 findings to look at, 2 an error.
//! Never: knowledge; each command opens, calls one stage and shows what it gave.
//! Tested in: `tests/it/demo.rs`.

#[cfg(feature = "archive")]
mod archive;
#[cfg(not(feature = "archive"))]
#[path = "no_archive.rs"]
mod archive;
mod args;
mod by_hand_args;
mod compare_ears;
mod doctor;
mod ear;
mod enrol;
mod enter;
mod against;
mod known_place;
mod output;
mod exchange;
mod groups;
mod network;
mod hear;
mod journal;
#[cfg(not(all(feature = "archive", feature = "desk")))]
mod left_out;
mod listen;
mod measure;
mod pair;
#[cfg(feature = "desk")]
mod review;
#[cfg(not(feature = "desk"))]
#[path = "no_review.rs"]
mod review;
mod settings;
mod setup;
mod show;
mod switch;
mod trace;
mod voices;

use std::process::ExitCode;

use clap::Parser;

use crate::report::apart;

pub use args::Args;
use args::Task;

use crate::session::error::in_one_line;

/// Runs the program.
#[must_use]
pub fn run() -> ExitCode {
    if let Some(code) = apart::decoding(std::env::args_os()) {
        return code;
    }
    if let Ok(program) = std::env::current_exe() {
        apart::decode_with(program);
    }
    let args = Args::parse();
    let done = match args.task {
        Task::Hear(task) => hear::hear(&task),
        Task::Listen(task) => listen::listen(&task),
        Task::Resume(task) => listen::resume(&task),
        Task::Journal(task) => journal::journal(&task),
        Task::Pair(task) => pair::pair(&task),
        Task::Check(task) => show::check(&task),
        Task::Measure(task) => measure::measure(&task),
        Task::Enter(task) => enter::enter(&task),
        Task::Trace(task) => trace::trace(&task),
        Task::Review(task) => review::review(&task),
        Task::File(task) => archive::file(&task),
        Task::History(task) => archive::history(&task),
        Task::Find(task) => archive::find(&task),
        Task::Archive(task) => archive::keep(&task),
        Task::Report(task) => show::report(&task),
        Task::Export(task) => show::export(&task),
        Task::Receive(task) => network::receive(&task),
        Task::Send(task) => network::send(&task),
        Task::Phrases(task) => show::phrases(&task),
        Task::Setup(task) => setup::setup(&task),
        Task::Enrol(task) => enrol::enrol(&task),
        Task::CompareEars(task) => compare_ears::compare_ears(&task),
        Task::Doctor(task) => doctor::doctor(&task),
        Task::Manual(task) => show::manual(&task),
        Task::Completions(task) => show::completions(&task),
    };
    match done {
        Ok(code) => code,
        Err(error) if is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("zonecall: {}", told(&error));
            ExitCode::from(2)
        }
    }
}

/// The error and its causes in one line; a cause that the error already tells is not told twice.
pub(crate) fn told(error: &anyhow::Error) -> String {
    in_one_line(error.as_ref())
}

/// `zonecall journal DIR | head` is no error.
fn is_closed_pipe(error: &anyhow::Error) -> bool {
    let mut io = error.chain().filter_map(|cause| cause.downcast_ref::<std::io::Error>());
    io.any(|io| io.kind() == std::io::ErrorKind::BrokenPipe)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cause_that_the_error_tells_itself_is_told_once() {
        let cause = std::io::Error::other("unexpected end of file");
        let error = crate::speech::decode::DecodeError::Read { path: "visit.flac".into(), source: cause };
        let error = anyhow::Error::new(error).context("what was heard is kept");
        let text = told(&error);
        assert!(text.starts_with("what was heard is kept: cannot read the recording `visit.flac`"), "{text}");
        assert_eq!(text.matches("unexpected end of file").count(), 1, "{text}");
    }
}
