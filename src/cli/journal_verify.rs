//! `zonecall journal --verify`: what the chain of lines shows, and what it does not show.
//!
//! Takes: an exam folder and the lines of its journal, with what is wrong with them.
//! Gives: lines for people: files that are gone or other ones, each signature with what became of it, the last hash.
//! Never: calls a difference a change of the files where only this version makes the record differently.
//! Tested in: `tests/it/file_integrity.rs`, `tests/it/people.rs`, `tests/it/time_stamp/`.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::Path;

use super::options::KnowledgeArgs;
use super::settings::Settings;
use super::stamp::{AuthorityOption, token_in_words};
use crate::exam::event::{Event, ExamEvent};
use crate::exam::fold::{Exam, RecordDiffers};
use crate::exam::journal::{Lines, head_is_gone};
use crate::exam::review::Change;
use crate::exam::seq::Seq;
use crate::exam::sign::{Signed, fault};
use crate::exam::time_stamp_file::stamp_of;
use crate::exam_folder::{ExamFolder, record_against};
use crate::file_name::kept_file;
use crate::knowledge::check::{HEAD_IS_GONE, unclaimed_in_words};
use crate::knowledge::measure::Against;
use crate::protocol::Protocols;
use crate::report::signed::{record_is_kept, unclaimed, verified};
use crate::report::words::count;
use crate::signing::people::{People, settings_folder};
use crate::terminal::ShownText as _;

/// An exam whose journal is verified.
pub(super) struct Verified<'a> {
    pub(super) folder: &'a Path,
    /// With what is wrong with them, signatures among it.
    pub(super) lines: &'a Lines,
    pub(super) authority: &'a AuthorityOption,
    pub(super) knowledge: &'a KnowledgeArgs,
}

/// What comparing found.
#[derive(Default)]
struct Compared {
    /// Files that are other ones, and the like.
    faults: Vec<String>,
    /// What this version makes differently of the same journal and files; nothing was changed.
    differs: Vec<String>,
    /// The exam, where there is one.
    exam: Option<Exam>,
}

impl Verified<'_> {
    /// Says what holds and what does not; `say` puts a line into words. Gives whether all of it holds.
    pub(super) fn show(
        &self,
        say: &dyn Fn(&ExamEvent) -> String,
        out: &mut dyn Write,
    ) -> anyhow::Result<bool> {
        let lines = self.lines;
        let Compared { faults, differs, exam } = self.compared()?;
        for problem in faults.iter().chain(&differs) {
            writeln!(out, "{}", problem.shown())?;
        }
        let is_clean = lines.damage.is_empty() && faults.is_empty();
        if let Some((line, erased)) = lines.erased() {
            writeln!(
                out,
                "exam {} was erased on {}: {}\n\
                 a copy is the exam that it was if it verifies, has {} lines, and the hash of its last line is {}",
                erased.exam.shown(),
                line.at.format("%Y-%m-%d"),
                erased.why.shown(),
                erased.lines,
                line.prev
            )?;
            return Ok(is_clean);
        }
        if is_clean {
            writeln!(
                out,
                "{} lines, each matches the one before it: none was changed, added or removed.\n\
                 Of the sound and the stills, no file that is still there was changed.\n\
                 Anyone who can write to this folder could rewrite all of it: compare the number and hash of the last line with your own note.\n\
                 last line: {}",
                lines.events.len(),
                lines.last_hash()
            )?;
        }
        Ok(self.show_signatures(exam.as_ref(), say, out)? && is_clean)
    }

    /// Each signature that holds, and what became of it; gives whether all time stamps hold.
    fn show_signatures(
        &self,
        exam: Option<&Exam>,
        say: &dyn Fn(&ExamEvent) -> String,
        out: &mut dyn Write,
    ) -> anyhow::Result<bool> {
        let lines = self.lines;
        // A list that cannot be read says nothing about the journal; `zonecall people` tells what is wrong with it.
        let people = settings_folder().and_then(|folder| People::read(&folder)).ok();
        let mut stamps_hold = true;
        for (idx, line) in lines.events.iter().enumerate() {
            let Event::Signed(signed) = &line.event else { continue };
            if fault(signed, &line.prev).is_some() {
                continue;
            }
            let since = lines.events.len() - idx - 1;
            let covers = match lines.damage.is_empty() {
                true => "covers every line before it",
                false => "look at the damage named above first",
            };
            let whose = people.as_ref().map(|people| format!(", {}", people.key_in_words(&signed.key)));
            let (seq, said, whose) = (line.seq, say(line), whose.unwrap_or_default());
            writeln!(out, "line {seq}: {said}{whose}: {covers}; lines after it: {since}")?;
            if let Some(standing) = exam.and_then(|exam| standing(exam, seq)) {
                writeln!(out, "  {}", standing.shown())?;
            }
            if !record_is_kept(&ExamFolder::at(self.folder), signed) && !says_kept(signed) {
                writeln!(
                    out,
                    "  the record as it was signed is not in this folder; earlier versions kept none"
                )?;
            }
            let (stamp, holds) = self.stamp_said(seq)?;
            writeln!(out, "  {stamp}")?;
            stamps_hold &= holds;
        }
        Ok(stamps_hold)
    }

    /// The time stamp of a signature, and whether nothing is wrong with it.
    fn stamp_said(&self, seq: Seq) -> anyhow::Result<(String, bool)> {
        let token = match stamp_of(self.folder, self.lines, seq) {
            None => return Ok(("no time stamp".to_owned(), true)),
            Some(Err(why)) => return Ok((why.shown(), false)),
            Some(Ok(token)) => token,
        };
        let said = format!("time stamp of this line: {}", token_in_words(&token));
        Ok(match self.authority.read(&Settings::read()?)? {
            None => (
                format!("{said}; no authority was named that vouches for that server (--time-stamp-ca)"),
                true,
            ),
            Some(authority) => match token.is_vouched_for(&authority) {
                Ok(()) => (format!("{said}, for whom the named authority vouches"), true),
                Err(fault) => (format!("{said}; {fault}"), false),
            },
        })
    }

    /// What the journal's own chain does not show: an empty journal, files that are gone or other ones, another record.
    fn compared(&self) -> anyhow::Result<Compared> {
        let lines = self.lines;
        if lines.events.is_empty() {
            let faults = vec!["the journal holds no line that can be read; put back a copy".to_owned()];
            return Ok(Compared { faults, ..Compared::default() });
        }
        let mut faults = Vec::new();
        if head_is_gone(self.folder, lines) {
            faults.push(HEAD_IS_GONE.to_owned());
        }
        if lines.erased().is_none() {
            let unclaimed = unclaimed(&ExamFolder::at(self.folder), lines);
            faults.extend(unclaimed.iter().map(|record| unclaimed_in_words(record)));
        }
        let protocols = self.knowledge.read()?;
        let Ok(exam) = verified(&ExamFolder::at(self.folder), &protocols) else {
            // Its damage has been shown.
            return Ok(Compared { faults, ..Compared::default() });
        };
        let (changed, mut differs) = found(&exam, &protocols);
        faults.extend(changed);
        differs.extend(missing(self.folder, &exam));
        Ok(Compared { faults, differs, exam: Some(exam) })
    }
}

/// Files that are other ones, and what of the record is made differently.
fn found(exam: &Exam, protocols: &Protocols) -> (Vec<String>, Vec<String>) {
    let record = record_against(exam, protocols, &Against::default());
    let about = |rules: &[&str]| {
        let found = record.findings.iter().filter(|finding| rules.contains(&finding.rule.as_str()));
        found.map(|finding| finding.message.clone()).collect()
    };
    (about(&["file-changed"]), about(&["signed-record-differs", "signed-record-worded"]))
}

/// Files that the journal names and that are not there, so that nothing can be said of them.
fn missing(folder: &Path, exam: &Exam) -> Option<String> {
    let sealed = exam.sealed.iter().map(|sound| &sound.file);
    let files: BTreeSet<&String> = sealed.chain(exam.frames.iter().map(|still| &still.file)).collect();
    // What was deleted on purpose is reported by a line.
    let is_lost = |file: &&String| !exam.is_discarded(file) && !kept_file(folder, file).exists();
    let gone: Vec<&String> = files.into_iter().filter(is_lost).collect();
    let first = gone.first()?;
    Some(format!(
        "{} that the journal names, `{first}` first, cannot be compared: not there",
        count(gone.len(), "file")
    ))
}

/// Among the files of the signature is the record itself: where it is gone, that is a fault of its own.
fn says_kept(signed: &Signed) -> bool {
    signed.files.iter().any(|kept| kept.sha256 == signed.record_sha256)
}

/// What became of the signature in this line; none where the record is as it was signed.
fn standing(exam: &Exam, seq: Seq) -> Option<String> {
    let takes_back = |change: &Change| *change == Change::TakeBack { seq };
    if let Some(change) = exam.standing_changes().find(|logged| takes_back(&logged.review.change)) {
        return Some(format!("taken back by {} in line {}: a draft again", change.review.by, change.seq));
    }
    let last = exam.signed.as_ref()?;
    if last.seq != seq {
        return Some(format!("signed again in line {}", last.seq));
    }
    if exam.is_signed {
        return None;
    }
    let is_computed = |how| matches!(how, RecordDiffers::Computed | RecordDiffers::Unknown);
    let why = if !exam.damage.is_empty() || exam.changed_files.iter().any(|change| change.was_signed) {
        "what was signed is not what is here"
    } else if exam.other_record.as_ref().is_some_and(|other| is_computed(other.how)) {
        "this version computes a different record from it"
    } else {
        "it was changed after the signature"
    };
    Some(format!("a draft again: {why}"))
}
