//! What people say in the scanning room, by the sort of meaning: our own wording throughout.
use crate::support::{BUILT_IN, exam_of};
use zonecall::exam::fold::LoggedCall;

/// Where the probe is before the phrase.
const PLACE: &str = "left fore zone two bravo transverse superficial flexor";

/// The calls of the last utterance after `place`.
fn calls(place: &[&str], phrase: &str) -> Vec<LoggedCall> {
    let said: Vec<&str> = place.iter().copied().chain([phrase]).collect();
    let exam = exam_of(&said);
    let last = exam.utterances.last().unwrap().seq;
    exam.calls.into_iter().filter(|call| call.heard_seq == last).collect()
}

fn shown(place: &[&str], phrase: &str) -> String {
    calls(place, phrase).iter().map(|call| call.act.to_string()).collect::<Vec<_>>().join("; ")
}

#[track_caller]
fn all(cases: &[(&str, &str)]) {
    for (phrase, wanted) in cases {
        assert_eq!(shown(&[PLACE], phrase), *wanted, "{phrase}");
    }
}

#[test]
fn places_are_reached_by_many_words() {
    all(&[
        ("moving over to the off fore", "RF"),
        ("back to the nearside hind", "LH"),
        ("r h", "RH"),
        ("now the opposite limb", "RF other limb"),
        ("down to zone three a", "3A"),
        ("p one charlie", "P1C"),
        ("next zone", "next zone 3A"),
        ("up a zone", "previous zone 2A"),
        ("from one b to two a", "1B to 2A"),
        ("fourteen centimetres below the accessory carpal", "2B level 14 cm"),
        ("just above the ergot", "above ergot"),
        ("distal third of the cannon", "distal third"),
        ("same zone long axis", "L"),
        ("parasagittal", "L parasagittal"),
        ("dorsolateral oblique view", "O"),
    ]);
}

#[test]
fn structures_have_short_and_long_names() {
    all(&[
        ("the s d f", "SDFT"),
        ("deep digital flexor tendon", "DDFT"),
        ("a l d d f t", "ALDDFT"),
        ("inferior check", "ALDDFT"),
        ("superior check", "ALSDFT"),
        ("radial check ligament", "ALSDFT"),
        ("origin of the suspensory", "SL-origin"),
        ("medial branch", "SL-medial"),
        ("fetlock annular ligament", "PAL"),
        ("straight sesamoidean ligament", "SSL"),
        ("lateral splint bone", "SB-lateral"),
        ("plantar cortex", "BONE"),
    ]);
    assert_eq!(shown(&["left fore pastern one bravo"], "lateral branch"), "SDFT-lateral");
    assert_eq!(shown(&["left fore"], "lateral branch"), "branch-lateral", "of no structure without a zone");
    assert!(!calls(&["left fore"], "lateral branch")[0].problems.is_empty(), "and asked about");
}

#[test]
fn a_finding_belongs_to_the_structure_of_its_own_utterance() {
    all(&[
        ("core lesion in the deep", "core lesion of DDFT"),
        ("enlarged check ligament", "enlarged of ALDDFT"),
        ("suspensory body enlarged", "SL-body; enlarged"),
        ("superficial and deep normal", "normal of SDFT; normal of DDFT"),
        ("annular ligament not thickened", "not thickened of PAL"),
        ("area of the deep one twenty", "area of DDFT 120 mm2 (unit not said)"),
        ("deep one oh four", "DDFT; area 104 mm2 (unit not said)"),
        ("scar superficial adhesion deep", "scar of SDFT; adhesion of DDFT"),
        ("scar superficial adhesion deep split", ""),
    ]);
}

#[test]
fn negation_is_a_class_of_its_own() {
    all(&[
        ("no core lesion", "no core lesion"),
        ("without any adhesions", "no adhesion"),
        ("no evidence of a tear", "no tear"),
        ("not enlarged", "not enlarged"),
        ("lesion free", "no lesion"),
        ("no core lesion or split", "no core lesion; no split"),
        ("or split", ""),
        ("no marked enlargement", ""),
        ("not visible", "not seen"),
        ("not imaged", "not scanned"),
        ("not normal", "abnormal"),
        ("no abnormalities", "normal"),
        ("within normal limits", "normal"),
        ("no standoff", "standoff off"),
        ("no right fore", "RF"),
    ]);
}

#[test]
fn doubt_comparison_and_degree_are_kept() {
    all(&[
        ("possible split", "possible split"),
        ("border lesion query", "possible border lesion"),
        ("equivocal", "possible lesion"),
        ("likely normal", "possible normal"),
        ("mild to moderate thickening", "mildly to moderately thickened"),
        ("thickened slightly", "mildly thickened"),
        ("larger than the other leg", "larger against the other limb"),
        ("same as the right", "same against the other limb"),
        ("no change since last time", "same against the last scan"),
        ("core lesion smaller than last time", "core lesion, smaller against the last scan"),
        ("chronic anechoic core lesion", "chronic anechoic core lesion"),
        ("lesion from two bravo to three alpha", "extent 2B to 3A"),
    ]);
}

#[test]
fn numbers_come_in_all_spoken_forms() {
    all(&[
        ("area two ten", "area 210 mm2 (unit not said)"),
        ("area one point one", "area 1.1 cm2 (unit not said)"),
        ("cross sectional area eighty four square mil", "area 84 mm2"),
        ("nine millimetres thick", "thickness 9 mm"),
        ("three centimetres long", "length 3 cm"),
        ("seven by eleven", "caliper pair 7 mm (unit not said), by 11"),
        ("zero point six by one point one", "caliper pair 0.6 cm (unit not said), by 1.1"),
        ("lesion measures two by five mil", "lesion caliper pair 2 mm, by 5"),
        ("about forty percent", "lesion percent about 40 %"),
        ("less than ten percent", "lesion percent less than 10 %"),
        ("ten to fifteen percent", "lesion percent 10 %, to 15"),
        ("a quarter of the cross section", "lesion percent 25 %"),
        ("echogenicity one", "echo score 1"),
        ("depth four", ""),
        ("depth four mil", "depth 4 mm"),
        ("screen depth four", "imaging depth 4 cm"),
    ]);
}

#[test]
fn saves_clips_and_taking_back() {
    all(&[
        ("capture that", "still saved"),
        ("both saved", "still saved; still saved"),
        ("cine", "clip saved"),
        ("video clip saved", "clip saved"),
        ("clip", ""),
        ("disregard last two", "take back the last 2 calls"),
        ("not saved", "take back the last save"),
        ("pause the journal", "pause the journal"),
        ("scratch that", ""),
        ("gelding scar", ""),
    ]);
}

#[test]
fn a_place_alone_needs_a_finding_and_the_same_again_one_to_repeat() {
    let lesion = calls(&[PLACE, "core lesion"], "laterally");
    assert_eq!(lesion.len(), 1);
    let exam = exam_of(&[PLACE, "core lesion", "laterally"]);
    assert_eq!(exam.calls[1].act.to_string(), "core lesion, lateral");
    assert_eq!(shown(&[PLACE], "three o'clock"), "", "it may be an appointment");
    assert_eq!(shown(&[PLACE, "severe split"], "ditto"), "severe split (said as the same again)");
    let alone = calls(&[PLACE], "ditto");
    assert_eq!(alone[0].problems.len(), 1, "{alone:?}");
}

#[test]
fn a_new_limb_ends_how_the_leg_stood() {
    let exam = exam_of(&[PLACE, "leg up", "doppler on", "standoff on", "right fore"]);
    let settings: Vec<&str> = exam.context.settings.keys().map(String::as_str).collect();
    assert_eq!(settings, ["standoff"]);
}

#[test]
fn a_note_swallows_no_save_no_limb_and_no_zone() {
    let exam = exam_of(&[PLACE, "note he was stiff on the lunge", "area one twelve", "save", "core lesion"]);
    let said: Vec<String> = exam.calls.iter().skip(1).map(|call| call.act.to_string()).collect();
    assert_eq!(said, ["free note begins", "still saved", "core lesion"]);
    for phrase in ["note the time for me", "make a note to order more gel"] {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
}

#[test]
fn words_of_correction_need_something_to_correct() {
    let exam = exam_of(&[PLACE, "area one fifty", "sorry area one fifteen"]);
    assert_eq!(exam.calls[1].act.to_string(), "area 115 mm2 (unit not said)");
    assert_eq!(shown(&[PLACE], "sorry"), "");
    assert_eq!(shown(&[PLACE], "no"), "");
    let exam = exam_of(&[PLACE, "severe core lesion", "correct that to mild"]);
    assert_eq!(exam.calls[1].act.to_string(), "mild core lesion");
}

#[test]
fn pairs_that_must_not_be_mixed_up_mean_different_things() {
    let pairs = [
        ("p two alpha", "two alpha"),
        ("s d f t", "d f t s"),
        ("a l s d f t", "a l d d f t"),
        ("clipped", "not clipped"),
        ("power doppler on", "doppler positive"),
        ("scar", "no scar"),
        ("rupture", "possible rupture"),
        ("smaller than the left", "larger than the left"),
        ("same as the other limb", "other limb"),
        ("tarsal sheath", "carpal sheath"),
        ("clip saved", "clipped"),
        ("smooth cortex", "irregular cortex"),
        ("proximal suspensory", "suspensory"),
    ];
    for (one, other) in pairs {
        let (one_means, other_means) = (shown(&[PLACE], one), shown(&[PLACE], other));
        assert!(
            !one_means.is_empty() && !other_means.is_empty(),
            "{one}: {one_means}; {other}: {other_means}"
        );
        assert_ne!(one_means, other_means, "{one}, {other}");
    }
}

/// What is said to the owner, the assistant, the student, the farrier and the horse; none of it is a call.
const TALK: [&str; 40] = [
    "you can see there is no core lesion any more",
    "was the scar there when you bought him",
    "he stood on the other leg all night",
    "i would not call that a lesion yet",
    "it looked about thirty percent to me last spring",
    "that black bit is just fluid from the block",
    "we will save the deep one for later",
    "could you write save on the whiteboard",
    "hold the left fore up for the farrier",
    "mind his right hind when you walk round",
    "has anybody seen the standoff",
    "the gel is on the shelf",
    "did they clip the near fore as well",
    "is that picture saved or not",
    "we may need doppler if he is good",
    "note down his weight would you",
    "make a note of the shoes",
    "check his teeth while he is sedated",
    "check that",
    "the next horse is not here yet",
    "end of the road for that clipper",
    "cancel the farrier",
    "delete",
    "forget it",
    "one two one two testing",
    "no not that one",
    "no",
    "sorry",
    "medial a little more",
    "up a touch",
    "long day",
    "five",
    "area",
    "depth",
    "core",
    "normally we would wait",
    "is it worse than it was",
    "he is twelve hands",
    "ten mil of that please",
    "good lad",
];

#[test]
fn talk_is_no_call() {
    for phrase in TALK {
        assert_eq!(shown(&[PLACE], phrase), "", "{phrase}");
    }
}

#[test]
fn each_phrase_of_the_card_can_be_said() {
    let (language, _) = &*BUILT_IN;
    let card = zonecall::language::phrases::phrases(&language.grammar);
    let patterns = card.iter().flat_map(|heading| &heading.patterns);
    let mut tried = 0;
    for (pattern, _) in patterns.filter(|(pattern, _)| !pattern.contains(['‹', '(', '['])) {
        for phrase in pattern.split(" | ") {
            let words: Vec<&str> = phrase.split(' ').collect();
            assert!(!language.exam.read(&words).is_empty(), "`{phrase}` is on the card and cannot be said");
            tried += 1;
        }
    }
    assert!(tried > 50, "{tried}");
}

#[test]
fn words_have_synonyms_and_change_places() {
    all(&[
        ("let's do the off fore", "RF"),
        ("moving across to the right hind leg", "RH"),
        ("other front leg", "RF other limb"),
        ("zone number two a", "2A"),
        ("level two a", "2A"),
        ("pastern zone one b", "P1B"),
        ("one b going into two a", "1B to 2A"),
        ("the zone below", "next zone 3A"),
        ("d a c b sixteen", "3A level 16 cm"),
        ("palmar pastern", "back of the pastern"),
        ("long view", "L"),
        ("accessory ligament of d d f t", "ALDDFT"),
        ("palmar cortex of the cannon bone", "BONE"),
        ("fetlock joint pouch", "FJ"),
        ("flexor tendons normal", "normal of SDFT; normal of DDFT"),
        ("normal in size and echogenicity", "size echogenicity normal"),
        ("could not be imaged", "not seen"),
        ("fibres intact", "no fibre disruption"),
        ("no discrete lesion", "no discrete lesion"),
        ("hypoechoic change", "hypoechoic (not confirmed)"),
        ("disrupted fibers", "fibre disruption"),
        ("partially torn", "partial tear"),
        ("total rupture", "rupture"),
        ("diffuse swelling", "diffuse oedema"),
        ("diffuse lesion", "diffuse lesion"),
        ("looks suspicious", "possible lesion"),
        ("healed lesion", "healing"),
        ("splint fracture", "fracture of SB"),
        ("mineralisation with acoustic shadowing", "shadowing mineralisation"),
        ("proximal suspensory desmitis", "desmitis of SL-origin"),
        ("suspensory branch desmitis", "SL-branch; desmitis"),
        ("a lot better", "better against the last scan"),
        ("much smaller than last time", "smaller against the last scan"),
        ("lesion extends three centimetres", "length 3 cm"),
        ("annular ligament three millimetres", "PAL; thickness 3 mm"),
        ("grade two echogenicity", "echo score 2"),
        ("back on the ground", "stance weight bearing"),
        ("turning doppler on", "doppler on"),
        ("switching to the linear probe", "probe linear"),
        ("it wasn't saved", "take back the last save"),
        ("that's the left fore done", "LF done"),
        ("read it back", "question: last"),
    ]);
}

#[test]
fn a_comparison_never_moves_the_limb() {
    for phrase in
        ["symmetrical with the other leg", "not symmetrical with the right", "same as the other leg"]
    {
        let exam = exam_of(&[PLACE, phrase]);
        assert_eq!(exam.calls.len(), 2, "{phrase}");
        assert_eq!(
            exam.context.place.limb.as_ref().map(ToString::to_string).as_deref(),
            Some("LF"),
            "{phrase}"
        );
    }
}
