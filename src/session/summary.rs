//! What there is of the exam at its end, and of a limb when it is left.
//!
//! Takes: the exam with its stills, and the protocols.
//! Gives: the views that are missing, values that were not given, labels in doubt; short texts about them.
//! Never: changes the exam.
//! Tested in: `tests/it/dialogue.rs`.

use crate::clock::Sample;
use crate::exam::event::Horse;
use crate::exam::place::Place;
use crate::frames::pair::pair;
use crate::knowledge::assemble::record;
use crate::knowledge::record::{CoverageRow, FrameRow, Status};
use crate::language::closed_sets::Ask;
use crate::session::answer::{named_as_left, open_views};
use crate::session::dialogue_state::{Dialogue, Written};
use crate::session::exam_summary::{NAMED_MAX, Summary, counted};
use crate::session::forgotten::ExamState;
use crate::session::notice::Notice;

/// The rules that find a value that belongs to what was said and was not given.
const VALUE_RULES: [&str; 1] = ["lesion-without-score"];

impl Dialogue {
    /// What there is of the exam up to now.
    pub(super) fn summary(&self) -> Summary {
        let exam = self.log.exam();
        let record = record(exam, &pair(exam, &exam.frames), self.log.protocols());
        let is_value = |rule: &str| VALUE_RULES.contains(&rule);
        let values = record.findings.into_iter().filter(|finding| is_value(&finding.rule));
        Summary {
            wanted: record.coverage.len(),
            values: values.map(|finding| finding.message).collect(),
            nameless: exam.header.horse == Horse::default(),
            doubtful: record.frames.iter().filter(|frame| is_doubtful(frame)).count(),
            open: exam.utterances.iter().filter(|utterance| utterance.is_open()).count(),
            missing: record.coverage.into_iter().filter(is_missing).collect(),
        }
    }

    /// Shows what there is of the exam.
    pub(super) fn report_summary(&mut self, summary: &Summary) {
        let named = |row: &CoverageRow| (row.limb.clone(), row.zone.clone());
        self.named.extend(summary.missing.iter().take(NAMED_MAX).map(named));
        summary.lines(self.lacks_what()).iter().for_each(|line| self.report(Notice::Summary, line));
    }

    /// What there is of the limb that was left, or of the whole exam at its end.
    pub(super) fn sum_up(&mut self, written: &Written, state: ExamState, now: Sample) {
        if state == ExamState::Ended {
            return self.sum_up_end(now);
        }
        let after = self.log.exam().context.place.limb.clone();
        let Some(limb) =
            written.before.place.limb.clone().filter(|limb| after.as_ref().is_some_and(|to| to != limb))
        else {
            return;
        };
        let missing = self.missing_of(&limb);
        // A vet who goes back and forth between two limbs hears each number once.
        if self.summed_up.insert(limb.clone(), missing) == Some(missing) || missing == 0 {
            return;
        }
        let protocols = self.log.protocols();
        let name = protocols.limb_name(&limb).to_owned();
        let (has, lack) = (if missing == 1 { "has" } else { "have" }, self.lacks_what());
        self.say(&format!("{name}: {missing} missing"), now);
        self.report(Notice::Summary, &format!("{name}: {} {has} {lack}", counted(missing, "view")));
    }

    /// The summary comes once: where it came with the question before the end, only what has changed since is reported, and that
    /// the horse has no name, which the question did not say.
    fn sum_up_end(&mut self, now: Sample) {
        let summary = self.summary();
        let Some(shown) = self.shown_at_end.take() else {
            self.report_summary(&summary);
            self.say(&summary.aloud(), now);
            return;
        };
        let left = if summary == shown { summary.name_lacks() } else { Some(summary.in_short()) };
        let left = left.map_or_else(String::new, |left| format!("; {left}"));
        let ended = format!("the exam has ended{left}");
        self.report(Notice::Summary, &ended);
        self.say(&ended, now);
    }

    /// The views of a limb without a save and, where the scanner's folder is followed, without a still.
    fn missing_of(&self, limb: &str) -> usize {
        let arrived = self.views_with_stills();
        let has_still = |row: &CoverageRow| arrived.iter().any(|view| is_of(view, row));
        let open = open_views(limb, self.log.exam(), self.log.progress(), self.log.protocols());
        open.iter().filter(|row| !has_still(row)).count()
    }

    fn lacks_what(&self) -> &'static str {
        if self.stills.is_some() { "no still" } else { "no save" }
    }

    /// The zones that an answer names as missing are not doubted when they are called next.
    pub(super) fn name_missing(&mut self, ask: Ask) {
        if matches!(ask, Ask::Left | Ask::Next) {
            let named = named_as_left(self.log.exam(), self.log.progress(), self.log.protocols());
            self.named.extend(named);
        }
    }
}

fn is_missing(row: &CoverageRow) -> bool {
    row.saves == 0 && row.frames == 0 && !row.not_done
}

fn is_doubtful(frame: &FrameRow) -> bool {
    !frame.doubt.is_empty() || matches!(frame.status, Status::Ambiguous | Status::Unlabelled)
}

fn is_of(view: &Place, row: &CoverageRow) -> bool {
    (view.limb.as_ref(), view.zone.as_ref(), view.plane.as_ref())
        == (Some(&row.limb), Some(&row.zone), Some(&row.plane))
}
