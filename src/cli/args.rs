//! The command line: its words are the manual.
//!
//! Takes: the program's arguments.
//! Gives: `Args`; the manual pages and shell completions are made from it, too.
//! Never: does anything.
//! Tested in: `tests/it/demo.rs`.

use clap::{Command, Parser, Subcommand};

use super::archive::{FileArgs, FindArgs, HistoryArgs, KeepingArgs};
use super::check::CheckArgs;
use super::compare_ears::CompareEars;
use super::doctor::Doctor;
use super::encrypt::{DecryptArgs, EncryptArgs};
use super::enrol::Enrol;
use super::enter::EnterArgs;
use super::exchange::ExportArgs;
use super::groups;
use super::hear::HearArgs;
use super::journal::JournalArgs;
use super::listen::{Listen, Resume};
use super::manual::{CompletionsArgs, ManualArgs};
use super::measure::MeasureArgs;
use super::name::NameArgs;
use super::notes::NotesArgs;
use super::pair::PairArgs;
use super::people::{PeopleArgs, SignArgs};
use super::phrases::PhrasesArgs;
use super::receive::ReceiveArgs;
use super::report::ReportArgs;
use super::retention::RetentionArgs;
use super::review::ReviewArgs;
use super::send::SendArgs;
use super::setup::Setup;
use super::stamp::StampArgs;
use super::trace::TraceArgs;
use super::worklist::WorklistArgs;
use crate::knowledge::cautions::CAUTIONS;

/// You call the zone, it keeps the record: a journal of a spoken tendon scan, and the saved stills labelled with it.
///
/// At the horse `listen` writes the journal of an exam; afterwards `pair` labels the saved stills with what was said,
/// `review` lets you check and correct, and `report` writes the report. No microphone? `hear` takes a recording.
#[derive(Debug, Parser)]
#[command(version, help_template = groups::TEMPLATE, before_help = groups::grouped(&commands()), after_help = CAUTIONS)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub(crate) task: Task,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Task {
    /// Hear a recorded exam and write its journal.
    ///
    /// Makes the same exam folder as `listen`. Nobody can answer questions in a recording, so a phrase of which the ear
    /// is unsure changes nothing: it is kept with its likeliest readings for you to listen to. Next: `pair`.
    Hear(HearArgs),
    /// Listen to the microphone, write the journal, answer questions.
    ///
    /// Say where you are, then what you see, then "save" as you press the scanner's button. Say "end of exam" or press
    /// Ctrl-C to close the journal. `phrases` lists what you can say; `setup` tests the microphone. Next: `pair`.
    Listen(Box<Listen>),
    /// Go on with an exam that was stopped.
    ///
    /// For an exam that a power cut or a crash interrupted: the new sound and the new lines are appended, and the gap is
    /// recorded.
    Resume(Box<Resume>),
    /// Show the journal, or verify that nothing in it was changed.
    ///
    /// Each line is one event, and each holds the hash of the line before. With `--verify` the hash of the last line is
    /// printed: note it elsewhere, for lines cut off at the end leave no other trace.
    Journal(JournalArgs),
    /// Say afterwards which horse was examined.
    ///
    /// What you give replaces what was known; the rest stays, and the journal keeps the earlier names.
    Name(NameArgs),
    /// Write down what was said in free notes, or confirm it.
    ///
    /// The words are a draft of the speech model and stay one until a person has listened and confirmed or corrected them.
    /// `hear` and `listen` do the same at the end of an exam that the neural ear heard. Next: `review`.
    Notes(NotesArgs),
    /// Label the saved stills with what was said.
    ///
    /// Estimates how far the scanner's clock is off and labels each still with the limb, zone, plane and structure called
    /// when it was saved. A still that fits two labels gets neither. Run it again with the new folder if stills have
    /// moved; no still is added twice. Next: `check` or `review`.
    Pair(PairArgs),
    /// List what is missing, doubtful or lost.
    ///
    /// Errors first, then warnings, then notes. `--explain RULE` says what a rule looks for and why. Next: `review`.
    Check(CheckArgs),
    /// Compute totals, percentages, scores, and compare them.
    ///
    /// Compares with the other limb always, and with an earlier exam or a reference set if you name one. What cannot be
    /// computed gives the reason. Cut-offs are in `protocols/measures.toml`, with their sources.
    Measure(MeasureArgs),
    /// Enter a value by hand; it takes the place of a spoken one.
    ///
    /// Both stay in the journal, with who entered the value. `--withdraw LINE` takes an entered value back.
    Enter(EnterArgs),
    /// Measure an outline on a still.
    ///
    /// Gives area, size and grey of an outline and adds them to the exam. The review desk does the same with the mouse.
    Trace(TraceArgs),
    /// Check, correct, measure and sign an exam in a browser.
    ///
    /// Opens the review desk on this machine: listen to a call, see its still, answer the open questions, trace and sign.
    /// Press `?` there for the keys. Next: `report`.
    Review(ReviewArgs),
    /// Sign the record of an exam as a vet.
    ///
    /// The review desk does the same. Asks for the passphrase of the vet's key; an assistant cannot sign.
    Sign(SignArgs),
    /// Have a signature stamped with the time by a third party.
    ///
    /// Asks the practice's time-stamp server (RFC 3161), as `sign` and the desk do where one is set; for exams that were
    /// signed without a network.
    Stamp(StampArgs),
    /// List the people of the practice, or add one.
    ///
    /// Each vet has a key of their own, opened by a passphrase; an assistant corrects and measures and has none.
    People(PeopleArgs),
    /// Add exams to the archive.
    File(FileArgs),
    /// Show every exam of a horse and what changed between them.
    History(HistoryArgs),
    /// Find exams by what was seen or measured.
    Find(FindArgs),
    /// Verify the archive, or copy it.
    Archive(KeepingArgs),
    /// Encrypt closed exams for those who may read them.
    ///
    /// Each becomes one file in the format of age, which only a secret key opens.
    Encrypt(EncryptArgs),
    /// Decrypt an exam with a secret key.
    Decrypt(DecryptArgs),
    /// Copy what is kept of a horse, and delete what may go.
    Retention(RetentionArgs),
    /// Write the report for the vet or the owner, as HTML or PDF.
    ///
    /// The vet's report has every number with where it comes from; the owner's says in plain words what was seen; a course
    /// follows a horse over its exams. Each says draft until a vet has signed.
    Report(ReportArgs),
    /// Write the exam for other programs.
    Export(ExportArgs),
    /// Receive stills from a scanner over the network.
    Receive(ReceiveArgs),
    /// Send stills and exports to an archive, or ask whether it answers.
    Send(SendArgs),
    /// List the horses of the day from the practice's worklist.
    Worklist(WorklistArgs),
    /// List what you can say, or make the phrase card for the wall.
    ///
    /// The list comes from the grammar, so it is complete.
    Phrases(PhrasesArgs),
    /// Test the microphone with ten phrases and save the settings.
    ///
    /// Measures noise, level, clipping and echo where you will scan, asks you to say ten phrases, gives a verdict and
    /// writes `zonecall.toml`. The sound is not kept.
    Setup(Setup),
    /// Adapt the neural ear to your voice, if that helps.
    ///
    /// You read 24 phrases to learn from and 16 to judge by. The adapted model is kept only if accuracy rises and no new
    /// error appears. The sound is not kept.
    Enrol(Enrol),
    /// Compare the ears on a recording whose words you know.
    CompareEars(CompareEars),
    /// Say what is missing on this machine and how to fix it.
    ///
    /// Tries every part: protocols, grammar, ears, microphone, loudspeaker, voice, switch, peers on the network, disk and
    /// clock. Exit codes: 0 ready, 1 something is missing, 2 an error.
    Doctor(Doctor),
    /// Write the manual pages.
    Manual(ManualArgs),
    /// Print completions for your shell.
    Completions(CompletionsArgs),
}

/// All commands, as clap knows them.
fn commands() -> Command {
    Task::augment_subcommands(Command::new("zonecall"))
}

#[cfg(test)]
mod tests {
    use super::super::groups::{GROUPS, grouped};
    use super::*;

    #[test]
    fn each_command_is_in_one_group_and_each_name_is_a_command() {
        let mut grouped: Vec<&str> = GROUPS.iter().flat_map(|group| group.commands).copied().collect();
        grouped.sort_unstable();
        let all = commands();
        let mut known: Vec<&str> =
            all.get_subcommands().filter(|command| !command.is_hide_set()).map(Command::get_name).collect();
        known.sort_unstable();
        assert_eq!(grouped, known);
    }

    #[test]
    fn each_line_of_the_list_fits_a_terminal() {
        for line in grouped(&commands()).lines() {
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
