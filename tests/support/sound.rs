//! A sound server of the tests' own: what is played into its null sink is what the microphone hears.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// What a test waits for comes within this time, or the test fails; without optimisation, on a busy machine, the
/// language alone takes the better part of a minute to load.
pub const WAIT_MAX: Duration = Duration::from_secs(120);

/// A PulseAudio server with a null sink `mic`, in a folder of its own.
pub struct Sound {
    folder: tempfile::TempDir,
    server: Child,
    /// One server, one listener at a time: two would fight for the processor, and sound does not wait.
    _turn: MutexGuard<'static, ()>,
}

static TURN: Mutex<()> = Mutex::new(());

impl Sound {
    /// Starts the server and waits until it answers.
    pub fn start() -> Self {
        let turn = TURN.lock().unwrap_or_else(PoisonError::into_inner);
        let folder = tempfile::tempdir().unwrap();
        let server = serve(folder.path());
        let this = Self { folder, server, _turn: turn };
        this.wait_until_up();
        this
    }

    pub fn path(&self) -> PathBuf {
        self.folder.path().to_owned()
    }

    /// The server dies, as when a device is unplugged.
    pub fn kill(&mut self) {
        self.server.kill().unwrap();
        self.server.wait().unwrap();
    }

    /// And is there again.
    pub fn restart(&mut self) {
        self.server = serve(self.folder.path());
        self.wait_until_up();
    }

    fn wait_until_up(&self) {
        until("the sound server answers (Debian's pulseaudio; `make setup` installs it)", || {
            self.command("pactl", &["info"]).output().is_ok_and(|out| out.status.success())
        });
    }

    /// A program that speaks to this server.
    pub fn command(&self, program: &str, args: &[&str]) -> Command {
        let mut command = Command::new(program);
        command.args(args).env("XDG_RUNTIME_DIR", self.folder.path()).env("HOME", self.folder.path());
        command
    }

    /// Plays a WAV file to its end; it sounds at the microphone.
    pub fn play(&self, wav: &Path) {
        let played = self.command("paplay", &[&wav.to_string_lossy()]).status();
        assert!(played.expect("paplay of pulseaudio-utils").success());
    }

    /// Says a text into the microphone, and waits until it is said.
    pub fn say(&self, text: &str) {
        let wav = self.path().join("said.wav");
        spoken(text, &wav);
        self.play(&wav);
    }

    /// Starts `zonecall listen` with these options, its output caught.
    pub fn zonecall(&self, args: &[&str]) -> Listening {
        // Whoever runs the tests may have settings of their own.
        self.zonecall_with(args, &[("ZONECALL_SETTINGS", "/dev/null")])
    }

    /// The same in a terminal of its own, which is closed when this is ended.
    pub fn zonecall_in_terminal(&self, args: &str) -> Child {
        let line = format!("{} {args}", env!("CARGO_BIN_EXE_zonecall"));
        let mut command = self.command("script", &["--quiet", "--command", &line, "/dev/null"]);
        command.env("ZONECALL_SETTINGS", "/dev/null").env("TERM", "xterm-256color");
        command.stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::null());
        command.spawn().expect("script of bsdutils")
    }

    /// The same with variables of the environment.
    pub fn zonecall_with(&self, args: &[&str], variables: &[(&str, &str)]) -> Listening {
        let mut command = self.command(env!("CARGO_BIN_EXE_zonecall"), args);
        command.envs(variables.iter().copied());
        let child =
            command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the program starts");
        Listening { child: Some(child) }
    }
}

impl Drop for Sound {
    fn drop(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

fn serve(folder: &Path) -> Child {
    Command::new("pulseaudio")
        .args(["-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disallow-exit"])
        .args(["--load=module-native-protocol-unix", "--load=module-null-sink sink_name=mic"])
        .env("XDG_RUNTIME_DIR", folder)
        .env("HOME", folder)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("pulseaudio; `make setup` installs it")
}

/// A `zonecall` that is running.
pub struct Listening {
    child: Option<Child>,
}

impl Listening {
    /// Waits until it records into `exam`; what it says when it ends before that is reported.
    #[track_caller]
    pub fn has_begun(&mut self, exam: &Path, file: &str) {
        until("listening begins", || {
            if self.child.as_mut().unwrap().try_wait().unwrap().is_some() {
                let ended = self.child.take().unwrap().wait_with_output().unwrap();
                panic!("it ended at once: {}", String::from_utf8_lossy(&ended.stderr));
            }
            journal(exam).iter().any(|line| line["body"]["file"] == file)
        });
    }

    /// Sends a signal by name and waits for the end.
    pub fn signal(mut self, name: &str) -> Output {
        let child = self.child.take().unwrap();
        let sent = Command::new("kill").args([format!("-{name}"), child.id().to_string()]).status();
        assert!(sent.unwrap().success());
        child.wait_with_output().unwrap()
    }

    /// Waits for its own end.
    pub fn end(mut self) -> Output {
        self.child.take().unwrap().wait_with_output().unwrap()
    }
}

impl Drop for Listening {
    fn drop(&mut self) {
        if let Some(child) = &mut self.child {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}

/// Waits for something that will come.
#[track_caller]
pub fn until(what: &str, mut is: impl FnMut() -> bool) {
    let since = Instant::now();
    while !is() {
        assert!(since.elapsed() < WAIT_MAX, "{what}: not within {WAIT_MAX:?}");
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// The lines of an exam's journal that are there so far.
pub fn journal(exam: &Path) -> Vec<serde_json::Value> {
    let text = std::fs::read_to_string(exam.join("exam.jsonl")).unwrap_or_default();
    text.lines().filter_map(|line| serde_json::from_str(line).ok()).collect()
}

/// Waits for a journal line.
#[track_caller]
pub fn until_line(exam: &Path, what: &str, is: impl Fn(&serde_json::Value) -> bool) {
    until_lines(exam, what, 1, is);
}

/// Waits for `n` journal lines of a sort; where they do not come, what stands in the journal is reported.
#[track_caller]
pub fn until_lines(exam: &Path, what: &str, n: usize, is: impl Fn(&serde_json::Value) -> bool) {
    let since = Instant::now();
    while journal(exam).iter().filter(|line| is(line)).count() < n {
        if since.elapsed() >= WAIT_MAX {
            let lines: Vec<String> =
                journal(exam).iter().map(|line| format!("{} {}", line["kind"], line["body"])).collect();
            panic!("{what}: not within {WAIT_MAX:?}; the journal:\n{}", lines.join("\n"));
        }
        std::thread::sleep(Duration::from_millis(50));
    }
}

/// The calls of an exam as their words.
pub fn calls(exam: &Path) -> Vec<String> {
    let lines = journal(exam);
    let calls = lines.iter().filter(|line| line["kind"] == "call");
    let words = calls.map(|line| line["body"]["words"].as_str().unwrap());
    // An article changes no meaning; the first moments of a sound in a microphone are sometimes taken for one.
    words.map(|words| words.strip_prefix("a ").unwrap_or(words).to_owned()).collect()
}

/// Synthesises `text` into a WAV file of 16 kHz mono, with a second of quiet around it.
pub fn spoken(text: &str, wav: &Path) {
    let raw = wav.with_extension("raw.wav");
    let made = Command::new("flite").args(["-voice", "rms", "-t", text, "-o"]).arg(&raw).status();
    assert!(made.expect("flite; `make setup` installs it").success());
    let mut reader = hound::WavReader::open(&raw).unwrap();
    let spec = reader.spec();
    let mut writer = hound::WavWriter::create(wav, spec).unwrap();
    // Faint noise, as in any room: an engine hears worse in digital silence.
    let mut state = 1_u32;
    let mut hiss = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        i16::try_from(state >> 28).unwrap() - 8
    };
    for _ in 0..spec.sample_rate {
        writer.write_sample(hiss()).unwrap();
    }
    for sample in reader.samples::<i16>() {
        writer.write_sample(sample.unwrap()).unwrap();
    }
    for _ in 0..spec.sample_rate {
        writer.write_sample(hiss()).unwrap();
    }
    writer.finalize().unwrap();
}
