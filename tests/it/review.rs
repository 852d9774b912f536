//! Claims about the review desk as a server: who gets in, what it gives, what it writes and what it refuses.
use crate::support;
use crate::support::desk;
use crate::support::still;

use serde_json::{Value, json};
use zonecall::clock::Sample;
use zonecall::exam::event::{Event, Header};
use zonecall::exam::journal;

use desk::Served;
use still::folder;

fn seq_of(exam: &Value, kind: &str) -> u64 {
    let calls = exam["record"]["calls"].as_array().unwrap();
    calls.iter().find(|call| call["kind"] == kind).unwrap()["seq"].as_u64().unwrap()
}

#[test]
fn only_the_printed_address_lets_in_and_the_token_does_not_stay_in_it() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    for path in
        ["/", "/desk.js", "/api/exam", "/api/still/0", "/api/sound?from=0&to=1", "/?token=", "/?token=0000"]
    {
        let (status, head, _) = desk.request(&format!("GET {path}"), &[desk.host()], "");
        assert_eq!(status, 401, "{path}: {head}");
        assert!(!head.contains("set-cookie"), "{path}");
    }
    let wrong = format!("Cookie: zonecall_{}={}", desk.port(), "0".repeat(48));
    assert_eq!(desk.request("GET /api/exam", &[desk.host(), wrong], "").0, 401);
    let path = &desk.address[desk.address.find("/?").unwrap()..];
    let (status, head, _) = desk.request(&format!("GET {path}"), &[desk.host()], "");
    assert_eq!(status, 200);
    assert!(head.contains("refresh: 0; url=/\r\n"), "{head}");
    assert!(head.contains("httponly") && head.contains("samesite=strict"), "{head}");
    assert_eq!(desk.get("/").0, 200);
}

#[test]
fn another_page_another_name_and_a_missing_origin_are_refused() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let body = json!({"by": "X", "seen": 99, "change": {"change": "clock", "offset_s": 1.0}}).to_string();
    let kind = || "Content-Type: application/json".to_owned();
    let before = std::fs::read(folder.path().join("exam.jsonl")).unwrap();
    let post = |host: String, origin: Option<&str>| {
        let mut headers = vec![host, desk.cookie(), kind()];
        headers.extend(origin.map(|origin| format!("Origin: {origin}")));
        desk.request("POST /api/change", &headers, &body).0
    };
    assert_eq!(post(desk.host(), Some("http://evil.example")), 403);
    assert_eq!(post(desk.host(), Some("null")), 403);
    assert_eq!(post(desk.host(), None), 403);
    let other_port = format!("http://127.0.0.1:{}", desk.port().wrapping_add(1));
    assert_eq!(post(desk.host(), Some(&other_port)), 403);
    // A name of somebody else's that was made to point here.
    let (status, ..) = desk.request("GET /api/exam", &["Host: evil.example".to_owned(), desk.cookie()], "");
    assert_eq!(status, 421);
    let get = [desk.host(), desk.cookie(), "Origin: http://evil.example".to_owned()];
    assert_eq!(desk.request("GET /api/exam", &get, "").0, 403);
    assert_eq!(std::fs::read(folder.path().join("exam.jsonl")).unwrap(), before, "nothing was written");
}

#[test]
fn every_answer_forbids_the_page_to_load_anything_from_elsewhere() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    for path in ["/", "/api/exam", "/nowhere"] {
        let (_, head, _) = desk.request(&format!("GET {path}"), &[desk.host(), desk.cookie()], "");
        let policy = head.lines().find_map(|line| line.strip_prefix("content-security-policy: ")).unwrap();
        assert!(policy.starts_with("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
        assert!(head.contains("x-content-type-options: nosniff"), "{head}");
    }
}

#[test]
fn no_path_leads_out_of_the_page() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    for path in [
        "/../exam.jsonl",
        "/exam.jsonl",
        "/%2e%2e/exam.jsonl",
        "/..%2f..%2fetc%2fpasswd",
        "//etc/passwd",
        "/api/still/..%2fexam.jsonl",
        "/api/still/-1",
        "/api/still/1",
        "/api/still/99999999999999999999999",
        "/api/still/0%00",
        "/api/thumb/..%2f..%2fexam.jsonl",
        "/api/thumb/7",
        "/api/earlier/0",
        "/.cache",
        "/desk.js/../../exam.jsonl",
    ] {
        let (status, body) = desk.get(path);
        assert!(status == 404 || status == 400, "{path}: {status} {}", String::from_utf8_lossy(&body));
    }
}

#[test]
fn a_still_is_shown_whole_and_lit_as_wanted() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let grey = |query: &str, x: u32| {
        let (status, body) = desk.get(&format!("/api/still/0{query}"));
        assert_eq!(status, 200);
        image::load_from_memory(&body).unwrap().to_luma8().get_pixel(x, 50).0[0]
    };
    assert_eq!([grey("", 0), grey("", 120)], [0, 120]);
    assert_eq!(
        [grey("?low=100&high=200", 100), grey("?low=100&high=200", 199)],
        [0, 252],
        "(199-100)/100 of 255"
    );
    assert_eq!(grey("?gain=2", 60), 120);
}

#[test]
fn a_stretch_of_sound_is_exactly_what_was_kept_and_silence_after_it() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let (status, body) = desk.get("/api/sound?from=3.5&to=4.5");
    assert_eq!(status, 200);
    let samples: Vec<i16> =
        hound::WavReader::new(body.as_slice()).unwrap().into_samples().map(Result::unwrap).collect();
    assert_eq!((samples.len(), samples[0], samples[7_999], samples[8_000]), (16_000, 3000, 3000, 4000));
    let (_, body) = desk.get("/api/sound?from=11.9&to=12.1");
    let last = hound::WavReader::new(body.as_slice()).unwrap().into_samples::<i16>().last().unwrap().unwrap();
    assert_eq!(last, 0);
    for wrong in ["from=4&to=4", "from=-1&to=1", "from=0&to=121", "from=NaN&to=1", "from=0&to=inf"] {
        assert_eq!(desk.get(&format!("/api/sound?{wrong}")).0, 404, "{wrong}");
    }
    let (_, peaks) = desk.get("/api/peaks");
    assert_eq!((peaks.len(), peaks[0], peaks[11 * 50 + 10]), (600, 0, (11_000_u16 >> 7) as u8));
}

#[test]
fn a_change_is_in_the_journal_with_who_and_what_was_before_and_the_record_follows() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let exam = desk.exam();
    let (view, seen) = (seq_of(&exam, "view"), exam["version"].as_u64().unwrap());
    let right = json!({"change": "call", "seq": view, "act": {"kind": "view", "limb": "RF", "zone": "2B", "plane": "T"}});
    let (status, told) = desk.change("Robin", seen, &right);
    assert_eq!(status, 200, "{told}");
    let after = desk.exam();
    assert_eq!(after["record"]["changes"][0]["by"], "Robin");
    assert_eq!(after["record"]["changes"][0]["was"], "LF 2B T");
    assert!(after["record"]["calls"].as_array().unwrap().iter().skip(1).all(|call| call["limb"] == "RF"));
    assert!(journal::read(folder.path()).unwrap().damage.is_empty());
}

#[test]
fn what_makes_no_sense_is_refused_in_words_and_nothing_is_written() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let exam = desk.exam();
    let (view, value, seen) =
        (seq_of(&exam, "view"), seq_of(&exam, "value"), exam["version"].as_u64().unwrap());
    let amount = |number: f64, unit: &str| json!({"change": "call", "seq": value, "act": {"kind": "value", "term": "area", "amount": {"number": number, "unit": unit}}});
    let before = std::fs::read(folder.path().join("exam.jsonl")).unwrap();
    for wrong in [
        json!({"change": "withdraw", "seq": 4000}),
        json!({"change": "call", "seq": view, "act": {"kind": "view", "limb": "XX"}}),
        json!({"change": "call", "seq": view, "act": {"kind": "view"}}),
        json!({"change": "call", "seq": view, "act": {"kind": "save"}}),
        json!({"change": "place", "seq": value, "place": {"zone": "9Z"}}),
        amount(-3.0, "mm2"),
        amount(3.0, "furlong"),
        json!({"change": "pair", "still": "2.25.7", "seq": 4000}),
        json!({"change": "pair", "still": "none", "seq": view}),
        json!({"change": "label", "still": "2.25.7", "place": {"zone": "2B"}}),
        json!({"change": "clock", "offset_s": 4e9}),
        json!({"change": "take_back", "seq": view}),
        json!({"change": "add", "sample": 16_000, "act": {"kind": "view", "zone": "2B"}}),
        json!({"change": "add", "sample": 16_000, "act": {"kind": "note", "open": true}}),
        json!({"change": "add", "sample": 99_000_000_000_u64, "act": {"kind": "save"}}),
        json!({"change": "move", "seq": 4000, "sample": 16_000}),
        json!({"change": "move", "seq": view, "sample": 99_000_000_000_u64}),
        json!({"change": "scale", "still": "none", "ends_px": [[0, 0], [0, 90]], "distance_mm": 20}),
        json!({"change": "scale", "still": "2.25.7", "ends_px": [[0, 0], [0, 20]], "distance_mm": 20}),
        json!({"change": "scale", "still": "2.25.7", "ends_px": [[0, 0], [0, 90]], "distance_mm": 2000}),
        json!({"change": "looked", "rule": "view-missing", "finding": "invented"}),
        json!({"change": "erase", "seq": view}),
        json!({"change": "add", "sample": 16_000, "act": {"kind": "finding", "class": "unremarkable", "term": "core lesion"}}),
    ] {
        let (status, told) = desk.change("Robin", seen, &wrong);
        assert_eq!(status, 422, "{wrong}: {told}");
    }
    let fine = json!({"change": "withdraw", "seq": value});
    assert_eq!(desk.change("  ", seen, &fine).0, 422, "somebody must be named");
    assert_eq!(desk.change(&"x".repeat(600), seen, &fine).0, 422);
    assert_eq!(std::fs::read(folder.path().join("exam.jsonl")).unwrap(), before);
}

#[test]
fn a_moment_after_the_recording_and_a_structure_of_other_limbs_are_refused() {
    let folder = folder();
    let at = support::header().started_at;
    let closed = Event::Closed { reason: "end of exam".to_owned().into(), samples: 24 * 16_000 };
    journal::Journal::open(folder.path()).unwrap().append(at, Sample(24 * 16_000), &closed).unwrap();
    let desk = Served::start(folder.path(), 0);
    let exam = desk.exam();
    let (view, seen) = (seq_of(&exam, "view"), exam["version"].as_u64().unwrap());
    let structures = exam["codes"]["structures"].as_array().unwrap();
    let hind_only =
        structures.iter().find(|one| one["groups"] == json!(["hind"])).expect("a structure of hind limbs");
    let late = |sample: u64| json!({"change": "add", "sample": sample, "act": {"kind": "save"}});
    let of_hind = json!({"change": "label", "still": "2.25.7", "place": {"limb": "LF", "structure": hind_only["code"]}});
    let moved = json!({"change": "move", "seq": view, "sample": 25 * 16_000});
    for (wrong, reason) in [
        (late(25 * 16_000), "later than the recording"),
        (moved, "later than the recording"),
        (of_hind, "has no"),
    ] {
        let (status, told) = desk.change("Robin", seen, &wrong);
        assert_eq!(status, 422, "{wrong}: {told}");
        assert!(told["message"].as_str().unwrap().contains(reason), "{told}");
    }
    assert_eq!(desk.change("Robin", seen, &late(11 * 16_000)).0, 200);
}

#[test]
fn who_had_not_seen_the_others_change_is_told_and_overwrites_nothing() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let exam = desk.exam();
    let (view, seen) = (seq_of(&exam, "view"), exam["version"].as_u64().unwrap());
    let to = |zone: &str| json!({"change": "call", "seq": view, "act": {"kind": "view", "limb": "LF", "zone": zone}});
    assert_eq!(desk.change("Robin", seen, &to("1A")).0, 200);
    let (status, told) = desk.change("Kim", seen, &to("1B"));
    assert_eq!(status, 409);
    assert!(told["message"].as_str().unwrap().contains("Robin"), "{told}");
    // Something else can still be changed without having seen it.
    assert_eq!(desk.change("Kim", seen, &json!({"change": "withdraw", "seq": seq_of(&exam, "save")})).0, 200);
    let again = desk.exam()["version"].as_u64().unwrap();
    assert_eq!(desk.change("Kim", again, &to("1B")).0, 200);
}

#[test]
fn a_question_that_was_looked_at_leaves_the_list_and_comes_back_when_that_is_taken_back() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let exam = desk.exam();
    let open = exam["questions"].as_array().unwrap().len();
    let finding = exam["record"]["findings"][0].clone();
    let mut looked = json!({"change": "looked", "rule": finding["rule"], "finding": finding["message"]});
    for (to, from) in [("seq", "call_seq"), ("still", "frame")] {
        if !finding[from].is_null() {
            looked[to] = finding[from].clone();
        }
    }
    let (status, told) = desk.change("Robin", exam["version"].as_u64().unwrap(), &looked);
    assert_eq!(status, 200, "{told}");
    let after = desk.exam();
    assert_eq!(after["questions"].as_array().unwrap().len(), open - 1);
    let mut told_after = after["record"]["findings"][0].clone();
    assert_eq!(told_after["settled"]["by"], "Robin", "{told_after}");
    told_after.as_object_mut().unwrap().remove("settled");
    assert_eq!(told_after, finding, "the record still tells it");
    let back = json!({"change": "take_back", "seq": told["seq"]});
    assert_eq!(desk.change("Robin", after["version"].as_u64().unwrap(), &back).0, 200);
    assert_eq!(desk.exam()["questions"].as_array().unwrap().len(), open);
}

#[test]
fn a_clock_is_tried_out_without_writing_anything() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    // One still alone says nothing of the scanner's clock: a person sets it by the one save call.
    let seen = desk.exam()["version"].as_u64().unwrap();
    assert_eq!(desk.change("Robin", seen, &json!({"change": "clock", "offset_s": -10.0})).0, 200);
    let before = std::fs::read(folder.path().join("exam.jsonl")).unwrap();
    let (status, body) = desk.get("/api/clock?offset_s=500");
    assert_eq!(status, 200);
    let told: Value = serde_json::from_slice(&body).unwrap();
    let changed = &told["changed"][0];
    assert_eq!(changed["before"]["zone"], "2B", "the one save call had the one still: {told}");
    assert!(changed["after"]["zone"].is_null(), "saved long before the exam by that clock: {told}");
    assert_eq!(std::fs::read(folder.path().join("exam.jsonl")).unwrap(), before);
}

#[test]
fn a_vet_signs_what_they_have_seen_with_a_key_that_only_they_can_read_and_a_change_makes_a_draft() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let seen = desk.exam()["version"].as_u64().unwrap();
    let words = "four words of my own";
    let begin = |licence: &str, passphrase: &str| {
        let vet = json!({"name": "Dr Example", "licence": licence, "passphrase": passphrase});
        desk.post("/api/people", &vet).0
    };
    assert_eq!(begin(" ", words), 422, "a licence is needed");
    assert_eq!(begin("V-1", "short"), 422, "a passphrase is long");
    assert_eq!(begin("V-1", words), 200);
    assert_eq!(begin("V-2", words), 422, "the desk makes the first vet only");
    let wish = |passphrase: &str, seen: u64| json!({"by": "Dr Example", "passphrase": passphrase, "seen": seen, "no_impression": true});
    let mut without = wish(words, seen);
    without["no_impression"] = false.into();
    let (status, told) = desk.post("/api/sign", &without);
    assert!(
        status == 422 && told["message"].as_str().unwrap().contains("no impression is written"),
        "{told}"
    );
    let sign = |passphrase: &str, seen: u64| {
        let mut wish = wish(passphrase, seen);
        wish["confirmed"] = true.into();
        desk.post("/api/sign", &wish)
    };
    assert_eq!(sign("four words of your own", seen).0, 422, "another passphrase");
    assert_eq!(sign(words, seen - 1).0, 409, "nobody signs what they have not seen");
    assert_eq!(desk.exam()["record"]["exam"]["status"], "draft");
    // The sound of this exam is shorter than its journal says, and its still is another file now.
    image::GrayImage::new(30, 20).save(folder.path().join("still.png")).unwrap();
    let (status, told) = desk.post("/api/sign", &wish(words, seen));
    assert!(status == 409 && told["confirm"] == true, "{told}");
    assert!(told["message"].as_str().unwrap().contains("`still.png` is not the file that it was"), "{told}");
    let (status, told) = sign(words, seen);
    assert_eq!(status, 200, "{told}");
    let exam = desk.exam();
    assert_eq!(exam["record"]["exam"]["status"], "signed");
    assert_eq!(exam["record"]["exam"]["signed"]["by"], "Dr Example");
    let mut keys = std::fs::read_dir(folder.path().join("settings/zonecall/keys")).unwrap();
    let key = keys.next().unwrap().unwrap().metadata().unwrap();
    assert_eq!(std::os::unix::fs::PermissionsExt::mode(&key.permissions()) & 0o777, 0o600);
    let verify = || {
        let folder = folder.path().to_string_lossy().into_owned();
        let done = std::process::Command::new(env!("CARGO_BIN_EXE_zonecall"))
            .args(["journal", &folder, "--verify"])
            .output()
            .unwrap();
        (done.status.code(), String::from_utf8_lossy(&done.stdout).into_owned())
    };
    let (code, text) = verify();
    assert!(code == Some(0) && text.contains("signed by Dr Example, licence V-1"), "{text}");
    let change = json!({"change": "clock", "offset_s": 3.0});
    let version = exam["version"].as_u64().unwrap();
    let (status, told) = desk.change("Dr Example", version, &change);
    assert!(status == 409 && told["signed"] == true, "a change of a signed record is asked about: {told}");
    assert_eq!(desk.exam()["version"], exam["version"], "nothing was written");
    let sure = json!({"by": "dr example", "seen": version, "change": change, "draft_again": true});
    assert_eq!(desk.post("/api/change", &sure).0, 200);
    let after = desk.exam();
    assert_eq!(after["record"]["exam"]["status"], "draft");
    assert_eq!(after["record"]["exam"]["signed"]["changes_since"], 1);
    let again = after["version"].as_u64().unwrap();
    assert_eq!(sign(words, again).0, 200);
    assert_eq!(desk.exam()["record"]["exam"]["signed"]["key"], exam["record"]["exam"]["signed"]["key"]);
    let journal = folder.path().join("exam.jsonl");
    let text = std::fs::read_to_string(&journal).unwrap();
    std::fs::write(&journal, text.replacen("V-1", "V-2", 1)).unwrap();
    let (code, text) = verify();
    assert!(code == Some(1) && text.contains("the signature of Dr Example"), "{text}");
}

#[test]
fn numbers_that_cannot_be_and_names_that_hide_something_are_refused() {
    let folder = folder();
    let desk = Served::start(folder.path(), 0);
    let exam = desk.exam();
    let value =
        exam["record"]["calls"].as_array().unwrap().iter().find(|call| call["kind"] == "value").unwrap();
    let act = |number: f64| json!({"kind": "value", "term": "echo score", "amount": {"number": number}});
    let put = |by: &str, number: f64| {
        let change = json!({"change": "call", "seq": value["seq"], "act": act(number)});
        desk.post(
            "/api/change",
            &json!({"by": by, "why": "", "seen": desk.exam()["version"], "change": change}),
        )
        .0
    };
    assert_eq!(put("Robin", 17.5), 422);
    assert_eq!(put("\u{202e}niboR", 3.0), 422);
    assert_eq!(put("Robin", 3.0), 200);
}

/// The five-step scale is the protocols' own; this exam was told to use the one of four steps.
#[test]
fn a_score_is_held_against_the_scale_of_its_exam_at_the_desk_and_on_the_command_line() {
    let folder = tempfile::tempdir().unwrap();
    let scales = [("echo score".to_owned(), "0-3".to_owned())];
    let header = Header { scales: scales.into(), ..support::header() };
    let said =
        [(2.0, "left fore zone two bravo transverse"), (6.0, "superficial flexor"), (9.0, "echo score two")];
    drop(support::write_heard_by(
        folder.path(),
        header,
        said.map(|(at_s, text)| support::utterance(at_s, text)),
    ));
    let desk = Served::start(folder.path(), 0);
    let exam = desk.exam();
    let (seen, seq) = (exam["version"].as_u64().unwrap(), seq_of(&exam, "value"));
    let score = |number: u32| json!({"kind": "value", "term": "echo score", "amount": {"number": number}});
    for change in [
        json!({"change": "call", "seq": seq, "act": score(4)}),
        json!({"change": "add", "sample": 160_000, "act": score(4)}),
    ] {
        let (status, told) = desk.change("Robin", seen, &change);
        let words = told["message"].as_str().unwrap();
        assert!(status == 422 && words.contains("0 to 3"), "{told}");
    }
    let exam_path = folder.path().to_str().unwrap();
    let typed =
        ["enter", exam_path, "--limb", "LF", "--zone", "2B", "--structure", "SDFT", "--term", "echo score"];
    let enter = |number: &str| {
        support::program::zonecall(&[&typed[..], &["--number", number, "--by", "Ada"]].concat()).status.code()
    };
    assert_eq!((enter("4"), enter("3")), (Some(2), Some(0)));
    // What is typed without a scale is one of this exam's, and is not read on another one.
    let (status, told) =
        desk.change("Robin", seen, &json!({"change": "add", "sample": 160_000, "act": score(3)}));
    assert_eq!(status, 200, "{told}");
    let calls = desk.exam()["record"]["calls"].clone();
    let added = calls.as_array().unwrap().iter().find(|call| call["added"] == true).unwrap();
    assert_eq!(added["scale"], "0-3");
}

#[test]
fn small_pictures_and_the_drawn_sound_are_kept_beside_the_exam_and_made_again_when_they_are_gone() {
    let folder = folder();
    let cache = folder.path().join(".cache");
    let mut journal = journal::Journal::open(folder.path()).unwrap();
    let closed = Event::Closed { reason: "end of exam".to_owned().into(), samples: 0 };
    journal.append(support::header().started_at, Sample::FIRST, &closed).unwrap();
    drop(journal);
    let kept = || std::fs::read_dir(&cache).map_or(0, Iterator::count);
    let desk = Served::start(folder.path(), 0);
    let record = desk.exam()["record"].clone();
    let got = |path: &str| {
        let (status, body) = desk.get(path);
        assert_eq!(status, 200, "{path}");
        body
    };
    let (small, sound) = (got("/api/thumb/0"), got("/api/peaks"));
    assert!(image::load_from_memory(&small).unwrap().width() <= 480);
    assert_eq!(kept(), 3, "both, and the hash of the still");
    // What was kept is what is shown: bytes that were put there come back.
    for entry in std::fs::read_dir(&cache).unwrap() {
        std::fs::write(entry.unwrap().path(), b"kept").unwrap();
    }
    assert_eq!(got("/api/thumb/0"), b"kept");
    // A changed still is another one, and is not shown, whatever was kept of it.
    let still = std::fs::read(folder.path().join("still.png")).unwrap();
    image::GrayImage::new(30, 20).save(folder.path().join("still.png")).unwrap();
    assert_eq!(desk.get("/api/thumb/0").0, 404);
    std::fs::write(folder.path().join("still.png"), still).unwrap();
    std::fs::remove_dir_all(&cache).unwrap();
    assert_eq!(got("/api/peaks"), sound);
    assert_eq!(desk.exam()["record"], record, "the record knows nothing of it");
    got("/api/thumb/0");
    let stills = zonecall::frames::folder::read(folder.path(), folder.path(), 0).stills;
    assert_eq!(stills.len(), 1, "what is kept is not taken for stills");
}
