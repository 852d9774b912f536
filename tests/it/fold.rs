//! What was said becomes what counts: context, taking back, putting right, notes, pauses.
use crate::support;

use support::{BUILT_IN, exam, exam_of, header};
use zonecall::clock::{Sample, Span, WallQuality};
use zonecall::exam::breaks::Source;
use zonecall::exam::call::Act;
use zonecall::exam::event::{AudioFile, CloseReason, Event, Header, Outcome};
use zonecall::exam::fold::{Exam, fold};
use zonecall::exam::journal::{self, Journal};
use zonecall::exam::utterance_outcome::Attention;
use zonecall::language::closed_sets::Class;
use zonecall::speech::utterance::Utterance;

/// Each call as `words -> limb zone plane structure`, with marks for withdrawn and mended ones.
fn shown(exam: &Exam) -> Vec<String> {
    exam.calls
        .iter()
        .map(|call| {
            let place = call.context.place.clone().columns();
            let gone = if call.withdrawn_by.is_some() { " (withdrawn)" } else { "" };
            let mended = if call.corrected_by.is_empty() { "" } else { " (mended)" };
            format!("{} -> {place}{gone}{mended}", call.call.words)
        })
        .collect()
}

#[test]
fn a_limb_clears_all_a_zone_the_structure_and_a_plane_nothing() {
    let exam = exam_of(&[
        "near fore two alpha transverse superficial flexor",
        "two bravo",
        "deep flexor",
        "longitudinal",
        "off fore",
    ]);
    assert_eq!(
        shown(&exam),
        [
            "near fore two alpha transverse superficial flexor -> LF 2A T SDFT",
            "two bravo -> LF 2B T -",
            "deep flexor -> LF 2B T DDFT",
            "longitudinal -> LF 2B L DDFT",
            "off fore -> RF - - -",
        ]
    );
}

#[test]
fn disregard_takes_back_the_last_calls_and_they_stay_marked() {
    let exam =
        exam_of(&["left fore two alpha transverse", "two bravo", "save", "disregard the last two", "save"]);
    assert_eq!(
        shown(&exam),
        [
            "left fore two alpha transverse -> LF 2A T -",
            "two bravo -> LF 2A T - (withdrawn)",
            "save -> LF 2A T - (withdrawn)",
            "disregard the last two -> LF 2A T -",
            "save -> LF 2A T -",
        ]
    );
}

#[test]
fn disregard_takes_back_all_that_came_out_of_one_phrase() {
    let counting = |said: &[&str]| {
        let exam = exam_of(said);
        let counts =
            exam.calls.iter().filter(|call| call.withdrawn_by.is_none()).map(|call| call.act.to_string());
        counts.collect::<Vec<_>>()
    };
    let place = "left fore three bravo transverse";
    let both = counting(&[place, "superficial and deep normal", "disregard"]);
    assert_eq!(both, ["LF 3B T", "take back the last 2 calls"]);
    let found = counting(&[place, "core lesion in two bravo", "disregard"]);
    assert_eq!(found, ["LF 3B T", "take back the last 2 calls"], "the place was where it was found");
    // Phrases that are only said in one go stay two.
    let one = counting(&[place, "deep normal", "disregard"]);
    assert_eq!(one, ["LF 3B T", "DDFT", "take back the last call"]);
    let two = counting(&[place, "effusion", "both branches normal", "disregard last two"]);
    assert_eq!(two, ["LF 3B T", "take back the last 3 calls"]);
    let again = counting(&[place, "effusion", "both branches normal", "disregard", "disregard"]);
    assert_eq!(again, ["LF 3B T", "take back the last 2 calls", "take back the last call"]);
}

#[test]
fn disregard_of_a_correction_brings_the_first_word_back() {
    let exam = exam_of(&["left fore two alpha", "correction right fore", "disregard that", "save"]);
    assert_eq!(exam.context.place.limb.as_deref(), Some("LF"));
    let nothing = exam_of(&["disregard that"]);
    assert_eq!(nothing.calls[0].problems.len(), 1);
}

#[test]
fn a_correction_reaches_back_to_what_was_said_and_saved_since() {
    let exam = exam_of(&[
        "left fore two alpha transverse",
        "superficial flexor core lesion",
        "save",
        "two bravo",
        "correction right fore",
    ]);
    assert_eq!(
        shown(&exam),
        [
            "left fore two alpha transverse -> RF 2A T - (mended)",
            "superficial flexor -> RF 2A T SDFT",
            "core lesion -> RF 2A T SDFT",
            "save -> RF 2A T SDFT",
            "two bravo -> RF 2B T -",
            "correction right fore -> RF 2B T -",
        ]
    );
}

#[test]
fn a_correction_of_a_number_or_a_finding_replaces_the_last_of_its_kind() {
    let exam = exam_of(&[
        "left fore two alpha transverse superficial flexor mild core lesion",
        "area one point two",
        "circumference two",
        "correction area one point five square centimetres",
        "correction severe core lesion",
    ]);
    let acts: Vec<String> = exam.calls.iter().map(|call| serde_json::to_string(&call.act).unwrap()).collect();
    assert!(acts[1].contains("\"degree\":\"severe\""), "{}", acts[1]);
    assert!(acts[2].contains("\"number\":1.5") && !acts[2].contains("assumed"), "{}", acts[2]);
    assert!(acts[3].contains("\"number\":2.0"), "another measure is left alone");
    assert!(
        matches!(&exam.calls[2].call.act, Act::Value(value) if value.amount.number == 1.2),
        "as said, it stays"
    );
}

#[test]
fn a_correction_may_be_said_in_two_utterances_but_not_minutes_apart() {
    let near = exam(&[(2.0, "left fore"), (6.0, "correction"), (8.0, "right fore")]);
    assert_eq!(near.calls.len(), 2);
    assert_eq!((near.context.place.limb.as_deref(), near.calls[0].corrected_by.len()), (Some("RF"), 1));
    let far = exam(&[(2.0, "left fore"), (6.0, "correction"), (60.0, "right fore")]);
    assert_eq!((far.context.place.limb.as_deref(), far.calls[0].corrected_by.len()), (Some("RF"), 0));
}

#[test]
fn where_people_save_first_the_place_said_at_once_after_it_is_that_of_the_save() {
    let said = [
        (2.0, "left fore zone one alpha transverse"),
        (6.0, "save"),
        (8.0, "zone one bravo"),
        (20.0, "save"),
        (30.0, "zone two alpha"),
        (40.0, "save"),
        (41.5, "save"),
        (43.0, "longitudinal"),
    ];
    let places = |save_first| {
        let folder = tempfile::tempdir().unwrap();
        let header = Header { save_first, ..support::header() };
        support::write_heard_by(
            folder.path(),
            header,
            said.map(|(at_s, text)| support::utterance(at_s, text)),
        );
        let exam = fold(&journal::read(folder.path()).unwrap(), &BUILT_IN.1).unwrap();
        let saves = exam.calls.iter().filter(|call| call.act == Act::Save);
        saves.map(|call| call.context.place.codes()).collect::<Vec<_>>()
    };
    assert_eq!(places(false), ["LF 1A T", "LF 1B T", "LF 2A T", "LF 2A T"]);
    assert_eq!(places(true), ["LF 1B T", "LF 1B T", "LF 2A T", "LF 2A L"]);
}

#[test]
fn a_correction_of_nothing_is_told_and_changes_nothing() {
    let exam = exam_of(&["correction right fore"]);
    assert_eq!(exam.context.place.limb, None);
    assert_eq!(exam.calls[0].problems.len(), 1);
}

#[test]
fn a_level_becomes_a_zone_by_the_table_and_without_one_it_is_a_problem() {
    let fore = exam_of(&["left fore level ten point five transverse"]);
    assert_eq!(fore.context.place.zone.as_deref(), Some("2A"));
    assert_eq!(fore.context.level_cm, Some(10.5));
    let hind = exam_of(&["left hind two alpha", "level twelve"]);
    assert_eq!(hind.calls[1].problems.len(), 1, "the hock scheme has no centimetres");
    assert_eq!(hind.context.place.zone, None, "nothing may hang on the zone that was left");
}

#[test]
fn a_zone_that_the_limb_does_not_have_is_kept_and_told() {
    let exam = exam_of(&["left fore four alpha"]);
    assert_eq!(exam.context.place.zone.as_deref(), Some("4A"));
    assert_eq!(exam.calls[0].problems.len(), 1);
    assert!(exam_of(&["left hind four alpha"]).calls[0].problems.is_empty());
}

#[test]
fn notes_keep_their_span_and_change_nothing() {
    let exam = exam(&[
        (2.0, "left fore two alpha"),
        (10.0, "note"),
        (11.0, "superficial flexor normal"),
        (13.0, "moderate end note"),
        (16.0, "save"),
    ]);
    assert_eq!(exam.context.place.limb.as_deref(), Some("LF"));
    let (from, to) = exam.notes[0].span.seconds();
    assert!((from - 10.0).abs() < 0.01 && (to - 14.2).abs() < 0.01, "{from} {to}");
    assert_eq!(exam.utterances.last().unwrap().outcome, Outcome::Calls);
}

#[test]
fn a_plane_or_a_structure_that_is_all_of_an_utterance_ends_a_note() {
    for (said, plane, structure) in [
        ("longitudinal", Some("L"), None),
        ("deep flexor", Some("T"), Some("DDFT")),
        ("long axis suspensory body", Some("L"), Some("SL-body")),
    ] {
        let exam = exam(&[
            (2.0, "left fore two alpha transverse"),
            (10.0, "note lame since may"),
            (13.0, said),
            (16.0, "save"),
        ]);
        let place = &exam.calls.last().unwrap().context.place;
        assert_eq!((place.plane.as_deref(), place.structure.as_deref()), (plane, structure), "{said}");
        assert!(exam.utterances.iter().all(|heard| heard.problems.is_empty()), "{said}");
    }
    // Among other words it is spoken of; what may be lost is told.
    let exam = exam(&[
        (2.0, "left fore two alpha transverse"),
        (10.0, "note lame"),
        (12.0, "superficial core lesion"),
    ]);
    assert_eq!(exam.context.place.structure, None);
    assert!(exam.utterances[2].problems[0].message.contains("taken for a part of the note"));
}

#[test]
fn a_call_before_or_after_a_breath_within_a_note_is_told_and_not_acted_on() {
    let (language, protocols) = &*support::BUILT_IN;
    let problems = |text: &str, breath_before: &[usize]| {
        let mut utterance = support::utterance(1.0, text);
        for from in breath_before {
            for word in &mut utterance.words[*from..] {
                let later = |at: Sample| Sample(at.0 + 6400);
                word.span = Span { from: later(word.span.from), to: later(word.span.to) };
            }
        }
        let parsed = zonecall::exam::parse::parse(&utterance, language, protocols);
        let (event, calls) = Attention::default().decide(utterance, parsed);
        assert_eq!((event.outcome, calls.len()), (Outcome::Note, 1), "{text}");
        event.problems.iter().map(|problem| problem.message.clone()).collect::<Vec<_>>()
    };
    let holds = |words: &str| vec![format!("it holds `{words}`, which was taken for a part of the note")];
    assert_eq!(problems("note was lame right fore", &[3]), holds("right fore"));
    assert_eq!(problems("note was lame right fore really stiff", &[3, 5]), holds("right fore"));
    assert_eq!(problems("note old scar from last year save", &[]), holds("save"));
    assert_eq!(problems("note hello two bravo transverse saved", &[]), holds("two bravo transverse saved"));
    assert_eq!(problems("note lame on the right fore since may", &[]), [] as [String; 0]);
    assert_eq!(problems("note lame since may", &[]), [] as [String; 0]);
}

#[test]
fn three_seconds_of_silence_end_a_note() {
    let exam = exam(&[(2.0, "left fore"), (5.0, "note"), (9.0, "right fore")]);
    assert_eq!(exam.context.place.limb.as_deref(), Some("RF"));
}

#[test]
fn while_listening_is_stopped_only_start_counts() {
    let exam =
        exam_of(&["left fore", "pause the journal", "right fore save", "resume the journal", "two alpha"]);
    assert_eq!(exam.context.place.limb.as_deref(), Some("LF"));
    assert_eq!(exam.utterances[2].outcome, Outcome::Ignored);
    assert_eq!(exam.context.place.zone.as_deref(), Some("2A"));
}

#[test]
fn talk_and_half_phrases_change_nothing_but_stay_in_the_journal() {
    let exam = exam_of(&["left fore two alpha", "steady good boy", "area", "end of exam", "right fore"]);
    let outcomes: Vec<Outcome> = exam.utterances.iter().map(|utterance| utterance.outcome).collect();
    let wanted = [Outcome::Calls, Outcome::Talk, Outcome::NotUnderstood, Outcome::Calls, Outcome::Ignored];
    assert_eq!(outcomes, wanted);
    assert_eq!(exam.context.place.limb.as_deref(), Some("LF"));
}

/// What becomes of an utterance as text, and how many calls come out of it.
fn attended(attention: &mut Attention, utterance: Utterance) -> (Outcome, usize) {
    let (language, protocols) = &*support::BUILT_IN;
    let parsed = zonecall::exam::parse::parse(&utterance, language, protocols);
    let (event, calls) = attention.decide(utterance, parsed);
    (event.outcome, calls.len())
}

#[test]
fn a_doubted_utterance_ends_neither_a_pause_nor_a_note() {
    for (opens, ends) in [("pause the journal", "resume the journal"), ("note", "end note")] {
        let mut attention = Attention::default();
        let mut hear = |at_s: f64, text: &str, unsure: bool, rejected: bool| {
            let mut utterance = support::utterance(at_s, text);
            (utterance.unsure, utterance.rejected) = (unsure, rejected);
            attended(&mut attention, utterance).1
        };
        assert_eq!(hear(1.0, opens, false, false), 1, "{opens}");
        assert_eq!(hear(3.0, ends, true, false), 0, "unsure: {ends}");
        assert_eq!(hear(5.0, ends, false, true), 0, "rejected: {ends}");
        assert_eq!(hear(7.0, ends, false, false), 1, "{ends}");
    }
}

#[test]
fn a_degree_said_of_what_is_as_it_should_be_is_taken_live_and_from_the_journal() {
    let exam = exam_of(&["left fore three bravo transverse", "bone surface smooth", "mild"]);
    assert!(exam.utterances.iter().all(|heard| heard.outcome == Outcome::Calls));
    assert!(exam.calls.iter().all(|call| call.problems.is_empty()), "{:?}", exam.calls);
    let degrees: Vec<_> = exam
        .calls
        .iter()
        .filter_map(|call| match &call.act {
            Act::Finding(found) => Some((found.term.as_str(), found.degree.as_deref())),
            _ => None,
        })
        .collect();
    assert_eq!(degrees[0], ("bone smooth", Some("mild")));
}

#[test]
fn a_lesion_that_a_journal_has_as_unremarkable_is_a_lesion() {
    let mut lines = support::exam_lines(&["left fore three bravo transverse", "core lesion"]);
    for line in &mut lines.events {
        if let Event::Call(call) = &mut line.event
            && let Act::Finding(found) = &mut call.call.act
        {
            found.class = Class::Unremarkable;
        }
    }
    let exam = fold(&lines, &BUILT_IN.1).unwrap();
    let classes = exam.calls.iter().filter_map(|call| match &call.act {
        Act::Finding(found) => Some(&found.class),
        _ => None,
    });
    assert_eq!(classes.collect::<Vec<_>>(), [&Class::Lesion]);
}

#[test]
fn what_begins_before_words_that_were_not_understood_are_over_is_the_rest_of_them() {
    let mut attention = Attention::default();
    let mut hear = |at_s: f64, text: &str, rejected: bool| {
        let mut utterance = support::utterance(at_s, text);
        utterance.rejected = rejected;
        attended(&mut attention, utterance)
    };
    assert_eq!(hear(1.0, "left fore two alpha", false), (Outcome::Calls, 1));
    assert_eq!(hear(4.0, "the check", true), (Outcome::NotUnderstood, 0));
    assert_eq!(
        hear(4.7, "enlarged", false),
        (Outcome::NotUnderstood, 0),
        "it may have been `isn't enlarged`"
    );
    assert_eq!(hear(6.0, "check enlarged", false), (Outcome::Calls, 2), "said again after a pause");
}

#[test]
fn a_call_soon_after_words_that_were_not_understood_counts_although_quiet_belongs_to_both() {
    let mut attention = Attention::default();
    let mut hear = |at_s: f64, text: &str, rejected: bool| {
        let mut utterance = support::utterance(at_s, text);
        utterance.rejected = rejected;
        // As the ear cuts: 0.9 s of the quiet before the words, half a second of that after them.
        utterance.span.from = Sample(utterance.span.from.0 - 14_400);
        utterance.span.to = Sample(utterance.span.to.0 + 8_000);
        attended(&mut attention, utterance).0
    };
    assert_eq!(hear(2.0, "the check", true), Outcome::NotUnderstood, "ends at 2.8 s");
    assert_eq!(hear(3.6, "left fore two alpha", false), Outcome::Calls, "0.8 s later");
    assert_eq!(hear(6.0, "the check", true), Outcome::NotUnderstood, "ends at 6.8 s");
    assert_eq!(hear(7.0, "left fore two bravo", false), Outcome::NotUnderstood, "0.2 s later");
    assert_eq!(hear(10.0, "left fore two bravo", false), Outcome::Calls, "long after");
    assert_eq!(
        hear(14.0, "the check", true),
        Outcome::NotUnderstood,
        "ends at 14.8 s: it may have been `isn't`"
    );
    assert_eq!(hear(15.5, "enlarged", false), Outcome::NotUnderstood, "0.7 s later");
    assert_eq!(hear(19.0, "enlarged", false), Outcome::Calls, "long after");
}

/// An exam of these lines a minute of sound apart, heard from `source`.
fn lines_of(wall: WallQuality, source: &str, events: &[Event]) -> Exam {
    let folder = tempfile::tempdir().unwrap();
    let head = zonecall::exam::event::Header { wall, ..header() };
    let at = head.started_at;
    let mut journal = Journal::create(folder.path()).unwrap();
    journal.append(at, Sample::FIRST, &Event::Exam(Box::new(head))).unwrap();
    let (file, source) = ("audio/0001.wav".to_owned(), source.to_owned());
    journal
        .append(at, Sample::FIRST, &Event::Audio(AudioFile { file, first_sample: Sample::FIRST, source }))
        .unwrap();
    for (event, minute) in events.iter().zip(1..) {
        journal.append(at, Sample(minute * 960_000), event).unwrap();
    }
    fold(&journal::read(folder.path()).unwrap(), &BUILT_IN.1).unwrap()
}

fn closed(reason: &str) -> Event {
    Event::Closed { reason: reason.to_owned().into(), samples: 0 }
}

fn resumed() -> Event {
    Event::Resumed { engine: header().engine, grammar_sha256: header().grammar_sha256 }
}

#[test]
fn a_break_in_a_recording_is_left_although_a_microphone_went_on() {
    let exam = lines_of(
        WallQuality::FileTime,
        "visit.flac",
        &[closed("interrupted"), resumed(), closed("stopped"), resumed(), closed("fault: the disk is full")],
    );
    let shown: Vec<_> = exam
        .breaks
        .iter()
        .map(|broken| (broken.sample.0 / 960_000, &broken.source, broken.is_left()))
        .collect();
    let recording = Source::Recording("visit.flac".to_owned());
    assert_eq!(shown, [(1, &recording, true), (5, &Source::Microphone, true)]);
    assert_eq!(exam.breaks[0].why, Some(CloseReason::Interrupted));
    assert_eq!(exam.source, Source::Microphone);
}

#[test]
fn what_was_never_closed_before_it_went_on_is_a_break_and_an_end_is_none() {
    let killed = |wall, source| lines_of(wall, source, &[resumed(), closed("end of exam")]).breaks;
    let recording = killed(WallQuality::Stated, "visit.wav");
    assert_eq!((recording.len(), recording[0].is_left(), &recording[0].why), (1, true, &None));
    let microphone = killed(WallQuality::Computer, "USB microphone");
    assert_eq!((microphone.len(), microphone[0].is_left()), (1, false), "`resume` was its way out");
    let pipe = killed(WallQuality::Computer, "-");
    assert_eq!(pipe[0].source, Source::Pipe);
    for reason in ["end of exam", "end of the recording", "stopped"] {
        let exam =
            lines_of(WallQuality::Stated, "visit.wav", &[closed(reason), resumed(), closed("stopped")]);
        assert_eq!(exam.breaks, [], "{reason}");
    }
}

#[test]
fn only_a_fault_that_names_the_recording_is_a_cut_file() {
    let of = |reason: &str| lines_of(WallQuality::Stated, "a b.flac", &[closed(reason)]).breaks[0].clone();
    let cut = "fault: cannot read the recording `a b.flac` as FLAC: unexpected end of file";
    assert_eq!(of(cut).cut_file(), Some("a b.flac"));
    assert_eq!(of("fault: cannot write the audio `x/audio/0001.wav`: no space left").cut_file(), None);
    assert_eq!(of("interrupted").cut_file(), None);
}

/// Journals that were written before the reasons were a closed set, and by versions to come.
#[test]
fn each_reason_is_read_and_written_as_the_text_that_it_always_was() {
    for text in [
        "end of exam",
        "end of the recording",
        "stopped",
        "interrupted",
        "fault: the disk is full",
        "fault: ",
        "the battery was empty",
        "",
    ] {
        let reason: CloseReason = serde_json::from_value(text.into()).unwrap();
        assert_eq!(serde_json::to_value(&reason).unwrap(), text, "{reason:?}");
        assert_eq!(matches!(reason, CloseReason::Other(_)), text.starts_with("the") || text.is_empty());
    }
}

#[test]
fn the_tests_run_with_the_promises_of_folding_asserted() {
    assert!(zonecall::exam::fold::asserts(), "`.cargo/config.toml` sets `ZONECALL_ASSERT`");
}

/// A journal in the words of the first version, "scratch that" among them: it reads as it did.
#[test]
fn a_journal_in_words_that_nobody_says_any_more_still_reads() {
    let bytes = include_bytes!("../recorded/first-words/exam.jsonl");
    let exam = fold(&zonecall::exam::journal::lines(bytes), &BUILT_IN.1).unwrap();
    let back = exam.calls.iter().find(|call| call.call.words == "scratch that").unwrap();
    assert!(exam.calls.iter().any(|call| call.withdrawn_by == Some(back.seq)));
    assert!(exam.damage.is_empty(), "{:?}", exam.damage);
    let old = r#"{"kind":"command","command":"stop_listening"}"#;
    let act: zonecall::exam::call::Act = serde_json::from_str(old).unwrap();
    assert_eq!(act.to_string(), "pause the journal");
    let unknown = r#"{"kind":"finding","class":"odd","term":"x"}"#;
    let act: zonecall::exam::call::Act = serde_json::from_str(unknown).unwrap();
    assert_eq!(serde_json::to_string(&act).unwrap(), unknown, "what was written is kept");
}
