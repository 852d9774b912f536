//! Everything that needs no sound: one binary, so that the libraries are linked once.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation, clippy::cast_precision_loss)] // tests may panic

#[path = "../support/mod.rs"]
mod support;

mod answer;
mod archive;
mod archive_command;
mod ask;
mod board;
mod cases;
mod cli;
mod compare;
mod demo;
mod demo_stills;
mod early;
mod fold;
mod frames;
mod hear;
mod journal;
mod knowledge;
mod language;
mod measure;
mod measure_command;
mod measure_laws;
mod moved;
mod neural;
mod neural_adapt;
mod neural_search;
mod neural_weigh;
mod other_reader;
mod owner;
mod pair;
mod pair_spoken;
mod picture;
mod print;
mod protocol;
mod quieten;
mod review;
mod review_browser;
mod review_events;
mod review_measure;
mod room;
mod rules;
mod schema;
mod sign;
mod tell;
mod tell_measures;
mod tidy;
mod trace;
mod trial;
mod vosk;
mod watch;
