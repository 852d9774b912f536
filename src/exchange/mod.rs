//! The exam for other systems: DICOM objects, labelled copies, FHIR, marked sound, and the network.
//!
//! Takes: the exam, its record, the protocols and the stills' files.
//! Gives: files and messages in the forms of open standards.
//! Never: changes an original; sends an unsigned exam as anything but a draft; guesses a code.
//! Tested in: `tests/it/exchange/`, by checkers that are not ours.

// The errors of the DICOM library are large; none of this runs in a hot loop.
#![allow(clippy::result_large_err)]

pub mod code;
pub mod uid;
mod dataset;
pub mod still;
pub mod subject;
pub mod concept;
pub mod input;
mod content;
mod group;
mod report;
mod presentation;
mod key_objects;
mod document;
pub mod day_list;
pub mod dicom;
pub mod fhir;
mod strip;
mod derived;
pub mod labelled;
pub mod black_out;
pub mod teaching;
pub mod marks;
pub mod network;

pub use code::{Code, Codes};
