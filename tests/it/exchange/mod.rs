//! Claims about the exam for other systems, each judged by a program or library that is not ours.

mod black_out;
mod codes;
mod commitment;
mod desk;
pub(crate) mod desk_send;
mod fhir;
mod labelled;
mod load;
mod marks;
mod network;
mod objects;
mod orthanc;
pub(crate) mod peers;
mod peers_file;
mod refusals;
mod round_trip;
mod report;
mod send_exam;
mod slow;
pub mod stage;
mod stow;
mod teaching;
mod tls;
mod video;
mod worklist;
