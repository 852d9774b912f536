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
use crate::session::dialogue_options::Listener;
use crate::session::dialogue_state::{Dialogue, Written};
use crate::session::forgotten::ExamState;
use crate::session::notice::Notice;

/// Views and values named in a summary; of the rest only the number is given.
const NAMED_MAX: usize = 3;
/// The rules that find a value that belongs to what was said and was not given.
const VALUE_RULES: [&str; 1] = ["lesion-without-score"];

/// What there is of the exam.
#[derive(Debug, Clone, Default)]
pub(super) struct Summary {
    /// Views that are wanted.
    wanted: usize,
    /// Those without a still and without a save.
    pub(super) missing: Vec<CoverageRow>,
    /// What was found about values that were not given.
    values: Vec<String>,
    /// Stills whose label is in doubt, or that have none.
    doubtful: usize,
    /// Utterances that are not settled.
    open: usize,
    /// Nobody has said which horse it is.
    nameless: bool,
}

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
            let summary = self.summary();
            let was_asked = self.options.listener == Listener::Person && !summary.missing.is_empty();
            self.report_summary(&summary);
            if !was_asked {
                self.say(&summary.aloud(), now);
            }
            return;
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
        let lack = self.lacks_what();
        self.say(&format!("{name}: {missing} missing"), now);
        self.report(Notice::Summary, &format!("{name}: {missing} views have {lack}"));
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

impl Summary {
    /// What is heard of it: the worst in a few words.
    fn aloud(&self) -> String {
        let views = self.views_aloud();
        if self.nameless { format!("{views}, horse not named") } else { views }
    }

    fn views_aloud(&self) -> String {
        match (self.missing.len(), self.doubtful) {
            (0, 0) => format!("all {} views saved", self.wanted),
            (0, doubtful) => format!("all views saved, {doubtful} stills in doubt"),
            (missing, _) => format!("{missing} views missing"),
        }
    }

    /// What is read of it; `lack` is what a missing view has not got.
    fn lines(&self, lack: &str) -> Vec<String> {
        let (missing, wanted) = (self.missing.len(), self.wanted);
        let mut lines = vec![match missing {
            0 => format!("end of exam: all {wanted} views were saved"),
            _ => format!("end of exam: {missing} of {wanted} views have {lack}"),
        }];
        let names: Vec<String> =
            self.missing.iter().map(|row| format!("{} {} {}", row.limb, row.zone, row.plane)).collect();
        if missing > 0 {
            lines.push(format!("missing: {}", first_of(&names, ", ")));
        }
        if !self.values.is_empty() {
            lines.push(format!("values not given: {}", first_of(&self.values, "; ")));
        }
        if self.doubtful > 0 {
            lines.push(format!("{} stills have no label, or one in doubt", self.doubtful));
        }
        if self.nameless {
            lines.push("the horse is not named: `zonecall name` does that afterwards".to_owned());
        }
        if self.open > 0 {
            let open = self.open;
            lines.push(format!(
                "{open} utterances were not understood or not answered: labels after them are in doubt"
            ));
        }
        lines
    }
}

/// The first of them, and how many more there are.
fn first_of(all: &[String], between: &str) -> String {
    let named = all.iter().take(NAMED_MAX).map(String::as_str).collect::<Vec<_>>().join(between);
    match all.len().saturating_sub(NAMED_MAX) {
        0 => named,
        more => format!("{named}{between}and {more} more"),
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
