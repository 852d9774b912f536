//! How often a device is read, counted: it costs the same however its sound trickles in.
use std::cell::Cell;

use zonecall::speech::sound_reader::{ReadEnd, ReadFault, read_on};

/// Reads for so many looks; `has` says what the device holds when it is asked for the nth time. Gives how often it was asked,
/// the values that were taken, the overruns, and the end.
fn read(looks: u32, mut has: impl FnMut(u32) -> Result<usize, ReadFault>) -> (u32, usize, u32, ReadEnd) {
    let (asked, taken, lost, rested) = (Cell::new(0), Cell::new(0), Cell::new(0), Cell::new(0));
    let device = |piece: &mut [i16]| {
        asked.set(asked.get() + 1);
        has(asked.get()).map(|values| values.min(piece.len()))
    };
    let rests = || {
        rested.set(rested.get() + 1);
        rested.get() < looks
    };
    let end = read_on(
        &mut [0; 1_000],
        device,
        |values| taken.set(taken.get() + values.len()),
        || lost.set(lost.get() + 1),
        rests,
    );
    (asked.get(), taken.get(), lost.get(), end)
}

/// PulseAudio's plug-in reports sound as long as a value is left; waiting for a whole period took 20,000 looks a second.
#[test]
fn a_device_is_read_once_a_look_however_little_it_has() {
    for scrap in [0, 1, 37, 441, 999] {
        let found = read(6_000, |_| Ok(scrap));
        assert_eq!(found, (6_000, 6_000 * scrap, 0, ReadEnd::Stopped), "a minute, {scrap} values a look");
    }
}

/// A thread that came late finds more than a piece, and takes all of it before it rests.
#[test]
fn what_has_piled_up_is_taken_at_once() {
    let mut left = 3_500_usize;
    let found = read(1, |_| {
        let given = left.min(1_000);
        left -= given;
        Ok(given)
    });
    assert_eq!(found, (4, 3_500, 0, ReadEnd::Stopped));
}

#[test]
fn an_overrun_is_told_and_the_end_of_a_device_ends_it() {
    let found = read(10, |asked| match asked {
        3 | 5 => Err(ReadFault::Overrun),
        7 => Err(ReadFault::Gone),
        _ => Ok(160),
    });
    assert_eq!(found, (7, 4 * 160, 2, ReadEnd::Gone));
}
