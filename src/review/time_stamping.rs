//! The time stamp of a signature that was made at the desk.
//!
//! Takes: the exam, and the server that stamps.
//! Gives: the time stamp next to the journal, or a line on the terminal that says why there is none.
//! Never: lets the vet wait, or changes the signature.
//! Tested in: `tests/it/time_stamp/kept.rs`.

use std::sync::Arc;

use crate::review::exams::ServedExam;
use crate::session::error::in_one_line;
use crate::signing::time_stamp::stamp;
use crate::terminal::{self, ShownText as _};
use crate::time_stamp::StampServer;

/// Has a signature stamped, if there is a server for that; nobody waits for it.
pub(super) fn stamp_aside(served: &Arc<ServedExam>, server: Option<StampServer>) {
    let Some(server) = server else { return };
    let served = Arc::clone(served);
    std::thread::spawn(move || match stamp(&served.desk.folder, &server) {
        // What was read before knows nothing of it.
        Ok(_) => served.desk.forget(),
        Err(error) => terminal::warn(format!(
            "zonecall: signed, but not stamped yet: {}; once that is fixed, run `zonecall stamp {}`",
            in_one_line(&error),
            served.desk.folder.path().shown()
        )),
    });
}
