//! Takes from a device what it has recorded, so many times a second and no more.
//!
//! Takes: a device that can be read at any moment, and whom its sound goes to.
//! Gives: the sound, and word of what the device itself lost.
//! Never: waits for a notice of the device: some give one for every scrap of sound, others as long as a scrap is left.
//! Tested in: `tests/it/sound_reader.rs`.

use std::time::Duration;

/// A device is read this often; a block of the microphone waits no longer than that.
pub const READ_EVERY: Duration = Duration::from_millis(10);

/// Why a device gave nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReadFault {
    /// It lost sound and goes on.
    Overrun,
    /// It is gone.
    Gone,
}

/// What became of reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReadEnd {
    /// Nobody wants the sound any more.
    Stopped,
    /// The device is gone.
    Gone,
}

/// Reads until the device is gone or `rests`, which waits from one look to the next, says that it is enough.
///
/// `read` fills what it is given and says how many values that were, none where there is nothing yet; `piece` is what it
/// fills. A device that filled all of it may have more and is read again at once, any other at the next look only.
pub fn read_on<T>(
    piece: &mut [T],
    mut read: impl FnMut(&mut [T]) -> Result<usize, ReadFault>,
    mut take: impl FnMut(&[T]),
    mut lost: impl FnMut(),
    mut rests: impl FnMut() -> bool,
) -> ReadEnd {
    loop {
        let mut is_full = true;
        while is_full {
            is_full = match read(piece) {
                Ok(n) => {
                    take(&piece[..n]);
                    n > 0 && n == piece.len()
                }
                Err(ReadFault::Overrun) => {
                    lost();
                    false
                }
                Err(ReadFault::Gone) => return ReadEnd::Gone,
            };
        }
        if !rests() {
            return ReadEnd::Stopped;
        }
    }
}
