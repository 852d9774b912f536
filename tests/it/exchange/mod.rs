//! Claims about the exam for other systems, each judged by a program or library that is not ours.

mod codes;
mod fhir;
mod labelled;
mod marks;
mod network;
mod objects;
mod report;
mod stage;
mod teaching;
mod worklist;
