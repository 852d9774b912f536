//! A running review desk, as the tests speak to it from outside: the built program on a port of its own.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// The program, serving; it is killed when the test is done with it.
pub struct Served {
    child: Child,
    /// The printed address.
    pub address: String,
}

impl Served {
    /// Starts the desk of an exam folder; `port` 0 takes any.
    pub fn start(folder: &Path, port: u16) -> Served {
        Served::start_with(folder, port, &[])
    }

    /// The same, with more words on the command line.
    pub fn start_with(folder: &Path, port: u16, more: &[&str]) -> Served {
        let mut child = Command::new(env!("CARGO_BIN_EXE_zonecall"))
            .arg("review")
            .arg(folder)
            .args(["--no-open", "--port", &port.to_string()])
            .args(more)
            // A key that a test makes stays with the test.
            .env("XDG_CONFIG_HOME", folder.join("settings"))
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().strip_prefix("review desk: ").expect("the address is printed").to_owned();
        Served { child, address }
    }

    pub fn port(&self) -> u16 {
        self.address.split([':', '/']).nth(4).unwrap().parse().unwrap()
    }

    /// Ends it as a power cut would.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Holds it still, as a machine does that is busy with something else.
    pub fn hold(&self) {
        self.signal("-STOP");
    }

    pub fn go_on(&self) {
        self.signal("-CONT");
    }

    fn signal(&self, name: &str) {
        let sent = Command::new("kill").args([name, &self.child.id().to_string()]).status().unwrap();
        assert!(sent.success());
    }

    /// Sends a request with these header lines and gives status, head and body.
    pub fn request(&self, first: &str, headers: &[String], body: &str) -> (u16, String, Vec<u8>) {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port())).unwrap();
        let length = body.len();
        let lines: String = headers.iter().map(|line| format!("{line}\r\n")).collect();
        write!(
            stream,
            "{first} HTTP/1.1\r\nConnection: close\r\nContent-Length: {length}\r\n{lines}\r\n{body}"
        )
        .unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        let cut = answer.windows(4).position(|four| four == b"\r\n\r\n").expect("a whole head");
        let head = String::from_utf8_lossy(&answer[..cut]).to_lowercase();
        let status = head.split(' ').nth(1).unwrap().parse().unwrap();
        (status, head, answer[cut + 4..].to_vec())
    }

    pub fn host(&self) -> String {
        format!("Host: 127.0.0.1:{}", self.port())
    }

    pub fn origin(&self) -> String {
        format!("Origin: http://127.0.0.1:{}", self.port())
    }

    /// The cookie that the printed address gives.
    pub fn cookie(&self) -> String {
        let path = &self.address[self.address.find("/?").unwrap()..];
        let (status, head, _) = self.request(&format!("GET {path}"), &[self.host()], "");
        assert_eq!(status, 200, "{head}");
        let set = head.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
        format!("Cookie: {}", set.split(';').next().unwrap())
    }

    /// What an entered browser gets at a path.
    pub fn get(&self, path: &str) -> (u16, Vec<u8>) {
        let (status, _, body) = self.request(&format!("GET {path}"), &[self.host(), self.cookie()], "");
        (status, body)
    }

    pub fn exam(&self) -> serde_json::Value {
        let (status, body) = self.get("/api/exam");
        assert_eq!(status, 200, "{}", String::from_utf8_lossy(&body));
        serde_json::from_slice(&body).unwrap()
    }

    /// Sends JSON as the page does.
    pub fn post(&self, path: &str, body: &serde_json::Value) -> (u16, serde_json::Value) {
        let kind = "Content-Type: application/json".to_owned();
        let headers = [self.host(), self.cookie(), self.origin(), kind];
        let (status, _, body) = self.request(&format!("POST {path}"), &headers, &body.to_string());
        (status, serde_json::from_slice(&body).unwrap_or_default())
    }

    /// Asks for a change as the page does.
    pub fn change(&self, by: &str, seen: u64, change: &serde_json::Value) -> (u16, serde_json::Value) {
        let body = serde_json::json!({"by": by, "why": "", "seen": seen, "change": change});
        self.post("/api/change", &body)
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}
