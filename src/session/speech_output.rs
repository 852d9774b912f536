//! What the program says while it listens: tones and speech, one after the other.
//!
//! Takes: orders; they wait in a bounded queue.
//! Gives: sound, and when the program itself could be heard.
//! Never: keeps the caller waiting, or is heard as a call: what is heard while it speaks is its own voice.
//! Tested in: `tests/sound/listen.rs`, with the null sink looped back into the microphone.

use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use crate::session::effect::ProgramSound;
use crate::session::sound_log::{ProgramSoundAt, SoundLog};
use crate::session::speaker::{Speaker, SpeakerError};
use crate::session::tone::Tone;
use crate::session::voice::Voice;
use crate::terminal;

/// Orders that can wait; one that comes on top of these is left out, for it would come much too late.
const ORDERS_MAX: usize = 8;

enum Order {
    Tone(Tone),
    /// A text, and how often silence had been ordered before it.
    Say(String, usize),
}

/// The output of tones and speech, open.
#[derive(Debug)]
pub struct SpeechOutput {
    orders: SyncSender<Order>,
    has_voice: bool,
    /// Texts that were ordered and have not died away.
    speaking: Arc<AtomicUsize>,
    /// How often silence was ordered.
    silenced: Arc<AtomicUsize>,
    log: Arc<Mutex<SoundLog>>,
}

impl SpeechOutput {
    /// Opens the loudspeaker; without a voice there are only tones.
    ///
    /// # Errors
    /// When there is no loudspeaker, or it cannot be used.
    pub fn open(voice: Option<Voice>) -> Result<Self, SpeakerError> {
        let (orders, waiting) = sync_channel(ORDERS_MAX);
        let (opened, answer) = sync_channel(1);
        let speaking = Arc::new(AtomicUsize::new(0));
        let silenced = Arc::new(AtomicUsize::new(0));
        let silence = Arc::clone(&silenced);
        let (spoken, has_voice) = (Arc::clone(&speaking), voice.is_some());
        let log = Arc::new(Mutex::new(SoundLog::default()));
        let logged = Arc::clone(&log);
        // A stream may not leave the thread that made it.
        std::thread::spawn(move || match Speaker::open() {
            Ok(speaker) => {
                let _ = opened.send(Ok(()));
                work(speaker, voice.as_ref(), &waiting, &spoken, &silence, &logged);
            }
            Err(error) => {
                let _ = opened.send(Err(error));
            }
        });
        answer.recv().unwrap_or(Err(SpeakerError::NoDevice))?;
        Ok(Self { orders, has_voice, speaking, silenced, log })
    }

    /// True where it can speak.
    #[must_use]
    pub fn has_voice(&self) -> bool {
        self.has_voice
    }

    /// Sounds a tone.
    pub fn sound(&self, tone: Tone) {
        let _ = self.orders.try_send(Order::Tone(tone));
    }

    /// Says a text; false without a voice, or when too much waits to be said.
    pub fn say(&self, text: &str) -> bool {
        if !self.has_voice {
            return false;
        }
        self.speaking.fetch_add(1, Ordering::SeqCst);
        let ordered = {
            let silenced = self.silenced.load(Ordering::SeqCst);
            self.orders.try_send(Order::Say(text.to_owned(), silenced)).is_ok()
        };
        if !ordered {
            self.speaking.fetch_sub(1, Ordering::SeqCst);
        }
        ordered
    }

    /// Breaks off what is being said; what waits to be said is left out.
    pub fn fall_silent(&self) {
        self.silenced.fetch_add(1, Ordering::SeqCst);
    }

    /// True from the order to say something until the last of it has died away.
    #[must_use]
    pub fn speaks(&self) -> bool {
        self.speaking.load(Ordering::SeqCst) > 0
    }

    /// When it could be heard since the last time, up to `now`: its voice and its tones.
    pub(super) fn own_sounds(&self, now: Instant) -> Vec<ProgramSoundAt> {
        locked(&self.log).take(now)
    }
}

fn locked(log: &Mutex<SoundLog>) -> std::sync::MutexGuard<'_, SoundLog> {
    log.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Carries out orders until nobody is left to give any.
fn work(
    mut speaker: Speaker,
    voice: Option<&Voice>,
    orders: &Receiver<Order>,
    speaking: &AtomicUsize,
    silenced: &AtomicUsize,
    log: &Mutex<SoundLog>,
) {
    while let Ok(order) = orders.recv() {
        match order {
            Order::Tone(tone) => {
                let samples = tone.samples(speaker.rate_hz());
                locked(log).begin(ProgramSound::Tone, Instant::now());
                speaker.play(&samples, || false);
                locked(log).end(Instant::now() + speaker.dies_away_in());
            }
            Order::Say(text, at) => {
                let is_silenced = || silenced.load(Ordering::SeqCst) != at;
                match voice.map(|voice| voice.samples(&text, speaker.rate_hz())) {
                    Some(Ok(samples)) => {
                        locked(log).begin(ProgramSound::Voice(text), Instant::now());
                        speaker.play(&samples, is_silenced);
                        speaker.wait(is_silenced);
                        locked(log).end(Instant::now());
                    }
                    Some(Err(error)) => terminal::warn(format!("zonecall: cannot say `{text}`: {error}")),
                    None => {}
                }
                speaking.fetch_sub(1, Ordering::SeqCst);
            }
        }
    }
}
