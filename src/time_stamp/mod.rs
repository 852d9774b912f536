//! Time stamps by a third party (RFC 3161): proof that something was there at a moment, whatever our own clock says.
//!
//! Takes: the SHA-256 of what is stamped, and the address of a server.
//! Gives: `Token`, the server's signed answer, read and verified.
//! Never: sends anything but a hash and a random number.
//! Tested in: `tests/it/time_stamp/`, against OpenSSL.

mod form;
pub mod authority;
pub mod token;
pub mod server;

pub use authority::{Authority, AuthorityError};
pub use server::{ServerError, StampServer};
pub use token::{TOKEN_BYTES_MAX, Token, TokenFault};
