//! A pedal where there is none: a pipe that answers as an input device does, see `pedal.c`.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::fs::{File, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

const KEY: u16 = 1;
const F13: u16 = 183;

/// The pedal; its key is F13.
pub struct Pedal {
    path: PathBuf,
    shim: PathBuf,
    pipe: Option<File>,
}

impl Pedal {
    /// A pedal that is plugged in, made in the folder `within`.
    pub fn new(within: &Path) -> Self {
        let shim = within.join("pedal.so");
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/support/pedal.c");
        let made = Command::new("cc").args(["-shared", "-fPIC", "-o"]).args([&shim, &source]).status();
        assert!(made.expect("a C compiler; `make setup` installs it").success());
        let mut this = Self { path: within.join("pedal"), shim, pipe: None };
        this.plug_in();
        this
    }

    pub fn path(&self) -> String {
        self.path.to_string_lossy().into_owned()
    }

    /// The variable of the environment that makes it answer.
    pub fn shim(&self) -> (&'static str, String) {
        ("LD_PRELOAD", self.shim.to_string_lossy().into_owned())
    }

    pub fn plug_in(&mut self) {
        let made = Command::new("mkfifo").arg(&self.path).status();
        assert!(made.expect("mkfifo of coreutils").success());
        // Open both ways, so that a reader neither waits nor finds an end.
        self.pipe = Some(OpenOptions::new().read(true).write(true).open(&self.path).unwrap());
    }

    pub fn unplug(&mut self) {
        std::fs::remove_file(&self.path).unwrap();
        self.pipe = None;
    }

    /// Presses it, or lets it go; then the time that a foot takes before its owner speaks.
    pub fn turn(&mut self, is_down: bool) {
        for (kind, code, value) in [(KEY, F13, i32::from(is_down)), (0, 0, 0)] {
            self.pipe.as_mut().unwrap().write_all(&event(kind, code, value)).unwrap();
        }
        std::thread::sleep(Duration::from_millis(500));
    }
}

/// One event as the kernel writes it: two machine words of time, type, code, value.
pub fn event(kind: u16, code: u16, value: i32) -> Vec<u8> {
    let mut bytes = vec![7; 2 * size_of::<usize>()];
    bytes.extend(kind.to_ne_bytes());
    bytes.extend(code.to_ne_bytes());
    bytes.extend(value.to_ne_bytes());
    bytes
}
