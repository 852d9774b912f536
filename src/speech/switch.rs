//! A switch to talk by: a pedal, a button or a key that the system knows as an input device.
//!
//! Takes: a key by its Linux name or number, and the device that has it.
//! Gives: whether it is on, and whether the device is gone.
//! Never: keeps a key from other programs, or looks at any key but its own.
//! Tested in: `tests/sound/switch.rs`, with events as the kernel writes them.

use std::fmt;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use crate::terminal::ShownText as _;
use evdev::KeyCode;

/// A device that is gone is looked for this often.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// Bytes of one event: two machine words of time, type, code and value (`struct input_event` of `linux/input.h`).
const EVENT_BYTES: usize = 2 * size_of::<usize>() + 8;
/// Type of the events of keys and buttons (`EV_KEY`).
const TYPE_KEY: u16 = 1;
/// Type and code that report lost events (`EV_SYN`, `SYN_DROPPED`).
const DROPPED: (u16, u16) = (0, 3);
/// The highest code of a key (`KEY_MAX`).
const CODE_MAX: u16 = 0x2ff;

/// A key or a button.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SwitchKey(KeyCode);

impl FromStr for SwitchKey {
    type Err = String;

    /// A name as the kernel writes it, such as `KEY_SPACE` or `BTN_EAST`, or the code of a key as a number.
    fn from_str(text: &str) -> Result<Self, String> {
        let number = match text.strip_prefix("0x") {
            Some(digits) => u16::from_str_radix(digits, 16).ok(),
            None => text.parse().ok(),
        };
        let code = number.filter(|code| (1..=CODE_MAX).contains(code)).map(KeyCode::new);
        code.or_else(|| text.to_uppercase().parse().ok()).map(SwitchKey).ok_or_else(|| {
            format!(
                "`{text}` is not a key; give a name from linux/input-event-codes.h, such as KEY_SPACE or BTN_EAST, \
                 or its number; `evtest` shows what a switch sends"
            )
        })
    }
}

impl fmt::Display for SwitchKey {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{:?}", self.0)
    }
}

/// How the key turns the switch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Turning {
    /// On while the key is held.
    #[default]
    Hold,
    /// Press for on, press again for off.
    Toggle,
}

impl Turning {
    /// Whether the switch is on after an event with this value: 0 released, 1 pressed, 2 repeated by the keyboard.
    #[must_use]
    pub fn after(self, is_on: bool, value: i32) -> bool {
        match (self, value) {
            (Turning::Hold, 0) => false,
            (Turning::Hold, 1) => true,
            (Turning::Toggle, 1) => !is_on,
            _ => is_on,
        }
    }
}

/// The switch cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SwitchError {
    /// The device cannot be opened.
    #[error("cannot open the switch `{path}`: {source}; {}", remedy(source), path = path.shown())]
    Open {
        /// The device.
        path: PathBuf,
        /// Why not.
        #[source]
        source: io::Error,
    },
    /// It is a device, but not with this key.
    #[error("`{path}` ({name}) has no key {key}; `evtest` shows what it sends", path = path.shown())]
    NoKey {
        /// The device.
        path: PathBuf,
        /// What it calls itself.
        name: String,
        /// The key that is wanted.
        key: SwitchKey,
    },
}

/// What to do about a device that cannot be opened.
fn remedy(error: &io::Error) -> &'static str {
    match error.kind() {
        io::ErrorKind::PermissionDenied => {
            "give yourself permission to read input devices: `sudo adduser $USER input`, then log in again"
        }
        io::ErrorKind::NotFound => "plug it in, then see what `ls /dev/input/by-id/` lists",
        _ => "name an input device, as `ls /dev/input/by-id/` lists them",
    }
}

/// Opens the device and makes sure that it has the key; gives what it calls itself.
///
/// # Errors
/// When it is not there, may not be read, is no input device, or lacks the key.
pub fn look(path: &Path, key: SwitchKey) -> Result<String, SwitchError> {
    let opened = evdev::Device::open(path);
    let device = opened.map_err(|source| SwitchError::Open { path: path.to_owned(), source })?;
    let name = device.name().unwrap_or("without a name").to_owned();
    match device.supported_keys() {
        Some(keys) if keys.contains(key.0) => Ok(name),
        _ => Err(SwitchError::NoKey { path: path.to_owned(), name, key }),
    }
}

/// A switch on a device, followed by a thread of its own.
#[derive(Debug)]
pub struct DeviceSwitch {
    is_on: Arc<AtomicBool>,
    is_gone: Arc<AtomicBool>,
}

impl DeviceSwitch {
    /// Begins to follow the key; until it is pressed the switch is off.
    ///
    /// # Errors
    /// As `look`.
    pub fn open(path: &Path, key: SwitchKey, turning: Turning) -> Result<Self, SwitchError> {
        look(path, key)?;
        let file = File::open(path).map_err(|source| SwitchError::Open { path: path.to_owned(), source })?;
        let this = Self { is_on: Arc::default(), is_gone: Arc::default() };
        let (is_on, is_gone, path) = (Arc::clone(&this.is_on), Arc::clone(&this.is_gone), path.to_owned());
        std::thread::spawn(move || {
            let mut device = Some(file);
            loop {
                if let Some(events) = &mut device {
                    let _ = follow(events, key, turning, &is_on);
                }
                // Gone: nobody holds it, and nothing that is said counts until it is back.
                is_on.store(false, Ordering::Relaxed);
                is_gone.store(true, Ordering::Relaxed);
                std::thread::sleep(LOOK_EVERY);
                device = look(&path, key).ok().and_then(|_| File::open(&path).ok());
                is_gone.store(device.is_none(), Ordering::Relaxed);
            }
        });
        Ok(this)
    }

    /// True while it is on.
    #[must_use]
    pub fn is_on(&self) -> bool {
        self.is_on.load(Ordering::Relaxed)
    }

    /// True while the device is gone.
    #[must_use]
    pub fn is_gone(&self) -> bool {
        self.is_gone.load(Ordering::Relaxed)
    }
}

/// Follows the key through the events of a device until they end.
///
/// # Errors
/// Always, in the end: the device is gone, or its file has no more.
pub fn follow(
    events: &mut impl Read,
    key: SwitchKey,
    turning: Turning,
    is_on: &AtomicBool,
) -> io::Result<()> {
    let mut event = [0_u8; EVENT_BYTES];
    loop {
        events.read_exact(&mut event)?;
        let rest = &event[EVENT_BYTES - 8..];
        let (kind, code) = (u16::from_ne_bytes([rest[0], rest[1]]), u16::from_ne_bytes([rest[2], rest[3]]));
        let value = i32::from_ne_bytes([rest[4], rest[5], rest[6], rest[7]]);
        if (kind, code) == DROPPED {
            // The release may have been among them.
            is_on.store(false, Ordering::Relaxed);
        } else if (kind, code) == (TYPE_KEY, key.0.code()) {
            is_on.store(turning.after(is_on.load(Ordering::Relaxed), value), Ordering::Relaxed);
        }
    }
}
