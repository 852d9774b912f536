//! Who may sign, with which key, and the signing itself.
//!
//! Takes: the practice's list of people, a passphrase, and an exam folder.
//! Gives: a signature as a line of the journal, or a refusal that says what to do.
//! Never: a key outside the settings folder, a passphrase in a file or on a command line, or one key for two people.
//! Tested in: `tests/it/people.rs` and `tests/it/review.rs`.

mod missing_files;
pub mod people;
pub mod sealed_key;
pub mod sign;
pub mod time_stamp;
