//! Limbs, zones, views and bounds: what the trade expects, read from `protocols/`.
//!
//! Takes: the TOML files of a folder, or the ones built into the program.
//! Gives: `Protocols`, the only place that knows which limbs, zones, planes and structures exist.
//! Never: a clinical word in the code; every name, number and source is in the files.
//! Tested in: `tests/it/protocol.rs`.

mod error;
mod source;
pub mod plain;
pub mod rules;
mod unit;
pub mod measuring;
mod model;
mod bounds;
mod verify;
mod force;
mod read;

pub use bounds::Odd;
pub use error::{NumberFault, ProtocolError, UnknownCode};
pub use force::{LevelProblem, SchemeFault};
pub use model::{
    Limb, Marker, NumberSaid, OfOutline, OnlyOf, Plane, Protocols, Scheme, StatedPart, Structure,
    UnitOfLarge, ValueKind, Zone,
};
pub use source::SourceFile;
pub use unit::convert;
