//! Time stamps by a third party: OpenSSL's time-stamp authority stamps what a vet signs here, and OpenSSL judges it.

mod authority;
mod kept;
mod refused;
