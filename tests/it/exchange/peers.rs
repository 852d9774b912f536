//! Programs on the other side: dcmtk's sender and archive, and our own receiver between them.

use std::io::{BufRead, BufReader};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use zonecall::exchange::network::ReceivedObject;

use super::stage::{files, judge};
use crate::support::program::free_port;

/// How long a test waits for what should come; long, for a machine that does much else.
pub(crate) const PATIENCE: Duration = Duration::from_secs(180);

/// A running `zonecall receive`, killed at the end of its test.
pub(crate) struct Receiving {
    pub(crate) child: Child,
    pub(crate) port: String,
    pub(crate) into: PathBuf,
}

impl Drop for Receiving {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Receiving {
    pub(crate) fn start(into: &Path, more: &[&str]) -> Receiving {
        Receiving::start_with(into, more, Stdio::inherit())
    }

    /// The same with its complaints to `errors`.
    pub(crate) fn start_with(into: &Path, more: &[&str], errors: Stdio) -> Receiving {
        let mut child = Command::new(env!("CARGO_BIN_EXE_zonecall"))
            .args(["receive", "--into", into.to_str().unwrap()])
            .args(if more.contains(&"--port") { &[][..] } else { &["--port", "0"] })
            .args(more)
            .stdout(Stdio::piped())
            .stderr(errors)
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap());
        let mut first = String::new();
        lines.read_line(&mut first).unwrap();
        let port = first.split("127.0.0.1:").nth(1).expect(&first).split(',').next().unwrap().to_owned();
        // A pipe that nobody reads fills up.
        std::thread::spawn(move || std::io::copy(&mut lines, &mut std::io::sink()));
        Receiving { child, port, into: into.to_owned() }
    }

    /// The lines that are whole: the receiver may be writing the next one while this reads.
    pub(crate) fn log(&self) -> Vec<ReceivedObject> {
        let bytes = std::fs::read(self.into.join("received.jsonl")).unwrap_or_default();
        let lines = bytes.split_inclusive(|byte| *byte == b'\n').filter(|line| line.ends_with(b"\n"));
        lines.map(|line| serde_json::from_slice(line).unwrap()).collect()
    }

    pub(crate) fn await_log(&self, wanted: impl Fn(&[ReceivedObject]) -> bool) -> Vec<ReceivedObject> {
        let until = Instant::now() + PATIENCE;
        loop {
            let log = self.log();
            if wanted(&log) {
                return log;
            }
            assert!(Instant::now() < until, "{log:?}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// dcmtk's sender.
    pub(crate) fn storescu(&self, more: &[&str]) -> (Option<i32>, String) {
        let mut args = vec!["-v", "-aec", "ZONECALL"];
        args.extend(more.iter().filter(|arg| {
            arg.starts_with('-') || arg.parse::<u8>().is_ok() || arg.chars().all(char::is_uppercase)
        }));
        args.extend(["127.0.0.1", self.port.as_str()]);
        args.extend(more.iter().filter(|arg| arg.contains('/')));
        judge("storescu", &args)
    }
}

/// dcmtk's archive of a test.
pub(crate) struct Archive {
    pub(crate) child: Child,
    pub(crate) folder: tempfile::TempDir,
    pub(crate) port: String,
}

impl Drop for Archive {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Archive {
    pub(crate) fn start(more: &[&str]) -> Archive {
        let folder = tempfile::tempdir().unwrap();
        let port = free_port().to_string();
        let child = Command::new("storescp")
            .args(["+xa", "-od", folder.path().to_str().unwrap(), "-aet", "ARCHIVE"])
            .args(more)
            .arg(&port)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| panic!("storescp: {error}; run `make setup`"));
        await_port(port.parse().unwrap());
        Archive { child, folder, port }
    }

    pub(crate) fn to(&self) -> String {
        format!("127.0.0.1:{}", self.port)
    }
}

/// Waits until something listens on a port of this machine.
pub(crate) fn await_port(port: u16) {
    let until = Instant::now() + PATIENCE;
    while TcpStream::connect(("127.0.0.1", port)).is_err() {
        assert!(Instant::now() < until, "nothing listens on {port}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Names of the files of a folder, in order.
pub(crate) fn names(folder: &Path) -> Vec<String> {
    files(folder).iter().map(|path| path.file_name().unwrap().to_string_lossy().into_owned()).collect()
}

/// The stills of an exam.
pub(crate) fn stills(exam: &Path) -> Vec<String> {
    files(&exam.join("frames")).iter().map(|path| path.to_str().unwrap().to_owned()).collect()
}
