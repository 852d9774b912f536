//! Who can learn the address of the desk: the person who started it, and nobody else on the machine.
#![cfg(unix)]
use crate::support;

use std::io::{BufRead as _, BufReader};
use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// A browser that writes down what it was started with, and copies the file that it was to open.
fn browser(folder: &Path) {
    let opener = folder.join("xdg-open");
    let script = "#!/bin/sh\nstat -c %a \"$1\" > \"$OPENED/mode\"\ncp \"$1\" \"$OPENED/page\"\nprintf '%s\\n' \"$@\" \
                  > \"$OPENED/args.new\"\nmv \"$OPENED/args.new\" \"$OPENED/args\"\n";
    std::fs::write(&opener, script).unwrap();
    std::fs::set_permissions(&opener, std::fs::Permissions::from_mode(0o755)).unwrap();
}

#[test]
fn the_secret_is_in_no_command_line_and_in_a_file_that_only_its_owner_reads() {
    let folder = tempfile::tempdir().unwrap();
    let exam = folder.path().join("exam");
    support::write_journal(&exam, &[(2.0, "left fore zone two bravo transverse")]);
    browser(folder.path());
    let path = std::env::join_paths(
        std::iter::once(folder.path().to_owned())
            .chain(std::env::split_paths(&std::env::var_os("PATH").unwrap())),
    );
    let mut desk = Command::new(env!("CARGO_BIN_EXE_zonecall"))
        .arg("review")
        .arg(&exam)
        .env("PATH", path.unwrap())
        .env("OPENED", folder.path())
        .env("XDG_RUNTIME_DIR", folder.path())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(desk.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let address = line.trim().strip_prefix("review desk: ").unwrap().to_owned();
    let secret = address.split_once("token=").unwrap().1.to_owned();
    let began = Instant::now();
    while !folder.path().join("args").exists() && began.elapsed() < Duration::from_secs(90) {
        std::thread::sleep(Duration::from_millis(50));
    }
    desk.kill().unwrap();
    desk.wait().unwrap();
    let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    assert!(!read("args").contains(&secret), "{}", read("args"));
    assert_eq!(read("mode").trim(), "600");
    assert!(read("page").contains(&address), "the browser is led to the desk");
}
