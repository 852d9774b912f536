//! Rules about single calls: their place, and whether it fits.

use zonecall::exam::call::{Act, View};
use zonecall::exam::event::{CloseReason, Event, Outcome};
use zonecall::exam::fold::LoggedChange;
use zonecall::exam::review::{Change, Review};
use zonecall::exam::seq::Seq;
use zonecall::frames::pairing::Pairing;
use zonecall::session::effect::Input;

use crate::notes::draft;
use crate::rules::lesions::at_place;
use crate::rules::{Cases, Rule};
use crate::support::case::{Case, problem, said, timed};
use crate::support::talk::Talk;
use crate::support::{BUILT_IN, header};

pub(crate) const CASES: &[Cases] = &[
    ("call-problem", |rule| {
        rule.fires("4A is not a zone of LF", &said(&["left fore", "zone four alpha"]));
        rule.silent(&said(&["left hind", "zone four alpha"]));
        // A stretch of the limb with a zone of another one.
        for words in ["mid pastern three alpha", "mid pastern two bravo", "mid cannon pastern one alpha"] {
            rule.fires("does not lie in the", &said(&["left fore", words]));
        }
        rule.silent(&said(&["left fore", "pastern one alpha", "mid cannon two bravo", "pastern"]));
        rule.fires("`effusion` cannot be of the superficial digital flexor tendon", &at_place(&["effusion"]));
        rule.silent(&at_place(&["effusion in the digital sheath", "no effusion"]));
        rule.silent(&at_place(&["digital sheath", "effusion"]));
        rule.silent(&said(&["left fore two bravo transverse", "effusion"]));
        // A number that was corrected after the place was left.
        let (place, other) =
            ("left fore two bravo transverse superficial", "right fore two bravo transverse superficial");
        let corrected = said(&[place, "area one hundred", other, "correction area one forty"]);
        rule.fires("corrected it from another place", &corrected);
        rule.silent(&said(&[place, "area one hundred", "correction area one forty"]));
    }),
    ("call-in-note", call_in_note),
    ("denied-without-setting", |rule| {
        rule.fires("`doppler on` was never called on this limb", &at_place(&["no flow"]));
        rule.fires("while doppler was off", &at_place(&["doppler on", "doppler off", "no flow"]));
        rule.fires("while doppler was off", &at_place(&["doppler off", "no doppler signal"]));
        rule.silent(&at_place(&["power doppler on", "no flow"]));
        rule.silent(&at_place(&["no doppler signal"]));
        rule.silent(&at_place(&["vascular", "no core lesion"]));
        // Another limb ends it.
        rule.fires(
            "`doppler on` was never called",
            &said(&["left fore", "doppler on", "right fore two bravo transverse superficial", "no flow"]),
        );
    }),
    ("correction-reach", |rule| {
        let said_at = |at_s| {
            timed(&[(1.0, "left fore two alpha transverse"), (3.0, "save"), (at_s, "correction right fore")])
        };
        let found = rule.fires("said 49 s before it", &said_at(50.0));
        assert_eq!(found.call_seq, said_at(50.0).exam.calls.first().map(|call| call.seq));
        rule.silent(&said_at(20.0));
        let asked =
            said_at(50.0).but(|case| case.exam.utterances.iter_mut().for_each(|heard| heard.settled = true));
        rule.silent(&asked);
    }),
    ("utterance-problem", |rule| {
        let fine = || said(&["left fore", "blue green"]);
        let taken = fine().but(|case| case.exam.utterances[0].problems.push(problem()));
        assert_eq!(taken.exam.utterances[1].outcome, Outcome::NotUnderstood);
        rule.fires("`left fore`: odd", &taken);
        rule.silent(&fine());
    }),
    ("question-unanswered", question_unanswered),
    ("note-draft-unread", |rule| {
        let with_draft = |change: &dyn Fn(Seq) -> Vec<LoggedChange>| {
            said(&["left fore two alpha transverse", "note", "end note"]).but(|case| {
                let note = &mut case.exam.notes[0];
                note.draft = Some(draft(note.seq, "a little swelling"));
                case.exam.changes = change(case.exam.notes[0].seq);
            })
        };
        let found = rule.fires("a draft that nobody has read", &with_draft(&|_| Vec::new()));
        assert_eq!(
            found.call_seq,
            said(&["left fore two alpha transverse", "note"]).exam.notes.first().map(|note| note.seq)
        );
        rule.silent(&said(&["left fore two alpha transverse", "note", "end note"]));
        rule.silent(&with_draft(&|seq| {
            let change = Change::NoteText { seq, text: "a little swelling".to_owned() };
            let review = Review { by: "Ada".to_owned(), why: String::new(), was: String::new(), change };
            vec![LoggedChange { seq: Seq(99), at: header().started_at, review, taken_back_by: None }]
        }));
    }),
    ("structure-outside-zones", structure_outside_zones),
    ("finding-without-place", |rule| {
        rule.fires("no limb or zone", &said(&["normal"]));
        rule.silent(&said(&["left fore one alpha", "normal"]));
        // A tear is one of a structure, as a lesion with an extent is; a thickening may be of the skin.
        for words in ["mild tear", "split", "core lesion"] {
            rule.fires("no structure set", &said(&["left fore two bravo transverse", words]));
            rule.silent(&said(&["left fore two bravo transverse", "s d f t", words]));
        }
    }),
    ("limb-unheard", |rule| {
        let then = |words: &str, next: &[(f64, &str)]| {
            let begin = [(1.0, "left fore two alpha transverse"), (4.0, "save"), (10.0, words)];
            timed(&[&begin[..], next].concat())
        };
        let saves = [(14.0, "zone two bravo"), (17.0, "save")];
        let found = rule
            .fires("`left not right fore`, said 10.0 s into the audio", &then("left not right fore", &saves));
        assert!(found.at.is_some(), "it names the moment");
        rule.fires("names a side", &then("wrong other right hind", &saves));
        rule.silent(&then("left not right fore", &[(14.0, "right fore"), (17.0, "save")]));
        rule.silent(&then("turn it off please", &saves));
        rule.silent(&then("save", &saves));
    }),
    ("finding-unconfirmed", |rule| {
        let place = ["left fore two bravo transverse", "s d f t"];
        rule.fires("`hypoechoic`", &said(&[place[0], place[1], "hypoechoic"]));
        rule.silent(&said(&[place[0], place[1], "echo score two"]));
    }),
    ("foreign-position", foreign_position),
    ("save-without-place", |rule| {
        rule.fires("no plane set", &said(&["left fore one alpha", "save"]));
        rule.silent(&said(&["left fore one alpha transverse", "save"]));
    }),
    ("save-after-unheard", |rule| {
        rule.fires("listen", &said(&["left fore one alpha transverse", "zone zone", "save"]));
        rule.silent(&said(&["left fore one alpha transverse", "zone zone", "one bravo", "save"]));
    }),
    ("marker-unusual", marker_unusual),
];

/// A note swallows nothing in silence: what may have been a call in it puts the next labels in doubt until a place is called.
fn call_in_note(rule: &Rule) {
    let place = "left fore two bravo transverse";
    let doubt = |case: &Case| {
        case.record(&BUILT_IN.1).frames.iter().map(|frame| frame.doubt.clone()).collect::<Vec<_>>()
    };
    for note in [
        "note old scar from last year save",
        "note old scar from last year left hind",
        "note lame and stiff three alpha",
    ] {
        let case = said(&[place, note, "save"]).stills();
        rule.fires(note, &case);
        let heard = case.record(&BUILT_IN.1).findings;
        let told = heard.iter().any(|found| {
            found.rule == "utterance-problem" && found.message.contains("taken for a part of the note")
        });
        assert!(told, "{note}: {heard:#?}");
        assert!(doubt(&case)[0].contains(&"a note before it holds what may be a call".to_owned()), "{note}");
    }
    rule.silent(&said(&[place, "note old scar from last year", "save"]).stills());
    rule.silent(
        &said(&[place, "note old scar from last year save", "three alpha transverse", "save"]).stills(),
    );
}

/// The line is that of the question; an answer, the call said again, and a call added by hand at that place settle it.
fn question_unanswered(rule: &Rule) {
    let asked = |after: &dyn Fn(&mut Talk)| {
        let mut talk = Talk::silent();
        talk.say("left fore zone two alpha transverse").unsure("zone two bravo", "zone three bravo");
        after(&mut talk);
        let reason = CloseReason::EndOfExam;
        talk.step(Input::End { reason });
        Case { exam: talk.dialogue.exam().clone(), pairing: Pairing::default() }
    };
    let expires = |talk: &mut Talk| talk.at_s += 20.0;
    let found = rule.fires("nobody answered, so it changed nothing: listen to it", &asked(&expires));
    assert!(found.message.starts_with("line 5, "), "{}", found.message);
    assert!(found.message.contains("`zone two bravo` or `zone three bravo`"), "{}", found.message);
    rule.fires("nobody answered", &asked(&|_| ()));
    let other = asked(&|talk| {
        talk.say("save");
    });
    rule.fires("nobody answered", &other);
    let said_later = |seconds: f64| {
        move |talk: &mut Talk| {
            talk.at_s += seconds;
            talk.say("left fore zone three bravo");
        }
    };
    rule.fires("nobody answered", &asked(&said_later(60.0)));
    rule.silent(&asked(&said_later(20.0)));
    // Said again at another place, it is another one.
    let elsewhere = asked(&|talk| {
        talk.at_s += 12.0;
        talk.unsure("normal", "save").at_s += 12.0;
        talk.say("three alpha").say("normal");
    });
    rule.fires_at_each(&["`zone two bravo`", "`normal` or `save`"], &elsewhere);
    rule.silent(&asked(&|talk| {
        talk.say("first");
    }));
    rule.silent(&asked(&|talk| {
        talk.say("no");
    }));
    rule.silent(&asked(&|talk| {
        let sample = talk.dialogue.exam().utterances[1].span.from;
        expires(talk);
        let view = View { zone: Some("2B".into()), ..View::default() };
        let change = Change::Add { sample, act: Act::View(view) };
        let review = Review { by: "Ada".to_owned(), why: String::new(), was: String::new(), change };
        talk.step(Input::Line(Box::new(Event::Review(Box::new(review)))));
    }));
}

/// Zones of the accessory ligament: measured down to 3A in Arq Bras Med Vet Zootec 57(2), 2005; not in 3B.
/// The superficial flexor is two branches in P1B: pastern chapter, South African Equine Veterinary Association, Congress
/// Proceedings 2018, p. 191.
fn structure_outside_zones(rule: &Rule) {
    let in_zone = |zone: &str, structure: &str| said(&["left fore", zone, structure]);
    rule.fires("is not expected in zone 3B of the left fore", &in_zone("three bravo", "check ligament"));
    rule.silent(&in_zone("three alpha", "check ligament"));
    // The whole may be named where its branches are, and not its body.
    rule.silent(&in_zone("three bravo", "suspensory ligament"));
    rule.fires("the suspensory ligament, body is not expected", &in_zone("three bravo", "suspensory body"));
    rule.silent(&in_zone("pastern one bravo", "medial flexor branch"));
    rule.silent(&in_zone("pastern one bravo", "superficial flexor"));
    // A hind limb's ligament.
    rule.fires("is not a structure of the left fore", &in_zone("two alpha", "long plantar ligament"));
    rule.fires(
        "is not expected in zone P1B of the",
        &in_zone("pastern one bravo", "medial suspensory branch"),
    );
}

fn foreign_position(rule: &Rule) {
    for (wrong, right, word) in
        [("left hind", "left fore", "palmar"), ("right fore", "right hind", "plantar")]
    {
        let lesion = format!("core lesion {word} medial");
        let place = |limb| said(&[limb, "two alpha transverse", "s d f t", &lesion]);
        rule.fires(&format!("`{word}` does not exist"), &place(wrong));
        rule.silent(&place(right));
    }
    // What was taken back breaks no rule.
    rule.silent(&said(&[
        "left hind two bravo transverse",
        "s d f t",
        "core lesion palmar",
        "disregard that",
    ]));
}

/// Lateral in transverse and proximal in longitudinal views: common practice, no source.
fn marker_unusual(rule: &Rule) {
    let marker = |plane: &str, way: &str| said(&["left fore two bravo", plane, way]);
    rule.fires("usual one is lateral", &marker("transverse", "marker medial"));
    rule.silent(&marker("transverse", "marker lateral"));
    rule.fires("usual one is proximal", &marker("long axis", "marker lateral"));
    rule.silent(&marker("long axis", "marker proximal"));
    // The horse's left at the left of the screen: Adams and Stashak's Lameness in Horses, 7th ed., p. 310.
    let right = |way: &str| said(&["right fore two bravo transverse", way]);
    rule.silent(&right("marker medial"));
    rule.fires("usual one is medial", &right("marker lateral"));
    // Without a plane each way is usual in one of them, or in none.
    rule.silent(&said(&["left fore", "marker proximal"]));
    assert_eq!(rule.found(&said(&["left fore", "marker distal"]), &BUILT_IN.1).len(), 1);
}
