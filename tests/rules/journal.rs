//! Rules about the journal, the kept audio and what was not understood.

use zonecall::exam::fold::Gap;

use crate::Cases;
use crate::case::{Case, problem, said};

pub(crate) const CASES: &[Cases] = &[
    ("journal-damage", |rule| {
        rule.fires("line 7", &fine().but(|case| case.exam.damage.push((7, problem()))));
        rule.silent(&fine());
    }),
    ("audio-lost", |rule| {
        let lost = |samples| fine().but(|case| case.exam.gaps.push(Gap { at: 32_000, samples }));
        rule.fires("0.50 s of sound were lost 2.0 s into the exam", &lost(8000));
        rule.fires("not known how much", &lost(0));
        rule.silent(&fine());
    }),
    ("not-closed", |rule| {
        rule.fires("never closed", &fine().but(|case| case.exam.closed = None));
        rule.silent(&fine());
    }),
    ("too-quiet", |rule| {
        rule.fires("1 breath was quieter", &fine().but(|case| case.exam.breaths[0].level_dbfs = -60.0));
        rule.silent(&fine());
    }),
    ("clipped", |rule| {
        rule.fires("1 breath was clipped", &fine().but(|case| case.exam.breaths[0].clipped = 0.2));
        rule.silent(&fine());
    }),
    ("not-understood", |rule| {
        rule.fires("2 breaths were not understood", &said(&["left fore", "blue green yellow", "red red"]));
        rule.silent(&fine());
    }),
];

fn fine() -> Case {
    said(&["left fore"])
}
