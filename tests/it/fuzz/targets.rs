//! What reads, each behind one function that takes bytes.

use std::io::{Read as _, Write as _};
use std::net::{Shutdown, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use sha2::{Digest as _, Sha256};
use zonecall::archive::{Archive, ArchiveQuery, ArchivedRecord};
use zonecall::exam::fold::fold;
use zonecall::exam::journal::lines;
use zonecall::exchange::black_out::{Rectangle, blackened};
use zonecall::frames::pair::pair;
use zonecall::frames::{dicom, folder};
use zonecall::knowledge::assemble::record;
use zonecall::knowledge::record::{Record, Status};
use zonecall::language::own::OwnWords;
use zonecall::language::pack::Pack;
use zonecall::protocol::Protocols;
use zonecall::report::apart::decode_with;
use zonecall::report::export::json;
use zonecall::report::history;
use zonecall::report::picture::pictures;
use zonecall::speech::recording;
use zonecall::speech::silence::look;

use super::seeds;
use crate::support::desk::Served;
use crate::support::{sample, sha256, still};

/// A name, what to begin with, and what is done in a folder with each input.
pub(super) type Target = (&'static str, fn() -> Vec<Vec<u8>>, fn(&Path) -> Run);
type Run = Box<dyn FnMut(&[u8])>;

pub(super) const TARGETS: &[Target] = &[
    ("wav", seeds::wav, |folder| of_file(folder, "a.wav", sound)),
    ("flac", seeds::flac, |folder| of_file(folder, "a.flac", sound)),
    ("dicom", seeds::dicom, |folder| of_file(folder, "a.dcm", still)),
    ("picture", seeds::pictures, |folder| picture(folder)),
    ("black-out", seeds::dicom, |folder| {
        decode_with(PathBuf::from(env!("CARGO_BIN_EXE_zonecall")));
        of_file(folder, "a.dcm", black_out)
    }),
    ("exif", seeds::exif, |folder| of_file(folder, "a.jpg", still)),
    ("grammar", seeds::grammar, |folder| {
        std::fs::write(folder.join("words.dict"), "").unwrap();
        of_file(folder, "exam.gram", pack)
    }),
    ("dictionary", seeds::dictionary, |folder| {
        std::fs::write(folder.join("exam.gram"), &seeds::grammar()[0]).unwrap();
        of_file(folder, "words.dict", pack)
    }),
    ("own-words", seeds::own_words, |_| Box::new(|input| drop(OwnWords::of(Path::new("own"), &text(input))))),
    ("protocols", seeds::protocols, |folder| protocols(folder)),
    ("settings", seeds::settings, |folder| of_file(folder, "zonecall.toml", settings)),
    ("journal", seeds::journal, |_| journal(|input| input.to_vec())),
    ("journal-chained", seeds::journal, |_| journal(chained)),
    ("record", seeds::record, |_| of_record()),
    ("archive", seeds::archive, |folder| of_file(folder, "a.sqlite", archive)),
    ("page", seeds::page, |_| page()),
];

/// Four that fail, each in its way.
pub(super) const BROKEN: &[Target] = &[
    ("broken-panic", seeds::settings, |_| Box::new(|_| panic!("as it must"))),
    ("broken-hang", seeds::settings, |_| Box::new(|_| std::thread::sleep(Duration::from_secs(60)))),
    ("broken-loop", seeds::settings, |_| Box::new(|_| go_in_circles())),
    ("broken-memory", seeds::settings, |_| Box::new(|_| drop(std::hint::black_box(vec![1_u8; 1 << 30])))),
];

/// A program of its own that never ends.
fn go_in_circles() {
    Command::new("bash").args(["-c", "while :; do :; done"]).status().unwrap();
}

fn text(input: &[u8]) -> String {
    String::from_utf8_lossy(input).into_owned()
}

/// Each input as a file of this name.
fn of_file(folder: &Path, name: &str, read: fn(&Path)) -> Run {
    let path = folder.join("files").join(name);
    std::fs::create_dir_all(path.parent().unwrap()).unwrap();
    for beside in ["words.dict", "exam.gram"] {
        let _ = std::fs::copy(folder.join(beside), path.with_file_name(beside));
    }
    Box::new(move |input| {
        std::fs::write(&path, input).unwrap();
        read(&path);
    })
}

fn sound(path: &Path) {
    if let Ok(mut recording) = recording::open(path) {
        while let Ok(Some(_)) = recording.next_block() {}
    }
    let _ = look(path);
}

fn still(path: &Path) {
    let inside = path.parent().unwrap();
    let _ = folder::read(inside, inside, 7200);
    let _ = dicom::regions(path);
}

fn black_out(path: &Path) {
    let corner = Rectangle { left: 0, top: 0, width: 9, height: 9 };
    let _ = blackened(&[corner], path);
}

fn picture(folder: &Path) -> Run {
    decode_with(PathBuf::from(env!("CARGO_BIN_EXE_zonecall")));
    let folder = folder.to_owned();
    let mut record = sample::record();
    record.frames = vec![sample::still(1, "LF 1A T -", Status::Spoken, Some(6))];
    record.frames[0].file = "a.still".to_owned();
    Box::new(move |input| {
        std::fs::write(folder.join("a.still"), input).unwrap();
        let mut record = record.clone();
        record.frames[0].sha256 = sha256(input);
        let _ = pictures(&record, &folder);
    })
}

fn pack(path: &Path) {
    if let Ok(pack) = Pack::read(path.parent().unwrap()) {
        let _ = pack.for_zones(&[("any".to_owned(), ["1A".to_owned()].into())].into());
    }
}

fn protocols(folder: &Path) -> Run {
    let folder = folder.join("protocols");
    std::fs::create_dir_all(&folder).unwrap();
    Box::new(move |input| {
        for whole in seeds::protocols() {
            std::fs::write(folder.join(name_of(&whole)), &whole).unwrap();
        }
        std::fs::write(folder.join(name_of(input)), input).unwrap();
        let _ = Protocols::read(&folder);
    })
}

/// The file that the first line names; one of them where that was changed.
fn name_of(input: &[u8]) -> String {
    let whole = text(input);
    let named = whole.lines().next().and_then(|line| line.strip_prefix("# "));
    let is_name = |name: &&str| name.ends_with(".toml") && !name.contains(['/', '\0']) && name.len() < 99;
    named.filter(is_name).unwrap_or("limbs.toml").to_owned()
}

/// By a command that reads nothing before its settings: `listen` builds the language, too, for each input.
fn settings(path: &Path) {
    let status = Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .arg("stamp")
        .arg(path.with_extension("exam"))
        .env("ZONECALL_SETTINGS", path)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .status()
        .unwrap();
    assert_eq!(status.code(), Some(2), "there is no such exam");
}

fn journal(made: fn(&[u8]) -> Vec<u8>) -> Run {
    let protocols = Protocols::built_in().unwrap();
    Box::new(move |input| {
        let found = lines(&made(input));
        if let Ok(exam) = fold(&found, &protocols) {
            let _ = json(&record(&exam, &pair(&exam, &exam.frames), &protocols));
        }
    })
}

/// The lines with numbers and hashes that fit, so that what they say is believed.
fn chained(input: &[u8]) -> Vec<u8> {
    let (mut out, mut prev) = (Vec::new(), "0".repeat(64));
    for line in input.split(|byte| *byte == b'\n') {
        let line = match serde_json::from_slice::<serde_json::Value>(line) {
            Ok(serde_json::Value::Object(mut fields)) => {
                fields.insert("prev".to_owned(), prev.as_str().into());
                serde_json::to_vec(&fields).unwrap()
            }
            _ => line.to_vec(),
        };
        prev = Sha256::digest(&line).iter().map(|byte| format!("{byte:02x}")).collect();
        out.extend(line);
        out.push(b'\n');
    }
    out
}

fn of_record() -> Run {
    let protocols = Protocols::built_in().unwrap();
    Box::new(move |input| {
        if let Ok(record) = serde_json::from_slice::<Record>(input) {
            let _ = json(&record);
            let kept = ArchivedRecord { record, folder: String::new(), filed_at: String::new() };
            let _ = history::text(&[kept], &protocols);
        }
    })
}

fn archive(path: &Path) {
    if let Ok(archive) = Archive::open_existing(path.to_str().unwrap()) {
        let _ = archive.check();
        let _ = archive.find(&ArchiveQuery::default());
        let _ = archive.history("Juniper");
    }
}

/// A desk that must still answer after each request.
fn page() -> Run {
    let exam = still::folder();
    let served = Served::start(exam.path(), 0);
    let cookie = served.cookie();
    Box::new(move |input| {
        let _ = &exam;
        let mut request = input.to_vec();
        for (place, value) in
            [("HOST", served.host()), ("COOKIE", cookie.clone()), ("ORIGIN", served.origin())]
        {
            let found = request.windows(place.len()).position(|part| part == place.as_bytes());
            if let Some(at) = found {
                request.splice(at..at + place.len(), value.into_bytes());
            }
        }
        let mut stream = TcpStream::connect(("127.0.0.1", served.port())).expect("the desk still answers");
        stream.set_read_timeout(Some(Duration::from_secs(2))).unwrap();
        let _ = stream.write_all(&request);
        let _ = stream.shutdown(Shutdown::Write);
        let _ = stream.take(1 << 16).read_to_end(&mut Vec::new());
    })
}
