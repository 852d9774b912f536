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
mod against;
mod args;
mod check;
mod compare_ears;
mod doctor;
mod doctor_line;
mod doctor_settings;
mod ear;
#[cfg(feature = "encrypt")]
mod encrypt;
#[cfg(not(feature = "encrypt"))]
#[path = "no_encrypt.rs"]
mod encrypt;
mod enrol;
mod enter;
mod exchange;
mod groups;
mod hear;
mod journal;
mod journal_verify;
mod known_place;
#[cfg(not(all(feature = "archive", feature = "desk", feature = "encrypt")))]
mod left_out;
mod listen;
mod manual;
mod measure;
mod notes;
mod options;
mod other_files;
mod output;
mod own_words;
mod name;
mod pair;
mod pair_copy;
mod pair_day;
mod pair_nameless;
mod pair_notes;
mod pair_picture;
mod pair_scanner;
mod pair_shown;
mod pair_undo;
mod peer_args;
mod peers;
mod people;
mod phrases;
mod receive;
mod receiver_args;
mod report;
mod retention;
mod retention_copy;
#[cfg(feature = "desk")]
mod review;
#[cfg(not(feature = "desk"))]
#[path = "no_review.rs"]
mod review;
mod send;
mod set_for_exam;
mod scanners;
mod screen_args;
mod settings;
mod settings_place;
mod setup;
mod stamp;
mod subject_args;
mod switch;
mod trace;
mod voices;
mod worklist;

use std::path::Path;
use std::process::ExitCode;

use clap::{CommandFactory as _, Parser as _};

pub use args::Args;
use args::Task;
use output::one_line;

use crate::exchange::black_out;
use crate::report::apart;
use crate::terminal::{self, ShownText as _};

/// Runs the program.
#[must_use]
pub fn run() -> ExitCode {
    if let Some(code) =
        apart::decoding(std::env::args_os()).or_else(|| black_out::blackening(std::env::args_os()))
    {
        return code;
    }
    if let Ok(program) = std::env::current_exe() {
        apart::decode_with(program);
    }
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(refused) => return shown(&refused),
    };
    let done = match args.task {
        Task::Hear(task) => hear::hear(&task),
        Task::Listen(task) => listen::listen(&task),
        Task::Resume(task) => listen::resume(&task),
        Task::Journal(task) => journal::journal(&task),
        Task::Name(task) => name::name(&task),
        Task::Notes(task) => notes::notes(&task),
        Task::Pair(task) => pair::pair(&task),
        Task::Check(task) => check::check(&task),
        Task::Measure(task) => measure::measure(&task),
        Task::Enter(task) => enter::enter(&task),
        Task::Trace(task) => trace::trace(&task),
        Task::Review(task) => review::review(&task),
        Task::Sign(task) => people::sign(&task),
        Task::Stamp(task) => stamp::stamp(&task),
        Task::People(task) => people::people(&task),
        Task::File(task) => archive::file(&task),
        Task::History(task) => archive::history(&task),
        Task::Find(task) => archive::find(&task),
        Task::Archive(task) => archive::keep(&task),
        Task::Encrypt(task) => encrypt::encrypt(&task),
        Task::Decrypt(task) => encrypt::decrypt(&task),
        Task::Retention(task) => retention::retention(&task),
        Task::Report(task) => report::report(&task),
        Task::Export(task) => exchange::export(&task),
        Task::Receive(task) => receive::receive(&task),
        Task::Send(task) => send::send(&task),
        Task::Worklist(task) => worklist::worklist(&task),
        Task::Phrases(task) => phrases::phrases(&task),
        Task::Setup(task) => setup::setup(&task),
        Task::Enrol(task) => enrol::enrol(&task),
        Task::CompareEars(task) => compare_ears::compare_ears(&task),
        Task::Doctor(task) => doctor::doctor(&task),
        Task::Manual(task) => manual::manual(&task, Args::command()),
        Task::Completions(task) => manual::completions(&task, Args::command()),
    };
    match done {
        Ok(code) => code,
        Err(error) if is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            terminal::warn(format!("zonecall: {}", one_line(&error)));
            ExitCode::from(2)
        }
    }
}

/// Shows help, version or what is wrong with the command line; an argument that a terminal would obey is shown as text.
fn shown(refused: &clap::Error) -> ExitCode {
    let odd = |arg: &std::ffi::OsString| arg.to_str().is_none_or(|arg| !terminal::is_plain(arg));
    if std::env::args_os().any(|arg| odd(&arg)) {
        // Refused once more, with its signs as text: whoever renders the refusal takes some of them out first.
        let plain = std::env::args_os().map(|arg| Path::new(&arg).shown());
        let again = Args::try_parse_from(plain).err().map(|error| error.render().to_string());
        terminal::warn(again.unwrap_or_else(|| refused.render().to_string()).trim_end());
    } else {
        // A terminal that was closed reads nothing.
        let _ = refused.print();
    }
    ExitCode::from(u8::try_from(refused.exit_code()).unwrap_or(2))
}

/// `zonecall journal DIR | head` is no error.
fn is_closed_pipe(error: &anyhow::Error) -> bool {
    let mut io = error.chain().filter_map(|cause| cause.downcast_ref::<std::io::Error>());
    io.any(|io| io.kind() == std::io::ErrorKind::BrokenPipe)
}
