//! Who may send, and how much.
//!
//! Takes: nothing; commands and other programs fill these in.
//! Gives: `ReceiveLimits`.
//! Never: a limit that is none.
//! Tested in: `tests/it/exchange/network.rs`.

use std::net::IpAddr;
use std::time::Duration;

/// Who may come in, and how much.
#[derive(Debug, Clone)]
pub struct ReceiveLimits {
    /// AE titles that may call; empty means any.
    pub from: Vec<String>,
    /// Addresses that may call; empty means any.
    pub addresses: Vec<IpAddr>,
    /// Open connections at once.
    pub connections_max: usize,
    /// New connections in any one minute.
    pub connections_a_minute_max: usize,
    /// Bytes of one object.
    pub object_bytes_max: u64,
    /// Objects in one run.
    pub objects_max: u64,
    /// A connection that is not opened after so long is closed, whatever comes: TLS and what the peer asks for.
    pub opening_max: Duration,
    /// A peer that says nothing for so long is left.
    pub silence_max: Duration,
    /// A connection is closed after so long, whatever is said.
    pub connection_max: Duration,
}

impl Default for ReceiveLimits {
    fn default() -> ReceiveLimits {
        ReceiveLimits {
            from: Vec::new(),
            addresses: Vec::new(),
            connections_max: 16,
            connections_a_minute_max: 600,
            object_bytes_max: 2 << 30,
            objects_max: 50_000,
            // Longer than the silence, so that the log says of a silent peer that it is one.
            opening_max: Duration::from_secs(45),
            silence_max: Duration::from_secs(30),
            connection_max: Duration::from_secs(3600),
        }
    }
}
