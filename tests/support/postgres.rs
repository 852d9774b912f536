//! A PostgreSQL server of our own, in a temporary folder, reached through a socket there.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::path::{Path, PathBuf};
use std::process::Command;

/// Stops when it is dropped.
pub struct Server {
    folder: tempfile::TempDir,
    bin: PathBuf,
}

/// Where Debian keeps the server's programs.
fn bin() -> PathBuf {
    let home = Path::new("/usr/lib/postgresql");
    let versions = std::fs::read_dir(home).expect("PostgreSQL is missing: run `make setup`");
    let found =
        versions.map(|entry| entry.unwrap().path().join("bin")).find(|bin| bin.join("pg_ctl").is_file());
    found.expect("pg_ctl is missing: run `make setup`")
}

impl Server {
    /// Makes a database cluster and starts it. The server refuses to run as root: then it runs as Debian's `postgres`.
    pub fn start() -> Server {
        let folder = tempfile::tempdir().unwrap();
        let server = Server { folder, bin: bin() };
        let home = server.home();
        if is_root() {
            let owned = Command::new("chown").args(["postgres", &home]).status().unwrap();
            assert!(owned.success(), "the user `postgres` is missing: run `make setup`");
        }
        let data = format!("{home}/data");
        server.run(
            "initdb",
            &["-D", &data, "-U", "ada", "--auth=trust", "--no-sync", "-E", "UTF8", "--locale=C.UTF-8"],
        );
        server.go_on();
        server
    }

    /// Starts it, for the first time or again.
    pub fn go_on(&self) {
        let home = self.home();
        let options = format!("-k {home} -c listen_addresses='' -c fsync=off");
        let (data, log) = (format!("{home}/data"), format!("{home}/log"));
        self.run("pg_ctl", &["-D", &data, "-w", "-l", &log, "-o", &options, "start"]);
    }

    /// Stops it; what it holds stays there.
    pub fn pause(&self) {
        self.run("pg_ctl", &["-D", &format!("{}/data", self.home()), "-w", "-m", "fast", "stop"]);
    }

    fn home(&self) -> String {
        self.folder.path().to_str().unwrap().to_owned()
    }

    /// The address of the database that every cluster has.
    pub fn address(&self) -> String {
        format!("postgres:///postgres?host={}&user=ada", self.home())
    }

    fn run(&self, program: &str, args: &[&str]) {
        let done = self.command(program, args).status().unwrap();
        assert!(done.success(), "{program} {args:?}");
    }

    fn command(&self, program: &str, args: &[&str]) -> Command {
        let program = self.bin.join(program);
        let mut command = if is_root() {
            let mut command = Command::new("runuser");
            command.args(["-u", "postgres", "--"]).arg(&program);
            command
        } else {
            Command::new(&program)
        };
        // Not `output`: the server would hold the pipe open for as long as it runs.
        command.args(args).current_dir(self.folder.path()).stdout(std::process::Stdio::null());
        command
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let data = format!("{}/data", self.home());
        let _ = self.command("pg_ctl", &["-D", &data, "-m", "immediate", "stop"]).status();
    }
}

fn is_root() -> bool {
    let id = Command::new("id").arg("-u").output().unwrap();
    id.stdout == b"0\n"
}
