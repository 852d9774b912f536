//! How long a connection may take to be opened, and how long it may stay.
//!
//! Takes: a socket and two spans of time.
//! Gives: a timer beside the connection that shuts the socket once its time is up.
//! Never: waits for the other side, which could send a byte at a time for ever.
//! Tested in: `tests/it/exchange/slow.rs`.

use std::net::{Shutdown, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::time::Duration;

/// A timer; dropped, it leaves the socket alone.
#[derive(Debug)]
pub(super) struct Deadline {
    opened: Sender<()>,
    is_over: Arc<AtomicBool>,
}

impl Deadline {
    /// Shuts the socket after `opening`, or, once it was opened, after `whole`.
    pub(super) fn start(socket: &TcpStream, opening: Duration, whole: Duration) -> std::io::Result<Deadline> {
        let socket = socket.try_clone()?;
        let (opened, said) = channel();
        let is_over = Arc::new(AtomicBool::new(false));
        let over = Arc::clone(&is_over);
        std::thread::Builder::new().spawn(move || {
            for span in [opening, whole] {
                match said.recv_timeout(span) {
                    Ok(()) => {}
                    Err(RecvTimeoutError::Disconnected) => return,
                    Err(RecvTimeoutError::Timeout) => {
                        over.store(true, Ordering::Relaxed);
                        // The other side may have gone by itself.
                        let _ = socket.shutdown(Shutdown::Both);
                        return;
                    }
                }
            }
        })?;
        Ok(Deadline { opened, is_over })
    }

    /// The connection is open: from now on the longer span counts.
    pub(super) fn opened(&self) {
        // Nobody listens any more where the time was up meanwhile.
        let _ = self.opened.send(());
    }

    /// The socket was shut because its time was up.
    pub(super) fn is_over(&self) -> bool {
        self.is_over.load(Ordering::Relaxed)
    }
}
