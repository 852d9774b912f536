//! Exams encrypted at rest: what the program age says of the file, and what is left after a kill, a full disk and damage.
use crate::support;
use crate::support::program::zonecall;

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::os::unix::ffi::OsStrExt as _;
use std::os::unix::fs::PermissionsExt as _;
use std::os::unix::process::CommandExt as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Instant;

use zonecall::clock::Sample;
use zonecall::encryption::encrypt::{PlainFolder, encrypt_with};
use zonecall::encryption::keys::Recipients;
use zonecall::exam::event::{CloseReason, Event};
use zonecall::exam::journal::Journal;
use zonecall::exam_folder::ExamFolder;

/// A home with a secret key and an exam.
struct Home {
    folder: tempfile::TempDir,
    public: String,
}

impl Home {
    fn new() -> Home {
        let folder = tempfile::tempdir().unwrap();
        let key = folder.path().join("key.txt");
        let made = zonecall(&["encrypt", "--new-identity", key.to_str().unwrap()]);
        assert!(made.status.success(), "{}", said(&made));
        let public =
            said(&made).lines().find_map(|line| line.strip_prefix("public key: ").map(str::to_owned));
        let home = Home { folder, public: public.unwrap() };
        home.exam();
        home
    }

    /// An exam with sound, a still, and files that an archive could get wrong.
    fn exam(&self) {
        let exam = self.at("exam");
        support::write_journal(&exam, &[(2.0, "left fore zone two bravo transverse")]);
        let long = format!("out/{}/{}.txt", "a".repeat(120), "b".repeat(120));
        for (name, bytes) in [
            ("audio/0001.wav", noise(3_000_000)),
            ("stills/1\nj\u{fc}.png", noise(70_000)),
            (long.as_str(), b"long".to_vec()),
            ("out/empty", Vec::new()),
            (".cache/thumb", b"made again".to_vec()),
        ] {
            std::fs::create_dir_all(exam.join(name).parent().unwrap()).unwrap();
            std::fs::write(exam.join(name), bytes).unwrap();
        }
        std::fs::create_dir(exam.join("frames")).unwrap();
        let closed = Event::Closed { reason: CloseReason::EndOfExam, samples: 0 };
        let at = support::header().started_at;
        Journal::open(&exam).unwrap().append(at, Sample::FIRST, &closed).unwrap();
    }

    fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn text(&self, name: &str) -> String {
        self.at(name).to_str().unwrap().to_owned()
    }

    fn command(&self, more: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_zonecall"));
        command.arg("encrypt").arg(self.at("exam")).args(["--encrypt-for", &self.public]).args(more);
        command.env("ZONECALL_SETTINGS", self.at("none.toml"));
        command
    }

    fn encrypt(&self, more: &[&str]) -> Output {
        self.command(more).output().unwrap()
    }

    /// What `age` and `tar` make of the file.
    fn opened(&self, file: &str) -> BTreeMap<PathBuf, Option<Vec<u8>>> {
        let to = tempfile::tempdir().unwrap();
        let line = format!("age --decrypt -i '{}' '{}' | tar x", self.text("key.txt"), self.text(file));
        let done = Command::new("bash")
            .args(["-o", "pipefail", "-c", &line])
            .current_dir(to.path())
            .output()
            .unwrap();
        assert!(done.status.success(), "{}", said(&done));
        tree(&to.path().join("exam"))
    }
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// Bytes without a pattern that an archive could make shorter, the same each time (splitmix64, public domain).
fn noise(length: usize) -> Vec<u8> {
    let mut state = 7_u64;
    let mut next = || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb).to_le_bytes()
    };
    (0..length.div_ceil(8)).flat_map(|_| next()).take(length).collect()
}

/// Every folder and file with its bytes; what may be deleted is left out, and the head, which is written with the journal.
fn tree(folder: &Path) -> BTreeMap<PathBuf, Option<Vec<u8>>> {
    let mut found = BTreeMap::new();
    let mut open = vec![folder.to_owned()];
    while let Some(here) = open.pop() {
        for entry in std::fs::read_dir(&here).unwrap_or_else(|error| panic!("{}: {error}", here.display())) {
            let path = entry.unwrap().path();
            let name = path.strip_prefix(folder).unwrap().to_owned();
            if name == Path::new(".cache") {
                continue;
            }
            if path.is_dir() {
                open.push(path.clone());
            }
            found.insert(name, path.is_file().then(|| std::fs::read(&path).unwrap()));
        }
    }
    found
}

#[test]
fn the_program_age_opens_what_was_encrypted_and_what_it_encrypts_is_opened() {
    let home = Home::new();
    let public = Command::new("age-keygen").arg("-y").arg(home.at("key.txt")).output();
    let public = public.unwrap_or_else(|error| panic!("age: {error}; run `make setup`"));
    assert_eq!(String::from_utf8_lossy(&public.stdout).trim(), home.public);
    assert_eq!(std::fs::metadata(home.at("key.txt")).unwrap().permissions().mode() & 0o777, 0o600);
    let before = tree(&home.at("exam"));
    let done = home.encrypt(&[]);
    assert!(done.status.success(), "{}", said(&done));
    assert!(said(&done).contains("decrypted again and compared with the folder"), "{}", said(&done));
    assert_eq!(tree(&home.at("exam")), before, "the folder stays as it was");
    assert_eq!(home.opened("exam.tar.age"), before);
    let mode = std::fs::metadata(home.at("exam.tar.age")).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    let sealed = std::fs::read(home.at("exam.tar.age")).unwrap();
    assert!(!sealed.windows(7).any(|part| part == b"Juniper"), "nothing of it can be read");
    // Another key opens nothing.
    let other = home.text("other.txt");
    assert!(zonecall(&["encrypt", "--new-identity", &other]).status.success());
    let first = std::fs::read(&other).unwrap();
    let again = zonecall(&["encrypt", "--new-identity", &other]);
    assert!(said(&again).contains("perhaps the only key to some exams; name a new one"), "{}", said(&again));
    assert_eq!((again.status.code(), std::fs::read(&other).unwrap()), (Some(2), first));
    let into = home.text("opened");
    let refused = zonecall(&["decrypt", &home.text("exam.tar.age"), "--identity", &other, "--into", &into]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        said(&refused).contains("check that --identity names the secret key") && !Path::new(&into).exists(),
        "{}",
        said(&refused)
    );
    let key = home.text("key.txt");
    let opened = zonecall(&["decrypt", &home.text("exam.tar.age"), "--identity", &key, "--into", &into]);
    assert!(opened.status.success() && said(&opened).contains("none damaged"), "{}", said(&opened));
    assert_eq!(tree(Path::new(&into)), before);
    for (name, mode) in [("", 0o700), ("stills", 0o700), ("exam.jsonl", 0o600)] {
        let about = std::fs::metadata(Path::new(&into).join(name)).unwrap();
        assert_eq!(about.permissions().mode() & 0o777, mode, "{name}");
    }
    // The other way round, and beside the file.
    let line = format!("tar c exam | age --encrypt -r {} -o theirs.tar.age", home.public);
    assert!(
        Command::new("bash").args(["-c", &line]).current_dir(home.folder.path()).status().unwrap().success()
    );
    let opened = zonecall(&["decrypt", &home.text("theirs.tar.age"), "--identity", &key]);
    assert!(opened.status.success(), "{}", said(&opened));
    assert_eq!(tree(&home.at("theirs")), before);
    let again = zonecall(&["decrypt", &home.text("theirs.tar.age"), "--identity", &key]);
    assert!(again.status.code() == Some(2) && said(&again).contains("already exists"), "{}", said(&again));
}

#[test]
fn the_folder_goes_only_when_that_was_asked_for_and_the_file_is_never_written_over() {
    let home = Home::new();
    let before = tree(&home.at("exam"));
    let done = home.encrypt(&["--remove-plain"]);
    assert!(done.status.success() && said(&done).contains("exam: removed"), "{}", said(&done));
    assert!(!home.at("exam").exists() && !home.at("exam.removing").exists());
    assert_eq!(home.opened("exam.tar.age"), before);
    home.exam();
    let sealed = std::fs::read(home.at("exam.tar.age")).unwrap();
    let refused = home.encrypt(&["--remove-plain"]);
    assert!(
        refused.status.code() == Some(2) && said(&refused).contains("already exists"),
        "{}",
        said(&refused)
    );
    assert_eq!(std::fs::read(home.at("exam.tar.age")).unwrap(), sealed);
    assert_eq!(tree(&home.at("exam")).keys().collect::<Vec<_>>(), before.keys().collect::<Vec<_>>());
}

#[test]
fn a_folder_whose_name_is_no_text_and_one_named_from_inside_become_files_beside_them_and_back() {
    let home = Home::new();
    let named = home.folder.path().join(OsStr::from_bytes(b"e.\xff"));
    std::fs::rename(home.at("exam"), &named).unwrap();
    let zonecall = || Command::new(env!("CARGO_BIN_EXE_zonecall"));
    let for_us = ["--encrypt-for", &home.public, "--remove-plain"];
    let done = zonecall().arg("encrypt").arg(&named).args(for_us).output().unwrap();
    assert!(done.status.success() && !named.exists(), "{}", said(&done));
    let file = home.folder.path().join(OsStr::from_bytes(b"e.\xff.tar.age"));
    let done =
        zonecall().arg("decrypt").arg(&file).args(["--identity", &home.text("key.txt")]).output().unwrap();
    assert!(named.join("exam.jsonl").is_file(), "{}", said(&done));
    std::fs::rename(&named, home.at("exam")).unwrap();
    let done =
        zonecall().args(["encrypt", "."]).args(&for_us[..2]).current_dir(home.at("exam")).output().unwrap();
    assert!(done.status.success() && home.at("exam.tar.age").is_file(), "{}", said(&done));
}

#[test]
fn what_cannot_be_given_back_or_read_is_an_error_and_nothing_is_lost() {
    let home = Home::new();
    let refuses = |why: &str, output: Output| {
        assert_eq!(output.status.code(), Some(2), "{why}: {}", said(&output));
        assert!(said(&output).contains(why), "{why}: {}", said(&output));
        assert!(!home.at("exam.tar.age").exists() && !home.at("exam.tar.age.part").exists(), "{why}");
        assert!(home.at("exam/audio/0001.wav").exists(), "{why}");
    };
    std::os::unix::fs::symlink("/etc/hostname", home.at("exam/link")).unwrap();
    refuses("is neither a file nor a folder", home.encrypt(&["--remove-plain"]));
    std::fs::remove_file(home.at("exam/link")).unwrap();
    refuses(
        "is not a public key of age",
        zonecall(&["encrypt", &home.text("exam"), "--encrypt-for", "age1nobody"]),
    );
    let mut nobody = Command::new(env!("CARGO_BIN_EXE_zonecall"));
    nobody.arg("encrypt").arg(home.at("exam")).env("ZONECALL_SETTINGS", home.at("none.toml"));
    refuses("nobody was named who may read it", nobody.output().unwrap());
    // A file that this user may not read: root may read all, so another user tries.
    std::fs::set_permissions(home.folder.path(), std::fs::Permissions::from_mode(0o777)).unwrap();
    let is_root = rustix_is_root();
    if is_root {
        assert!(Command::new("chown").args(["-R", "65534"]).arg(home.at("exam")).status().unwrap().success());
        assert!(
            Command::new("chown").arg("0").arg(home.at("exam/audio/0001.wav")).status().unwrap().success()
        );
    }
    let mode = std::fs::Permissions::from_mode(if is_root { 0o600 } else { 0o000 });
    std::fs::set_permissions(home.at("exam/audio/0001.wav"), mode).unwrap();
    let mut other = home.command(&["--remove-plain"]);
    if is_root {
        other.uid(65_534);
    }
    refuses("0001.wav`: Permission denied", other.output().unwrap());
    // An exam that goes on.
    let open = home.text("open");
    support::write_journal(Path::new(&open), &[(2.0, "left fore")]);
    let refused = zonecall(&["encrypt", &open, "--encrypt-for", &home.public]);
    assert!(
        refused.status.code() == Some(2) && said(&refused).contains("never closed"),
        "{}",
        said(&refused)
    );
}

/// Whether this test may read everything.
fn rustix_is_root() -> bool {
    std::fs::metadata("/proc/self").is_ok_and(|about| std::os::unix::fs::MetadataExt::uid(&about) == 0)
}

/// A limit on the length of a file stands for a full disk: both refuse to write on (`setrlimit`, RLIMIT_FSIZE).
#[test]
fn a_full_disk_leaves_the_folder_and_no_half_file() {
    let home = Home::new();
    let before = tree(&home.at("exam"));
    let program = env!("CARGO_BIN_EXE_zonecall");
    for blocks in [0, 1, 200, 5000] {
        let line = format!(
            "trap '' XFSZ; ulimit -f {blocks}; exec '{program}' encrypt '{}' --encrypt-for {} --remove-plain",
            home.text("exam"),
            home.public
        );
        let done =
            Command::new("bash").args(["-c", &line]).env("ZONECALL_SETTINGS", home.at("none.toml")).output();
        let done = done.unwrap();
        assert_eq!(done.status.code(), Some(if blocks < 5000 { 2 } else { 0 }), "{blocks}: {}", said(&done));
        if blocks < 5000 {
            assert!(said(&done).contains("cannot write"), "{blocks}: {}", said(&done));
            assert_eq!(tree(&home.at("exam")), before);
            assert!(!home.at("exam.tar.age").exists() && !home.at("exam.tar.age.part").exists());
        }
    }
    assert_eq!(home.opened("exam.tar.age"), before);
}

#[test]
fn a_kill_at_any_moment_leaves_the_folder_or_its_whole_file() {
    let home = Home::new();
    let before = tree(&home.at("exam"));
    let began = Instant::now();
    assert!(home.encrypt(&["--remove-plain"]).status.success());
    let whole = began.elapsed();
    let names = ["exam", "exam.removing"].map(|name| home.at(name));
    for kill in 0..30_u32 {
        std::fs::remove_file(home.at("exam.tar.age")).unwrap();
        home.exam();
        let mut child =
            home.command(&["--remove-plain"]).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        std::thread::sleep(whole * kill / 29);
        child.kill().unwrap();
        child.wait().unwrap();
        let is_plain = names.iter().any(|name| name.is_dir() && tree(name) == before);
        if !is_plain {
            assert_eq!(home.opened("exam.tar.age"), before, "kill {kill}");
        }
        if names.iter().any(|name| name.exists()) {
            let again = home.encrypt(&["--remove-plain"]);
            assert!(again.status.success(), "kill {kill}: {}", said(&again));
        }
        assert!(names.iter().all(|name| !name.exists()), "kill {kill}");
        assert_eq!(home.opened("exam.tar.age"), before, "kill {kill}");
    }
}

#[test]
fn a_file_that_was_written_wrongly_is_found_before_the_folder_goes() {
    let home = Home::new();
    let before = tree(&home.at("exam"));
    let (folder, into) = (ExamFolder::at(home.at("exam")), home.at("exam.tar.age"));
    let recipients = Recipients::of([home.public.as_str()]).unwrap();
    let harmed = |harm: &mut dyn FnMut(&Path)| {
        let told =
            encrypt_with(&folder, &support::BUILT_IN.1, &recipients, &into, PlainFolder::Removed, harm);
        let told = told.unwrap_err().to_string();
        assert!(!into.exists() && !home.at("exam.tar.age.part").exists(), "{told}");
        told
    };
    let length = 3_000_000;
    for at in [100, 1000, 500_000, length] {
        let told = harmed(&mut |part| {
            let mut bytes = std::fs::read(part).unwrap();
            bytes[at] ^= 1;
            std::fs::write(part, bytes).unwrap();
        });
        assert!(told.contains("does not hold what the folder holds"), "{at}: {told}");
    }
    let told = harmed(&mut |part| {
        let file = std::fs::OpenOptions::new().write(true).open(part).unwrap();
        file.set_len(file.metadata().unwrap().len() - 20).unwrap();
    });
    assert!(told.contains("does not hold what the folder holds"), "cut short: {told}");
    assert_eq!(tree(&home.at("exam")), before);
    let told = harmed(&mut |_| std::fs::write(home.at("exam/new.dcm"), "a still").unwrap());
    assert!(told.contains("`new.dcm` came or changed meanwhile"), "{told}");
    let told = harmed(&mut |_| std::fs::write(home.at("exam/out/empty"), "more").unwrap());
    assert!(told.contains("`out/empty`"), "{told}");
    let told = harmed(&mut |_| std::fs::remove_file(home.at("exam/out/empty")).unwrap());
    assert!(told.contains("out/empty"), "{told}");
    assert!(home.at("exam/new.dcm").exists());
}

#[test]
fn a_damaged_or_wicked_file_gives_no_folder_and_writes_nowhere_else() {
    let home = Home::new();
    assert!(home.encrypt(&[]).status.success());
    let key = home.text("key.txt");
    let whole = std::fs::read(home.at("exam.tar.age")).unwrap();
    let refuses = |name: &str, why: &str| {
        let into = home.text("into");
        let done = zonecall(&["decrypt", &home.text(name), "--identity", &key, "--into", &into]);
        assert!(done.status.code() == Some(2) && said(&done).contains(why), "{why}: {}", said(&done));
        let left: Vec<_> =
            std::fs::read_dir(home.folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
        assert!(
            !left.iter().any(|name| name == "into" || name.to_str().unwrap().starts_with('.')),
            "{left:?}"
        );
    };
    std::fs::write(home.at("cut.tar.age"), &whole[..whole.len() - 1]).unwrap();
    refuses("cut.tar.age", "cannot be decrypted");
    let mut wrong = whole.clone();
    wrong[whole.len() / 2] ^= 1;
    std::fs::write(home.at("wrong.tar.age"), wrong).unwrap();
    refuses("wrong.tar.age", "cannot be decrypted");
    std::fs::write(home.at("none.tar.age"), "no age").unwrap();
    refuses("none.tar.age", "cannot be decrypted");
    for (name, make) in [
        ("up", "touch ../up.txt; tar cP exam/../../up.txt"),
        ("rooted", "tar cP /etc/hostname"),
        ("link", "ln -sf /etc exam/link; tar c exam/link"),
    ] {
        let line = format!("{make} | age --encrypt -r {} -o {name}.tar.age", home.public);
        let shell =
            Command::new("bash").args(["-c", &line]).current_dir(home.folder.path()).output().unwrap();
        assert!(shell.status.success(), "{}", said(&shell));
        refuses(&format!("{name}.tar.age"), "does not belong in an exam folder");
    }
    let _ = std::fs::remove_file(home.folder.path().parent().unwrap().join("up.txt"));
}

#[test]
fn a_single_exam_is_not_said_to_be_encrypted_by_a_key_for_a_box() {
    let folder = tempfile::tempdir().unwrap();
    let into = folder.path().join("exam");
    let refused = zonecall(&["listen", "--into", into.to_str().unwrap(), "--encrypt-for", "age1example"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(said(&refused).contains("cannot be used with"), "{}", said(&refused));
}
