//! Claims about the people of a practice: each vet signs with a key of their own, which only its passphrase opens.
use crate::support;

use std::io::Write as _;
use std::os::unix::fs::{OpenOptionsExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use sha2::{Digest as _, Sha256};
use zonecall::clock::Sample;
use zonecall::exam::event::{AudioFile, Event, Frame};
use zonecall::exam::journal::{self, Journal};
use zonecall::exam::sign::fault;
use zonecall::signing::people::{People, PeopleError, Role};

const ADA: &str = "ada has four good words";
const BEA: &str = "bea has other words here";

/// A practice with an exam.
struct Practice(tempfile::TempDir);

impl Practice {
    fn new() -> Practice {
        let folder = tempfile::tempdir().unwrap();
        support::write_journal(&folder.path().join("exam"), &[(2.0, "left fore zone two bravo transverse")]);
        Practice(folder)
    }

    fn exam(&self) -> String {
        self.0.path().join("exam").to_string_lossy().into_owned()
    }

    fn settings(&self) -> PathBuf {
        self.0.path().join("zonecall")
    }

    fn run(&self, words: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_zonecall"))
            .args(words)
            .env("XDG_CONFIG_HOME", self.0.path())
            .output()
            .unwrap()
    }

    /// A file with a passphrase, readable as `mode` says.
    fn secret(&self, passphrase: &str, mode: u32) -> String {
        let path = self.0.path().join(format!("secret-{mode:o}-{}", passphrase.len()));
        let mut options = std::fs::OpenOptions::new();
        let mut file = options.write(true).create(true).truncate(true).mode(mode).open(&path).unwrap();
        writeln!(file, "{passphrase}").unwrap();
        path.to_string_lossy().into_owned()
    }

    fn add(&self, name: &str, licence: &str, passphrase: &str) -> Output {
        let file = self.secret(passphrase, 0o600);
        let words =
            ["people", "add", name, "--role", "vet", "--licence", licence, "--passphrase-file", &file];
        self.run(&words)
    }

    fn sign(&self, name: &str, passphrase: &str, more: &[&str]) -> Output {
        let file = self.secret(passphrase, 0o600);
        let exam = self.exam();
        let words = ["sign", &exam, "--vet", name, "--no-impression", "--passphrase-file", &file];
        // An impression is asked for by a test of its own.
        let words: Vec<&str> = words
            .into_iter()
            .filter(|word| *word != "--no-impression" || !more.contains(&"--take-back"))
            .collect();
        self.run(&[&words[..], more].concat())
    }

    /// Name and key of each signature that holds.
    fn signatures(&self) -> Vec<(String, String)> {
        let lines = journal::read(Path::new(&self.exam())).unwrap();
        let signed = lines.events.iter().filter_map(|line| match &line.event {
            Event::Signed(signed) if fault(signed, &line.prev).is_none() => {
                Some((signed.by.clone(), signed.key.clone()))
            }
            _ => None,
        });
        signed.collect()
    }
}

fn done_with(output: &Output) {
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
}

fn done(output: &Output) -> String {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn refused(output: &Output, why: &str) {
    let told = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert!(told.contains(why), "{told}");
}

#[test]
fn two_vets_sign_with_two_keys_and_neither_opens_the_other_s() {
    let practice = Practice::new();
    done(&practice.add("Dr Ada", "V-1", ADA));
    done(&practice.add("Dr Bea", "V-2", BEA));
    refused(&practice.sign("Dr Bea", ADA, &[]), "does not open the key");
    assert!(practice.signatures().is_empty());
    let told = done(&practice.sign("Dr Ada", ADA, &[]));
    assert!(told.contains("still open: ") && told.contains("`zonecall check "), "{told}");
    done(&practice.sign("dr bea", BEA, &[]));
    let signed = practice.signatures();
    assert_eq!((signed[0].0.as_str(), signed[1].0.as_str()), ("Dr Ada", "Dr Bea"));
    assert_ne!(signed[0].1, signed[1].1);
    let listed = done(&practice.run(&["people"]));
    for (name, key) in &signed {
        assert!(listed.contains(&format!("{name}: vet")) && listed.contains(key), "{listed}");
    }
    // What each of them signed is kept, byte for byte.
    let lines = journal::read(Path::new(&practice.exam())).unwrap();
    for line in &lines.events {
        let Event::Signed(signed) = &line.event else { continue };
        let kept = Path::new(&practice.exam()).join(format!("signed/{}.json", signed.record_sha256));
        let hash = <sha2::Sha256 as sha2::Digest>::digest(std::fs::read(kept).unwrap());
        let hash: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(hash, signed.record_sha256);
    }
    let verified = done(&practice.run(&["journal", &practice.exam(), "--verify"]));
    assert!(verified.contains("the key of Dr Ada") && verified.contains("the key of Dr Bea"), "{verified}");
}

#[test]
fn an_assistant_neither_signs_nor_takes_a_signature_back() {
    let practice = Practice::new();
    done(&practice.add("Dr Ada", "V-1", ADA));
    done(&practice.run(&["people", "add", "Kim", "--role", "assistant"]));
    refused(&practice.sign("Kim", ADA, &[]), "`Kim` is on the list as assistant");
    refused(&practice.sign("Nobody", ADA, &[]), "`Nobody` is not on the list");
    done(&practice.sign("Dr Ada", ADA, &[]));
    refused(&practice.sign("Kim", ADA, &["--take-back"]), "`Kim` is on the list as assistant");
    refused(&practice.sign("Dr Ada", BEA, &["--take-back"]), "does not open the key");
    done(&practice.sign("Dr Ada", ADA, &["--take-back"]));
    let told = done(&practice.run(&["journal", &practice.exam()]));
    assert!(told.lines().last().unwrap().contains("by Dr Ada"), "{told}");
    refused(&practice.sign("Dr Ada", ADA, &["--take-back"]), "no signature to take back");
    done(&practice.sign("Dr Ada", ADA, &[]));
}

#[test]
fn a_new_key_takes_the_place_of_the_old_one_whose_signatures_still_hold() {
    let practice = Practice::new();
    done(&practice.add("Dr Ada", "V-1", ADA));
    done(&practice.sign("Dr Ada", ADA, &[]));
    let file = practice.secret(BEA, 0o600);
    done(&practice.run(&["people", "new-key", "Dr Ada", "--passphrase-file", &file]));
    refused(&practice.sign("Dr Ada", ADA, &[]), "does not open the key");
    done(&practice.sign("Dr Ada", BEA, &[]));
    let verified = practice.run(&["journal", &practice.exam(), "--verify"]);
    let told = done(&verified);
    assert!(told.contains(", an earlier key of Dr Ada:") && told.contains(", the key of Dr Ada:"), "{told}");
    assert_eq!(practice.signatures().len(), 2);
}

#[test]
fn who_has_left_changes_and_signs_nothing_and_what_they_signed_stays_valid_and_named() {
    let practice = Practice::new();
    done(&practice.add("Ada Example", "1234", ADA));
    done(&practice.run(&["people", "add", "Kim Example", "--role", "assistant"]));
    done(&practice.sign("Ada Example", ADA, &[]));
    let keys = || std::fs::read_dir(practice.settings().join("keys")).unwrap().count();
    assert_eq!(keys(), 1);
    let told = done(&practice.run(&["people", "remove", "ada example"]));
    assert!(told.starts_with("Ada Example changes and signs nothing any more"), "{told}");
    assert_eq!(keys(), 0, "nobody signs with it any more");
    let listed = done(&practice.run(&["people"]));
    assert!(listed.contains("Ada Example: vet, licence 1234, has left\n  earlier key "), "{listed}");
    // What was signed holds, and it is said whose it is.
    let (code, said) = verify(&practice);
    assert!(said.contains("a key of Ada Example, who has left the practice"), "{said}");
    assert_eq!(code, Some(0), "{said}");
    refused(&practice.sign("Ada Example", ADA, &[]), "no longer in the practice");
    refused(&practice.run(&["people", "remove", "Ada Example"]), "no longer in the practice");
    refused(&practice.run(&["people", "remove", "Nobody"]), "not on the list");
    // Taken in again, with a key of today.
    done(&practice.add("Ada Example", "1234", BEA));
    let people = People::read(&practice.settings()).unwrap();
    let ada = people.person("Ada Example").unwrap();
    assert_eq!((ada.left, ada.key.is_some(), ada.earlier_keys.len()), (false, true, 1));
    assert_ne!(ada.key, ada.earlier_keys.first().cloned());
    // An assistant leaves, too.
    done(&practice.run(&["people", "remove", "Kim Example"]));
    assert!(matches!(
        People::read(&practice.settings()).unwrap().find("Kim Example"),
        Err(PeopleError::Left { .. })
    ));
}

#[test]
fn keys_are_for_their_owner_alone_sealed_and_never_two_people_s() {
    let practice = Practice::new();
    done(&practice.add("Dr Ada", "V-1", ADA));
    let keys: Vec<PathBuf> = std::fs::read_dir(practice.settings().join("keys"))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    assert_eq!(keys.len(), 1);
    assert_eq!(keys[0].metadata().unwrap().permissions().mode() & 0o777, 0o600);
    let list = practice.settings().join("people.toml");
    let text = std::fs::read_to_string(&list).unwrap();
    // The same key under a second name.
    std::fs::write(&list, format!("{text}\n{}", text.replace("Dr Ada", "Dr Bea"))).unwrap();
    refused(&practice.sign("Dr Bea", ADA, &[]), "has a key twice, for `Dr Ada` and for `Dr Bea`");
    assert!(practice.signatures().is_empty());
    std::fs::write(&list, text).unwrap();
    refused(&practice.add("Dr Bea", "V-2", "short"), "at least 10 are needed");
    refused(&practice.add("Dr Bea", "", BEA), "a vet needs a licence number");
    refused(&practice.add("dr ada", "V-3", BEA), "on the list already");
}

#[test]
fn a_passphrase_that_others_can_read_is_refused_and_none_is_asked_for_without_a_terminal() {
    let practice = Practice::new();
    done(&practice.add("Dr Ada", "V-1", ADA));
    let open = practice.secret(ADA, 0o644);
    let exam = practice.exam();
    refused(
        &practice.run(&["sign", &exam, "--vet", "Dr Ada", "--no-impression", "--passphrase-file", &open]),
        "others can read",
    );
    assert!(practice.signatures().is_empty());
    let help = done(&practice.run(&["sign", "--help"]));
    assert!(!help.contains("--passphrase "), "never an argument, which others can read: {help}");
}

/// A copy of the one folder is all of a practice: settings, people and keys.
#[test]
fn people_and_keys_are_kept_where_the_settings_are_named_to_be() {
    let practice = Practice::new();
    let home = tempfile::tempdir().unwrap();
    let add = |settings: &str| {
        let file = practice.secret(ADA, 0o600);
        let words =
            ["people", "add", "Dr Ada", "--role", "vet", "--licence", "V-1", "--passphrase-file", &file];
        let done = Command::new(env!("CARGO_BIN_EXE_zonecall"))
            .args(words)
            .current_dir(home.path())
            .env("XDG_CONFIG_HOME", home.path().join("user"))
            .env("ZONECALL_SETTINGS", settings)
            .output()
            .unwrap();
        done_with(&done)
    };
    let named = home.path().join("practice/zonecall.toml");
    std::fs::create_dir(home.path().join("practice")).unwrap();
    add(named.to_str().unwrap());
    assert!(home.path().join("practice/people.toml").is_file());
    assert!(home.path().join("practice/keys").is_dir());
    add("zonecall.toml");
    assert!(home.path().join("people.toml").is_file());
    assert!(!home.path().join("user").exists());
    // What is no file has nothing beside it.
    add("/dev/null");
    assert!(home.path().join("user/zonecall/people.toml").is_file());
}

#[test]
fn signing_without_an_impression_is_asked_about_before_the_passphrase_and_shown_in_the_report() {
    let practice = Practice::new();
    done(&practice.add("Dr Ada", "V-1", ADA));
    let exam = practice.exam();
    // No passphrase is given, and none is asked for.
    let asked = practice.run(&["sign", &exam, "--vet", "Dr Ada"]);
    refused(&asked, "no impression is written, so the signed report would have none; nothing was signed");
    refused(&asked, "--no-impression");
    assert!(practice.signatures().is_empty());
    done(&practice.sign("Dr Ada", ADA, &[]));
    assert_eq!(practice.signatures().len(), 1);
    let page = Path::new(&exam).join("report.html");
    done(&practice.run(&["report", &exam, "--out", page.to_str().unwrap()]));
    let page = std::fs::read_to_string(page).unwrap();
    assert!(page.contains("The vet signed without a written impression."), "{page}");
}

#[test]
fn the_key_of_earlier_versions_is_known_and_signs_no_more() {
    let practice = Practice::new();
    std::fs::create_dir_all(practice.settings()).unwrap();
    std::fs::write(practice.settings().join("signing.key"), [7; 32]).unwrap();
    let people = People::read(&practice.settings()).unwrap();
    let shared = people.shared_key().unwrap();
    assert!(people.key_in_words(&shared).contains("everybody shared"));
    assert!(people.key_in_words(&"0".repeat(64)).contains("not on this practice's list"));
    assert!(matches!(people.open_key("Dr Ada", ADA), Err(PeopleError::Unknown { .. })));
    assert!(done(&practice.run(&["people"])).contains(&shared));
    assert_eq!(Role::Vet.as_str(), "vet");
}

/// A practice whose exam has a second of sound and a still.
fn with_files() -> Practice {
    let practice = Practice::new();
    let exam = PathBuf::from(practice.exam());
    std::fs::create_dir(exam.join("audio")).unwrap();
    let at = support::header().started_at;
    let mut keeper = zonecall::speech::keep::Keeper::create(&exam.join(SOUND), at, 0).unwrap();
    keeper.write(&[7; 80_000]).unwrap();
    keeper.finalise().unwrap();
    image::GrayImage::from_pixel(8, 8, image::Luma([7])).save(exam.join(STILL)).unwrap();
    let audio =
        AudioFile { file: SOUND.to_owned(), first_sample: Sample::FIRST, source: "default".to_owned() };
    let still = Frame {
        id: "2.25.1".to_owned(),
        file: STILL.to_owned(),
        sha256: sha256(&exam.join(STILL)),
        ..support::still::frame("")
    };
    let mut journal = Journal::open(&exam).unwrap();
    for event in [Event::Audio(audio), Event::Frame(Box::new(still))] {
        journal.append(at, Sample(80_000), &event).unwrap();
    }
    done(&practice.add("Dr Ada", "V-1", ADA));
    practice
}

const SOUND: &str = "audio/0001.wav";
const STILL: &str = "still.png";

fn sha256(path: &Path) -> String {
    let hash = Sha256::digest(std::fs::read(path).unwrap());
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[test]
fn nobody_signs_without_a_word_what_has_lost_its_sound_or_a_still() {
    type Harm = (&'static str, fn(PathBuf), &'static str);
    let gone = |path: PathBuf| std::fs::remove_file(path).unwrap();
    let cut = |path: PathBuf| std::fs::write(path, "").unwrap();
    let harms: [Harm; 4] = [
        (SOUND, gone, "the recording `audio/0001.wav` cannot be read"),
        (SOUND, cut, "the recording `audio/0001.wav` lacks its last 5.0 s"),
        (STILL, gone, "the still `still.png` is not there"),
        (STILL, cut, "`still.png` is not the file that it was"),
    ];
    for (file, harm, why) in harms {
        let practice = with_files();
        harm(Path::new(&practice.exam()).join(file));
        refused(&practice.sign("Dr Ada", ADA, &[]), why);
        assert!(practice.signatures().is_empty());
        let checked = practice.run(&["check", &practice.exam()]);
        let told = String::from_utf8_lossy(&checked.stdout);
        assert!(told.contains(&format!("`{file}`")), "{told}");
        done(&practice.sign("Dr Ada", ADA, &["--incomplete"]));
        assert_eq!(practice.signatures().len(), 1);
    }
    done(&with_files().sign("Dr Ada", ADA, &[]));
}

#[test]
fn the_same_vet_signs_an_unchanged_record_once() {
    let practice = with_files();
    done(&practice.add("Dr Bea", "V-2", BEA));
    done(&practice.sign("Dr Ada", ADA, &[]));
    let journal = || std::fs::read(Path::new(&practice.exam()).join(journal::JOURNAL_FILE)).unwrap();
    let before = journal();
    refused(&practice.sign("Dr Ada", ADA, &[]), "Dr Ada has signed this record in line");
    assert_eq!(journal(), before, "nothing was written");
    // Another vet may sign the same, and a change makes it another record.
    done(&practice.sign("Dr Bea", BEA, &[]));
    done(&practice.run(&["name", &practice.exam(), "--horse", "Bramble", "--by", "Dr Ada", "--draft-again"]));
    done(&practice.sign("Dr Bea", BEA, &[]));
    assert_eq!(practice.signatures().len(), 3);
}

fn verify(practice: &Practice) -> (Option<i32>, String) {
    let output = practice.run(&["journal", &practice.exam(), "--verify"]);
    (output.status.code(), String::from_utf8_lossy(&output.stdout).into_owned())
}

#[test]
fn verify_names_a_head_and_a_signed_record_that_were_deleted() {
    let practice = with_files();
    done(&practice.sign("Dr Ada", ADA, &[]));
    let (code, told) = verify(&practice);
    assert!(code == Some(0) && !told.contains("draft"), "{told}");
    let exam = PathBuf::from(practice.exam());
    let (head, signed) = (exam.join("exam.head"), exam.join("signed"));
    let kept = std::fs::read(&head).unwrap();
    std::fs::remove_file(&head).unwrap();
    let (code, told) = verify(&practice);
    assert!(code == Some(1) && told.contains("`exam.head` is gone"), "{told}");
    std::fs::write(&head, kept).unwrap();
    let record = std::fs::read_dir(&signed).unwrap().next().unwrap().unwrap().file_name();
    std::fs::remove_dir_all(&signed).unwrap();
    let (code, told) = verify(&practice);
    let named = format!("`signed/{}` is gone since it was signed", record.to_string_lossy());
    assert!(code == Some(1) && told.contains(&named) && told.contains("a draft again"), "{told}");
    let checked = practice.run(&["check", &practice.exam()]);
    assert!(String::from_utf8_lossy(&checked.stdout).contains(&named));
}

#[test]
fn verify_says_that_a_signed_record_is_a_draft_again_and_why() {
    let practice = with_files();
    done(&practice.sign("Dr Ada", ADA, &[]));
    done(&practice.sign("Dr Ada", ADA, &["--take-back"]));
    let (code, told) = verify(&practice);
    assert!(code == Some(0) && told.contains("taken back by Dr Ada in line"), "{told}");
    done(&practice.sign("Dr Ada", ADA, &[]));
    done(&practice.run(&["name", &practice.exam(), "--horse", "Bramble", "--by", "Dr Ada", "--draft-again"]));
    let (code, told) = verify(&practice);
    assert!(code == Some(0) && told.contains("a draft again: it was changed after the signature"), "{told}");
}

#[test]
fn a_line_that_was_changed_by_hand_is_called_that_and_no_difference_of_versions() {
    let practice = with_files();
    done(&practice.sign("Dr Ada", ADA, &[]));
    let path = Path::new(&practice.exam()).join(journal::JOURNAL_FILE);
    let whole = std::fs::read_to_string(&path).unwrap();
    let signed = journal::read(Path::new(&practice.exam())).unwrap().events.last().cloned().unwrap();
    let Event::Signed(signed) = signed.event else { panic!("the last line is the signature") };
    // In the signature's own line the record's hash, in a line that it covers the zone.
    let other = "0".repeat(64);
    let harms = [(signed.record_sha256.as_str(), other.as_str()), ("\"zone\":\"2B\"", "\"zone\":\"3B\"")];
    for (was, is) in harms {
        assert!(whole.contains(was), "{was}");
        std::fs::write(&path, whole.replace(was, is)).unwrap();
        let (code, told) = verify(&practice);
        assert_eq!(code, Some(1), "{told}");
        assert!(told.contains("not the one that was written") || told.contains("does not match"), "{told}");
        assert!(!told.contains("this version"), "{told}");
        let checked = practice.run(&["check", &practice.exam()]);
        let told = String::from_utf8_lossy(&checked.stdout).into_owned();
        assert!(told.contains("journal-damage") && !told.contains("this version"), "{told}");
    }
}

/// A misspelled name would be one more person in the record.
#[test]
fn on_the_command_line_only_people_of_the_list_change_something_once_there_is_one() {
    let practice = with_files();
    let name = |by: &str| practice.run(&["name", &practice.exam(), "--horse", "Bramble", "--by", by]);
    refused(&name("Nobody"), "not on the list of people");
    done(&name("dr ada"));
}

/// Once a practice has listed its people, whoever is not on the list may look and not change.
#[test]
fn at_the_desk_only_people_of_the_list_change_something_once_there_is_one() {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &[(2.0, "left fore zone two bravo transverse"), (9.0, "save")]);
    let desk = support::desk::Served::start(folder.path(), 0);
    let added = |by: &str| {
        let seen = desk.exam()["version"].as_u64().unwrap();
        let text = format!("a note by {by}");
        let note = serde_json::json!({"change": "words", "part": "impression", "text": text});
        desk.change(by, seen, &note)
    };
    assert_eq!(added("Robin").0, 200, "without a list everybody may");
    let mut people = People::read(&folder.path().join("settings/zonecall")).unwrap();
    people.add("Kim", Role::Assistant, "", "").unwrap();
    let before = std::fs::read(folder.path().join("exam.jsonl")).unwrap();
    let (status, told) = added("Robin");
    let message = told["message"].as_str().unwrap();
    assert!(status == 422 && message.contains("`Robin` is not on the practice's list"), "{told}");
    assert!(told["help"].as_str().unwrap().contains("zonecall people add"), "{told}");
    // Nor does a stranger send the exam away, or make themselves a vet.
    let sent = serde_json::json!({"by": "Robin", "peer": "archive", "what": "stills"});
    let (status, told) = desk.post("/api/send", &sent);
    assert!(
        status == 422 && told["message"].as_str().unwrap().contains("not on the practice's list"),
        "{told}"
    );
    let vet = serde_json::json!({"name": "Robin", "licence": "1", "passphrase": "seven brown horses graze"});
    let (status, told) = desk.post("/api/people", &vet);
    assert!(status == 422 && told["message"].as_str().unwrap().contains("has a list of people"), "{told}");
    assert_eq!(std::fs::read(folder.path().join("exam.jsonl")).unwrap(), before);
    assert_eq!(desk.get("/api/exam").0, 200, "everybody may look");
    // As the list writes the name.
    assert_eq!(added(" kim ").0, 200);
    let lines = std::fs::read_to_string(folder.path().join("exam.jsonl")).unwrap();
    assert!(lines.lines().last().unwrap().contains("\"by\":\"Kim\""), "{lines}");
    // Who has left is known, and changes nothing any more.
    People::read(&folder.path().join("settings/zonecall")).unwrap().remove("Kim").unwrap();
    let (status, told) = added("Kim");
    assert!(
        status == 422 && told["message"].as_str().unwrap().contains("no longer in the practice"),
        "{told}"
    );
    // A list that cannot be read lets nobody in by mistake.
    std::fs::write(folder.path().join("settings/zonecall/people.toml"), "[[person]]\nname = 3\n").unwrap();
    assert_eq!(added("Kim").0, 422);
}
