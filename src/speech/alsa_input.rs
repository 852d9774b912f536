//! A microphone as ALSA gives it, read by a thread of its own.
//!
//! Takes: the name of a device, its rate and its channels, and who takes its values.
//! Gives: a stream that records until it is dropped.
//! Never: asks the device to wake it. PulseAudio's plug-in for ALSA reports sound as long as a value is left, so whoever
//!   waits there for a whole period spins until it is full.
//! Tested in: `tests/sound/listen.rs`, with PulseAudio's null sink as the microphone, and here.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

use alsa::pcm::{Access, Frames, HwParams, IoFormat, PCM, State};
use alsa::{Direction, ValueOr};
use rustix::process::setpriority_process;
use rustix::thread::gettid;

use crate::speech::library_messages::silence_library_messages;
use crate::speech::sound_reader::{READ_EVERY, ReadEnd, ReadFault, read_on};

/// Seconds of sound that are wanted to wait in the device, which may have room for less: a thread that comes later loses some.
const WAITS_S: u32 = 2;
/// Most that is read at once, in parts of a second.
const PIECES_PER_S: u32 = 2;
/// How far the thread goes before others where the machine is busy: 20 is the least a thread can have, -20 the most. Our own
/// choice.
const PRIORITY: i32 = -15;
/// Periods a second: how finely the device says how much it has. A sound server wakes for each of them.
const PERIODS_PER_S: u32 = 50;

/// A device that records as long as this lives.
pub(super) struct AlsaInput {
    wanted: Arc<AtomicBool>,
    reader: Option<JoinHandle<()>>,
}

impl AlsaInput {
    /// Opens the device `name` for samples of the type `T`; `take` gets them, `lost` is called where the device lost some,
    /// and `gone` once it is gone.
    pub(super) fn open<T: IoFormat + Default + Send + 'static>(
        name: &str,
        rate_hz: u32,
        channels: u32,
        mut take: impl FnMut(&[T]) + Send + 'static,
        lost: impl FnMut() + Send + 'static,
        gone: impl FnOnce() + Send + 'static,
    ) -> Result<Self, alsa::Error> {
        let pcm = PCM::new(name, Direction::Capture, true)?;
        set::<T>(&pcm, rate_hz, channels)?;
        pcm.start()?;
        let wanted = Arc::new(AtomicBool::new(true));
        let is_wanted = Arc::clone(&wanted);
        let mut piece = vec![T::default(); (rate_hz / PIECES_PER_S * channels) as usize];
        let reader = std::thread::Builder::new().name("microphone".to_owned()).spawn(move || {
            silence_library_messages();
            // Where that is not allowed, as without a service or a limit that says so, the device's two seconds must do.
            let _ = raise_priority();
            let Ok(io) = pcm.io_checked::<T>() else { return gone() };
            let read = |piece: &mut [T]| match io.readi(piece) {
                Ok(frames) => Ok(frames * channels as usize),
                Err(error) => fault(&pcm, error),
            };
            let rests = || {
                std::thread::sleep(READ_EVERY);
                is_wanted.load(Ordering::Relaxed)
            };
            if read_on(&mut piece, read, &mut take, lost, rests) == ReadEnd::Gone {
                gone();
            }
        });
        let reader = reader.map_err(|_| alsa::Error::unsupported("thread of the microphone"))?;
        Ok(Self { wanted, reader: Some(reader) })
    }
}

impl Drop for AlsaInput {
    fn drop(&mut self) {
        self.wanted.store(false, Ordering::Relaxed);
        if let Some(reader) = self.reader.take() {
            // The device is free for whoever opens it next.
            let _ = reader.join();
        }
    }
}

/// Raises the priority of this thread alone: on Linux each thread has its own.
fn raise_priority() -> rustix::io::Result<()> {
    setpriority_process(Some(gettid()), PRIORITY)
}

fn set<T: IoFormat>(pcm: &PCM, rate_hz: u32, channels: u32) -> Result<(), alsa::Error> {
    let wanted = HwParams::any(pcm)?;
    wanted.set_access(Access::RWInterleaved)?;
    wanted.set_format(T::FORMAT)?;
    wanted.set_channels(channels)?;
    wanted.set_rate(rate_hz, ValueOr::Nearest)?;
    wanted.set_period_size_near(Frames::from(rate_hz / PERIODS_PER_S), ValueOr::Nearest)?;
    wanted.set_buffer_size_near(Frames::from(rate_hz * WAITS_S))?;
    pcm.hw_params(&wanted)?;
    // At another rate every time would be wrong.
    if pcm.hw_params_current()?.get_rate()? != rate_hz {
        return Err(alsa::Error::unsupported("snd_pcm_hw_params_set_rate"));
    }
    let software = pcm.sw_params_current()?;
    // Whatever is there is given.
    software.set_avail_min(1)?;
    software.set_start_threshold(1)?;
    pcm.sw_params(&software)
}

/// Nothing yet, an overrun, or a device that is gone.
fn fault(pcm: &PCM, error: alsa::Error) -> Result<usize, ReadFault> {
    let kind = std::io::Error::from_raw_os_error(error.errno()).kind();
    let is_overrun = kind == std::io::ErrorKind::BrokenPipe || pcm.state() == State::Suspended;
    match kind {
        std::io::ErrorKind::WouldBlock | std::io::ErrorKind::Interrupted => Ok(0),
        _ if is_overrun && pcm.try_recover(error, true).and_then(|()| restart(pcm)).is_ok() => {
            Err(ReadFault::Overrun)
        }
        _ => Err(ReadFault::Gone),
    }
}

/// After an overrun a device waits to be started; after a pause of the machine it may run on by itself.
fn restart(pcm: &PCM) -> Result<(), alsa::Error> {
    if pcm.state() == State::Running { Ok(()) } else { pcm.start() }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use rustix::process::getpriority_process;

    use super::*;

    /// In a thread of its own, as the microphone's: the rest of the program keeps its priority.
    #[test]
    fn the_thread_of_the_microphone_goes_before_the_others_where_that_is_allowed() {
        let before = getpriority_process(None).unwrap();
        let own =
            std::thread::spawn(|| (raise_priority().is_ok(), getpriority_process(Some(gettid())).unwrap()));
        let (is_allowed, own) = own.join().unwrap();
        assert_eq!(own, if is_allowed { PRIORITY } else { before });
        assert_eq!(getpriority_process(Some(gettid())).unwrap(), before);
    }
}
