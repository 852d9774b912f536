//! Stills in and objects out over the practice's network, by DICOM's own protocol (PS3.7, PS3.8).
//!
//! Takes: peers that the practice named.
//! Gives: files that a scanner sent; an archive that has what was sent to it.
//! Never: listens or connects unless it is asked to.
//! Tested in: `tests/it/exchange/network.rs`, with programs that are not ours.

mod message;
mod inbox;
mod limits;
mod deadline;
pub(crate) mod status;
pub mod tls;
pub mod send;
pub mod stow;
mod commitment;
pub mod reports;
mod confirm;
mod visit;
mod proposal;
mod video_turns;
pub mod receive;
pub mod worklist;

pub use inbox::{InboxError, InboxOutcome, ReceivedObject};
