//! Notices that the sound server records from another source than before.
//!
//! Takes: what the server lists of this program's recordings, through its own program `pactl`.
//! Gives: word each time that the source has changed.
//! Never: keeps the caller waiting; where there is no such server or program, it says nothing.
//! Tested in: here.

use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, sync_channel};
use std::time::Duration;

use serde::Deserialize;

/// How often the server is asked.
const ASK_EVERY: Duration = Duration::from_secs(3);
/// Changes that can wait to be taken.
const WAITING_MAX: usize = 4;

/// Word of the sound server about the source of the recording.
#[derive(Debug)]
pub(super) struct SoundSource {
    moved: Receiver<()>,
    /// As long as this lives the server is asked.
    _wanted: Arc<()>,
}

impl SoundSource {
    /// Asks from now on.
    pub(super) fn watch() -> Self {
        let (tell, moved) = sync_channel(WAITING_MAX);
        let wanted = Arc::new(());
        let is_wanted = Arc::downgrade(&wanted);
        std::thread::spawn(move || {
            let mut asked = Asked::default();
            while is_wanted.strong_count() > 0 {
                match asked.answer(list().as_deref(), std::process::id()) {
                    ServerSays::Nothing => return,
                    ServerSays::Moved if tell.send(()).is_err() => return,
                    ServerSays::Moved | ServerSays::Same => std::thread::sleep(ASK_EVERY),
                }
            }
        });
        Self { moved, _wanted: wanted }
    }

    /// The source has changed since the last time.
    pub(super) fn has_moved(&self) -> bool {
        self.moved.try_iter().count() > 0
    }
}

/// What follows from an answer of the server.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum ServerSays {
    /// There is no such server.
    Nothing,
    /// The recording comes from where it came from.
    Same,
    /// It comes from another source.
    Moved,
}

/// What the server has answered up to now.
#[derive(Debug, Default)]
struct Asked {
    has_answered: bool,
    source: Option<u32>,
}

impl Asked {
    /// Takes what is `listed` now of the recording of the process `id`; none where the server does not answer.
    fn answer(&mut self, listed: Option<&[u8]>, id: u32) -> ServerSays {
        let Some(listed) = listed else {
            // A server that is started anew numbers its sources anew, too.
            self.source = None;
            return if self.has_answered { ServerSays::Same } else { ServerSays::Nothing };
        };
        self.has_answered = true;
        // A recording that ends and begins again is a device that was lost: that is reported elsewhere.
        let Some(now) = source_of(listed, id) else { return ServerSays::Same };
        let before = self.source.replace(now);
        if before.is_some_and(|before| before != now) { ServerSays::Moved } else { ServerSays::Same }
    }
}

/// What the server lists; none where it cannot be asked.
fn list() -> Option<Vec<u8>> {
    let asked = Command::new("pactl")
        .args(["--format=json", "list", "source-outputs"])
        .stdin(Stdio::null())
        .stderr(Stdio::null())
        .output()
        .ok()?;
    asked.status.success().then_some(asked.stdout)
}

#[derive(Deserialize)]
struct Recording {
    source: u32,
    properties: Properties,
}

#[derive(Deserialize)]
struct Properties {
    #[serde(rename = "application.process.id", default)]
    process: String,
}

/// The source that the recording of the process `id` comes from.
fn source_of(listed: &[u8], id: u32) -> Option<u32> {
    let recordings: Vec<Recording> = serde_json::from_slice(listed).ok()?;
    recordings.into_iter().find(|one| one.properties.process == id.to_string()).map(|one| one.source)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn recorded(source: u32) -> Vec<u8> {
        format!(r#"[{{"source":{source},"properties":{{"application.process.id":"78"}}}}]"#).into_bytes()
    }

    #[test]
    fn a_server_that_is_started_anew_is_asked_on_and_one_that_never_answers_is_not() {
        assert_eq!(Asked::default().answer(None, 78), ServerSays::Nothing);
        let mut asked = Asked::default();
        for (listed, wanted) in [
            (Some(recorded(1)), ServerSays::Same),
            (Some(recorded(2)), ServerSays::Moved),
            (Some(b"[]".to_vec()), ServerSays::Same),
            (Some(recorded(3)), ServerSays::Moved),
            (None, ServerSays::Same),
            (Some(recorded(1)), ServerSays::Same),
            (Some(recorded(2)), ServerSays::Moved),
        ] {
            assert_eq!(asked.answer(listed.as_deref(), 78), wanted);
        }
    }

    #[test]
    fn the_source_is_that_of_our_own_recording() {
        let listed = br#"[{"index":4,"source":1,"properties":{"application.process.id":"77"}},
            {"index":5,"source":2,"properties":{"application.process.id":"78","media.name":"x"}},
            {"index":6,"source":3,"properties":{}}]"#;
        assert_eq!((source_of(listed, 78), source_of(listed, 77)), (Some(2), Some(1)));
        assert_eq!((source_of(listed, 7), source_of(b"no list", 78)), (None, None));
    }
}
