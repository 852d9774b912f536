//! Keeps the lines of the system's sound library off the screen.
//!
//! Takes: nothing.
//! Gives: nothing; what the library says of a device comes back as an error all the same.
//! Never: unsafe, or silence for other threads: a running stream has its own.
//! Tested in: `tests/sound/doctor.rs`.

/// From now on the library writes what goes wrong on this thread into a buffer of its own, not onto the screen: it tries
/// devices that are not there, and a dozen lines about each would hide our one.
pub(crate) fn silence_library_messages() {
    #[cfg(target_os = "linux")]
    {
        // Called before each search, so that the buffer of the search before is dropped. Without one the lines stay.
        let _ = alsa::Output::local_error_handler();
    }
}
