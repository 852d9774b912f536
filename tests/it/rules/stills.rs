//! Rules about stills and the scanner's clock.

use chrono::TimeDelta;
use zonecall::clock::{Anchor, Sample, WallQuality};
use zonecall::exam::event::{Horse, OtherExam};
use zonecall::exam::patient::Patient;
use zonecall::exam::stated_site::StatedSite;
use zonecall::frames::pairing::Tie;

use crate::rules::{Cases, Rule};
use crate::support::BUILT_IN;
use crate::support::case::{Case, problem, said};

pub(crate) const CASES: &[Cases] = &[
    ("clock-unknown", clock_unknown),
    ("clock-after-restart", |rule| {
        let unsure = |case: Case| case.but(|case| case.pairing.unsure = vec![true]);
        rule.fires("do not confirm the clock", &unsure(view().still(Tie::Save(1))));
        rule.fires("do not confirm the clock", &unsure(view().still(Tie::Context(0))));
        rule.silent(&unsure(view().still(Tie::Nothing)));
        rule.silent(&unsure(view().still(Tie::Hand(1))));
        // Said once, and seen at each file that shows the still.
        let copied = view().still(Tie::Save(1)).still(Tie::Save(1)).but(|case| {
            case.pairing.copies = vec![None, Some(0)];
            case.pairing.unsure = vec![true; 2];
        });
        rule.fires("do not confirm the clock", &copied);
        for row in copied.record(&BUILT_IN.1).frames {
            assert_eq!(row.doubt, ["the clock around a restart is not confirmed"], "{row:#?}");
        }
        rule.silent(&fine());
    }),
    ("horse-unknown", |rule| {
        let named = |name: Option<&str>, id: Option<&str>| {
            said(&["left fore"]).but(|case| {
                let (name, id) = (name.map(str::to_owned), id.map(str::to_owned));
                case.exam.header.horse = Horse { name, id, ..Horse::default() };
            })
        };
        let found = rule.fires("names no horse", &named(None, None));
        assert!(found.message.contains("zonecall name"), "{}", found.message);
        rule.silent(&named(Some("Juniper"), None));
        rule.silent(&named(None, Some("4711")));
    }),
    ("still-of-another-horse", of_another_horse),
    ("still-in-two-exams", |rule| {
        rule.fires("is already used in the exam `bramble`", &also_in(false));
        rule.silent(&also_in(true));
        rule.silent(&fine());
    }),
    ("still-of-another-study", |rule| {
        let studies = |of: [&str; 3]| {
            view().still(Tie::Save(1)).still(Tie::Save(1)).still(Tie::Save(1)).but(|case| {
                for (frame, study) in case.exam.frames.iter_mut().zip(of) {
                    frame.study = (!study.is_empty()).then(|| study.to_owned());
                }
            })
        };
        let found =
            rule.fires("1 of the 3 stills is of another study", &studies(["2.25.1", "2.25.2", "2.25.2"]));
        assert_eq!(found.frame.as_deref(), Some("1.2.1"));
        rule.silent(&studies(["2.25.1", "2.25.1", ""]));
        rule.silent(&fine());
    }),
    ("still-in-two-formats", |rule| {
        let two = || view().still(Tie::Save(1)).still(Tie::Save(1));
        let copied = two().but(|case| case.pairing.copies = vec![None, Some(0)]);
        rule.fires("`2.dcm` shows the still `1.dcm` a second time; each is used once", &copied);
        rule.silent(&two());
    }),
    ("still-from-another-day", from_another_day),
    ("still-unheard", |rule| {
        // The program was stopped after a second, and went on an hour later.
        let gap = |case: &mut Case| {
            let wall = case.exam.header.started_at;
            let anchor = |s: i64| Anchor {
                wall: wall + TimeDelta::seconds(s),
                monotonic_ns: 0,
                sample: Sample(16_000),
            };
            case.exam.timeline.anchors = vec![anchor(1), anchor(3600)];
        };
        rule.fires("saved while nothing was heard", &view().still(Tie::Context(0)).but(gap));
        rule.silent(&view().still(Tie::Nothing).but(gap));
        rule.silent(&fine());
    }),
    ("still-ambiguous", |rule| {
        rule.fires("fits two labels", &view().still(Tie::Open));
        rule.silent(&fine());
    }),
    ("still-unlabelled", |rule| {
        rule.fires("1.dcm", &view().still(Tie::Nothing));
        rule.silent(&fine());
        let two = view().still(Tie::Nothing).still(Tie::Nothing);
        assert_eq!(rule.found(&two, &BUILT_IN.1).len(), 1, "one cause, one line");
    }),
    ("still-states-another-limb", states_another_limb),
    ("still-states-another-view", |rule| {
        let stated = |code: &str| {
            let site = StatedSite { views: vec![code.to_owned()], ..StatedSite::default() };
            fine().but(|case| case.exam.frames[0].stated_site = Some(site))
        };
        rule.fires("states the longitudinal view, but its label is transverse", &stated("SCT:38717003"));
        rule.fires("states the longitudinal view", &stated("SRT:G-A143"));
        rule.silent(&stated("SCT:62824007"));
        rule.silent(&stated("SCT:0"));
        rule.silent(&fine());
    }),
    ("still-label-incomplete", |rule| {
        rule.fires("no plane in its label", &said(&["left fore two alpha"]).still(Tie::Context(0)));
        rule.silent(&view().still(Tie::Context(0)));
    }),
    ("still-of-zone-range", |rule| {
        let range = |place: &str| said(&[place, "transverse", "save"]).still(Tie::Save(2));
        rule.fires(
            "is labelled zone 2B, but 2B to 3A was called",
            &range("left fore two bravo to three alpha"),
        );
        rule.silent(&range("left fore two bravo"));
        // A landmark clears the zone, the range with it.
        let landmark = ["left fore two bravo to three alpha", "transverse", "mid cannon", "save"];
        rule.silent(&said(&landmark).still(Tie::Save(3)));
    }),
    ("still-file", |rule| {
        rule.fires("odd; look", &fine().but(|case| case.exam.frames[0].problems.push(problem())));
        let three = || view().still(Tie::Save(1)).still(Tie::Nothing).still(Tie::Nothing);
        let all =
            |case: &mut Case| case.exam.frames.iter_mut().for_each(|still| still.problems.push(problem()));
        rule.fires("still `1.dcm` and 2 more: odd; look", &three().but(all));
        rule.silent(&fine());
    }),
    ("still-from-context", |rule| {
        rule.fires("no save call", &view().still(Tie::Context(0)));
        rule.silent(&fine());
    }),
    ("still-paired-again", |rule| {
        rule.fires("also in `bramble`, which is the same recording", &also_in(true));
        rule.silent(&also_in(false));
    }),
];

fn of(name: &str) -> Option<Patient> {
    Patient::new(Some(name.to_owned()), None)
}

/// The exam is of Juniper. An animal's own name follows its owner's: DICOM PS3.5 6.2, correction proposal 643.
fn of_another_horse(rule: &Rule) {
    let by = |name: &str| fine().but(|case| case.exam.frames[0].patient = of(name));
    rule.fires(
        "it shows `Larkfield Stud^Bramble`, but the exam is of `Juniper`",
        &by("Larkfield Stud^Bramble"),
    );
    rule.silent(&by("Larkfield Stud^JUNIPER "));
    rule.silent(&by("juniper"));
    rule.silent(&fine());
    // One line for a patient, however many stills.
    let two = view().still(Tie::Nothing).still(Tie::Nothing);
    let two = two.but(|case| case.exam.frames.iter_mut().for_each(|still| still.patient = of("Bramble")));
    rule.fires("(and 1 more)", &two);
}

/// The label is left fore. Codes: DICOM PS3.16, CID 7483.
fn states_another_limb(rule: &Rule) {
    let stated = |side: Option<&str>, parts: &[&str]| {
        let site = StatedSite {
            side: side.map(str::to_owned),
            parts: parts.iter().map(|part| (*part).to_owned()).collect(),
            views: Vec::new(),
        };
        fine().but(|case| case.exam.frames[0].stated_site = Some(site))
    };
    let found =
        rule.fires("states the side `right`, but its label is left fore", &stated(Some("right"), &[]));
    assert_eq!(found.frame.as_deref(), Some("1.2.1"));
    rule.fires("states the part `METATARSUS`", &stated(Some("left"), &["METATARSUS", "SCT:280711000"]));
    rule.fires("the side `right` and the part `SCT:280711000`", &stated(Some("right"), &["SCT:280711000"]));
    rule.silent(&stated(Some("left"), &["METACARPUS", "SCT:36455000"]));
    // What every limb has, or what nobody here knows, contradicts nothing.
    rule.silent(&stated(None, &["LEG", "SCT:42694008"]));
    rule.silent(&fine());
    // The label itself says that there is a doubt.
    let record = stated(Some("right"), &[]).record(&BUILT_IN.1);
    assert_eq!(record.frames[0].doubt, ["its file states another limb"]);
}

fn also_in(again: bool) -> Case {
    let other = OtherExam { exam: "bramble".to_owned(), again };
    fine().but(|case| case.exam.frames[0].also_in.push(other))
}

fn from_another_day(rule: &Rule) {
    let apart = |hours| fine().but(|case| case.exam.frames[0].saved_at += chrono::TimeDelta::hours(hours));
    rule.fires("dated 2026-05-03, but the exam was on 2026-05-04", &apart(-20));
    rule.silent(&apart(5));
    rule.silent(&fine());
    let all = view().still(Tie::Nothing).still(Tie::Nothing);
    let all = all.but(|case| {
        case.exam.frames.iter_mut().for_each(|still| still.saved_at -= chrono::TimeDelta::days(2))
    });
    rule.fires("all 2 stills are dated 2026-05-02", &all);
}

fn clock_unknown(rule: &Rule) {
    rule.fires("could not be matched", &fine().but(|case| case.pairing.clock = None));
    let untold = view().still(Tie::Nothing).but(|case| {
        case.pairing.clock = None;
        case.exam.header.wall = WallQuality::FileTime;
    });
    rule.fires("as in `zonecall hear scan.wav --into exams/again --started-at 2026-", &untold);
    rule.silent(&fine());
    // Without stills there is no other clock.
    rule.silent(&view());
}

fn view() -> Case {
    said(&["left fore zone two alpha transverse", "save"])
}

fn fine() -> Case {
    view().stills()
}
