//! Input made to hold the program or to use it up: each is refused with a reason, and at once.
use crate::support::desk::Served;
use crate::support::program::zonecall;
use crate::support::{self, still};

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use zonecall::language::jsgf;

fn fault(rules: &str) -> String {
    let text = format!("#JSGF V1.0;\ngrammar bomb;\n{rules}\n");
    jsgf::read(Path::new("bomb.gram"), &text).unwrap_err().to_string()
}

#[test]
fn a_grammar_made_to_burst_is_refused() {
    let deep = |open: &str, close: &str| {
        fault(&format!("public <exam> = {}one{};", open.repeat(100_000), close.repeat(100_000)))
    };
    for brackets in [("(", ")"), ("[", "]")] {
        let found = deep(brackets.0, brackets.1);
        assert!(found.contains("nested more than 32 deep"), "{found}");
    }
    // Each rule is twice the one before: a thousand million words in thirty lines.
    let doubling: String = (1..30).map(|idx| format!("<r{idx}> = <r{0}> <r{0}>;\n", idx - 1)).collect();
    let found = fault(&format!("<r0> = one;\n{doubling}public <exam> = <r29>;"));
    assert!(found.contains("at most 500000 are read"), "{found}");
    let many: String = (0..1001).map(|idx| format!("<r{idx}> = one;\n")).collect();
    assert!(fault(&many).contains("more than 1000 rules"), "{}", fault(&many));
    assert!(fault(&"// padding\n".repeat(200_000)).contains("at most 1048576 are read"));
}

#[cfg(unix)]
#[test]
fn a_pipe_in_the_place_of_a_file_holds_nobody() {
    let folder = tempfile::tempdir().unwrap();
    let pipe = |name: &str| {
        let path = folder.path().join(name);
        assert!(Command::new("mkfifo").arg(&path).status().unwrap().success());
        path.to_string_lossy().into_owned()
    };
    let exam = folder.path().join("exam");
    let exam_text = exam.to_string_lossy().into_owned();
    std::fs::create_dir(&exam).unwrap();
    let sound = pipe("sound.wav");
    let into = folder.path().join("into").to_string_lossy().into_owned();
    let journal = pipe("exam/exam.jsonl");
    let refused = |args: &[&str]| {
        let told = zonecall(args);
        let words = String::from_utf8_lossy(&told.stderr).into_owned();
        assert_eq!(told.status.code(), Some(2), "{args:?}: {words}");
        assert!(words.contains("it is not a file"), "{args:?}: {words}");
    };
    refused(&["hear", &sound, "--into", &into]);
    refused(&["journal", &exam_text]);
    refused(&["check", &exam_text]);
    std::fs::remove_file(journal).unwrap();
    support::write_journal(&exam, &[(2.0, "left fore zone two bravo transverse")]);
    std::fs::remove_file(exam.join("exam.head")).unwrap();
    pipe("exam/exam.head");
    let told = zonecall(&["journal", &exam_text, "--verify"]);
    let words = String::from_utf8_lossy(&told.stdout);
    assert!(told.status.code() == Some(1) && words.contains("`exam.head` is gone"), "{words}");
}

#[test]
fn a_change_that_claims_to_have_seen_what_is_not_written_is_refused() {
    let folder = still::folder();
    let served = Served::start(folder.path(), 0);
    let calls = served.exam()["record"]["calls"].clone();
    let seq = calls[0]["seq"].as_u64().unwrap();
    let withdraw = serde_json::json!({"change": "withdraw", "seq": seq});
    let lines = std::fs::read_to_string(folder.path().join("exam.jsonl")).unwrap().lines().count() as u64;
    for seen in [lines + 1, u64::MAX] {
        let (status, told) = served.change("Ada", seen, &withdraw);
        assert!(status >= 400 && told.to_string().contains("not written yet"), "{status} {told}");
    }
}

/// More connections than the desk may have files open, and none of them says a word.
#[cfg(unix)]
#[test]
fn idle_connections_keep_nobody_out() {
    let folder = still::folder();
    let mut desk = Command::new("bash")
        .args(["-c", "ulimit -n 200; exec \"$0\" review \"$1\" --no-open --port 0"])
        .arg(env!("CARGO_BIN_EXE_zonecall"))
        .arg(folder.path())
        .env("XDG_CONFIG_HOME", folder.path().join("settings"))
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(desk.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let port: u16 = line.split([':', '/']).find_map(|part| part.parse().ok()).expect("a port");
    let idle: Vec<TcpStream> = (0..260).map_while(|_| TcpStream::connect(("127.0.0.1", port)).ok()).collect();
    let mut asking = TcpStream::connect(("127.0.0.1", port)).unwrap();
    asking.set_read_timeout(Some(Duration::from_secs(120))).unwrap();
    write!(asking, "GET / HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n").unwrap();
    let mut answer = [0; 12];
    let answered = asking.read_exact(&mut answer);
    desk.kill().unwrap();
    desk.wait().unwrap();
    answered.expect("the desk answers while others are silent");
    assert!(answer.starts_with(b"HTTP/1.1 "), "{}", String::from_utf8_lossy(&answer));
    assert!(idle.len() > 200, "{} connections", idle.len());
}

#[test]
fn what_others_keep_beside_a_report_is_left_as_it_is() {
    let folder = still::folder();
    let out = folder.path().join("out");
    std::fs::create_dir(&out).unwrap();
    for name in ["report.html.part", ".report.html.part", "report.part"] {
        std::fs::write(out.join(name), "somebody else's").unwrap();
    }
    let told = zonecall(&["report", &folder.path().to_string_lossy()]);
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    for name in ["report.html.part", ".report.html.part", "report.part"] {
        assert_eq!(std::fs::read_to_string(out.join(name)).unwrap(), "somebody else's");
    }
    let names = std::fs::read_dir(&out).unwrap().count();
    assert_eq!(names, 4, "the report and what was there");
}
