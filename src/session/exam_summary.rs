//! What there is of an exam, for people: lines for the eye, a few words for the ear.
//!
//! Takes: the views that are missing, the values that were not given, how many labels are in doubt.
//! Gives: `Summary` and its texts.
//! Never: looks at the exam.
//! Tested in: `tests/it/dialogue.rs`.

use crate::knowledge::record::CoverageRow;

/// Views and values named in a summary; of the rest only the number is given.
pub(super) const NAMED_MAX: usize = 3;

/// What there is of the exam.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Summary {
    /// Views that are wanted.
    pub(super) wanted: usize,
    /// Those without a still and without a save.
    pub(super) missing: Vec<CoverageRow>,
    /// What was found about values that were not given.
    pub(super) values: Vec<String>,
    /// Stills whose label is in doubt, or that have none.
    pub(super) doubtful: usize,
    /// Utterances that are not settled.
    pub(super) open: usize,
    /// Nobody has said which horse it is.
    pub(super) nameless: bool,
}

impl Summary {
    /// What is heard of it: the worst in a few words.
    pub(super) fn aloud(&self) -> String {
        let views = self.views_aloud();
        self.name_lacks().map_or(views.clone(), |lacks| format!("{views}, {lacks}"))
    }

    /// What is said of a horse that nobody has named.
    pub(super) fn name_lacks(&self) -> Option<String> {
        self.nameless.then(|| "horse not named".to_owned())
    }

    /// What is still open of it, in a few words.
    pub(super) fn in_short(&self) -> String {
        let open = (self.open > 0).then(|| format!("{} open", counted(self.open, "phrase")));
        std::iter::once(self.aloud()).chain(open).collect::<Vec<_>>().join(", ")
    }

    fn views_aloud(&self) -> String {
        match (self.missing.len(), self.doubtful) {
            (0, 0) => format!("all {} saved", counted(self.wanted, "view")),
            (0, doubtful) => format!("all views saved, {} in doubt", counted(doubtful, "still")),
            (missing, _) => format!("{} missing", counted(missing, "view")),
        }
    }

    /// What is read of it; `lack` is what a missing view has not got.
    pub(super) fn lines(&self, lack: &str) -> Vec<String> {
        let (missing, wanted) = (self.missing.len(), self.wanted);
        let mut lines = vec![match missing {
            0 => format!("end of exam: all {wanted} views were saved"),
            1 => format!("end of exam: 1 of {wanted} views has {lack}"),
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
        match self.doubtful {
            0 => {}
            1 => lines.push("1 still has no label, or one in doubt".to_owned()),
            more => lines.push(format!("{more} stills have no label, or one in doubt")),
        }
        if self.nameless {
            lines.push("the horse is not named: `zonecall name` does that afterwards".to_owned());
        }
        match self.open {
            0 => {}
            1 => lines
                .push("1 phrase was not understood or not answered: labels after it are in doubt".to_owned()),
            more => lines.push(format!(
                "{more} phrases were not understood or not answered: labels after them are in doubt"
            )),
        }
        lines
    }
}

/// How many of them there are: "1 view", "3 views".
pub(super) fn counted(count: usize, one: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}

/// The first of them, and how many more there are.
fn first_of(all: &[String], between: &str) -> String {
    let named = all.iter().take(NAMED_MAX).map(String::as_str).collect::<Vec<_>>().join(between);
    match all.len().saturating_sub(NAMED_MAX) {
        0 => named,
        more => format!("{named}{between}and {more} more"),
    }
}
