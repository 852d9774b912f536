//! Rules about the journal, the kept audio and what was not understood.

use zonecall::clock::{Sample, Span, WallQuality};
use zonecall::exam::breaks::{Break, Source};
use zonecall::exam::fold::{
    FileChange, Gap, LoggedSignature, OtherRecord, RecordDiffers, SoundFault, Stamped,
};
use zonecall::exam::seq::Seq;
use zonecall::exam::sign::{Signable, Signed};
use zonecall::exam::timeline::{ClockJump, JumpKind};

use crate::rules::Cases;
use crate::support::case::{Case, problem, said};

pub(crate) const CASES: &[Cases] = &[
    ("journal-damage", |rule| {
        rule.fires("line 7", &fine().but(|case| case.exam.damage.push((7, problem()))));
        rule.silent(&fine());
    }),
    ("journal-torn", |rule| {
        rule.fires("line 7 of the journal was cut short", &fine().but(|case| case.exam.tears.push(7)));
        rule.silent(&fine());
    }),
    ("journal-head-gone", |rule| {
        rule.fires("`exam.head` is gone", &fine().but(|case| case.exam.head_is_gone = true));
        rule.silent(&fine());
    }),
    ("signed-record-unclaimed", |rule| {
        let left = fine().but(|case| case.exam.unclaimed.push("signed/ab.json".to_owned()));
        rule.fires("`signed/ab.json` is a record as it was signed, and no line", &left);
        rule.silent(&fine());
    }),
    ("date-unknown", |rule| {
        let begun = |wall| {
            fine().but(|case| {
                case.exam.header.started_at = "1970-01-01T00:02:00Z".parse().unwrap();
                case.exam.header.wall = wall;
            })
        };
        rule.fires("stood at 1970-01-01 00:02 when the exam began", &begun(WallQuality::Computer));
        rule.silent(&begun(WallQuality::Stated));
        rule.silent(&fine());
    }),
    ("exam-moved", |rule| {
        let moved = fine().but(|case| case.exam.moved_from.push("exams/juniper".to_owned()));
        rule.fires("`exams/juniper` was removed or moved during the exam", &moved);
        rule.silent(&fine());
    }),
    ("clock-jumped", |rule| {
        let jumped = |kind, by_ms| {
            fine().but(|case| {
                let at = case.exam.header.started_at;
                case.exam.timeline.jumps =
                    vec![ClockJump { seq: Seq(9), sample: Sample(960_000), at, by_ms, kind }];
            })
        };
        rule.fires("jumped by +3600.0 s 60.0 s into the exam", &jumped(JumpKind::Wall, 3_600_000));
        let years_ms = 20_000 * 86_400_000;
        rule.fires("jumped by +20000 days 60.0 s into the exam", &jumped(JumpKind::Wall, years_ms));
        rule.fires("2.5 s shorter than the time it took", &jumped(JumpKind::Sound, 2500));
        rule.fires("2.5 s longer than the time it took", &jumped(JumpKind::Sound, -2500));
        rule.silent(&fine());
    }),
    ("file-changed", |rule| {
        let changed = |was_signed| {
            let change = FileChange { file: "audio/0001.wav".to_owned(), was_signed, is_gone: false };
            fine().but(|case| case.exam.changed_files = vec![change])
        };
        rule.fires("`audio/0001.wav` has changed since it was signed", &changed(true));
        rule.fires("or the exam was closed", &changed(false));
        rule.silent(&fine());
    }),
    ("signed-record-differs", |rule| {
        let computed = fine().but(|case| case.exam.other_record = Some(other(RecordDiffers::Computed)));
        let found = rule.fires("the signature of Dr Example (line 9) holds", &computed);
        assert!(
            found.message.contains("`signed/ab.json` is what was signed")
                && found.message.contains("it was 3")
        );
        let unknown = fine().but(|case| case.exam.other_record = Some(other(RecordDiffers::Unknown)));
        rule.fires("which was not kept", &unknown);
        rule.silent(&fine().but(|case| case.exam.other_record = Some(other(RecordDiffers::Worded))));
        rule.silent(&fine());
    }),
    ("signed-record-worded", |rule| {
        let worded = fine().but(|case| case.exam.other_record = Some(other(RecordDiffers::Worded)));
        rule.fires("is the same, but reads differently now: it was 3; `signed/ab.json`", &worded);
        rule.silent(&fine().but(|case| case.exam.other_record = Some(other(RecordDiffers::Computed))));
        rule.silent(&fine());
    }),
    ("time-stamp-fails", |rule| {
        let stamped = |stamp| fine().but(|case| case.exam.signed = Some(signature(Some(stamp))));
        let why = "the time stamp `stamps/0009.tst` does not hold: it is a time stamp of other bytes";
        rule.fires(why, &stamped(Stamped::Fails { why: why.to_owned() }));
        let at = fine().exam.header.started_at;
        rule.silent(&stamped(Stamped::Holds { at, by: "Example Time".to_owned() }));
        rule.silent(&fine().but(|case| case.exam.signed = Some(signature(None))));
    }),
    ("audio-lost", |rule| {
        let lost = |samples| fine().but(|case| case.exam.gaps.push(Gap { at: Sample(32_000), samples }));
        rule.fires("0.50 s of sound were lost 2.0 s into the exam", &lost(8000));
        rule.fires("an unknown length of sound", &lost(0));
        rule.silent(&fine());
    }),
    ("sound-cut-short", |rule| {
        let file = "audio/0001.wav".to_owned();
        let short = SoundFault::Short { file: file.clone(), lacks: 48_000, from: Sample(160_000) };
        rule.fires("lacks its last 3.0 s, from 10.0 s into the exam", &sound(vec![short]));
        rule.fires(
            "cannot be read: gone",
            &sound(vec![SoundFault::Unreadable { file, why: "gone".to_owned() }]),
        );
        rule.silent(&sound(vec![SoundFault::Silent(Span { from: Sample::FIRST, to: Sample(400_000) })]));
        rule.silent(&fine());
    }),
    ("not-closed", |rule| {
        let open = |source: Source| fine().but(|case| (case.exam.closed, case.exam.source) = (None, source));
        rule.fires("continue with `zonecall resume`", &open(Source::Microphone));
        let found = rule.fires("hear the recording again into a new folder", &open(recording()));
        assert!(!found.message.contains("resume"), "{}", found.message);
        rule.fires("if the sound was kept elsewhere", &open(Source::Pipe));
        rule.silent(&fine());
    }),
    ("broken-off", |rule| {
        let found =
            rule.fires("10.0 s into the exam (interrupted)", &broken(recording(), "interrupted", false));
        assert!(found.message.contains("hear the recording again into a new folder"), "{}", found.message);
        // Going on with a microphone hears nothing of the recording.
        rule.fires("hear the recording again", &broken(recording(), "interrupted", true));
        // Heard again, a cut file ends at the same place.
        let cut = "fault: cannot read the recording `visit.flac` as FLAC: unexpected end of file";
        rule.fires("find a complete copy of `visit.flac`", &broken(recording(), cut, false));
        let full = "fault: the disk is full";
        rule.fires("hear the recording again", &broken(recording(), full, false));
        rule.fires("continue with `zonecall resume`", &broken(Source::Microphone, full, false));
        rule.silent(&broken(Source::Microphone, full, true));
        let never_closed = broken(recording(), "", true).but(|case| case.exam.breaks[0].why = None);
        rule.fires("(the program ended without closing it)", &never_closed);
        rule.silent(&fine());
    }),
    ("sound-silent", |rule| {
        let two = [(160_000, 640_000), (800_000, 1_200_000)]
            .map(|(from, to)| SoundFault::Silent(Span { from: Sample(from), to: Sample(to) }));
        rule.fires("55 s of the sound is all zeros, starting 10.0 s", &sound(two.to_vec()));
        rule.silent(&fine());
    }),
    ("nothing-heard", |rule| {
        let dumb = |n_samples| said(&[]).but(|case| case.exam.n_samples = Sample(n_samples));
        rule.fires("no speech was found in 45 s of sound", &dumb(720_000));
        rule.silent(&dumb(160_000));
        rule.silent(&fine().but(|case| case.exam.n_samples = Sample(720_000)));
        // One thing is reported once.
        let zeros = SoundFault::Silent(Span { from: Sample::FIRST, to: Sample(720_000) });
        rule.silent(&dumb(720_000).but(|case| case.exam.sound = vec![zeros]));
    }),
    ("too-quiet", |rule| {
        rule.fires("1 phrase was quieter", &fine().but(|case| case.exam.utterances[0].level_dbfs = -60.0));
        rule.silent(&fine());
    }),
    ("clipped", |rule| {
        rule.fires("1 phrase was clipped", &fine().but(|case| case.exam.utterances[0].clipped = 0.2));
        rule.silent(&fine());
    }),
    ("not-understood", |rule| {
        rule.fires("2 phrases were not understood", &said(&["left fore", "blue green yellow", "red red"]));
        rule.silent(&fine());
    }),
];

fn fine() -> Case {
    said(&["left fore"])
}

fn other(how: RecordDiffers) -> OtherRecord {
    let (what, kept) = (vec!["it was 3".to_owned()], Some("signed/ab.json".to_owned()));
    OtherRecord { seq: Seq(9), by: "Dr Example".to_owned(), how, what, kept }
}

fn signature(stamp: Option<Stamped>) -> LoggedSignature {
    let signed = Signed::new(Signable::default(), &ed25519_dalek::SigningKey::from_bytes(&[7; 32]));
    LoggedSignature { seq: Seq(9), at: fine().exam.header.started_at, signed, taken_back_by: None, stamp }
}

fn recording() -> Source {
    Source::Recording("visit.flac".to_owned())
}

fn broken(source: Source, why: &str, gone_on: bool) -> Case {
    fine().but(|case| {
        let (at, why) = (case.exam.header.started_at, Some(why.to_owned().into()));
        case.exam.breaks = vec![Break { at, sample: Sample(160_000), why, source, gone_on }];
    })
}

fn sound(faults: Vec<SoundFault>) -> Case {
    fine().but(|case| case.exam.sound = faults)
}
